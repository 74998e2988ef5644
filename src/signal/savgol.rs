//! Savitzky–Golay: a polynomial is fitted to a sliding window by least squares; its value or derivative at one place
//! of the window is a fixed weighted sum of the samples. Smooths and differentiates at once, without a phase shift.
//!
//! Source: A. Savitzky, M. J. E. Golay, Analytical Chemistry 36 (1964) 1627–1639.

use nalgebra::{DMatrix, DVector};

/// Weights of the samples of one window for the middle sample, the earliest first: `window` of them.
/// `window` is odd and above `order`, the polynomial's degree; `derivative` 0 smooths, 1 gives the slope and so on;
/// `step` is the distance between samples.
/// Example: window 5, order 2, derivative 1, step 1 gives (−2 −1 0 1 2)/10.
/// Degenerate: `None` for an even window, `order >= window`, `derivative > order`, or a step that is not above 0.
pub fn coefficients(window: usize, order: usize, derivative: usize, step: f64) -> Option<Vec<f64>> {
    if window.is_multiple_of(2) || order >= window || derivative > order || !(step.is_finite() && step > 0.0) {
        return None;
    }
    // Abscissae are scaled to −1..1, which keeps powers apart.
    let powers = DMatrix::from_fn(window, order + 1, |row, column| power(abscissa(row, window), column));
    let (q, r) = powers.qr().unpack();
    let wanted = DVector::from_fn(order + 1, |exponent, _| {
        derivative_of_power(abscissa(window / 2, window), exponent, derivative)
    });
    let per_step = power(step * scale(window), derivative);
    let weights: Vec<f64> = (q * r.tr_solve_upper_triangular(&wanted)?).iter().map(|it| it / per_step).collect();
    weights.iter().all(|it| it.is_finite()).then_some(weights)
}

/// Applies `coefficients` to values on a closed line, where the last is followed by the first.
/// Gives as many values as it takes; a window longer than the line goes round more than once.
pub fn filter_periodic(values: &[f64], coefficients: &[f64]) -> Vec<f64> {
    let (count, half) = (values.len(), coefficients.len() / 2);
    (0..count)
        .map(|middle| {
            // Whole turns are added so that the index never falls below 0.
            let first = middle + half.div_ceil(count) * count - half;
            coefficients.iter().enumerate().map(|(offset, weight)| weight * values[(first + offset) % count]).sum()
        })
        .collect()
}

/// Samples from the middle of the window to its end; 1 for a window of one sample.
fn scale(window: usize) -> f64 {
    (window / 2).max(1) as f64
}

fn abscissa(index: usize, window: usize) -> f64 {
    (index as f64 - (window / 2) as f64) / scale(window)
}

/// The derivative of x^exponent, taken `times` times.
fn derivative_of_power(x: f64, exponent: usize, times: usize) -> f64 {
    if times > exponent {
        return 0.0;
    }
    let factor: f64 = (exponent - times + 1..=exponent).map(|it| it as f64).product();
    factor * power(x, exponent - times)
}

fn power(x: f64, exponent: usize) -> f64 {
    std::iter::repeat_n(x, exponent).product()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn assert_close(found: &[f64], expected: impl Iterator<Item = f64>, tolerance: f64) {
        let expected: Vec<f64> = expected.collect();
        assert_eq!(found.len(), expected.len());
        for (index, (found, expected)) in found.iter().zip(&expected).enumerate() {
            assert!((found - expected).abs() < tolerance, "at {index}: {found} instead of {expected}");
        }
    }

    #[test]
    fn a_closed_line_has_no_seam() {
        let turn = std::f64::consts::TAU;
        let count = 360;
        let step = turn / f64::from(count);
        let wave: Vec<f64> = (0..count).map(|it| (f64::from(it) * step).sin()).collect();
        let slope = filter_periodic(&wave, &coefficients(11, 4, 1, step).unwrap());
        // The error of a quartic fit over 11 degrees is of the order of step⁴ times a fifth derivative of 1.
        assert_close(&slope, (0..count).map(|it| (f64::from(it) * step).cos()), 1e-5);
    }

    #[test]
    fn a_window_longer_than_the_closed_line_goes_round() {
        let mean = filter_periodic(&[1.0, 2.0, 6.0], &[1.0 / 9.0; 9]);
        assert_close(&mean, [3.0; 3].into_iter(), 1e-12);
        assert!(filter_periodic(&[], &[0.5; 3]).is_empty());
    }

    #[test]
    fn impossible_settings_give_nothing() {
        for (window, order, derivative, step) in
            [(4, 2, 0, 1.0), (5, 5, 0, 1.0), (5, 2, 3, 1.0), (5, 2, 1, 0.0), (5, 2, 1, f64::NAN), (0, 0, 0, 1.0)]
        {
            assert!(coefficients(window, order, derivative, step).is_none());
        }
        assert_eq!(coefficients(1, 0, 0, 1.0), Some(vec![1.0]));
    }
}
