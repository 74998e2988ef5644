//! The log's turning: heading by log time, with what is not known left open.

use crate::session::{Channel, Path};

/// A step in time longer than this many usual steps is a gap, and so is any longer than a second and a half.
const GAP_STEPS: f64 = 8.0;
const GAP_S: f64 = 1.5;
/// A log that turns by less than this, root mean square, says nothing (trial: a motorway stays below 1 °/s, a kart
/// circuit above 15 °/s).
const LEAST_DPS: f64 = 1.5;

/// Heading by log time. Radians counter-clockwise, continuous within a stretch without gaps.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Turning {
    t_s: Vec<f64>,
    heading_rad: Vec<f64>,
    rate_radps: Vec<f64>,
    /// A step longer than this is a gap, s.
    gap_s: f64,
}

impl Turning {
    /// From a measured yaw rate, rad/s to the left: its integral by the trapezoid rule.
    pub fn from_yaw_rate(yaw_rate: &Channel) -> Self {
        let mut heading_rad = Vec::with_capacity(yaw_rate.len());
        let mut last: Option<(f64, f64)> = None;
        let mut heading = 0.0;
        for (t_s, rate) in yaw_rate.iter() {
            if let Some((before_s, before)) = last {
                heading += 0.5 * (rate + before) * (t_s - before_s);
            }
            heading_rad.push(heading);
            last = Some((t_s, rate));
        }
        Self::new(yaw_rate.t_s.clone(), heading_rad, yaw_rate.value.clone())
    }

    /// From a smoothed path.
    pub fn from_path(path: &Path) -> Self {
        let states = path.states.iter();
        let (mut t_s, mut heading_rad, mut rate) = (Vec::new(), Vec::new(), Vec::new());
        for state in states.filter(|it| !path.gaps.iter().any(|gap| gap.0 < it.t_s && it.t_s < gap.1)) {
            t_s.push(state.t_s);
            heading_rad.push(state.heading_rad);
            rate.push(state.yaw_rate_radps);
        }
        Self::new(t_s, heading_rad, rate)
    }

    /// From headings alone, radians, that may wrap: such as a receiver's course. The rate is that of the steps.
    pub fn from_heading(t_s: &[f64], wrapped_rad: &[f64]) -> Self {
        let mut heading_rad: Vec<f64> = Vec::with_capacity(wrapped_rad.len());
        for angle in wrapped_rad {
            let last = heading_rad.last().copied().unwrap_or(*angle);
            heading_rad.push(last + crate::units::wrap_angle(angle - last));
        }
        let count = heading_rad.len();
        let rate = |index: usize| {
            let (a, b) = (index.saturating_sub(1), (index + 1).min(count - 1));
            let span_s = t_s[b] - t_s[a];
            if span_s > 0.0 { (heading_rad[b] - heading_rad[a]) / span_s } else { 0.0 }
        };
        let rates = (0..count).map(rate).collect();
        Self::new(t_s.to_vec(), heading_rad, rates)
    }

    fn new(t_s: Vec<f64>, heading_rad: Vec<f64>, rate_radps: Vec<f64>) -> Self {
        let mut steps_s: Vec<f64> = t_s.windows(2).map(|pair| pair[1] - pair[0]).collect();
        steps_s.sort_by(f64::total_cmp);
        let usual_s = steps_s.get(steps_s.len() / 2).copied().unwrap_or(0.0);
        Self { t_s, heading_rad, rate_radps, gap_s: (GAP_STEPS * usual_s).min(GAP_S).max(1.5 * usual_s) }
    }

    /// Log times of the first and the last heading, s; `None` where there are none.
    pub fn span_s(&self) -> Option<(f64, f64)> {
        Some((*self.t_s.first()?, *self.t_s.last()?))
    }

    /// Log time and yaw rate, s and rad/s to the left.
    pub fn rates(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.t_s.iter().copied().zip(self.rate_radps.iter().copied())
    }

    /// Whether it turns enough to be recognised.
    pub(super) fn turns(&self) -> bool {
        self.t_s.len() > 3 && self.rms_radps(f64::NEG_INFINITY, f64::INFINITY) >= LEAST_DPS.to_radians()
    }

    /// How much it turns between two log times: root mean square, rad/s.
    pub fn rms_radps(&self, from_s: f64, to_s: f64) -> f64 {
        let (mut sum, mut count) = (0.0, 0.0);
        let from = self.t_s.partition_point(|it| *it < from_s);
        for (t_s, rate) in self.t_s[from..].iter().zip(&self.rate_radps[from..]) {
            if *t_s > to_s {
                break;
            }
            sum += rate * rate;
            count += 1.0;
        }
        if count > 0.0 { (sum / count).sqrt() } else { 0.0 }
    }

    /// Heading and yaw rate at a log time; `None` outside and in gaps.
    pub(super) fn at(&self, t_s: f64) -> Option<(f64, f64)> {
        let after = self.t_s.partition_point(|it| *it < t_s);
        let (b, a) = (*self.t_s.get(after)?, after.checked_sub(1));
        let Some(index) = a else {
            return (b - t_s <= 0.0).then(|| (self.heading_rad[after], self.rate_radps[after]));
        };
        let span_s = b - self.t_s[index];
        if span_s > self.gap_s || span_s <= 0.0 {
            return None;
        }
        let u = (t_s - self.t_s[index]) / span_s;
        let mix = |list: &[f64]| list[index] + u * (list[after] - list[index]);
        // The integral of a rate that changes linearly bends between its ends.
        let bend = 0.5 * span_s * u * (1.0 - u) * (self.rate_radps[index] - self.rate_radps[after]);
        Some((mix(&self.heading_rad) + bend, mix(&self.rate_radps)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rate_integrates_to_its_closed_form() {
        let t_s: Vec<f64> = (0..200).map(|i| 0.05 * f64::from(i)).collect();
        let channel = Channel { value: t_s.iter().map(|t| t.cos()).collect(), t_s };
        let turning = Turning::from_yaw_rate(&channel);
        for t_s in [0.0, 0.012, 3.3, 9.94] {
            let (heading, rate) = turning.at(t_s).unwrap();
            assert!((heading - t_s.sin()).abs() < 1e-3 && (rate - t_s.cos()).abs() < 1e-3, "{t_s}");
        }
        assert!(turning.at(-0.01).is_none() && turning.at(9.96).is_none() && turning.turns());
        assert!((turning.rms_radps(0.0, std::f64::consts::TAU) - 0.5_f64.sqrt()).abs() < 0.01);
    }

    #[test]
    fn headings_are_unwrapped_and_gaps_stay_open() {
        let t_s = [0.0, 1.0, 2.0, 9.0, 10.0];
        let turning = Turning::from_heading(&t_s, &[3.0, -3.0, -2.5, 0.0, 0.1]);
        let (heading, _) = turning.at(1.0).unwrap();
        assert!((heading - (std::f64::consts::TAU - 3.0)).abs() < 1e-9);
        assert!(turning.at(5.0).is_none() && turning.at(9.5).is_some());
        assert!(!Turning::default().turns() && Turning::default().span_s().is_none());
    }
}
