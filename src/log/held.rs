//! Values that a logger writes again on every row until the sensor gives a new one: which rows bring something new.

/// The mean run of equal values, from which on a value counts as held. Random repeats of coarse values stay below.
const HELD_MEAN_RUN: f64 = 1.3;
/// The longest runs are left out of that mean: a standing kart is not a slow sensor.
const LONG_RUNS_LEFT_OUT: f64 = 0.1;
/// A channel goes with the fixes where this share of its changes falls on new fixes.
const WITH_FIX_SHARE: f64 = 0.98;

/// Rows on which something new begins, and how many rows a value typically lasts (1: nothing is held).
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Runs {
    pub(crate) starts: Vec<usize>,
    pub(crate) typical_rows: usize,
}

impl Runs {
    pub(crate) fn are_held(&self) -> bool {
        self.typical_rows > 1
    }
}

/// Runs among `rows` (rising) where `same(a, b)` tells whether row b repeats row a.
pub(crate) fn runs(rows: &[usize], same: impl Fn(usize, usize) -> bool) -> Runs {
    let mut starts = Vec::new();
    let mut lengths: Vec<usize> = Vec::new();
    for (number, row) in rows.iter().enumerate() {
        match (number.checked_sub(1), lengths.last_mut()) {
            (Some(last), Some(length)) if same(rows[last], *row) => *length += 1,
            _ => {
                starts.push(*row);
                lengths.push(1);
            }
        }
    }
    Runs { starts, typical_rows: typical_run(lengths) }
}

/// Typical length of a run where values are held, else 1.
fn typical_run(mut lengths: Vec<usize>) -> usize {
    if lengths.len() < 2 {
        return 1;
    }
    lengths.sort_unstable();
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share of a length")]
    let left_out = (lengths.len() as f64 * LONG_RUNS_LEFT_OUT).ceil() as usize;
    let counted = &lengths[..lengths.len() - left_out];
    let mean = counted.iter().sum::<usize>() as f64 / counted.len() as f64;
    if mean < HELD_MEAN_RUN { 1 } else { counted[counted.len() / 2].max(2) }
}

/// Whether a column changes only on rows where a new fix begins, which `begins_fix` tells of every row. `rows` rise.
pub(crate) fn goes_with_fixes(rows: &[usize], begins_fix: &[bool], same: impl Fn(usize, usize) -> bool) -> bool {
    let (mut changes, mut on_fixes) = (0_usize, 0_usize);
    for pair in rows.windows(2) {
        if !same(pair[0], pair[1]) {
            changes += 1;
            on_fixes += usize::from(begins_fix[pair[1]]);
        }
    }
    on_fixes as f64 >= WITH_FIX_SHARE * changes as f64
}

/// The rows that carry a held channel: the first of each run, and again after each typical length where the value
/// stays longer (a throttle held open is measured anew each time).
pub(crate) fn carrying_rows(rows: &[usize], typical_rows: usize, same: impl Fn(usize, usize) -> bool) -> Vec<usize> {
    let mut carrying = Vec::with_capacity(rows.len() / typical_rows.max(1) + 1);
    let mut since = 0;
    for (number, row) in rows.iter().enumerate() {
        let is_new = number == 0 || !same(rows[number - 1], *row);
        since = if is_new { 0 } else { since + 1 };
        // One row more than usual is the sensor's jitter, not a new value.
        let is_measured_anew = since % typical_rows == 0 && !ends_within(rows, number, typical_rows * 3 / 4, &same);
        if is_new || is_measured_anew {
            carrying.push(*row);
        }
    }
    carrying
}

fn ends_within(rows: &[usize], number: usize, count: usize, same: impl Fn(usize, usize) -> bool) -> bool {
    let last = (number + count.max(1)).min(rows.len() - 1);
    (number..last).any(|it| !same(rows[it], rows[it + 1]))
}

#[cfg(test)]
#[allow(clippy::float_cmp, reason = "held values are repeated digit by digit")]
mod tests {
    use super::*;

    fn runs_of(values: &[f64]) -> Runs {
        let rows: Vec<usize> = (0..values.len()).collect();
        runs(&rows, |a, b| values[a] == values[b])
    }

    #[test]
    fn ten_hertz_in_twenty_five_hertz_rows_is_held() {
        let values: Vec<f64> = (0..100).map(|row| f64::from(row * 2 / 5)).collect();
        let runs = runs_of(&values);
        assert!(runs.are_held());
        assert_eq!(runs.starts.len(), 40);
    }

    #[test]
    fn a_standing_kart_is_not_a_slow_sensor() {
        let values: Vec<f64> = (0..200).map(|row| f64::from(row.clamp(50, 150))).collect();
        assert!(!runs_of(&values).are_held());
    }

    #[test]
    fn a_value_that_stays_is_carried_at_the_usual_step() {
        let values = [1.0, 1.0, 1.0, 2.0, 2.0, 2.0, 2.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 4.0, 4.0, 4.0];
        let rows: Vec<usize> = (0..values.len()).collect();
        let carrying = carrying_rows(&rows, 3, |a, b| values[a] == values[b]);
        assert_eq!(carrying, vec![0, 3, 7, 10, 13]);
    }
}
