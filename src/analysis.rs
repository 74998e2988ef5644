//! `run`: everything computed from one session, as one immutable value. No state, no files.

use std::sync::Arc;

use geo::Distance;

pub use crate::session::MarkEdit;

use crate::clock::motion::Turning;
use crate::corners::by_time::passes_by_time;
use crate::corners::find::{CornerParams, corners};
use crate::corners::passes::{Circuit, EdgeLine, passes};
use crate::corners::{ApexBy, Corner, MarkKind, Pass};
use crate::findings::View;
use crate::geom::plane::Plane;
use crate::job;
use crate::session::{ChannelKind, Note, NoteKind, Path, Samples};
use crate::smooth::{Smoothed, smooth};
use crate::track::file::{Edge, TrackFile};
use crate::track::layout::{Layout, edge_on_plane, lay_out, plane_under};
use crate::track::pattern::find_pattern;
use crate::track::place::Unrolled;
use crate::track::{GateOrigin, Lap, LapKind, ReferenceLine};

/// All that an analysis depends on.
#[derive(Debug, Clone)]
pub struct Inputs {
    pub samples: Arc<Samples>,
    pub track: Option<TrackFile>,
    /// Log time of one crossing of the start/finish gate, s: needed where the log has no position.
    pub marked_crossing_s: Option<f64>,
    pub edits: Vec<MarkEdit>,
}

/// The result. Fields that need a position are empty or `None` for a log without one.
#[derive(Debug, Clone, Default)]
pub struct Analysis {
    pub plane: Option<Plane>,
    pub path: Path,
    pub reference: Option<ReferenceLine>,
    pub gate: Option<GateOrigin>,
    pub laps: Vec<Lap>,
    pub corners: Vec<Corner>,
    pub passes: Vec<Pass>,
    /// Per state of the path: where it is on the circuit. Same length as `path.states`; `None` off the laps.
    pub places: Vec<Option<TrackPlace>>,
    /// The given edges on the plane, left and right as driven.
    pub left_edge: Option<EdgeLine>,
    pub right_edge: Option<EdgeLine>,
    /// Number and distance along the reference line, m, of the given sector gates, in order of distance.
    pub sectors: Vec<(u32, f64)>,
    /// Findings of the reader and of every stage.
    pub notes: Vec<Note>,
}

/// One place on the circuit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackPlace {
    pub lap: u32,
    /// Along the reference line from the gate, m.
    pub distance_m: f64,
    /// To the left of the reference line, m.
    pub offset_m: f64,
}

/// What is done this long before turn-in is done for the corner, s (trial): see [`Analysis::moments_of`].
const APPROACH_S: f64 = 1.5;

impl Analysis {
    /// The trip of one lap through one corner.
    pub fn pass(&self, lap: u32, corner: u32) -> Option<&Pass> {
        self.passes.iter().find(|it| (it.lap, it.corner) == (lap, corner))
    }

    /// What a corner is called; its own name where there is no such corner here.
    pub fn corner_name(&self, number: u32) -> String {
        let named = self.corners.iter().find(|it| it.number == number);
        named.map_or_else(|| Corner::own_name(number), |it| it.name.clone())
    }

    /// Log times, s, of the moments that belong to a pass (half-open): to its exit, and from its approach on, for what a
    /// driver does just before turning in is done for this corner. No moment belongs to two passes: the approach begins
    /// no earlier than the pass before has ended. `None` where the pass has no times.
    pub fn moments_of(&self, pass: &Pass) -> Option<(f64, f64)> {
        let (begin_s, finish_s) = pass.times_s()?;
        let ends_s = self.passes.iter().filter_map(|it| Some(it.times_s()?.1));
        let before_s = ends_s.filter(|it| *it <= begin_s).fold(f64::NEG_INFINITY, f64::max);
        Some(((begin_s - APPROACH_S).max(before_s), finish_s))
    }

    /// What findings are made from; `None` without a circuit.
    pub fn view(&self) -> Option<View<'_>> {
        let line = self.reference.as_ref()?;
        let unrolled = |it: &TrackPlace| Unrolled {
            distance_m: f64::from(it.lap) * line.length_m + it.distance_m,
            offset_m: it.offset_m,
        };
        Some(View {
            path: &self.path,
            places: self.places.iter().map(|it| it.as_ref().map(unrolled)).collect(),
            laps: &self.laps,
            line,
            corners: &self.corners,
            passes: &self.passes,
            left_edge: self.left_edge.as_ref(),
            right_edge: self.right_edge.as_ref(),
            sectors: &self.sectors,
        })
    }

    /// Where a moment lies on the circuit, between the places of the states around it. `t_s` is log time, s. `None` off
    /// the laps and in gaps; within a step before a place that is not known, the place of the last state.
    pub fn place_at(&self, t_s: f64) -> Option<TrackPlace> {
        if self.path.gaps.iter().any(|(from_s, to_s)| *from_s < t_s && t_s < *to_s) {
            return None;
        }
        let index = self.path.index_at(t_s)?;
        let here = (*self.places.get(index)?)?;
        let ahead = self.path.states.get(index + 1).zip(self.places.get(index + 1).copied().flatten());
        let Some(((after, next), length_m)) = ahead.zip(self.reference.as_ref().map(|it| it.length_m)) else {
            return Some(here);
        };
        let from_s = self.path.states[index].t_s;
        let share = (t_s - from_s) / (after.t_s - from_s);
        let crosses = next.lap != here.lap;
        let next_m = if crosses { next.distance_m + length_m } else { next.distance_m };
        let distance_m = here.distance_m + share * (next_m - here.distance_m);
        let offset_m = here.offset_m + share * (next.offset_m - here.offset_m);
        Some(if crosses && distance_m >= length_m {
            TrackPlace { lap: next.lap, distance_m: distance_m - length_m, offset_m }
        } else {
            TrackPlace { lap: here.lap, distance_m, offset_m }
        })
    }
}

/// The turning of a log, for what is seen of it in footage: the measured yaw rate where there is a sound one, else the
/// smoothed path's heading. Empty for a log with neither.
pub fn turning_of(samples: &Samples, context: &job::Context) -> Result<Turning, job::Cancelled> {
    let Some(plane) = plane_under(samples.fixes()) else {
        return Ok(samples.channel(ChannelKind::YawRate).map(Turning::from_yaw_rate).unwrap_or_default());
    };
    let smoothed = smooth(samples, &plane, context)?;
    Ok(match &smoothed.yaw_rate {
        Some(yaw_rate) => Turning::from_yaw_rate(yaw_rate),
        None => Turning::from_path(&smoothed.path),
    })
}

/// Analyses one session. Never fails on what it is given: what cannot be told is missing, with a note or a reason.
pub fn run(inputs: &Inputs, context: &job::Context) -> Result<Analysis, job::Cancelled> {
    let samples = &*inputs.samples;
    let mut analysis = Analysis { notes: samples.notes().to_vec(), ..Analysis::default() };
    let Some(plane) = plane_under(samples.fixes()) else {
        return without_position(analysis, inputs, context);
    };
    analysis.plane = Some(plane);
    let mut smoothed = smooth(samples, &plane, context)?;
    analysis.notes.extend(smoothed.notes.iter().cloned());
    context.set_progress(0.5);
    if inputs.marked_crossing_s.is_some() {
        analysis.notes.push(Note::new(NoteKind::CrossingNotUsed));
    }
    if let Some(metres) = inputs.track.as_ref().and_then(|it| track_elsewhere_m(it, &plane)) {
        analysis.notes.push(Note::new(NoteKind::TrackElsewhere { metres }));
    }
    let layout = lay_out(std::mem::take(&mut smoothed.path), inputs.track.as_ref(), &plane, smoothed.noise.wander_m2ps);
    for (t_s, position) in &mut smoothed.fixes {
        *position = *position - layout.drift.at(*t_s);
    }
    context.check()?;
    context.set_progress(0.7);
    take_passes(&mut analysis, inputs, &smoothed, &layout, &plane, context)?;
    analysis.places = places(&layout);
    analysis.gate = layout.gate.map(|it| it.1);
    analysis.sectors = sectors(inputs.track.as_ref(), &plane, &layout.line);
    analysis.notes.extend(layout.notes);
    analysis.laps = layout.laps;
    analysis.reference = (!layout.line.points.is_empty()).then_some(layout.line);
    analysis.path = layout.path;
    context.set_progress(1.0);
    Ok(analysis)
}

/// A log with a yaw rate alone: laps from its pattern, corners and marks from the yaw rate.
fn without_position(
    mut analysis: Analysis,
    inputs: &Inputs,
    context: &job::Context,
) -> Result<Analysis, job::Cancelled> {
    let Some((path, yaw_rate)) = crate::smooth::without_position(&inputs.samples) else { return Ok(analysis) };
    let speed = inputs.samples.channel(ChannelKind::Speed);
    context.check()?;
    match find_pattern(&path, inputs.marked_crossing_s, speed.is_some()) {
        None => analysis.notes.push(Note::new(NoteKind::NoPattern)),
        Some(pattern) => {
            if pattern.gate == GateOrigin::Found {
                analysis.notes.push(Note::new(NoteKind::CrossingNotMarked));
            }
            context.set_progress(0.6);
            let edits = edits_of(inputs);
            (analysis.corners, analysis.passes) = passes_by_time(&path, &pattern, &yaw_rate, speed, &edits, context)?;
            analysis.gate = Some(pattern.gate);
            analysis.laps = pattern.laps;
        }
    }
    analysis.places = vec![None; path.states.len()];
    analysis.path = path;
    context.set_progress(1.0);
    Ok(analysis)
}

/// The last place a person gave a mark counts.
fn edits_of(inputs: &Inputs) -> impl Fn(u32, u32, MarkKind) -> Option<f64> + Sync + '_ {
    |lap, corner, mark| {
        inputs.edits.iter().rev().find(|it| (it.lap, it.corner, it.mark) == (lap, corner, mark)).map(|it| it.t_s)
    }
}

fn take_passes(
    analysis: &mut Analysis,
    inputs: &Inputs,
    smoothed: &Smoothed,
    layout: &Layout,
    plane: &Plane,
    context: &job::Context,
) -> Result<(), job::Cancelled> {
    if layout.line.points.is_empty() {
        return Ok(());
    }
    let spans = corners(&layout.line, &CornerParams::default());
    if spans.is_empty() {
        analysis.notes.push(Note::new(NoteKind::NoCorner));
        return Ok(());
    }
    let on_plane = |edge: Option<&Edge>| -> Option<EdgeLine> { edge.map(|it| (edge_on_plane(it, plane), it.closed)) };
    let mut left = on_plane(inputs.track.as_ref().and_then(|it| it.left_edge.as_ref()));
    let mut right = on_plane(inputs.track.as_ref().and_then(|it| it.right_edge.as_ref()));
    if edges_are_swapped(left.as_ref(), right.as_ref(), &layout.line) {
        analysis.notes.push(Note::new(NoteKind::EdgesSwapped));
        std::mem::swap(&mut left, &mut right);
    }
    let edits = edits_of(inputs);
    let circuit = Circuit {
        path: &layout.path,
        places: &layout.places,
        laps: &layout.laps,
        line: &layout.line,
        plane,
        noise: &smoothed.noise,
        drift: &layout.drift,
        session_shift_m2: layout.session_shift_m2,
        speed: smoothed.speed.as_ref(),
        yaw_rate: smoothed.yaw_rate.as_ref(),
        heading: smoothed.heading.as_ref(),
        fixes: &smoothed.fixes,
        left_edge: left.as_ref(),
        right_edge: right.as_ref(),
        edits: &edits,
    };
    (analysis.corners, analysis.passes) = passes(&circuit, &spans, context)?;
    (analysis.left_edge, analysis.right_edge) = (left, right);
    let estimated = analysis.passes.iter().filter(|it| it.apex.is_some_and(|apex| apex.by == ApexBy::Envelope));
    let corners_estimated = estimated.map(|it| it.corner).collect::<std::collections::BTreeSet<_>>().len();
    if corners_estimated > 0 {
        analysis.notes.push(Note::new(NoteKind::InsideEstimated { corners: corners_estimated }));
    }
    let passes = missing_passes(&analysis.passes, spans.len(), &layout.laps);
    if !passes.is_empty() {
        analysis.notes.push(Note::new(NoteKind::PassesMissing { passes }));
    }
    let unclear = analysis.passes.iter().filter(|it| it.turn_in.is_none() || it.exit.is_none()).count();
    if unclear > 0 {
        analysis.notes.push(Note::new(NoteKind::PassesUnclear { count: unclear }));
    }
    Ok(())
}

/// (lap, corner) of the timed laps that have no pass.
fn missing_passes(passes: &[Pass], corners: usize, laps: &[Lap]) -> Vec<(u32, u32)> {
    let found: std::collections::BTreeSet<(u32, u32)> = passes.iter().map(|it| (it.lap, it.corner)).collect();
    let timed = laps.iter().filter(|it| it.kind == LapKind::Timed);
    let all = timed.flat_map(|lap| (1..).take(corners).map(|corner| (lap.number, corner)));
    all.filter(|it| !found.contains(it)).collect()
}

/// Where the sector gates of a track file cross the reference line.
fn sectors(track: Option<&TrackFile>, plane: &Plane, line: &ReferenceLine) -> Vec<(u32, f64)> {
    let gates = track.iter().flat_map(|it| &it.sectors);
    let mut sectors: Vec<(u32, f64)> = gates
        .filter_map(|(number, ends)| {
            let [a, b] = ends.map(|[longitude, latitude]| plane.to_plane(latitude, longitude));
            let crossed = line.nearest_between((a + b).scaled(0.5), 0.0, line.length_m);
            (crossed.offset_m.abs() < EDGE_WITHIN_M).then_some((*number, crossed.distance_m.rem_euclid(line.length_m)))
        })
        .collect();
    sectors.sort_by(|a, b| a.1.total_cmp(&b.1));
    sectors
}

/// Whether most of the left edge lies to the right of the line driven, or of the right edge to the left.
fn edges_are_swapped(left: Option<&EdgeLine>, right: Option<&EdgeLine>, line: &ReferenceLine) -> bool {
    let on_left = |edge: &EdgeLine| {
        let near = edge.0.iter().map(|it| line.nearest_between(*it, 0.0, line.length_m).offset_m);
        let (mut left, mut right) = (0, 0);
        near.filter(|it| it.abs() < EDGE_WITHIN_M).for_each(|it| if it > 0.0 { left += 1 } else { right += 1 });
        (left, right)
    };
    let (left_on_left, left_on_right) = left.map_or((0, 0), on_left);
    let (right_on_left, right_on_right) = right.map_or((0, 0), on_left);
    left_on_right + right_on_left > left_on_left + right_on_right
}

/// An edge farther from the line than this, m, says nothing of its side.
const EDGE_WITHIN_M: f64 = 15.0;
/// A track this far from the log, m, is another one.
const ELSEWHERE_M: f64 = 3000.0;

/// How far the track file lies from the middle of the log, m, where that is farther than any circuit reaches.
fn track_elsewhere_m(track: &TrackFile, plane: &Plane) -> Option<f64> {
    let edges = [&track.left_edge, &track.right_edge].into_iter().flatten().flat_map(|it| &it.positions);
    let gates = [track.start_finish, track.pit_in, track.pit_out].into_iter().flatten();
    let sectors = track.sectors.iter().map(|it| it.1);
    let positions = edges.copied().chain(gates.chain(sectors).flatten());
    let (middle_latitude, middle_longitude) = plane.origin_deg();
    let from = geo::Point::new(middle_longitude, middle_latitude);
    let nearest = positions
        .map(|[lon, lat]| geo::Geodesic.distance(from, geo::Point::new(lon, lat)))
        .fold(f64::INFINITY, f64::min);
    (nearest.is_finite() && nearest > ELSEWHERE_M).then_some(nearest)
}

/// Lap and distance of every state, rolled up again.
fn places(layout: &Layout) -> Vec<Option<TrackPlace>> {
    let length_m = layout.line.length_m;
    layout
        .places
        .iter()
        .map(|place| {
            place.map(|it| {
                #[allow(
                    clippy::cast_possible_truncation,
                    clippy::cast_sign_loss,
                    reason = "laps are counted in hundreds"
                )]
                let lap = (it.distance_m / length_m).floor().max(0.0) as u32;
                TrackPlace { lap, distance_m: it.distance_m.rem_euclid(length_m), offset_m: it.offset_m }
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::PathState;

    #[test]
    fn a_moment_between_two_states_lies_between_their_places() {
        let state = |t_s| PathState { t_s, ..PathState::default() };
        let place = |lap, distance_m| Some(TrackPlace { lap, distance_m, offset_m: 0.5 });
        let analysis = Analysis {
            path: Path { states: vec![state(0.0), state(0.1), state(0.2), state(0.3)], gaps: vec![(0.01, 0.02)] },
            places: vec![place(1, 94.0), place(1, 97.0), place(2, 1.0), None],
            reference: Some(ReferenceLine { length_m: 100.0, ..ReferenceLine::default() }),
            ..Analysis::default()
        };
        let at = |t_s| analysis.place_at(t_s).map(|it| (it.lap, (it.distance_m * 10.0).round() / 10.0));
        assert_eq!(at(0.05), Some((1, 95.5)));
        // The gate lies three quarters of the way from the second state to the third.
        assert_eq!(at(0.174), Some((1, 100.0)));
        assert_eq!(at(0.1875), Some((2, 0.5)));
        assert_eq!(at(0.25), Some((2, 1.0)));
        assert_eq!(at(0.35), None);
        assert_eq!(at(-1.0), None);
        assert_eq!(at(0.015), None);
    }
}
