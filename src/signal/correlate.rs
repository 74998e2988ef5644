//! Correlation of two evenly sampled series at every lag at once, by way of their spectra. Either may have holes.
//!
//! Source: cross-correlation theorem (any text on Fourier transforms); Pearson's coefficient over the moments that both
//! series hold, as "masked normalized cross-correlation": D. Padfield, IEEE Trans. Image Processing 21 (2012) 2706–2718.

use std::sync::Arc;

use realfft::num_complex::Complex64;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

/// A moment weighs nothing below this: sums over spectra leave traces of rounding.
const TRACE: f64 = 1e-9;

/// One series, with how much each moment counts: 0 in a hole.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Weighted {
    pub value: Vec<f64>,
    /// Same length.
    pub weight: Vec<f64>,
}

/// How alike two series are at one lag.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Likeness {
    /// Index in the second series at which the first begins; negative where it begins before.
    pub lag: i64,
    /// Pearson's coefficient over what both hold, −1 to 1; 0 where one of them does not vary.
    pub correlation: f64,
    /// Sum of the weights of what both hold.
    pub overlap: f64,
    /// Weighted variances of both over that.
    pub variance: (f64, f64),
}

/// Sums over products, Σ a(i)·b(i + lag), for every lag from −(len a − 1) to len b − 1.
/// This is `scipy.signal.correlate(b, a, "full")`. Degenerate: an empty series gives an empty list.
pub fn products(a: &[f64], b: &[f64]) -> Vec<f64> {
    if a.is_empty() || b.is_empty() {
        return Vec::new();
    }
    let plan = Plan::new(a.len(), b.len());
    plan.products(&plan.spectrum(a), &plan.spectrum(b))
}

/// The likeness at every lag, in the order of lags.
pub fn likeness(first: &Weighted, second: &Weighted) -> Vec<Likeness> {
    if first.value.is_empty() || second.value.is_empty() {
        return Vec::new();
    }
    // Without their means the sums of squares stay small against each other.
    let (first, second) = (centred(first), centred(second));
    let plan = Plan::new(first.value.len(), second.value.len());
    let spectra = |it: &Weighted| -> [Vec<Complex64>; 3] {
        let times = |power: i32| -> Vec<f64> {
            it.value.iter().zip(&it.weight).map(|(value, weight)| weight * value.powi(power)).collect()
        };
        [0, 1, 2].map(|power| plan.spectrum(&times(power)))
    };
    let (a, b) = (spectra(&first), spectra(&second));
    let weight = plan.products(&a[0], &b[0]);
    let (sum_a, sum_b) = (plan.products(&a[1], &b[0]), plan.products(&a[0], &b[1]));
    let (aa, bb) = (plan.products(&a[2], &b[0]), plan.products(&a[0], &b[2]));
    let ab = plan.products(&a[1], &b[1]);
    let largest = |sums: &[f64]| sums.iter().copied().fold(0.0, f64::max);
    let (trace_a, trace_b, trace) = (TRACE * largest(&aa), TRACE * largest(&bb), TRACE * largest(&weight));
    let first_lag = 1 - i64::try_from(first.value.len()).unwrap_or(i64::MAX);
    let at = |(index, lag): (usize, i64)| {
        let overlap = weight[index];
        if overlap <= trace {
            return Likeness { lag, ..Likeness::default() };
        }
        let (mean_a, mean_b) = (sum_a[index] / overlap, sum_b[index] / overlap);
        let var_a = (aa[index] - sum_a[index] * mean_a).max(0.0);
        let var_b = (bb[index] - sum_b[index] * mean_b).max(0.0);
        let varies = var_a > trace_a && var_b > trace_b;
        let correlation = if varies { (ab[index] - sum_a[index] * mean_b) / (var_a * var_b).sqrt() } else { 0.0 };
        Likeness {
            lag,
            correlation: correlation.clamp(-1.0, 1.0),
            overlap,
            variance: (var_a / overlap, var_b / overlap),
        }
    };
    (0..weight.len()).zip(first_lag..).map(at).collect()
}

fn centred(series: &Weighted) -> Weighted {
    let weight: f64 = series.weight.iter().sum();
    let sum: f64 = series.value.iter().zip(&series.weight).map(|(value, weight)| value * weight).sum();
    let mean = if weight > 0.0 { sum / weight } else { 0.0 };
    Weighted { value: series.value.iter().map(|it| it - mean).collect(), weight: series.weight.clone() }
}

struct Plan {
    length: usize,
    /// Lengths of both series.
    counts: (usize, usize),
    forward: Arc<dyn RealToComplex<f64>>,
    back: Arc<dyn ComplexToReal<f64>>,
}

impl Plan {
    fn new(first: usize, second: usize) -> Self {
        let length = (first + second).next_power_of_two();
        let mut planner = RealFftPlanner::new();
        Self {
            length,
            counts: (first, second),
            forward: planner.plan_fft_forward(length),
            back: planner.plan_fft_inverse(length),
        }
    }

    fn spectrum(&self, series: &[f64]) -> Vec<Complex64> {
        let mut padded = self.forward.make_input_vec();
        padded[..series.len()].copy_from_slice(series);
        let mut spectrum = self.forward.make_output_vec();
        self.forward.process(&mut padded, &mut spectrum).expect("the buffers are the plan's own");
        spectrum
    }

    fn products(&self, a: &[Complex64], b: &[Complex64]) -> Vec<f64> {
        let mut product: Vec<Complex64> = a.iter().zip(b).map(|(a, b)| a.conj() * b).collect();
        // The first and the last line are real; rounding may have left a trace.
        for end in [0, product.len() - 1] {
            product[end].im = 0.0;
        }
        let mut sums = self.back.make_output_vec();
        self.back.process(&mut product, &mut sums).expect("the buffers are the plan's own");
        let scale = 1.0 / self.length as f64;
        let (first, second) = self.counts;
        let before = &sums[self.length - (first - 1)..];
        before.iter().chain(&sums[..second]).map(|it| it * scale).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand: lags −1 to 2 of (1, 2) along (3, 4, 5).
    #[test]
    fn products_are_the_sums_by_hand() {
        let found = products(&[1.0, 2.0], &[3.0, 4.0, 5.0]);
        for (found, expected) in found.iter().zip([6.0, 11.0, 14.0, 5.0]) {
            assert!((found - expected).abs() < 1e-12, "{found} for {expected}");
        }
        assert_eq!(found.len(), 4);
        assert!(products(&[], &[1.0]).is_empty());
    }

    #[test]
    fn a_stretch_with_a_hole_is_found_again() {
        let wave = |i: usize| (0.37 * i as f64).sin() + (0.11 * (i * i % 17) as f64).cos();
        let long = Weighted { value: (0..200).map(wave).collect(), weight: vec![1.0; 200] };
        let mut part = Weighted { value: (60..110).map(|i| 5.0 - 2.0 * wave(i)).collect(), weight: vec![1.0; 50] };
        for index in 20..30 {
            part.value[index] = 1e3;
            part.weight[index] = 0.0;
        }
        let found = likeness(&part, &long);
        let best = found.iter().filter(|it| it.overlap > 39.0).min_by(|a, b| a.correlation.total_cmp(&b.correlation));
        let best = best.unwrap();
        assert!(best.lag == 60 && (best.correlation + 1.0).abs() < 1e-6 && (best.overlap - 40.0).abs() < 1e-6);
        assert!((best.variance.0 - 4.0 * best.variance.1).abs() < 1e-6);
    }

    #[test]
    fn what_does_not_vary_is_like_nothing() {
        let still = Weighted { value: vec![3.0; 20], weight: vec![1.0; 20] };
        let wave = Weighted { value: (0..30).map(|i| (0.7 * f64::from(i)).sin()).collect(), weight: vec![1.0; 30] };
        assert!(likeness(&still, &wave).iter().all(|it| it.correlation.abs() < 1e-6));
        assert!(likeness(&Weighted::default(), &wave).is_empty());
    }
}
