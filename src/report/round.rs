//! Fixed digits for files: fine enough for what follows, coarse enough that the last bits of a computation do not show.

use crate::session::Estimate;

/// A tenth of a millisecond.
pub(super) fn seconds(value: f64) -> Option<f64> {
    to(value, 1e4)
}

/// A tenth of a millimetre per second.
pub(super) fn speed(value: f64) -> Option<f64> {
    to(value, 1e4)
}

/// A millimetre.
pub(super) fn metres(value: f64) -> Option<f64> {
    to(value, 1e3)
}

/// 10⁻⁸ degrees: about a millimetre on the ground.
pub(super) fn position_deg(value: f64) -> Option<f64> {
    to(value, 1e8)
}

/// A hundredth of a degree, for angles that corners turn by.
pub(super) fn angle_deg(value: f64) -> Option<f64> {
    to(value, 1e2)
}

/// A thousandth of whatever it is: rates, shares, ratios.
pub(super) fn thousandth(value: f64) -> Option<f64> {
    to(value, 1e3)
}

/// Value and half-width of an estimate under one rounding.
pub(super) fn pair(estimate: Option<Estimate>, round: fn(f64) -> Option<f64>) -> (Option<f64>, Option<f64>) {
    (estimate.and_then(|it| round(it.value)), estimate.and_then(|it| round(it.ci95)))
}

/// `None` where the value is not finite: files say null, never NaN. Adding 0 turns −0 into 0.
fn to(value: f64, per_unit: f64) -> Option<f64> {
    value.is_finite().then(|| (value * per_unit).round() / per_unit + 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[allow(clippy::float_cmp, reason = "rounded values are exact")]
    fn values_are_rounded_and_never_nan() {
        assert_eq!(seconds(12.345_678), Some(12.3457));
        assert_eq!(metres(-0.000_01).unwrap().to_bits(), 0.0_f64.to_bits());
        assert_eq!(speed(f64::NAN), None);
        assert_eq!(position_deg(8.123_456_789_9), Some(8.123_456_79));
    }
}
