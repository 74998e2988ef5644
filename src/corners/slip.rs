//! Where a kart points elsewhere than it goes: the yaw rate's heading against the course from fix to fix. A slide turns
//! the kart without bending its path, so it moves marks that are placed by the yaw rate.

use crate::geom::Point;
use crate::session::Channel;
use crate::units::wrap_angle;

/// Fixes this far apart in time, s, and in place, m, give a course.
const CHORD_S: f64 = 0.5;
const CHORD_M: f64 = 1.5;
/// A slip rate this many times its own noise is real.
const REAL_SIGMAS: f64 = 4.0;

/// Radians turned by the yaw rate between two log times, both interpolated; the mean heading over an interval too.
#[derive(Debug)]
struct Turned<'a> {
    yaw_rate: &'a Channel,
    first: usize,
    /// Heading since the first sample and its integral over time, at each sample.
    heading_rad: Vec<f64>,
    summed: Vec<f64>,
}

impl<'a> Turned<'a> {
    fn new(yaw_rate: &'a Channel, from_s: f64, to_s: f64) -> Option<Self> {
        let first = yaw_rate.t_s.partition_point(|it| *it < from_s).saturating_sub(1);
        let last = (yaw_rate.t_s.partition_point(|it| *it <= to_s) + 1).min(yaw_rate.t_s.len());
        if last < first + 3 {
            return None;
        }
        let mut turned = Self { yaw_rate, first, heading_rad: vec![0.0], summed: vec![0.0] };
        let (mut heading_rad, mut summed) = (0.0, 0.0);
        for index in first + 1..last {
            let step_s = yaw_rate.t_s[index] - yaw_rate.t_s[index - 1];
            let next = heading_rad + 0.5 * step_s * (yaw_rate.value[index] + yaw_rate.value[index - 1]);
            summed += 0.5 * step_s * (heading_rad + next);
            heading_rad = next;
            turned.heading_rad.push(heading_rad);
            turned.summed.push(summed);
        }
        Some(turned)
    }

    /// Heading and its integral at a time within the samples.
    fn at(&self, t_s: f64) -> Option<(f64, f64)> {
        let times = &self.yaw_rate.t_s[self.first..self.first + self.heading_rad.len()];
        let before = times.partition_point(|it| *it <= t_s).checked_sub(1)?;
        let step_s = times.get(before + 1)? - times[before];
        let since_s = t_s - times[before];
        let rise = (self.heading_rad[before + 1] - self.heading_rad[before]) / step_s;
        let heading_rad = self.heading_rad[before] + rise * since_s;
        Some((heading_rad, self.summed[before] + 0.5 * since_s * (self.heading_rad[before] + heading_rad)))
    }
}

/// Radians that the yaw rate turns between two times, left positive; `None` without samples over all of it.
pub(super) fn turned_rad(yaw_rate: &Channel, from_s: f64, to_s: f64) -> Option<f64> {
    let turned = Turned::new(yaw_rate, from_s, to_s)?;
    Some(turned.at(to_s)?.0 - turned.at(from_s)?.0)
}

/// How fast kart and course turn apart at most between two times, rad/s; 0 where that is within the noise of positions
/// known to `position_m`, and where there are no fixes to tell.
pub(super) fn slip_rate_radps(
    yaw_rate: &Channel,
    fixes: &[(f64, Point)],
    position_m: f64,
    (from_s, to_s): (f64, f64),
) -> f64 {
    let wide_s = (from_s - 2.0 * CHORD_S, to_s + 2.0 * CHORD_S);
    let Some(turned) = Turned::new(yaw_rate, wide_s.0, wide_s.1) else { return 0.0 };
    let slips = slips(&turned, fixes, position_m, wide_s);
    let mut most = 0.0_f64;
    let mut behind = 0;
    for (index, now) in slips.iter().enumerate() {
        while slips[behind].0 < now.0 - CHORD_S {
            behind += 1;
        }
        let Some(then) = behind.checked_sub(1).map(|it| slips[it]) else { continue };
        let middle_s = 0.5 * (now.0 + then.0);
        if middle_s < from_s || middle_s > to_s || index == 0 {
            continue;
        }
        let rate = wrap_angle(now.1 - then.1).abs() / (now.0 - then.0);
        let sigma = now.2.hypot(then.2) / (now.0 - then.0);
        if rate > REAL_SIGMAS * sigma {
            most = most.max(rate);
        }
    }
    most
}

/// (time, course less heading, its noise) from fix to fix. The course of a chord is the mean heading along it.
fn slips(
    turned: &Turned<'_>,
    fixes: &[(f64, Point)],
    position_m: f64,
    (from_s, to_s): (f64, f64),
) -> Vec<(f64, f64, f64)> {
    let first = fixes.partition_point(|it| it.0 < from_s);
    let last = fixes.partition_point(|it| it.0 <= to_s);
    let fixes = &fixes[first..last];
    let mut slips = Vec::new();
    let mut behind = 0;
    for (t_s, place) in fixes {
        while fixes[behind].0 < t_s - CHORD_S - 1e-6 {
            behind += 1;
        }
        let (then_s, then) = fixes[behind];
        let chord = *place - then;
        let length_m = then.distance_m(*place);
        if t_s - then_s < 0.5 * CHORD_S || length_m < CHORD_M {
            continue;
        }
        let Some((now, past)) = turned.at(*t_s).zip(turned.at(then_s)) else { continue };
        let mean_rad = (now.1 - past.1) / (t_s - then_s);
        let sigma = std::f64::consts::SQRT_2 * position_m / length_m;
        slips.push((0.5 * (t_s + then_s), chord.y_m.atan2(chord.x_m) - mean_rad, sigma));
    }
    slips
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A quarter turn of 12 m radius at 10 m/s, the kart turned on by `beta` besides: yaw rate at 20 Hz, fixes at 10 Hz.
    fn turn(beta: impl Fn(f64) -> f64) -> (Channel, Vec<(f64, Point)>) {
        let rate = 10.0 / 12.0;
        let t_s: Vec<f64> = (0..80).map(|index| f64::from(index) * 0.05).collect();
        let value = t_s.iter().map(|t_s| rate + (beta(t_s + 1e-3) - beta(t_s - 1e-3)) / 2e-3).collect();
        let fixes = (0..40)
            .map(|index| f64::from(index) * 0.1)
            .map(|t_s| (t_s, Point::new(12.0 * (rate * t_s).sin(), -12.0 * (rate * t_s).cos())))
            .collect();
        (Channel { t_s, value }, fixes)
    }

    #[test]
    fn a_kart_that_goes_where_it_points_has_no_slip() {
        let (yaw_rate, fixes) = turn(|_| 0.0);
        assert!(slip_rate_radps(&yaw_rate, &fixes, 0.05, (1.0, 3.0)).abs() < 1e-9);
        assert!((turned_rad(&yaw_rate, 1.0, 3.0).unwrap() - 2.0 * 10.0 / 12.0).abs() < 1e-9);
    }

    #[test]
    fn a_slide_is_seen_at_about_its_own_rate() {
        let (yaw_rate, fixes) = turn(|t_s| 0.3 * (t_s - 2.0).clamp(0.0, 1.0));
        let rate = slip_rate_radps(&yaw_rate, &fixes, 0.05, (2.2, 2.8));
        assert!((rate - 0.3).abs() < 0.06, "{rate}");
        assert!(slip_rate_radps(&yaw_rate, &[], 0.05, (2.2, 2.8)).abs() < 1e-12);
    }

    #[test]
    fn thin_samples_tell_nothing() {
        assert_eq!(turned_rad(&Channel::default(), 0.0, 1.0), None);
    }
}
