//! Playing: where the playhead should be by now. The time is an input; there is no clock here.

use crate::window::navigate::Playhead;

/// The speeds of play that can be chosen, slowest first.
pub(super) const SPEEDS: [f64; 7] = [0.1, 0.25, 0.5, 1.0, 1.5, 2.0, 4.0];
/// Index of 1 in [`SPEEDS`].
pub(super) const NORMAL: usize = 3;

/// The words for [`SPEEDS`].
pub(super) fn speed_words() -> Vec<String> {
    SPEEDS.iter().map(|it| format!("{it}×")).collect()
}

/// Playing on since a moment of the display's clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Playing {
    began_us: i64,
    from_s: f64,
    rate: f64,
}

impl Playing {
    /// From a log time, s, at a moment of the display's clock, µs.
    pub(super) fn new(began_us: i64, from_s: f64, rate: f64) -> Self {
        Self { began_us, from_s, rate }
    }

    /// From the middle of the frame on show: from its beginning, a display as fast as the footage would be now a hair
    /// before each frame and now a hair after, and show some twice and others never.
    pub(super) fn on_frame(began_us: i64, shown: Playhead, rate: f64) -> Self {
        Self::new(began_us, 0.5 * (shown.from_s + shown.until_s), rate)
    }

    pub(super) fn rate(self) -> f64 {
        self.rate
    }

    /// The log time that should be on show, s.
    pub(super) fn t_s(self, now_us: i64) -> f64 {
        self.from_s + self.rate * (now_us - self.began_us) as f64 * 1e-6
    }
}

#[cfg(test)]
#[allow(clippy::float_cmp, reason = "frames are counted in whole numbers")]
mod tests {
    use super::*;

    #[test]
    fn a_display_as_fast_as_the_footage_shows_each_frame_once_though_its_clock_trembles() {
        let playing = Playing::on_frame(0, Playhead { from_s: 3.0, until_s: 3.0 + 1.0 / 60.0 }, 1.0);
        let trembling_us = [0, 4000, -4000, 900, -7000];
        for (frame, tremble_us) in (0_i32..).zip(trembling_us) {
            let t_s = playing.t_s(i64::from(frame) * 1_000_000 / 60 + tremble_us);
            assert_eq!(((t_s - 3.0) * 60.0).floor(), f64::from(frame), "{t_s}");
        }
    }

    #[test]
    fn playing_goes_on_at_its_rate() {
        let playing = Playing::new(1_000_000, 20.0, 0.5);
        assert!((playing.t_s(3_000_000) - 21.0).abs() < 1e-12);
        assert!((SPEEDS[NORMAL] - 1.0).abs() < f64::EPSILON);
        assert_eq!(speed_words()[0], "0.1×");
    }
}
