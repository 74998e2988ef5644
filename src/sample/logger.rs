//! What a logger on the kart would have measured: the true states at its rates, with its errors.

use std::collections::BTreeMap;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use crate::geom::Point;
use crate::sample::driver::normal;
use crate::sample::scenario::Scenario;
use crate::session::{Channel, ChannelKind, Fix, Samples, SamplesParts};
use crate::units::wrap_angle;

/// Errors and rates of a logger. Every error is normal with the standard deviation given.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggerNoise {
    pub fix_rate_hz: f64,
    /// White error of the position per axis, m.
    pub white_m: f64,
    /// Wandering error: root mean square of the horizontal vector, m (1/√2 of it per axis); a stationary
    /// Gauss–Markov process with this time constant, s.
    pub wander_m: f64,
    pub wander_time_constant_s: f64,
    pub speed_mps: f64,
    /// Course error at 1 m/s, radians; it falls with the inverse of speed.
    pub course_rad_at_1_mps: f64,
    pub yaw_rate_dps: f64,
    /// Constant bias of the gyro, °/s.
    pub yaw_rate_bias_dps: f64,
    pub yaw_rate_hz: f64,
    pub with_yaw: bool,
    pub with_course: bool,
    /// No speed, no course, no yaw rate.
    pub position_only: bool,
    /// Stretches (from, to) in seconds with no fix, speed or course.
    pub dropouts_s: Vec<(f64, f64)>,
}

impl Default for LoggerNoise {
    /// A good 10 Hz receiver with a yaw-rate sensor at 50 Hz.
    fn default() -> Self {
        Self {
            fix_rate_hz: 10.0,
            white_m: 0.06,
            wander_m: 0.6,
            wander_time_constant_s: 90.0,
            speed_mps: 0.07,
            course_rad_at_1_mps: 0.1,
            yaw_rate_dps: 0.8,
            yaw_rate_bias_dps: 0.3,
            yaw_rate_hz: 50.0,
            with_yaw: true,
            with_course: false,
            position_only: false,
            dropouts_s: Vec::new(),
        }
    }
}

impl LoggerNoise {
    pub fn without_yaw() -> Self {
        Self { with_yaw: false, ..Self::default() }
    }

    pub fn position_only() -> Self {
        Self { with_yaw: false, position_only: true, ..Self::default() }
    }
}

/// The log of a run; log time 0 is the run's time 0. The same seed gives the same log.
/// Each quantity has its own stream of chance, so that leaving one out changes no other.
pub fn log_samples(scenario: &Scenario, noise: &LoggerNoise, seed: u64) -> Samples {
    let truth = &scenario.truth;
    let plane = scenario.circuit.plane();
    let stream = |number: u64| {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(number);
        rng
    };
    let (mut white, mut wandering, mut speeds, mut courses, mut yaws) =
        (stream(1), stream(2), stream(3), stream(4), stream(5));
    let per_axis_m = noise.wander_m / std::f64::consts::SQRT_2;
    let keep = (-1.0 / (noise.fix_rate_hz * noise.wander_time_constant_s)).exp();
    let fresh_m = per_axis_m * (1.0 - keep * keep).sqrt();
    let mut wander = Point::new(per_axis_m * normal(&mut wandering), per_axis_m * normal(&mut wandering));
    let mut parts = SamplesParts { start_utc: Some(scenario.start_utc), ..SamplesParts::default() };
    let (mut speed, mut course, mut yaw) = (Channel::default(), Channel::default(), Channel::default());
    for state in (0u32..).map_while(|index| truth.state_at(f64::from(index) / noise.fix_rate_hz)) {
        let white_error = Point::new(normal(&mut white), normal(&mut white)).scaled(noise.white_m);
        let (latitude_deg, longitude_deg) = plane.to_degrees(state.position() + wander + white_error);
        wander = wander.scaled(keep) + Point::new(normal(&mut wandering), normal(&mut wandering)).scaled(fresh_m);
        let speed_mps = (state.speed_mps + noise.speed_mps * normal(&mut speeds)).abs();
        let course_error_rad = noise.course_rad_at_1_mps / state.speed_mps.max(0.1) * normal(&mut courses);
        if noise.dropouts_s.iter().any(|(from, to)| state.t_s >= *from && state.t_s < *to) {
            continue;
        }
        parts.fixes.push(Fix { t_s: state.t_s, latitude_deg, longitude_deg });
        push(&mut speed, state.t_s, speed_mps);
        push(&mut course, state.t_s, wrap_angle(state.heading_rad + course_error_rad));
    }
    for state in (0u32..).map_while(|index| truth.state_at(f64::from(index) / noise.yaw_rate_hz)) {
        let error_dps = noise.yaw_rate_bias_dps + noise.yaw_rate_dps * normal(&mut yaws);
        push(&mut yaw, state.t_s, state.yaw_rate_radps + error_dps.to_radians());
    }
    parts.channels = BTreeMap::new();
    if !noise.position_only {
        parts.channels.insert(ChannelKind::Speed, speed);
        if noise.with_course {
            parts.channels.insert(ChannelKind::Heading, course);
        }
        if noise.with_yaw {
            parts.channels.insert(ChannelKind::YawRate, yaw);
        }
    }
    Samples::new(parts)
}

fn push(channel: &mut Channel, t_s: f64, value: f64) {
    channel.t_s.push(t_s);
    channel.value.push(value);
}
