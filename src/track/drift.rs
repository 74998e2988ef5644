//! The receiver's wander, seen in the laps themselves: on straights and corners that face every way, a lap that lies
//! to one side of the mean as a whole was not driven there but measured there.
//!
//! Two first-order Gauss–Markov processes are filtered forward and smoothed backward from the offsets across the line:
//! the wander, on two axes and slow, and the driver's own choice of line, across the track and over tens of metres.
//! The mean of all laps stays where it is.

use nalgebra::{Matrix2, Matrix3, Vector2, Vector3};

use crate::geom::Point;
use crate::session::{Path, PathState};
use crate::track::ReferenceLine;
use crate::track::place::Unrolled;

/// Time constant of a usual receiver's wander, s (common practice, no source).
pub const WANDER_TIME_S: f64 = 90.0;
/// How long the part of the wander lasts that shifts a whole session against the ground, s (common practice, no source).
const SHIFT_TIME_S: f64 = 240.0;
/// One offset is taken every so many metres.
const SPACING_M: f64 = 15.0;
/// A driver's line is at least this uncertain, m.
const LEAST_LINE_M: f64 = 0.15;
/// What the smoothed path itself scatters by across, m.
const SIGHT_M: f64 = 0.05;
/// A driver's deviation from the mean line lasts about this far, m (chosen on the sample, docs/methods.md#intervals).
const LINE_M: f64 = 20.0;
/// Deviations have longer tails than their median tells: their variance is larger by this factor (trial, likewise).
const LINE_FACTOR: f64 = 1.3;
/// Fewer sightings tell nothing.
const LEAST_SIGHTINGS: usize = 30;
/// A wander smaller than this, m, is left alone.
const LEAST_WANDER_M: f64 = 0.05;

/// What the positions are still off by, along one axis: variance, m², and how long that lasts, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wander {
    pub variance_m2: f64,
    pub time_s: f64,
}

impl Wander {
    /// From the variance that a walk gains per second.
    pub fn from_walk(walk_m2ps: f64) -> Self {
        Self { variance_m2: 0.5 * walk_m2ps * WANDER_TIME_S, time_s: WANDER_TIME_S }
    }

    /// Variance of the mean error over a session, m²: of a process that gains as much per second but lasts longer,
    /// because what lasts for many laps is not seen in them.
    pub fn of_mean_m2(&self, session_s: f64) -> f64 {
        let lasting_m2 = self.variance_m2 * SHIFT_TIME_S / self.time_s;
        let share = SHIFT_TIME_S / session_s.max(1.0);
        // Mean of a first-order Gauss–Markov process over a stretch (the double integral of its covariance).
        lasting_m2 * 2.0 * share * (1.0 - share * (1.0 - (-1.0 / share).exp()))
    }
}

/// Where and when the kart was, as far as the wander there matters: log time, s, and heading, rad.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    pub t_s: f64,
    pub heading_rad: f64,
}

impl From<&PathState> for Moment {
    fn from(state: &PathState) -> Self {
        Self { t_s: state.t_s, heading_rad: state.heading_rad }
    }
}

/// The wander over the log, to be taken out of positions, and what is left once it has been.
#[derive(Debug, Clone)]
pub struct Drift {
    /// Before anything was found.
    wander: Wander,
    t_s: Vec<f64>,
    drift: Vec<Point>,
    /// Covariance of what is left, m².
    left_m2: Vec<Matrix2<f64>>,
    /// How long what is left lasts, s.
    time_s: f64,
}

impl Drift {
    /// Nothing found: the whole wander is left.
    pub fn unseen(wander: Wander) -> Self {
        Self { wander, t_s: Vec::new(), drift: Vec::new(), left_m2: Vec::new(), time_s: wander.time_s }
    }

    /// What to take out of a position at a time: linear between, the end values outside, zero where nothing was found.
    pub fn at(&self, t_s: f64) -> Point {
        let next = self.t_s.partition_point(|it| *it <= t_s);
        match (next.checked_sub(1), self.t_s.get(next)) {
            (None, None) => Point::default(),
            (None, Some(_)) => self.drift[0],
            (Some(before), None) => self.drift[before],
            (Some(before), Some(next_s)) => {
                let share = (t_s - self.t_s[before]) / (next_s - self.t_s[before]);
                self.drift[before] + (self.drift[next] - self.drift[before]).scaled(share)
            }
        }
    }

    pub fn is_empty(&self) -> bool {
        self.t_s.is_empty()
    }

    /// Variance of what is left on a log time along a direction, m².
    pub fn left_m2(&self, t_s: f64, along: Point) -> f64 {
        let next = self.t_s.partition_point(|it| *it <= t_s);
        let Some(covariance) = self.left_m2.get(next).or(self.left_m2.last()) else { return self.wander.variance_m2 };
        let along = Vector2::new(along.x_m, along.y_m);
        along.dot(&(covariance * along)).max(0.0)
    }

    /// Variance of what is left along the kart's way, m².
    pub fn along_m2(&self, at: Moment) -> f64 {
        self.left_m2(at.t_s, Point::unit(at.heading_rad))
    }

    /// Variance of what is left across the kart's way, m².
    pub fn across_m2(&self, at: Moment) -> f64 {
        self.left_m2(at.t_s, Point::unit(at.heading_rad).left())
    }

    /// Covariance of what is left along the way at two moments, m²: it lasts for a while, and the kart turns.
    pub fn shared_m2(&self, from: Moment, to: Moment) -> f64 {
        let lasts = (-(to.t_s - from.t_s).abs() / self.time_s).exp();
        lasts * (to.heading_rad - from.heading_rad).cos() * (self.along_m2(from) * self.along_m2(to)).sqrt()
    }

    /// Takes the wander out of a path.
    pub fn take_out(&self, path: &mut Path) {
        for state in &mut path.states {
            let drift = self.at(state.t_s);
            state.x_m -= drift.x_m;
            state.y_m -= drift.y_m;
        }
    }
}

/// One offset: when, which way is left there, how far left of the line.
struct Sighting {
    t_s: f64,
    travelled_m: f64,
    left: Vector2<f64>,
    offset_m: f64,
}

/// Finds the drift of laps about their mean line. Empty where the wander is too small to matter, or nothing is seen.
pub fn find_drift(path: &Path, places: &[Option<Unrolled>], line: &ReferenceLine, wander: Wander) -> Drift {
    let sightings = sightings(&path.states, places, line);
    if sightings.len() < LEAST_SIGHTINGS || wander.variance_m2.sqrt() < LEAST_WANDER_M {
        return Drift::unseen(wander);
    }
    let model = Model {
        wander_m2: wander.variance_m2,
        time_s: wander.time_s,
        line_m2: driver_variance_m2(&sightings),
        line_m: LINE_M,
    };
    model.smoothed(&sightings, wander)
}

/// How wander and driver move: what the offsets are explained by.
#[derive(Debug, Clone, Copy)]
struct Model {
    /// Variance of the wander along one axis, m².
    wander_m2: f64,
    time_s: f64,
    /// Variance of the driver's own line about the mean, m², and over how many metres a deviation lasts.
    line_m2: f64,
    line_m: f64,
}

/// Wander east and north, and how far left of the mean the driver is.
type State = Vector3<f64>;

/// What the filter knows before and after one sighting.
#[derive(Debug, Clone, Copy)]
struct Known {
    /// Shares of each state that are left since the last sighting.
    keep: State,
    predicted: (State, Matrix3<f64>),
    updated: (State, Matrix3<f64>),
}

impl Model {
    fn start(&self) -> (State, Matrix3<f64>) {
        (State::zeros(), Matrix3::from_diagonal(&self.spread()))
    }

    fn spread(&self) -> State {
        State::new(self.wander_m2, self.wander_m2, self.line_m2)
    }

    /// One step of the filter, from one sighting to the next.
    fn step(&self, known: (State, Matrix3<f64>), last: &Sighting, it: &Sighting) -> Known {
        let passed = (it.t_s - last.t_s, it.travelled_m - last.travelled_m);
        let wander_keep = (-passed.0 / self.time_s).exp();
        let keep = State::new(wander_keep, wander_keep, (-passed.1 / self.line_m).exp());
        let mean = known.0.component_mul(&keep);
        let fresh = self.spread().component_mul(&keep.map(|it| 1.0 - it * it));
        let covariance = known.1.component_mul(&(keep * keep.transpose())) + Matrix3::from_diagonal(&fresh);
        let row = State::new(it.left.x, it.left.y, 1.0);
        let seen = covariance * row;
        let innovation_m2 = row.dot(&seen) + SIGHT_M * SIGHT_M;
        let innovation_m = it.offset_m - row.dot(&mean);
        let gain = seen / innovation_m2;
        let updated = (mean + gain * innovation_m, covariance - gain * seen.transpose());
        Known { keep, predicted: (mean, covariance), updated }
    }

    fn smoothed(&self, sightings: &[Sighting], wander: Wander) -> Drift {
        let mut steps: Vec<Known> = Vec::with_capacity(sightings.len());
        let mut last = &sightings[0];
        for it in sightings {
            let known = steps.last().map_or_else(|| self.start(), |before| before.updated);
            steps.push(self.step(known, last, it));
            last = it;
        }
        let mut smoothed: Vec<(State, Matrix3<f64>)> = steps.iter().map(|it| it.updated).collect();
        let (mut alike, mut apart_s) = (0.0, 0.0);
        for index in (0..sightings.len() - 1).rev() {
            let Known { keep, predicted, .. } = steps[index + 1];
            let Some(inverse) = predicted.1.try_inverse() else { continue };
            let gain = steps[index].updated.1 * Matrix3::from_diagonal(&keep) * inverse;
            let (later, known) = (smoothed[index + 1], steps[index].updated);
            smoothed[index] =
                (known.0 + gain * (later.0 - predicted.0), known.1 + gain * (later.1 - predicted.1) * gain.transpose());
            let shared = gain * later.1;
            let share = (shared[(0, 0)] + shared[(1, 1)]) / (later.1[(0, 0)] + later.1[(1, 1)]);
            let dt_s = sightings[index + 1].t_s - sightings[index].t_s;
            if share > 0.0 && share < 1.0 {
                alike -= share.ln();
                apart_s += dt_s;
            }
        }
        Drift {
            wander,
            t_s: sightings.iter().map(|it| it.t_s).collect(),
            drift: smoothed.iter().map(|it| Point::new(it.0.x, it.0.y)).collect(),
            left_m2: smoothed.iter().map(|it| it.1.fixed_view::<2, 2>(0, 0).into_owned()).collect(),
            time_s: if alike > 0.0 { (apart_s / alike).clamp(1.0, self.time_s) } else { self.time_s },
        }
    }
}

fn sightings(states: &[PathState], places: &[Option<Unrolled>], line: &ReferenceLine) -> Vec<Sighting> {
    let mut sightings: Vec<Sighting> = Vec::new();
    let mut last_m = f64::NEG_INFINITY;
    for (state, place) in states.iter().zip(places) {
        let Some(place) = place else { continue };
        if state.travelled_m - last_m < SPACING_M || place.offset_m.abs() > 6.0 {
            continue;
        }
        let Some(at) = line.at(place.distance_m) else { continue };
        last_m = state.travelled_m;
        let left = Point::unit(at.heading_rad).left();
        sightings.push(Sighting {
            t_s: state.t_s,
            travelled_m: state.travelled_m,
            left: Vector2::new(left.x_m, left.y_m),
            offset_m: place.offset_m,
        });
    }
    sightings
}

/// Variance of the driver's own line about the mean: the spread of the offsets. That some of it is wander is left
/// in: to take a driver for wander moves a lap, to take wander for the driver only leaves it where it was.
fn driver_variance_m2(sightings: &[Sighting]) -> f64 {
    let mut sizes: Vec<f64> = sightings.iter().map(|it| it.offset_m.abs()).collect();
    let middle = sizes.len() / 2;
    let (_, median, _) = sizes.select_nth_unstable_by(middle, f64::total_cmp);
    // 0.6745 is the median of |z|.
    LINE_FACTOR * (*median / 0.674_49).max(LEAST_LINE_M).powi(2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::track::reference::with_shape;

    /// Ten laps of a circle of 60 m radius at 10 m/s, measured with a slow drift.
    fn drifting(drift: impl Fn(f64) -> Point) -> (Path, Vec<Option<Unrolled>>, ReferenceLine) {
        let circle: Vec<Point> =
            (0..377).map(|i| Point::unit(f64::from(i) * std::f64::consts::TAU / 377.0).scaled(60.0)).collect();
        let line = with_shape(&circle);
        let states: Vec<PathState> = (0..3770)
            .map(|i| {
                let t_s = f64::from(i) * 0.1;
                let angle = t_s * 10.0 / 60.0;
                let at = Point::unit(angle).scaled(60.0) + drift(t_s);
                PathState {
                    t_s,
                    x_m: at.x_m,
                    y_m: at.y_m,
                    speed_mps: 10.0,
                    travelled_m: 10.0 * t_s,
                    ..PathState::default()
                }
            })
            .collect();
        let places = states
            .iter()
            .map(|it| {
                let along_m = (it.t_s * 10.0).rem_euclid(line.length_m);
                Some(line.nearest_between(Point::new(it.x_m, it.y_m), along_m - 5.0, along_m + 5.0))
            })
            .collect();
        (Path { states, gaps: Vec::new() }, places, line)
    }

    #[test]
    fn a_slow_drift_is_taken_out() {
        let drift = |t_s: f64| Point::new(0.5 * (t_s / 60.0).sin(), 0.4 * (t_s / 45.0).cos());
        let (path, places, line) = drifting(drift);
        let found = find_drift(&path, &places, &line, Wander { variance_m2: 0.16, time_s: 90.0 });
        for t_s in [40.0, 120.0, 200.0, 300.0] {
            assert!(found.at(t_s).distance_m(drift(t_s)) < 0.12, "{t_s}: {:?} for {:?}", found.at(t_s), drift(t_s));
        }
    }

    #[test]
    fn what_is_left_is_less_than_what_was_there_and_lasts_less_long() {
        let wander = Wander { variance_m2: 0.16, time_s: 90.0 };
        let (path, places, line) = drifting(|t_s| Point::new(0.5 * (t_s / 60.0).sin(), 0.4 * (t_s / 45.0).cos()));
        let found = find_drift(&path, &places, &line, wander);
        let [now, soon, late] = [200.0, 202.0, 300.0].map(|t_s| Moment { t_s, heading_rad: 0.3 });
        assert!(found.along_m2(now) < 0.5 * wander.variance_m2 && found.across_m2(now) < 0.5 * wander.variance_m2);
        assert!(found.shared_m2(now, soon) > found.shared_m2(now, late));
        let unseen = Drift::unseen(wander);
        assert!((unseen.along_m2(now) - 0.16).abs() < 1e-12 && unseen.is_empty());
        let back = Moment { heading_rad: 0.3 + std::f64::consts::PI, ..now };
        assert!((unseen.shared_m2(now, back) + 0.16).abs() < 1e-12);
    }

    #[test]
    fn a_driver_off_the_line_at_one_place_is_mostly_not_taken_for_wander() {
        let beside = |t_s: f64| {
            let radial = Point::unit(t_s * 10.0 / 60.0);
            radial.scaled(if (200.0..203.0).contains(&t_s) { 0.8 } else { 0.0 })
        };
        let (path, places, line) = drifting(beside);
        let found = find_drift(&path, &places, &line, Wander { variance_m2: 0.16, time_s: 90.0 });
        // Less than half of the 0.8 m, though no other lap ever leaves the line.
        assert!(found.at(201.5).distance_m(Point::default()) < 0.4, "{:?}", found.at(201.5));
        assert!(found.at(230.0).distance_m(Point::default()) < 0.2, "{:?}", found.at(230.0));
    }

    #[test]
    fn a_shift_of_the_whole_session_shrinks_with_its_length() {
        let wander = Wander { variance_m2: 0.16, time_s: 90.0 };
        let [short, long] = [60.0, 3600.0].map(|session_s| wander.of_mean_m2(session_s));
        assert!(short > 0.3 && long < 0.1 && long > 0.0, "{short} {long}");
    }

    #[test]
    fn a_steady_receiver_is_left_alone() {
        let (path, places, line) = drifting(|_| Point::default());
        assert!(find_drift(&path, &places, &line, Wander { variance_m2: 0.0004, time_s: 90.0 }).is_empty());
    }
}
