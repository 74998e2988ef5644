//! The receiver's wander, seen in the laps themselves: on straights and corners that face every way, a lap that lies
//! to one side of the mean as a whole was not driven there but measured there.
//!
//! A first-order Gauss–Markov process on two axes is filtered forward and smoothed backward from the offsets across
//! the line; the driver's own choice of line is the measurement noise. The mean of all laps stays where it is.

use nalgebra::{Matrix2, Vector2};

use crate::geom::Point;
use crate::session::{Path, PathState};
use crate::track::ReferenceLine;
use crate::track::place::Unrolled;

/// Time constant of a usual receiver's wander, s (common practice, no source).
pub const WANDER_TIME_S: f64 = 90.0;
/// One offset is taken every so many metres: closer ones say the same of the driver's line.
const SPACING_M: f64 = 15.0;
/// A driver's line is at least this uncertain, m.
const LEAST_LINE_M: f64 = 0.15;
/// A wander smaller than this, m, is left alone.
const LEAST_WANDER_M: f64 = 0.05;

/// A driver's deviations are not as independent from place to place as the filter takes them: what is left of the
/// wander is larger than it says by this factor of the variance (chosen on the sample, docs/methods.md#intervals).
const MODEL_FACTOR: f64 = 1.5;

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

    /// Variance of the mean error over a session, m².
    pub fn of_mean_m2(&self, session_s: f64) -> f64 {
        self.variance_m2 * (2.0 * self.time_s / session_s.max(1.0)).min(1.0)
    }

    /// Variance of the difference between the along-track errors at two times, m², the kart having turned in between.
    pub fn between_m2(&self, apart_s: f64, turned_rad: f64) -> f64 {
        2.0 * self.variance_m2 * (1.0 - (-apart_s.abs() / self.time_s).exp() * turned_rad.cos())
    }
}

/// The wander over the log, to be taken out of positions.
#[derive(Debug, Clone, Default)]
pub struct Drift {
    t_s: Vec<f64>,
    drift: Vec<Point>,
    /// Mean variance left on one axis, m².
    left_m2: f64,
}

impl Drift {
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

    /// What is left of the wander once it has been taken out.
    pub fn left(&self, before: Wander) -> Wander {
        if self.is_empty() {
            return before;
        }
        let left_m2 = (MODEL_FACTOR * self.left_m2).min(before.variance_m2);
        let share = left_m2 / before.variance_m2;
        Wander { variance_m2: left_m2, time_s: (before.time_s * share).max(10.0) }
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
    left: Vector2<f64>,
    offset_m: f64,
}

/// Finds the drift of laps about their mean line. Empty where the wander is too small to matter, or nothing is seen.
pub fn find_drift(path: &Path, places: &[Option<Unrolled>], line: &ReferenceLine, wander: Wander) -> Drift {
    let sightings = sightings(&path.states, places, line);
    if sightings.len() < 30 || wander.variance_m2.sqrt() < LEAST_WANDER_M {
        return Drift::default();
    }
    let line_m2 = driver_variance_m2(&sightings, wander);
    let (mut means, mut covariances) = (Vec::new(), Vec::new());
    let mut mean = Vector2::zeros();
    let mut covariance = Matrix2::identity() * wander.variance_m2;
    let mut last_s = sightings[0].t_s;
    let mut forward = Vec::with_capacity(sightings.len());
    for it in &sightings {
        let keep = (-(it.t_s - last_s) / wander.time_s).exp();
        let predicted_mean = mean * keep;
        let predicted = covariance * (keep * keep) + Matrix2::identity() * (wander.variance_m2 * (1.0 - keep * keep));
        let seen = predicted * it.left;
        let gain = seen / (it.left.dot(&seen) + line_m2);
        mean = predicted_mean + gain * (it.offset_m - it.left.dot(&predicted_mean));
        covariance = predicted - gain * seen.transpose();
        forward.push((keep, predicted_mean, predicted));
        means.push(mean);
        covariances.push(covariance);
        last_s = it.t_s;
    }
    for index in (0..sightings.len() - 1).rev() {
        let (keep, predicted_mean, predicted) = forward[index + 1];
        let Some(inverse) = predicted.try_inverse() else { continue };
        let gain = covariances[index] * inverse * keep;
        let (later_mean, later) = (means[index + 1], covariances[index + 1]);
        means[index] += gain * (later_mean - predicted_mean);
        covariances[index] += gain * (later - predicted) * gain.transpose();
    }
    let left_m2 = covariances.iter().map(|it| 0.5 * it.trace()).sum::<f64>() / covariances.len() as f64;
    Drift {
        t_s: sightings.iter().map(|it| it.t_s).collect(),
        drift: means.iter().map(|it| Point::new(it.x, it.y)).collect(),
        left_m2,
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
        sightings.push(Sighting { t_s: state.t_s, left: Vector2::new(left.x_m, left.y_m), offset_m: place.offset_m });
    }
    sightings
}

/// Variance of the driver's own line about the mean: what the wander does not explain of the offsets' spread.
fn driver_variance_m2(sightings: &[Sighting], wander: Wander) -> f64 {
    let mut sizes: Vec<f64> = sightings.iter().map(|it| it.offset_m.abs()).collect();
    let middle = sizes.len() / 2;
    let (_, median, _) = sizes.select_nth_unstable_by(middle, f64::total_cmp);
    // 0.6745 is the median of |z|.
    let spread = *median / 0.674_49;
    (spread * spread - wander.variance_m2).max(0.25 * spread * spread).max(LEAST_LINE_M * LEAST_LINE_M)
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
    fn a_steady_receiver_is_left_alone() {
        let (path, places, line) = drifting(|_| Point::default());
        assert!(find_drift(&path, &places, &line, Wander { variance_m2: 0.0004, time_s: 90.0 }).is_empty());
    }
}
