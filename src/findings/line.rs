//! Which line a pass takes: the width it uses, where its apex lies, what kind of line that is, how its arc compares with
//! the widest one, and what each kind brought on this surface. Takes a prepared session; gives plain data.

use crate::corners::{Corner, Direction, Pass};
use crate::findings::geometry::widest_radius_m;
use crate::findings::shortest::{Across, shortest_m};
use crate::findings::stats::pooled;
use crate::findings::view::{Session, usual_width_m};
use crate::geom::Point;
use crate::session::{Estimate, Path, PathState};
use crate::units::wrap_angle;

/// Kinds of lines, by where they come in and where their apex lies (docs/methods.md#kinds-of-lines).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LineKind {
    Geometric,
    LateApex,
    EarlyApex,
    TightEntry,
    /// On the inside before the corner, whatever for: a defending entry looks the same.
    InsideEntry,
}

impl LineKind {
    pub const ALL: [Self; 5] = [Self::Geometric, Self::LateApex, Self::EarlyApex, Self::TightEntry, Self::InsideEntry];
}

/// Of the width that a kart can use (0 inside, 1 outside): below the first at the turn-in it comes in inside, below the
/// second tight (common practice).
pub const INSIDE_ENTRY_WIDTH: f64 = 0.36;
pub const TIGHT_ENTRY_WIDTH: f64 = 0.68;
/// An apex this share of the turning before or behind the middle of the inside edge is early or late (common practice).
pub const EARLY_OR_LATE_SHARE: f64 = 0.10;
/// How near to an edge the middle of a kart can run, m: half its width (common practice).
const KART_HALF_WIDTH_M: f64 = 0.7;

/// The line of one pass. What needs edges is `None` without them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    pub lap: u32,
    pub corner: u32,
    /// Width used, 0 at the inside edge, 1 at the outside edge, measured at the middle of the kart.
    pub entry_width: Option<f64>,
    pub apex_width: Option<f64>,
    pub exit_width: Option<f64>,
    /// Share of the corner's turning that the pass has done at its apex, less one half: negative is early.
    pub apex_turned: Option<f64>,
    pub kind: Option<LineKind>,
    /// Radius of the driven arc: what the pass turns on between a quarter and three quarters of its turning, m.
    pub radius_m: Option<f64>,
    /// Metres driven from the entry gate to the exit gate, less the shortest pass's.
    pub longer_m: Option<f64>,
    /// The same, less the shortest way that the edges leave.
    pub over_shortest_m: Option<f64>,
    /// Entry gate to the next corner's entry gate, s.
    pub stretch_s: Option<Estimate>,
}

/// What a corner allows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Widest {
    pub corner: u32,
    /// Of the inside edge, m.
    pub inside_radius_m: f64,
    /// Width of the track less that of a kart, m.
    pub usable_m: f64,
    /// R = r + w / (1 − cos(θ/2)), for the middle of the kart, m.
    pub widest_radius_m: f64,
    /// From entry gate to exit gate along the shortest way, m.
    pub shortest_m: Option<f64>,
}

/// What a kind of line costs at one corner against the quickest kind there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KindCost {
    pub corner: u32,
    pub kind: LineKind,
    pub passes: usize,
    pub stretch_s: Estimate,
    /// Against the quickest kind, s; 0 for that kind itself.
    pub cost_s: Estimate,
}

/// The kind of a line by where it comes in and by its apex. `None` without the one that decides.
pub fn line_kind(entry_width: Option<f64>, apex_turned: Option<f64>) -> Option<LineKind> {
    let entry_width = entry_width?;
    if entry_width < INSIDE_ENTRY_WIDTH {
        return Some(LineKind::InsideEntry);
    }
    if entry_width < TIGHT_ENTRY_WIDTH {
        return Some(LineKind::TightEntry);
    }
    let apex_turned = apex_turned?;
    Some(if apex_turned < -EARLY_OR_LATE_SHARE {
        LineKind::EarlyApex
    } else if apex_turned > EARLY_OR_LATE_SHARE {
        LineKind::LateApex
    } else {
        LineKind::Geometric
    })
}

/// The lines of all passes, in their order.
pub(super) fn lines(session: &Session<'_>) -> Vec<Line> {
    let mut lines: Vec<Line> = session
        .view
        .passes
        .iter()
        .filter_map(|pass| {
            let corner = session.view.corners.iter().position(|it| it.number == pass.corner)?;
            Some(line(session, corner, pass))
        })
        .collect();
    for (index, corner) in session.view.corners.iter().enumerate() {
        let possible_m = shortest_possible_m(session, index);
        let driven = |it: &Line| session.pass(it.lap, it.corner).and_then(|it| it.path_m).map(|it| it.value);
        let shortest_m = lines.iter().filter(|it| it.corner == corner.number).filter_map(driven).reduce(f64::min);
        for it in lines.iter_mut().filter(|it| it.corner == corner.number) {
            it.longer_m = driven(it).zip(shortest_m).map(|(own_m, shortest_m)| own_m - shortest_m);
            it.over_shortest_m = driven(it).zip(possible_m).map(|(own_m, possible_m)| own_m - possible_m);
        }
    }
    lines
}

fn line(session: &Session<'_>, corner: usize, pass: &Pass) -> Line {
    let width_at = |t_s: f64| {
        let (inside_m, outside_m) = session.margins_m(session.place_at(t_s)?, pass.direction)?;
        Some(inside_m / (inside_m + outside_m))
    };
    let entry_width = pass.turn_in.and_then(|it| width_at(it.t_s.value));
    let apex_turned = apex_turned(session, corner, pass);
    Line {
        lap: pass.lap,
        corner: pass.corner,
        entry_width,
        apex_width: pass.apex.and_then(|it| width_at(it.mark.t_s.value)),
        exit_width: pass.exit.and_then(|it| width_at(it.t_s.value)),
        apex_turned,
        kind: line_kind(entry_width, apex_turned),
        radius_m: radius_m(session, pass),
        longer_m: None,
        over_shortest_m: None,
        stretch_s: session.stretch(pass.lap, corner),
    }
}

/// Where on the inside edge the apex lies: the share of the edge's turning before it, less one half. The reference line
/// would follow the driver's own habit; the edge does not.
pub(super) fn apex_turned(session: &Session<'_>, corner: usize, pass: &Pass) -> Option<f64> {
    let inside = session.insides[corner]?;
    let at = &session.view.corners[corner];
    let from_centre = nearest_to(session.view.path, pass, inside.centre)? - inside.centre;
    // Before the corner and behind it, where the edge runs on straight.
    let [before_rad, behind_rad] = session.edge_headings_rad[corner]?;
    let turned_rad = wrap_near(behind_rad - before_rad, at.angle_deg.to_radians(), pass);
    let middle_rad = before_rad + 0.5 * turned_rad;
    // The edge's heading beside the apex is at right angles to the way from the centre.
    let sign = if pass.direction == Direction::Left { 1.0 } else { -1.0 };
    let there_rad = from_centre.y_m.atan2(from_centre.x_m) + sign * std::f64::consts::FRAC_PI_2;
    Some(sign * wrap_angle(there_rad - middle_rad) / turned_rad.abs().max(0.1))
}

/// Where a pass comes nearest to a point between its turn-in and its exit. The apex mark is nearest to the edge as it is
/// drawn, and springs from one of its corners to the next; the circle has none.
fn nearest_to(path: &Path, pass: &Pass, centre: Point) -> Option<Point> {
    let (from_s, to_s) = (pass.turn_in?.t_s.value, pass.exit?.t_s.value);
    let place = |t_s: f64| path.at(t_s).map(|it| Point::new(it.x_m, it.y_m));
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a corner is below an hour")]
    let steps = ((to_s - from_s) / NEAREST_STEP_S).clamp(1.0, 1e5) as u32;
    let places = (0..=steps).filter_map(|step| place(from_s + f64::from(step) / f64::from(steps) * (to_s - from_s)));
    places.min_by(|a, b| a.distance_m(centre).total_cmp(&b.distance_m(centre)))
}

/// Steps along a pass when its nearest place is sought, s.
const NEAREST_STEP_S: f64 = 0.01;

/// A change of heading brought to the whole turns that the corner turns by.
fn wrap_near(change_rad: f64, angle_rad: f64, pass: &Pass) -> f64 {
    let signed = if pass.direction == Direction::Left { angle_rad } else { -angle_rad };
    signed + wrap_angle(change_rad - signed)
}

/// Metres over radians of the middle half of the turning.
fn radius_m(session: &Session<'_>, pass: &Pass) -> Option<f64> {
    let path = session.view.path;
    let (from_s, to_s) = (pass.turn_in?.t_s.value, pass.exit?.t_s.value);
    let (from, to) = (path.at(from_s)?, path.at(to_s)?);
    let turned_rad = to.heading_rad - from.heading_rad;
    let first = path.states.partition_point(|it| it.t_s <= from_s);
    let last = path.states.partition_point(|it| it.t_s < to_s);
    let at_share = |share: f64| {
        let reached = |it: &&PathState| (it.heading_rad - from.heading_rad) / turned_rad >= share;
        path.states[first..last].iter().find(reached)
    };
    let (begin, end) = (at_share(0.25)?, at_share(0.75)?);
    let radius_m = (end.travelled_m - begin.travelled_m) / (end.heading_rad - begin.heading_rad).abs();
    radius_m.is_finite().then_some(radius_m)
}

/// The shortest way from entry gate to exit gate that a kart fits through, m; `None` without both edges all the way.
fn shortest_possible_m(session: &Session<'_>, corner: usize) -> Option<f64> {
    let (entry_m, exit_m) = (session.entry_m(corner)?, session.exit_m(corner)?);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a corner is below a lap")]
    let steps = (exit_m - entry_m).clamp(1.0, 1e4).ceil() as u32;
    let line = |step: u32| {
        let at_m = entry_m + f64::from(step) / f64::from(steps) * (exit_m - entry_m);
        let (place, width) = (session.view.line.at(at_m)?, session.width_at(at_m));
        Some(Across {
            origin: place.position,
            left: Point::unit(place.heading_rad).left(),
            lowest_m: width.right_m? + KART_HALF_WIDTH_M,
            highest_m: width.left_m? - KART_HALF_WIDTH_M,
        })
    };
    shortest_m(&(0..=steps).map(line).collect::<Option<Vec<_>>>()?)
}

/// What each corner with edges allows.
pub(super) fn widest(session: &Session<'_>) -> Vec<Widest> {
    let of = |(index, corner): (usize, &Corner)| {
        let inside = session.insides[index]?;
        let usable_m = (usual_width_m(session, index)? - 2.0 * KART_HALF_WIDTH_M).max(0.0);
        let nearest_m = inside.radius_m + KART_HALF_WIDTH_M;
        Some(Widest {
            corner: corner.number,
            inside_radius_m: inside.radius_m,
            usable_m,
            widest_radius_m: widest_radius_m(nearest_m, usable_m, corner.angle_deg.to_radians()),
            shortest_m: shortest_possible_m(session, index),
        })
    };
    session.view.corners.iter().enumerate().filter_map(of).collect()
}

/// What the kinds of lines cost, corner by corner, from timed laps alone; kinds of fewer than two passes are left out.
pub(super) fn kind_costs(session: &Session<'_>, lines: &[Line]) -> Vec<KindCost> {
    let is_timed = |it: &&Line| session.timed_laps().any(|lap| lap.number == it.lap);
    let timed: Vec<&Line> = lines.iter().filter(is_timed).collect();
    let mut costs = Vec::new();
    for corner in session.view.corners {
        let of_kind = |kind: LineKind| {
            let passes = timed.iter().filter(|it| it.corner == corner.number && it.kind == Some(kind));
            let times: Vec<Estimate> = passes.filter_map(|it| it.stretch_s).collect();
            pooled(&times).filter(|it| it.count >= 2).map(|it| (kind, it))
        };
        let kinds: Vec<_> = LineKind::ALL.into_iter().filter_map(of_kind).collect();
        let Some(best) = kinds.iter().min_by(|a, b| a.1.mean.value.total_cmp(&b.1.mean.value)).copied() else {
            continue;
        };
        costs.extend(kinds.iter().map(|(kind, pooled)| KindCost {
            corner: corner.number,
            kind: *kind,
            passes: pooled.count,
            stretch_s: pooled.mean,
            cost_s: Estimate {
                value: pooled.mean.value - best.1.mean.value,
                ci95: if *kind == best.0 { 0.0 } else { pooled.mean.ci95.hypot(best.1.mean.ci95) },
            },
        }));
    }
    costs
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_follow_the_stated_limits() {
        let kind = |width, turned| line_kind(Some(width), Some(turned));
        assert_eq!(kind(0.2, 0.3), Some(LineKind::InsideEntry));
        assert_eq!(kind(0.5, 0.3), Some(LineKind::TightEntry));
        assert_eq!(kind(0.85, 0.0), Some(LineKind::Geometric));
        assert_eq!(kind(0.85, -0.11), Some(LineKind::EarlyApex));
        assert_eq!(kind(0.85, 0.11), Some(LineKind::LateApex));
        assert_eq!(line_kind(None, Some(0.0)), None);
        assert_eq!(line_kind(Some(0.1), None), Some(LineKind::InsideEntry));
    }
}
