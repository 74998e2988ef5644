//! The smoothed path: where the kart was, on a plane in metres, with how sure that is.

/// The kart at one time. Plane axes: x east, y north, metres, from the session's origin.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PathState {
    /// Log time, s.
    pub t_s: f64,
    pub x_m: f64,
    pub y_m: f64,
    pub speed_mps: f64,
    /// Radians counter-clockwise from east, continuous along the path (not wrapped).
    pub heading_rad: f64,
    /// rad/s, positive to the left.
    pub yaw_rate_radps: f64,
    /// Change of speed, m/s².
    pub acceleration_mps2: f64,
    /// Metres travelled since the first state.
    pub travelled_m: f64,
    /// Variance across the direction of travel, m².
    pub across_variance_m2: f64,
    /// Variance along the direction of travel, m².
    pub along_variance_m2: f64,
    /// (m/s)².
    pub speed_variance: f64,
    /// rad².
    pub heading_variance: f64,
    /// (rad/s)².
    pub yaw_rate_variance: f64,
}

/// States in order of time, with the stretches that no measurement covers.
#[derive(Debug, Clone, Default)]
pub struct Path {
    pub states: Vec<PathState>,
    /// Log times (from, to) in seconds between which nothing was measured; inside them states are missing or wide.
    pub gaps: Vec<(f64, f64)>,
}

impl Path {
    /// The state at a log time, between neighbours by cubic interpolation of position and linear of the rest.
    /// `None` outside the path's time or inside a gap.
    pub fn at(&self, t_s: f64) -> Option<PathState> {
        let next = self.states.partition_point(|state| state.t_s <= t_s);
        if next == 0 || self.gaps.iter().any(|(from, to)| t_s > *from && t_s < *to) {
            return None;
        }
        let before = self.states[next - 1];
        match self.states.get(next) {
            Some(after) => Some(between(&before, after, t_s)),
            None => (t_s <= before.t_s).then_some(before),
        }
    }

    /// Index of the last state at or before `t_s`; `None` before the first.
    pub fn index_at(&self, t_s: f64) -> Option<usize> {
        self.states.partition_point(|state| state.t_s <= t_s).checked_sub(1)
    }
}

/// Hermite interpolation of the position, with the velocities as tangents; linear for the rest.
fn between(a: &PathState, b: &PathState, t_s: f64) -> PathState {
    let span = b.t_s - a.t_s;
    let u = (t_s - a.t_s) / span;
    let mix = |from: f64, to: f64| from + (to - from) * u;
    let (h00, h10, h01, h11) = hermite(u);
    let hermite_of = |p0: f64, v0: f64, p1: f64, v1: f64| h00 * p0 + h10 * span * v0 + h01 * p1 + h11 * span * v1;
    let (a_sin, a_cos) = a.heading_rad.sin_cos();
    let (b_sin, b_cos) = b.heading_rad.sin_cos();
    PathState {
        t_s,
        x_m: hermite_of(a.x_m, a.speed_mps * a_cos, b.x_m, b.speed_mps * b_cos),
        y_m: hermite_of(a.y_m, a.speed_mps * a_sin, b.y_m, b.speed_mps * b_sin),
        speed_mps: mix(a.speed_mps, b.speed_mps),
        heading_rad: hermite_of(a.heading_rad, a.yaw_rate_radps, b.heading_rad, b.yaw_rate_radps),
        yaw_rate_radps: mix(a.yaw_rate_radps, b.yaw_rate_radps),
        acceleration_mps2: mix(a.acceleration_mps2, b.acceleration_mps2),
        travelled_m: mix(a.travelled_m, b.travelled_m),
        across_variance_m2: mix(a.across_variance_m2, b.across_variance_m2),
        along_variance_m2: mix(a.along_variance_m2, b.along_variance_m2),
        speed_variance: mix(a.speed_variance, b.speed_variance),
        heading_variance: mix(a.heading_variance, b.heading_variance),
        yaw_rate_variance: mix(a.yaw_rate_variance, b.yaw_rate_variance),
    }
}

/// The cubic Hermite basis at `u` in 0..1: weights of p0, v0, p1, v1.
fn hermite(u: f64) -> (f64, f64, f64, f64) {
    let (u2, u3) = (u * u, u * u * u);
    (2.0 * u3 - 3.0 * u2 + 1.0, u3 - 2.0 * u2 + u, -2.0 * u3 + 3.0 * u2, u3 - u2)
}
