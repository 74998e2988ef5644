//! What the invented camera does: picture size, frame times, and a clock that is wrong by a known amount.

use chrono::{DateTime, TimeDelta, Utc};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::session::{ClockMap, VideoTime};

/// Frames per second.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FrameRate {
    /// As a fraction: 25/1, 30000/1001, 60/1.
    Constant { numerator: u32, denominator: u32 },
    /// Each frame lasts 1/40 to 1/20 of a second, by chance with this seed.
    Variable { seed: u64 },
}

/// How the camera looks at the scene.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Facing {
    #[default]
    Ahead,
    /// Back over the seat: the kart itself is not in the picture.
    Back,
    /// Ahead, left and right exchanged, as some cameras turn their picture.
    Mirrored,
    /// Ahead, hung from above, the file not saying so.
    UpsideDown,
}

/// What the light and the mount do to the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Look {
    pub facing: Facing,
    /// A fifth of the light, with the noise of a sensor at its limit.
    pub dark: bool,
    /// Drops on the lens, grey spray, less contrast.
    pub wet: bool,
    /// Four times the usual vibration.
    pub shaking: bool,
}

/// Picture, coding and sound of the footage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FootageOptions {
    /// Pixels, both even; 320 by 180 up to 1920 by 1080.
    pub width: u32,
    pub height: u32,
    pub rate: FrameRate,
    /// Frames from one key frame to the next at most.
    pub gop: u32,
    pub b_frames: u32,
    pub video_kbps: u32,
    /// Slower and smaller, for files that are kept.
    pub small: bool,
    pub sound: bool,
    pub look: Look,
}

impl Default for FootageOptions {
    fn default() -> Self {
        Self {
            width: 640,
            height: 360,
            rate: FrameRate::Constant { numerator: 25, denominator: 1 },
            gop: 50,
            b_frames: 0,
            video_kbps: 1200,
            small: false,
            sound: true,
            look: Look::default(),
        }
    }
}

impl FootageOptions {
    /// Presentation times of all frames that begin before `duration_s`, in nanoseconds from 0, with the end of the
    /// last frame as one more.
    pub fn frame_times_ns(&self, duration_s: f64) -> Vec<u64> {
        let end_ns = VideoTime::from_seconds(duration_s).0.max(0).unsigned_abs();
        let mut times_ns = vec![0];
        match self.rate {
            FrameRate::Constant { numerator, denominator } => {
                let step_ns = 1_000_000_000 * u64::from(denominator);
                // Rounded down from the exact fraction each time, so that errors do not add up.
                times_ns.extend(
                    (1..).map(|index: u64| index * step_ns / u64::from(numerator)).take_while(|it| *it < end_ns),
                );
                times_ns.push(times_ns.len() as u64 * step_ns / u64::from(numerator));
            }
            FrameRate::Variable { seed } => {
                let mut rng = ChaCha8Rng::seed_from_u64(seed);
                let mut at_ns = 0;
                while at_ns < end_ns {
                    at_ns += rng.random_range(25_000_000..=50_000_000);
                    times_ns.push(at_ns);
                }
            }
        }
        times_ns
    }
}

/// The camera's clock against the log's, and the time stamp it leaves in the file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Camera {
    pub clock: ClockMap,
    /// Length of the recording in presentation time, s.
    pub duration_s: f64,
    /// What the camera writes as the time of the first frame, less the true time: its zone passed off as UTC, and
    /// some seconds, s.
    pub stamp_error_s: f64,
}

impl Camera {
    /// Creation time in the container: whole seconds, as the container has them.
    pub fn creation_time(&self, log_start_utc: DateTime<Utc>) -> DateTime<Utc> {
        #[allow(clippy::cast_possible_truncation, reason = "a session lasts minutes")]
        let offset_ms = ((self.clock.log_t_s_at_zero + self.stamp_error_s) * 1000.0).round() as i64;
        let exact = log_start_utc + TimeDelta::milliseconds(offset_ms);
        DateTime::from_timestamp(exact.timestamp(), 0).unwrap_or(exact)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frame_times_follow_the_fraction() {
        let options = FootageOptions {
            rate: FrameRate::Constant { numerator: 30_000, denominator: 1001 },
            ..FootageOptions::default()
        };
        let times_ns = options.frame_times_ns(33.36);
        assert_eq!(times_ns.len(), 1001);
        assert_eq!(times_ns[1000], 33_366_666_666);
        assert!(times_ns.windows(2).all(|pair| pair[0] < pair[1]));
    }

    #[test]
    fn a_stamp_is_local_time_in_whole_seconds() {
        let clock = ClockMap { log_t_s_at_zero: 12.345, rate_ppm: 0.0 };
        let camera = Camera { clock, duration_s: 10.0, stamp_error_s: 7203.2 };
        let start = DateTime::from_timestamp(1_000_000_000, 0).unwrap();
        assert_eq!(camera.creation_time(start).timestamp(), 1_000_007_215);
    }
}
