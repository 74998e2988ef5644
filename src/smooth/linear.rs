//! The smoother for logs too slow to follow a turn, and for pieces that the other filter lost: position and velocity
//! on the plane with white acceleration, linear, the same for both axes. It cannot break down; it rounds corners more.

use nalgebra::{Matrix2, Vector2};

use crate::geom::Point;
use crate::session::{Channel, PathState};
use crate::smooth::measure::{Piece, Step};
use crate::smooth::noise::interpolate;
use crate::units::wrap_angle;

/// Spectral densities of the acceleration that are tried, m/s² per √Hz.
const LIVELINESS: [f64; 6] = [0.2, 0.5, 1.0, 2.0, 4.0, 8.0];

/// Mean of one axis, position (m) and velocity (m/s); the covariance is both axes' own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axis {
    pub mean: Vector2<f64>,
    pub covariance: Matrix2<f64>,
}

/// Transition over `dt_s` and the covariance that white acceleration of density `q` (m/s² per √Hz) adds.
pub fn model(dt_s: f64, q: f64) -> (Matrix2<f64>, Matrix2<f64>) {
    let transition = Matrix2::new(1.0, dt_s, 0.0, 1.0);
    let (d2, d3) = (dt_s * dt_s, dt_s * dt_s * dt_s);
    (transition, Matrix2::new(d3 / 3.0, d2 / 2.0, d2 / 2.0, dt_s) * (q * q))
}

/// Rauch–Tung–Striebel smoothing of one axis: times (s, rising), positions (m) with standard deviation `sigma`.
/// Gives one state per time and the log likelihood of the innovations. Empty in, empty out.
pub fn smooth_axis(t_s: &[f64], position_m: &[f64], sigma_m: f64, q: f64) -> (Vec<Axis>, f64) {
    let Some(first) = position_m.first() else { return (Vec::new(), 0.0) };
    let start = Axis {
        mean: Vector2::new(*first, 0.0),
        covariance: Matrix2::from_diagonal(&Vector2::new(sigma_m * sigma_m, 900.0)),
    };
    let mut filtered = vec![start];
    let mut predicted = vec![start];
    let mut likelihood = 0.0;
    for index in 1..t_s.len() {
        let before = filtered[index - 1];
        let (transition, noise) = model(t_s[index] - t_s[index - 1], q);
        let mean = transition * before.mean;
        let covariance = transition * before.covariance * transition.transpose() + noise;
        predicted.push(Axis { mean, covariance });
        let variance = covariance[(0, 0)] + sigma_m * sigma_m;
        let innovation = position_m[index] - mean[0];
        let gain = covariance.column(0) / variance;
        likelihood -= 0.5 * (innovation * innovation / variance + variance.ln());
        filtered
            .push(Axis { mean: mean + gain * innovation, covariance: covariance - gain * gain.transpose() * variance });
    }
    let mut smoothed = filtered.clone();
    for index in (0..t_s.len() - 1).rev() {
        let (transition, _) = model(t_s[index + 1] - t_s[index], q);
        let (this, next) = (filtered[index], predicted[index + 1]);
        let Some(inverse) = next.covariance.try_inverse() else { continue };
        let gain = this.covariance * transition.transpose() * inverse;
        let later = smoothed[index + 1];
        smoothed[index] = Axis {
            mean: this.mean + gain * (later.mean - next.mean),
            covariance: this.covariance + gain * (later.covariance - next.covariance) * gain.transpose(),
        };
    }
    (smoothed, likelihood)
}

/// Smooths the positions of one piece; the speed is the measured one where there is one.
pub(super) fn smooth_piece(piece: &Piece<'_>, speed: Option<&Channel>, position_m: f64) -> Vec<PathState> {
    let fixes: Vec<(f64, Point)> = piece.steps.iter().filter_map(|step| Some((step.t_s, step.position?))).collect();
    let t_s: Vec<f64> = fixes.iter().map(|it| it.0).collect();
    let (x, y): (Vec<f64>, Vec<f64>) = fixes.iter().map(|it| (it.1.x_m, it.1.y_m)).unzip();
    let likelihood = |q: &f64| smooth_axis(&t_s, &x, position_m, *q).1 + smooth_axis(&t_s, &y, position_m, *q).1;
    let q = LIVELINESS.into_iter().max_by(|a, b| likelihood(a).total_cmp(&likelihood(b))).unwrap_or(1.0);
    let (x, y) = (smooth_axis(&t_s, &x, position_m, q).0, smooth_axis(&t_s, &y, position_m, q).0);
    let mut states: Vec<PathState> =
        t_s.iter().zip(x.iter().zip(&y)).map(|(t_s, (x, y))| to_state(*t_s, x, y, speed)).collect();
    add_turning(&mut states);
    let core = piece.steps.get(piece.core.clone()).unwrap_or(&[]);
    let (Some(first), Some(last)) = (core.first().map(time), core.last().map(time)) else { return Vec::new() };
    states.retain(|it| it.t_s >= first && it.t_s <= last);
    states
}

fn time(step: &Step) -> f64 {
    step.t_s
}

fn to_state(t_s: f64, x: &Axis, y: &Axis, speed: Option<&Channel>) -> PathState {
    let (vx, vy) = (x.mean[1], y.mean[1]);
    let along_mps = vx.hypot(vy);
    let velocity_variance = x.covariance[(1, 1)].max(0.0);
    PathState {
        t_s,
        x_m: x.mean[0],
        y_m: y.mean[0],
        speed_mps: speed.map_or(along_mps, |it| interpolate(it, t_s)),
        heading_rad: vy.atan2(vx),
        across_variance_m2: x.covariance[(0, 0)].max(0.0),
        along_variance_m2: x.covariance[(0, 0)].max(0.0),
        speed_variance: velocity_variance,
        heading_variance: velocity_variance / along_mps.max(0.3).powi(2),
        ..PathState::default()
    }
}

/// Headings made continuous; yaw rate and acceleration by central differences.
fn add_turning(states: &mut [PathState]) {
    for index in 1..states.len() {
        let before = states[index - 1].heading_rad;
        states[index].heading_rad = before + wrap_angle(states[index].heading_rad - before);
    }
    for index in 0..states.len() {
        let (a, b) = (states[index.saturating_sub(1)], states[(index + 1).min(states.len() - 1)]);
        let span_s = b.t_s - a.t_s;
        if span_s <= 0.0 {
            continue;
        }
        states[index].yaw_rate_radps = (b.heading_rad - a.heading_rad) / span_s;
        states[index].acceleration_mps2 = (b.speed_mps - a.speed_mps) / span_s;
        states[index].yaw_rate_variance = (a.heading_variance + b.heading_variance) / (span_s * span_s);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_steady_walk_is_followed_exactly() {
        let t_s: Vec<f64> = (0..30).map(|i| f64::from(i) * 3.0 + f64::from(i % 3)).collect();
        let position: Vec<f64> = t_s.iter().map(|t| 5.0 + 1.4 * t).collect();
        let (states, _) = smooth_axis(&t_s, &position, 0.5, 0.2);
        for (state, truth) in states.iter().zip(&position) {
            assert!((state.mean[0] - truth).abs() < 0.05 && (state.mean[1] - 1.4).abs() < 0.05);
            assert!(state.covariance[(0, 0)] > 0.0 && state.covariance[(0, 0)] < 0.25);
        }
        assert!(smooth_axis(&[], &[], 0.5, 0.2).0.is_empty());
    }
}
