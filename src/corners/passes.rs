//! Every pass of every lap through every corner, with its marks, speeds and times.

pub use crate::corners::trips::Edits;

use crate::corners::apex::{Inside, apex};
use crate::corners::extremum::lowest_of;
use crate::corners::find::Span;
use crate::corners::marks::Measurements;
use crate::corners::timeline::Timeline;
use crate::corners::trips::{
    EDIT_CI95_S, Marked, corner_number, corrected, drop_unsure, locate_all, move_together, sign_of, trips,
};
use crate::corners::{Apex, Corner, Direction, Mark, MarkKind, Pass, Unclear};
use crate::geom::Point;
use crate::geom::plane::Plane;
use crate::job;
use crate::session::{Channel, Estimate, Path, PathState};
use crate::signal::quantile::quantile;
use crate::smooth::Noise;
use crate::track::drift::Drift;
use crate::track::place::Unrolled;
use crate::track::{Lap, ReferenceLine};

/// An edge of the track on the plane, and whether it closes.
pub type EdgeLine = (Vec<Point>, bool);

/// All that passes are made from.
#[derive(Clone, Copy)]
pub struct Circuit<'a> {
    pub path: &'a Path,
    /// Same length as the path's states.
    pub places: &'a [Option<Unrolled>],
    pub laps: &'a [Lap],
    pub line: &'a ReferenceLine,
    pub plane: &'a Plane,
    pub noise: &'a Noise,
    /// What the positions of one lap are off by against the mean.
    pub drift: &'a Drift,
    /// Variance of what the mean itself is off by against the ground, along one axis, m².
    pub session_shift_m2: f64,
    pub speed: Option<&'a Channel>,
    pub yaw_rate: Option<&'a Channel>,
    pub heading: Option<&'a Channel>,
    pub fixes: &'a [(f64, Point)],
    /// Seen in the direction of travel.
    pub left_edge: Option<&'a EdgeLine>,
    pub right_edge: Option<&'a EdgeLine>,
    pub edits: Edits<'a>,
}

impl std::fmt::Debug for Circuit<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Circuit").field("laps", &self.laps).field("line", &self.line.length_m).finish_non_exhaustive()
    }
}

/// The share of passes before the entry gate, and before the exit gate (design: the marks of a pass).
const ENTRY_GATE_SHARE: f64 = 0.10;
const EXIT_GATE_SHARE: f64 = 0.90;
/// Entry and exit gate of a corner, m from the gate, unrolled like the span.
type Gates = Option<(f64, f64)>;

/// Corners with their gates, and all passes in order of lap and corner.
pub fn passes(
    circuit: &Circuit<'_>,
    spans: &[Span],
    context: &job::Context,
) -> Result<(Vec<Corner>, Vec<Pass>), job::Cancelled> {
    let timeline = Timeline::new(circuit.path, circuit.places);
    let trips = trips(circuit.laps, circuit.line.length_m, spans, &timeline);
    let measured = Measurements {
        path: circuit.path,
        noise: circuit.noise,
        yaw_rate: circuit.yaw_rate,
        heading: circuit.heading,
        fixes: circuit.fixes,
        has_speed: true,
    };
    let mut marks = locate_all(&measured, &trips, spans.len(), context)?;
    if !measured.has_yaw_rate() {
        move_together(&mut marks, &trips, spans.len(), &timeline, circuit.line.length_m);
        drop_unsure(&mut marks);
    }
    let marked: Vec<Marked> = trips
        .iter()
        .zip(marks)
        .map(|((lap, corner, window), marks)| corrected(marks, circuit.edits, lap, *corner, window))
        .collect();
    let length_m = circuit.line.length_m;
    let gates: Vec<Gates> = (0..spans.len()).map(|corner| gates_of(corner, &marked, &timeline, length_m)).collect();
    let insides: Vec<Inside> =
        spans.iter().enumerate().map(|(corner, span)| inside_of(corner, span, circuit, &marked, &timeline)).collect();
    let finisher = Finisher { circuit, spans, gates: &gates, insides: &insides, timeline: &timeline };
    let mut passes: Vec<Pass> = Vec::with_capacity(marked.len());
    for it in &marked {
        let previous_exit_s = passes.last().and_then(|last| last.exit).map(|exit| exit.t_s.value);
        passes.push(finisher.finish(it, previous_exit_s));
    }
    finisher.add_exit_costs(&marked, &mut passes);
    let corners =
        spans.iter().zip(&gates).zip(1..).map(|((span, gates), number)| corner(number, span, *gates, circuit));
    Ok((corners.collect(), passes))
}

/// The corner as the outside sees it.
fn corner(number: u32, span: &Span, gates: Gates, circuit: &Circuit<'_>) -> Corner {
    let length_m = circuit.line.length_m;
    let middle = circuit.line.at(span.middle_m).map(|it| circuit.plane.to_degrees(it.position));
    Corner {
        number,
        name: Corner::own_name(number),
        direction: span.direction,
        angle_deg: span.angle_rad.to_degrees(),
        min_radius_m: Some(1.0 / span.peak_curvature_per_m),
        entry_gate_m: gates.map(|it| it.0.rem_euclid(length_m)),
        middle_m: Some(span.middle_m),
        exit_gate_m: gates.map(|it| it.1.rem_euclid(length_m)),
        latitude_deg: middle.map(|it| it.0),
        longitude_deg: middle.map(|it| it.1),
    }
}

/// Gates from the spread of the marks over the timed laps (over all laps where none is timed).
fn gates_of(corner: usize, marked: &[Marked], timeline: &Timeline, length_m: f64) -> Gates {
    let places = |timed_only: bool, mark: fn(&Marked) -> Option<Estimate>| -> Vec<f64> {
        let mut places: Vec<f64> = marked
            .iter()
            .filter(|it| it.corner == corner && (it.timed || !timed_only))
            .filter_map(|it| Some(timeline.distance_at(mark(it)?.value)? - f64::from(it.lap) * length_m))
            .collect();
        places.sort_unstable_by(f64::total_cmp);
        places
    };
    let quantile_of = |mark: fn(&Marked) -> Option<Estimate>, share: f64| {
        [true, false]
            .into_iter()
            .map(|timed| places(timed, mark))
            .find(|it| !it.is_empty())
            .map(|it| quantile(&it, share))
    };
    let entry_m = quantile_of(|it| it.turn_in, ENTRY_GATE_SHARE)?;
    let exit_m = quantile_of(|it| it.exit, EXIT_GATE_SHARE)?;
    (exit_m > entry_m).then_some((entry_m, exit_m))
}

fn inside_of(corner: usize, span: &Span, circuit: &Circuit<'_>, marked: &[Marked], timeline: &Timeline) -> Inside {
    let edge = match span.direction {
        Direction::Left => circuit.left_edge,
        Direction::Right => circuit.right_edge,
    };
    if let Some((points, closed)) = edge {
        let inside = Inside::from_edge(points, *closed, circuit.line, span);
        if !matches!(inside, Inside::Unknown) {
            return inside;
        }
    }
    let laps: Vec<u32> = marked.iter().filter(|it| it.corner == corner).map(|it| it.lap).collect();
    Inside::from_passes(circuit.line, span, sign_of(span.direction), laps.len(), |pass, at_m| {
        timeline.offset_at(f64::from(laps[pass]) * circuit.line.length_m + at_m)
    })
}

/// What it takes to finish the passes once the gates are known.
struct Finisher<'a> {
    circuit: &'a Circuit<'a>,
    spans: &'a [Span],
    gates: &'a [Gates],
    insides: &'a [Inside],
    timeline: &'a Timeline,
}

impl Finisher<'_> {
    fn finish(&self, marked: &Marked, previous_exit_s: Option<f64>) -> Pass {
        let path = self.circuit.path;
        let direction = self.spans[marked.corner].direction;
        let (entry_gate, exit_gate) = self.gate_crossings(marked);
        let mut unclear = marked.unclear.clone();
        // Between the marks; where one is missing, between the gates.
        let from_s = marked.turn_in.map(|it| it.value).or(entry_gate.map(|it| it.t_s));
        let to_s = marked.exit.map(|it| it.value).or(exit_gate.map(|it| it.t_s));
        let between = from_s.zip(to_s).filter(|(from_s, to_s)| from_s < to_s);
        let (apex, edited) = self.apex_of(marked, between, &mut unclear);
        let marks = [marked.turn_in, marked.exit];
        let slowest = between.and_then(|it| slowest(path, self.circuit.speed, it));
        let approach_s = from_s.map(|it| (previous_exit_s.unwrap_or(marked.window.from_s), it));
        let fastest = approach_s.and_then(|it| fastest(path, it));
        Pass {
            lap: marked.lap,
            corner: corner_number(marked.corner),
            direction,
            turn_in: marked.turn_in.and_then(|it| self.mark_at(it)),
            apex,
            exit: marked.exit.and_then(|it| self.mark_at(it)),
            approach_speed_mps: fastest.map(|it| widened(path, it, marks)),
            entry_speed_mps: marked.turn_in.and_then(|it| speed_at(path, it)),
            min_speed_mps: slowest.map(|it| lowest_with_marks(path, widened(path, it, marks), marks)),
            min_speed_t_s: slowest.map(|it| it.1),
            exit_speed_mps: marked.exit.and_then(|it| speed_at(path, it)),
            entry_gate_speed_mps: entry_gate.map(|it| self.gate_speed(&it)),
            exit_gate_speed_mps: exit_gate.map(|it| self.gate_speed(&it)),
            time_s: entry_gate.zip(exit_gate).map(|(entry, exit)| self.time_between(&entry, &exit)),
            path_m: entry_gate.zip(exit_gate).map(|(entry, exit)| {
                let driven_m = exit.travelled_m - entry.travelled_m;
                let spread_m2 = self.difference_variance((&entry, 1.0), (&exit, 1.0));
                Estimate::from_variance(driven_m, spread_m2)
            }),
            exit_cost_s: None,
            entry_gate_t_s: entry_gate.map(|it| it.t_s),
            exit_gate_t_s: exit_gate.map(|it| it.t_s),
            edited,
            unclear,
        }
    }

    fn gate_crossings(&self, marked: &Marked) -> (Option<PathState>, Option<PathState>) {
        let Some((entry_m, exit_m)) = self.gates[marked.corner] else { return (None, None) };
        (self.state_at(marked.lap, entry_m), self.state_at(marked.lap, exit_m))
    }

    fn state_at(&self, lap: u32, distance_m: f64) -> Option<PathState> {
        let unrolled_m = f64::from(lap) * self.circuit.line.length_m + distance_m;
        self.timeline.time_at(unrolled_m).and_then(|t_s| self.circuit.path.at(t_s))
    }

    fn apex_of(
        &self,
        marked: &Marked,
        between: Option<(f64, f64)>,
        unclear: &mut Vec<Unclear>,
    ) -> (Option<Apex>, Vec<MarkKind>) {
        let mut edited = marked.edited.clone();
        let Some(between) = between else { return (None, edited) };
        let inside = &self.insides[marked.corner];
        let nearest = apex(self.circuit.path, inside, between, self.circuit.drift, self.circuit.session_shift_m2);
        let put = (self.circuit.edits)(marked.lap, corner_number(marked.corner), MarkKind::Apex);
        let t_s = match put {
            Some(t_s) if t_s >= marked.window.from_s && t_s <= marked.window.to_s => {
                edited.push(MarkKind::Apex);
                Some(Estimate { value: t_s, ci95: EDIT_CI95_S })
            }
            Some(_) => {
                unclear.push(Unclear::EditOutside);
                nearest.map(|it| it.t_s)
            }
            None => nearest.map(|it| it.t_s),
        };
        if nearest.is_some_and(|it| it.gap_m.is_none()) {
            unclear.push(Unclear::NoInside);
        }
        let apex = t_s.and_then(|it| self.mark_at(it)).map(|mark| Apex {
            mark,
            by: inside.by(),
            gap_m: nearest.and_then(|it| it.gap_m),
        });
        (apex, edited)
    }

    fn mark_at(&self, t_s: Estimate) -> Option<Mark> {
        let state = self.circuit.path.at(t_s.value)?;
        let (latitude_deg, longitude_deg) = self.circuit.plane.to_degrees(Point::new(state.x_m, state.y_m));
        let length_m = self.circuit.line.length_m;
        Some(Mark {
            t_s,
            latitude_deg: Some(latitude_deg),
            longitude_deg: Some(longitude_deg),
            distance_m: self.timeline.distance_at(t_s.value).map(|it| it.rem_euclid(length_m)),
            speed_mps: speed_at(self.circuit.path, t_s),
        })
    }

    /// The gate lies where the laps on the whole had it: one lap's own place there is off by its wander.
    fn gate_speed(&self, state: &PathState) -> Estimate {
        let slope = state.acceleration_mps2 / state.speed_mps.max(1.0);
        let place_m2 = state.along_variance_m2 + self.circuit.drift.along_m2(state.into());
        Estimate::from_variance(state.speed_mps, state.speed_variance + slope * slope * place_m2)
    }

    /// Variance of `share_from` times the place along the way at one moment less `share_to` times that at another.
    fn difference_variance(&self, (from, share_from): (&PathState, f64), (to, share_to): (&PathState, f64)) -> f64 {
        let drift = self.circuit.drift;
        let own_m2 = |state: &PathState| state.along_variance_m2 + drift.along_m2(state.into());
        let shared_m2 = drift.shared_m2(from.into(), to.into());
        let apart = own_m2(from) * share_from * share_from + own_m2(to) * share_to * share_to;
        (apart - 2.0 * shared_m2 * share_from * share_to).max(0.0)
    }

    fn time_between(&self, from: &PathState, to: &PathState) -> Estimate {
        // A place that is off by a metre is passed one over the speed earlier or later.
        let shares = [from, to].map(|it| 1.0 / it.speed_mps.max(1.0));
        Estimate::from_variance(to.t_s - from.t_s, self.difference_variance((from, shares[0]), (to, shares[1])))
    }

    /// Time from the exit gate to the next corner's entry gate, less the best timed pass's.
    fn add_exit_costs(&self, marked: &[Marked], passes: &mut [Pass]) {
        let length_m = self.circuit.line.length_m;
        for corner in 0..self.spans.len() {
            let next = (corner + 1) % self.spans.len();
            let Some(((_, exit_m), (next_entry_m, _))) = self.gates[corner].zip(self.gates[next]) else { continue };
            let next_m = if next_entry_m > exit_m { next_entry_m } else { next_entry_m + length_m };
            let times: Vec<(usize, bool, Estimate)> = marked
                .iter()
                .enumerate()
                .filter(|(_, it)| it.corner == corner)
                .filter_map(|(index, it)| {
                    let (from, to) = (self.state_at(it.lap, exit_m)?, self.state_at(it.lap, next_m)?);
                    Some((index, it.timed, self.time_between(&from, &to)))
                })
                .collect();
            let best = times
                .iter()
                .filter(|it| it.1)
                .chain(times.iter().filter(|it| !times.iter().any(|any| any.1) && !it.1))
                .map(|it| it.2)
                .min_by(|a, b| a.value.total_cmp(&b.value));
            let Some(best) = best else { continue };
            for (index, _, time_s) in times {
                let is_best = (time_s.value - best.value).abs() < f64::EPSILON;
                let ci95 = if is_best { 0.0 } else { time_s.ci95.hypot(best.ci95) };
                passes[index].exit_cost_s = Some(Estimate { value: time_s.value - best.value, ci95 });
            }
        }
    }
}

pub(super) fn speed_at(path: &Path, t_s: Estimate) -> Option<Estimate> {
    let state = path.at(t_s.value)?;
    let shift = state.acceleration_mps2 * t_s.sigma();
    Some(Estimate::from_variance(state.speed_mps, state.speed_variance + shift * shift))
}

/// Lowest speed between two times and when it was: from the measured speed where there is one, else from the smoothed
/// states.
pub(super) fn slowest(path: &Path, speed: Option<&Channel>, between_s: (f64, f64)) -> Option<(Estimate, Estimate)> {
    let states = candidates(path, between_s.0, between_s.1);
    let lowest = states.iter().min_by(|a, b| a.speed_mps.total_cmp(&b.speed_mps))?;
    speed.and_then(|it| lowest_of(it, lowest.t_s, between_s)).or_else(|| {
        let clear_mps = lowest.speed_mps + 2.0 * lowest.speed_variance.sqrt();
        let level = states.iter().filter(|it| it.speed_mps <= clear_mps).map(|it| it.t_s);
        let (first_s, last_s) = level.fold((lowest.t_s, lowest.t_s), |(low, high), t_s| (low.min(t_s), high.max(t_s)));
        let value = Estimate::from_variance(lowest.speed_mps, lowest.speed_variance);
        Some((value, Estimate { value: lowest.t_s, ci95: (0.5 * (last_s - first_s)).max(0.02) }))
    })
}

/// Highest speed between two times and when it was, from the smoothed states: its peak is sharp, where the brakes bite.
pub(super) fn fastest(path: &Path, between_s: (f64, f64)) -> Option<(Estimate, Estimate)> {
    let states = candidates(path, between_s.0, between_s.1);
    let highest = states.iter().max_by(|a, b| a.speed_mps.total_cmp(&b.speed_mps))?;
    let value = Estimate::from_variance(highest.speed_mps, highest.speed_variance);
    Some((value, Estimate { value: highest.t_s, ci95: 0.0 }))
}

/// The lowest speed is never above that at the marks themselves, whatever noise a separate fit leaves.
fn lowest_with_marks(path: &Path, lowest: Estimate, marks: [Option<Estimate>; 2]) -> Estimate {
    let at_marks = marks.into_iter().flatten().filter_map(|it| speed_at(path, it));
    at_marks.fold(lowest, |lowest, it| Estimate { value: lowest.value.min(it.value), ..lowest })
}

/// Where the extremum lies at a mark, the mark's own interval moves it along the speed's slope.
fn widened(path: &Path, (value, at): (Estimate, Estimate), marks: [Option<Estimate>; 2]) -> Estimate {
    const AT_MARK_S: f64 = 0.15;
    let slope_ci95 = marks
        .into_iter()
        .flatten()
        .filter(|mark| (mark.value - at.value).abs() < AT_MARK_S)
        .filter_map(|mark| Some(path.at(mark.value)?.acceleration_mps2.abs() * mark.ci95))
        .fold(0.0, f64::max);
    Estimate { value: value.value, ci95: value.ci95.hypot(slope_ci95) }
}

/// The states from one time to another, both ends interpolated.
fn candidates(path: &Path, from_s: f64, to_s: f64) -> Vec<PathState> {
    let first = path.states.partition_point(|it| it.t_s <= from_s);
    let last = path.states.partition_point(|it| it.t_s < to_s).max(first);
    path.at(from_s).into_iter().chain(path.states[first..last].iter().copied()).chain(path.at(to_s)).collect()
}
