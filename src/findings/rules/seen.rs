//! What one pass is like as the rules see it, and what is usual for the driver elsewhere. Takes a prepared session; gives
//! figures in m, s and shares, with the shift of the whole session against the ground taken out of gaps and margins.

use crate::corners::Pass;
use crate::findings::limits::Limits;
use crate::findings::line::apex_turned;
use crate::findings::model::{Trip, Use};
use crate::findings::stats::{median, quantile};
use crate::findings::view::Session;
use crate::geom::Point;

/// On a straight shorter than this, m, the next corner decides where the kart is left (common practice).
pub(super) const SHORT_STRAIGHT_M: f64 = 33.0;
/// Margins are held against those of so many ends of straights about as long (trial).
const ENDS_ALIKE: usize = 6;
/// A driver who uses the width leaves no more than at this share of them: some corners allow no more (trial).
const USED_SHARE: f64 = 0.35;
/// Places between a mark and the apex at which the outside is looked for.
const MARGIN_STEPS: u32 = 30;
/// Corners closer than this, m from gate to gate, run into each other: the inside of one says little (trial).
pub(super) const RUNS_INTO_M: f64 = 12.0;
/// How far gaps differ from corner to corner, and how far a receiver shifts a session, m (trial; common practice).
const GAP_SPREAD_M: f64 = 0.15;
const SHIFT_M: f64 = 0.35;

/// One pass as the rules see it.
#[derive(Debug, Clone)]
pub(super) struct Seen {
    pub(super) lap: u32,
    pub(super) trip: Trip,
    pub(super) used: Use,
    pub(super) gap_m: Option<f64>,
    pub(super) apex_turned: Option<f64>,
    pub(super) entry_margin_m: Option<f64>,
    pub(super) exit_margin_m: Option<f64>,
    pub(super) turn_in_s: f64,
    pub(super) apex_s: Option<f64>,
    pub(super) exit_s: f64,
    pub(super) slowest_behind_m: Option<f64>,
}

/// What is usual for this driver over all corners.
#[derive(Debug, Clone, Copy)]
pub(super) struct Usual {
    pub(super) rise_over_fall: f64,
    pub(super) ramps: f64,
    pub(super) gap_m: Option<f64>,
    pub(super) drive: f64,
}

pub(super) fn see(session: &Session<'_>, corner: usize, lap: u32, trip: Trip, limits: &Limits) -> Option<Seen> {
    let used = trip.used(limits)?;
    let pass = session.pass(lap, session.view.corners[corner].number)?;
    let (turn_in_s, exit_s) = (pass.turn_in?.t_s.value, pass.exit?.t_s.value);
    let apex_s = pass.apex.map(|it| it.mark.t_s.value);
    let slowest_m = trip.slowest_share() * trip.curve.length_m;
    let apex_m = apex_s.and_then(|it| {
        let (turn_in, apex) = (session.view.path.at(turn_in_s)?, session.view.path.at(it)?);
        Some(apex.travelled_m - turn_in.travelled_m)
    });
    Some(Seen {
        lap,
        used,
        gap_m: session.insides[corner].and(pass.apex.and_then(|it| it.gap_m)).map(|it| it.value),
        apex_turned: apex_turned(session, corner, pass),
        entry_margin_m: nearest_to_outside_m(session, pass, (turn_in_s, apex_s.unwrap_or(turn_in_s))),
        exit_margin_m: nearest_to_outside_m(session, pass, (apex_s.unwrap_or(exit_s), exit_s)),
        turn_in_s,
        apex_s,
        exit_s,
        slowest_behind_m: apex_m.map(|it| slowest_m - it),
        trip,
    })
}

/// How near a pass comes to the outside edge between two log times, m.
fn nearest_to_outside_m(session: &Session<'_>, pass: &Pass, (from_s, to_s): (f64, f64)) -> Option<f64> {
    let times = (0..=MARGIN_STEPS).map(|it| from_s + f64::from(it) / f64::from(MARGIN_STEPS) * (to_s - from_s));
    let margins = times.filter_map(|t_s| Some(session.margins_m(session.place_at(t_s)?, pass.direction)?.1));
    margins.reduce(f64::min)
}

/// What the whole session is shifted by against the ground moves the gaps of corners that face one way alike. The shift
/// under which they agree best is taken out of gaps and margins.
pub(super) fn take_shift_out(session: &Session<'_>, seen: &mut [Vec<Seen>]) {
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

pub(super) fn usual(seen: &[Vec<Seen>]) -> Option<Usual> {
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

/// One end of a long straight.
#[derive(Debug, Clone, Copy)]
pub(super) struct StraightEnd {
    corner: usize,
    is_entry: bool,
    straight_m: f64,
    /// What is left to the outside there, m.
    margin_m: f64,
}

/// The ends of all long straights.
pub(super) fn straight_ends(session: &Session<'_>, seen: &[Vec<Seen>]) -> Vec<StraightEnd> {
    let of = |(corner, passes): (usize, &Vec<Seen>)| {
        let entry =
            (true, straight_before_m(session, corner), median(passes.iter().filter_map(|it| it.entry_margin_m)));
        let exit = (false, straight_behind_m(session, corner), median(passes.iter().filter_map(|it| it.exit_margin_m)));
        let end = move |(is_entry, straight_m, margin_m): (bool, f64, Option<f64>)| {
            let margin_m = margin_m.filter(|_| straight_m >= SHORT_STRAIGHT_M)?;
            Some(StraightEnd { corner, is_entry, straight_m, margin_m })
        };
        [entry, exit].into_iter().filter_map(end)
    };
    seen.iter().enumerate().flat_map(of).collect()
}

/// What a driver who uses the width leaves to the outside at other ends, of straights about as long: the longer the straight, the wider a driver
/// comes in and leaves. `None` without another.
pub(super) fn elsewhere_m(ends: &[StraightEnd], corner: usize, is_entry: bool) -> Option<f64> {
    let is_own = |it: &StraightEnd| (it.corner, it.is_entry) == (corner, is_entry);
    let straight_m = ends.iter().find(|it| is_own(it))?.straight_m;
    let unlike = |it: &StraightEnd| (it.straight_m / straight_m).ln().abs();
    let mut others: Vec<&StraightEnd> = ends.iter().filter(|it| !is_own(it)).collect();
    others.sort_by(|a, b| unlike(a).total_cmp(&unlike(b)));
    quantile(others.iter().take(ENDS_ALIKE).map(|it| it.margin_m), USED_SHARE)
}

pub(super) fn straight_before_m(session: &Session<'_>, corner: usize) -> f64 {
    let count = session.view.corners.len();
    straight_behind_m(session, (corner + count - 1) % count)
}

/// From the exit gate to the next entry gate, m; 0 where a gate is missing.
pub(super) fn straight_behind_m(session: &Session<'_>, corner: usize) -> f64 {
    session.exit_m(corner).zip(session.entry_m(corner + 1)).map_or(0.0, |(exit_m, entry_m)| entry_m - exit_m)
}
