"""The smoother where it is linear. Reference: filterpy (KalmanFilter, Rauch-Tung-Striebel smoother)."""

import numpy as np
from conftest import library, written

# Ours begins from a belief of its own; the filter has forgotten either beginning after this long.
FORGOTTEN_S = 10.0


def white_jerk(dt, density):
    """Covariance that white jerk adds to place, speed and acceleration over dt."""
    powers = [[dt**5 / 20, dt**4 / 8, dt**3 / 6], [dt**4 / 8, dt**3 / 3, dt**2 / 2], [dt**3 / 6, dt**2 / 2, dt]]
    return density * np.array(powers)


def liveliness(t_s, acceleration, jerk):
    """How the second smoothing scales the jerk's density on the way to each sample (docs/methods.md, Smoother)."""
    before = np.concatenate([t_s[:1], t_s[:-1]])
    middle, over = 0.5 * (before + t_s), np.maximum(t_s - before, 0.2)
    change = np.interp(middle + over / 2, t_s, acceleration) - np.interp(middle - over / 2, t_s, acceleration)
    return (0.3 + change**2 / (jerk**2 * over)) / 1.3


def test_place_speed_and_variances():
    kalman = library("filterpy.kalman")
    case = written("smooth")
    noise, t_s = case["noise"], np.array(case["t_s"])
    steps = np.diff(t_s, prepend=t_s[0])
    transitions = [np.array([[1, dt, dt * dt / 2], [0, 1, dt], [0, 0, 1]]) for dt in steps]
    measured = np.column_stack([case["place_m"], case["speed_mps"]])

    def smoothed(densities):
        noises = [white_jerk(dt, density) for dt, density in zip(steps, densities)]
        reference = kalman.KalmanFilter(dim_x=3, dim_z=2)
        reference.x = np.array([case["place_m"][0], case["speed_mps"][0], 0.0])
        reference.P = np.diag([1.0, 1.0, 10.0])
        reference.H = np.array([[1.0, 0, 0], [0, 1.0, 0]])
        reference.R = np.diag([noise["position_m"] ** 2, noise["speed_mps"] ** 2])
        means, covariances, _, _ = reference.batch_filter(measured, Fs=transitions, Qs=noises)
        return reference.rts_smoother(means, covariances, Fs=transitions, Qs=noises)[:2]

    even = np.full(len(t_s), noise["jerk"] ** 2)
    means, _ = smoothed(even)
    means, covariances = smoothed(even * liveliness(t_s, means[:, 2], noise["jerk"]))

    late = t_s > FORGOTTEN_S
    assert late.sum() > 400
    ours = np.array(case["states"])[late]
    np.testing.assert_allclose(ours[:, 0], means[late, 0], atol=1e-6)
    np.testing.assert_allclose(ours[:, 1], means[late, 1], atol=1e-6)
    np.testing.assert_allclose(ours[:, 2], means[late, 2], atol=1e-5)
    np.testing.assert_allclose(ours[:, 3], covariances[late, 0, 0], rtol=1e-6)
    np.testing.assert_allclose(ours[:, 4], covariances[late, 1, 1], rtol=1e-6)
