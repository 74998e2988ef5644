//! The footage's clock in words.

use crate::present::{clock_time, fixed};

/// "it lies 0.041 s (1.0 frames) later on the log": how far one clock is from another, s. `frame_s`: of one frame, where
/// that is known.
pub fn footage_later(later_s: f64, frame_s: Option<f64>) -> String {
    let frames = frame_s.filter(|it| *it > 0.0).map(|it| format!(" ({} frames)", fixed(later_s.abs() / it, 1)));
    let way = if later_s < 0.0 { "earlier" } else { "later" };
    format!("it lies {} s{} {way} on the log", fixed(later_s.abs(), 3), frames.unwrap_or_default())
}

/// "0:12.300, a jolt": what happens at a log time, s.
pub fn moment_of(what: &str, t_s: f64) -> String {
    format!("{}, {what}", clock_time(t_s, 2))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_clock_is_so_far_from_another() {
        assert_eq!(footage_later(0.0412, Some(0.04)), "it lies 0.041 s (1.0 frames) later on the log");
        assert_eq!(footage_later(-2.5, None), "it lies 2.500 s earlier on the log");
        assert_eq!(moment_of("a jolt", 72.304), "1:12.30, a jolt");
    }
}
