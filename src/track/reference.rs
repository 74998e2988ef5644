//! The reference line: the mean of the timed laps, taken place by place, with its heading and curvature.

use crate::geom::Point;
use crate::session::{Path, PathState};
use crate::signal::savgol::{coefficients, filter_periodic};
use crate::track::{ReferenceLine, ReferencePoint};
use crate::units::wrap_angle;

/// Spacing of the line's points, m.
const SPACING_M: f64 = 1.0;
/// Laps beyond this many add time and no shape.
const MOST_LAPS: usize = 24;
/// Each round of averaging takes the offsets of all laps from the line so far.
const ROUNDS: usize = 3;

/// The mean line of the stretches (from, to) in s, each one lap from gate to gate.
/// Degenerate: no lap, or laps shorter than 20 m, give an empty line.
pub fn reference_line(path: &Path, laps_s: &[(f64, f64)]) -> ReferenceLine {
    let step = laps_s.len().div_ceil(MOST_LAPS).max(1);
    let laps: Vec<Vec<PathState>> = laps_s
        .iter()
        .step_by(step)
        .filter_map(|(from_s, to_s)| gate_to_gate(path, *from_s, *to_s))
        .filter(|lap| lap.len() > 10)
        .collect();
    let Some(lap_m) = median(laps.iter().filter_map(|lap| lap_length_m(lap)).collect()) else {
        return ReferenceLine::default();
    };
    if lap_m < 20.0 {
        return ReferenceLine::default();
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a lap is finite and below 1e7 m")]
    let count = (lap_m / SPACING_M).round().clamp(20.0, 1e6) as usize;
    let resampled: Vec<Vec<Point>> = laps.iter().map(|lap| resample(lap, count)).collect();
    let mut points: Vec<Point> = (0..count)
        .map(|index| {
            let sum = resampled.iter().fold(Point::default(), |sum, lap| sum + lap[index]);
            sum.scaled(1.0 / resampled.len() as f64)
        })
        .collect();
    points = respace(&points, count);
    let grain = grain_of(&laps);
    for _ in 0..ROUNDS {
        let line = with_shape(&points);
        let offsets = mean_offsets(&line, &resampled);
        let moved: Vec<Point> = line
            .points
            .iter()
            .zip(offsets)
            .map(|(point, offset)| point.position + Point::unit(point.heading_rad).left().scaled(offset))
            .collect();
        points = respace(&without_grain(&moved, grain), count);
    }
    with_shape(&points)
}

/// States farther apart than this, m, leave a grain of their own in the line.
const FINE_M: f64 = 4.0;

/// Half the number of points that the states of the laps lie apart; 0 where they lie close.
fn grain_of(laps: &[Vec<PathState>]) -> usize {
    let apart = laps.iter().flat_map(|lap| lap.windows(2).map(|pair| pair[1].travelled_m - pair[0].travelled_m));
    let apart_m = median(apart.collect()).unwrap_or(0.0);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "metres between two states")]
    if apart_m > FINE_M { (0.5 * apart_m / SPACING_M).clamp(0.0, 50.0).ceil() as usize } else { 0 }
}

/// Running mean over `reach` points to both sides, on the closed line: a line has no more detail than its laps.
fn without_grain(points: &[Point], reach: usize) -> Vec<Point> {
    let count = points.len();
    if reach == 0 || 2 * reach + 1 > count {
        return points.to_vec();
    }
    let width = (2 * reach + 1) as f64;
    (0..count)
        .map(|index| {
            let window = (0..=2 * reach).map(|step| points[(index + count - reach + step) % count]);
            window.fold(Point::default(), |sum, it| sum + it).scaled(1.0 / width)
        })
        .collect()
}

/// The states of one lap with both ends exactly on the gate.
fn gate_to_gate(path: &Path, from_s: f64, to_s: f64) -> Option<Vec<PathState>> {
    let from = path.states.partition_point(|state| state.t_s <= from_s);
    let to = path.states.partition_point(|state| state.t_s < to_s).max(from);
    let inner = path.states[from..to].iter().copied();
    Some(std::iter::once(path.at(from_s)?).chain(inner).chain(std::iter::once(path.at(to_s)?)).collect())
}

fn lap_length_m(lap: &[PathState]) -> Option<f64> {
    Some(lap.last()?.travelled_m - lap.first()?.travelled_m)
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let middle = values.len() / 2;
    Some(*values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// `count` points evenly spaced in the lap's own travelled distance. A lap's two ends do not meet exactly (another
/// line over the gate, a wandering receiver): the miss is spread over the lap.
fn resample(lap: &[PathState], count: usize) -> Vec<Point> {
    let (first, last) = (lap[0], lap[lap.len() - 1]);
    let total_m = last.travelled_m - first.travelled_m;
    let miss = Point::new(last.x_m - first.x_m, last.y_m - first.y_m);
    let mut after = 1;
    (0..count)
        .map(|index| {
            let share = index as f64 / count as f64;
            let at_m = first.travelled_m + share * total_m;
            while after + 1 < lap.len() && lap[after].travelled_m < at_m {
                after += 1;
            }
            let (a, b) = (&lap[after - 1], &lap[after]);
            let along = ((at_m - a.travelled_m) / (b.travelled_m - a.travelled_m).max(1e-9)).clamp(0.0, 1.0);
            let t_s = a.t_s + along * (b.t_s - a.t_s);
            let state = Path { states: vec![*a, *b], gaps: Vec::new() }.at(t_s).unwrap_or(*a);
            Point::new(state.x_m, state.y_m) - miss.scaled(share)
        })
        .collect()
}

/// The same closed polyline with `count` evenly spaced points, beginning at the first.
fn respace(points: &[Point], count: usize) -> Vec<Point> {
    let length_of = |index: usize| points[index].distance_m(points[(index + 1) % points.len()]);
    let total_m: f64 = (0..points.len()).map(length_of).sum();
    let mut segment = 0;
    let mut passed_m = 0.0;
    (0..count)
        .map(|index| {
            let at_m = total_m * index as f64 / count as f64;
            while segment + 1 < points.len() && passed_m + length_of(segment) < at_m {
                passed_m += length_of(segment);
                segment += 1;
            }
            let share = ((at_m - passed_m) / length_of(segment).max(1e-9)).clamp(0.0, 1.0);
            let (a, b) = (points[segment], points[(segment + 1) % points.len()]);
            a + (b - a).scaled(share)
        })
        .collect()
}

/// Mean over the laps of the offset from the line, at each of its points. Every lap has the same say at a point,
/// whatever number of its own points fell near: uneven say would make the line jagged where laps lie apart.
fn mean_offsets(line: &ReferenceLine, laps: &[Vec<Point>]) -> Vec<f64> {
    let count = line.points.len();
    let mut sums = vec![(0.0, 0.0); count];
    for lap in laps {
        for (sum, offset_m) in sums.iter_mut().zip(offsets_of(line, lap)) {
            if let Some(offset_m) = offset_m {
                sum.0 += offset_m;
                sum.1 += 1.0;
            }
        }
    }
    sums.into_iter().map(|(sum, laps)| if laps > 0.0 { sum / laps } else { 0.0 }).collect()
}

/// One lap's offset at each point of the line, between its own points; `None` where the lap was elsewhere.
fn offsets_of(line: &ReferenceLine, lap: &[Point]) -> Vec<Option<f64>> {
    let count = line.points.len();
    let spacing_m = line.length_m / count as f64;
    let mut offsets = vec![None; count];
    let mut last: Option<(f64, f64)> = None;
    // Once more round to the first point, so that the seam is filled like any other stretch.
    for (index, point) in lap.iter().chain(lap.first()).enumerate() {
        let expected_m = index as f64 * spacing_m;
        let found = line.nearest_between(*point, expected_m - OFF_LINE_M, expected_m + OFF_LINE_M);
        if found.offset_m.abs() > OFF_LINE_M {
            last = None;
            continue;
        }
        let here = (found.distance_m / spacing_m, found.offset_m);
        if let Some(before) = last.filter(|before| here.0 > before.0) {
            #[allow(clippy::cast_possible_truncation, reason = "a few thousand points at the most")]
            for at in before.0.ceil() as i64..=here.0.floor() as i64 {
                let share = (at as f64 - before.0) / (here.0 - before.0);
                #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0..count")]
                let slot = at.rem_euclid(count as i64) as usize;
                offsets[slot] = Some(before.1 + share * (here.1 - before.1));
            }
        }
        if last.is_none_or(|before| here.0 > before.0) {
            last = Some(here);
        }
    }
    offsets
}

/// A lap farther from the line than this, m, was elsewhere there.
const OFF_LINE_M: f64 = 15.0;

/// Points of the sliding polynomial (of third order) that the heading is taken from: ±4 m.
const SHAPE_WINDOW: usize = 9;
const SHAPE_ORDER: usize = 3;

/// Heading from the derivative of a sliding polynomial through the points of the closed line, curvature from the heading.
/// Degenerate: fewer points than its window give an empty line.
/// Source: docs/methods.md#sliding-polynomial-fits (Savitzky and Golay 1964).
pub fn with_shape(points: &[Point]) -> ReferenceLine {
    let count = points.len();
    let length_m: f64 = (0..count).map(|index| points[index].distance_m(points[(index + 1) % count])).sum();
    let spacing_m = length_m / count.max(1) as f64;
    let Some(first) = coefficients(SHAPE_WINDOW, SHAPE_ORDER, 1, spacing_m) else { return ReferenceLine::default() };
    if count < SHAPE_WINDOW || spacing_m <= 0.0 {
        return ReferenceLine::default();
    }
    let (x, y): (Vec<f64>, Vec<f64>) = points.iter().map(|it| (it.x_m, it.y_m)).unzip();
    let [dx, dy] = [&x, &y].map(|it| filter_periodic(it, &first));
    let headings: Vec<f64> = (0..count).map(|index| dy[index].atan2(dx[index])).collect();
    let mut heading_rad = headings[0];
    let line_points = (0..count)
        .map(|index| {
            heading_rad += wrap_angle(headings[index] - heading_rad);
            // By differences of the heading, so that the curvature of a whole lap adds up to one turn exactly.
            let turned_rad = wrap_angle(headings[(index + 1) % count] - headings[(index + count - 1) % count]);
            ReferencePoint {
                distance_m: index as f64 * spacing_m,
                position: points[index],
                heading_rad,
                curvature_per_m: turned_rad / (2.0 * spacing_m),
            }
        })
        .collect();
    ReferenceLine { points: line_points, length_m }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_circle_has_its_radius_everywhere() {
        let points: Vec<Point> =
            (0..314).map(|i| Point::unit(f64::from(i) * std::f64::consts::TAU / 314.0).scaled(50.0)).collect();
        let line = with_shape(&points);
        assert!((line.length_m - std::f64::consts::TAU * 50.0).abs() < 0.05);
        for point in &line.points {
            assert!((point.curvature_per_m - 0.02).abs() < 1e-4);
        }
    }

    #[test]
    fn nearest_is_signed_to_the_left_and_unrolled() {
        let points: Vec<Point> = (0..400)
            .map(|i| match i / 100 {
                0 => Point::new(f64::from(i), 0.0),
                1 => Point::new(100.0, f64::from(i - 100)),
                2 => Point::new(f64::from(300 - i), 100.0),
                _ => Point::new(0.0, f64::from(400 - i)),
            })
            .collect();
        let line = with_shape(&points);
        let place = line.nearest_between(Point::new(30.4, 2.0), 20.0, 40.0);
        assert!((place.distance_m - 30.4).abs() < 1e-9 && (place.offset_m - 2.0).abs() < 1e-9);
        let next_lap = line.nearest_between(Point::new(30.4, -2.0), 420.0, 440.0);
        assert!((next_lap.distance_m - 430.4).abs() < 1e-9 && (next_lap.offset_m + 2.0).abs() < 1e-9);
    }
}
