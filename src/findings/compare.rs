//! Laps against each other, always by place: where one gains on another, what the best parts make together, how steady
//! each corner is driven. Takes a prepared session; gives estimates in SI.

use crate::corners::Pass;
use crate::corners::figure::Figure;
use crate::findings::rules::Sorted;
use crate::findings::stats::{Pooled, moved_together, pooled};
use crate::findings::view::Session;
use crate::session::Estimate;

/// One place along the lap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Behind {
    /// Along the reference line from the gate, m.
    pub distance_m: f64,
    /// How much later than the other lap this one is there since its start, s; positive is slower.
    pub behind_s: Estimate,
}

/// The best that the session's parts make together.
#[derive(Debug, Clone, PartialEq)]
pub struct TheoreticalBest {
    pub time_s: Estimate,
    /// The lap that each part is from, and its time there, in order.
    pub parts: Vec<(u32, Estimate)>,
}

/// How steady one figure is at one corner over the timed laps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Steadiness {
    pub corner: u32,
    pub figure: Figure,
    /// Mean, and spread from pass to pass beyond what measuring adds.
    pub pooled: Pooled,
}

/// What a corner and the straight behind it cost a clean pass on average against the best of them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ToGain {
    pub corner: u32,
    pub best_lap: u32,
    pub mean_s: Estimate,
    /// Mean less best, s.
    pub gain_s: Estimate,
}

/// Places along the lap at which two laps are compared, m.
const STEP_M: f64 = 10.0;

/// The time difference of `lap` to `other` along the lap. Empty where either has no time at a place.
pub(super) fn behind(session: &Session<'_>, lap: u32, other: u32) -> Vec<Behind> {
    along(session.length_m(), since_start(session, lap), since_start(session, other))
}

/// Time of a lap from its start to a place, never surer than that of its passes, which holds the receiver's wander.
pub(super) fn since_start(session: &Session<'_>, lap: u32) -> impl Fn(f64) -> Option<Estimate> {
    let no_surer = least_sure_s(session.view.passes, lap);
    move |distance_m| session.time_between(lap, (0.0, distance_m), if distance_m <= 0.0 { 0.0 } else { no_surer })
}

/// The widest half-width of the times of a lap's passes, s.
pub(super) fn least_sure_s(passes: &[Pass], lap: u32) -> f64 {
    let of_lap = passes.iter().filter(|it| it.lap == lap);
    of_lap.filter_map(|it| it.time_s).map(|it| it.ci95).fold(0.0, f64::max)
}

/// Two laps at even places of one reference line, the end included; places where either has no time are left out.
pub(super) fn along(
    length_m: f64,
    own: impl Fn(f64) -> Option<Estimate>,
    other: impl Fn(f64) -> Option<Estimate>,
) -> Vec<Behind> {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a lap is finite and below 1e7 m")]
    let steps = (length_m / STEP_M).floor().max(0.0) as u32;
    let places = (0..=steps).map(|it| f64::from(it) * STEP_M).chain(std::iter::once(length_m));
    let at = |distance_m: f64| {
        let (here, there) = (own(distance_m)?, other(distance_m)?);
        let behind_s = Estimate { value: here.value - there.value, ci95: here.ci95.hypot(there.ci95) };
        Some(Behind { distance_m, behind_s })
    };
    places.filter_map(at).collect()
}

/// From entry gate to entry gate all round the lap. `None` below three timed laps, or where a part has no time.
pub(super) fn best_of_corners(session: &Session<'_>) -> Option<TheoreticalBest> {
    let parts = (0..session.view.corners.len()).map(|corner| part(timed(session), |lap| session.stretch(lap, corner)));
    together(parts.collect::<Option<Vec<_>>>()?)
}

/// From sector gate to sector gate. `None` without sectors, and as above.
pub(super) fn best_of_sectors(session: &Session<'_>) -> Option<TheoreticalBest> {
    let gates: Vec<f64> = std::iter::once(0.0)
        .chain(session.view.sectors.iter().map(|it| it.1))
        .chain(std::iter::once(session.length_m()))
        .collect();
    if session.view.sectors.is_empty() {
        return None;
    }
    let parts =
        gates.windows(2).map(|pair| part(timed(session), |lap| session.time_between(lap, (pair[0], pair[1]), 0.0)));
    together(parts.collect::<Option<Vec<_>>>()?)
}

fn together(parts: Vec<(u32, Estimate)>) -> Option<TheoreticalBest> {
    if parts.is_empty() {
        return None;
    }
    let variance: f64 = parts.iter().map(|it| it.1.sigma().powi(2)).sum();
    let time_s = Estimate::from_variance(parts.iter().map(|it| it.1.value).sum(), variance);
    Some(TheoreticalBest { time_s, parts })
}

/// The lap that is quickest over one part, and its time, moved to its expectation: the least of noisy times is too low.
fn part(laps: impl Iterator<Item = u32>, time_of: impl Fn(u32) -> Option<Estimate>) -> Option<(u32, Estimate)> {
    let (laps, times): (Vec<u32>, Vec<Estimate>) = laps.filter_map(|lap| Some((lap, time_of(lap)?))).unzip();
    if laps.len() < 3 {
        return None;
    }
    let moved = moved_together(&times);
    laps.into_iter().zip(moved).min_by(|a, b| a.1.value.total_cmp(&b.1.value))
}

fn timed(session: &Session<'_>) -> impl Iterator<Item = u32> {
    session.timed_laps().map(|it| it.number)
}

/// What is to be gained where, the most first: by passes like the others, for what traffic or a slide costs once is no
/// gain to be had each lap.
pub(super) fn to_gain(session: &Session<'_>, sorted: &[Sorted]) -> Vec<ToGain> {
    let of = |corner: usize| {
        let clean = &sorted.get(corner)?.clean;
        let times: Vec<Estimate> = clean.iter().filter_map(|lap| session.stretch(*lap, corner)).collect();
        let (best_lap, best) = part(clean.iter().copied(), |lap| session.stretch(lap, corner))?;
        let mean_s = pooled(&times)?.mean;
        let gain_s = Estimate { value: mean_s.value - best.value, ci95: mean_s.ci95.hypot(best.ci95) };
        Some(ToGain { corner: session.view.corners[corner].number, best_lap, mean_s, gain_s })
    };
    let mut gains: Vec<ToGain> = (0..session.view.corners.len()).filter_map(of).collect();
    gains.sort_by(|a, b| b.gain_s.value.total_cmp(&a.gain_s.value));
    gains
}

/// Mean and spread of each figure at each corner.
pub(super) fn steadiness(session: &Session<'_>) -> Vec<Steadiness> {
    let mut all = Vec::new();
    for corner in session.view.corners {
        for figure in Figure::ALL {
            let passes = session.timed_laps().filter_map(|lap| session.pass(lap.number, corner.number));
            let values: Vec<Estimate> =
                passes.filter_map(|it| figure.of(it, corner, Some(session.length_m()))).collect();
            all.extend(pooled(&values).map(|pooled| Steadiness { corner: corner.number, figure, pooled }));
        }
    }
    all
}
