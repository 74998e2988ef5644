//! The rules: what makes one pass a finding, and the way it would be driven without. Takes a pass and what is usual; gives
//! figures with the model's other way. The limits and their reasons stand in docs/methods.md#findings.

use crate::findings::curve::{InsideArc, Shape};
use crate::findings::limits::Limits;
use crate::findings::model::How;
use crate::findings::rules::seen::{RUNS_INTO_M, SHORT_STRAIGHT_M, Seen, Usual};
use crate::findings::{FindingKind, Measure};

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
pub(super) const DIP_SHARE: f64 = 0.15;

/// What one rule says of one pass: whether it has it, the figure, and the way it would be driven without.
pub(super) struct Said {
    pub(super) evidence: Vec<(Measure, f64, f64)>,
    pub(super) without: How,
    pub(super) seen_at_s: f64,
}

/// The corner around a pass.
pub(super) struct Around<'a> {
    pub(super) usual: &'a Usual,
    pub(super) limits: &'a Limits,
    pub(super) inside: Option<InsideArc>,
    /// What the corner's passes without a second bite are like.
    pub(super) usual_dip: f64,
    pub(super) once: Option<Shape>,
    pub(super) straight_before_m: f64,
    pub(super) straight_behind_m: f64,
    /// What is left to the outside elsewhere, seen from this corner's entry and exit, m.
    pub(super) margins_m: [Option<f64>; 2],
}

impl Around<'_> {
    fn runs_into(&self) -> bool {
        self.straight_before_m.min(self.straight_behind_m) < RUNS_INTO_M
    }
}

pub(super) type Rule = fn(&Seen, &How, &Around<'_>) -> Option<Said>;

pub(super) const RULES: [(FindingKind, Rule); 10] = [
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

/// The pass as it was driven.
pub(super) fn now(seen: &Seen, around: &Around<'_>) -> How {
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
    let mut evidence = vec![(Measure::RiseOverFall, apart, usual)];
    evidence.extend(seen.apex_turned.map(|it| (Measure::ApexTurned, it, 0.0)));
    Some(Said { evidence, without: reshaped(seen, now, around, shape)?, seen_at_s: seen.turn_in_s })
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
