//! Values that differ by more than their own errors. Takes values with variances; gives one variance, in their unit
//! squared.

/// Variance of the values beyond their own: the moment estimate of R. DerSimonian, N. Laird, Controlled Clinical Trials
/// 7 (1986) 177–188. `values` are (value, variance above 0). Below 0 where they differ less than they err; not a number
/// for fewer than two.
pub fn variance_between(values: &[(f64, f64)]) -> f64 {
    let weights: Vec<f64> = values.iter().map(|it| 1.0 / it.1).collect();
    let total: f64 = weights.iter().sum();
    let squares: f64 = weights.iter().map(|it| it * it).sum();
    let mean = values.iter().zip(&weights).map(|(it, weight)| weight * it.0).sum::<f64>() / total;
    let differing: f64 = values.iter().zip(&weights).map(|(it, weight)| weight * (it.0 - mean).powi(2)).sum();
    (differing - (values.len() as f64 - 1.0)) / (total - squares / total)
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
}
