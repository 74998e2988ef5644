//! What kart and surface gave in this session: grip sideways, braking, drive. Takes the path; gives limits in m/s².

use crate::findings::stats::{median, quantile};
use crate::findings::view::Session;
use crate::session::PathState;

/// The envelope of one session. A kart at rest drives with `drive[0]`; the drive falls with speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Sideways, as held in corners, m/s².
    pub lateral_mps2: f64,
    /// Braking in a straight line, m/s², positive.
    pub braking_mps2: f64,
    /// Drive at full power by speed: constant, linear and square term, SI units.
    pub drive: [f64; 3],
}

/// The share of the corners' grip that is taken for the session's: corners where the engine, not the grip, sets the
/// speed lie below (trial).
const GRIP_SHARE: f64 = 0.7;
/// The share of brakings that are weaker than what is called the limit (trial).
const BRAKING_SHARE: f64 = 0.9;
/// Speeding up and braking count from this acceleration on, m/s² (trial).
const SPEEDING_UP_MPS2: f64 = 0.2;
const BRAKES_MPS2: f64 = 1.5;
/// Grip used sideways above which drive and brakes say nothing of their own limits.
const FREE_SHARE: f64 = 0.5;
/// Fewer states than this tell no drive.
const LEAST_STATES: usize = 50;

impl Limits {
    /// Drive at full power, m/s², never negative.
    pub(super) fn drive_at(&self, speed_mps: f64) -> f64 {
        (self.drive[0] + speed_mps * (self.drive[1] + speed_mps * self.drive[2])).max(0.0)
    }

    /// Share of the envelope that a state uses, sideways and braking together; what the engine gives needs no grip to
    /// speak of and is left out.
    pub(super) fn used(&self, state: &PathState) -> f64 {
        let lateral = state.speed_mps * state.yaw_rate_radps / self.lateral_mps2;
        let braking = (-state.acceleration_mps2).max(0.0) / self.braking_mps2;
        lateral.hypot(braking)
    }
}

/// The limits of the timed laps. `holds_mps2`: sideways acceleration held in each corner, one value a corner.
/// `None` where nothing was held, or too little was driven.
pub(super) fn limits(session: &Session<'_>, holds_mps2: &[f64]) -> Option<Limits> {
    let lateral_mps2 = quantile(holds_mps2.iter().copied(), GRIP_SHARE).filter(|it| *it > 0.5)?;
    let timed: Vec<&PathState> =
        session.timed_laps().flat_map(|lap| between(session, lap.start_t_s, lap.end_t_s)).collect();
    let sideways = |it: &PathState| it.speed_mps * it.yaw_rate_radps / lateral_mps2;
    let free = || timed.iter().filter(|it| sideways(it).abs() < FREE_SHARE);
    let brakings = free().map(|it| -it.acceleration_mps2).filter(|it| *it > BRAKES_MPS2);
    let braking_mps2 = quantile(brakings, BRAKING_SHARE).unwrap_or(0.5 * lateral_mps2);
    let pulls: Vec<(f64, f64)> = free()
        .filter(|it| it.acceleration_mps2 > SPEEDING_UP_MPS2)
        .map(|it| (it.speed_mps, it.acceleration_mps2 / (1.0 - sideways(it).powi(2)).sqrt()))
        .collect();
    Some(Limits { lateral_mps2, braking_mps2, drive: drive_curve(&pulls)? })
}

fn between<'a>(session: &Session<'a>, from_s: f64, to_s: f64) -> &'a [PathState] {
    let states = &session.view.path.states;
    let from = states.partition_point(|it| it.t_s < from_s);
    let to = states.partition_point(|it| it.t_s < to_s).max(from);
    &states[from..to]
}

/// Least-squares parabola through the medians of speed bins 1 m/s wide: a lift of the foot here and there must not count.
fn drive_curve(pulls: &[(f64, f64)]) -> Option<[f64; 3]> {
    if pulls.len() < LEAST_STATES {
        return None;
    }
    let mut bins: std::collections::BTreeMap<i64, Vec<(f64, f64)>> = std::collections::BTreeMap::new();
    for pull in pulls {
        #[allow(clippy::cast_possible_truncation, reason = "karts stay below 1e6 m/s")]
        bins.entry(pull.0.floor() as i64).or_default().push(*pull);
    }
    let mut normal = nalgebra::Matrix3::zeros();
    let mut right = nalgebra::Vector3::zeros();
    for bin in bins.values().filter(|it| it.len() >= 5) {
        let speed = median(bin.iter().map(|it| it.0))?;
        let pull = median(bin.iter().map(|it| it.1))?;
        let row = nalgebra::Vector3::new(1.0, speed, speed * speed);
        // Bins are weighed by how much was driven in them, but not all by the long straight.
        let weight = (bin.len() as f64).sqrt();
        normal += row * row.transpose() * weight;
        right += row * pull * weight;
    }
    // A ridge keeps the curve determined where all was driven at one speed.
    normal[(2, 2)] += 1e-6 * normal[(2, 2)].max(1.0);
    normal[(1, 1)] += 1e-9 * normal[(1, 1)].max(1.0);
    let fit = normal.lu().solve(&right).filter(|it| it.iter().all(|value| value.is_finite()))?;
    Some([fit[0], fit[1], fit[2]])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_drive_is_read_off_the_straights() {
        let pulls: Vec<(f64, f64)> =
            (0..400).map(|it| 10.0 + 0.04 * f64::from(it)).map(|v| (v, 3.5 * (1.0 - v / 30.0))).collect();
        let limits = Limits { lateral_mps2: 17.0, braking_mps2: 7.0, drive: drive_curve(&pulls).unwrap() };
        assert!((limits.drive_at(15.0) - 1.75).abs() < 0.02 && limits.drive_at(60.0) < 1e-9);
        assert!(drive_curve(&pulls[..10]).is_none());
    }

    #[test]
    fn grip_used_adds_up_at_right_angles() {
        let limits = Limits { lateral_mps2: 10.0, braking_mps2: 5.0, drive: [1.0, 0.0, 0.0] };
        let state = PathState { speed_mps: 6.0, yaw_rate_radps: -1.0, acceleration_mps2: -4.0, ..PathState::default() };
        assert!((limits.used(&state) - 1.0).abs() < 1e-12);
    }
}
