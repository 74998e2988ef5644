//! What several series have in common: one common factor, how strongly each series follows it, and its course.
//!
//! Model: each series, brought to unit variance, is its loading times the factor plus noise of its own. Loadings come
//! from the correlation matrix by iterated principal axes; the factor's course is the mean weighted by loading over
//! own variance (Bartlett's scores).
//!
//! Source: H. H. Harman, "Modern Factor Analysis" (1976), ch. 8 (principal axes), ch. 16 (scores).

use nalgebra::{DMatrix, SymmetricEigen};

/// A series never shares all of its variance: the rest keeps weights finite.
const SHARED_AT_MOST: f64 = 0.97;
const ROUNDS: usize = 60;

/// How strongly each series follows the common factor, −1 to 1, with a positive sum. `weights` has the shape of
/// `series`; a moment counts for a pair of series by the product of their weights.
///
/// Degenerate: fewer than two series, or none that varies, give loadings of 0.
pub fn loadings(series: &[Vec<f64>], weights: &[Vec<f64>]) -> Vec<f64> {
    let count = series.len();
    if count < 2 {
        return vec![0.0; count];
    }
    let pair = |i: usize, j: usize| correlation(&series[i], &series[j], &weights[i], &weights[j]);
    let mut matrix = DMatrix::from_fn(count, count, |i, j| if i <= j { pair(i, j) } else { pair(j, i) });
    let strongest = |i: usize| (0..count).filter(|j| *j != i).map(|j| matrix[(i, j)].abs()).fold(0.0, f64::max);
    let mut shared: Vec<f64> = (0..count).map(|i| strongest(i).powi(2)).collect();
    let mut loadings = vec![0.0; count];
    for _ in 0..ROUNDS {
        for (i, shared) in shared.iter().enumerate() {
            matrix[(i, i)] = *shared;
        }
        let eigen = SymmetricEigen::new(matrix.clone());
        let first = eigen.eigenvalues.imax();
        let scale = eigen.eigenvalues[first].max(0.0).sqrt();
        loadings = eigen.eigenvectors.column(first).iter().map(|it| it * scale).collect();
        shared = loadings.iter().map(|it| (it * it).min(SHARED_AT_MOST)).collect();
    }
    let sign = if loadings.iter().sum::<f64>() < 0.0 { -1.0 } else { 1.0 };
    loadings.iter().map(|it| sign * it.clamp(-1.0, 1.0)).collect()
}

/// How much a series with this loading counts for the factor's course.
pub fn score_weight(loading: f64) -> f64 {
    loading / (1.0 - (loading * loading).min(SHARED_AT_MOST))
}

/// Weighted correlation by Pearson; 0 where one of the two does not vary.
fn correlation(a: &[f64], b: &[f64], weight_a: &[f64], weight_b: &[f64]) -> f64 {
    let moments = || a.iter().zip(b).zip(weight_a.iter().zip(weight_b)).map(|((a, b), (wa, wb))| (*a, *b, wa * wb));
    let weight: f64 = moments().map(|it| it.2).sum();
    if weight <= 0.0 {
        return 0.0;
    }
    let mean_a = moments().map(|it| it.0 * it.2).sum::<f64>() / weight;
    let mean_b = moments().map(|it| it.1 * it.2).sum::<f64>() / weight;
    let (mut aa, mut bb, mut ab) = (0.0, 0.0, 0.0);
    for (a, b, weight) in moments() {
        aa += weight * (a - mean_a).powi(2);
        bb += weight * (b - mean_b).powi(2);
        ab += weight * (a - mean_a) * (b - mean_b);
    }
    if aa > 0.0 && bb > 0.0 { ab / (aa * bb).sqrt() } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By construction: series 0 to 2 are the factor with noise of variance 0, 1 and 3 times its own, so their loadings
    /// are 1, 1/√2 and 1/2; series 3 is noise alone. 4000 samples: a correlation is known to 0.016.
    #[test]
    fn loadings_follow_the_share_of_the_common_factor() {
        let mut state = 12_345_u64;
        let mut noise = || {
            let mut sum = 0.0;
            for _ in 0..12 {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                sum += (state >> 11) as f64 / (1_u64 << 53) as f64;
            }
            sum - 6.0
        };
        let factor: Vec<f64> = (0..4000).map(|_| noise()).collect();
        let mut with = |share: f64, size: f64| factor.iter().map(|it| share * it + size * noise()).collect::<Vec<_>>();
        let series = [with(1.0, 0.1), with(1.0, 1.0), with(1.0, 3.0_f64.sqrt()), with(0.0, 1.0)];
        let weights = vec![vec![1.0; 4000]; 4];
        let found = loadings(&series, &weights);
        for (found, expected) in found.iter().zip([1.0, 0.5_f64.sqrt(), 0.5, 0.0]) {
            assert!((found - expected).abs() < 0.06, "{found} for {expected}");
        }
        assert!(score_weight(found[0]) > score_weight(found[1]) && score_weight(found[3]).abs() < 0.1);
    }

    #[test]
    fn still_series_have_no_factor() {
        let still = vec![vec![1.0; 10]; 3];
        assert!(loadings(&still, &still).iter().all(|it| it.abs() < 1e-9));
        assert_eq!(loadings(&still[..1], &still[..1]), [0.0]);
    }
}
