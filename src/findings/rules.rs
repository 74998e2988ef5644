//! The rules: what a pass is like, what is usual, and which deviations make a finding. Takes a prepared session; gives
//! findings with sizes from the model. The limits and their reasons stand in docs/methods.md#findings.

use crate::corners::Pass;
use crate::findings::curve::Shape;
use crate::findings::limits::{Limits, limits};
use crate::findings::model::{How, Times, Trip, Use};
use crate::findings::stats::{median, pooled, quantile, student_ci95};
use crate::findings::view::Session;
use crate::findings::{Evidence, Finding, FindingKind, Findings, GripUsed, Measure};
use crate::geom::Point;
use crate::job;
use crate::session::Estimate;

/// A rise longer than the fall by this share of the curve more than usual is an early turn-in (trial).
const EARLY_SHARE: f64 = 0.12;
const LATE_SHARE: f64 = 0.22;
/// Metres beyond the usual from which a gap or a margin is a finding (trial).
const GAP_M: f64 = 0.5;
const MARGIN_M: f64 = 1.0;
/// Less than this share of the usual grip or drive is a finding (trial).
const GRIP_SHARE: f64 = 0.9;
const DRIVE_SHARE: f64 = 0.7;
/// Grip that counts as used in one half while it is not in the other.
const FULL_SHARE: f64 = 0.95;
/// A kart that was too slow uses this share of the drive in the second half of the hold to regain it (trial).
const REGAINS_SHARE: f64 = 0.4;
/// A dip deeper than that of the corner's other passes by this share is a second bite (trial).
const DIP_SHARE: f64 = 0.15;
/// Of a corner's dips this share is shallower than the usual one: a habit makes them deeper.
const LEAST_DIP_SHARE: f64 = 0.25;
/// On a straight shorter than this, m, the next corner decides where the kart is left (common practice).
const SHORT_STRAIGHT_M: f64 = 33.0;
/// A pass slower than the others by this, s, and by so many of their usual deviations, has lost time.
const LOST_S: f64 = 0.25;
const LOST_DEVIATIONS: f64 = 6.0;
/// Corners closer than this, m from gate to gate, run into each other: the inside of one says little (trial).
const RUNS_INTO_M: f64 = 12.0;
/// How far gaps differ from corner to corner, and how far a receiver shifts a session, m (trial; common practice).
const GAP_SPREAD_M: f64 = 0.15;
const SHIFT_M: f64 = 0.35;
/// Grip and drive left unused that cost less than this, s, are not worth a word.
const LEAST_S: f64 = 0.02;
/// A habit is on at least two passes and at least this share of them.
const HABIT_SHARE: f64 = 0.3;
/// The model tells a cost to this share and to this many seconds (95 %; docs/methods.md#what-something-costs).
const MODEL_SHARE: f64 = 0.3;
const MODEL_S: f64 = 0.015;
/// Another turn-in changes the whole curve, of which the model knows less (95 %, s; likewise).
const TURNED_S: f64 = 0.07;

/// One pass as the rules see it.
#[derive(Debug, Clone)]
pub(super) struct Seen {
    pub(super) lap: u32,
    trip: Trip,
    used: Use,
    gap_m: Option<f64>,
    entry_margin_m: Option<f64>,
    exit_margin_m: Option<f64>,
    turn_in_s: f64,
    apex_s: Option<f64>,
    exit_s: f64,
    slowest_behind_m: Option<f64>,
}

/// What is usual for this driver over all corners.
#[derive(Debug, Clone, Copy)]
pub(super) struct Usual {
    rise_over_fall: f64,
    ramps: f64,
    gap_m: Option<f64>,
    drive: f64,
}

pub(super) fn find(
    session: &Session<'_>,
    set_aside: &[(u32, u32)],
    context: &job::Context,
) -> Result<Findings, job::Cancelled> {
    let corners = session.view.corners.len();
    let mut findings = Vec::new();
    let mut trips: Vec<Vec<(u32, Trip)>> = Vec::with_capacity(corners);
    for corner in 0..corners {
        context.check()?;
        let (clean, lost) = clean_laps(session, corner, set_aside);
        findings.extend(lost);
        let of_corner = clean
            .into_iter()
            .filter_map(|lap| Some((lap, Trip::new(session.view.path, Times::of(session, lap, corner)?)?)));
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
        let margins = margins(session, &seen);
        for (corner, passes) in seen.iter().enumerate() {
            context.check()?;
            findings.extend(of_corner(session, corner, passes, &margins, &usual, &limits));
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

/// Laps whose pass through a corner is like the others, and what the rest has lost.
fn clean_laps(session: &Session<'_>, corner: usize, set_aside: &[(u32, u32)]) -> (Vec<u32>, Vec<Finding>) {
    let number = session.view.corners[corner].number;
    let times: Vec<(u32, Estimate)> = session
        .timed_laps()
        .filter(|lap| !set_aside.contains(&(lap.number, number)))
        .filter_map(|lap| Some((lap.number, session.with_approach(lap.number, corner)?)))
        .collect();
    let Some(usual_s) = median(times.iter().map(|it| it.1.value)) else { return (Vec::new(), Vec::new()) };
    // 1.48 times the median deviation is the standard deviation of normal values.
    let deviation_s = 1.48 * median(times.iter().map(|it| (it.1.value - usual_s).abs())).unwrap_or(0.0);
    let limit_s = usual_s + LOST_S.max(LOST_DEVIATIONS * deviation_s);
    let is_lost = |it: &&(u32, Estimate)| it.1.value > limit_s && times.len() > 2;
    let lost = times.iter().filter(is_lost).filter_map(|(lap, time_s)| {
        let size_s = Estimate { value: time_s.value - usual_s, ci95: time_s.ci95.hypot(deviation_s * 1.96) };
        let pass = session.pass(*lap, number)?;
        Some(Finding {
            kind: FindingKind::LostTime,
            corner: number,
            laps: vec![*lap],
            of: times.len(),
            size_s,
            evidence: vec![Evidence { measure: Measure::StretchS, value: *time_s, usual: usual_s }],
            seen_on_lap: *lap,
            seen_at_s: pass.min_speed_t_s.map(|it| it.value).or(pass.entry_gate_t_s)?,
        })
    });
    let lost: Vec<Finding> = lost.collect();
    (times.iter().filter(|it| !is_lost(it)).map(|it| it.0).collect(), lost)
}

fn see(session: &Session<'_>, corner: usize, lap: u32, trip: Trip, limits: &Limits) -> Option<Seen> {
    let used = trip.used(limits)?;
    let pass = session.pass(lap, session.view.corners[corner].number)?;
    let (turn_in_s, exit_s) = (pass.turn_in?.t_s.value, pass.exit?.t_s.value);
    let apex_s = pass.apex.map(|it| it.mark.t_s.value);
    let to_outside_m = |t_s: f64| Some(session.margins_m(session.place_at(t_s)?, pass.direction)?.1);
    let slowest_m = trip.slowest_share() * trip.curve.length_m;
    let apex_m = apex_s.and_then(|it| {
        let (turn_in, apex) = (session.view.path.at(turn_in_s)?, session.view.path.at(it)?);
        Some(apex.travelled_m - turn_in.travelled_m)
    });
    Some(Seen {
        lap,
        used,
        gap_m: session.insides[corner].and(pass.apex.and_then(|it| it.gap_m)).map(|it| it.value),
        entry_margin_m: to_outside_m(turn_in_s),
        exit_margin_m: to_outside_m(exit_s),
        turn_in_s,
        apex_s,
        exit_s,
        slowest_behind_m: apex_m.map(|it| slowest_m - it),
        trip,
    })
}

/// What the whole session is shifted by against the ground moves the gaps of corners that face one way alike. The shift
/// under which they agree best is taken out of gaps and margins.
fn take_shift_out(session: &Session<'_>, seen: &mut [Vec<Seen>]) {
    let inwards = |corner: usize| {
        let (at, inside) = (&session.view.corners[corner], session.insides[corner]?);
        let middle = session.view.line.at(at.middle_m?)?.position;
        let to_centre = inside.centre - middle;
        Some(to_centre.scaled(1.0 / to_centre.distance_m(Point::default()).max(1e-6)))
    };
    let gaps: Vec<(Point, f64)> = seen
        .iter()
        .enumerate()
        .filter(|(corner, _)| {
            straight_before_m(session, *corner).min(straight_behind_m(session, *corner)) >= RUNS_INTO_M
        })
        .filter_map(|(corner, passes)| Some((inwards(corner)?, median(passes.iter().filter_map(|it| it.gap_m))?)))
        .collect();
    let Some(shift) = shift_of(&gaps) else { return };
    for (corner, passes) in seen.iter_mut().enumerate() {
        let Some(inwards) = inwards(corner) else { continue };
        // A session shifted inwards is measured nearer to the inside and farther from the outside than it was driven.
        let by_m = shift.dot(inwards);
        for it in passes {
            it.gap_m = it.gap_m.map(|gap_m| gap_m + by_m);
            it.entry_margin_m = it.entry_margin_m.map(|margin_m| margin_m - by_m);
            it.exit_margin_m = it.exit_margin_m.map(|margin_m| margin_m - by_m);
        }
    }
}

/// The shift, m, under which gaps (inwards direction, m) are most alike: least squares with Huber's weights, because
/// some corners are driven otherwise (P. J. Huber, Annals of Mathematical Statistics 35 (1964) 73–101), expected to be
/// 0 within `SHIFT_M`. `None` below five corners, which could be made alike by anything.
fn shift_of(gaps: &[(Point, f64)]) -> Option<Point> {
    if gaps.len() < 5 {
        return None;
    }
    let mut fit = nalgebra::Vector3::new(median(gaps.iter().map(|it| it.1))?, 0.0, 0.0);
    for _ in 0..20 {
        let mut normal = nalgebra::Matrix3::zeros();
        let mut right = nalgebra::Vector3::zeros();
        for (inwards, gap_m) in gaps {
            let row = nalgebra::Vector3::new(1.0, -inwards.x_m, -inwards.y_m);
            let left_m = (gap_m - row.dot(&fit)).abs();
            let weight = (GAP_SPREAD_M / left_m.max(1e-9)).min(1.0) / GAP_SPREAD_M.powi(2);
            normal += row * row.transpose() * weight;
            right += row * *gap_m * weight;
        }
        for axis in [1, 2] {
            normal[(axis, axis)] += 1.0 / SHIFT_M.powi(2);
        }
        fit = normal.lu().solve(&right)?;
    }
    Some(Point::new(fit[1], fit[2]))
}

fn usual(seen: &[Vec<Seen>]) -> Option<Usual> {
    let over_corners = |figure: &dyn Fn(&Seen) -> Option<f64>| {
        median(seen.iter().filter_map(|passes| median(passes.iter().filter_map(figure))))
    };
    Some(Usual {
        rise_over_fall: over_corners(&|it| Some(it.trip.curve.shape.rise - it.trip.curve.shape.fall))?,
        ramps: over_corners(&|it| Some(it.trip.curve.shape.rise + it.trip.curve.shape.fall))?,
        gap_m: over_corners(&|it| it.gap_m),
        drive: over_corners(&|it| it.used.power).unwrap_or(1.0),
    })
}

/// What is left to the outside at the ends of long straights: of each corner, at its entry and at its exit, m.
fn margins(session: &Session<'_>, seen: &[Vec<Seen>]) -> Vec<[Option<f64>; 2]> {
    let of = |corner: usize, passes: &[Seen]| {
        let long =
            [straight_before_m(session, corner), straight_behind_m(session, corner)].map(|it| it >= SHORT_STRAIGHT_M);
        [
            median(passes.iter().filter_map(|it| it.entry_margin_m)).filter(|_| long[0]),
            median(passes.iter().filter_map(|it| it.exit_margin_m)).filter(|_| long[1]),
        ]
    };
    seen.iter().enumerate().map(|(corner, passes)| of(corner, passes)).collect()
}

/// The median of all margins but one's own; `None` without another.
fn elsewhere_m(margins: &[[Option<f64>; 2]], corner: usize, end: usize) -> Option<f64> {
    let all = margins.iter().enumerate().flat_map(|(at, it)| [(at, 0, it[0]), (at, 1, it[1])]);
    let others: Vec<f64> = all.filter(|it| (it.0, it.1) != (corner, end)).filter_map(|it| it.2).collect();
    median(others.iter().copied()).filter(|_| !others.is_empty())
}

fn straight_before_m(session: &Session<'_>, corner: usize) -> f64 {
    let count = session.view.corners.len();
    straight_behind_m(session, (corner + count - 1) % count)
}

/// From the exit gate to the next entry gate, m; 0 where a gate is missing.
fn straight_behind_m(session: &Session<'_>, corner: usize) -> f64 {
    session.exit_m(corner).zip(session.entry_m(corner + 1)).map_or(0.0, |(exit_m, entry_m)| entry_m - exit_m)
}

/// What one rule says of one pass: whether it has it, the figure, and the way it would be driven without.
struct Said {
    evidence: Vec<(Measure, f64, f64)>,
    without: How,
    seen_at_s: f64,
}

/// The corner around a pass.
struct Around<'a> {
    usual: &'a Usual,
    limits: &'a Limits,
    inside: Option<crate::findings::curve::InsideArc>,
    /// What the corner's passes without a second bite are like.
    usual_dip: f64,
    once: Option<Shape>,
    straight_before_m: f64,
    straight_behind_m: f64,
    /// What is left to the outside elsewhere, seen from this corner's entry and exit, m.
    margins_m: [Option<f64>; 2],
}

impl Around<'_> {
    fn runs_into(&self) -> bool {
        self.straight_before_m.min(self.straight_behind_m) < RUNS_INTO_M
    }
}

type Rule = fn(&Seen, &How, &Around<'_>) -> Option<Said>;

const RULES: [(FindingKind, Rule); 10] = [
    (FindingKind::EarlyTurnIn, early_turn_in),
    (FindingKind::LateTurnIn, late_turn_in),
    (FindingKind::MissedApex, missed_apex),
    (FindingKind::EntryWidthLeft, entry_width_left),
    (FindingKind::ExitWidthLeft, exit_width_left),
    (FindingKind::EntryTooFast, entry_too_fast),
    (FindingKind::EntryTooSlow, entry_too_slow),
    (FindingKind::SlowInTheMiddle, slow_in_the_middle),
    (FindingKind::LateOnThePower, late_on_the_power),
    (FindingKind::TwoBites, two_bites),
];

fn of_corner(
    session: &Session<'_>,
    corner: usize,
    passes: &[Seen],
    margins: &[[Option<f64>; 2]],
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
        margins_m: [elsewhere_m(margins, corner, 0), elsewhere_m(margins, corner, 1)],
    };
    let said: Vec<(FindingKind, Vec<SaidOf<'_>>)> =
        RULES.iter().map(|(kind, rule)| (*kind, said_by(*rule, passes, &around))).collect();
    // Passes of which nothing is said show what the corner takes without.
    let is_plain = |lap: u32| !said.iter().any(|(_, said)| said.iter().any(|it| it.0.lap == lap));
    let plain: Vec<u32> = passes.iter().map(|it| it.lap).filter(|it| is_plain(*it)).collect();
    let found = said.iter().filter_map(|(kind, said)| {
        let is_habit = said.len() >= 2 && said.len() as f64 >= HABIT_SHARE * passes.len() as f64;
        let is_use = !matches!(
            kind,
            FindingKind::EarlyTurnIn | FindingKind::LateTurnIn | FindingKind::MissedApex | FindingKind::TwoBites
        );
        let found = is_habit.then(|| finding(*kind, session.view.corners[corner].number, said, passes.len()))??;
        let observed_s = observed_s(session, corner, passes, &found.laps, &plain);
        let found = Finding { size_s: with_observed(found.size_s, observed_s), ..found };
        (!is_use || found.size_s.value >= LEAST_S).then_some(found)
    });
    found.collect()
}

/// A pass, what one rule says of it, and what that costs by the model, s.
type SaidOf<'a> = (&'a Seen, Said, f64);

fn said_by<'a>(rule: Rule, passes: &'a [Seen], around: &Around<'_>) -> Vec<SaidOf<'a>> {
    let of = |seen: &'a Seen| {
        let now = now(seen, around);
        let said = rule(seen, &now, around)?;
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
    let model_s = if matches!(kind, FindingKind::EarlyTurnIn | FindingKind::LateTurnIn) { TURNED_S } else { MODEL_S };
    let ci95 = scatter_s.hypot(MODEL_SHARE * mean_s).hypot(model_s);
    // The pass that shows it best is the dearest.
    let shown = said.iter().max_by(|a, b| a.2.total_cmp(&b.2))?;
    let evidence = (0..shown.1.evidence.len()).filter_map(|index| {
        let values: Vec<Estimate> =
            said.iter().map(|it| Estimate { value: it.1.evidence[index].1, ci95: 0.0 }).collect();
        let (measure, _, usual) = shown.1.evidence[index];
        Some(Evidence { measure, value: pooled(&values)?.mean, usual })
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

/// The pass as it was driven.
fn now(seen: &Seen, around: &Around<'_>) -> How {
    let drive = seen.used.power.map_or(1.0, |it| (it / around.usual.drive).clamp(0.0, 1.0));
    let held_mps2 = seen.trip.held_by_model_mps2();
    let held_mps2 = if is_slow(seen, around) && seen.used.power_in_hold >= REGAINS_SHARE {
        // What was lost before the middle is regained as the engine allows.
        [held_mps2[0], held_mps2[1].max(around.limits.lateral_mps2)]
    } else {
        held_mps2
    };
    // Where the speed rises all through the corner, the engine sets it and the grip is free.
    let held_mps2 =
        if seen.trip.is_slowest_in_hold() { held_mps2 } else { held_mps2.map(|it| it.max(around.limits.lateral_mps2)) };
    How {
        curve: seen.trip.curve,
        held_mps2,
        power: drive,
        weak_behind_m: if drive < DRIVE_SHARE { seen.used.back_behind_m } else { 0.0 },
    }
}

/// The same pass with a curve of another shape that passes the inside where this one does.
fn reshaped(seen: &Seen, now: &How, around: &Around<'_>, shape: Shape) -> Option<How> {
    let Some(inside) = around.inside else { return Some(now.with_shape(shape)) };
    let gap_m = now.curve.gap_m(&inside)?;
    let curve = now.with_shape(shape).curve.passing(&inside, gap_m, seen.trip.longest_m())?;
    Some(How { curve, ..*now })
}

fn turned_in_usually(seen: &Seen, now: &How, around: &Around<'_>, apart: f64) -> Option<Said> {
    let both = seen.trip.curve.shape.rise + seen.trip.curve.shape.fall;
    let usual = around.usual.rise_over_fall;
    let ramps = both.min(around.usual.ramps);
    let shape = Shape { rise: 0.5 * (ramps + usual), fall: 0.5 * (ramps - usual), ..seen.trip.curve.shape };
    Some(Said {
        evidence: vec![(Measure::RiseOverFall, apart, usual)],
        without: reshaped(seen, now, around, shape)?,
        seen_at_s: seen.turn_in_s,
    })
}

fn early_turn_in(seen: &Seen, now: &How, around: &Around<'_>) -> Option<Said> {
    let apart = seen.trip.curve.shape.rise - seen.trip.curve.shape.fall;
    (apart > around.usual.rise_over_fall + EARLY_SHARE && !around.runs_into())
        .then(|| turned_in_usually(seen, now, around, apart))?
}

fn late_turn_in(seen: &Seen, now: &How, around: &Around<'_>) -> Option<Said> {
    let apart = seen.trip.curve.shape.rise - seen.trip.curve.shape.fall;
    (apart < around.usual.rise_over_fall - LATE_SHARE && !around.runs_into())
        .then(|| turned_in_usually(seen, now, around, apart))?
}

fn missed_apex(seen: &Seen, now: &How, around: &Around<'_>) -> Option<Said> {
    let (gap_m, usual_m, inside) = (seen.gap_m?, around.usual.gap_m?, around.inside?);
    if around.runs_into() || gap_m < usual_m + GAP_M {
        return None;
    }
    let nearer_m = now.curve.gap_m(&inside)? - (gap_m - usual_m);
    let curve = now.curve.passing(&inside, nearer_m, seen.trip.longest_m())?;
    Some(Said {
        evidence: vec![(Measure::ApexGapM, gap_m, usual_m)],
        without: How { curve, ..*now },
        seen_at_s: seen.apex_s?,
    })
}

fn entry_width_left(seen: &Seen, now: &How, around: &Around<'_>) -> Option<Said> {
    width_left(seen, now, around, true)
}

fn exit_width_left(seen: &Seen, now: &How, around: &Around<'_>) -> Option<Said> {
    width_left(seen, now, around, false)
}

fn width_left(seen: &Seen, now: &How, around: &Around<'_>, at_entry: bool) -> Option<Said> {
    let straight_m = if at_entry { around.straight_before_m } else { around.straight_behind_m };
    let margin_m = if at_entry { seen.entry_margin_m? } else { seen.exit_margin_m? };
    let (usual_m, inside) = (around.margins_m[usize::from(!at_entry)]?, around.inside?);
    if straight_m < SHORT_STRAIGHT_M || margin_m < usual_m + MARGIN_M {
        return None;
    }
    let gap_m = now.curve.gap_m(&inside)?;
    let curve = seen.trip.moved_out(at_entry, margin_m - usual_m).passing(&inside, gap_m, seen.trip.longest_m())?;
    let measure = if at_entry { Measure::EntryMarginM } else { Measure::ExitMarginM };
    Some(Said {
        evidence: vec![(measure, margin_m, usual_m)],
        without: How { curve, ..*now },
        seen_at_s: if at_entry { seen.turn_in_s } else { seen.exit_s },
    })
}

/// Shares of the session's grip held before and behind the middle of the hold.
fn shares(seen: &Seen, around: &Around<'_>) -> [f64; 2] {
    seen.used.held_mps2.map(|it| it / around.limits.lateral_mps2)
}

fn held(seen: &Seen, now: &How, around: &Around<'_>, halves: [bool; 2], seen_at_s: f64) -> Said {
    let shares = shares(seen, around);
    let mut without = *now;
    for half in [0, 1] {
        if halves[half] {
            without.held_mps2[half] /= shares[half].clamp(0.2, 1.0);
        }
    }
    let mut evidence = vec![(Measure::GripBefore, shares[0], 1.0), (Measure::GripBehind, shares[1], 1.0)];
    evidence.extend(seen.slowest_behind_m.map(|it| (Measure::SlowestBehindApexM, it, 0.0)));
    Said { evidence, without, seen_at_s }
}

fn entry_too_fast(seen: &Seen, now: &How, around: &Around<'_>) -> Option<Said> {
    let [before, behind] = shares(seen, around);
    let is_so = behind < GRIP_SHARE && before > FULL_SHARE && seen.slowest_behind_m.is_some_and(|it| it > 0.0);
    is_so.then(|| held(seen, now, around, [false, true], seen.apex_s.unwrap_or(seen.turn_in_s)))
}

fn is_slow(seen: &Seen, around: &Around<'_>) -> bool {
    shares(seen, around)[0] < GRIP_SHARE && seen.trip.is_slowest_in_hold()
}

fn entry_too_slow(seen: &Seen, now: &How, around: &Around<'_>) -> Option<Said> {
    (is_slow(seen, around) && seen.used.power_in_hold >= REGAINS_SHARE)
        .then(|| held(seen, now, around, [true, false], seen.turn_in_s))
}

fn slow_in_the_middle(seen: &Seen, now: &How, around: &Around<'_>) -> Option<Said> {
    let [_, behind] = shares(seen, around);
    (is_slow(seen, around) && behind < GRIP_SHARE && seen.used.power_in_hold < REGAINS_SHARE)
        .then(|| held(seen, now, around, [true, true], seen.apex_s.unwrap_or(seen.turn_in_s)))
}

fn late_on_the_power(seen: &Seen, now: &How, around: &Around<'_>) -> Option<Said> {
    let share = seen.used.power? / around.usual.drive;
    (share < DRIVE_SHARE).then(|| Said {
        evidence: vec![(Measure::Drive, share, 1.0)],
        without: How { power: 1.0, ..*now },
        seen_at_s: seen.apex_s.unwrap_or(0.5 * (seen.turn_in_s + seen.exit_s)),
    })
}

fn two_bites(seen: &Seen, now: &How, around: &Around<'_>) -> Option<Said> {
    let shape = seen.trip.curve.shape;
    if shape.dip < around.usual_dip + DIP_SHARE {
        return None;
    }
    Some(Said {
        evidence: vec![(Measure::Dip, shape.dip, around.usual_dip)],
        without: reshaped(seen, now, around, around.once.unwrap_or(Shape { dip: around.usual_dip, ..shape }))?,
        seen_at_s: 0.5 * (seen.turn_in_s + seen.exit_s),
    })
}
