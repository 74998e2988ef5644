//! Forward filter and backward smoother over one piece of the log.

use crate::geom::Point;
use crate::session::PathState;
use crate::smooth::measure::Step;
use crate::smooth::noise::Noise;
use crate::smooth::state::{
    ACCELERATION, BIAS, Belief, HEADING, Matrix, SPEED, Scalar, Vector, X, Y, YAW_RATE, predict, update,
};
use crate::units::wrap_angle;

/// A measurement this many standard deviations out is passed over, unless it goes on.
const GATE_SIGMAS: f64 = 6.0;
/// After this many positions passed over in a row the filter has lost the kart and takes the next as true.
const LOST_AFTER: u32 = 4;
/// Slower than this, m/s, a measured course says nothing.
const COURSE_SPEED_MPS: f64 = 2.0;

/// Pedals do not move like white noise: where they change, the smoothed speed is off by more than the filter says.
/// Factor of the variance, chosen on the sample (docs/methods.md#intervals).
pub const SPEED_MODEL_FACTOR: f64 = 1.5;

struct Forward {
    predicted: Belief,
    filtered: Belief,
    transition: Matrix,
}

/// The states at some steps, and how likely the measurements are under them.
pub(super) struct Smoothing {
    pub(super) states: Vec<PathState>,
    pub(super) log_likelihood: f64,
}

/// Smooths steps without a gap. `liveliness` scales the jerk's density on the way to each step; where it has no value
/// the density is as estimated. `None` where no step has a position.
pub(super) fn smooth_steps(steps: &[Step], noise: &Noise, liveliness: &[f64]) -> Option<Smoothing> {
    let first = first_belief(steps, noise)?;
    let mut forward: Vec<Forward> = Vec::with_capacity(steps.len());
    let log_likelihood = run_forward(steps, first, noise, liveliness, |predicted, filtered, transition| {
        forward.push(Forward { predicted, filtered, transition });
    });
    let smoothed = run_backward(&forward);
    let states = steps.iter().zip(&smoothed).map(|(step, belief)| to_state(step.t_s, belief)).collect();
    Some(Smoothing { states, log_likelihood })
}

/// Log likelihood of the innovations over some steps: what the noise is judged by.
pub(super) fn log_likelihood(steps: &[Step], noise: &Noise) -> f64 {
    match first_belief(steps, noise) {
        Some(first) => run_forward(steps, first, noise, &[], |_, _, _| ()),
        None => f64::NEG_INFINITY,
    }
}

fn run_forward(
    steps: &[Step],
    first: Belief,
    noise: &Noise,
    liveliness: &[f64],
    mut keep: impl FnMut(Belief, Belief, Matrix),
) -> f64 {
    let mut belief = first;
    let mut last_t_s = steps[0].t_s;
    let mut lost = 0;
    let mut total = 0.0;
    for (index, step) in steps.iter().enumerate() {
        let dt_s = step.t_s - last_t_s;
        let now = noise.with_jerk_density_times(liveliness.get(index).copied().unwrap_or(1.0));
        let (predicted, transition) =
            if dt_s > 0.0 { predict(&belief, dt_s, &now) } else { (belief.clone(), Matrix::identity()) };
        belief = predicted.clone();
        total += take_in(&mut belief, step, noise, &mut lost);
        if belief.mean[SPEED] < -BACKWARDS_MPS {
            // Set off the other way than the heading was taken for: the same motion, told the right way round.
            turn_round(&mut belief);
            let mut turned = predicted;
            turn_round(&mut turned);
            keep(turned, belief.clone(), turned_round(transition));
        } else {
            keep(predicted, belief.clone(), transition);
        }
        last_t_s = step.t_s;
    }
    total
}

/// A kart does not drive backwards: faster than this, m/s, and the heading is the wrong way round.
const BACKWARDS_MPS: f64 = 0.7;

/// The same belief with the heading the other way round: speed and acceleration change their sign.
fn turn_round(belief: &mut Belief) {
    for index in [SPEED, ACCELERATION] {
        belief.mean[index] = -belief.mean[index];
        belief.covariance.row_mut(index).neg_mut();
        belief.covariance.column_mut(index).neg_mut();
    }
    belief.mean[HEADING] += std::f64::consts::PI;
}

/// A transition into a belief that was turned round.
fn turned_round(mut transition: Matrix) -> Matrix {
    for index in [SPEED, ACCELERATION] {
        transition.row_mut(index).neg_mut();
    }
    transition
}

fn take_in(belief: &mut Belief, step: &Step, noise: &Noise, lost: &mut u32) -> f64 {
    let mut total = 0.0;
    if let Some(yaw_rate) = step.yaw_rate_radps {
        let innovation = yaw_rate - belief.mean[YAW_RATE] - belief.mean[BIAS];
        let variance = noise.yaw_rate_radps.powi(2) / f64::from(step.yaw_count.max(1));
        let row = [(YAW_RATE, 1.0), (BIAS, 1.0)];
        total += update(belief, &Scalar { row: &row, innovation, variance }, GATE_SIGMAS * 2.0).0;
    }
    if let Some(speed) = step.speed_mps {
        let innovation = speed - belief.mean[SPEED];
        let scalar = Scalar { row: &[(SPEED, 1.0)], innovation, variance: noise.speed_mps.powi(2) };
        total += update(belief, &scalar, GATE_SIGMAS * 2.0).0;
    }
    if let Some(heading) = step.heading_rad.filter(|_| belief.mean[SPEED] > COURSE_SPEED_MPS) {
        let innovation = wrap_angle(heading - belief.mean[HEADING]);
        let variance = (noise.across_speed_mps / belief.mean[SPEED]).powi(2);
        total += update(belief, &Scalar { row: &[(HEADING, 1.0)], innovation, variance }, GATE_SIGMAS).0;
    }
    if let Some(acceleration) = step.acceleration_mps2 {
        let innovation = acceleration - belief.mean[ACCELERATION];
        let scalar = Scalar { row: &[(ACCELERATION, 1.0)], innovation, variance: noise.acceleration_mps2.powi(2) };
        total += update(belief, &scalar, GATE_SIGMAS).0;
    }
    if let Some(position) = step.position {
        let gate = if *lost >= LOST_AFTER { f64::INFINITY } else { GATE_SIGMAS };
        let variance = noise.position_m.powi(2);
        if gate.is_infinite() {
            // Whatever put the filter off the kart, position and heading are uncertain now.
            belief.covariance[(X, X)] += 100.0;
            belief.covariance[(Y, Y)] += 100.0;
            belief.covariance[(HEADING, HEADING)] += 0.3;
        }
        let mut taken_both = true;
        for (axis, value) in [(X, position.x_m), (Y, position.y_m)] {
            let innovation = value - belief.mean[axis];
            let (likelihood, taken) = update(belief, &Scalar { row: &[(axis, 1.0)], innovation, variance }, gate);
            total += likelihood;
            taken_both &= taken;
        }
        *lost = if taken_both { 0 } else { *lost + 1 };
    }
    total
}

/// Rauch, Tung and Striebel, 1965: each state corrected by what the later ones taught.
fn run_backward(forward: &[Forward]) -> Vec<Belief> {
    let mut smoothed: Vec<Belief> = forward.iter().map(|it| it.filtered.clone()).collect();
    for index in (0..forward.len().saturating_sub(1)).rev() {
        let next = &forward[index + 1];
        let this = &forward[index].filtered;
        let Some(cholesky) = next.predicted.covariance.cholesky() else { continue };
        // gain = P Fᵀ P⁻ ⁻¹, from the transposed system to avoid an explicit inverse.
        let gain = cholesky.solve(&(next.transition * this.covariance)).transpose();
        let later = smoothed[index + 1].clone();
        let correction: Vector = later.mean - next.predicted.mean;
        let mean = this.mean + gain * correction;
        let covariance = this.covariance + gain * (later.covariance - next.predicted.covariance) * gain.transpose();
        smoothed[index] = Belief { mean, covariance: (covariance + covariance.transpose()) * 0.5 };
    }
    smoothed
}

fn to_state(t_s: f64, belief: &Belief) -> PathState {
    let (m, p) = (&belief.mean, &belief.covariance);
    let (sin, cos) = m[HEADING].sin_cos();
    let along = p[(X, X)] * cos * cos + 2.0 * p[(X, Y)] * sin * cos + p[(Y, Y)] * sin * sin;
    let across = p[(X, X)] * sin * sin - 2.0 * p[(X, Y)] * sin * cos + p[(Y, Y)] * cos * cos;
    // A kart rolled backwards is a kart that stands: speed over ground is never negative.
    PathState {
        t_s,
        x_m: m[X],
        y_m: m[Y],
        speed_mps: m[SPEED].max(0.0),
        heading_rad: m[HEADING],
        yaw_rate_radps: m[YAW_RATE],
        acceleration_mps2: m[ACCELERATION],
        travelled_m: 0.0,
        across_variance_m2: across.max(0.0),
        along_variance_m2: along.max(0.0),
        speed_variance: SPEED_MODEL_FACTOR * p[(SPEED, SPEED)].max(0.0),
        heading_variance: p[(HEADING, HEADING)].max(0.0),
        yaw_rate_variance: p[(YAW_RATE, YAW_RATE)].max(0.0),
    }
}

/// How far the kart must have moved, m, before the direction between two fixes is taken for its heading.
const HEADING_BASE_M: f64 = 4.0;

/// Where the kart is at the first step, from the first fixes themselves.
fn first_belief(steps: &[Step], noise: &Noise) -> Option<Belief> {
    let mut fixes = steps.iter().filter_map(|step| Some((step.t_s, step.position?)));
    let (start_s, start) = fixes.next()?;
    let base_m = HEADING_BASE_M.max(6.0 * noise.position_m);
    let moved: Option<(f64, Point)> = fixes.find(|(_, position)| position.distance_m(start) > base_m);
    let measured_speed = steps.iter().take(20).find_map(|step| step.speed_mps);
    let mut mean = Vector::zeros();
    (mean[X], mean[Y]) = (start.x_m, start.y_m);
    let mut sigma = [3.0 * noise.position_m, 3.0 * noise.position_m, 5.0, 1.0, 0.3, 3.0, noise.bias_radps];
    if let Some((t_s, position)) = moved {
        let chord = position - start;
        mean[HEADING] = chord.y_m.atan2(chord.x_m);
        mean[SPEED] = chord.x_m.hypot(chord.y_m) / (t_s - start_s);
        sigma[HEADING] = 0.5;
    } else {
        sigma[HEADING] = 2.0;
    }
    if let Some(speed) = measured_speed {
        mean[SPEED] = speed;
        sigma[SPEED] = 2.0 * noise.speed_mps + 0.5;
    }
    if let Some(heading) = steps.iter().take(5).find_map(|step| step.heading_rad)
        && mean[SPEED] > COURSE_SPEED_MPS
    {
        mean[HEADING] = heading;
        sigma[HEADING] = 0.2;
    }
    mean[BIAS] = 0.0;
    Some(Belief { mean, covariance: Matrix::from_diagonal(&Vector::from(sigma).component_mul(&Vector::from(sigma))) })
}
