//! How fast the line is driven: grip, braking and drive limits over distance, then a little smoothing in time, since
//! no kart's acceleration jumps.

use crate::geom::Point;
use crate::sample::line::{DrivenLine, Node};

/// Usual limits: sideways and braking in m/s², drive at standstill in m/s², and the speed where drive ends, m/s.
const GRIP_MPS2: f64 = 17.0;
const BRAKING_MPS2: f64 = 7.0;
const DRIVE_MPS2: f64 = 3.5;
const DRIVE_ENDS_MPS: f64 = 29.5;
/// Time between states, s.
pub(crate) const STATE_STEP_S: f64 = 0.002;
/// Standing before and after the run, s.
const STANDING_S: f64 = 4.0;
/// Three running means of this length make every change of acceleration last 0.2 s or so.
const SMOOTHING_S: f64 = 0.08;
/// Below this a kart stands, m/s.
const STANDING_MPS: f64 = 1e-6;

/// The exact state of the kart at one time of the run. Plane of the circuit: x east, y north, metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State {
    /// Seconds from the start of the run, which is also the log's first sample.
    pub t_s: f64,
    pub x_m: f64,
    pub y_m: f64,
    pub speed_mps: f64,
    pub acceleration_mps2: f64,
    /// Radians counter-clockwise from east, continuous along the run.
    pub heading_rad: f64,
    /// 1/m, positive to the left.
    pub curvature_per_m: f64,
    /// rad/s, positive to the left.
    pub yaw_rate_radps: f64,
    /// Metres driven since the start of the run.
    pub distance_m: f64,
}

impl State {
    pub fn position(&self) -> Point {
        Point::new(self.x_m, self.y_m)
    }
}

/// States every 2 ms from standing start to standing end.
pub(crate) fn drive_along(line: &DrivenLine) -> Vec<State> {
    let speed_mps = speed_over_distance(&line.nodes);
    let raw_mps = speed_over_time(&line.nodes, &speed_mps);
    let mut smooth_mps = raw_mps;
    for _ in 0..3 {
        smooth_mps = running_mean(&smooth_mps, SMOOTHING_S);
    }
    states(line, &smooth_mps)
}

/// The speed at each node: grip limit, then backward for braking and forward for drive, both with what grip the
/// corner leaves them.
fn speed_over_distance(nodes: &[Node]) -> Vec<f64> {
    let grip_of = |node: &Node| GRIP_MPS2 * node.grip;
    let mut squared: Vec<f64> = nodes
        .iter()
        .map(|node| (grip_of(node) / node.curvature_per_m.abs().max(1e-6)).min(DRIVE_ENDS_MPS * DRIVE_ENDS_MPS))
        .collect();
    let spare = |node: &Node, v2: f64| {
        let used = v2 * node.curvature_per_m.abs() / grip_of(node);
        (1.0 - used * used).max(0.0).sqrt()
    };
    let last = squared.len() - 1;
    squared[0] = 0.0;
    squared[last] = 0.0;
    for index in (0..last).rev() {
        let (node, next) = (&nodes[index], &nodes[index + 1]);
        let braking = BRAKING_MPS2 * node.grip * spare(next, squared[index + 1]);
        squared[index] = squared[index].min(squared[index + 1] + 2.0 * braking * (next.s_m - node.s_m));
    }
    for index in 0..last {
        let (node, next) = (&nodes[index], &nodes[index + 1]);
        let falling = (1.0 - squared[index].sqrt() / DRIVE_ENDS_MPS).max(0.0).powf(0.8);
        let drive = DRIVE_MPS2 * node.power * falling * spare(node, squared[index]);
        squared[index + 1] = squared[index + 1].min(squared[index] + 2.0 * drive * (next.s_m - node.s_m));
    }
    squared.into_iter().map(f64::sqrt).collect()
}

/// The same on an even grid of time, with the standing at both ends: between nodes acceleration is constant.
fn speed_over_time(nodes: &[Node], speed_mps: &[f64]) -> Vec<f64> {
    let mut node_t_s = Vec::with_capacity(nodes.len());
    let mut t_s = STANDING_S;
    node_t_s.push(t_s);
    for index in 1..nodes.len() {
        t_s += 2.0 * (nodes[index].s_m - nodes[index - 1].s_m) / (speed_mps[index] + speed_mps[index - 1]);
        node_t_s.push(t_s);
    }
    let steps = ((t_s + STANDING_S) / STATE_STEP_S).ceil();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a run of minutes")]
    let count = steps as u32;
    let mut next = 1;
    (0..=count)
        .map(|index| {
            let t_s = f64::from(index) * STATE_STEP_S;
            while next + 1 < node_t_s.len() && node_t_s[next] < t_s {
                next += 1;
            }
            let u = (t_s - node_t_s[next - 1]) / (node_t_s[next] - node_t_s[next - 1]);
            if (0.0..=1.0).contains(&u) {
                speed_mps[next - 1] + u * (speed_mps[next] - speed_mps[next - 1])
            } else {
                0.0
            }
        })
        .collect()
}

/// Centred mean over an odd number of steps; beyond the ends there is standing.
fn running_mean(values: &[f64], over_s: f64) -> Vec<f64> {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "tens of steps")]
    let half = (over_s / STATE_STEP_S / 2.0).round() as usize;
    let mut sums = Vec::with_capacity(values.len() + 1);
    let mut sum = 0.0;
    sums.push(sum);
    for value in values {
        sum += value;
        sums.push(sum);
    }
    (0..values.len())
        .map(|index| {
            let (from, to) = (index.saturating_sub(half), (index + half + 1).min(values.len()));
            // Rounding of the running sum must not make a standing kart creep backwards.
            ((sums[to] - sums[from]) / (2 * half + 1) as f64).max(0.0)
        })
        .collect()
}

fn states(line: &DrivenLine, speed_mps: &[f64]) -> Vec<State> {
    let mut distance_m = 0.0;
    let mut states: Vec<State> = Vec::with_capacity(speed_mps.len());
    for (index, speed) in speed_mps.iter().enumerate() {
        let before = speed_mps[index.saturating_sub(1)];
        let after = speed_mps[(index + 1).min(speed_mps.len() - 1)];
        if index > 0 {
            distance_m += 0.5 * (before + speed) * STATE_STEP_S;
        }
        let node = line.at(distance_m);
        let speed_mps = if *speed < STANDING_MPS { 0.0 } else { *speed };
        states.push(State {
            t_s: index as f64 * STATE_STEP_S,
            x_m: node.position.x_m,
            y_m: node.position.y_m,
            speed_mps,
            acceleration_mps2: (after - before) / (2.0 * STATE_STEP_S),
            heading_rad: node.heading_rad,
            curvature_per_m: node.curvature_per_m,
            yaw_rate_radps: speed_mps * node.curvature_per_m,
            distance_m,
        });
    }
    states
}
