//! The map: edges, reference line and the lines of one or two laps on the session's plane, north up.

use crate::analysis::Analysis;
use crate::corners::{Corner, Direction};
use crate::geom::Point;
use crate::geom::plane::Plane;
use crate::session::NoteKind;
use crate::strip::elsewhere::{LapElsewhere, between};
use crate::strip::place::Bounds;
use crate::strip::trace::Trace;
use crate::track::file::TrackFile;
use crate::track::layout::edge_on_plane;

/// Points of a line closer together than this, m, look alike on any screen.
const SPACING_M: f64 = 0.5;
/// Half the width of a gate that no file gives, m: a little more than half a kart track (common practice, no source).
const HALF_GATE_M: f64 = 5.0;
/// Shown of the way before and after a corner's gates, m.
const AROUND_CORNER_M: f64 = 20.0;
/// A click farther from the line than this, m, means no place of it.
const CLICK_WITHIN_M: f64 = 60.0;

/// The line of one lap, or of the whole log.
#[derive(Debug, Clone, PartialEq)]
pub struct MapLine {
    /// The other session that it is of, in words; `None` for the one under review.
    pub session: Option<String>,
    /// `None` where the log has no laps.
    pub lap: Option<u32>,
    /// About half a metre apart; those after a gap in the log say so.
    pub trace: Trace,
}

#[derive(Debug, Clone, PartialEq)]
pub struct MapCorner {
    pub number: u32,
    pub name: String,
    /// The middle of the corner on the reference line.
    pub middle: Point,
    /// Unit vector towards the outside.
    pub outside: Point,
    pub bounds: Bounds,
}

/// The lap whose line is laid beside this lap's.
#[derive(Debug, Clone, Copy)]
pub enum OtherLap<'a> {
    Here(u32),
    Elsewhere(LapElsewhere<'a>),
}

/// All that the map draws. Metres on the session's plane: x east, y north.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct MapPicture {
    /// Of the track file, and whether each closes. Empty where none are given or they are another circuit's.
    pub edges: Vec<(Vec<Point>, bool)>,
    /// Closed.
    pub reference: Vec<Point>,
    pub this: Option<MapLine>,
    pub other: Option<MapLine>,
    /// Start/finish gate.
    pub gate: Option<[Point; 2]>,
    pub corners: Vec<MapCorner>,
    /// Lowest and highest speed of the lines, m/s.
    pub speed_range_mps: Option<(f64, f64)>,
    /// `None` where the log has no positions.
    pub bounds: Option<Bounds>,
}

impl MapPicture {
    /// The lines of `lap` and, if wanted, of another lap; a lap that is not there gives none.
    /// Where the analysis has no laps at all, the whole path. Empty for a log without positions.
    pub fn of(analysis: &Analysis, track: Option<&TrackFile>, lap: u32, other: Option<OtherLap<'_>>) -> Self {
        let Some(plane) = &analysis.plane else { return Self::default() };
        let elsewhere = analysis.notes.iter().any(|it| matches!(it.kind, NoteKind::TrackElsewhere { .. }));
        let track = track.filter(|_| !elsewhere);
        let this = line(analysis, lap);
        let other = other.filter(|_| !analysis.laps.is_empty()).and_then(|it| match it {
            OtherLap::Here(lap) => line(analysis, lap),
            OtherLap::Elsewhere(there) => line_elsewhere(analysis, there),
        });
        let ranges = [&this, &other].into_iter().flatten().filter_map(|it| it.trace.speed_range_mps());
        let mut picture = Self {
            edges: track.map_or_else(Vec::new, |it| edges(it, plane)),
            reference: analysis
                .reference
                .as_ref()
                .map_or_else(Vec::new, |it| it.points.iter().map(|it| it.position).collect()),
            gate: gate(analysis, track, plane),
            corners: analysis.corners.iter().filter_map(|it| map_corner(analysis, it)).collect(),
            speed_range_mps: ranges.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1))),
            this,
            other,
            bounds: None,
        };
        picture.bounds = picture.extent();
        picture
    }

    /// Around the circuit; a lap that strays from it (a way through the paddock) does not shrink the picture.
    fn extent(&self) -> Option<Bounds> {
        let edges = self.edges.iter().flat_map(|it| &it.0);
        let circuit = Bounds::around(edges.chain(&self.reference).copied());
        circuit.or_else(|| Bounds::around(self.this.iter().flat_map(|it| &it.trace.points).map(|it| it.position)))
    }

    /// Where the kart of this lap is at a log time; `None` outside the lap and in a gap.
    pub fn kart_at(&self, t_s: f64) -> Option<Point> {
        let trace = &self.this.as_ref()?.trace;
        trace.position_at(trace.along_at(t_s)?)
    }

    /// Log time at which this lap is nearest to a point; `None` where that is far.
    pub fn nearest_t_s(&self, point: Point) -> Option<f64> {
        let points = &self.this.as_ref()?.trace.points;
        let near = points.iter().map(|it| (it.position.distance_m(point), it.t_s));
        near.filter(|it| it.0 <= CLICK_WITHIN_M).min_by(|a, b| a.0.total_cmp(&b.0)).map(|it| it.1)
    }

    pub fn corner(&self, number: u32) -> Option<&MapCorner> {
        self.corners.iter().find(|it| it.number == number)
    }
}

fn line(analysis: &Analysis, lap: u32) -> Option<MapLine> {
    let found = analysis.laps.iter().find(|it| it.number == lap);
    let mut trace = match (found, analysis.path.states.as_slice()) {
        (Some(found), _) => Trace::new(analysis, lap, found.start_t_s, found.end_t_s),
        (None, [first, .., last]) if analysis.laps.is_empty() => Trace::by_time(analysis, first.t_s, last.t_s),
        _ => return None,
    };
    let mut last: Option<Point> = None;
    let mut is_after_gap = false;
    trace.points.retain_mut(|it| {
        is_after_gap |= it.is_after_gap;
        let is_kept = last.is_none_or(|last| last.distance_m(it.position) >= SPACING_M);
        if is_kept {
            last = Some(it.position);
            it.is_after_gap = std::mem::take(&mut is_after_gap);
        }
        is_kept
    });
    (!trace.points.is_empty()).then_some(MapLine { session: None, lap: found.map(|it| it.number), trace })
}

/// On this session's plane.
fn line_elsewhere(here: &Analysis, other: LapElsewhere<'_>) -> Option<MapLine> {
    let mut found = line(other.analysis, other.lap)?;
    for point in &mut found.trace.points {
        point.position = between(point.position, other.analysis, here)?;
    }
    Some(MapLine { session: Some(other.session.to_owned()), ..found })
}

fn edges(track: &TrackFile, plane: &Plane) -> Vec<(Vec<Point>, bool)> {
    let given = [&track.left_edge, &track.right_edge].into_iter().flatten();
    given.map(|it| (edge_on_plane(it, plane), it.closed)).collect()
}

/// The file's gate, or one across the reference line at its beginning.
fn gate(analysis: &Analysis, track: Option<&TrackFile>, plane: &Plane) -> Option<[Point; 2]> {
    if let Some(ends) = track.and_then(|it| it.start_finish) {
        return Some(ends.map(|[longitude_deg, latitude_deg]| plane.to_plane(latitude_deg, longitude_deg)));
    }
    let start = analysis.reference.as_ref()?.at(0.0)?;
    let left = Point::unit(start.heading_rad).left().scaled(HALF_GATE_M);
    Some([start.position + left, start.position - left])
}

fn map_corner(analysis: &Analysis, corner: &Corner) -> Option<MapCorner> {
    let line = analysis.reference.as_ref()?;
    let (entry_m, middle_m, exit_m) = (corner.entry_gate_m?, corner.middle_m?, corner.exit_gate_m?);
    let middle = line.at(middle_m)?;
    let left = Point::unit(middle.heading_rad).left();
    let outside = if corner.direction == Direction::Left { left.scaled(-1.0) } else { left };
    let from_m = entry_m - AROUND_CORNER_M;
    let span_m = (exit_m - entry_m).rem_euclid(line.length_m) + 2.0 * AROUND_CORNER_M;
    let steps = 24;
    let way = (0..=steps).filter_map(|it| line.at(from_m + span_m * f64::from(it) / f64::from(steps)));
    Some(MapCorner {
        number: corner.number,
        name: corner.name.clone(),
        middle: middle.position,
        outside,
        bounds: Bounds::around(way.map(|it| it.position))?,
    })
}
