//! One pass as a model that can be asked what something else would have cost: the curve between its straights, driven
//! as fast as grip, brakes and engine let it. Takes a pass and the session's limits; gives times in seconds.
//! The method is the quasi-steady-state one: the speed that the bend allows, then backwards as the brakes allow, then
//! forwards as the engine allows (common practice; docs/methods.md#what-something-costs).

use crate::corners::Pass;
use crate::findings::curve::{Curve, Profile, Shape, Straight};
use crate::findings::limits::Limits;
use crate::findings::stats::quantile;
use crate::findings::view::Session;
use crate::geom::Point;
use crate::session::{Path, PathState};

/// Distance between stations at most, m.
const STEP_M: f64 = 1.0;
/// A profile is read off at this many places between turn-in and exit.
const PROFILE_STEPS: u16 = 80;
/// A straight between two curves is at least this long, m.
const LEAST_STRAIGHT_M: f64 = 1.0;
/// Where the curve's own shape reaches this share of its plateau, the grip is asked for.
const ASKED_SHARE: f64 = 0.85;
/// The share of a hold's sideways accelerations that lie below what is called held.
const HELD_SHARE: f64 = 0.6;

/// A stretch of the way with what limits the speed on it.
#[derive(Debug, Clone, Copy)]
struct Station {
    length_m: f64,
    bend_per_m: f64,
    lateral_mps2: f64,
    /// Share of the drive that is used.
    power: f64,
    /// Speed that is not exceeded for reasons outside this corner.
    cap_mps: f64,
}

/// What was measured of one pass between the corners beside it.
#[derive(Debug, Clone)]
pub(super) struct Trip {
    pub(super) profile: Profile,
    /// Speeds at the same places as the profile.
    speeds_mps: Vec<f64>,
    pub(super) curve: Curve,
    straight_in_m: f64,
    straight_out_m: f64,
    before: Vec<(f64, f64, f64)>,
    /// The corners behind that the engine, not the grip, sets the speed of, and the one where that is otherwise.
    between: Vec<(f64, f64, f64)>,
    after: Vec<(f64, f64, f64)>,
    /// How many corners on the trip ends.
    pub(super) ahead: usize,
    /// The straight behind as it was driven: length (m), speed (m/s), acceleration (m/s²) of each piece.
    behind: Vec<(f64, f64, f64)>,
}

/// The two halves of the hold, and what was asked of the engine behind it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Use {
    /// Sideways acceleration held in the first and the second half, m/s².
    pub(super) held_mps2: [f64; 2],
    /// Share of the drive left by the grip that was used between the hold and the exit. `None` where next to none was
    /// left.
    pub(super) power: Option<f64>,
    /// The same in the second half of the hold, against the session's grip; 0 where next to none was left.
    pub(super) power_in_hold: f64,
    /// How far behind the exit the drive is not back, m.
    pub(super) back_behind_m: f64,
}

impl Trip {
    /// From one log time to another, by way of the turn-in and exit of `pass` (log times): the ends lie in the corners
    /// beside it, which reach from `from_s` to `before_s` and from `after_s` to `to_s`.
    pub(super) fn new(path: &Path, times: Times) -> Option<Self> {
        let Times { from_s, before_s, turn_in_s, exit_s, after_s, limited_s, to_s, ahead } = times;
        let in_order = [from_s, before_s, turn_in_s, exit_s, after_s, limited_s, to_s].is_sorted();
        if !(in_order && from_s < before_s && turn_in_s < exit_s && limited_s < to_s) {
            return None;
        }
        let (before, turn_in, exit, after) =
            (path.at(before_s)?, path.at(turn_in_s)?, path.at(exit_s)?, path.at(after_s)?);
        let length_m = exit.travelled_m - turn_in.travelled_m;
        let states = even_states(path, turn_in_s, exit_s, PROFILE_STEPS)?;
        let sign = (exit.heading_rad - turn_in.heading_rad).signum();
        let profile = Profile { bend_per_m: states.iter().map(|it| sign * bend_of(it)).collect(), length_m };
        let shape = profile.shape()?;
        let straight = |it: &PathState| Straight { point: Point::new(it.x_m, it.y_m), heading_rad: it.heading_rad };
        Some(Self {
            speeds_mps: states.iter().map(|it| it.speed_mps).collect(),
            curve: Curve { entry: straight(&turn_in), exit: straight(&exit), shape, length_m },
            straight_in_m: (turn_in.travelled_m - before.travelled_m).max(LEAST_STRAIGHT_M),
            straight_out_m: (after.travelled_m - exit.travelled_m).max(LEAST_STRAIGHT_M),
            before: driven(path, from_s, before_s)?,
            between: if limited_s > after_s { driven(path, after_s, limited_s)? } else { Vec::new() },
            after: driven(path, limited_s, to_s)?,
            behind: if after_s > exit_s { accelerations(path, exit_s, after_s)? } else { Vec::new() },
            ahead,
            profile,
        })
    }

    /// How grip and engine were used.
    pub(super) fn used(&self, limits: &Limits) -> Option<Use> {
        let (first, last) = self.profile.hold()?;
        let middle = usize::midpoint(first, last);
        let sideways = |range: std::ops::RangeInclusive<usize>| {
            quantile(range.map(|it| self.speeds_mps[it].powi(2) * self.profile.bend_per_m[it]), HELD_SHARE)
        };
        let held_mps2 = [sideways(first..=middle)?, sideways(middle..=last)?];
        let step_m = self.profile.length_m / self.speeds_mps.len() as f64;
        let left = |index: usize, grip: f64| {
            let sideways = self.speeds_mps[index].powi(2) * self.profile.bend_per_m[index] / grip;
            limits.drive_at(self.speeds_mps[index]) * (1.0 - sideways * sideways).max(0.0).sqrt() * step_m
        };
        let gained = |from: usize, to: usize| 0.5 * (self.speeds_mps[to].powi(2) - self.speeds_mps[from].powi(2));
        let end = self.speeds_mps.len() - 1;
        let grip = limits.lateral_mps2.min(1.02 * held_mps2[1]);
        let could: f64 = (last..=end).map(|it| left(it, grip)).sum();
        let in_hold: f64 = (middle..=last).map(|it| left(it, limits.lateral_mps2)).sum();
        Some(Use {
            held_mps2,
            power: (could > LEAST_DRIVE_M2PS2).then_some(gained(last, end) / could),
            power_in_hold: if in_hold > LEAST_IN_HOLD_M2PS2 { gained(middle, last) / in_hold } else { 0.0 },
            back_behind_m: self.back_behind_m(limits),
        })
    }

    /// Metres behind the exit until the drive is as usual.
    fn back_behind_m(&self, limits: &Limits) -> f64 {
        let weak = self.behind.iter().take_while(|(_, speed_mps, acceleration_mps2)| {
            *acceleration_mps2 < BACK_SHARE * limits.drive_at(*speed_mps)
        });
        weak.map(|it| it.0).sum::<f64>().min(MOST_BEHIND_M)
    }

    /// Sideways acceleration held all through, m/s².
    pub(super) fn held_mps2(&self) -> f64 {
        let Some((first, last)) = self.profile.hold() else { return f64::NAN };
        let held = (first..=last).map(|it| self.speeds_mps[it].powi(2) * self.profile.bend_per_m[it]);
        quantile(held, HELD_SHARE).unwrap_or(f64::NAN)
    }

    /// What the curve's own hold, which has no noise, needs in its two halves to be driven at the speed measured there.
    pub(super) fn held_by_model_mps2(&self) -> [f64; 2] {
        let plateau = self.curve.laid().map_or(0.0, |it| it.plateau_per_m);
        let Some((first, last)) = self.profile.hold() else { return [f64::INFINITY; 2] };
        let middle = usize::midpoint(first, last);
        let count = self.speeds_mps.len() as f64;
        let share = |index: usize| self.curve.shape.at((index as f64 + 0.5) / count);
        // Where the wheel is eased between two bites the grip is not asked for.
        let of = |range: std::ops::RangeInclusive<usize>| {
            let asked = range.filter(|it| share(*it) >= ASKED_SHARE);
            let sideways: Vec<f64> = asked.map(|it| plateau * share(it) * self.speeds_mps[it].powi(2)).collect();
            if sideways.is_empty() { f64::INFINITY } else { sideways.iter().sum::<f64>() / sideways.len() as f64 }
        };
        [of(first..=middle), of(middle..=last)]
    }

    /// This pass's curve with its entry or exit straight moved outwards by some metres where the curve meets it; its far
    /// end stays.
    pub(super) fn moved_out(&self, at_entry: bool, by_m: f64) -> Curve {
        let side = -self.curve.angle_rad().signum();
        let moved = |straight: Straight, length_m: f64| {
            let point = straight.point + Point::unit(straight.heading_rad).left().scaled(side * by_m);
            let turn_rad = side * (by_m / length_m.max(10.0)).atan();
            Straight { point, heading_rad: straight.heading_rad + if at_entry { turn_rad } else { -turn_rad } }
        };
        if at_entry {
            Curve { entry: moved(self.curve.entry, self.straight_in_m), ..self.curve }
        } else {
            Curve { exit: moved(self.curve.exit, self.straight_out_m), ..self.curve }
        }
    }

    /// Lowest place of the speed between turn-in and exit: as a share of the way.
    pub(super) fn slowest_share(&self) -> f64 {
        let slowest = self.speeds_mps.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1)).map_or(0, |it| it.0);
        slowest as f64 / (self.speeds_mps.len().max(2) - 1) as f64
    }

    /// Whether the grip of the corner sets the speed, not the engine or the way there.
    pub(super) fn is_slowest_in_hold(&self) -> bool {
        let shape = self.curve.shape;
        (0.6 * shape.rise..=1.0 - 0.6 * shape.fall).contains(&self.slowest_share())
    }

    /// Time for the whole way on this pass's own curve or another between the same straights.
    pub(super) fn time_s(&self, limits: &Limits, how: &How) -> Option<f64> {
        Some(times_s(&self.stations(limits, how)?, limits).map(|(_, time_s)| time_s).sum())
    }

    /// By how much one way takes longer than another behind the curves of both, s.
    pub(super) fn longer_behind_s(&self, limits: &Limits, how: &How, other: &How) -> Option<f64> {
        let end = self.curve.laid()?.end;
        let out = Point::unit(self.curve.exit.heading_rad);
        let ends = [how.curve.laid()?.end, other.curve.laid()?.end];
        let farther_m = ends.map(|it| (it - end).dot(out)).into_iter().fold(0.0, f64::max);
        let beside_m: f64 = self.between.iter().chain(&self.after).map(|it| it.0).sum();
        let last_m = (self.straight_out_m - farther_m).max(0.0) + beside_m;
        let behind_s = |how: &How| Some(time_of_last_s(&self.stations(limits, how)?, limits, last_m));
        Some(behind_s(how)? - behind_s(other)?)
    }

    fn stations(&self, limits: &Limits, how: &How) -> Option<Vec<Station>> {
        let (own, other) = (self.curve.laid()?, how.curve.laid()?);
        let along = Point::unit(self.curve.entry.heading_rad);
        let out = Point::unit(self.curve.exit.heading_rad);
        let straight_in_m = self.straight_in_m + (other.begin - own.begin).dot(along);
        let straight_out_m = self.straight_out_m - (other.end - own.end).dot(out);
        if straight_in_m < 0.0 || straight_out_m < 0.0 {
            return None;
        }
        let mut stations: Vec<Station> = Vec::new();
        let beside = |(length_m, bend_per_m, cap_mps): &(f64, f64, f64)| Station {
            length_m: *length_m,
            bend_per_m: *bend_per_m,
            lateral_mps2: f64::INFINITY,
            power: 1.0,
            cap_mps: *cap_mps,
        };
        stations.extend(self.before.iter().map(beside));
        let full = Station {
            length_m: STEP_M,
            bend_per_m: 0.0,
            lateral_mps2: limits.lateral_mps2,
            power: 1.0,
            cap_mps: f64::INFINITY,
        };
        straight(&mut stations, straight_in_m, full);
        let steps = (how.curve.length_m / STEP_M).ceil().max(8.0);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a corner is below a lap")]
        for step in 0..steps as u32 {
            let share = (f64::from(step) + 0.5) / steps;
            let middle = how.curve.shape.rise + 0.5 * (1.0 - how.curve.shape.rise - how.curve.shape.fall);
            stations.push(Station {
                length_m: how.curve.length_m / steps,
                bend_per_m: other.plateau_per_m * how.curve.shape.at(share),
                lateral_mps2: how.held_mps2[usize::from(share > middle)],
                power: if share > middle { how.power } else { 1.0 },
                cap_mps: f64::INFINITY,
            });
        }
        let weak_m = how.weak_behind_m.min(straight_out_m);
        straight(&mut stations, weak_m, Station { power: how.power, ..full });
        straight(&mut stations, straight_out_m - weak_m, full);
        stations.extend(self.between.iter().map(|it| Station {
            lateral_mps2: 1.02 * limits.lateral_mps2,
            cap_mps: f64::INFINITY,
            ..beside(it)
        }));
        // The next corner that sets the speed was perhaps reached too slowly to do so.
        let allowed_mps = |bend_per_m: f64| (limits.lateral_mps2 / bend_per_m.max(1e-6)).sqrt();
        stations.extend(self.after.iter().map(|it| Station { cap_mps: it.2.max(allowed_mps(it.1)), ..beside(it) }));
        Some(stations)
    }

    /// The longest that the curve may become before it meets the corners beside it, m.
    pub(super) fn longest_m(&self) -> f64 {
        self.curve.length_m + self.straight_in_m.min(self.straight_out_m)
    }
}

/// From this share of the drive on it is back (trial); a kart that is not back this far behind, m, does something else.
const BACK_SHARE: f64 = 0.8;
const MOST_BEHIND_M: f64 = 40.0;
/// Drive left in the hold that is worth a share, (m/s)²/2.
const LEAST_IN_HOLD_M2PS2: f64 = 2.0;
/// Drive that must have been left between hold and exit for a share of it to mean something, (m/s)²/2.
const LEAST_DRIVE_M2PS2: f64 = 12.0;

/// Log times, s, of the pieces of one trip.
#[derive(Debug, Clone, Copy)]
pub(super) struct Times {
    pub(super) from_s: f64,
    pub(super) before_s: f64,
    pub(super) turn_in_s: f64,
    pub(super) exit_s: f64,
    pub(super) after_s: f64,
    /// From here on the speed is limited by another corner.
    pub(super) limited_s: f64,
    pub(super) to_s: f64,
    /// The corner that limits it is so many corners on.
    pub(super) ahead: usize,
}

/// A speed that is lowest after this share of a corner is set by its grip, not by the way there.
const SLOWEST_FROM: f64 = 0.15;

impl Times {
    /// The corners beside a pass end and begin at their own marks. The trip reaches from the apex before to the slowest
    /// place of the next corner that sets the speed: what is lost on the power is lost until there.
    pub(super) fn of(session: &Session<'_>, lap: u32, corner: usize) -> Option<Self> {
        let count = session.view.corners.len();
        let own = session.pass(lap, session.view.corners.get(corner)?.number)?;
        let (earlier_lap, earlier) = if corner == 0 { (lap.checked_sub(1)?, count - 1) } else { (lap, corner - 1) };
        let before = session.pass(earlier_lap, session.view.corners[earlier].number)?;
        let later = |ahead: usize| {
            let index = corner + ahead;
            let laps = u32::try_from(index / count).ok()?;
            session.pass(lap + laps, session.view.corners[index % count].number)
        };
        let after = later(1)?;
        let (turn_in_s, exit_s) = (own.turn_in?.t_s.value, own.exit?.t_s.value);
        let before_s = before.exit?.t_s.value.min(turn_in_s);
        let after_s = after.turn_in?.t_s.value.max(exit_s);
        let from_s = before.apex.map_or(before_s - 1.0, |it| it.mark.t_s.value);
        let slowest = |pass: &Pass| {
            let (begin_s, finish_s, slowest_s) =
                (pass.turn_in?.t_s.value, pass.exit?.t_s.value, pass.min_speed_t_s?.value);
            ((slowest_s - begin_s) / (finish_s - begin_s) > SLOWEST_FROM).then_some((begin_s, slowest_s))
        };
        let usual_s = (after_s, after.apex.map_or(after_s + 1.0, |it| it.mark.t_s.value));
        let limiting = (1..=count).map_while(|ahead| Some((ahead, later(ahead)?)));
        let limiting = limiting.filter_map(|(ahead, pass)| Some((ahead, slowest(pass)?))).next();
        let (ahead, (limited_s, to_s)) = limiting.filter(|it| it.1.0 >= exit_s).unwrap_or((1, usual_s));
        Some(Self { from_s, before_s, turn_in_s, exit_s, after_s, limited_s: limited_s.max(after_s), to_s, ahead })
    }
}

/// A way of driving a trip.
#[derive(Debug, Clone, Copy)]
pub(super) struct How {
    pub(super) curve: Curve,
    /// Sideways acceleration in the first and the second half of the hold, m/s².
    pub(super) held_mps2: [f64; 2],
    /// Share of the usual drive behind the middle, and how far behind the exit it goes on so, m.
    pub(super) power: f64,
    pub(super) weak_behind_m: f64,
}

impl How {
    pub(super) fn with_shape(self, shape: Shape) -> Self {
        Self { curve: Curve { shape, ..self.curve }, ..self }
    }
}

fn bend_of(state: &PathState) -> f64 {
    state.yaw_rate_radps / state.speed_mps.max(1.0)
}

/// States at even steps of the way.
fn even_states(path: &Path, from_s: f64, to_s: f64, steps: u16) -> Option<Vec<PathState>> {
    let (from, to) = (path.at(from_s)?, path.at(to_s)?);
    let first = path.index_at(from_s)?;
    let last = path.index_at(to_s)?;
    let states = &path.states[first..=(last + 1).min(path.states.len() - 1)];
    let mut after = 1;
    let at = |step: u16| {
        let at_m = from.travelled_m + (f64::from(step) + 0.5) / f64::from(steps) * (to.travelled_m - from.travelled_m);
        while after + 1 < states.len() && states[after].travelled_m < at_m {
            after += 1;
        }
        let (a, b) = (states.get(after - 1)?, states.get(after)?);
        let share = ((at_m - a.travelled_m) / (b.travelled_m - a.travelled_m).max(1e-9)).clamp(0.0, 1.0);
        path.at(a.t_s + share * (b.t_s - a.t_s))
    };
    (0..steps).map(at).collect()
}

/// The way as it was driven: length (m), bend (1/m, positive) and speed (m/s) of each piece.
fn driven(path: &Path, from_s: f64, to_s: f64) -> Option<Vec<(f64, f64, f64)>> {
    let length_m = path.at(to_s)?.travelled_m - path.at(from_s)?.travelled_m;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between two corners")]
    let steps = (length_m / STEP_M).ceil().clamp(1.0, 2000.0) as u16;
    let piece_m = length_m / f64::from(steps);
    let states = even_states(path, from_s, to_s, steps)?;
    Some(states.iter().map(|it| (piece_m, bend_of(it).abs(), it.speed_mps)).collect())
}

/// Length (m), speed (m/s) and acceleration (m/s²) of even pieces of the way.
fn accelerations(path: &Path, from_s: f64, to_s: f64) -> Option<Vec<(f64, f64, f64)>> {
    let length_m = path.at(to_s)?.travelled_m - path.at(from_s)?.travelled_m;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between two corners")]
    let steps = (length_m / STEP_M).ceil().clamp(1.0, 2000.0) as u16;
    let states = even_states(path, from_s, to_s, steps)?;
    Some(states.iter().map(|it| (length_m / f64::from(steps), it.speed_mps, it.acceleration_mps2)).collect())
}

fn straight(stations: &mut Vec<Station>, length_m: f64, full: Station) {
    let steps = (length_m / STEP_M).ceil();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a straight is below a lap")]
    let count = steps.clamp(0.0, 1e5) as usize;
    stations.extend(std::iter::repeat_n(Station { length_m: length_m / steps.max(1.0), ..full }, count));
}

/// Least time over the last metres of the stations, s.
fn time_of_last_s(stations: &[Station], limits: &Limits, last_m: f64) -> f64 {
    let driven: Vec<(f64, f64)> = times_s(stations, limits).collect();
    let mut left_m = last_m;
    let mut sum_s = 0.0;
    for (length_m, time_s) in driven.into_iter().rev() {
        sum_s += time_s * (left_m / length_m).clamp(0.0, 1.0);
        left_m -= length_m;
    }
    sum_s
}

/// Length (m) and least time (s) of each station.
fn times_s(stations: &[Station], limits: &Limits) -> impl Iterator<Item = (f64, f64)> {
    let mut squared: Vec<f64> = stations
        .iter()
        .map(|it| (it.lateral_mps2 / it.bend_per_m.max(1e-6)).min(it.cap_mps * it.cap_mps).min(1e4))
        .collect();
    // What the corner leaves of the grip for braking and drive.
    let left = |it: &Station, v2: f64| {
        let used = v2 * it.bend_per_m / it.lateral_mps2;
        (1.0 - used * used).max(0.0).sqrt()
    };
    for index in (0..stations.len().saturating_sub(1)).rev() {
        let (here, next) = (&stations[index], squared[index + 1]);
        let braking = limits.braking_mps2 * left(&stations[index + 1], next);
        squared[index] = squared[index].min(next + 2.0 * braking * here.length_m);
    }
    for index in 0..stations.len().saturating_sub(1) {
        let here = &stations[index];
        let drive = here.power * limits.drive_at(squared[index].sqrt()) * left(here, squared[index]);
        squared[index + 1] = squared[index + 1].min(squared[index] + 2.0 * drive * here.length_m);
    }
    stations.iter().zip(squared).map(|(it, v2)| (it.length_m, it.length_m / v2.sqrt().max(0.5)))
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMITS: Limits = Limits { lateral_mps2: 16.0, braking_mps2: 8.0, drive: [3.0, 0.0, 0.0] };

    fn time_s(stations: &[Station], limits: &Limits) -> f64 {
        times_s(stations, limits).map(|it| it.1).sum()
    }

    fn stations(length_m: u32, bend_per_m: f64, cap_mps: f64) -> Vec<Station> {
        let it = Station { length_m: 1.0, bend_per_m, lateral_mps2: 16.0, power: 1.0, cap_mps };
        vec![it; length_m as usize]
    }

    #[test]
    fn a_circle_is_driven_at_the_grip() {
        // 16 m/s² on 25 m of radius: 20 m/s.
        assert!((time_s(&stations(100, 0.04, f64::INFINITY), &LIMITS) - 5.0).abs() < 1e-9);
    }

    #[test]
    fn a_straight_is_driven_as_engine_and_brakes_allow() {
        // From 10 m/s at 3 m/s² up, at 8 m/s² down to 10 m/s: 88 m of 120 up, 32 m down, by v² = v0² + 2 a s.
        let mut way = stations(1, 0.0, 10.0);
        way.extend(stations(120, 0.0, f64::INFINITY));
        way.extend(stations(1, 0.0, 10.0));
        let up_m: f64 = 120.0 * 8.0 / 11.0;
        let top = (100.0 + 2.0 * 3.0 * up_m).sqrt();
        let expected = (top - 10.0) / 3.0 + (top - 10.0) / 8.0 + 0.2;
        // Stations of a metre: a hundredth of the time.
        assert!((time_s(&way, &LIMITS) - expected).abs() < 0.01 * expected, "{} {expected}", time_s(&way, &LIMITS));
    }
}
