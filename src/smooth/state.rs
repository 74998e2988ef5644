//! The state of the filter and how it moves: body-frame jerk and yaw acceleration are white noise.

use nalgebra::{SMatrix, SVector};

use crate::smooth::Noise;

/// x, y (m), speed (m/s), heading (rad), yaw rate (rad/s), acceleration (m/s²), gyro bias (rad/s).
pub(super) const SIZE: usize = 7;
pub(super) type Vector = SVector<f64, SIZE>;
pub(super) type Matrix = SMatrix<f64, SIZE, SIZE>;

pub(super) const X: usize = 0;
pub(super) const Y: usize = 1;
pub(super) const SPEED: usize = 2;
pub(super) const HEADING: usize = 3;
pub(super) const YAW_RATE: usize = 4;
pub(super) const ACCELERATION: usize = 5;
pub(super) const BIAS: usize = 6;

/// Below this speed, m/s, a kart hardly turns: the yaw noise fades so that a standing kart keeps its heading.
const TURNING_SPEED_MPS: f64 = 3.0;

#[derive(Debug, Clone)]
pub(super) struct Belief {
    pub(super) mean: Vector,
    pub(super) covariance: Matrix,
}

/// Moves a belief on by `dt_s` and gives the transition matrix that the smoother needs.
/// The arc is taken with the heading and speed at its middle (second order in `dt_s`).
pub(super) fn predict(belief: &Belief, dt_s: f64, noise: &Noise) -> (Belief, Matrix) {
    let m = &belief.mean;
    let half_s = 0.5 * dt_s;
    let mid_speed = m[SPEED] + m[ACCELERATION] * half_s;
    // The chord of an arc is shorter than the arc: sin(x)/x to second order, x half the angle turned.
    let chord = 1.0 - (m[YAW_RATE] * half_s).powi(2) / 6.0;
    let (sin, cos) = (m[HEADING] + m[YAW_RATE] * half_s).sin_cos();

    let mut mean = *m;
    mean[X] += mid_speed * chord * cos * dt_s;
    mean[Y] += mid_speed * chord * sin * dt_s;
    mean[SPEED] += m[ACCELERATION] * dt_s;
    mean[HEADING] += m[YAW_RATE] * dt_s;

    let mut transition = Matrix::identity();
    transition[(X, SPEED)] = cos * dt_s;
    transition[(Y, SPEED)] = sin * dt_s;
    transition[(X, ACCELERATION)] = cos * dt_s * half_s;
    transition[(Y, ACCELERATION)] = sin * dt_s * half_s;
    transition[(X, HEADING)] = -mid_speed * sin * dt_s;
    transition[(Y, HEADING)] = mid_speed * cos * dt_s;
    transition[(X, YAW_RATE)] = -mid_speed * sin * dt_s * half_s;
    transition[(Y, YAW_RATE)] = mid_speed * cos * dt_s * half_s;
    transition[(SPEED, ACCELERATION)] = dt_s;
    transition[(HEADING, YAW_RATE)] = dt_s;

    let mut covariance = transition * belief.covariance * transition.transpose();
    add_process_noise(&mut covariance, mid_speed, (sin, cos), dt_s, noise);
    (Belief { mean, covariance }, transition)
}

/// White jerk along and white yaw acceleration, integrated exactly over the step (triple integrator), turned into
/// the plane's axes.
fn add_process_noise(covariance: &mut Matrix, speed: f64, (sin, cos): (f64, f64), dt_s: f64, noise: &Noise) {
    let [d1, d2, d3, d4, d5] = [1, 2, 3, 4, 5].map(|power| dt_s.powi(power));
    let jerk = noise.jerk.powi(2);
    let turning = (speed.abs() / TURNING_SPEED_MPS).min(1.0);
    let yaw = noise.yaw_acceleration.powi(2) * turning * turning + 1e-10;
    // Along and across displacement, their direction in the plane, and what each is correlated with.
    let chains = [(jerk, 1.0, [cos, sin], SPEED, ACCELERATION), (yaw, speed, [-sin, cos], HEADING, YAW_RATE)];
    for (density, lever, direction, first, second) in chains {
        covariance[(second, second)] += density * d1;
        covariance[(first, first)] += density * d3 / 3.0;
        add_symmetric(covariance, first, second, density * d2 / 2.0);
        for (axis, towards) in [(X, direction[0]), (Y, direction[1])] {
            add_symmetric(covariance, axis, first, density * lever * towards * d4 / 8.0);
            add_symmetric(covariance, axis, second, density * lever * towards * d3 / 6.0);
        }
        let spread = density * lever * lever * d5 / 20.0;
        covariance[(X, X)] += spread * direction[0] * direction[0];
        covariance[(Y, Y)] += spread * direction[1] * direction[1];
        add_symmetric(covariance, X, Y, spread * direction[0] * direction[1]);
    }
    covariance[(BIAS, BIAS)] += noise.bias_walk.powi(2) * d1;
}

fn add_symmetric(matrix: &mut Matrix, row: usize, column: usize, value: f64) {
    matrix[(row, column)] += value;
    matrix[(column, row)] += value;
}

/// One scalar measurement: its row of the measurement matrix as (index, weight) pairs, the innovation and variance.
pub(super) struct Scalar<'a> {
    pub(super) row: &'a [(usize, f64)],
    pub(super) innovation: f64,
    pub(super) variance: f64,
}

/// Takes a scalar measurement into the belief. Gives its log likelihood; an innovation past `gate_sigmas` is not
/// taken in and counts as that far out.
pub(super) fn update(belief: &mut Belief, measured: &Scalar<'_>, gate_sigmas: f64) -> (f64, bool) {
    let mut gain = Vector::zeros();
    for (index, weight) in measured.row {
        gain += belief.covariance.column(*index) * *weight;
    }
    let expected: f64 = measured.row.iter().map(|(index, weight)| gain[*index] * weight).sum();
    let variance = expected + measured.variance;
    let squared_sigmas = measured.innovation * measured.innovation / variance;
    let taken = squared_sigmas <= gate_sigmas * gate_sigmas;
    let log_likelihood = -0.5 * (squared_sigmas.min(gate_sigmas * gate_sigmas) + variance.ln());
    if taken {
        belief.mean += gain * (measured.innovation / variance);
        belief.covariance -= gain * gain.transpose() / variance;
    }
    (log_likelihood, taken)
}
