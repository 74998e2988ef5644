//! Few values, each with its own interval: their mean, how much they differ beyond their intervals, and what each is
//! worth once the others are known. Takes estimates in any unit; gives estimates in the same.

use crate::session::{Estimate, NORMAL_CI95};
use crate::signal::quantile;
use crate::signal::random_effects::{least_variance_shown, variance_between};

/// What several passes have in common.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pooled {
    /// The mean; its interval holds how much the values differ and how unsure each is.
    pub mean: Estimate,
    /// Standard deviation of what the values differ by beyond their own intervals, in their unit.
    pub spread: f64,
    /// A spread below this, in the same unit, may be measuring alone; 0 for one value.
    pub least_shown: f64,
    pub count: usize,
}

/// A variance that no figure is surer than, in the figure's unit squared: keeps weights finite.
const LEAST_VARIANCE: f64 = 1e-10;

/// The random-effects mean (R. DerSimonian, N. Laird, Controlled Clinical Trials 7 (1986) 177–188) with Student's
/// interval. Degenerate: `None` without values; one value is its own mean and has no spread.
pub fn pooled(values: &[Estimate]) -> Option<Pooled> {
    let finite: Vec<Estimate> = values.iter().copied().filter(|it| it.value.is_finite() && !it.ci95.is_nan()).collect();
    let (first, count) = (*finite.first()?, finite.len());
    if count == 1 {
        return Some(Pooled { mean: first, spread: 0.0, least_shown: 0.0, count });
    }
    let variance2 = spread_variance(&finite);
    let least_shown = least_variance_shown(&with_variances(&finite)).sqrt();
    let weights: Vec<f64> = finite.iter().map(|it| 1.0 / (variance_of(*it) + variance2)).collect();
    let total: f64 = weights.iter().sum();
    let mean = finite.iter().zip(&weights).map(|(it, weight)| weight * it.value).sum::<f64>() / total;
    let ci95 = student_ci95(count - 1) / total.sqrt();
    Some(Pooled { mean: Estimate { value: mean, ci95 }, spread: variance2.sqrt(), least_shown, count })
}

/// Each value moved to its expectation, given all of them: the least of many noisy values is otherwise too low.
/// Same order and length.
pub fn moved_together(values: &[Estimate]) -> Vec<Estimate> {
    let Some(all) = pooled(values).filter(|it| it.count > 2) else { return values.to_vec() };
    let variance2 = all.spread * all.spread;
    let moved = values.iter().map(|it| {
        let share = variance2 / (variance2 + variance_of(*it));
        let left = variance_of(*it) * share + ((1.0 - share) * all.mean.sigma()).powi(2);
        Estimate::from_variance(all.mean.value + share * (it.value - all.mean.value), left)
    });
    moved.collect()
}

fn variance_of(it: Estimate) -> f64 {
    it.sigma().powi(2).max(LEAST_VARIANCE)
}

/// Variance of the values beyond their own; 0 where they differ less.
fn spread_variance(values: &[Estimate]) -> f64 {
    variance_between(&with_variances(values)).max(0.0)
}

fn with_variances(values: &[Estimate]) -> Vec<(f64, f64)> {
    values.iter().map(|it| (it.value, variance_of(*it))).collect()
}

/// Half-width of the 95 % interval of Student's distribution in standard deviations: exact for one and two degrees of
/// freedom, beyond that the Cornish–Fisher expansion, below 0.2 % off (M. Abramowitz, I. A. Stegun, Handbook of
/// Mathematical Functions (1964) 26.7.5).
pub fn student_ci95(degrees: usize) -> f64 {
    let z = NORMAL_CI95;
    let n = degrees as f64;
    match degrees {
        0 => f64::INFINITY,
        // The quantile of 0.975: tan(0.475 π), and 0.95 √(2 / (1 − 0.95²)).
        1 => (0.475 * std::f64::consts::PI).tan(),
        2 => 0.95 * (2.0 / (1.0 - 0.95 * 0.95_f64)).sqrt(),
        _ => {
            let (z3, z5, z7, z9) = (z.powi(3), z.powi(5), z.powi(7), z.powi(9));
            z + (z3 + z) / (4.0 * n)
                + (5.0 * z5 + 16.0 * z3 + 3.0 * z) / (96.0 * n * n)
                + (3.0 * z7 + 19.0 * z5 + 17.0 * z3 - 15.0 * z) / (384.0 * n.powi(3))
                + (79.0 * z9 + 776.0 * z7 + 1482.0 * z5 - 1920.0 * z3 - 945.0 * z) / (92160.0 * n.powi(4))
        }
    }
}

/// The middle value; `None` without one that is finite.
pub fn median(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    quantile(values, 0.5)
}

/// Value at a share (0 to 1) of the sorted finite values, linear between them; `None` without any.
pub fn quantile(values: impl IntoIterator<Item = f64>, share: f64) -> Option<f64> {
    let mut sorted: Vec<f64> = values.into_iter().filter(|it| it.is_finite()).collect();
    sorted.sort_unstable_by(f64::total_cmp);
    (!sorted.is_empty()).then(|| quantile::quantile(&sorted, share.clamp(0.0, 1.0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimates(values: &[f64], ci95: f64) -> Vec<Estimate> {
        values.iter().map(|value| Estimate { value: *value, ci95 }).collect()
    }

    #[test]
    fn sure_values_give_the_plain_mean_and_deviation() {
        let pooled = pooled(&estimates(&[1.0, 2.0, 3.0, 4.0], 1e-6)).unwrap();
        assert!((pooled.mean.value - 2.5).abs() < 1e-9 && pooled.count == 4);
        // Standard deviation √(5/3), standard error half of it, Student's 3.182 for three degrees of freedom.
        assert!((pooled.spread - (5.0_f64 / 3.0).sqrt()).abs() < 1e-6);
        assert!((pooled.mean.ci95 - 3.1824 * 0.5 * (5.0_f64 / 3.0).sqrt()).abs() < 5e-3);
    }

    #[test]
    fn values_that_differ_by_their_intervals_alone_do_not_spread() {
        let all = estimates(&[1.0, 1.1, 0.9, 1.05], 0.4);
        assert!(pooled(&all).unwrap().spread.abs() < 1e-12);
        assert!(moved_together(&all).iter().all(|it| (it.value - 1.0125).abs() < 1e-9));
        assert_eq!(pooled(&[]), None);
    }

    #[test]
    fn quantiles_lie_between_the_values() {
        assert_eq!(quantile([3.0, 1.0, 2.0], 0.25), Some(1.5));
        assert_eq!(median([f64::NAN, 4.0]), Some(4.0));
        assert_eq!(median([]), None);
    }
}
