//! Drawings on the picture, and the pen that makes them. What is drawn lies on the footage: it is zoomed and moved with
//! it. The pen tells places in the picture; what becomes of them is the application's.

use std::cell::{Cell, RefCell};

use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::book::{Drawing, Share};
use crate::draw::{PictureRect, paint_drawings};
use crate::window::listeners::Listeners;
use crate::window::picture::view::Rect;
use crate::window::picture::{Picture, bounds};

/// What the pen does. Places outside the picture are brought to its edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum PenEvent {
    Down(Share),
    Moved(Share),
    Up,
    /// The stroke was taken away: it is not to count.
    Broken,
}

/// A picture's drawings and its pen.
#[derive(Debug, Default)]
pub(super) struct Pen {
    is_taken: Cell<bool>,
    drawings: RefCell<Vec<Drawing>>,
    draft: RefCell<Vec<Drawing>>,
    told: Listeners<PenEvent>,
}

impl Pen {
    pub(super) fn is_taken(&self) -> bool {
        self.is_taken.get()
    }
}

impl Picture {
    /// While the pen is taken, dragging draws; else it moves the picture.
    pub(crate) fn take_pen(&self, is_taken: bool) {
        self.imp().pen.is_taken.set(is_taken);
        self.set_cursor_from_name(is_taken.then_some("crosshair"));
    }

    pub(crate) fn connect_pen(&self, told: impl Fn(PenEvent) + 'static) {
        self.imp().pen.told.add(told);
    }

    /// Shows drawings on the frame, the first one lowest.
    pub(crate) fn show_drawings(&self, drawings: Vec<Drawing>) {
        if *self.imp().pen.drawings.borrow() != drawings {
            self.imp().pen.drawings.replace(drawings);
            self.queue_draw();
        }
    }

    /// Shows what is being drawn, over the rest.
    pub(crate) fn show_draft(&self, draft: Vec<Drawing>) {
        self.imp().pen.draft.replace(draft);
        self.queue_draw();
    }

    /// Width of the picture by its height.
    pub(crate) fn aspect(&self) -> f64 {
        let (width, height) = self.imp().footage_px.get();
        if width > 0.0 && height > 0.0 { width / height } else { 1.0 }
    }

    pub(super) fn connect_pen_drag(&self) {
        let drag = gtk::GestureDrag::new();
        let begin = std::rc::Rc::new(Cell::new((0.0, 0.0)));
        let tell = |picture: &gtk::glib::WeakRef<Self>, event: &dyn Fn(&Self) -> PenEvent| {
            if let Some(picture) = picture.upgrade().filter(|it| it.imp().pen.is_taken()) {
                picture.imp().pen.told.tell(event(&picture));
            }
        };
        let (picture, from) = (self.downgrade(), begin.clone());
        drag.connect_drag_begin(move |_, x, y| {
            from.set((x, y));
            tell(&picture, &|it| PenEvent::Down(share_at(it.place(), (x, y))));
        });
        let picture = self.downgrade();
        drag.connect_drag_update(move |_, x, y| {
            let from = begin.get();
            tell(&picture, &|it| PenEvent::Moved(share_at(it.place(), (from.0 + x, from.1 + y))));
        });
        let picture = self.downgrade();
        drag.connect_drag_end(move |_, _, _| tell(&picture, &|_| PenEvent::Up));
        let picture = self.downgrade();
        drag.connect_cancel(move |_, _| tell(&picture, &|_| PenEvent::Broken));
        self.add_controller(drag);
    }

    pub(super) fn paint_drawn(&self, snapshot: &gtk::Snapshot) {
        let pen = &self.imp().pen;
        let (drawings, draft) = (pen.drawings.borrow(), pen.draft.borrow());
        if drawings.is_empty() && draft.is_empty() {
            return;
        }
        let place = self.place();
        let picture = PictureRect { x: place.x, y: place.y, width: place.width, height: place.height };
        let context = snapshot.append_cairo(&bounds(0.0, 0.0, f64::from(self.width()), f64::from(self.height())));
        // A drawing that cairo refuses is not shown; the frame is.
        let _ = paint_drawings(&context, picture, drawings.iter().chain(&*draft));
    }
}

/// The place in a picture under a point of the widget. Degenerate: a picture without size gives its middle.
fn share_at(place: Rect, at: (f64, f64)) -> Share {
    let share =
        |at: f64, from: f64, length: f64| if length > 0.0 { ((at - from) / length).clamp(0.0, 1.0) } else { 0.5 };
    Share { x: share(at.0, place.x, place.width), y: share(at.1, place.y, place.height) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::window::picture::view::View;

    #[test]
    fn points_are_shares_of_the_picture_zoomed_or_not() {
        let (picture, widget) = ((1920.0, 1080.0), (960.0, 600.0));
        let fitted = View::default().place(picture, widget);
        assert_eq!(share_at(fitted, (240.0, 30.0 + 135.0)), Share { x: 0.25, y: 0.25 });
        // Zoomed about a point, that point is still the same place, and its neighbours are nearer to it.
        let at = (240.0, 165.0);
        let zoomed = View::default().zoomed(4.0, at, picture, widget).place(picture, widget);
        let (share, beside) = (share_at(zoomed, at), share_at(zoomed, (336.0, 165.0)));
        assert!((share.x - 0.25).abs() < 1e-9 && (share.y - 0.25).abs() < 1e-9);
        assert!((beside.x - 0.275).abs() < 1e-9);
    }

    #[test]
    fn points_beside_the_picture_are_on_its_edge() {
        let place = Rect { x: 0.0, y: 30.0, width: 960.0, height: 540.0 };
        assert_eq!(share_at(place, (-5.0, 10.0)), Share { x: 0.0, y: 0.0 });
        assert_eq!(share_at(place, (1000.0, 599.0)), Share { x: 1.0, y: 1.0 });
        let nothing = Rect { x: 3.0, y: 3.0, width: 0.0, height: 0.0 };
        assert_eq!(share_at(nothing, (3.0, 3.0)), Share { x: 0.5, y: 0.5 });
    }
}
