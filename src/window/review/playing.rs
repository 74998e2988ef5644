//! Playing: where the playhead should be by now. The time is an input; there is no clock here.

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

    pub(super) fn rate(self) -> f64 {
        self.rate
    }

    /// The log time that should be on show, s.
    pub(super) fn t_s(self, now_us: i64) -> f64 {
        self.from_s + self.rate * (now_us - self.began_us) as f64 * 1e-6
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn playing_goes_on_at_its_rate() {
        let playing = Playing::new(1_000_000, 20.0, 0.5);
        assert!((playing.t_s(3_000_000) - 21.0).abs() < 1e-12);
        assert!((SPEEDS[NORMAL] - 1.0).abs() < f64::EPSILON);
        assert_eq!(speed_words()[0], "0.1×");
    }
}
