//! Time order of rows: the longest run of times that never go back, stamps that many rows share, repeated stamps.

/// Rows on one stamp from which on the clock is taken to be coarser than the rows.
const ROWS_PER_COARSE_STAMP: f64 = 1.5;

/// Indexes of the longest sequence of times that never goes back (equal times may follow each other).
/// One wild stamp costs one row, whichever way it lies. All times must be finite. Time: n log n; n where in order.
pub(crate) fn longest_rising(t_s: &[f64]) -> Vec<usize> {
    if t_s.windows(2).all(|pair| pair[0] <= pair[1]) {
        return (0..t_s.len()).collect();
    }
    // Patience sorting: `ends[k]` is the row on which the best sequence of length k + 1 ends.
    let mut ends: Vec<usize> = Vec::new();
    let mut before: Vec<usize> = vec![usize::MAX; t_s.len()];
    for (row, time) in t_s.iter().enumerate() {
        let length = ends.partition_point(|end| t_s[*end] <= *time);
        if length > 0 {
            before[row] = ends[length - 1];
        }
        if length == ends.len() {
            ends.push(row);
        } else {
            ends[length] = row;
        }
    }
    let mut kept = Vec::with_capacity(ends.len());
    let mut row = ends.last().copied().unwrap_or(usize::MAX);
    while row != usize::MAX {
        kept.push(row);
        row = before[row];
    }
    kept.reverse();
    kept
}

/// The first step back in time: (from, to).
pub(crate) fn first_step_back(t_s: &[f64]) -> Option<(usize, f64, f64)> {
    t_s.windows(2).position(|pair| pair[1] < pair[0]).map(|row| (row + 1, t_s[row], t_s[row + 1]))
}

/// Whether the time goes back more often than it goes on: it is another column's, or the rows are in reverse.
pub(crate) fn mostly_runs_back(t_s: &[f64]) -> bool {
    let steps = |is_such: fn(f64) -> bool| t_s.windows(2).filter(|pair| is_such(pair[1] - pair[0])).count();
    steps(|it| it < 0.0) > steps(|it| it > 0.0)
}

/// Where most stamps are shared by several rows (whole seconds at a high row rate), spreads the rows of each stamp
/// evenly up to the next stamp and gives the number of rows moved. Times must not go back.
pub(crate) fn spread_coarse_stamps(t_s: &mut [f64]) -> Option<usize> {
    let runs = runs_of(t_s);
    if runs.len() < 3 {
        return None;
    }
    let typical_rows = median(runs.iter().map(|(from, to)| (to - from) as f64).collect());
    if typical_rows < ROWS_PER_COARSE_STAMP {
        return None;
    }
    let stamp_step_s = median(runs.windows(2).map(|pair| t_s[pair[1].0] - t_s[pair[0].0]).collect());
    let row_step_s = stamp_step_s / typical_rows;
    let stamps: Vec<f64> = runs.iter().map(|(from, _)| t_s[*from]).collect();
    let mut moved = 0;
    for (number, (from, to)) in runs.iter().enumerate() {
        let rows = (to - from) as f64;
        // Before a pause the rows go on at their usual step, not across it.
        let room_s =
            stamps.get(number + 1).map_or(stamp_step_s, |next| (next - stamps[number]).min(1.5 * stamp_step_s));
        // The recording may begin within a stamp: its rows then end where the next stamp begins.
        let is_late_start = number == 0 && rows < typical_rows;
        let step_s = if is_late_start { row_step_s } else { room_s / rows };
        let start_s = if is_late_start { stamps[0] + room_s - rows * row_step_s } else { stamps[number] };
        for (place, row) in (*from..*to).enumerate() {
            t_s[row] = start_s + place as f64 * step_s;
        }
        moved += to - from - 1;
    }
    Some(moved)
}

/// Indexes of the first row of each stamp.
pub(crate) fn first_of_each(t_s: &[f64]) -> Vec<usize> {
    (0..t_s.len()).filter(|row| *row == 0 || t_s[*row] > t_s[*row - 1]).collect()
}

/// Runs of equal times as (first row, row after the last).
fn runs_of(t_s: &[f64]) -> Vec<(usize, usize)> {
    let starts = first_of_each(t_s);
    let ends = starts.iter().skip(1).copied().chain([t_s.len()]);
    starts.iter().copied().zip(ends).collect()
}

/// Median (the upper of the two middle values); 0 of nothing.
pub(crate) fn median(mut values: Vec<f64>) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_wild_stamp_costs_one_row() {
        assert_eq!(longest_rising(&[0.0, 1.0, 900.0, 2.0, 3.0]), vec![0, 1, 3, 4]);
        assert_eq!(longest_rising(&[0.0, 1.0, -5.0, 2.0, 2.0]), vec![0, 1, 3, 4]);
        assert_eq!(longest_rising(&[]), Vec::<usize>::new());
        assert_eq!(first_step_back(&[0.0, 1.0, 0.5]), Some((2, 1.0, 0.5)));
    }

    #[test]
    fn whole_seconds_at_four_rows_each_become_quarters() {
        let mut t_s = vec![10.0, 10.0, 11.0, 11.0, 11.0, 11.0, 12.0, 12.0, 12.0, 12.0, 60.0, 60.0, 60.0, 60.0];
        assert_eq!(spread_coarse_stamps(&mut t_s), Some(10));
        let expected = [10.5, 10.75, 11.0, 11.25, 11.5, 11.75, 12.0];
        assert!(t_s.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-12), "{t_s:?}");
        assert!(t_s[9] < 13.5 && (t_s[10] - 60.0).abs() < 1e-12);
        assert_eq!(spread_coarse_stamps(&mut [1.0, 2.0, 2.0, 3.0, 4.0]), None);
    }
}
