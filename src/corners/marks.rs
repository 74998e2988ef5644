//! Turn-in and exit of one pass: the rough shape from the smoothed path, the exact place from the raw measurements.

use crate::corners::profile::{At, RoughRise, Sought, mirrored, rough_rise, time_at};
use crate::corners::rise_fit::{Guess, Measured, fit_rise};
use crate::corners::shape_fit::{Along, Evidence, Expected, Hold, Shape, fit_shape};
use crate::corners::slip::slip_rate_radps;
use crate::geom::Point;
use crate::session::{Channel, Estimate, Path};
use crate::smooth::Noise;
use crate::units::wrap_angle;

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
    /// When the corner's middle is passed.
    pub(super) middle_s: f64,
    pub(super) to_s: f64,
    /// +1 for a left corner, −1 for a right.
    pub(super) sign: f64,
    /// Whether the corner has two apexes: the line eases between two arcs of it.
    pub(super) two_apexes: bool,
}

/// Which end of the corner a mark is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum End {
    TurnIn,
    Exit,
}

/// How much of the approach enters a fit: seconds of driving, and metres at the most.
const APPROACH_S: f64 = 1.5;
const APPROACH_M: f64 = 30.0;
/// Slower than this, m/s, curvature from a yaw rate means nothing.
const MIN_SPEED_MPS: f64 = 1.0;
/// Even steps of the path under courses and positions, m.
const ALONG_STEP_M: f64 = 0.5;
/// Outside the corner the curvature is expected to be 0 within this share of the plateau (standard deviation): a yaw
/// rate tells the level by itself, positions need to be told that straights are straight (trial).
const SEEN_LEVEL_SHARE: f64 = 0.15;
const SUPPOSED_LEVEL_SHARE: f64 = 0.04;
/// A yaw rate with fewer samples per second than this cannot place a mark.
const MIN_YAW_HZ: f64 = 4.0;
/// What the shape of the steering leaves uncertain, as a share of the rise (standard deviation): no steering is
/// exactly level-then-slope, and where its foot is rounded the break moves with what the window happens to hold.
/// Chosen on the sample's shapes (docs/methods.md#intervals).
const SHAPE_SHARE: f64 = 0.025;

impl Measurements<'_> {
    /// Whether the yaw rate is dense enough to place marks.
    pub(super) fn has_yaw_rate(&self) -> bool {
        self.yaw_rate.and_then(Channel::rate_hz).is_some_and(|rate_hz| rate_hz >= MIN_YAW_HZ)
    }
}

/// Where a pass's bend reaches half height on its way up and down, from the corner's middle along the way.
pub(super) type Halves = [Option<f64>; 2];

/// The halves of one pass seen by itself.
pub(super) fn halves(measured: &Measurements<'_>, window: &Window) -> Halves {
    let forward = profile(measured, window);
    let Some(middle) = way_at(&forward, window.middle_s) else { return [None; 2] };
    let half = |end: End, profile: &[At]| rough(measured, window, end, profile, None).map(|it| it.half);
    [half(End::TurnIn, &forward).map(|s| s - middle), half(End::Exit, &mirrored(&forward)).map(|s| -s - middle)]
}

/// Turn-in and exit, log times with intervals, from the raw yaw rate over the smoothed speed; each `None` where no
/// lasting rise is found. `usual` tells where the laps on the whole have their halves.
pub(super) fn by_yaw_rate(measured: &Measurements<'_>, window: &Window, usual: Halves) -> [Option<Estimate>; 2] {
    let forward = profile(measured, window);
    let mirrored = mirrored(&forward);
    [
        fitted(measured, window, End::TurnIn, &forward, usual[0]),
        fitted(measured, window, End::Exit, &mirrored, usual[1]),
    ]
}

fn fitted(
    measured: &Measurements<'_>,
    window: &Window,
    end: End,
    profile: &[At],
    usual: Option<f64>,
) -> Option<Estimate> {
    let rough = rough(measured, window, end, profile, usual)?;
    let samples = yaw_samples(measured, window.sign, end, (time_at(profile, rough.low)?, time_at(profile, rough.far)?));
    let guess = Guess {
        low: rough.low,
        half: rough.half,
        far: rough.far,
        plateau: rough.plateau,
        level_sigma: SEEN_LEVEL_SHARE * rough.plateau,
    };
    let rise = fit_rise(&samples, &guess)?;
    let (t_s, full_s) = (time_at(profile, rise.from)?, time_at(profile, rise.to)?);
    let pace = if measured.has_speed { measured.path.at(t_s)?.speed_mps.max(MIN_SPEED_MPS) } else { 1.0 };
    let shape = (SHAPE_SHARE * (rise.to - rise.from)).powi(2) + sampling_variance(&samples);
    let slid_s = slid_s(measured, rough.plateau * pace, (t_s.min(full_s), t_s.max(full_s)));
    if slid_s > MOST_SLID_S.max(0.5 * (full_s - t_s).abs()) {
        return None;
    }
    Some(Estimate::from_variance(t_s, (rise.variance + shape) / (pace * pace) + slid_s * slid_s))
}

/// A mark that a slide may have moved by more than this, s, and by more than half of the ramp, tells nothing.
const MOST_SLID_S: f64 = 0.5;

/// A slide also shortens the ramp that its own effect is reckoned from (trial: invented slides of up to 15°).
const SLID_FACTOR: f64 = 2.0;

/// How far a slide may move a mark, s: turning apart from the path adds to the yaw rate, which grows to `full_radps`
/// over the ramp.
fn slid_s(measured: &Measurements<'_>, full_radps: f64, ramp_s: (f64, f64)) -> f64 {
    let Some(yaw_rate) = measured.yaw_rate else { return 0.0 };
    let length_s = ramp_s.1 - ramp_s.0;
    // The ramp found is the slide's as well: the true one may begin or end beside it.
    let about_s = (ramp_s.0 - 0.5 * length_s, ramp_s.1 + 0.5 * length_s);
    let rate_radps = slip_rate_radps(yaw_rate, measured.fixes, measured.noise.position_m, about_s);
    SLID_FACTOR * rate_radps / full_radps.max(1e-3) * length_s.max(QUICK_WHEEL_S)
}

/// Between two samples the bend is not seen: a share of their distance stays uncertain whatever the noise.
fn sampling_variance(samples: &[Measured]) -> f64 {
    const SHARE: f64 = 0.10;
    match (samples.first(), samples.last()) {
        (Some(first), Some(last)) if samples.len() > 1 => {
            (SHARE * (last.s - first.s) / (samples.len() - 1) as f64).powi(2)
        }
        _ => 0.0,
    }
}

fn rough(
    measured: &Measurements<'_>,
    window: &Window,
    end: End,
    profile: &[At],
    usual: Option<f64>,
) -> Option<RoughRise> {
    let core_s = match end {
        End::TurnIn => window.core_s,
        End::Exit => (window.core_s.1, window.core_s.0),
    };
    let approach = if measured.has_speed {
        let speed_mps = measured.path.at(window.core_s.0).map_or(10.0, |it| it.speed_mps);
        (APPROACH_S * speed_mps).min(APPROACH_M)
    } else {
        APPROACH_S
    };
    let core = (way_at(profile, core_s.0)?, way_at(profile, core_s.1)?);
    // An exit's places run backwards.
    let forwards = if end == End::Exit { -1.0 } else { 1.0 };
    let usual = usual.zip(way_at(profile, window.middle_s)).map(|(half, middle)| middle + forwards * half);
    rough_rise(profile, &Sought { core, approach, two_apexes: window.two_apexes, usual })
}

/// The place of the profile nearest to a log time.
fn way_at(profile: &[At], t_s: f64) -> Option<f64> {
    profile.iter().min_by(|a, b| (a.t_s - t_s).abs().total_cmp(&(b.t_s - t_s).abs())).map(|it| it.s)
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

/// Curvature samples between two log times (in either order), in the order of the mirrored way for an exit.
fn yaw_samples(measured: &Measurements<'_>, sign: f64, end: End, (a_s, b_s): (f64, f64)) -> Vec<Measured> {
    let Some(yaw_rate) = measured.yaw_rate else { return Vec::new() };
    let mirror = if end == End::Exit { -1.0 } else { 1.0 };
    let first = yaw_rate.t_s.partition_point(|it| *it < a_s.min(b_s));
    let last = yaw_rate.t_s.partition_point(|it| *it <= a_s.max(b_s));
    let sigma = measured.noise.yaw_rate_radps;
    let mut samples: Vec<Measured> = (first..last)
        .filter_map(|index| {
            let (t_s, value) = (yaw_rate.t_s[index], sign * yaw_rate.value[index]);
            if !measured.has_speed {
                return Some(Measured { s: mirror * t_s, value, sigma });
            }
            let state = measured.path.at(t_s)?;
            let speed_mps = state.speed_mps.max(MIN_SPEED_MPS);
            Some(Measured { s: mirror * state.travelled_m, value: value / speed_mps, sigma: sigma / speed_mps })
        })
        .collect();
    if mirror < 0.0 {
        samples.reverse();
    }
    samples
}

/// A pass's whole shape from courses and positions, and the log times of its turn-in and exit.
#[derive(Debug, Clone)]
pub(super) struct Shaped {
    pub(super) shape: Shape,
    pub(super) turn_in: Estimate,
    pub(super) exit: Estimate,
    /// The usual length of a ramp up and down in a corner like this, m: the unit that ramps are compared in.
    pub(super) usual_m: [f64; 2],
}

/// A ramp's length in units of the usual one, before the session itself has told.
pub(super) const USUAL_RAMP: Expected = Expected { mean: 1.0, sigma: 0.5 };
/// The usual ramp lies between what a quick wheel needs, s, and a share of the corner from half height to half height
/// (their geometric mean): hands have a speed of their own, and a long bend is steered into slowly
/// (common practice, no source).
const QUICK_WHEEL_S: f64 = 0.5;
const RAMP_SHARE: f64 = 0.4;

/// Fits the whole corner, with what is expected of the ramps up and down in units of the usual ones.
pub(super) fn by_positions(
    measured: &Measurements<'_>,
    window: &Window,
    ramps: [Expected; 2],
    usual: Halves,
) -> Option<Shaped> {
    let forward = profile(measured, window);
    let rise = rough(measured, window, End::TurnIn, &forward, usual[0])?;
    let fall = rough(measured, window, End::Exit, &mirrored(&forward), usual[1])?;
    let (from_s, to_s) = (time_at(&forward, rise.reach)?, time_at(&forward, -fall.reach)?);
    let (up, down) = (0.5 * (rise.foot + rise.shoulder), -0.5 * (fall.foot + fall.shoulder));
    let usual_m = [up, down].map(|s| {
        let pace = time_at(&forward, s).and_then(|t_s| measured.path.at(t_s)).map_or(MIN_SPEED_MPS, |it| it.speed_mps);
        (QUICK_WHEEL_S * pace.max(MIN_SPEED_MPS) * RAMP_SHARE * (down - up).max(2.0)).sqrt()
    });
    let [rise_m, fall_m] = [0, 1]
        .map(|ramp| Expected { mean: ramps[ramp].mean * usual_m[ramp], sigma: ramps[ramp].sigma * usual_m[ramp] });
    let plateau = rise.plateau.max(fall.plateau);
    let mut evidence = evidence(measured, window, (from_s, to_s), plateau, [rise_m, fall_m])?;
    if window.two_apexes && rise.top < -fall.top {
        evidence.hold = between_tops(&forward, (up, down), (rise.top, -fall.top));
    }
    // The smoothed path rounds the shape: half height is where it was, the ramps' ends are not.
    let (half_up, half_down) = (0.5 * rise_m.mean, 0.5 * fall_m.mean);
    let hold = (down - up).max(2.0);
    let guess = [
        up - half_up.min(0.8 * hold),
        up + half_up.min(0.4 * hold),
        down - half_down.min(0.4 * hold),
        down + half_down.min(0.8 * hold),
    ];
    let shape = fit_shape(&evidence, guess, plateau)?;
    let mark = |index: usize| {
        let t_s = time_at(&forward, shape.breaks[index])?;
        let pace = measured.path.at(t_s)?.speed_mps.max(MIN_SPEED_MPS);
        Some(Estimate::from_variance(t_s, shape.covariance[index][index] / (pace * pace)))
    };
    Some(Shaped { turn_in: mark(0)?, exit: mark(3)?, shape, usual_m })
}

/// Bend at a place of the profile, or at the next.
fn bend_at(profile: &[At], s: f64) -> Option<f64> {
    profile.get(profile.partition_point(|it| it.s < s)).or(profile.last()).map(|it| it.bend)
}

/// What the hold of a corner with two apexes looks like, from the smoothed path.
fn between_tops(profile: &[At], (up, down): (f64, f64), tops: (f64, f64)) -> Option<Hold> {
    let (before, after) = (bend_at(profile, tops.0)?, bend_at(profile, tops.1)?);
    let straight = |s: f64| before + (after - before) * (s - up) / (down - up);
    let held = |it: &At| {
        let bend = if it.s < tops.0 {
            before
        } else if it.s > tops.1 {
            after
        } else {
            it.bend
        };
        (it.s, bend - straight(it.s))
    };
    let shape = profile.iter().filter(|it| it.s > up && it.s < down).map(held).collect();
    Some(Hold { shape, before, after })
}

fn evidence(
    measured: &Measurements<'_>,
    window: &Window,
    (from_s, to_s): (f64, f64),
    plateau: f64,
    [rise, fall]: [Expected; 2],
) -> Option<Evidence> {
    let along = along(measured.path, (from_s, to_s), window.sign);
    let mut position = Vec::new();
    for (t_s, fix) in between(measured.fixes, from_s, to_s) {
        let Some(state) = measured.path.at(*t_s) else { continue };
        let left = Point::unit(state.heading_rad).left();
        let value = window.sign * (*fix - Point::new(state.x_m, state.y_m)).dot(left);
        position.push(Measured { s: state.travelled_m, value, sigma: measured.noise.position_m });
    }
    let courses = measured.heading.iter().flat_map(|it| it.iter()).filter(|(t_s, _)| *t_s >= from_s && *t_s <= to_s);
    let heading = courses
        .filter_map(|(t_s, course_rad)| {
            let state = measured.path.at(t_s)?;
            let value = window.sign * wrap_angle(course_rad - state.heading_rad);
            let sigma = measured.noise.across_speed_mps / state.speed_mps.max(MIN_SPEED_MPS);
            Some(Measured { s: state.travelled_m, value, sigma })
        })
        .collect();
    let driven_m = along.last()?.s - along.first()?.s;
    let wander = measured.noise.wander_m2ps * (to_s - from_s) / driven_m;
    let level_sigma = SUPPOSED_LEVEL_SHARE * plateau;
    Some(Evidence { heading, position, along, wander, level_sigma, rise, fall, hold: None })
}

fn between(fixes: &[(f64, Point)], from_s: f64, to_s: f64) -> &[(f64, Point)] {
    let first = fixes.partition_point(|it| it.0 < from_s);
    let last = fixes.partition_point(|it| it.0 <= to_s);
    &fixes[first..last]
}

/// The smoothed path at even steps, its curvature taken from its own heading so that the two agree.
fn along(path: &Path, (from_s, to_s): (f64, f64), sign: f64) -> Vec<Along> {
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
            Some(Along { s: at_m, heading_rad: sign * heading_rad, curvature: 0.0 })
        })
        .collect();
    let count = points.len();
    for index in 0..count {
        let (a, b) = (points[index.saturating_sub(1)], points[(index + 1).min(count - 1)]);
        points[index].curvature = (b.heading_rad - a.heading_rad) / (b.s - a.s);
    }
    points
}

/// What the session's own passes say of the ramps at one corner: (length, variance) of each, freed of what it was told
/// to expect (`under`); `before` is the expectation before they are heard. All in units of the usual ramp.
pub(super) fn learned(ramps: &[(f64, f64)], under: Expected, before: Expected) -> Expected {
    let told = 1.0 / (under.sigma * under.sigma);
    let (mut weight, mut sum) = (1.0 / (before.sigma * before.sigma), before.mean / (before.sigma * before.sigma));
    for (mean, variance) in ramps {
        // Precision that the pass itself brought; a pass that brought none teaches nothing.
        let own = 1.0 / variance - told;
        if own <= 0.05 * told {
            continue;
        }
        let own_mean = (mean / variance - under.mean * told) / own;
        let spread = (PASS_SPREAD_SHARE * before.mean).powi(2);
        let precision = 1.0 / (1.0 / own + spread);
        weight += precision;
        sum += precision * own_mean;
    }
    let mean = (sum / weight).clamp(0.2, 4.0);
    Expected { mean, sigma: (1.0 / weight + (PASS_SPREAD_SHARE * mean).powi(2)).sqrt() }
}

/// A driver's ramps at one corner differ from lap to lap by this share (standard deviation), and a session's corners
/// among each other by the second (common practice, no source).
const PASS_SPREAD_SHARE: f64 = 0.10;
pub(super) const CORNER_SPREAD_SHARE: f64 = 0.30;
