//! What deviates from the usual again and again, and what it costs. Takes a prepared session; gives findings with sizes
//! from the model and from what the plain laps took.

mod said;
mod seen;

use crate::corners::Pass;
use crate::findings::curve::Shape;
use crate::findings::limits::{Limits, limits};
use crate::findings::line::EARLY_OR_LATE_SHARE;
use crate::findings::model::{Times, Trip};
use crate::findings::rules::said::{Around, DIP_SHARE, RULES, Rule, Said, now};
use crate::findings::rules::seen::{
    Seen, StraightEnd, Usual, elsewhere_m, see, straight_before_m, straight_behind_m, straight_ends, take_shift_out,
    usual,
};
use crate::findings::stats::{median, pooled, quantile, student_ci95};
use crate::findings::view::Session;
use crate::findings::{Evidence, Finding, FindingKind, Findings, GripUsed, Measure};
use crate::job;
use crate::session::{Estimate, NORMAL_CI95};

/// Of a corner's dips this share is shallower than the usual one: a habit makes them deeper.
const LEAST_DIP_SHARE: f64 = 0.25;
/// A pass slower than the others by this, s, and by so many of their usual deviations, has lost time.
const LOST_S: f64 = 0.25;
const LOST_DEVIATIONS: f64 = 6.0;
/// Grip and drive left unused that cost less than this, s, are not worth a word.
const LEAST_S: f64 = 0.02;
/// A habit is on at least two passes and at least this share of them.
const HABIT_SHARE: f64 = 0.3;
/// The model tells a cost to this share and to this many seconds (95 %; docs/methods.md#what-something-costs).
const MODEL_SHARE: f64 = 0.3;
const MODEL_S: f64 = 0.015;
/// Another turn-in changes the whole curve, of which the model knows less (95 %, s; likewise).
const TURNED_S: f64 = 0.07;

pub(super) fn find(
    session: &Session<'_>,
    sorted_out: &[Sorted],
    context: &job::Context,
) -> Result<Findings, job::Cancelled> {
    let mut findings = Vec::new();
    let mut trips: Vec<Vec<(u32, Trip)>> = Vec::with_capacity(sorted_out.len());
    for (corner, sorted) in sorted_out.iter().enumerate() {
        context.check()?;
        findings.extend(lost(session, corner, sorted_out));
        let of_corner = sorted
            .clean
            .iter()
            .filter_map(|lap| Some((*lap, Trip::new(session.view.path, Times::of(session, *lap, corner)?)?)));
        trips.push(of_corner.collect());
    }
    let holds: Vec<f64> = trips.iter().filter_map(|it| held_in_mps2(it)).collect();
    let Some(limits) = limits(session, &holds) else { return Ok(Findings { findings, ..Findings::default() }) };
    let seen: Vec<Vec<Seen>> = trips
        .into_iter()
        .enumerate()
        .map(|(corner, trips)| {
            trips.into_iter().filter_map(|(lap, trip)| see(session, corner, lap, trip, &limits)).collect()
        })
        .collect();
    let mut seen = seen;
    take_shift_out(session, &mut seen);
    if let Some(usual) = usual(&seen) {
        let ends = straight_ends(session, &seen);
        for (corner, passes) in seen.iter().enumerate() {
            context.check()?;
            findings.extend(of_corner(session, corner, passes, &ends, &usual, &limits));
        }
    }
    findings.sort_by(|a, b| b.per_lap_s().total_cmp(&a.per_lap_s()).then(a.corner.cmp(&b.corner)));
    Ok(Findings { findings, grip_used: grip_used(session, &limits), limits: Some(limits), ..Findings::default() })
}

/// How much of the envelope each pass uses.
fn grip_used(session: &Session<'_>, limits: &Limits) -> Vec<GripUsed> {
    let of = |pass: &Pass| {
        let (from_s, to_s) = pass.times_s()?;
        let states = &session.view.path.states;
        let first = states.partition_point(|it| it.t_s < from_s);
        let last = states.partition_point(|it| it.t_s < to_s);
        let used: Vec<f64> = states.get(first..last)?.iter().map(|it| limits.used(it)).collect();
        let share = used.iter().sum::<f64>() / used.len() as f64;
        share.is_finite().then_some(GripUsed { lap: pass.lap, corner: pass.corner, share })
    };
    session.view.passes.iter().filter_map(of).collect()
}

/// The sideways acceleration held in a corner, where it is the grip that sets the speed; `None` in other corners.
fn held_in_mps2(trips: &[(u32, Trip)]) -> Option<f64> {
    let limited = trips.iter().filter(|(_, trip)| trip.is_slowest_in_hold()).count();
    median(trips.iter().map(|(_, trip)| trip.held_mps2())).filter(|_| 2 * limited > trips.len())
}

/// The laps of one corner: those whose pass is like the others, those that have lost time there, and those that a person
/// has told the reason of.
#[derive(Debug, Default)]
pub(super) struct Sorted {
    pub(super) clean: Vec<u32>,
    lost: Vec<(u32, Estimate)>,
    aside: Vec<u32>,
    usual_s: f64,
    deviation_s: f64,
}

/// One for each corner, by the time from the exit gate of the corner before to the next entry gate. What is `set_aside`,
/// a lap and a corner's number, is neither clean nor lost.
pub(super) fn sort_out(session: &Session<'_>, set_aside: &[(u32, u32)]) -> Vec<Sorted> {
    let of = |corner: usize| {
        let number = session.view.corners[corner].number;
        let is_aside = |lap: u32| set_aside.contains(&(lap, number));
        let sorted = sorted(session, |lap| session.with_approach(lap, corner).filter(|_| !is_aside(lap)));
        Sorted { aside: session.timed_laps().map(|it| it.number).filter(|it| is_aside(*it)).collect(), ..sorted }
    };
    (0..session.view.corners.len()).map(of).collect()
}

fn sorted(session: &Session<'_>, time_of: impl Fn(u32) -> Option<Estimate>) -> Sorted {
    let times: Vec<(u32, Estimate)> =
        session.timed_laps().filter_map(|lap| Some((lap.number, time_of(lap.number)?))).collect();
    let Some(usual_s) = median(times.iter().map(|it| it.1.value)) else { return Sorted::default() };
    // 1.48 times the median deviation is the standard deviation of normal values.
    let deviation_s = 1.48 * median(times.iter().map(|it| (it.1.value - usual_s).abs())).unwrap_or(0.0);
    let limit_s = usual_s + LOST_S.max(LOST_DEVIATIONS * deviation_s);
    let has_many = times.len() > 2;
    let (lost, clean): (Vec<_>, Vec<_>) = times.into_iter().partition(|it| has_many && it.1.value > limit_s);
    let clean = clean.into_iter().map(|it| it.0).collect();
    Sorted { clean, lost, usual_s, deviation_s, ..Sorted::default() }
}

/// Single passes that have lost time. The straight between two corners counts once: what is lost behind a corner that is
/// told already, or whose reason a person has told, is no loss of the next.
fn lost(session: &Session<'_>, corner: usize, sorted_out: &[Sorted]) -> Vec<Finding> {
    let count = sorted_out.len();
    let is_told = |lap: u32| {
        let lap = if corner == 0 { lap.checked_sub(1) } else { Some(lap) };
        let before = &sorted_out[(corner + count - 1) % count];
        lap.is_some_and(|lap| before.aside.contains(&lap) || before.lost.iter().any(|it| it.0 == lap))
    };
    let all = &sorted_out[corner];
    let is_of = |lap: u32| all.clean.contains(&lap) || all.lost.iter().any(|it| it.0 == lap);
    let alone = sorted(session, |lap| session.stretch(lap, corner).filter(|_| is_of(lap)));
    let of = |(lap, _): &(u32, Estimate)| {
        let (measure, from) = if is_told(*lap) { (Measure::StretchS, &alone) } else { (Measure::WithApproachS, all) };
        from.finding(session, corner, *lap, measure)
    };
    all.lost.iter().filter_map(of).collect()
}

impl Sorted {
    fn finding(&self, session: &Session<'_>, corner: usize, lap: u32, measure: Measure) -> Option<Finding> {
        let number = session.view.corners[corner].number;
        let time_s = self.lost.iter().find(|it| it.0 == lap)?.1;
        let pass = session.pass(lap, number)?;
        let ci95 = time_s.ci95.hypot(self.deviation_s * NORMAL_CI95);
        Some(Finding {
            kind: FindingKind::LostTime,
            corner: number,
            laps: vec![lap],
            of: self.clean.len() + self.lost.len(),
            size_s: Estimate { value: time_s.value - self.usual_s, ci95 },
            evidence: vec![Evidence { measure, value: time_s, usual: self.usual_s }],
            seen_on_lap: lap,
            seen_at_s: pass.min_speed_t_s.map(|it| it.value).or(pass.entry_gate_t_s)?,
        })
    }
}

fn of_corner(
    session: &Session<'_>,
    corner: usize,
    passes: &[Seen],
    ends: &[StraightEnd],
    usual: &Usual,
    limits: &Limits,
) -> Vec<Finding> {
    let usual_dip = quantile(passes.iter().map(|it| it.trip.curve.shape.dip), LEAST_DIP_SHARE).unwrap_or(0.0);
    let around = Around {
        usual,
        limits,
        inside: session.insides[corner],
        usual_dip,
        once: steered_once(passes, usual_dip),
        straight_before_m: straight_before_m(session, corner),
        straight_behind_m: straight_behind_m(session, corner),
        margins_m: [elsewhere_m(ends, corner, true), elsewhere_m(ends, corner, false)],
    };
    let said: Vec<(FindingKind, Vec<SaidOf<'_>>)> =
        RULES.iter().map(|(kind, rule)| (*kind, said_by(*rule, passes, &around))).collect();
    // Passes of which nothing is said show what the corner takes without.
    let is_plain = |lap: u32| !said.iter().any(|(_, said)| said.iter().any(|it| it.0.lap == lap));
    let plain: Vec<u32> = passes.iter().map(|it| it.lap).filter(|it| is_plain(*it)).collect();
    let found = said.iter().filter_map(|(kind, said)| {
        let is_habit = said.len() >= 2 && said.len() as f64 >= HABIT_SHARE * passes.len() as f64;
        let is_use = !(is_turned(*kind) || matches!(kind, FindingKind::MissedApex | FindingKind::TwoBites));
        let kind = &with_early_apex(*kind, said);
        let found = is_habit.then(|| finding(*kind, session.view.corners[corner].number, said, passes.len()))??;
        let observed_s = observed_s(session, corner, passes, &found.laps, &plain);
        let found = Finding { size_s: with_observed(found.size_s, observed_s), ..found };
        (!is_use || found.size_s.value >= LEAST_S).then_some(found)
    });
    found.collect()
}

/// An early turn-in whose apexes lie early too is told as such.
fn with_early_apex(kind: FindingKind, said: &[SaidOf<'_>]) -> FindingKind {
    let apex_turned = median(said.iter().filter_map(|it| it.0.apex_turned));
    let is_early = kind == FindingKind::EarlyTurnIn && apex_turned.is_some_and(|it| it < -EARLY_OR_LATE_SHARE);
    if is_early { FindingKind::EarlyApex } else { kind }
}

fn is_turned(kind: FindingKind) -> bool {
    matches!(kind, FindingKind::EarlyTurnIn | FindingKind::EarlyApex | FindingKind::LateTurnIn)
}

/// A pass, what one rule says of it, and what that costs by the model, s.
type SaidOf<'a> = (&'a Seen, Said, f64);

fn said_by<'a>(rule: Rule, passes: &'a [Seen], around: &Around<'_>) -> Vec<SaidOf<'a>> {
    let of = |seen: &'a Seen| {
        let now = now(seen, around);
        let mut said = rule(seen, &now, around)?;
        let exit_cost_s = seen.trip.longer_behind_s(around.limits, &now, &said.without)?;
        said.evidence.push((Measure::ExitCostS, exit_cost_s, 0.0));
        let cost_s = seen.trip.time_s(around.limits, &now)? - seen.trip.time_s(around.limits, &said.without)?;
        Some((seen, said, cost_s))
    };
    passes.iter().filter_map(of).collect()
}

/// What some laps took longer than the plain ones, s, from the exit of the corner before to the next corner that sets the
/// speed. `None` where either are fewer than two.
fn observed_s(session: &Session<'_>, corner: usize, passes: &[Seen], laps: &[u32], plain: &[u32]) -> Option<Estimate> {
    let ahead = median(passes.iter().map(|it| it.trip.ahead as f64))?;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a corner's number")]
    let ahead = ahead as usize;
    let count = session.view.corners.len();
    let from_m = session.exit_m(corner + count - 1)? - session.length_m();
    let to_m = session.entry_m(corner + ahead)?;
    let taken = |laps: &[u32]| {
        let times = laps.iter().filter_map(|lap| session.time_between(*lap, (from_m, to_m), 0.0));
        pooled(&times.collect::<Vec<_>>()).filter(|it| it.count >= 2).map(|it| it.mean)
    };
    let (with, without) = (taken(laps)?, taken(plain)?);
    Some(Estimate { value: with.value - without.value, ci95: with.ci95.hypot(without.ci95) })
}

/// What the model says and what was observed, each as much as it is sure.
fn with_observed(model_s: Estimate, observed_s: Option<Estimate>) -> Estimate {
    let Some(observed_s) = observed_s.filter(|it| it.ci95 > 0.0) else { return model_s };
    let (by_model, by_watch) = (model_s.sigma().powi(-2), observed_s.sigma().powi(-2));
    let value = (by_model * model_s.value + by_watch * observed_s.value) / (by_model + by_watch);
    Estimate::from_variance(value, 1.0 / (by_model + by_watch))
}

/// The usual shape of the passes whose dip is no deeper than usual: the two bites of others blur their ramps.
fn steered_once(passes: &[Seen], usual_dip: f64) -> Option<Shape> {
    let once = || passes.iter().map(|it| it.trip.curve.shape).filter(|it| it.dip < usual_dip + DIP_SHARE);
    Some(Shape { rise: median(once().map(|it| it.rise))?, fall: median(once().map(|it| it.fall))?, dip: usual_dip })
}

fn finding(kind: FindingKind, corner: u32, said: &[SaidOf<'_>], of: usize) -> Option<Finding> {
    let costs: Vec<f64> = said.iter().map(|it| it.2).collect();
    let mean_s = costs.iter().sum::<f64>() / costs.len() as f64;
    let squares: f64 = costs.iter().map(|it| (it - mean_s).powi(2)).sum();
    let count = costs.len() as f64;
    let scatter_s = student_ci95(costs.len() - 1) * (squares / (count - 1.0) / count).sqrt();
    let model_s = if is_turned(kind) { TURNED_S } else { MODEL_S };
    let ci95 = scatter_s.hypot(MODEL_SHARE * mean_s).hypot(model_s);
    // The pass that shows it best is the dearest.
    let shown = said.iter().max_by(|a, b| a.2.total_cmp(&b.2))?;
    let evidence = shown.1.evidence.iter().filter_map(|(measure, _, usual)| {
        let of_pass = |said: &Said| said.evidence.iter().find(|it| it.0 == *measure).map(|it| it.1);
        let values = said.iter().filter_map(|it| Some(Estimate { value: of_pass(&it.1)?, ci95: 0.0 }));
        Some(Evidence { measure: *measure, value: pooled(&values.collect::<Vec<_>>())?.mean, usual: *usual })
    });
    Some(Finding {
        kind,
        corner,
        laps: said.iter().map(|it| it.0.lap).collect(),
        of,
        size_s: Estimate { value: mean_s, ci95 },
        evidence: evidence.collect(),
        seen_on_lap: shown.0.lap,
        seen_at_s: shown.1.seen_at_s,
    })
}
