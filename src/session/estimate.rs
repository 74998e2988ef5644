//! A figure and how sure it is.

/// A value with the half-width of its 95 % interval, both in the unit of the field that holds it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    pub value: f64,
    pub ci95: f64,
}

/// Half-width of the 95 % interval of a normal variable in standard deviations: Φ⁻¹(0.975).
pub const NORMAL_CI95: f64 = 1.959_964;

impl Estimate {
    /// From a value and its variance (the square of the value's unit).
    pub fn from_variance(value: f64, variance: f64) -> Self {
        Self { value, ci95: NORMAL_CI95 * variance.max(0.0).sqrt() }
    }

    /// The standard deviation that the interval stands for.
    pub fn sigma(self) -> f64 {
        self.ci95 / NORMAL_CI95
    }

    /// Whether two figures differ by more than their intervals together: less than that is level.
    pub fn differs_from(self, other: Self) -> bool {
        (self.value - other.value).abs() > self.ci95.hypot(other.ci95)
    }
}
