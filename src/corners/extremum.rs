//! The lowest measured speed: not the lowest of many noisy samples, which lies too low, but the bottom of a
//! smooth curve through them.

use nalgebra::{Matrix4, Vector4};

use crate::session::{Channel, Estimate, NORMAL_CI95};

/// Half lengths of the stretch that a cubic is laid through, s, longest first: the first that fits is the surest.
const REACHES_S: [f64; 5] = [1.5, 1.1, 0.8, 0.6, 0.45];
/// A cubic fits where its residuals are no larger than the noise by this factor (of the variance).
const FITS: f64 = 1.25;
/// The bottom is sought in this inner share of the stretch: at its ends a cubic is uncertain.
const INNER_SHARE: f64 = 0.6;
/// The longest of several cubics that fits, and its lowest place, are choices that the noise has a say in: what they
/// add to the variance on the sample's shapes (docs/methods.md#intervals).
const CHOICE_FACTOR: f64 = 2.4;
/// Steps of the search for the bottom, s.
const STEP_S: f64 = 0.01;

/// A cubic through some samples, about a middle time.
struct Cubic {
    middle_s: f64,
    reach_s: f64,
    coefficients: Vector4<f64>,
    /// Covariance of the coefficients.
    covariance: Matrix4<f64>,
    residual_variance: f64,
}

/// The lowest value of a channel near `near_s` and between two times, with when it was.
/// `None` where too few samples lie there.
pub(super) fn lowest_of(channel: &Channel, near_s: f64, (from_s, to_s): (f64, f64)) -> Option<(Estimate, Estimate)> {
    let noise = smallest_residual(channel, near_s)?;
    let cubic = REACHES_S
        .iter()
        .filter_map(|reach_s| cubic_through(channel, near_s, *reach_s))
        .find(|it| it.residual_variance <= FITS * noise)
        .or_else(|| cubic_through(channel, near_s, REACHES_S[REACHES_S.len() - 1]))?;
    let reach_s = INNER_SHARE * cubic.reach_s;
    let (from_s, to_s) = (from_s.max(near_s - reach_s), to_s.min(near_s + reach_s));
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "two seconds in steps")]
    let steps = ((to_s - from_s) / STEP_S).max(0.0).ceil() as usize;
    let bottom_s = (0..=steps)
        .map(|step| (from_s + STEP_S * step as f64).min(to_s))
        .min_by(|a, b| cubic.at(*a).total_cmp(&cubic.at(*b)))?;
    let variance = cubic.variance_at(bottom_s);
    // The bottom shifts by the error of the slope over the hollowness.
    let ci95_s = match cubic.hollow_at(bottom_s) {
        hollow if hollow > 0.0 => NORMAL_CI95 * cubic.slope_sigma_at(bottom_s) / hollow,
        _ => reach_s,
    };
    Some((
        Estimate::from_variance(cubic.at(bottom_s), CHOICE_FACTOR * variance),
        Estimate { value: bottom_s, ci95: ci95_s.clamp(STEP_S, 0.5 * (to_s - from_s).max(STEP_S)) },
    ))
}

/// What the noise leaves of the best fitting, short cubics about a time.
fn smallest_residual(channel: &Channel, near_s: f64) -> Option<f64> {
    let shortest = REACHES_S[REACHES_S.len() - 1];
    let around = [-1.0, -0.5, 0.0, 0.5, 1.0].map(|step| near_s + step * 2.0 * shortest);
    let mut residuals: Vec<f64> =
        around.iter().filter_map(|t_s| cubic_through(channel, *t_s, shortest)).map(|it| it.residual_variance).collect();
    if residuals.is_empty() {
        return None;
    }
    residuals.sort_unstable_by(f64::total_cmp);
    Some(residuals[residuals.len() / 2])
}

fn cubic_through(channel: &Channel, middle_s: f64, reach_s: f64) -> Option<Cubic> {
    let first = channel.t_s.partition_point(|it| *it < middle_s - reach_s);
    let last = channel.t_s.partition_point(|it| *it <= middle_s + reach_s);
    let count = last - first;
    if count < 7 {
        return None;
    }
    let row = |t_s: f64| powers(t_s - middle_s);
    let (mut normal, mut right) = (Matrix4::<f64>::zeros(), Vector4::<f64>::zeros());
    for index in first..last {
        let row = row(channel.t_s[index]);
        normal += row * row.transpose();
        right += row * channel.value[index];
    }
    let inverse = normal.try_inverse()?;
    let coefficients = inverse * right;
    let squares: f64 =
        (first..last).map(|index| (channel.value[index] - row(channel.t_s[index]).dot(&coefficients)).powi(2)).sum();
    let residual_variance = squares / (count - 4) as f64;
    Some(Cubic { middle_s, reach_s, coefficients, covariance: inverse * residual_variance, residual_variance })
}

fn powers(x: f64) -> Vector4<f64> {
    Vector4::new(1.0, x, x * x, x * x * x)
}

impl Cubic {
    fn at(&self, t_s: f64) -> f64 {
        powers(t_s - self.middle_s).dot(&self.coefficients)
    }

    fn variance_at(&self, t_s: f64) -> f64 {
        let row = powers(t_s - self.middle_s);
        row.dot(&(self.covariance * row))
    }

    fn hollow_at(&self, t_s: f64) -> f64 {
        2.0 * self.coefficients[2] + 6.0 * self.coefficients[3] * (t_s - self.middle_s)
    }

    fn slope_sigma_at(&self, t_s: f64) -> f64 {
        let x = t_s - self.middle_s;
        let row = Vector4::new(0.0, 1.0, 2.0 * x, 3.0 * x * x);
        row.dot(&(self.covariance * row)).max(0.0).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn channel(value: impl Fn(f64) -> f64) -> Channel {
        let t_s: Vec<f64> = (0..100).map(|i| f64::from(i) * 0.1).collect();
        Channel { value: t_s.iter().map(|t| value(*t)).collect(), t_s }
    }

    #[test]
    fn the_bottom_of_a_parabola_is_found_exactly() {
        let (value, at) = lowest_of(&channel(|t| 10.0 + 2.0 * (t - 5.03).powi(2)), 5.0, (3.0, 7.0)).unwrap();
        assert!((value.value - 10.0).abs() < 1e-3 && (at.value - 5.03).abs() < 0.011, "{value:?} {at:?}");
    }

    #[test]
    fn a_sharp_bottom_is_not_rounded_away() {
        let (value, _) = lowest_of(&channel(|t| 10.0 + 6.0 * (t - 5.0).abs()), 5.0, (3.0, 7.0)).unwrap();
        assert!((value.value - 10.0).abs() < 0.6, "{value:?}");
    }

    #[test]
    fn the_bottom_stays_between_the_marks() {
        let (_, at) = lowest_of(&channel(|t| 20.0 - t), 5.0, (4.0, 5.0)).unwrap();
        assert!((at.value - 5.0).abs() < 1e-9);
        assert!(lowest_of(&Channel::default(), 5.0, (4.0, 5.0)).is_none());
    }
}
