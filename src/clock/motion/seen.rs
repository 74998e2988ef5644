//! What was seen: the shifts of the bands from frame to frame, and the one turning that they have in common.

use crate::clock::motion::ASSUMED_VIEW_DEG;
use crate::signal::factor;

/// Peaks from the first on count, from the second on fully (trial: chance stays below 0.15).
const PEAK_COUNTS: f64 = 0.15;
const PEAK_SURE: f64 = 0.4;
/// Bands that follow what is common by less than this are left out.
const LEAST_LOADING: f64 = 0.3;
/// A pair of frames weighs at least this much to count.
const LEAST_WEIGHT: f64 = 0.05;
/// A picture turning by less than this, root mean square, says nothing, °/s at [`ASSUMED_VIEW_DEG`] (trial).
const LEAST_DPS: f64 = 1.0;
/// The halves must differ by this many standard errors to tell forward from rear (trial).
const SPREAD_SIGMAS: f64 = 5.0;

/// From one shown frame to the next.
#[derive(Debug, Clone, PartialEq)]
pub struct SeenFrame {
    /// Recording times of both, s.
    pub from_s: f64,
    pub to_s: f64,
    /// For each band from top to bottom: how far the scene moves to the right, in shares of the picture's width, and
    /// how sure that is, 0 to 1.
    pub bands: Vec<(f64, f64)>,
    /// How much farther the right half moves to the right than the left, in shares of the width, where measured.
    pub spread: Option<f64>,
}

/// The turning of the picture, frame by frame.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SeenYaw {
    pub steps: Vec<SeenStep>,
    /// Where the middle of each band lies: −1 at the top of the picture, 1 at its foot.
    pub heights: Vec<f64>,
    /// Where the far part lies, on the same scale.
    pub far_part: f64,
    /// Whether the camera looks back; `None` where it cannot be told.
    pub looks_back: Option<bool>,
}

/// From one frame to the next.
#[derive(Debug, Clone, PartialEq)]
pub struct SeenStep {
    /// Recording times, s.
    pub from_s: f64,
    pub to_s: f64,
    /// Shares of the picture's width, positive where the scene moves to the right: an upright camera turns left.
    pub turned: f64,
    /// 0 to 1.
    pub weight: f64,
    /// The same band by band: shares of the width, and how much each counts; the weights sum up to `weight`.
    pub bands: Vec<(f64, f64)>,
}

impl SeenStep {
    pub(super) fn rate(&self) -> f64 {
        self.turned / (self.to_s - self.from_s)
    }
}

/// The turning that the bands have in common: each counts by how well it follows the rest.
/// Frames in order of time, all with as many bands. Degenerate: no frames give no steps.
pub fn combine(frames: &[SeenFrame]) -> SeenYaw {
    let bands = frames.iter().map(|it| it.bands.len()).min().unwrap_or(0);
    let lasting = || frames.iter().filter(|it| it.to_s > it.from_s);
    let sure = |peak: f64| ((peak - PEAK_COUNTS) / (PEAK_SURE - PEAK_COUNTS)).clamp(0.0, 1.0);
    let of = |value: &dyn Fn(&SeenFrame, usize) -> f64| -> Vec<Vec<f64>> {
        (0..bands).map(|band| lasting().map(|frame| value(frame, band)).collect()).collect()
    };
    let rates = of(&|frame, band| frame.bands[band].0 / (frame.to_s - frame.from_s));
    let weights = of(&|frame, band| sure(frame.bands[band].1));
    let mut loadings = factor::loadings(&rates, &weights);
    if bands == 1 {
        loadings = vec![1.0];
    }
    let scores: Vec<f64> =
        loadings.iter().map(|it| if *it < LEAST_LOADING { 0.0 } else { factor::score_weight(*it) }).collect();
    let total: f64 = scores.iter().sum();
    let steps = lasting().map(|frame| {
        let share = |(band, score): (&(f64, f64), &f64)| (band.0, score * sure(band.1) / total.max(1e-9));
        let mut bands: Vec<(f64, f64)> = frame.bands.iter().zip(&scores).map(share).collect();
        let mut weight: f64 = bands.iter().map(|it| it.1).sum();
        if weight < LEAST_WEIGHT {
            bands.iter_mut().for_each(|it| it.1 = 0.0);
            weight = 0.0;
        }
        let sum: f64 = bands.iter().map(|it| it.0 * it.1).sum();
        let turned = if weight > 0.0 { sum / weight } else { 0.0 };
        SeenStep { from_s: frame.from_s, to_s: frame.to_s, turned, weight, bands }
    });
    let centre = |band: usize| 2.0 * (band as f64 + 1.0) / (bands as f64 + 1.0) - 1.0;
    let far_part = scores.iter().enumerate().map(|(band, score)| score * centre(band)).sum::<f64>() / total.max(1e-9);
    SeenYaw {
        steps: steps.collect(),
        heights: (0..bands).map(centre).collect(),
        far_part,
        looks_back: looks_back(frames),
    }
}

/// Whether the scene closes rather than streams apart, by the mean over all frames.
fn looks_back(frames: &[SeenFrame]) -> Option<bool> {
    let mut spreads: Vec<f64> = frames.iter().filter_map(|it| Some(it.spread? / (it.to_s - it.from_s))).collect();
    spreads.retain(|it| it.is_finite());
    if spreads.len() < 20 {
        return None;
    }
    spreads.sort_by(f64::total_cmp);
    // What lies far out is a wrong peak.
    let kept = &spreads[spreads.len() / 10..spreads.len() - spreads.len() / 10];
    let count = kept.len() as f64;
    let mean = kept.iter().sum::<f64>() / count;
    let sigma = (kept.iter().map(|it| (it - mean).powi(2)).sum::<f64>() / count).sqrt() / count.sqrt();
    (mean.abs() > SPREAD_SIGMAS * sigma).then_some(mean < 0.0)
}

impl SeenYaw {
    /// Whether more than a moment counts: not so where nothing moves or nothing can be seen.
    pub fn sees_anything(&self) -> bool {
        self.seen_s() > 1.0
    }

    /// Seconds of footage that count.
    pub fn seen_s(&self) -> f64 {
        self.steps.iter().map(|it| it.weight.min(1.0) * (it.to_s - it.from_s)).sum()
    }

    pub(super) fn turns(&self) -> bool {
        let (mut sum, mut weights) = (0.0, 0.0);
        for step in &self.steps {
            let seconds = step.weight * (step.to_s - step.from_s);
            sum += seconds * step.rate().powi(2);
            weights += seconds;
        }
        weights > 0.0 && (sum / weights).sqrt() * ASSUMED_VIEW_DEG >= LEAST_DPS
    }

    /// The part of one chapter.
    pub(super) fn between(&self, from_s: f64, to_s: f64) -> Self {
        let steps = self.steps.iter().filter(|it| it.from_s >= from_s && it.to_s <= to_s).cloned().collect();
        Self { steps, ..self.clone() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two bands that turn, one that stands still and one that goes its own way.
    #[test]
    fn the_bands_that_turn_as_one_are_taken() {
        let frames: Vec<SeenFrame> = (0..400)
            .map(|i| {
                let t_s = 0.04 * f64::from(i);
                let turn = 0.004 * (0.9 * t_s).sin();
                let own = 0.01 * (f64::from(i * i % 101) / 101.0 - 0.5);
                let bands = vec![(turn, 0.8), (turn + 0.05 * own, 0.7), (0.0, 1.0), (own, 0.6)];
                SeenFrame { from_s: t_s, to_s: t_s + 0.04, bands, spread: (i % 4 == 0).then_some(-0.002 + 0.1 * own) }
            })
            .collect();
        let seen = combine(&frames);
        for (step, frame) in seen.steps.iter().zip(&frames) {
            assert!((step.turned - frame.bands[0].0).abs() < 3e-4 && step.weight > 0.5, "{step:?}");
        }
        assert!(seen.far_part < 0.0 && seen.looks_back == Some(true) && seen.sees_anything() && seen.turns());
        assert!((seen.seen_s() - 16.0).abs() < 0.5);
        assert!((seen.between(4.0, 8.0).seen_s() - 4.0).abs() < 0.3);
    }

    #[test]
    fn nothing_seen_is_nothing_turned() {
        let blind = SeenFrame { from_s: 0.0, to_s: 0.04, bands: vec![(0.3, 0.0); 5], spread: None };
        let seen = combine(&[blind]);
        assert!(!seen.sees_anything() && !seen.turns() && seen.looks_back.is_none());
        assert!(combine(&[]).steps.is_empty());
    }
}
