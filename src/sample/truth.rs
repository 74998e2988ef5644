//! What is exactly true of an invented run: its states, laps and passes, found on the noise-free line.
//!
//! Turn-in is the break point of a continuous two-piece linear (hinge) least-squares fit of curvature against distance
//! over the approach and the rise, found by brute force. Its window runs from the previous corner's exit (at most
//! 30 m before the rise starts, and not before the middle of the straight) to where |κ| first reaches 90 % of the
//! plateau, the largest |κ| of the first rise. Exit is the mirror image. The apex is the place nearest to the inside
//! edge as the track file has it. Corners are numbered from 1 in the order met after the gate.

use serde::Serialize;

use crate::corners::Direction;
use crate::geom::Point;
use crate::sample::circuit::Circuit;
use crate::sample::line::{CurveSpan, DrivenLine};
use crate::sample::motion::{STATE_STEP_S, State};

/// The window of the hinge before the rise, m, and the share of the plateau where it ends.
const APPROACH_M: f64 = 30.0;
const PLATEAU_SHARE: f64 = 0.9;
/// Curvature is sampled this finely for the fit, m.
const HINGE_STEP_M: f64 = 0.05;
/// Both pieces of the hinge have at least this length, m.
const HINGE_PIECE_M: f64 = 1.0;

/// All that is true of one run.
#[derive(Debug, Clone)]
pub struct Truth {
    /// Laps 0 (out), 1..=n (timed) and n + 1 (in).
    pub laps: Vec<TrueLap>,
    /// In the order driven.
    pub passes: Vec<TruePass>,
    /// Every 2 ms.
    pub states: Vec<State>,
}

/// One lap; the first begins and the last ends standing.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TrueLap {
    pub lap: u32,
    /// Gate crossings; for lap 0 the start of the run, for the last lap its end.
    pub start_t_s: f64,
    pub end_t_s: f64,
    /// Gate to gate; `None` for the laps out and in.
    pub time_s: Option<f64>,
}

/// A mark: the true state there, as far as it is written out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TrueMark {
    pub t_s: f64,
    pub x_m: f64,
    pub y_m: f64,
    pub latitude_deg: f64,
    pub longitude_deg: f64,
    pub speed_mps: f64,
    /// Metres driven since the start of the run.
    pub distance_m: f64,
}

/// One pass.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TruePass {
    pub lap: u32,
    /// From 1 in the order met after the gate.
    pub corner: u32,
    #[serde(serialize_with = "direction_name")]
    pub direction: Direction,
    pub turn_in: TrueMark,
    pub apex: TrueMark,
    pub exit: TrueMark,
    /// Distance of the apex from the inside edge, m.
    pub apex_gap_m: f64,
    /// Lowest speed between turn-in and exit.
    pub min_speed: TrueMark,
    /// Highest speed since the previous exit (or the start of the run).
    pub approach_speed_mps: f64,
    /// Largest curvature, 1/m, positive.
    pub peak_curvature_per_m: f64,
    /// Degrees turned, positive.
    pub angle_deg: f64,
}

fn direction_name<S: serde::Serializer>(direction: &Direction, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(match direction {
        Direction::Left => "left",
        Direction::Right => "right",
    })
}

impl Truth {
    pub(crate) fn new(circuit: &Circuit, line: &DrivenLine, states: Vec<State>) -> Self {
        let mut truth = Self { laps: Vec::new(), passes: Vec::new(), states };
        truth.laps = truth.find_laps(circuit);
        truth.passes = truth.find_passes(circuit, line);
        truth
    }

    /// Length of the run, s.
    pub fn duration_s(&self) -> f64 {
        self.states.last().map_or(0.0, |state| state.t_s)
    }

    /// The state at a time of the run; `None` outside it.
    pub fn state_at(&self, t_s: f64) -> Option<State> {
        if !(0.0..=self.duration_s()).contains(&t_s) {
            return None;
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within the run, checked above")]
        let index = ((t_s / STATE_STEP_S) as usize).min(self.states.len().checked_sub(2)?);
        Some(between(&self.states[index], &self.states[index + 1], t_s))
    }

    /// The state at a distance driven since the start of the run; `None` beyond the run. Where the kart stands, the
    /// first moment.
    pub fn state_at_distance(&self, distance_m: f64) -> Option<State> {
        let next = self.states.partition_point(|state| state.distance_m < distance_m);
        let after = self.states.get(next)?;
        let Some(before) = next.checked_sub(1).map(|index| &self.states[index]) else { return Some(*after) };
        let t_s = crossing_time(before, after, |state| state.distance_m - distance_m);
        Some(between(before, after, t_s))
    }

    /// Where lap `lap` crosses the directed line through `point` whose normal points along `normal_heading_rad`: from
    /// behind it to before it, within `near_m` of the point. The crossing nearest to the point; `None` without one.
    /// Points are on the circuit's plane, m.
    pub fn crossing(&self, lap: u32, point: Point, normal_heading_rad: f64, near_m: f64) -> Option<State> {
        let lap = self.laps.iter().find(|it| it.lap == lap)?;
        let from = self.states.partition_point(|state| state.t_s < lap.start_t_s).saturating_sub(1);
        let to = self.states.partition_point(|state| state.t_s <= lap.end_t_s).min(self.states.len() - 1);
        self.crossings(from, to, point, normal_heading_rad, near_m)
            .into_iter()
            .min_by(|a, b| a.position().distance_m(point).total_cmp(&b.position().distance_m(point)))
    }

    fn crossings(&self, from: usize, to: usize, point: Point, normal_heading_rad: f64, near_m: f64) -> Vec<State> {
        let normal = Point::unit(normal_heading_rad);
        let ahead_m = |state: &State| (state.position() - point).dot(normal);
        self.states[from..=to]
            .windows(2)
            .filter(|pair| ahead_m(&pair[0]) <= 0.0 && ahead_m(&pair[1]) > 0.0)
            .map(|pair| between(&pair[0], &pair[1], crossing_time(&pair[0], &pair[1], ahead_m)))
            .filter(|state| state.position().distance_m(point) <= near_m)
            .collect()
    }

    fn find_laps(&self, circuit: &Circuit) -> Vec<TrueLap> {
        let last = self.states.len() - 1;
        let crossings = self.crossings(0, last, circuit.gate, circuit.gate_heading_rad(), circuit.width_m);
        let mut bounds = vec![0.0];
        bounds.extend(crossings.iter().map(|state| state.t_s));
        bounds.push(self.duration_s());
        let count = bounds.len() - 1;
        (0u32..)
            .zip(bounds.windows(2))
            .map(|(lap, pair)| TrueLap {
                lap,
                start_t_s: pair[0],
                end_t_s: pair[1],
                time_s: (lap > 0 && lap as usize + 1 < count).then_some(pair[1] - pair[0]),
            })
            .collect()
    }

    fn find_passes(&self, circuit: &Circuit, line: &DrivenLine) -> Vec<TruePass> {
        let (left, right) = circuit.edges();
        let mut approach_from_m = 0.0;
        let mut passes = Vec::new();
        for (index, span) in line.curves.iter().enumerate() {
            let before_m = index.checked_sub(1).map_or(0.0, |before| line.curves[before].end_m);
            let after_m = line.curves.get(index + 1).map_or(line.length_m(), |after| after.start_m);
            let turn_in_m = turn_in_m(line, span, before_m);
            let exit_m = exit_m(line, span, after_m);
            let middle = line.at(0.5 * (span.rise_end_m + span.fall_start_m));
            let direction = if middle.curvature_per_m > 0.0 { Direction::Left } else { Direction::Right };
            let inside = if direction == Direction::Left { &left } else { &right };
            if let Some(pass) = self.pass(circuit, span, direction, (turn_in_m, exit_m), approach_from_m, inside) {
                passes.push(pass);
            }
            approach_from_m = exit_m;
        }
        passes
    }

    fn pass(
        &self,
        circuit: &Circuit,
        span: &CurveSpan,
        direction: Direction,
        (turn_in_m, exit_m): (f64, f64),
        approach_from_m: f64,
        inside: &[Point],
    ) -> Option<TruePass> {
        let mark = |state: State| mark(circuit, &state);
        let (turn_in, exit) = (self.state_at_distance(turn_in_m)?, self.state_at_distance(exit_m)?);
        let index_at = |distance_m: f64| self.states.partition_point(|state| state.distance_m < distance_m);
        let within = &self.states[index_at(turn_in_m)..index_at(exit_m)];
        let curve = &self.states[index_at(span.start_m)..index_at(span.end_m)];
        let apex = self.lowest(within, |state| gap_m(inside, state.position()));
        let slowest = self.lowest(within, |state| state.speed_mps);
        let approach = &self.states[index_at(approach_from_m)..=index_at(turn_in_m)];
        let turned_rad = curve.last()?.heading_rad - curve.first()?.heading_rad;
        Some(TruePass {
            lap: span.lap,
            corner: u32::try_from(span.bend).ok()? + 1,
            direction,
            turn_in: mark(turn_in),
            apex: mark(apex),
            exit: mark(exit),
            apex_gap_m: gap_m(inside, apex.position()),
            min_speed: mark(slowest),
            approach_speed_mps: approach.iter().map(|state| state.speed_mps).fold(0.0, f64::max),
            peak_curvature_per_m: curve.iter().map(|state| state.curvature_per_m.abs()).fold(0.0, f64::max),
            angle_deg: turned_rad.to_degrees().abs(),
        })
    }

    /// The state where `figure` is lowest, refined between the states by golden section.
    fn lowest(&self, among: &[State], figure: impl Fn(&State) -> f64) -> State {
        let coarse = among.iter().min_by(|a, b| figure(a).total_cmp(&figure(b))).copied().unwrap_or(self.states[0]);
        let at = |t_s: f64| self.state_at(t_s).unwrap_or(coarse);
        let t_s = golden_minimum(coarse.t_s - STATE_STEP_S, coarse.t_s + STATE_STEP_S, 1e-6, |t_s| figure(&at(t_s)));
        let fine = at(t_s);
        if figure(&fine) < figure(&coarse) { fine } else { coarse }
    }
}

fn mark(circuit: &Circuit, state: &State) -> TrueMark {
    let (latitude_deg, longitude_deg) = circuit.plane().to_degrees(state.position());
    TrueMark {
        t_s: state.t_s,
        x_m: state.x_m,
        y_m: state.y_m,
        latitude_deg,
        longitude_deg,
        speed_mps: state.speed_mps,
        distance_m: state.distance_m,
    }
}

/// Distance along the line where a pass turns in, by the definition above.
fn turn_in_m(line: &DrivenLine, span: &CurveSpan, before_m: f64) -> f64 {
    let from_m = (span.start_m - APPROACH_M).max(0.5 * (before_m + span.start_m));
    let plateau = line.at(span.rise_end_m).curvature_per_m.abs();
    let mut to_m = span.start_m;
    while to_m < span.rise_end_m && line.at(to_m).curvature_per_m.abs() < PLATEAU_SHARE * plateau {
        to_m += 0.01;
    }
    hinge_m(line, from_m, to_m, 1.0)
}

/// The mirror image of [`turn_in_m`].
fn exit_m(line: &DrivenLine, span: &CurveSpan, after_m: f64) -> f64 {
    let to_m = (span.end_m + APPROACH_M).min(0.5 * (span.end_m + after_m));
    let plateau = line.at(span.fall_start_m).curvature_per_m.abs();
    let mut from_m = span.end_m;
    while from_m > span.fall_start_m && line.at(from_m).curvature_per_m.abs() < PLATEAU_SHARE * plateau {
        from_m -= 0.01;
    }
    hinge_m(line, from_m, to_m, -1.0)
}

/// The break of the best hinge between two distances: every place on the grid is tried, then refined. `side` is +1 where
/// the corner lies beyond the break, −1 where before it.
fn hinge_m(line: &DrivenLine, from_m: f64, to_m: f64, side: f64) -> f64 {
    let steps = ((to_m - from_m) / HINGE_STEP_M).ceil();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few thousand steps")]
    let count = steps as u32;
    let samples: Vec<(f64, f64)> = (0..=count)
        .map(|index| {
            let s_m = from_m + (to_m - from_m) * f64::from(index) / steps;
            (s_m, line.at(s_m).curvature_per_m)
        })
        .collect();
    let best_among = |candidates: &mut dyn Iterator<Item = f64>| {
        candidates
            .filter(|s_m| *s_m > from_m + HINGE_PIECE_M && *s_m < to_m - HINGE_PIECE_M)
            .min_by(|a, b| hinge_misfit(&samples, *a, side).total_cmp(&hinge_misfit(&samples, *b, side)))
            .unwrap_or(0.5 * (from_m + to_m))
    };
    // Every tenth place first, then every place near the best of them: the misfit is smooth over half a metre.
    let coarse_m = best_among(&mut samples.iter().step_by(10).map(|(s_m, _)| *s_m));
    let near = samples.iter().map(|(s_m, _)| *s_m).filter(|s_m| (s_m - coarse_m).abs() < 1.0);
    let best_m = best_among(&mut near.into_iter());
    golden_minimum(best_m - HINGE_STEP_M, best_m + HINGE_STEP_M, 1e-5, |s_m| hinge_misfit(&samples, s_m, side))
}

/// Sum of squares left by the least-squares fit of a level and, on the corner's side of the break, a slope.
fn hinge_misfit(samples: &[(f64, f64)], break_m: f64, side: f64) -> f64 {
    let mut normal = nalgebra::Matrix2::zeros();
    let mut right = nalgebra::Vector2::zeros();
    let mut total = 0.0;
    for (s_m, curvature) in samples {
        let row = nalgebra::Vector2::new(1.0, (side * (s_m - break_m)).max(0.0));
        normal += row * row.transpose();
        right += row * *curvature;
        total += curvature * curvature;
    }
    let fit = normal.lu().solve(&right).unwrap_or_default();
    total - fit.dot(&right)
}

/// Distance from a closed polyline.
fn gap_m(edge: &[Point], point: Point) -> f64 {
    edge.iter()
        .zip(edge.iter().cycle().skip(1))
        .map(|(a, b)| {
            let along = *b - *a;
            let share = ((point - *a).dot(along) / along.dot(along)).clamp(0.0, 1.0);
            point.distance_m(*a + along.scaled(share))
        })
        .fold(f64::INFINITY, f64::min)
}

/// Golden-section search for the lowest value of `f` between two arguments, to `within`.
fn golden_minimum(mut from: f64, mut to: f64, within: f64, f: impl Fn(f64) -> f64) -> f64 {
    let ratio = (5.0_f64.sqrt() - 1.0) / 2.0;
    while to - from > within {
        let (a, b) = (to - ratio * (to - from), from + ratio * (to - from));
        if f(a) < f(b) { to = b } else { from = a }
    }
    0.5 * (from + to)
}

/// The time between two states at which `figure` changes sign, by bisection.
fn crossing_time(before: &State, after: &State, figure: impl Fn(&State) -> f64) -> f64 {
    let (mut from_s, mut to_s) = (before.t_s, after.t_s);
    for _ in 0..40 {
        let middle_s = 0.5 * (from_s + to_s);
        if figure(&between(before, after, middle_s)) <= 0.0 { from_s = middle_s } else { to_s = middle_s }
    }
    0.5 * (from_s + to_s)
}

/// Cubic interpolation of place, heading and distance, linear of the rest.
fn between(a: &State, b: &State, t_s: f64) -> State {
    let span_s = b.t_s - a.t_s;
    let u = (t_s - a.t_s) / span_s;
    let (u2, u3) = (u * u, u * u * u);
    let (h00, h10, h01, h11) = (2.0 * u3 - 3.0 * u2 + 1.0, u3 - 2.0 * u2 + u, 3.0 * u2 - 2.0 * u3, u3 - u2);
    let cubic = |p0: f64, v0: f64, p1: f64, v1: f64| h00 * p0 + h10 * span_s * v0 + h01 * p1 + h11 * span_s * v1;
    let mix = |from: f64, to: f64| from + (to - from) * u;
    let (to_a, to_b) = (Point::unit(a.heading_rad).scaled(a.speed_mps), Point::unit(b.heading_rad).scaled(b.speed_mps));
    State {
        t_s,
        x_m: cubic(a.x_m, to_a.x_m, b.x_m, to_b.x_m),
        y_m: cubic(a.y_m, to_a.y_m, b.y_m, to_b.y_m),
        speed_mps: mix(a.speed_mps, b.speed_mps),
        acceleration_mps2: mix(a.acceleration_mps2, b.acceleration_mps2),
        heading_rad: cubic(a.heading_rad, a.yaw_rate_radps, b.heading_rad, b.yaw_rate_radps),
        curvature_per_m: mix(a.curvature_per_m, b.curvature_per_m),
        yaw_rate_radps: mix(a.yaw_rate_radps, b.yaw_rate_radps),
        distance_m: cubic(a.distance_m, a.speed_mps, b.distance_m, b.speed_mps),
    }
}
