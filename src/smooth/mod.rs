//! Samples to a smoothed path: an extended Kalman filter forward, a Rauch–Tung–Striebel smoother backward, over
//! position, speed, heading, yaw rate, acceleration and gyro bias. Works with positions alone and takes speed, course,
//! yaw rate and accelerations where the log has them. Never bridges a gap: the path is cut there and the gap listed.

mod filter;
pub mod linear;
mod liveliness;
mod measure;
mod noise;
mod settle;
mod state;

use crate::geom::Point;
use crate::geom::plane::Plane;
use crate::job;
use crate::session::{Channel, ChannelKind, Note, NoteKind, Path, PathState, Samples};
use crate::smooth::liveliness::liveliness;

pub use filter::SPEED_MODEL_FACTOR;
pub use measure::Step;
pub use noise::Noise;

/// The path with what later stages need of how it came about.
#[derive(Debug, Clone)]
pub struct Smoothed {
    pub path: Path,
    /// The noise that was estimated from the log itself.
    pub noise: Noise,
    /// The measured yaw rate as used: sign and unit settled, bias taken out, rad/s positive to the left, every sample.
    pub yaw_rate: Option<Channel>,
    /// Measured course as used, rad.
    pub heading: Option<Channel>,
    /// Positions on the plane, by log time in s.
    pub fixes: Vec<(f64, Point)>,
    /// Measured speed at the path's scale, m/s.
    pub speed: Option<Channel>,
    pub notes: Vec<Note>,
}

/// Smooths a log with positions on the given plane.
/// Degenerate: fewer than two fixes give a path without states.
pub fn smooth(samples: &Samples, plane: &Plane, context: &job::Context) -> Result<Smoothed, job::Cancelled> {
    let mut notes = Vec::new();
    let settled = settle::settle(samples, plane, &mut notes);
    let stretches = measure::stretches(&settled);
    let mut noise = noise::estimate(&settled, &stretches);
    context.check()?;
    let pieces = measure::pieces(&stretches);
    let slow = noise::fix_rate_hz(&settled) < SLOW_HZ && settled.yaw_rate.is_none();
    let smoothed_pieces = job::map_parallel(&pieces, |piece| {
        if context.is_cancelled() {
            return Vec::new();
        }
        let followed = if slow { None } else { follow(piece, &noise) };
        followed.unwrap_or_else(|| linear::smooth_piece(piece, settled.speed.as_ref(), noise.position_m))
    });
    context.check()?;
    let mut path = Path { states: smoothed_pieces.into_iter().flatten().collect(), gaps: Vec::new() };
    path.gaps = measure::gaps(&settled.fixes.iter().map(|(t_s, _)| *t_s).collect::<Vec<_>>());
    join_headings(&mut path.states);
    measure_travel(&mut path);
    noise.wander_m2ps = noise::wander_m2ps(&settled, &path);
    if settled.speed.is_none() {
        notes.push(Note::new(NoteKind::SpeedFromPath));
    }
    let settle::Settled { fixes, speed, heading, yaw_rate, .. } = settled;
    Ok(Smoothed { path, noise, yaw_rate, heading, fixes, speed, notes })
}

/// Fixes a second below which a turn is over before the next fix: without a yaw rate no heading can be followed.
const SLOW_HZ: f64 = 1.5;
/// A path farther than this, m, and than so many standard deviations, from more than one fix in twenty has lost the
/// kart.
const LOST_M: f64 = 1.5;
const LOST_SIGMAS: f64 = 8.0;

/// The states of a piece's core (its overlap with neighbours only steadies the ends), smoothed with one density of the
/// jerk first and then with the pedals as sudden as that shows them. `None` where the filter loses the kart.
fn follow(piece: &measure::Piece<'_>, noise: &Noise) -> Option<Vec<PathState>> {
    let core = |it: &filter::Smoothing| Some(it.states.get(piece.core.clone())?.to_vec());
    let evenly = filter::smooth_steps(piece.steps, noise, &[])?;
    let states = core(&evenly).filter(|it| stays_with(it, piece, noise.position_m))?;
    let lively = filter::smooth_steps(piece.steps, noise, &liveliness(&evenly.states, noise.jerk))
        // A filter too sure of its calm loses what it was sure of: then the first counts.
        .filter(|it| it.log_likelihood > evenly.log_likelihood)
        .and_then(|it| core(&it))
        .filter(|it| stays_with(it, piece, noise.position_m));
    Some(lively.unwrap_or(states))
}

/// Whether the states are sound and stay with the fixes.
fn stays_with(states: &[PathState], piece: &measure::Piece<'_>, position_m: f64) -> bool {
    if !states.iter().all(|it| it.x_m.is_finite() && it.y_m.is_finite() && it.speed_mps.is_finite()) {
        return false;
    }
    // States and steps are of the same times.
    let misses = piece.steps[piece.core.clone()]
        .iter()
        .zip(states)
        .filter_map(|(step, state)| Some(Point::new(state.x_m, state.y_m).distance_m(step.position?)));
    let (mut fixes, mut lost) = (0, 0);
    for miss_m in misses {
        fixes += 1;
        lost += usize::from(miss_m > LOST_M.max(LOST_SIGMAS * position_m));
    }
    lost * 20 <= fixes
}

/// A path for a log without positions: speed where it is measured, heading from the yaw rate, no place.
/// `x_m`, `y_m` are zero and their variances infinite; without a speed channel so is the speed's.
pub fn without_position(samples: &Samples) -> Option<(Path, Channel)> {
    let yaw_rate = settle::binned(samples.channel(ChannelKind::YawRate)?);
    let speed = samples.channel(ChannelKind::Speed);
    let sigma = noise::white_sigma(&yaw_rate.value);
    let smoothed = noise::smooth_uniformly(&yaw_rate, settle::YAW_ONLY_WINDOW_S);
    let mut heading_rad = 0.0;
    let mut travelled_m = 0.0;
    let mut states: Vec<PathState> = Vec::with_capacity(yaw_rate.len());
    for (t_s, yaw_rate_radps) in smoothed.iter() {
        let speed_mps = speed.map(|it| noise::interpolate(it, t_s));
        if let Some(last) = states.last() {
            let dt_s = t_s - last.t_s;
            heading_rad += 0.5 * dt_s * (yaw_rate_radps + last.yaw_rate_radps);
            travelled_m += 0.5 * dt_s * (speed_mps.unwrap_or(0.0) + last.speed_mps);
        }
        let acceleration_mps2 = speed.map_or(0.0, |it| {
            let half_s = 0.15;
            (noise::interpolate(it, t_s + half_s) - noise::interpolate(it, t_s - half_s)) / (2.0 * half_s)
        });
        states.push(PathState {
            t_s,
            x_m: 0.0,
            y_m: 0.0,
            speed_mps: speed_mps.unwrap_or(0.0),
            heading_rad,
            yaw_rate_radps,
            acceleration_mps2,
            travelled_m,
            across_variance_m2: f64::INFINITY,
            along_variance_m2: f64::INFINITY,
            speed_variance: speed.map_or(f64::INFINITY, |it| noise::white_sigma(&it.value).powi(2)),
            heading_variance: f64::INFINITY,
            yaw_rate_variance: sigma * sigma,
        });
    }
    let gaps = measure::gaps(&yaw_rate.t_s);
    Some((Path { states, gaps }, yaw_rate))
}

/// Each piece begins with a heading of its own within a turn: full turns are added so that it goes on from the last.
fn join_headings(states: &mut [PathState]) {
    let mut turns_rad = 0.0;
    for index in 1..states.len() {
        let step_rad = states[index].heading_rad + turns_rad - states[index - 1].heading_rad;
        turns_rad -= (step_rad / std::f64::consts::TAU).round() * std::f64::consts::TAU;
        states[index].heading_rad += turns_rad;
    }
}

/// Fills in the metres travelled: the trapezoid rule over the smoothed speed, and the straight way over a gap.
fn measure_travel(path: &mut Path) {
    let mut travelled_m = 0.0;
    let mut gaps = path.gaps.iter().peekable();
    for index in 1..path.states.len() {
        let (a, b) = (path.states[index - 1], path.states[index]);
        while gaps.peek().is_some_and(|gap| gap.1 <= a.t_s) {
            gaps.next();
        }
        let over_gap = gaps.peek().is_some_and(|gap| a.t_s >= gap.0);
        travelled_m += if over_gap {
            (b.x_m - a.x_m).hypot(b.y_m - a.y_m)
        } else {
            0.5 * (a.speed_mps + b.speed_mps) * (b.t_s - a.t_s)
        };
        path.states[index].travelled_m = travelled_m;
    }
}
