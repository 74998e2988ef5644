//! The shortest way through a corner: a thread pulled tight between the edges. Takes gates across the way with the places
//! on them that a kart can pass; gives metres.

use crate::geom::Point;

/// A line across the way: the place on it at offset `o` is `origin + left · o`, and may be passed from `lowest_m` to
/// `highest_m`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Across {
    pub(super) origin: Point,
    /// Of length 1.
    pub(super) left: Point,
    pub(super) lowest_m: f64,
    pub(super) highest_m: f64,
}

/// The thread is tight when no place moves by more than this in one round, m.
const TIGHT_M: f64 = 1e-5;
const MOST_ROUNDS: usize = 20_000;

/// Metres of the shortest way from the first line to the last, over all between; its ends are free to slide.
/// Length is convex in the offsets, so pulling at one place after the other (projected Gauss–Seidel) finds the least.
/// Degenerate: `None` for fewer than two lines, and where a line cannot be passed.
pub(super) fn shortest_m(lines: &[Across]) -> Option<f64> {
    if lines.len() < 2 || lines.iter().any(|it| it.lowest_m > it.highest_m) {
        return None;
    }
    let mut offsets: Vec<f64> = lines.iter().map(|it| 0.5 * (it.lowest_m + it.highest_m)).collect();
    for _ in 0..MOST_ROUNDS {
        let mut moved_m = 0.0_f64;
        for index in 0..lines.len() {
            let pulled_m = pulled_m(lines, &offsets, index).clamp(lines[index].lowest_m, lines[index].highest_m);
            moved_m = moved_m.max((pulled_m - offsets[index]).abs());
            offsets[index] = pulled_m;
        }
        if moved_m < TIGHT_M {
            break;
        }
    }
    let places: Vec<Point> = lines.iter().zip(&offsets).map(|(line, offset_m)| line.at(*offset_m)).collect();
    Some(places.windows(2).map(|pair| pair[0].distance_m(pair[1])).sum())
}

impl Across {
    fn at(&self, offset_m: f64) -> Point {
        self.origin + self.left.scaled(offset_m)
    }

    /// Along this line and across it, m from its origin.
    fn seen_from(&self, point: Point) -> (f64, f64) {
        let from_origin = point - self.origin;
        (from_origin.dot(self.left), from_origin.cross(self.left))
    }
}

/// Where the neighbours pull one place to: onto the straight between them; an end to the foot of its one neighbour.
fn pulled_m(lines: &[Across], offsets: &[f64], index: usize) -> f64 {
    let neighbour = |at: usize| lines.get(at).map(|it| lines[index].seen_from(it.at(offsets[at])));
    match (index.checked_sub(1).and_then(neighbour), neighbour(index + 1)) {
        (Some((before_m, this_side_m)), Some((behind_m, that_side_m))) => {
            let apart_m = this_side_m.abs() + that_side_m.abs();
            let share = if apart_m > 1e-9 { this_side_m.abs() / apart_m } else { 0.5 };
            before_m + share * (behind_m - before_m)
        }
        (Some((foot_m, _)), None) | (None, Some((foot_m, _))) => foot_m,
        (None, None) => offsets[index],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const INSIDE_M: f64 = 12.0;

    /// 10 m of straight, a left bend about the origin with the centre line at 16 m, 10 m of straight.
    fn corner(angle_rad: f64) -> Vec<Across> {
        let across = |origin: Point, left: Point| Across { origin, left, lowest_m: -4.0, highest_m: 16.0 - INSIDE_M };
        let outward = |share: f64| Point::unit(share * angle_rad - std::f64::consts::FRAC_PI_2);
        let mut lines = Vec::new();
        for step in 0..10 {
            let before = Point::new(f64::from(step) - 10.0, 0.0);
            lines.push(across(outward(0.0).scaled(16.0) + before, Point::new(0.0, 1.0)));
        }
        for step in 0..=40 {
            let out = outward(f64::from(step) / 40.0);
            lines.push(across(out.scaled(16.0), out.scaled(-1.0)));
        }
        let (out, along) = (outward(1.0), Point::unit(angle_rad));
        for step in 1..=10 {
            lines.push(across(out.scaled(16.0) + along.scaled(f64::from(step)), out.scaled(-1.0)));
        }
        lines
    }

    /// Along the straights and the inside arc, whose chords between 40 normals are a ten-thousandth short.
    #[test]
    fn the_thread_lies_on_the_inside() {
        for angle_rad in [0.6, std::f64::consts::FRAC_PI_2, 2.8] {
            let found_m = shortest_m(&corner(angle_rad)).unwrap();
            let truth_m = 20.0 + INSIDE_M * angle_rad;
            assert!((found_m - truth_m).abs() < 0.01, "{angle_rad}: {found_m} {truth_m}");
        }
    }

    #[test]
    fn a_shut_way_has_no_length() {
        let mut lines = corner(1.0);
        lines[5].highest_m = -5.0;
        assert_eq!(shortest_m(&lines), None);
        assert_eq!(shortest_m(&lines[..1]), None);
    }
}
