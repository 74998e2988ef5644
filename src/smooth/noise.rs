//! How noisy each channel is and how lively the kart, estimated from the log itself.
//!
//! Measurement noise comes from third differences, which leave little of the motion at 5 Hz and more; the liveliness
//! (and the position noise) maximise the likelihood of the filter's innovations over a part of the log.

use crate::geom::Point;
use crate::session::{Channel, Path};
use crate::smooth::filter;
use crate::smooth::measure::Step;
use crate::smooth::settle::Settled;

/// Standard deviations of the measurements and spectral densities of what drives the kart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noise {
    /// White part of each coordinate, m.
    pub position_m: f64,
    /// m/s.
    pub speed_mps: f64,
    /// Velocity across the course that the measured course is wrong by, m/s (course error = this / speed).
    pub across_speed_mps: f64,
    /// rad/s per sample.
    pub yaw_rate_radps: f64,
    /// m/s².
    pub acceleration_mps2: f64,
    /// White jerk, m/s³ per √Hz.
    pub jerk: f64,
    /// White yaw acceleration, rad/s² per √Hz.
    pub yaw_acceleration: f64,
    /// Gyro bias left after settling: its size, rad/s, and its walk, rad/s per √s.
    pub bias_radps: f64,
    pub bias_walk: f64,
    /// Wander of the positions: variance gained per second, m²/s, along one axis.
    pub wander_m2ps: f64,
}

impl Noise {
    /// For a log that has a yaw rate alone.
    pub fn of_yaw_rate(yaw_rate: &Channel) -> Self {
        Self {
            position_m: USUAL_POSITION_M,
            speed_mps: USUAL_SPEED_MPS,
            across_speed_mps: USUAL_SPEED_MPS,
            yaw_rate_radps: white_sigma(&yaw_rate.value).clamp(0.001, 0.3),
            acceleration_mps2: 1.0,
            jerk: 8.0,
            yaw_acceleration: 2.0,
            bias_radps: 0.5_f64.to_radians(),
            bias_walk: 0.02_f64.to_radians(),
            wander_m2ps: USUAL_WANDER_M2PS,
        }
    }

    /// The same with more or less white jerk.
    pub(super) fn with_jerk_density_times(&self, factor: f64) -> Self {
        Self { jerk: self.jerk * factor.sqrt(), ..*self }
    }
}

/// Third differences of white noise have 1 + 9 + 9 + 1 = 20 times its variance.
const THIRD_DIFFERENCE_GAIN: f64 = 20.0;
/// Median of |z| of a standard normal variable.
const NORMAL_MEDIAN: f64 = 0.674_49;
/// Steps of the log that the likelihood is judged on.
const JUDGED_STEPS: usize = 1200;
/// Wander of a usual receiver where it cannot be measured, m²/s: 0.42 m an axis with a time constant of 90 s
/// (common practice, no source).
const USUAL_WANDER_M2PS: f64 = 2.0 * 0.42 * 0.42 / 90.0;

/// Fixes a second below which differences say nothing of the noise, and from which they say all.
const SILENT_BELOW_HZ: f64 = 1.5;
const TELLING_FROM_HZ: f64 = 5.0;
/// A usual receiver's errors from fix to fix, m and m/s (common practice, no source).
const USUAL_POSITION_M: f64 = 1.0;
const USUAL_SPEED_MPS: f64 = 0.3;

pub(super) fn fix_rate_hz(settled: &Settled) -> f64 {
    let t_s: Vec<f64> = settled.fixes.iter().map(|it| it.0).collect();
    Channel { value: vec![0.0; t_s.len()], t_s }.rate_hz().unwrap_or(0.0)
}

/// Standard deviation of the white part of an evenly sampled signal; robust against the stretches where it moves.
pub(super) fn white_sigma(values: &[f64]) -> f64 {
    let mut differences: Vec<f64> = values.windows(4).map(|w| (w[3] - 3.0 * w[2] + 3.0 * w[1] - w[0]).abs()).collect();
    if differences.is_empty() {
        return 0.0;
    }
    let middle = differences.len() / 2;
    let (_, median, _) = differences.select_nth_unstable_by(middle, f64::total_cmp);
    *median / NORMAL_MEDIAN / THIRD_DIFFERENCE_GAIN.sqrt()
}

/// Linear interpolation; the end values go on outside. The channel must not be empty.
pub(super) fn interpolate(channel: &Channel, t_s: f64) -> f64 {
    let next = channel.t_s.partition_point(|it| *it <= t_s);
    match (next.checked_sub(1), channel.t_s.get(next)) {
        (None, _) => channel.value.first().copied().unwrap_or(0.0),
        (Some(before), None) => channel.value[before],
        (Some(before), Some(next_s)) => {
            let share = (t_s - channel.t_s[before]) / (next_s - channel.t_s[before]);
            channel.value[before] + share * (channel.value[next] - channel.value[before])
        }
    }
}

/// Running integral by the trapezoid rule, on the channel's own times.
pub(super) fn integrate(channel: &Channel) -> Channel {
    let mut total = 0.0;
    let mut value = Vec::with_capacity(channel.len());
    for index in 0..channel.len() {
        if index > 0 {
            let dt_s = channel.t_s[index] - channel.t_s[index - 1];
            total += 0.5 * dt_s * (channel.value[index] + channel.value[index - 1]);
        }
        value.push(total);
    }
    Channel { t_s: channel.t_s.clone(), value }
}

/// Centred mean over `window_s` at every sample's time.
pub(super) fn smooth_uniformly(channel: &Channel, window_s: f64) -> Channel {
    let total = integrate(channel);
    let half_s = 0.5 * window_s;
    let (Some(first_s), Some(last_s)) = (channel.t_s.first(), channel.t_s.last()) else { return channel.clone() };
    let value = channel
        .iter()
        .map(|(t_s, value)| {
            // Near the ends the window shrinks on both sides, so that it stays centred.
            let reach_s = half_s.min(t_s - first_s).min(last_s - t_s);
            if reach_s <= 0.0 {
                return value;
            }
            (interpolate(&total, t_s + reach_s) - interpolate(&total, t_s - reach_s)) / (2.0 * reach_s)
        })
        .collect();
    Channel { t_s: channel.t_s.clone(), value }
}

pub(super) fn estimate(settled: &Settled, stretches: &[Vec<Step>]) -> Noise {
    let sigma_of = |channel: &Option<Channel>| channel.as_ref().map_or(0.0, |it| white_sigma(&it.value));
    let along = |axis: fn(&(f64, Point)) -> f64| white_sigma(&settled.fixes.iter().map(axis).collect::<Vec<_>>());
    let position_m = (0.5 * (along(|it| it.1.x_m).powi(2) + along(|it| it.1.y_m).powi(2))).sqrt();
    let rate_hz = fix_rate_hz(settled);
    // Third differences of a slow log hold more motion than noise: below a few fixes a second they say nothing, and a
    // usual receiver's figures stand in.
    let told = ((rate_hz - SILENT_BELOW_HZ) / (TELLING_FROM_HZ - SILENT_BELOW_HZ)).clamp(0.0, 1.0);
    let between = |usual: f64, measured: f64| usual + told * (measured - usual);
    let noise = Noise {
        position_m: between(USUAL_POSITION_M, position_m).clamp(0.02, 3.0),
        speed_mps: between(USUAL_SPEED_MPS, sigma_of(&settled.speed)).clamp(0.01, 1.0),
        across_speed_mps: between(USUAL_SPEED_MPS, course_noise_mps(settled)).clamp(0.03, 1.0),
        yaw_rate_radps: sigma_of(&settled.yaw_rate).clamp(0.001, 0.3),
        acceleration_mps2: (2.0 * sigma_of(&settled.acceleration)).clamp(0.3, 10.0),
        jerk: 8.0,
        yaw_acceleration: 2.0,
        bias_radps: 0.5_f64.to_radians(),
        bias_walk: 0.02_f64.to_radians(),
        wander_m2ps: USUAL_WANDER_M2PS,
    };
    most_likely(noise, judged(stretches))
}

/// A lively part of the longest stretch: its middle.
fn judged(stretches: &[Vec<Step>]) -> &[Step] {
    let Some(longest) = stretches.iter().max_by_key(|it| it.len()) else { return &[] };
    let from = (longest.len() / 2).saturating_sub(JUDGED_STEPS / 2);
    &longest[from..(from + JUDGED_STEPS).min(longest.len())]
}

/// Coordinate search on a scale of powers of two: three sweeps over liveliness and position noise.
fn most_likely(start: Noise, steps: &[Step]) -> Noise {
    if steps.len() < 30 {
        return start;
    }
    type Knob = fn(&mut Noise) -> &mut f64;
    let knobs: [(Knob, f64, f64); 3] = [
        (|noise| &mut noise.jerk, 0.3, 40.0),
        (|noise| &mut noise.yaw_acceleration, 0.1, 12.0),
        (|noise| &mut noise.position_m, 0.01, 3.0),
    ];
    let mut best = start;
    let mut best_likelihood = filter::log_likelihood(steps, &best);
    for factor in [2.0, 2.0, 1.4] {
        for (knob, low, high) in knobs {
            for direction in [factor, 1.0 / factor] {
                let mut moved = false;
                loop {
                    let mut candidate = best;
                    *knob(&mut candidate) *= direction;
                    if !(low..=high).contains(knob(&mut candidate)) {
                        break;
                    }
                    let likelihood = filter::log_likelihood(steps, &candidate);
                    // Not "is worse": a filter that broke down has no likelihood at all.
                    if !likelihood.is_finite() || likelihood <= best_likelihood {
                        break;
                    }
                    (best, best_likelihood, moved) = (candidate, likelihood, true);
                }
                if moved {
                    break;
                }
            }
        }
    }
    best
}

/// Noise of the measured course as a velocity across: third differences of the unwrapped course times the speed.
fn course_noise_mps(settled: &Settled) -> f64 {
    let (Some(heading), Some(speed)) = (&settled.heading, &settled.speed) else { return 0.1 };
    let mut unwrapped = 0.0;
    let mut last = None;
    let scaled: Vec<f64> = heading
        .iter()
        .filter_map(|(t_s, value)| {
            unwrapped += last.map_or(0.0, |before: f64| crate::units::wrap_angle(value - before));
            last = Some(value);
            let speed_mps = interpolate(speed, t_s);
            (speed_mps > 5.0).then_some(unwrapped * 10.0)
        })
        .collect();
    // Scaled by 10 m/s: the usual speed at which a receiver's course noise stands for its velocity noise.
    white_sigma(&scaled)
}

/// The random-walk part of the position error, variance gained per second along the path, m²/s: fixes moved on by the
/// measured speed along the smoothed heading against the fixes themselves. Over a lag their difference spreads by
/// twice the white part and by the walk; two lags tell them apart. The usual receiver's where that cannot be had.
pub(super) fn wander_m2ps(settled: &Settled, path: &Path) -> f64 {
    measured_wander(settled, path)
        .filter(|it| it.is_finite())
        .map_or(USUAL_WANDER_M2PS, |it| it.clamp(0.2 * USUAL_WANDER_M2PS, 20.0 * USUAL_WANDER_M2PS))
}

/// The two lags, s: past the white noise, short of where a wander is no longer a walk.
const WANDER_LAGS_S: [f64; 2] = [1.5, 6.0];

fn measured_wander(settled: &Settled, path: &Path) -> Option<f64> {
    let speed = settled.speed.as_ref()?;
    let travelled = integrate(speed);
    let mut error_m = Channel::default();
    let mut total_m = 0.0;
    for pair in settled.fixes.windows(2) {
        let ((from_s, from), (to_s, to)) = (pair[0], pair[1]);
        if let Some(middle) = path.at(0.5 * (from_s + to_s)).filter(|it| it.speed_mps > 5.0) {
            let moved_m = (to - from).dot(Point::unit(middle.heading_rad));
            let bend = 1.0 - (middle.yaw_rate_radps * (to_s - from_s)).powi(2) / 24.0;
            total_m += moved_m - bend * (interpolate(&travelled, to_s) - interpolate(&travelled, from_s));
        }
        error_m.t_s.push(to_s);
        error_m.value.push(total_m);
    }
    let [near, far] = WANDER_LAGS_S.map(|lag_s| spread(&error_m, lag_s));
    let speed_walk = white_sigma(&speed.value).powi(2) / speed.rate_hz()?;
    Some((far? - near?) / (WANDER_LAGS_S[1] - WANDER_LAGS_S[0]) - speed_walk)
}

/// Robust variance of the change of a channel over a lag; `None` below 200 changes.
fn spread(channel: &Channel, lag_s: f64) -> Option<f64> {
    let mut changes: Vec<f64> = channel
        .iter()
        .filter(|(t_s, _)| channel.t_s.last().is_some_and(|last| t_s + lag_s < *last))
        .map(|(t_s, value)| interpolate(channel, t_s + lag_s) - value)
        .collect();
    if changes.len() < 200 {
        return None;
    }
    let mean = changes.iter().sum::<f64>() / changes.len() as f64;
    changes.iter_mut().for_each(|it| *it = (*it - mean).abs());
    let middle = changes.len() / 2;
    let (_, median, _) = changes.select_nth_unstable_by(middle, f64::total_cmp);
    Some((*median / NORMAL_MEDIAN).powi(2))
}
