//! Looking at the plane: which part of it fills a box, and back from pixels to metres. North is up.

use crate::geom::Point;

/// A view never spans less than this, m: positions are no finer.
const SPAN_AT_LEAST_M: f64 = 20.0;

/// A rectangle of the plane, metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    pub low: Point,
    pub high: Point,
}

impl Bounds {
    /// Around points; `None` without any.
    pub fn around(points: impl Iterator<Item = Point>) -> Option<Self> {
        points.fold(None, |bounds: Option<Self>, it| {
            let Self { low, high } = bounds.unwrap_or(Self { low: it, high: it });
            Some(Self {
                low: Point::new(low.x_m.min(it.x_m), low.y_m.min(it.y_m)),
                high: Point::new(high.x_m.max(it.x_m), high.y_m.max(it.y_m)),
            })
        })
    }

    pub fn grown(self, by_m: f64) -> Self {
        let by = Point::new(by_m, by_m);
        Self { low: self.low - by, high: self.high + by }
    }
}

/// From the plane to a box of pixels, x to the right, y down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MapView {
    pub centre: Point,
    pub px_per_m: f64,
    pub width_px: f64,
    pub height_px: f64,
}

impl MapView {
    /// The largest view of `bounds` inside a box with a free border. Degenerate: a box smaller than its border gives a
    /// view of at least one pixel.
    pub fn fit(bounds: Bounds, width_px: f64, height_px: f64, border_px: f64) -> Self {
        let span = |from: f64, to: f64| (to - from).max(SPAN_AT_LEAST_M);
        let across = (width_px - 2.0 * border_px).max(1.0) / span(bounds.low.x_m, bounds.high.x_m);
        let up = (height_px - 2.0 * border_px).max(1.0) / span(bounds.low.y_m, bounds.high.y_m);
        Self { centre: (bounds.low + bounds.high).scaled(0.5), px_per_m: across.min(up), width_px, height_px }
    }

    pub fn to_px(&self, point: Point) -> (f64, f64) {
        let from_centre = (point - self.centre).scaled(self.px_per_m);
        (0.5 * self.width_px + from_centre.x_m, 0.5 * self.height_px - from_centre.y_m)
    }

    pub fn to_plane(&self, x_px: f64, y_px: f64) -> Point {
        let from_centre = Point::new(x_px - 0.5 * self.width_px, 0.5 * self.height_px - y_px);
        self.centre + from_centre.scaled(1.0 / self.px_per_m)
    }
}

/// The longest round length (1, 2, 5 times a power of ten, m) that is at most `most_px` long.
pub fn nice_length(px_per_m: f64, most_px: f64) -> f64 {
    let most_m = most_px / px_per_m;
    let power = 10_f64.powf(most_m.log10().floor());
    [5.0, 2.0].into_iter().map(|it| it * power).find(|it| *it <= most_m * (1.0 + 1e-9)).unwrap_or(power)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bounds() -> Bounds {
        Bounds::around([Point::new(-100.0, 20.0), Point::new(300.0, 120.0)].into_iter()).unwrap()
    }

    #[test]
    fn the_whole_of_it_fits_with_its_border() {
        let view = MapView::fit(bounds(), 500.0, 400.0, 50.0);
        assert!((view.px_per_m - 1.0).abs() < 1e-12);
        assert_eq!(view.to_px(Point::new(-100.0, 70.0)), (50.0, 200.0));
        assert_eq!(view.to_px(Point::new(300.0, 120.0)), (450.0, 150.0), "north is up");
        assert!(Bounds::around(std::iter::empty()).is_none());
        assert!(MapView::fit(bounds(), 10.0, 10.0, 50.0).px_per_m > 0.0);
    }

    #[test]
    fn pixels_lead_back_to_the_plane() {
        let view = MapView::fit(bounds().grown(10.0), 640.0, 480.0, 24.0);
        for point in [Point::new(0.0, 0.0), Point::new(250.0, 90.0)] {
            let (x, y) = view.to_px(point);
            assert!(view.to_plane(x, y).distance_m(point) < 1e-9);
        }
    }

    #[test]
    fn the_scale_bar_is_a_round_length_that_fits() {
        for (px_per_m, expected_m) in
            [(1.0, 100.0), (0.6, 200.0), (0.25, 500.0), (2.1, 50.0), (10.0, 10.0), (6.0, 20.0)]
        {
            let length_m = nice_length(px_per_m, 125.0);
            assert!((length_m - expected_m).abs() < 1e-6, "{px_per_m}: {length_m}");
        }
    }
}
