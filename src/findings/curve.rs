//! One trip through a corner as a curve of few numbers: curvature rises, holds and falls between two straights.
//! Takes a measured profile; gives the curve, and the curve that another turn-in, gap or exit would have needed.

use crate::findings::stats::quantile;
use crate::geom::Point;
use crate::units::wrap_angle;

/// Points along a curve: enough for a gap to the millimetre.
const STEPS: u16 = 48;
/// Ramps take at least this share of the curve, and both together at most the second.
const LEAST_SHARE: f64 = 0.08;
const MOST_SHARES: f64 = 0.92;
/// The hold is where the bend reaches this share of its largest.
const HOLD_SHARE: f64 = 0.8;

/// How curvature runs along a curve of length 1: linear up, held, linear down; the hold may dip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shape {
    pub(super) rise: f64,
    pub(super) fall: f64,
    /// By how much of the plateau the hold is lower half-way.
    pub(super) dip: f64,
}

impl Shape {
    /// Share of the plateau at share `u` of the length.
    pub(super) fn at(&self, u: f64) -> f64 {
        if !(0.0..=1.0).contains(&u) {
            return 0.0;
        }
        if u < self.rise {
            return u / self.rise;
        }
        if u > 1.0 - self.fall {
            return (1.0 - u) / self.fall;
        }
        let hold = (u - self.rise) / (1.0 - self.fall - self.rise);
        1.0 - self.dip * (std::f64::consts::PI * hold).sin().powi(2)
    }

    /// Mean share of the plateau over the length.
    fn area(&self) -> f64 {
        let ramps = self.rise + self.fall;
        1.0 - 0.5 * ramps - 0.5 * self.dip * (1.0 - ramps)
    }
}

/// A measured curve: curvature (1/m, positive into the corner) at even steps between turn-in and exit.
#[derive(Debug, Clone)]
pub(super) struct Profile {
    pub(super) bend_per_m: Vec<f64>,
    pub(super) length_m: f64,
}

impl Profile {
    /// The shape with the same turning, plateau and centre of turning. `None` where nothing turns.
    pub(super) fn shape(&self) -> Option<Shape> {
        let count = self.bend_per_m.len();
        let largest = self.bend_per_m.iter().copied().fold(0.0, f64::max);
        let sum: f64 = self.bend_per_m.iter().sum();
        if count < 5 || largest <= 0.0 || sum <= 0.0 {
            return None;
        }
        let at = |index: usize| (index as f64 + 0.5) / count as f64;
        let hold = self.hold()?;
        let held = &self.bend_per_m[hold.0..=hold.1];
        let (plateau, dip) = plateau_and_dip(held);
        let mean = sum / count as f64;
        let centre = self.bend_per_m.iter().enumerate().map(|(index, bend)| at(index) * bend).sum::<f64>() / sum;
        // mean / plateau = 1 − S/2 − dip (1 − S)/2 for S, the two ramps together.
        let both = ((1.0 - 0.5 * dip - mean / plateau) / (0.5 - 0.5 * dip)).clamp(2.0 * LEAST_SHARE, MOST_SHARES);
        // The centre of a rise r, a hold and a fall f lies (r − f)(1/4 − S/6) / area behind the middle.
        let apart = (1.0 - 0.5 * both) * (centre - 0.5) / (0.25 - both / 6.0);
        let rise = (0.5 * (both + apart)).clamp(LEAST_SHARE, both - LEAST_SHARE);
        Some(Shape { rise, fall: both - rise, dip })
    }

    /// First and last index of the hold.
    pub(super) fn hold(&self) -> Option<(usize, usize)> {
        let largest = self.bend_per_m.iter().copied().fold(0.0, f64::max);
        let high = |it: &f64| *it >= HOLD_SHARE * largest && largest > 0.0;
        Some((self.bend_per_m.iter().position(high)?, self.bend_per_m.iter().rposition(high)?))
    }
}

/// What the hold reaches at both its ends, and how far it dips between: the mean of the middle third against the lower
/// of what the outer ones reach.
fn plateau_and_dip(held: &[f64]) -> (f64, f64) {
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len().max(1) as f64;
    if held.len() < 6 {
        return (mean(held), 0.0);
    }
    let third = held.len() / 3;
    let (first, middle, last) = (&held[..third], &held[third..held.len() - third], &held[held.len() - third..]);
    // The outer thirds hold the ends of the ramps too: what they reach, not their means.
    let reached = |part: &[f64]| quantile(part.iter().copied(), 0.8).unwrap_or(0.0);
    let plateau = reached(first).min(reached(last));
    // sin² has a mean of 0.91 over its middle third.
    let dip = ((1.0 - mean(middle) / plateau) / 0.91).clamp(0.0, 0.8);
    if dip < LEAST_DIP { (mean(held), 0.0) } else { (plateau, dip) }
}

/// A shallower dip is a hand's breadth like any other.
const LEAST_DIP: f64 = 0.03;

/// A straight: a place on it and its heading, rad.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Straight {
    pub(super) point: Point,
    pub(super) heading_rad: f64,
}

/// The inside of a corner as a circle, m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InsideArc {
    pub centre: Point,
    pub radius_m: f64,
}

/// A curve between two straights.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Curve {
    pub(super) entry: Straight,
    pub(super) exit: Straight,
    pub(super) shape: Shape,
    pub(super) length_m: f64,
}

/// A curve laid between its straights.
#[derive(Debug, Clone)]
pub(super) struct Laid {
    pub(super) begin: Point,
    pub(super) end: Point,
    /// From begin to end.
    pub(super) points: Vec<Point>,
    /// Largest curvature, 1/m.
    pub(super) plateau_per_m: f64,
}

impl Curve {
    pub(super) fn angle_rad(&self) -> f64 {
        wrap_angle(self.exit.heading_rad - self.entry.heading_rad)
    }

    /// `None` where the straights do not meet: the corner turns by nothing, or by half a turn.
    pub(super) fn laid(&self) -> Option<Laid> {
        let angle_rad = self.angle_rad();
        let (along, out) = (Point::unit(self.entry.heading_rad), Point::unit(self.exit.heading_rad));
        let meeting = along.cross(out);
        if meeting.abs() < 0.02 {
            return None;
        }
        let vertex = self.entry.point + along.scaled((self.exit.point - self.entry.point).cross(out) / meeting);
        let plateau = angle_rad / (self.shape.area() * self.length_m);
        let step_m = self.length_m / f64::from(STEPS);
        let (mut place, mut heading_rad) = (Point::default(), self.entry.heading_rad);
        let mut points = vec![place];
        for step in 0..STEPS {
            let turn_rad = plateau * self.shape.at((f64::from(step) + 0.5) / f64::from(STEPS)) * step_m;
            place = place + Point::unit(heading_rad + 0.5 * turn_rad).scaled(step_m);
            heading_rad += turn_rad;
            points.push(place);
        }
        // From begin along the entry, then back along the exit, is the whole of the curve: begin lies `entry_m` before
        // the vertex.
        let entry_m = place.cross(out) / meeting;
        let begin = vertex - along.scaled(entry_m);
        let points: Vec<Point> = points.into_iter().map(|it| begin + it).collect();
        Some(Laid { begin, end: begin + place, points, plateau_per_m: plateau.abs() })
    }

    /// Least distance from the inside, m.
    pub(super) fn gap_m(&self, inside: &InsideArc) -> Option<f64> {
        let laid = self.laid()?;
        let nearest = laid.points.iter().map(|it| it.distance_m(inside.centre)).fold(f64::INFINITY, f64::min);
        Some(nearest - inside.radius_m)
    }

    /// The same with a length, at most `longest_m`, that passes the inside at `gap_m`: of several the nearest to its own;
    /// where none does, the one that misses it by the least.
    pub(super) fn passing(self, inside: &InsideArc, gap_m: f64, longest_m: f64) -> Option<Self> {
        let with = |length_m: f64| Self { length_m, ..self };
        let off_m = |length_m: f64| Some(with(length_m).gap_m(inside)? - gap_m);
        let (shortest_m, longest_m) = (SHORTEST_SHARE * self.length_m, longest_m.min(LONGEST_SHARE * self.length_m));
        let tried = (0..=TRIED).map(|step| {
            let length_m = shortest_m + f64::from(step) / f64::from(TRIED) * (longest_m - shortest_m);
            Some((length_m, off_m(length_m)?))
        });
        let tried: Vec<(f64, f64)> = tried.collect::<Option<_>>()?;
        let away_m = |length_m: f64| (length_m - self.length_m).abs();
        let crossing = tried
            .windows(2)
            .filter(|pair| pair[0].1 * pair[1].1 <= 0.0)
            .min_by(|a, b| away_m(a[0].0).total_cmp(&away_m(b[0].0)));
        let Some([(mut from_m, from_off_m), (mut to_m, _)]) = crossing.and_then(|it| <[_; 2]>::try_from(it).ok())
        else {
            return tried.iter().min_by(|a, b| a.1.abs().total_cmp(&b.1.abs())).map(|it| with(it.0));
        };
        for _ in 0..16 {
            let middle_m = 0.5 * (from_m + to_m);
            if off_m(middle_m)? * from_off_m > 0.0 { from_m = middle_m } else { to_m = middle_m }
        }
        Some(with(0.5 * (from_m + to_m)))
    }
}

/// Lengths that are tried, as shares of the curve's own, and how many.
const SHORTEST_SHARE: f64 = 0.5;
const LONGEST_SHARE: f64 = 1.8;
const TRIED: u16 = 24;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_profile_gives_back_its_shape() {
        for shape in [
            Shape { rise: 0.3, fall: 0.3, dip: 0.0 },
            Shape { rise: 0.45, fall: 0.2, dip: 0.0 },
            Shape { rise: 0.3, fall: 0.35, dip: 0.35 },
        ] {
            let bend = (0..200).map(|it| 0.05 * shape.at((f64::from(it) + 0.5) / 200.0)).collect();
            let found = Profile { bend_per_m: bend, length_m: 40.0 }.shape().unwrap();
            assert!((found.rise - shape.rise).abs() < 0.04 && (found.fall - shape.fall).abs() < 0.04, "{found:?}");
            assert!((found.dip - shape.dip).abs() < 0.1, "{found:?}");
        }
        assert_eq!(Profile { bend_per_m: vec![0.0; 50], length_m: 10.0 }.shape(), None);
    }

    fn right_angle(length_m: f64) -> Curve {
        Curve {
            entry: Straight { point: Point::new(-50.0, 0.0), heading_rad: 0.0 },
            exit: Straight { point: Point::new(0.0, 50.0), heading_rad: std::f64::consts::FRAC_PI_2 },
            shape: Shape { rise: 0.3, fall: 0.3, dip: 0.0 },
            length_m,
        }
    }

    #[test]
    fn a_curve_begins_and_ends_on_its_straights() {
        let laid = right_angle(40.0).laid().unwrap();
        assert!(laid.begin.y_m.abs() < 1e-9 && laid.end.x_m.abs() < 1e-9, "{laid:?}");
        // Steps of 0.8 m meet the ends of the ramps to a centimetre or two.
        assert!((laid.begin.x_m + laid.end.y_m).abs() < 0.02, "a symmetric shape has equal tangents: {laid:?}");
        assert!((laid.plateau_per_m - std::f64::consts::FRAC_PI_2 / (0.7 * 40.0)).abs() < 1e-9);
    }

    #[test]
    fn a_longer_curve_passes_nearer() {
        let inside = InsideArc { centre: Point::new(-14.0, 14.0), radius_m: 10.0 };
        let gap_m = right_angle(30.0).gap_m(&inside).unwrap();
        let nearer = right_angle(30.0).passing(&inside, gap_m - 1.0, 100.0).unwrap();
        assert!(nearer.length_m > 30.0 && (nearer.gap_m(&inside).unwrap() - gap_m + 1.0).abs() < 1e-3);
        assert!((right_angle(30.0).passing(&inside, -50.0, 33.0).unwrap().length_m - 33.0).abs() < 1e-9);
    }
}
