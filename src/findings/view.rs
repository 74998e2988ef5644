//! What findings are made from, and what is asked of it again and again: when a lap was where, what lies between two
//! gates, how wide the track is. Takes the values of an analysis; computes no finding.

use crate::corners::passes::EdgeLine;
use crate::corners::timeline::Timeline;
use crate::corners::{Corner, Direction, Pass};
use crate::findings::curve::InsideArc;
use crate::findings::stats::median;
use crate::geom::Point;
use crate::session::{Estimate, Path, PathState};
use crate::track::place::Unrolled;
use crate::track::{Lap, LapKind, ReferenceLine};
use crate::units::wrap_angle;

/// The values of an analysis that findings are made from.
#[derive(Debug, Clone)]
pub struct View<'a> {
    pub path: &'a Path,
    /// Same length as the path's states.
    pub places: Vec<Option<Unrolled>>,
    pub laps: &'a [Lap],
    pub line: &'a ReferenceLine,
    pub corners: &'a [Corner],
    pub passes: &'a [Pass],
    /// Seen in the direction of travel.
    pub left_edge: Option<&'a EdgeLine>,
    pub right_edge: Option<&'a EdgeLine>,
    /// Number and distance along the reference line, m, of the sector gates, in order of distance.
    pub sectors: &'a [(u32, f64)],
}

/// Offsets of the two edges from the reference line, m to the left; `None` where an edge is not near.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Width {
    pub(super) left_m: Option<f64>,
    pub(super) right_m: Option<f64>,
}

/// A view with its answers prepared.
#[derive(Debug)]
pub(super) struct Session<'a> {
    pub(super) view: &'a View<'a>,
    pub(super) timeline: Timeline,
    /// One for each point of the reference line.
    widths: Vec<Width>,
    /// One for each corner.
    pub(super) insides: Vec<Option<InsideArc>>,
    /// One for each corner: heading of the inside edge at the entry gate and at the exit gate, rad.
    pub(super) edge_headings_rad: Vec<Option<[f64; 2]>>,
}

/// An edge farther from the line than this, m, is another part of the circuit's.
const EDGE_WITHIN_M: f64 = 25.0;
/// The inside is taken for a circle over this middle share of its turning.
const ARC_SHARE: f64 = 0.6;

impl<'a> Session<'a> {
    pub(super) fn new(view: &'a View<'a>) -> Self {
        let timeline = Timeline::new(view.path, &view.places);
        let widths = widths(view);
        let mut session = Self { view, timeline, widths, insides: Vec::new(), edge_headings_rad: Vec::new() };
        let edges: Vec<Vec<Point>> = view.corners.iter().map(|it| session.inside_edge(it)).collect();
        session.insides = edges.iter().map(|it| inside_arc(it)).collect();
        session.edge_headings_rad = edges.iter().map(|it| end_headings_rad(it)).collect();
        session
    }

    pub(super) fn length_m(&self) -> f64 {
        self.view.line.length_m
    }

    pub(super) fn timed_laps(&self) -> impl Iterator<Item = &'a Lap> + use<'a> {
        self.view.laps.iter().filter(|it| it.kind == LapKind::Timed)
    }

    pub(super) fn pass(&self, lap: u32, corner: u32) -> Option<&'a Pass> {
        // Passes are in order of lap and corner.
        let at = self.view.passes.binary_search_by_key(&(lap, corner), |it| (it.lap, it.corner)).ok()?;
        Some(&self.view.passes[at])
    }

    /// Entry gate of a corner by index, unrolled from the lap's start: the index may run on into the next lap.
    pub(super) fn entry_m(&self, corner: usize) -> Option<f64> {
        let count = self.view.corners.len();
        let at = &self.view.corners[corner % count];
        // A corner over the start/finish gate begins before it: its entry gate belongs to the lap before.
        let entry_m = at.entry_gate_m?;
        let before = if at.middle_m.is_some_and(|middle_m| middle_m < entry_m) { self.length_m() } else { 0.0 };
        Some(entry_m - before + (corner / count) as f64 * self.length_m())
    }

    /// Exit gate of a corner by index, behind its entry gate.
    pub(super) fn exit_m(&self, corner: usize) -> Option<f64> {
        let entry_m = self.entry_m(corner)?;
        let exit_m = self.view.corners[corner % self.view.corners.len()].exit_gate_m?;
        Some(entry_m + (exit_m - entry_m).rem_euclid(self.length_m()))
    }

    /// Log time at which a lap is at a distance from its start, s.
    pub(super) fn time_at(&self, lap: u32, distance_m: f64) -> Option<f64> {
        self.timeline.time_at(f64::from(lap) * self.length_m() + distance_m)
    }

    pub(super) fn state_at(&self, lap: u32, distance_m: f64) -> Option<PathState> {
        self.view.path.at(self.time_at(lap, distance_m)?)
    }

    /// Time of one lap from one place to another. How sure a place is in the path holds no wander of the receiver; the
    /// pass's own time, which does, is never surer than `no_surer`.
    pub(super) fn time_between(&self, lap: u32, (from_m, to_m): (f64, f64), no_surer: f64) -> Option<Estimate> {
        let (from, to) = (self.state_at(lap, from_m)?, self.state_at(lap, to_m)?);
        let variance = |it: &PathState| it.along_variance_m2 / it.speed_mps.max(1.0).powi(2);
        let own = Estimate::from_variance(to.t_s - from.t_s, variance(&from) + variance(&to));
        Some(Estimate { ci95: own.ci95.max(no_surer), ..own })
    }

    /// Entry gate of a corner (by index) to the next corner's: all that a pass has a say in.
    pub(super) fn stretch(&self, lap: u32, corner: usize) -> Option<Estimate> {
        let number = self.view.corners.get(corner)?.number;
        let no_surer = self.pass(lap, number).and_then(|it| it.time_s).map_or(0.0, |it| it.ci95);
        self.time_between(lap, (self.entry_m(corner)?, self.entry_m(corner + 1)?), no_surer)
    }

    /// The same from the exit gate of the corner before: with the straight on which a pass prepares.
    pub(super) fn with_approach(&self, lap: u32, corner: usize) -> Option<Estimate> {
        let count = self.view.corners.len();
        let before_m = self.exit_m(corner + count - 1)? - self.length_m();
        let is_timed = |number: u32| self.timed_laps().any(|it| it.number == number);
        if before_m < 0.0 && !lap.checked_sub(1).is_some_and(is_timed) {
            // The way out of the pits is no approach.
            return None;
        }
        let stretch = self.stretch(lap, corner)?;
        self.time_between(lap, (before_m, self.entry_m(corner + 1)?), stretch.ci95)
    }

    pub(super) fn width_at(&self, distance_m: f64) -> Width {
        let count = self.widths.len();
        if count == 0 {
            return Width::default();
        }
        let spacing_m = self.length_m() / count as f64;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0..count after rem_euclid")]
        let index = (distance_m.rem_euclid(self.length_m()) / spacing_m).round() as usize;
        self.widths[index % count]
    }

    /// Distance of a place from the inside and from the outside edge, m, negative beyond; `None` without both edges.
    pub(super) fn margins_m(&self, place: Unrolled, direction: Direction) -> Option<(f64, f64)> {
        let width = self.width_at(place.distance_m);
        let (left_m, right_m) = (width.left_m? - place.offset_m, place.offset_m - width.right_m?);
        Some(if direction == Direction::Left { (left_m, right_m) } else { (right_m, left_m) })
    }

    /// Where a lap is at a log time, on the unrolled circuit.
    pub(super) fn place_at(&self, t_s: f64) -> Option<Unrolled> {
        let distance_m = self.timeline.distance_at(t_s)?;
        Some(Unrolled { distance_m, offset_m: self.timeline.offset_at(distance_m)? })
    }

    /// The inside edge of a corner from gate to gate; empty where none is given.
    fn inside_edge(&self, corner: &Corner) -> Vec<Point> {
        let Some((entry_m, exit_m)) = corner.entry_gate_m.zip(corner.exit_gate_m) else { return Vec::new() };
        self.edge_points(corner.direction, entry_m, (exit_m - entry_m).rem_euclid(self.length_m()))
    }

    /// The inside edge beside every metre of a corner.
    fn edge_points(&self, direction: Direction, entry_m: f64, length_m: f64) -> Vec<Point> {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a corner is below a lap")]
        let count = length_m.max(0.0) as usize;
        let mut points: Vec<Point> = Vec::with_capacity(count);
        for step in 0..=count {
            let at_m = entry_m + step as f64;
            let width = self.width_at(at_m);
            let offset_m = if direction == Direction::Left { width.left_m } else { width.right_m };
            let Some((place, offset_m)) = self.view.line.at(at_m).zip(offset_m) else { continue };
            let point = place.position + Point::unit(place.heading_rad).left().scaled(offset_m);
            // The normals of a line draw together on its inside: points that run back say nothing new.
            let ahead = |last: &Point| (point - *last).dot(Point::unit(place.heading_rad)) > 0.05;
            if points.last().is_none_or(ahead) {
                points.push(point);
            }
        }
        points
    }
}

/// The inside edge of a corner as the circle through the middle of its turning.
fn inside_arc(edge: &[Point]) -> Option<InsideArc> {
    let turning = middle_of_turning(edge)?;
    circle_through(&edge[turning.0..=turning.1]).filter(|it| it.radius_m < 500.0)
}

/// Headings of an edge at its ends, each over some metres, rad. `None` where it is shorter than both.
fn end_headings_rad(edge: &[Point]) -> Option<[f64; 2]> {
    let heading_rad = |from: Point, to: Point| (to.y_m - from.y_m).atan2(to.x_m - from.x_m);
    let last = edge.len().checked_sub(1).filter(|it| *it >= 2 * END_POINTS)?;
    Some([heading_rad(edge[0], edge[END_POINTS]), heading_rad(edge[last - END_POINTS], edge[last])])
}

/// An edge's heading at its ends is taken over this many points, about as many metres.
const END_POINTS: usize = 4;

/// First and last index between which the middle share of a polyline's turning lies.
fn middle_of_turning(points: &[Point]) -> Option<(usize, usize)> {
    let heading = |pair: &[Point]| (pair[1].y_m - pair[0].y_m).atan2(pair[1].x_m - pair[0].x_m);
    let headings: Vec<f64> = points.windows(2).map(heading).collect();
    let mut turned = vec![0.0];
    for pair in headings.windows(2) {
        turned.push(turned[turned.len() - 1] + wrap_angle(pair[1] - pair[0]));
    }
    let total = *turned.last()?;
    let reached = |share: f64| turned.iter().position(|it| it / total >= share);
    let (from, to) = (reached(0.5 - 0.5 * ARC_SHARE)?, reached(0.5 + 0.5 * ARC_SHARE)?);
    (total.abs() > 0.2 && to >= from + 3).then_some((from, to))
}

/// Least-squares circle through points (I. Kåsa, IEEE Transactions on Instrumentation and Measurement 25 (1976) 8–14).
/// `None` for fewer than three, or for points in one line.
fn circle_through(points: &[Point]) -> Option<InsideArc> {
    let middle = points.iter().fold(Point::default(), |sum, it| sum + *it).scaled(1.0 / points.len().max(1) as f64);
    let mut normal = nalgebra::Matrix3::zeros();
    let mut right = nalgebra::Vector3::zeros();
    for point in points {
        let from = *point - middle;
        let row = nalgebra::Vector3::new(from.x_m, from.y_m, 1.0);
        normal += row * row.transpose();
        right += row * from.dot(from);
    }
    let solved = normal.lu().solve(&right).filter(|it| it.iter().all(|value| value.is_finite()))?;
    let centre = Point::new(0.5 * solved[0], 0.5 * solved[1]);
    let radius_m = (solved[2] + centre.dot(centre)).max(0.0).sqrt();
    (points.len() >= 3).then_some(InsideArc { centre: middle + centre, radius_m })
}

/// Where both edges cross the normals of the reference line.
fn widths(view: &View<'_>) -> Vec<Width> {
    let left = crossings(view.line, view.left_edge);
    let right = crossings(view.line, view.right_edge);
    left.into_iter().zip(right).map(|(left_m, right_m)| Width { left_m, right_m }).collect()
}

/// Offset of the nearest crossing of an edge with the normal at each point of the line.
fn crossings(line: &ReferenceLine, edge: Option<&EdgeLine>) -> Vec<Option<f64>> {
    let Some((points, closed)) = edge else { return vec![None; line.points.len()] };
    let closing = points.last().zip(points.first()).filter(|_| *closed);
    let segments: Vec<(Point, Point)> =
        points.windows(2).map(|pair| (pair[0], pair[1])).chain(closing.map(|(last, first)| (*last, *first))).collect();
    let offset = |place: &crate::track::ReferencePoint| {
        let (along, left) = (Point::unit(place.heading_rad), Point::unit(place.heading_rad).left());
        let crossing = |(a, b): &(Point, Point)| {
            let (before_m, behind_m) = ((*a - place.position).dot(along), (*b - place.position).dot(along));
            if before_m * behind_m > 0.0 || (before_m - behind_m).abs() < 1e-9 {
                return None;
            }
            let share = before_m / (before_m - behind_m);
            Some((*a + (*b - *a).scaled(share) - place.position).dot(left))
        };
        let near = segments.iter().filter_map(crossing).filter(|it| it.abs() < EDGE_WITHIN_M);
        near.min_by(|a, b| a.abs().total_cmp(&b.abs()))
    };
    line.points.iter().map(offset).collect()
}

/// The usual width of the track in a corner, m.
pub(super) fn usual_width_m(session: &Session<'_>, corner: usize) -> Option<f64> {
    let (entry_m, exit_m) = (session.entry_m(corner)?, session.exit_m(corner)?);
    let steps = (0..=10).map(|step| entry_m + f64::from(step) / 10.0 * (exit_m - entry_m));
    median(steps.filter_map(|at_m| {
        let width = session.width_at(at_m);
        Some(width.left_m? - width.right_m?)
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_circle_is_found_through_its_points() {
        let on_circle = |it: u32| Point::new(30.0, -4.0) + Point::unit(0.1 * f64::from(it)).scaled(12.0);
        let points: Vec<Point> = (0..12).map(on_circle).collect();
        let found = circle_through(&points).unwrap();
        assert!((found.radius_m - 12.0).abs() < 1e-6 && found.centre.distance_m(Point::new(30.0, -4.0)) < 1e-6);
        assert!(circle_through(&points[..2]).is_none());
    }
}
