//! How a picture lies in its widget: fitted, zoomed and moved. Plane geometry; touches no widget.

/// The largest magnification over the fitted picture.
const MOST_ZOOM: f64 = 16.0;

/// A rectangle in the widget's own coordinates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Rect {
    pub(crate) x: f64,
    pub(crate) y: f64,
    pub(crate) width: f64,
    pub(crate) height: f64,
}

/// Zoom and position of a picture: 1 is fitted, and the centre is the point of the picture (shares of its width and
/// height) that lies in the middle of the widget.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct View {
    zoom: f64,
    centre: (f64, f64),
}

impl Default for View {
    fn default() -> Self {
        Self { zoom: 1.0, centre: (0.5, 0.5) }
    }
}

impl View {
    pub(crate) fn is_zoomed(self) -> bool {
        self.zoom > 1.0
    }

    /// Where a picture of this size lies in a widget of that size. Degenerate: sizes of 0 give an empty rectangle.
    pub(crate) fn place(self, picture: (f64, f64), widget: (f64, f64)) -> Rect {
        if picture.0 <= 0.0 || picture.1 <= 0.0 {
            return Rect { x: widget.0 / 2.0, y: widget.1 / 2.0, width: 0.0, height: 0.0 };
        }
        let scale = (widget.0 / picture.0).min(widget.1 / picture.1) * self.zoom;
        let (width, height) = (picture.0 * scale, picture.1 * scale);
        Rect { x: within(widget.0, width, self.centre.0), y: within(widget.1, height, self.centre.1), width, height }
    }

    /// Magnifies by `factor` so that what lies under `at` (widget coordinates) stays there.
    pub(crate) fn zoomed(self, factor: f64, at: (f64, f64), picture: (f64, f64), widget: (f64, f64)) -> Self {
        let zoom = (self.zoom * factor).clamp(1.0, MOST_ZOOM);
        let before = self.place(picture, widget);
        if before.width <= 0.0 || before.height <= 0.0 {
            return self;
        }
        let under = ((at.0 - before.x) / before.width, (at.1 - before.y) / before.height);
        let grown = zoom / self.zoom;
        let (width, height) = (before.width * grown, before.height * grown);
        let centre = (under.0 + (widget.0 / 2.0 - at.0) / width, under.1 + (widget.1 / 2.0 - at.1) / height);
        Self { zoom, centre }.kept_inside(picture, widget)
    }

    /// Moves the picture by so many units of the widget.
    pub(crate) fn moved(self, by: (f64, f64), picture: (f64, f64), widget: (f64, f64)) -> Self {
        let place = self.place(picture, widget);
        if place.width <= 0.0 || place.height <= 0.0 {
            return self;
        }
        let centre = (self.centre.0 - by.0 / place.width, self.centre.1 - by.1 / place.height);
        Self { centre, ..self }.kept_inside(picture, widget)
    }

    /// The centre is brought back to where the picture really lies, so that it cannot be moved away unseen.
    fn kept_inside(self, picture: (f64, f64), widget: (f64, f64)) -> Self {
        let place = self.place(picture, widget);
        let centre = ((widget.0 / 2.0 - place.x) / place.width, (widget.1 / 2.0 - place.y) / place.height);
        Self { centre, ..self }
    }
}

/// Start of a length in a space: centred where it fits, else such that no free space shows.
fn within(space: f64, length: f64, centre: f64) -> f64 {
    if length <= space { (space - length) / 2.0 } else { (space / 2.0 - centre * length).clamp(space - length, 0.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PICTURE: (f64, f64) = (1920.0, 1080.0);
    const WIDGET: (f64, f64) = (960.0, 600.0);

    fn close(a: f64, b: f64) -> bool {
        (a - b).abs() < 1e-9
    }

    #[test]
    fn a_fitted_picture_is_centred() {
        let place = View::default().place(PICTURE, WIDGET);
        assert_eq!(place, Rect { x: 0.0, y: 30.0, width: 960.0, height: 540.0 });
    }

    #[test]
    fn zooming_keeps_the_point_under_the_pointer() {
        let at = (700.0, 200.0);
        let before = View::default().place(PICTURE, WIDGET);
        let view = View::default().zoomed(3.0, at, PICTURE, WIDGET);
        let after = view.place(PICTURE, WIDGET);
        assert!(close((at.0 - before.x) / before.width, (at.0 - after.x) / after.width));
        assert!(close((at.1 - before.y) / before.height, (at.1 - after.y) / after.height));
        assert!(close(view.zoomed(1.0 / 9.0, at, PICTURE, WIDGET).zoom, 1.0));
    }

    #[test]
    fn a_picture_cannot_be_moved_out_of_sight() {
        let view = View::default().zoomed(2.0, (480.0, 300.0), PICTURE, WIDGET);
        let right = view.moved((5000.0, 0.0), PICTURE, WIDGET);
        assert!(close(right.place(PICTURE, WIDGET).x, 0.0));
        // It comes back at once, without first making good the way that led nowhere.
        assert!(close(right.moved((-10.0, 0.0), PICTURE, WIDGET).place(PICTURE, WIDGET).x, -10.0));
        assert_eq!(View::default().moved((50.0, 50.0), PICTURE, WIDGET), View::default());
    }
}
