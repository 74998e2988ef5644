//! Laps: directed crossings of the start/finish gate, interpolated on the smoothed path.

use crate::geom::Point;
use crate::session::{Estimate, Path, PathState};
use crate::track::drift::{Drift, Moment};
use crate::track::{Gate, Lap, LapKind};

/// A given gate is taken this much wider at both ends, m: positions wander by about as much.
const GATE_MARGIN_M: f64 = 2.0;
/// Two crossings closer in time than this, s, are one: no circuit is that short.
const MIN_LAP_S: f64 = 5.0;

/// One crossing of a gate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossing {
    pub t_s: f64,
    /// (s)², from the position's variance along the path and the speed; without the receiver's wander.
    pub variance_s2: f64,
    pub speed_mps: f64,
    pub heading_rad: f64,
}

impl Crossing {
    fn moment(&self) -> Moment {
        Moment { t_s: self.t_s, heading_rad: self.heading_rad }
    }
}

impl Gate {
    /// The gate across the path at a place: `half_width_m` to both sides.
    pub fn across(position: Point, heading_rad: f64, half_width_m: f64) -> Self {
        let left = Point::unit(heading_rad).left().scaled(half_width_m);
        Self { left: position + left, right: position - left }
    }

    /// The direction in which a crossing counts: a quarter turn to the right of right-to-left.
    pub fn forward(self) -> Point {
        let across = self.left - self.right;
        Point::new(across.y_m, -across.x_m)
    }

    /// The same gate for the opposite direction of travel.
    pub fn reversed(self) -> Self {
        Self { left: self.right, right: self.left }
    }

    fn widened(self, by_m: f64) -> Self {
        let across = self.left - self.right;
        let length_m = across.x_m.hypot(across.y_m).max(1e-9);
        let more = across.scaled(by_m / length_m);
        Self { left: self.left + more, right: self.right - more }
    }

    /// Signed distance before the gate line (positive once crossed), m.
    fn ahead_m(self, point: Point) -> f64 {
        let forward = self.forward();
        (point - self.right).dot(forward) / forward.x_m.hypot(forward.y_m).max(1e-9)
    }

    /// Whether a point of the gate line lies between its ends.
    fn holds(self, point: Point) -> bool {
        let across = self.left - self.right;
        (0.0..=1.0).contains(&((point - self.right).dot(across) / across.dot(across).max(1e-9)))
    }
}

/// Every crossing in the gate's direction. A state exactly on the line belongs to the segment that leaves it, so each
/// crossing counts once.
pub fn crossings(path: &Path, gate: Gate) -> Vec<Crossing> {
    let mut found: Vec<Crossing> = Vec::new();
    let mut gaps = path.gaps.iter().peekable();
    for pair in path.states.windows(2) {
        let (a, b) = (&pair[0], &pair[1]);
        while gaps.peek().is_some_and(|gap| gap.1 <= a.t_s) {
            gaps.next();
        }
        let ahead = |state: &PathState| gate.ahead_m(Point::new(state.x_m, state.y_m));
        if !(ahead(a) < 0.0 && ahead(b) >= 0.0) {
            continue;
        }
        let over_gap = gaps.peek().is_some_and(|gap| a.t_s >= gap.0 && b.t_s <= gap.1);
        let crossing = if over_gap { over_gap_between(gate, a, b) } else { locate(path, gate, a, b) };
        let Some(crossing) = crossing else { continue };
        if found.last().is_none_or(|last| crossing.t_s - last.t_s > MIN_LAP_S) {
            found.push(crossing);
        }
    }
    found
}

/// A gap is crossed where its two ends lie no farther apart than this, m: beyond, the kart may have gone any way.
const LONGEST_GAP_M: f64 = 80.0;
/// When it crossed may be any time of the gap: the standard deviation of an even spread, as a share of it (1/√12).
const GAP_SHARE: f64 = 0.288_675;

/// A crossing hidden by a gap: that it was there is certain where the ends lie close on both sides of the gate; when,
/// only to the length of the gap, and the interval says so.
fn over_gap_between(gate: Gate, a: &PathState, b: &PathState) -> Option<Crossing> {
    let (from, to) = (Point::new(a.x_m, a.y_m), Point::new(b.x_m, b.y_m));
    let (gap_s, gap_m) = (b.t_s - a.t_s, from.distance_m(to));
    let share = -gate.ahead_m(from) / (gate.ahead_m(to) - gate.ahead_m(from));
    let place = from + (to - from).scaled(share);
    (gap_m < LONGEST_GAP_M && gate.widened(GATE_MARGIN_M).holds(place)).then(|| Crossing {
        t_s: a.t_s + share * gap_s,
        variance_s2: (GAP_SHARE * gap_s).powi(2),
        speed_mps: a.speed_mps.max(b.speed_mps).max(gap_m / gap_s).max(0.1),
        heading_rad: a.heading_rad,
    })
}

/// Where between two states the path meets the gate line, by bisection on the interpolated path.
fn locate(path: &Path, gate: Gate, a: &PathState, b: &PathState) -> Option<Crossing> {
    let (mut before_s, mut after_s) = (a.t_s, b.t_s);
    for _ in 0..30 {
        let middle_s = 0.5 * (before_s + after_s);
        let middle = path.at(middle_s)?;
        if gate.ahead_m(Point::new(middle.x_m, middle.y_m)) < 0.0 { before_s = middle_s } else { after_s = middle_s }
    }
    let state = path.at(after_s)?;
    let forward = gate.forward();
    let towards = Point::unit(state.heading_rad).dot(forward) / forward.x_m.hypot(forward.y_m).max(1e-9);
    let speed_mps = state.speed_mps * towards;
    let holds = gate.widened(GATE_MARGIN_M).holds(Point::new(state.x_m, state.y_m));
    (holds && speed_mps > 0.1).then(|| Crossing {
        t_s: after_s,
        variance_s2: state.along_variance_m2 / (speed_mps * speed_mps),
        speed_mps,
        heading_rad: state.heading_rad,
    })
}

/// Turns the two ends of a given line into a gate for the direction in which the path crosses it: that of the larger
/// number of crossings, and of the first where they are equal.
pub fn directed(path: &Path, gate: Gate) -> Gate {
    let (there, back) = (crossings(path, gate), crossings(path, gate.reversed()));
    let first = |list: &[Crossing]| list.first().map_or(f64::INFINITY, |it| it.t_s);
    let keep = there.len() > back.len() || (there.len() == back.len() && first(&there) <= first(&back));
    if keep { gate } else { gate.reversed() }
}

/// Laps between crossings. `usual_s` tells the complete laps from those that left the circuit.
/// The first stretch is lap 0; the last, open one is an in lap.
pub fn laps(path: &Path, crossings: &[Crossing], drift: &Drift, is_timed: impl Fn(f64, f64) -> bool) -> Vec<Lap> {
    let (Some(first), Some(last)) = (path.states.first(), path.states.last()) else { return Vec::new() };
    let Some(first_crossing) = crossings.first() else { return Vec::new() };
    let mut laps =
        vec![Lap { number: 0, kind: LapKind::Out, start_t_s: first.t_s, end_t_s: first_crossing.t_s, time_s: None }];
    for (pair, number) in crossings.windows(2).zip(1..) {
        let (from, to) = (&pair[0], &pair[1]);
        let time_s = to.t_s - from.t_s;
        let variance_s2 = from.variance_s2 + to.variance_s2 + wandered_s2(from, to, drift);
        let kind = if is_timed(from.t_s, to.t_s) { LapKind::Timed } else { LapKind::Partial };
        laps.push(Lap {
            number,
            kind,
            start_t_s: from.t_s,
            end_t_s: to.t_s,
            time_s: Some(Estimate::from_variance(time_s, variance_s2)),
        });
    }
    if let Some(open) = crossings.last().filter(|it| last.t_s - it.t_s > 1.0) {
        #[allow(clippy::cast_possible_truncation, reason = "laps are counted in hundreds")]
        let number = crossings.len() as u32;
        laps.push(Lap { number, kind: LapKind::In, start_t_s: open.t_s, end_t_s: last.t_s, time_s: None });
    }
    laps
}

/// What the wander left between two crossings of one gate adds to the variance of the time between them, s².
fn wandered_s2(from: &Crossing, to: &Crossing, drift: &Drift) -> f64 {
    let (from_at, to_at) = (from.moment(), to.moment());
    let own_s2 = drift.along_m2(from_at) / from.speed_mps.powi(2) + drift.along_m2(to_at) / to.speed_mps.powi(2);
    (own_s2 - 2.0 * drift.shared_m2(from_at, to_at) / (from.speed_mps * to.speed_mps)).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A path round a circle of 50 m radius at 10 m/s, sampled every `step_s`.
    fn circle(step_s: f64, until_s: f64) -> Path {
        let mut states = Vec::new();
        let mut t_s = 0.0;
        while t_s <= until_s {
            let angle = t_s * 10.0 / 50.0;
            states.push(PathState {
                t_s,
                x_m: 50.0 * angle.cos(),
                y_m: 50.0 * angle.sin(),
                speed_mps: 10.0,
                heading_rad: angle + std::f64::consts::FRAC_PI_2,
                yaw_rate_radps: 0.2,
                acceleration_mps2: 0.0,
                travelled_m: 10.0 * t_s,
                across_variance_m2: 0.01,
                along_variance_m2: 0.01,
                speed_variance: 0.01,
                heading_variance: 1e-4,
                yaw_rate_variance: 1e-4,
            });
            t_s += step_s;
        }
        Path { states, gaps: Vec::new() }
    }

    #[test]
    fn lap_times_of_a_circle_are_its_circumference_over_the_speed() {
        let path = circle(0.1, 100.0);
        let gate = Gate::across(Point::new(0.0, 50.0), std::f64::consts::PI, 5.0);
        let found = crossings(&path, gate);
        let expected_s = std::f64::consts::TAU * 50.0 / 10.0;
        assert_eq!(found.len(), 3);
        assert!((found[0].t_s - expected_s / 4.0).abs() < 1e-4);
        assert!((found[1].t_s - found[0].t_s - expected_s).abs() < 1e-4);
        assert!(crossings(&path, gate.reversed()).is_empty());
    }

    #[test]
    fn a_gate_through_a_sample_counts_each_crossing_once() {
        let path = circle(std::f64::consts::TAU * 50.0 / 10.0 / 100.0, 95.0);
        let gate = Gate::across(Point::new(-50.0, 0.0), -std::f64::consts::FRAC_PI_2, 5.0);
        assert_eq!(crossings(&path, gate).len(), 3);
    }

    #[test]
    fn a_line_is_directed_the_way_it_is_driven() {
        let path = circle(0.1, 100.0);
        let gate = Gate::across(Point::new(0.0, 50.0), std::f64::consts::PI, 5.0);
        assert_eq!(directed(&path, gate.reversed()), gate);
        assert_eq!(directed(&path, gate), gate);
    }
}
