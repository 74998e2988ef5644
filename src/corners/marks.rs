//! Turn-in and exit of one pass: the rough shape from the smoothed path, the exact place from the raw measurements.

use crate::corners::break_fit::{Along, Evidence, Measured, fit_rise};
use crate::corners::profile::{At, RoughRise, mirrored, rough_rise, time_at};
use crate::geom::Point;
use crate::session::{Channel, Estimate, Path};
use crate::smooth::Noise;

/// What was measured, as the fits use it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Measurements<'a> {
    pub(super) path: &'a Path,
    pub(super) noise: &'a Noise,
    /// Yaw rate with its sign settled, rad/s; where it is, it alone places the marks.
    pub(super) yaw_rate: Option<&'a Channel>,
    /// Course, rad, wrapped.
    pub(super) heading: Option<&'a Channel>,
    /// Positions on the plane.
    pub(super) fixes: &'a [(f64, Point)],
    /// Whether the way is known (else the fit runs against time).
    pub(super) has_speed: bool,
}

/// The window of the pass: log times, and those between which the largest bend is sought.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Window {
    pub(super) from_s: f64,
    pub(super) core_s: (f64, f64),
    pub(super) to_s: f64,
    /// +1 for a left corner, −1 for a right.
    pub(super) sign: f64,
}

/// Which end of the corner a fit is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum End {
    TurnIn,
    Exit,
}

/// How much of the approach enters the fit: seconds of driving, and metres at the most.
const APPROACH_S: f64 = 1.5;
const APPROACH_M: f64 = 30.0;
/// Slower than this, m/s, curvature from a yaw rate means nothing.
const MIN_SPEED_MPS: f64 = 1.0;
/// Even steps of the path under courses and positions, m.
const ALONG_STEP_M: f64 = 0.5;
/// Fits with fewer yaw-rate samples per second than this fall back on courses and positions.
const MIN_YAW_HZ: f64 = 4.0;

/// Log time of the turn-in or exit with its interval. `None` where no lasting rise is found.
pub(super) fn locate(measured: &Measurements<'_>, window: &Window, end: End) -> Option<Estimate> {
    let forward = profile(measured, window);
    let (profile, core_s) = match end {
        End::TurnIn => (forward, window.core_s),
        End::Exit => (mirrored(&forward), (window.core_s.1, window.core_s.0)),
    };
    let s_at =
        |t_s: f64| profile.iter().min_by(|a, b| (a.t_s - t_s).abs().total_cmp(&(b.t_s - t_s).abs())).map(|it| it.s);
    let core = (s_at(core_s.0)?, s_at(core_s.1)?);
    let speed_mps = if measured.has_speed { mean_speed(measured.path, window) } else { 1.0 };
    let approach = if measured.has_speed { (APPROACH_S * speed_mps).min(APPROACH_M) } else { APPROACH_S };
    let rough = rough_rise(&profile, core, approach)?;
    let evidence = evidence(measured, window, end, &profile, &rough);
    let found = fit_rise(&evidence, (rough.from, rough.to), rough.low, rough.high)?;
    let t_s = time_at(&profile, found.s)?;
    let pace = if measured.has_speed { measured.path.at(t_s)?.speed_mps.max(MIN_SPEED_MPS) } else { 1.0 };
    Some(Estimate::from_variance(t_s, found.variance / (pace * pace) + sampling_variance_s2(&evidence, pace)))
}

/// A break between two samples is not known better than to a small share of their distance, whatever the noise:
/// no steering shape is exactly the fitted one. The share is what the sample's other shapes leave (docs/methods.md).
fn sampling_variance_s2(evidence: &Evidence, pace: f64) -> f64 {
    const SHARE: f64 = 0.10;
    let all = if evidence.curvature.is_empty() { &evidence.position } else { &evidence.curvature };
    let interval = match (all.first(), all.last()) {
        (Some(first), Some(last)) if all.len() > 1 => (last.s - first.s).abs() / (all.len() - 1) as f64,
        _ => return 0.0,
    };
    (SHARE * interval / pace).powi(2)
}

fn mean_speed(path: &Path, window: &Window) -> f64 {
    path.at(window.core_s.0).map_or(10.0, |it| it.speed_mps)
}

/// The pass's bend from the smoothed path.
fn profile(measured: &Measurements<'_>, window: &Window) -> Vec<At> {
    let states = &measured.path.states;
    let from = states.partition_point(|it| it.t_s < window.from_s);
    let to = states.partition_point(|it| it.t_s <= window.to_s);
    let mut profile: Vec<At> = Vec::with_capacity(to - from);
    for state in &states[from..to] {
        let (s, bend) = if measured.has_speed {
            (state.travelled_m, state.yaw_rate_radps / state.speed_mps.max(MIN_SPEED_MPS))
        } else {
            (state.t_s, state.yaw_rate_radps)
        };
        if profile.last().is_none_or(|last| s > last.s) {
            profile.push(At { s, t_s: state.t_s, bend: window.sign * bend });
        }
    }
    profile
}

fn evidence(measured: &Measurements<'_>, window: &Window, end: End, profile: &[At], rough: &RoughRise) -> Evidence {
    let level_sigma = 0.15 * rough.plateau;
    let times = (time_at(profile, rough.low), time_at(profile, rough.high));
    let (Some(a), Some(b)) = times else { return Evidence::default() };
    let (from_s, to_s) = (a.min(b), a.max(b));
    let mirror = if end == End::Exit { -1.0 } else { 1.0 };
    let yaw_rate = measured.yaw_rate.filter(|it| it.rate_hz().is_some_and(|rate_hz| rate_hz >= MIN_YAW_HZ));
    if let Some(yaw_rate) = yaw_rate {
        let curvature = yaw_evidence(measured, yaw_rate, window.sign, mirror, (from_s, to_s));
        return Evidence { curvature, level_sigma, ..Evidence::default() };
    }
    let place = |t_s: f64| measured.path.at(t_s).map(|state| (state, mirror * state.travelled_m));
    let mut position = Vec::new();
    for (t_s, fix) in between(measured.fixes, from_s, to_s) {
        let Some((state, s)) = place(*t_s) else { continue };
        let left = Point::unit(state.heading_rad).left();
        let value = window.sign * (*fix - Point::new(state.x_m, state.y_m)).dot(left);
        position.push(Measured { s, value, sigma: measured.noise.position_m });
    }
    let mut heading = Vec::new();
    for (t_s, course_rad) in
        measured.heading.iter().flat_map(|it| it.iter()).filter(|(t, _)| *t >= from_s && *t <= to_s)
    {
        let Some((state, s)) = place(t_s) else { continue };
        let value = window.sign * mirror * crate::units::wrap_angle(course_rad - state.heading_rad);
        let sigma = measured.noise.across_speed_mps / state.speed_mps.max(MIN_SPEED_MPS);
        heading.push(Measured { s, value, sigma });
    }
    if end == End::Exit {
        position.reverse();
        heading.reverse();
    }
    let along = along(measured.path, (from_s, to_s), window.sign, mirror);
    let pace = place(0.5 * (from_s + to_s)).map_or(10.0, |it| it.0.speed_mps.max(MIN_SPEED_MPS));
    Evidence { curvature: Vec::new(), heading, position, along, wander: measured.noise.wander_m2ps / pace, level_sigma }
}

/// Curvature samples: the raw yaw rate over the smoothed speed.
fn yaw_evidence(
    measured: &Measurements<'_>,
    yaw_rate: &Channel,
    sign: f64,
    mirror: f64,
    (from_s, to_s): (f64, f64),
) -> Vec<Measured> {
    let first = yaw_rate.t_s.partition_point(|it| *it < from_s);
    let last = yaw_rate.t_s.partition_point(|it| *it <= to_s);
    let mut samples: Vec<Measured> = (first..last)
        .filter_map(|index| {
            let (t_s, value) = (yaw_rate.t_s[index], yaw_rate.value[index]);
            let sigma = measured.noise.yaw_rate_radps;
            if !measured.has_speed {
                return Some(Measured { s: mirror * t_s, value: sign * value, sigma });
            }
            let state = measured.path.at(t_s)?;
            let speed_mps = state.speed_mps.max(MIN_SPEED_MPS);
            Some(Measured { s: mirror * state.travelled_m, value: sign * value / speed_mps, sigma: sigma / speed_mps })
        })
        .collect();
    if mirror < 0.0 {
        samples.reverse();
    }
    samples
}

fn between(fixes: &[(f64, Point)], from_s: f64, to_s: f64) -> &[(f64, Point)] {
    let first = fixes.partition_point(|it| it.0 < from_s);
    let last = fixes.partition_point(|it| it.0 <= to_s);
    &fixes[first..last]
}

/// The smoothed path at even steps, its curvature taken from its own heading so that the two agree.
fn along(path: &Path, (from_s, to_s): (f64, f64), sign: f64, mirror: f64) -> Vec<Along> {
    let (Some(first), Some(last)) = (path.at(from_s), path.at(to_s)) else { return Vec::new() };
    let length_m = last.travelled_m - first.travelled_m;
    if length_m <= 2.0 * ALONG_STEP_M {
        return Vec::new();
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a window is tens of metres")]
    let steps = (length_m / ALONG_STEP_M).ceil() as usize;
    let from = path.states.partition_point(|it| it.t_s < from_s).saturating_sub(1);
    let mut after = from + 1;
    let mut points: Vec<Along> = (0..=steps)
        .filter_map(|step| {
            let at_m = first.travelled_m + length_m * step as f64 / steps as f64;
            while after + 1 < path.states.len() && path.states[after].travelled_m < at_m {
                after += 1;
            }
            let (a, b) = (path.states.get(after - 1)?, path.states.get(after)?);
            let share = ((at_m - a.travelled_m) / (b.travelled_m - a.travelled_m).max(1e-9)).clamp(0.0, 1.0);
            let heading_rad = path.at(a.t_s + share * (b.t_s - a.t_s))?.heading_rad;
            Some(Along { s: mirror * at_m, heading_rad: sign * mirror * heading_rad, curvature: 0.0 })
        })
        .collect();
    if mirror < 0.0 {
        points.reverse();
    }
    let count = points.len();
    for index in 0..count {
        let (a, b) = (points[index.saturating_sub(1)], points[(index + 1).min(count - 1)]);
        points[index].curvature = (b.heading_rad - a.heading_rad) / (b.s - a.s);
    }
    points
}
