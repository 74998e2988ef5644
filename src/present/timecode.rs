//! Time code of a footage frame, hh:mm:ss:ff, as editing programs and cameras show it.
//!
//! Source: SMPTE ST 12-1 (counting, drop-frame compensation); the counts in the tests were recomputed independently.

use std::fmt;

use crate::session::VideoTime;

/// Containers that count whole milliseconds put a frame up to half a millisecond before its true time.
const EARLY_BY_AT_MOST_NS: i128 = 500_000;
const NS_PER_S: u128 = 1_000_000_000;
/// Some containers write 2997/100 for 30000/1001; no two rates in use lie this close.
const SAME_RATE_HZ: f64 = 5e-4;

/// Frames per second as the container gives them: `numerator / denominator`, as in 30000/1001. Neither is 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FrameRate {
    numerator: u32,
    denominator: u32,
}

impl FrameRate {
    /// `None` for a rate of zero, without end, or below half a frame a second: no time code counts those.
    pub fn new(numerator: u32, denominator: u32) -> Option<Self> {
        let rate = Self { numerator, denominator };
        (denominator > 0 && rate.nominal() > 0).then_some(rate)
    }

    /// Frames that one second of time code counts: 30 for 29.97.
    fn nominal(self) -> u64 {
        let (numerator, denominator) = (u64::from(self.numerator), u64::from(self.denominator));
        (2 * numerator + denominator) / (2 * denominator)
    }

    /// Frame numbers left out at the start of each minute but every tenth: 2 at 29.97, 4 at 59.94, else 0.
    fn dropped_per_minute(self) -> u64 {
        let per_second = f64::from(self.numerator) / f64::from(self.denominator);
        let is_near = |rate: f64| (per_second - rate).abs() < SAME_RATE_HZ;
        if is_near(30.0 / 1.001) {
            2
        } else if is_near(60.0 / 1.001) {
            4
        } else {
            0
        }
    }
}

/// One time code. It starts again at 0 after 24 hours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TimeCode {
    pub hours: u64,
    pub minutes: u64,
    pub seconds: u64,
    pub frames: u64,
    /// Frame numbers are left out so that the code keeps up with the clock; shown by `;` before the frames.
    pub drop_frame: bool,
}

impl TimeCode {
    /// Of a frame by its number, from 0.
    pub fn of_frame(frame: u64, rate: FrameRate) -> Self {
        let nominal = rate.nominal();
        let dropped = rate.dropped_per_minute();
        let minute = 60 * nominal;
        let ten_minutes = 10 * minute - 9 * dropped;
        let (tens, rest) = (frame / ten_minutes, frame % ten_minutes);
        // The first of ten minutes is whole; each of the other nine is shorter by what is left out at its start.
        let minutes_begun = rest.checked_sub(minute).map_or(0, |later| 1 + later / (minute - dropped));
        let counted = frame + dropped * (9 * tens + minutes_begun);
        Self {
            hours: counted / (60 * minute) % 24,
            minutes: counted / minute % 60,
            seconds: counted / nominal % 60,
            frames: counted % nominal,
            drop_frame: dropped > 0,
        }
    }

    /// Of the frame that is shown at a presentation time, in footage of a constant rate. `None` before time 0.
    pub fn of_time(at: VideoTime, rate: FrameRate) -> Option<Self> {
        let ns = u128::try_from(i128::from(at.0) + EARLY_BY_AT_MOST_NS).ok()?;
        let frame = ns * u128::from(rate.numerator) / (u128::from(rate.denominator) * NS_PER_S);
        Some(Self::of_frame(u64::try_from(frame).ok()?, rate))
    }
}

impl fmt::Display for TimeCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { hours, minutes, seconds, frames, drop_frame } = self;
        let mark = if *drop_frame { ';' } else { ':' };
        write!(f, "{hours:02}:{minutes:02}:{seconds:02}{mark}{frames:02}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate(numerator: u32, denominator: u32) -> FrameRate {
        FrameRate::new(numerator, denominator).unwrap()
    }

    /// Walks through half an hour: each code is the one before plus one frame, but for the numbers left out.
    #[test]
    fn codes_rise_by_one_and_leave_out_only_what_the_standard_says() {
        for (rate, dropped) in [(rate(30_000, 1001), 2), (rate(60_000, 1001), 4), (rate(25, 1), 0)] {
            let nominal = rate.nominal();
            let mut count = 0;
            for frame in 0..30 * 60 * nominal {
                let code = TimeCode::of_frame(frame, rate);
                if code.seconds == 0 && !code.minutes.is_multiple_of(10) && code.frames == dropped && dropped > 0 {
                    count += dropped;
                }
                let shown = ((code.hours * 60 + code.minutes) * 60 + code.seconds) * nominal + code.frames;
                assert_eq!(shown, frame + count, "frame {frame} at {nominal}");
            }
        }
    }

    #[test]
    fn a_presentation_time_shows_the_frame_on_screen() {
        let ntsc = rate(30_000, 1001);
        let shown = |ns| TimeCode::of_time(VideoTime(ns), ntsc).map(|it| it.to_string());
        assert_eq!(shown(0).as_deref(), Some("00:00:00;00"));
        assert_eq!(shown(33_366_666).as_deref(), Some("00:00:00;01"), "rounded down to whole nanoseconds");
        assert_eq!(shown(66_000_000).as_deref(), Some("00:00:00;01"), "the frame stays until the next");
        assert_eq!(shown(67_000_000).as_deref(), Some("00:00:00;02"), "rounded up to whole milliseconds");
        assert_eq!(shown(-1_000_000), None);
        assert_eq!(shown(i64::MAX).map(|it| it.len()), Some(11));
    }

    #[test]
    fn rates_that_no_code_counts_are_refused() {
        assert!(FrameRate::new(25, 0).is_none() && FrameRate::new(0, 1).is_none() && FrameRate::new(1, 3).is_none());
        assert_eq!(rate(2997, 100).dropped_per_minute(), 2);
        assert_eq!((rate(24_000, 1001).nominal(), rate(24_000, 1001).dropped_per_minute()), (24, 0));
    }
}
