//! The same place in another session on the same circuit: corners and places are matched by where they lie on the
//! earth, for two sessions have reference lines and corner numbers of their own.

use crate::analysis::Analysis;
use crate::corners::Corner;
use crate::geom::Point;
use crate::strip::same_place::passes_at_s;

/// Middles of one and the same corner are nearer than this, m: two receivers, two reference lines. Common practice, no
/// source.
const SAME_WITHIN_M: f64 = 30.0;
/// Places are sought so far to each side of where the corner says, m: lines of two sessions differ by less.
const LOOK_M: f64 = 60.0;

/// The corner of another session that is this one; `None` where none is near enough or either has no positions.
pub fn same_corner<'a>(corner: &Corner, here: &Analysis, there: &'a Analysis) -> Option<&'a Corner> {
    let middle = middle_of(corner, here, there)?;
    let away_m = |it: &Corner| Some(middle.distance_m(middle_of(it, there, there)?));
    let near = there.corners.iter().filter_map(|it| Some((it, away_m(it)?)));
    let nearest = near.filter(|it| it.1 <= SAME_WITHIN_M).min_by(|a, b| a.1.total_cmp(&b.1));
    nearest.map(|it| it.0)
}

/// A lap of another session on the same circuit, to be shown with this one's.
#[derive(Debug, Clone, Copy)]
pub struct LapElsewhere<'a> {
    /// Whose it is, in words.
    pub session: &'a str,
    pub analysis: &'a Analysis,
    pub lap: u32,
}

/// Log time at which a lap of another session is where the kart of this one is at `t_s`, both in s. `None` off the
/// laps, without positions, and where no corner near the place is known in both.
pub fn same_place_elsewhere_s(here: &Analysis, t_s: f64, there: &Analysis, lap: u32) -> Option<f64> {
    let distance_m = same_distance_elsewhere_m(here, here.place_at(t_s)?.distance_m, there)?;
    passes_at_s(there, distance_m, lap)
}

/// Metres along another session's reference line of the place that is `distance_m` along this one's; `None` as above.
pub(super) fn same_distance_elsewhere_m(here: &Analysis, distance_m: f64, there: &Analysis) -> Option<f64> {
    let (line, other_line) = (here.reference.as_ref()?, there.reference.as_ref()?);
    let from_corner_m = |corner: &Corner| Some(wrapped_m(distance_m - corner.middle_m?, line.length_m));
    let in_both = here.corners.iter().filter_map(|corner| {
        let same = same_corner(corner, here, there)?;
        Some((from_corner_m(corner)?, same.middle_m?))
    });
    let (from_corner_m, middle_m) = in_both.min_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))?;
    let place = between(line.at(distance_m)?.position, here, there)?;
    let about_m = middle_m + from_corner_m;
    let found = other_line.nearest_between(place, about_m - LOOK_M, about_m + LOOK_M);
    let is_near = found.offset_m.abs() <= SAME_WITHIN_M;
    is_near.then(|| found.distance_m.rem_euclid(other_line.length_m))
}

/// The middle of a corner of `of`, on the plane of `on`.
fn middle_of(corner: &Corner, of: &Analysis, on: &Analysis) -> Option<Point> {
    between(of.reference.as_ref()?.at(corner.middle_m?)?.position, of, on)
}

/// A point of one session's plane on another's.
pub(super) fn between(point: Point, from: &Analysis, to: &Analysis) -> Option<Point> {
    let (latitude_deg, longitude_deg) = from.plane?.to_degrees(point);
    Some(to.plane?.to_plane(latitude_deg, longitude_deg))
}

/// The shorter way round a closed line, m.
pub(super) fn wrapped_m(distance_m: f64, length_m: f64) -> f64 {
    (distance_m + length_m / 2.0).rem_euclid(length_m) - length_m / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::TrackPlace;
    use crate::corners::Direction;
    use crate::geom::plane::Plane;
    use crate::session::{Path, PathState};
    use crate::track::{ReferenceLine, ReferencePoint};

    /// Once round a circle of 60 m radius in one lap, begun `start_deg` from the east, at `speed_mps`. The plane's
    /// origin is `east_m` away from the circle's centre.
    fn session(start_deg: f64, speed_mps: f64, east_m: f64) -> Analysis {
        let centre = Plane::new(48.0, 11.0, 0.0);
        let (latitude_deg, longitude_deg) = centre.to_degrees(Point::new(-east_m, 0.0));
        let length_m = std::f64::consts::TAU * 60.0;
        let position = |distance_m: f64| {
            let angle_rad = start_deg.to_radians() + distance_m / 60.0;
            Point::new(east_m, 0.0) + Point::unit(angle_rad).scaled(60.0)
        };
        let corner = |number: u32, at_deg: f64| Corner {
            number,
            name: format!("T{number}"),
            direction: Direction::Left,
            angle_deg: 90.0,
            min_radius_m: None,
            entry_gate_m: None,
            middle_m: Some((at_deg - start_deg).rem_euclid(360.0).to_radians() * 60.0),
            exit_gate_m: None,
            latitude_deg: None,
            longitude_deg: None,
        };
        let mut analysis =
            Analysis { plane: Some(Plane::new(latitude_deg, longitude_deg, 0.0)), ..Analysis::default() };
        let point = |step: u32| {
            let distance_m = f64::from(step) * length_m / 400.0;
            ReferencePoint { distance_m, position: position(distance_m), heading_rad: 0.0, curvature_per_m: 1.0 / 60.0 }
        };
        analysis.reference = Some(ReferenceLine { points: (0..400).map(point).collect(), length_m });
        for step in 0..370 {
            let distance_m = f64::from(step);
            let state = PathState { t_s: distance_m / speed_mps, speed_mps, ..PathState::default() };
            analysis.path.states.push(state);
            analysis.places.push(Some(TrackPlace { lap: 1, distance_m, offset_m: 0.0 }));
        }
        analysis.path = Path { states: analysis.path.states, gaps: Vec::new() };
        // Numbered in the order met after each one's own gate.
        let mut middles_deg = [90.0, 200.0];
        middles_deg.sort_by(|a, b| (a - start_deg).rem_euclid(360.0).total_cmp(&(b - start_deg).rem_euclid(360.0)));
        analysis.corners = vec![corner(1, middles_deg[0]), corner(2, middles_deg[1])];
        analysis
    }

    #[test]
    fn corners_are_matched_by_where_they_lie() {
        let (here, there) = (session(0.0, 10.0, 0.0), session(120.0, 20.0, 500.0));
        let of = |corner: &Corner| same_corner(corner, &here, &there).map(|it| it.number);
        assert_eq!((of(&here.corners[0]), of(&here.corners[1])), (Some(2), Some(1)));
        let mut far = session(0.0, 10.0, 0.0);
        far.plane = Some(Plane::new(48.01, 11.0, 0.0));
        assert_eq!(same_corner(&here.corners[0], &here, &far), None);
        assert_eq!(same_corner(&here.corners[0], &here, &Analysis::default()), None);
    }

    #[test]
    fn the_same_place_is_found_with_another_gate_and_origin() {
        let (here, there) = (session(0.0, 10.0, 0.0), session(120.0, 20.0, 500.0));
        // 200 m from the gate here is 200 − 120°·60 m from the gate there, at twice the speed.
        let expected_s = (200.0 - 120.0_f64.to_radians() * 60.0) / 20.0;
        let found_s = same_place_elsewhere_s(&here, 20.0, &there, 1).unwrap();
        // Chords of a metre stand for the arc.
        assert!((found_s - expected_s).abs() < 0.01, "{found_s} {expected_s}");
        assert_eq!(same_place_elsewhere_s(&here, 20.0, &there, 9), None);
        assert_eq!(same_place_elsewhere_s(&here, 20.0, &Analysis::default(), 1), None);
    }
}
