//! Where the path is on the circuit: distance along the reference line and offset from it, carried on from state to
//! state so that a neighbouring straight is never taken for this one.

use crate::geom::Point;
use crate::session::PathState;
use crate::track::{Lap, ReferenceLine};

/// How far ahead the nearest place is sought, m, beyond what the kart has travelled since the last state.
const LOOK_M: f64 = 12.0;
/// Farther from the line than this, m, the kart has left it (or the follower lost it): it is sought everywhere.
const LOST_M: f64 = 25.0;

/// A place on the unrolled circuit: distance counts on over laps, `lap · length + distance`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unrolled {
    /// m; lap 1 begins at one length, so that lap 0 has room before it.
    pub distance_m: f64,
    /// To the left of the line, m.
    pub offset_m: f64,
}

/// The place of every state, `None` where the kart is off the circuit. Same length as `states`.
/// Laps anchor the distance: at the start of lap n it is n lengths.
pub fn follow(line: &ReferenceLine, states: &[PathState], laps: &[Lap]) -> Vec<Option<Unrolled>> {
    let mut places = vec![None; states.len()];
    if line.points.len() < 3 {
        return places;
    }
    for lap in laps {
        let from = states.partition_point(|state| state.t_s < lap.start_t_s);
        let to = states.partition_point(|state| state.t_s < lap.end_t_s);
        if lap.number == 0 {
            follow_back(line, &states[..to], &mut places[..to]);
        } else {
            let base_m = f64::from(lap.number) * line.length_m;
            follow_on(line, &states[from..to], base_m, &mut places[from..to]);
        }
    }
    places
}

/// From the gate on.
fn follow_on(line: &ReferenceLine, states: &[PathState], base_m: f64, places: &mut [Option<Unrolled>]) {
    let mut along_m = 0.0;
    let mut last_travelled_m = states.first().map_or(0.0, |it| it.travelled_m);
    for (state, place) in states.iter().zip(places) {
        let moved_m = state.travelled_m - last_travelled_m;
        last_travelled_m = state.travelled_m;
        let here = Point::new(state.x_m, state.y_m);
        let mut found = line.nearest_between(here, along_m + moved_m - LOOK_M, along_m + moved_m + LOOK_M);
        if found.offset_m.abs() > LOST_M {
            found = line.nearest_between(here, along_m - line.length_m * 0.25, along_m + line.length_m * 0.5);
        }
        // What the kart has travelled carries the follower over stretches where it is off the line.
        along_m = if found.offset_m.abs() > LOST_M { along_m + moved_m } else { found.distance_m };
        *place = (found.offset_m.abs() <= LOST_M)
            .then_some(Unrolled { distance_m: base_m + found.distance_m, offset_m: found.offset_m });
    }
}

/// Backwards from the first gate crossing to the start of the log.
fn follow_back(line: &ReferenceLine, states: &[PathState], places: &mut [Option<Unrolled>]) {
    let mut along_m = line.length_m;
    let mut last_travelled_m = states.last().map_or(0.0, |it| it.travelled_m);
    for (state, place) in states.iter().zip(places).rev() {
        let moved_m = state.travelled_m - last_travelled_m;
        last_travelled_m = state.travelled_m;
        let here = Point::new(state.x_m, state.y_m);
        let found = line.nearest_between(here, along_m + moved_m - LOOK_M, along_m + moved_m + LOOK_M);
        if found.offset_m.abs() > LOST_M || found.distance_m < 0.0 {
            // Before this the kart came from elsewhere: the pit, or a lap that was never closed.
            return;
        }
        along_m = found.distance_m;
        *place = Some(Unrolled { distance_m: found.distance_m, offset_m: found.offset_m });
    }
}

impl ReferenceLine {
    /// The nearest place to `here` among those from `from_m` to `to_m` along the line; distances outside
    /// 0..length run on round the circuit and come back unrolled.
    pub fn nearest_between(&self, here: Point, from_m: f64, to_m: f64) -> Unrolled {
        let count = self.points.len();
        let spacing_m = self.length_m / count as f64;
        #[allow(clippy::cast_possible_truncation, reason = "a few thousand points at the most")]
        let (first, last) = ((from_m / spacing_m).floor() as i64, (to_m / spacing_m).ceil() as i64);
        let mut best = Unrolled { distance_m: from_m, offset_m: f64::INFINITY };
        let mut best_m = f64::INFINITY;
        for index in first..last {
            let (turns, at) = (index.div_euclid(count as i64), index.rem_euclid(count as i64));
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within 0..count")]
            let a = self.points[at as usize].position;
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within 0..count")]
            let b = self.points[(at as usize + 1) % count].position;
            let along = b - a;
            let length_m = along.x_m.hypot(along.y_m);
            if length_m <= 0.0 {
                continue;
            }
            let share = ((here - a).dot(along) / (length_m * length_m)).clamp(0.0, 1.0);
            let foot = a + along.scaled(share);
            let distance_m = here.distance_m(foot);
            if distance_m < best_m {
                best_m = distance_m;
                best = Unrolled {
                    distance_m: turns as f64 * self.length_m + (at as f64 + share) * spacing_m,
                    offset_m: distance_m.copysign(along.cross(here - a)),
                };
            }
        }
        best
    }

    /// Position, heading (rad) and curvature (1/m) at a distance along the line, linear between its points; the
    /// distance may run on round the circuit. `None` on an empty line.
    pub fn at(&self, distance_m: f64) -> Option<crate::track::ReferencePoint> {
        let count = self.points.len();
        if count == 0 || self.length_m <= 0.0 {
            return None;
        }
        let spacing_m = self.length_m / count as f64;
        let along_m = distance_m.rem_euclid(self.length_m);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0..count after rem_euclid")]
        let index = ((along_m / spacing_m) as usize).min(count - 1);
        let share = along_m / spacing_m - index as f64;
        let (a, b) = (&self.points[index], &self.points[(index + 1) % count]);
        let turn_rad = crate::units::wrap_angle(b.heading_rad - a.heading_rad);
        Some(crate::track::ReferencePoint {
            distance_m: along_m,
            position: a.position + (b.position - a.position).scaled(share),
            heading_rad: a.heading_rad + turn_rad * share,
            curvature_per_m: a.curvature_per_m + (b.curvature_per_m - a.curvature_per_m) * share,
        })
    }
}
