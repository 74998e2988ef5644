//! Quantiles of a list. Takes sorted values; never sorts.

/// Value at a share (0 to 1) of a sorted list, linear between its entries. Panics on an empty list.
pub fn quantile(sorted: &[f64], share: f64) -> f64 {
    let place = share * (sorted.len().saturating_sub(1)) as f64;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within the list")]
    let index = place.floor() as usize;
    let (a, b) = (sorted[index], sorted[(index + 1).min(sorted.len() - 1)]);
    a + (place - index as f64) * (b - a)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_lie_between_the_entries() {
        assert!((quantile(&[1.0, 2.0, 3.0, 4.0, 5.0], 0.1) - 1.4).abs() < 1e-12);
        assert!((quantile(&[7.0], 0.9) - 7.0).abs() < 1e-12);
    }
}
