//! Clock from pins: moments that a person knows in the footage and in the log. One gives the offset; two or more give
//! offset and rate by least squares.

use crate::clock::{Chapter, FootageClock, Method, chapter_map, chapter_starts_s};
use crate::session::{ClockMap, NORMAL_CI95, Note, NoteKind};

/// Standard deviation of a moment that a person picks, s: better than one frame of 30 a second, with the log's own
/// sampling. Common practice, no source.
const PIN_SIGMA_S: f64 = 0.02;
/// Two quartz clocks rarely differ by more than this, in parts per million (95 %). Common practice, no source.
const USUAL_RATE_PPM: f64 = 100.0;
/// A rate beyond this is more likely a wrong pin.
const UNLIKELY_RATE_PPM: f64 = 1000.0;

/// One moment: recording time and log time, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pin {
    pub recording_s: f64,
    pub log_t_s: f64,
}

/// The clocks of the chapters, and what each pin is off by (log time as pinned less as fitted, s; in the pins' order).
#[derive(Debug, Clone, PartialEq)]
pub struct PinFit {
    pub clocks: Vec<FootageClock>,
    pub residuals_s: Vec<f64>,
}

/// Least-squares line through the pins: log time = a + (1 + d) · recording time.
///
/// Shapes: one clock a chapter, one residual a pin. Degenerate: no pins gives `None`; pins at one and the same
/// recording time give the offset alone. With two pins the residuals are zero by construction, so the interval rests
/// on how well a person picks; with more, on the larger of that and the residuals.
/// Source: ordinary least squares in closed form (any statistics handbook).
pub fn from_pins(chapters: &[Chapter], pins: &[Pin]) -> Option<PinFit> {
    let line = Line::through(pins)?;
    let rate_ppm = line.rate * 1e6;
    let recording = ClockMap { log_t_s_at_zero: line.at(0.0), rate_ppm };
    let residuals_s: Vec<f64> = pins.iter().map(|pin| pin.log_t_s - line.at(pin.recording_s)).collect();
    let sigma_s = pick_sigma_s(&residuals_s);
    let unlikely = (rate_ppm.abs() > UNLIKELY_RATE_PPM).then(|| Note::new(NoteKind::RateUnlikely { ppm: rate_ppm }));
    let clock = |start_s: f64| FootageClock {
        map: Some(chapter_map(recording, start_s)),
        ci95_s: Some(line.ci95_s(start_s, sigma_s)),
        method: Method::Manual,
        confidence: 1.0,
        next_best_ratio: None,
        notes: unlikely.iter().cloned().collect(),
    };
    let clocks = chapter_starts_s(chapters).into_iter().map(clock).collect();
    Some(PinFit { clocks, residuals_s })
}

/// How far pins scatter: what residuals show, but never less than a person's hand.
fn pick_sigma_s(residuals_s: &[f64]) -> f64 {
    match residuals_s.len() {
        0..=2 => PIN_SIGMA_S,
        count => (residuals_s.iter().map(|it| it * it).sum::<f64>() / (count - 2) as f64).sqrt().max(PIN_SIGMA_S),
    }
}

/// log − recording = mean + rate · (recording − centre): the difference is fitted, as it is small and the rate tiny.
struct Line {
    count: f64,
    centre_s: f64,
    mean_s: f64,
    rate: f64,
    /// Sum of squared distances from the centre, s²; 0 where the rate cannot be told.
    spread_s2: f64,
}

impl Line {
    fn through(pins: &[Pin]) -> Option<Self> {
        if pins.is_empty() {
            return None;
        }
        let count = pins.len() as f64;
        let centre_s = pins.iter().map(|it| it.recording_s).sum::<f64>() / count;
        let mean_s = pins.iter().map(|it| it.log_t_s - it.recording_s).sum::<f64>() / count;
        let spread_s2 = pins.iter().map(|it| (it.recording_s - centre_s).powi(2)).sum::<f64>();
        let product: f64 =
            pins.iter().map(|it| (it.recording_s - centre_s) * (it.log_t_s - it.recording_s - mean_s)).sum();
        let rate = if spread_s2 > 0.0 { product / spread_s2 } else { 0.0 };
        Some(Self { count, centre_s, mean_s, rate, spread_s2 })
    }

    /// Log time at a recording time, s.
    fn at(&self, recording_s: f64) -> f64 {
        recording_s + self.mean_s + self.rate * (recording_s - self.centre_s)
    }

    /// 95 % half-width of [`Line::at`], s: the line's own, or with no rate known, that of an ordinary pair of clocks.
    fn ci95_s(&self, recording_s: f64, sigma_s: f64) -> f64 {
        let away_s = recording_s - self.centre_s;
        let offset_s = NORMAL_CI95 * sigma_s / self.count.sqrt();
        let rate_s = if self.spread_s2 > 0.0 {
            NORMAL_CI95 * sigma_s * away_s / self.spread_s2.sqrt()
        } else {
            USUAL_RATE_PPM * 1e-6 * away_s
        };
        offset_s.hypot(rate_s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chapter(duration_s: f64) -> Chapter {
        Chapter { duration_s, created: None }
    }

    fn pin(recording_s: f64, log_t_s: f64) -> Pin {
        Pin { recording_s, log_t_s }
    }

    #[test]
    fn one_pin_gives_the_offset() {
        let fit = from_pins(&[chapter(60.0), chapter(60.0)], &[pin(10.0, 22.5)]).unwrap();
        let maps: Vec<ClockMap> = fit.clocks.iter().filter_map(|it| it.map).collect();
        assert!((maps[0].log_t_s_at_zero - 12.5).abs() < 1e-12 && maps[0].rate_ppm.abs() < 1e-12);
        assert!((maps[1].log_t_s_at_zero - 72.5).abs() < 1e-12, "the second chapter starts where the first ends");
        // 1.96 · 0.02 s, and 100 ppm over the 10 s and 50 s from the pin.
        assert!((fit.clocks[0].ci95_s.unwrap() - (0.0392_f64).hypot(0.001)).abs() < 1e-5);
        assert!((fit.clocks[1].ci95_s.unwrap() - (0.0392_f64).hypot(0.005)).abs() < 1e-5);
        assert_eq!(fit.clocks[0].method, Method::Manual);
    }

    /// Closed form: through (0, 5) and (1000, 1005.1) the rate is 100 ppm and the offset 5.
    #[test]
    fn two_pins_give_offset_and_rate() {
        let fit = from_pins(&[chapter(2000.0)], &[pin(0.0, 5.0), pin(1000.0, 1005.1)]).unwrap();
        let map = fit.clocks[0].map.unwrap();
        assert!((map.log_t_s_at_zero - 5.0).abs() < 1e-9 && (map.rate_ppm - 100.0).abs() < 1e-6, "{map:?}");
        assert!(fit.residuals_s.iter().all(|it| it.abs() < 1e-9));
        // At one of two pins the line is as sure as that pin: 1.96 · 0.02 s.
        assert!((fit.clocks[0].ci95_s.unwrap() - 0.0392).abs() < 1e-4);
    }

    /// Closed form for x = 0, 1, 2 and y − x = 0, 3, 0: mean 1, slope 0, residuals −1, 2, −1, s = √6.
    #[test]
    fn residuals_widen_the_interval() {
        let fit = from_pins(&[chapter(3.0)], &[pin(0.0, 0.0), pin(1.0, 4.0), pin(2.0, 2.0)]).unwrap();
        for (residual_s, expected_s) in fit.residuals_s.iter().zip([-1.0, 2.0, -1.0]) {
            assert!((residual_s - expected_s).abs() < 1e-12);
        }
        let leverage = (1.0 / 3.0 + 1.0 / 2.0_f64).sqrt();
        assert!((fit.clocks[0].ci95_s.unwrap() - 1.959_964 * 6.0_f64.sqrt() * leverage).abs() < 1e-9);
    }

    #[test]
    fn no_pins_give_nothing_and_wild_ones_a_note() {
        assert_eq!(from_pins(&[chapter(3.0)], &[]), None);
        let fit = from_pins(&[chapter(3.0)], &[pin(0.0, 0.0), pin(100.0, 101.0)]).unwrap();
        assert!(matches!(fit.clocks[0].notes[0].kind, NoteKind::RateUnlikely { .. }));
        let same = from_pins(&[chapter(3.0)], &[pin(1.0, 5.0), pin(1.0, 5.2)]).unwrap();
        assert!((same.clocks[0].map.unwrap().log_t_s_at_zero - 4.1).abs() < 1e-12);
    }
}
