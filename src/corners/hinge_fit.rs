//! The break where a rise begins, from samples of the curvature itself: a continuous two-piece linear (hinge) fit,
//! the approach's level and then a slope, over the approach and the rise.

use nalgebra::{Matrix2, Matrix3, Vector2, Vector3};

/// One sample: place along the way, value, standard deviation of the value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Measured {
    pub(super) s: f64,
    pub(super) value: f64,
    pub(super) sigma: f64,
}

/// The break point and its variance, in the unit of `s`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hinge {
    pub(super) s: f64,
    pub(super) variance: f64,
}

/// Break points tried between the two ends before the best is refined.
const TRIED: usize = 48;

/// Fits the hinge with its break between `low` and `high`. The level before is expected to be 0 with `level_sigma`:
/// where the approach is short (a chicane), that keeps the fit determined.
/// Degenerate: fewer than five samples, or a slope that does not rise, give `None`.
pub(super) fn fit_hinge(samples: &[Measured], level_sigma: f64, low: f64, high: f64) -> Option<Hinge> {
    if samples.len() < 5 || high <= low {
        return None;
    }
    let squares = |s: f64| pieces_for(samples, level_sigma, s).map_or(f64::INFINITY, |it| it.1);
    let step = (high - low) / TRIED as f64;
    let best = (0..TRIED).map(|index| low + step * index as f64).min_by(|a, b| squares(*a).total_cmp(&squares(*b)))?;
    let s = golden_minimum(&squares, (best - step).max(low), (best + step).min(high));
    let (pieces, squares) = pieces_for(samples, level_sigma, s)?;
    if pieces[1] <= 0.0 {
        return None;
    }
    let free = samples.len() as f64 - 3.0;
    let misfit = if free > 0.0 { (squares / free).max(1.0) } else { 1.0 };
    Some(Hinge { s, variance: break_variance(samples, level_sigma, s, pieces[1])? * misfit })
}

/// Level before a given break and slope after it, by weighted least squares, with the weighted
/// sum of squares.
fn pieces_for(samples: &[Measured], level_sigma: f64, s: f64) -> Option<(Vector2<f64>, f64)> {
    let mut normal = Matrix2::from_diagonal(&Vector2::new(level_sigma.powi(-2), 0.0));
    let mut right = Vector2::zeros();
    let mut total = 0.0;
    for it in samples {
        let weight = 1.0 / (it.sigma * it.sigma);
        let row = Vector2::new(1.0, (it.s - s).max(0.0));
        normal += row * row.transpose() * weight;
        right += row * (it.value * weight);
        total += weight * it.value * it.value;
    }
    let pieces = normal.cholesky()?.solve(&right);
    Some((pieces, (total - pieces.dot(&right)).max(0.0)))
}

/// Variance of the break from the full Jacobian: beyond it the model falls by the slope where it moves on.
fn break_variance(samples: &[Measured], level_sigma: f64, s: f64, slope: f64) -> Option<f64> {
    let mut normal = Matrix3::<f64>::zeros();
    normal[(0, 0)] = level_sigma.powi(-2);
    for it in samples {
        let after = if it.s > s { 1.0 } else { 0.0 };
        let row = Vector3::new(1.0, (it.s - s) * after, -slope * after);
        normal += row * row.transpose() / (it.sigma * it.sigma);
    }
    Some(normal.try_inverse()?[(2, 2)]).filter(|it| *it > 0.0)
}

/// Golden-section search (Kiefer 1953) on an interval where the function has one minimum.
fn golden_minimum(function: &impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    let ratio = 0.5 * (5.0_f64.sqrt() - 1.0);
    for _ in 0..24 {
        let (a, b) = (high - ratio * (high - low), low + ratio * (high - low));
        if function(a) <= function(b) { high = b } else { low = a }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    const LEVEL_SIGMA: f64 = 0.02;

    fn rise(noise: impl Fn(usize) -> f64) -> Vec<Measured> {
        (0..42)
            .map(|i| {
                let s = i as f64 * 0.5;
                Measured { s, value: 0.01 * (s - 12.3).max(0.0) + noise(i), sigma: 0.001 }
            })
            .collect()
    }

    /// A standard normal variable from a counter: splitmix64 bits, Box–Muller.
    fn normal(counter: u64) -> f64 {
        let uniform = |seed: u64| {
            let mut z = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15);
            z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
        };
        let radius = (-2.0 * uniform(2 * counter + 1).max(1e-12).ln()).sqrt();
        radius * (std::f64::consts::TAU * uniform(2 * counter + 2)).cos()
    }

    #[test]
    fn a_hinge_without_noise_is_found_exactly() {
        let found = fit_hinge(&rise(|_| 0.0), LEVEL_SIGMA, 0.0, 20.0).unwrap();
        assert!((found.s - 12.3).abs() < 1e-3, "{found:?}");
    }

    #[test]
    fn the_stated_variance_is_the_scatter() {
        let found: Vec<Hinge> = (0..300_u64)
            .map(|seed| fit_hinge(&rise(|i| 0.001 * normal(seed * 1000 + i as u64)), LEVEL_SIGMA, 0.0, 20.0).unwrap())
            .collect();
        let scatter = found.iter().map(|it| (it.s - 12.3).powi(2)).sum::<f64>() / 300.0;
        let stated = found.iter().map(|it| it.variance).sum::<f64>() / 300.0;
        assert!((0.7..1.4).contains(&(scatter / stated)), "scatter {scatter}, stated {stated}");
    }

    #[test]
    fn what_does_not_rise_has_no_break() {
        let level: Vec<Measured> = (0..20).map(|i| Measured { s: f64::from(i), value: 0.0, sigma: 0.001 }).collect();
        assert_eq!(fit_hinge(&level, LEVEL_SIGMA, 0.0, 19.0), None);
        assert_eq!(fit_hinge(&level[..3], LEVEL_SIGMA, 0.0, 2.0), None);
    }
}
