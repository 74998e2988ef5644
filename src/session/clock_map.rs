//! The two clocks. Log time and footage time are different types; only [`ClockMap`] crosses between them.

/// Seconds since the log's first sample.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct SessionTime(pub f64);

/// Presentation time in one footage file, in nanoseconds from presentation time 0. Never a frame count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct VideoTime(pub i64);

impl VideoTime {
    /// Nearest nanosecond; values past ±292 years saturate.
    pub fn from_seconds(seconds: f64) -> Self {
        #[allow(clippy::cast_possible_truncation, reason = "float to integer casts saturate")]
        Self((seconds * 1e9).round() as i64)
    }

    pub fn seconds(self) -> f64 {
        self.0 as f64 * 1e-9
    }
}

/// log time = `log_t_s_at_zero` + (1 + `rate_ppm`·10⁻⁶) · presentation time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClockMap {
    /// Log time, in seconds, of presentation time 0.
    pub log_t_s_at_zero: f64,
    /// How much faster the log's clock runs than the footage's, in parts per million.
    pub rate_ppm: f64,
}

impl ClockMap {
    pub fn to_log(self, at: VideoTime) -> SessionTime {
        SessionTime(self.log_t_s_at_zero + at.seconds() * self.rate())
    }

    pub fn to_video(self, at: SessionTime) -> VideoTime {
        VideoTime::from_seconds((at.0 - self.log_t_s_at_zero) / self.rate())
    }

    fn rate(self) -> f64 {
        1.0 + self.rate_ppm * 1e-6
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back_is_the_same_nanosecond() {
        let map = ClockMap { log_t_s_at_zero: -12.25, rate_ppm: 80.0 };
        for ns in [0, 1, 33_366_667, 3_600_000_000_000] {
            assert!((map.to_video(map.to_log(VideoTime(ns))).0 - ns).abs() <= 1);
        }
        let hour = map.to_log(VideoTime::from_seconds(3600.0));
        assert!((hour.0 - (3600.0 - 12.25 + 0.288)).abs() < 1e-9);
    }
}
