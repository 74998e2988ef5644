//! Values that differ by more than their own errors. Takes values with variances; gives one variance, in their unit
//! squared.

/// Variance of the values beyond their own: the moment estimate of R. DerSimonian, N. Laird, Controlled Clinical Trials
/// 7 (1986) 177–188. `values` are (value, variance above 0). Below 0 where they differ less than they err; not a number
/// for fewer than two.
pub fn variance_between(values: &[(f64, f64)]) -> f64 {
    let (weights, total, scale) = weights(values);
    let mean = values.iter().zip(&weights).map(|(it, weight)| weight * it.0).sum::<f64>() / total;
    let differing: f64 = values.iter().zip(&weights).map(|(it, weight)| weight * (it.0 - mean).powi(2)).sum();
    (differing - (values.len() as f64 - 1.0)) / scale
}

/// What [`variance_between`] stays below in 95 of 100 cases where the values differ by their own errors alone: a smaller
/// one says nothing. The quantile of χ² is E. B. Wilson's and M. M. Hilferty's (Proceedings of the National Academy of
/// Sciences 17 (1931) 684–688). Not a number for fewer than two.
pub fn least_variance_shown(values: &[(f64, f64)]) -> f64 {
    let degrees = values.len() as f64 - 1.0;
    let ninth = 2.0 / (9.0 * degrees);
    let quantile = degrees * (1.0 - ninth + NORMAL_95 * ninth.sqrt()).powi(3);
    (quantile - degrees) / weights(values).2
}

/// The normal distribution's quantile of 0.95.
const NORMAL_95: f64 = 1.644_853_626_951_472_2;

/// Weight of each value, their sum, and what a variance between the values adds to their weighted squares, each time.
fn weights(values: &[(f64, f64)]) -> (Vec<f64>, f64, f64) {
    let weights: Vec<f64> = values.iter().map(|it| 1.0 / it.1).collect();
    let total: f64 = weights.iter().sum();
    let squares: f64 = weights.iter().map(|it| it * it).sum();
    (weights, total, total - squares / total)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// With equal variances it is the sample variance less the error variance.
    #[test]
    fn equal_variances_give_the_closed_form() {
        let values = [(1.0, 0.25), (2.0, 0.25), (4.0, 0.25)];
        let sample = 7.0 / 3.0;
        assert!((variance_between(&values) - (sample - 0.25)).abs() < 1e-12);
    }

    /// The quantile of 0.95 of χ² with six degrees of freedom is 12.592 (M. Abramowitz, I. A. Stegun, Handbook of
    /// Mathematical Functions (1964), table 26.8).
    #[test]
    fn what_errors_alone_make_is_the_quantile_of_their_distribution() {
        let values: Vec<(f64, f64)> = (0..7).map(|it| (f64::from(it), 0.25)).collect();
        let expected = 0.25 * (12.592 - 6.0) / 6.0;
        assert!((least_variance_shown(&values) - expected).abs() < 0.003, "{}", least_variance_shown(&values));
    }
}
