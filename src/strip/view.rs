//! Looking and pointing along an axis: which stretch is shown, what lies under the pointer, how far a mark may be moved,
//! where ticks and tags go. Pure functions of numbers; a place is in axis units (m or s), a position in pixels.

/// Zooming in ends at this share of the whole axis.
const SMALLEST_SHARE: f64 = 0.01;
/// Marks of one lap never come closer than this to each other by dragging, axis units.
const MARK_CLEARANCE: f64 = 0.1;

/// A stretch of the axis, shown over a width in pixels. `from < to`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Stretch {
    pub from: f64,
    pub to: f64,
}

impl Stretch {
    pub fn length(self) -> f64 {
        self.to - self.from
    }

    pub fn px_of(self, along: f64, width_px: f64) -> f64 {
        if self.length() > 0.0 { (along - self.from) / self.length() * width_px } else { 0.0 }
    }

    pub fn along_of(self, x_px: f64, width_px: f64) -> f64 {
        if width_px > 0.0 { self.from + x_px / width_px * self.length() } else { self.from }
    }

    pub fn holds(self, along: f64) -> bool {
        (self.from..=self.to).contains(&along)
    }

    /// `factor` times as long (below 1 zooms in), with the place `about` staying where it is on the screen.
    pub fn zoomed(self, factor: f64, about: f64, whole: Self) -> Self {
        let length = (self.length() * factor).clamp(whole.length() * SMALLEST_SHARE, whole.length());
        let share = if self.length() > 0.0 { ((about - self.from) / self.length()).clamp(0.0, 1.0) } else { 0.5 };
        let from = about - share * length;
        Self { from, to: from + length }.inside(whole)
    }

    pub fn moved(self, by: f64, whole: Self) -> Self {
        Self { from: self.from + by, to: self.to + by }.inside(whole)
    }

    /// A corner with some of the way before and after it.
    pub fn around(from: f64, to: f64, whole: Self) -> Self {
        let margin = 0.5 * (to - from);
        Self { from: from - margin, to: to + margin }.inside(whole)
    }

    /// Shifted, and shortened only where it is longer than the whole.
    fn inside(self, whole: Self) -> Self {
        let length = self.length().min(whole.length());
        let from = self.from.clamp(whole.from, (whole.to - length).max(whole.from));
        Self { from, to: from + length }
    }
}

/// The index of the target nearest to a point, if one lies within `reach_px`.
pub fn nearest_within(x_px: f64, y_px: f64, targets: impl Iterator<Item = (f64, f64)>, reach_px: f64) -> Option<usize> {
    let distances = targets.map(|(x, y)| (x - x_px).hypot(y - y_px)).enumerate();
    distances.filter(|it| it.1 <= reach_px).min_by(|a, b| a.1.total_cmp(&b.1)).map(|it| it.0)
}

/// How far the mark at `index` may be dragged: up to its neighbours in `marks_along` (rising) and the ends of the axis.
/// So turn-in, apex and exit keep their order. Degenerate: between touching neighbours it stays where it is.
pub fn mark_limits(marks_along: &[f64], index: usize, whole: Stretch) -> Stretch {
    let own = marks_along.get(index).copied().unwrap_or(whole.from);
    let before = index.checked_sub(1).and_then(|it| marks_along.get(it)).map(|it| it + MARK_CLEARANCE);
    let after = marks_along.get(index + 1).map(|it| it - MARK_CLEARANCE);
    Stretch { from: before.unwrap_or(whole.from).min(own), to: after.unwrap_or(whole.to).max(own) }
}

/// The lane of each item (left edge, width) in px, so that items of a lane keep `space_px` apart: the first lane that is
/// free. `None` where all `most` lanes are taken. Items are to rise by their left edge.
pub fn lanes(items: &[(f64, f64)], most: usize, space_px: f64) -> Vec<Option<usize>> {
    let mut ends = vec![f64::NEG_INFINITY; most];
    items
        .iter()
        .map(|(left, width)| {
            let lane = ends.iter().position(|end| *left >= *end)?;
            ends[lane] = left + width + space_px;
            Some(lane)
        })
        .collect()
}

/// Round places for ticks: multiples of the smallest 1, 2 or 5 times a power of ten that leaves at most `most` of them.
/// Empty for a stretch without length.
pub fn ticks(shown: Stretch, most: usize) -> Vec<f64> {
    if !(shown.length() > 0.0 && shown.length().is_finite()) || most == 0 {
        return Vec::new();
    }
    let step = round_step(shown.length() / most as f64);
    let first = (shown.from / step).ceil();
    (0..=most).map(|it| (first + it as f64) * step).take_while(|it| *it <= shown.to + 1e-9 * step).collect()
}

/// The smallest of 1, 2, 5 times a power of ten that is not below `least` (positive).
fn round_step(least: f64) -> f64 {
    let power = 10_f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0].into_iter().map(|it| it * power).find(|it| *it >= least * (1.0 - 1e-9)).unwrap_or(10.0 * power)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const WHOLE: Stretch = Stretch { from: 0.0, to: 1000.0 };

    #[test]
    fn pixels_and_places_are_inverse() {
        let shown = Stretch { from: 100.0, to: 300.0 };
        assert!(
            (shown.px_of(150.0, 400.0) - 100.0).abs() < 1e-9 && (shown.along_of(100.0, 400.0) - 150.0).abs() < 1e-9
        );
        assert!(shown.along_of(5.0, 0.0).is_finite() && Stretch::default().px_of(3.0, 100.0).is_finite());
    }

    proptest! {
        #[test]
        fn a_view_never_leaves_the_lap(factor in 0.01..30.0, about in -50.0..1050.0, by in -2000.0..2000.0) {
            let shown = WHOLE.zoomed(0.3, 500.0, WHOLE).zoomed(factor, about, WHOLE).moved(by, WHOLE);
            prop_assert!(shown.from >= WHOLE.from - 1e-6 && shown.to <= WHOLE.to + 1e-6);
            prop_assert!(shown.length() >= 10.0 - 1e-6);
        }

        #[test]
        fn zooming_keeps_the_place_under_the_pointer(factor in 0.2..0.95, share in 0.3_f64..0.7) {
            let shown = Stretch { from: 300.0, to: 700.0 };
            let about = shown.along_of(share * 800.0, 800.0);
            let zoomed = shown.zoomed(factor, about, WHOLE);
            let moved_px: f64 = zoomed.px_of(about, 800.0) - share * 800.0;
            prop_assert!(moved_px.abs() < 1e-6);
        }

        #[test]
        fn items_of_a_lane_never_overlap(mut lefts in prop::collection::vec(0.0..500.0, 0..40)) {
            lefts.sort_by(f64::total_cmp);
            let items: Vec<(f64, f64)> = lefts.iter().map(|it| (*it, 40.0)).collect();
            let placed = lanes(&items, 3, 4.0);
            for lane in 0..3 {
                let row: Vec<f64> =
                    items.iter().zip(&placed).filter(|it| *it.1 == Some(lane)).map(|it| it.0.0).collect();
                prop_assert!(row.windows(2).all(|pair| pair[1] - pair[0] >= 44.0));
            }
            prop_assert!(items.is_empty() || placed[0] == Some(0));
        }
    }

    #[test]
    fn corners_are_shown_with_what_is_around_them() {
        assert_eq!(Stretch::around(400.0, 500.0, WHOLE), Stretch { from: 350.0, to: 550.0 });
        assert_eq!(Stretch::around(10.0, 110.0, WHOLE), Stretch { from: 0.0, to: 200.0 });
        assert_eq!(Stretch::around(100.0, 1400.0, WHOLE), WHOLE);
    }

    #[test]
    fn the_nearest_target_within_reach_is_hit() {
        let targets = [(10.0, 10.0), (16.0, 10.0), (90.0, 10.0)];
        assert_eq!(nearest_within(14.0, 11.0, targets.into_iter(), 8.0), Some(1));
        assert_eq!(nearest_within(50.0, 10.0, targets.into_iter(), 8.0), None);
    }

    #[test]
    fn a_dragged_mark_keeps_its_place_in_the_order() {
        let marks = [100.0, 120.0, 140.0];
        assert_eq!(mark_limits(&marks, 1, WHOLE), Stretch { from: 100.1, to: 139.9 });
        assert_eq!(mark_limits(&marks, 0, WHOLE), Stretch { from: 0.0, to: 119.9 });
        assert_eq!(mark_limits(&marks, 2, WHOLE), Stretch { from: 120.1, to: 1000.0 });
        assert_eq!(mark_limits(&[100.0, 100.0, 100.0], 1, WHOLE), Stretch { from: 100.0, to: 100.0 });
        assert_eq!(mark_limits(&[], 0, WHOLE), WHOLE);
    }

    #[test]
    fn ticks_are_round_and_few() {
        assert_eq!(ticks(WHOLE, 10), (0..=10).map(|it| f64::from(it) * 100.0).collect::<Vec<_>>());
        assert_eq!(ticks(Stretch { from: 130.0, to: 210.0 }, 5), [140.0, 160.0, 180.0, 200.0]);
        assert!(ticks(Stretch::default(), 5).is_empty() && ticks(WHOLE, 0).is_empty());
        assert!((round_step(0.3) - 0.5).abs() < 1e-12 && (round_step(6.0) - 10.0).abs() < 1e-12);
    }
}
