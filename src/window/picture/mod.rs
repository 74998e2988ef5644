//! The picture: one frame of footage with what is drawn over it; zoomed with the wheel, moved by dragging. Shows what it
//! is given and tells what a person does on it.

mod pen;
mod view;

use std::cell::{Cell, RefCell};

use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk::{gdk, glib, graphene};
use gtk4 as gtk;

use pen::Pen;
pub(crate) use pen::PenEvent;
pub(crate) use view::Rect;
use view::View;

use crate::draw::Tile;
use crate::window::listeners::Listeners;

/// One notch of the wheel, and one press of a key, magnify by this much.
const ZOOM_STEP: f64 = 1.25;

mod imp {
    use super::*;

    #[derive(Debug, Default, glib::Properties)]
    #[properties(wrapper_type = super::Picture)]
    pub struct Picture {
        /// The frame of footage on show; each one is notified.
        #[property(get, nullable)]
        pub(super) frame: RefCell<Option<gdk::Texture>>,
        /// Width and height of the footage itself: what the frame may have been scaled down from.
        pub(super) footage_px: Cell<(f64, f64)>,
        pub(super) tiles: RefCell<Vec<Overlaid>>,
        pub(super) view: Cell<View>,
        pub(super) drag_from: Cell<View>,
        pub(super) size_wanted: Listeners<()>,
        pub(super) pen: Pen,
    }

    #[glib::object_subclass]
    impl ObjectSubclass for Picture {
        const NAME: &'static str = "CornerbookPicture";
        type Type = super::Picture;
        type ParentType = gtk::Widget;

        fn class_init(class: &mut Self::Class) {
            class.set_css_name("picture");
            class.set_accessible_role(gtk::AccessibleRole::Img);
        }
    }

    #[glib::derived_properties]
    impl ObjectImpl for Picture {
        fn constructed(&self) {
            self.parent_constructed();
            self.obj().add_css_class("picture");
            self.obj().set_overflow(gtk::Overflow::Hidden);
            self.obj().set_focusable(true);
            self.obj().connect_gestures();
        }
    }

    impl WidgetImpl for Picture {
        fn measure(&self, orientation: gtk::Orientation, _for_size: i32) -> (i32, i32, i32, i32) {
            match orientation {
                gtk::Orientation::Horizontal => (160, 640, -1, -1),
                _ => (90, 360, -1, -1),
            }
        }

        fn size_allocate(&self, width: i32, height: i32, baseline: i32) {
            self.parent_size_allocate(width, height, baseline);
            self.obj().ask_for_size();
        }

        fn snapshot(&self, snapshot: &gtk::Snapshot) {
            let place = self.obj().place();
            if let Some(frame) = &*self.frame.borrow() {
                snapshot.append_texture(frame, &bounds(place.x, place.y, place.width, place.height));
            }
            let scale = f64::from(self.obj().scale_factor());
            for tile in &*self.tiles.borrow() {
                let at = (f64::from(tile.x) / scale, f64::from(tile.y) / scale);
                let size = (f64::from(tile.texture.width()) / scale, f64::from(tile.texture.height()) / scale);
                let fitted = self.obj().fitted();
                snapshot.append_texture(&tile.texture, &bounds(fitted.x + at.0, fitted.y + at.1, size.0, size.1));
            }
            // As in films: a person's drawing outranks the program's own blocks.
            self.obj().paint_drawn(snapshot);
        }
    }
}

/// A drawn block as a texture, in pixels of the screen from the fitted picture's corner.
#[derive(Debug, Clone)]
struct Overlaid {
    x: u32,
    y: u32,
    version: u64,
    texture: gdk::Texture,
}

glib::wrapper! {
    pub struct Picture(ObjectSubclass<imp::Picture>)
        @extends gtk::Widget,
        @implements gtk::Accessible, gtk::Buildable, gtk::ConstraintTarget;
}

impl Default for Picture {
    fn default() -> Self {
        glib::Object::new()
    }
}

impl Picture {
    /// Shows a frame of footage of this size; `None` shows nothing.
    pub(crate) fn show_frame(&self, frame: Option<gdk::Texture>, footage_px: (u32, u32)) {
        let footage_px = (f64::from(footage_px.0), f64::from(footage_px.1));
        let imp = self.imp();
        imp.frame.replace(frame);
        self.notify_frame();
        if imp.footage_px.replace(footage_px) != footage_px {
            self.ask_for_size();
        }
        self.queue_draw();
    }

    /// Shows blocks over the fitted picture; those that have not changed since the last time are kept as they are.
    pub(crate) fn show_tiles(&self, tiles: &[&Tile]) {
        let mut shown = self.imp().tiles.borrow_mut();
        let kept = std::mem::take(&mut *shown);
        *shown = tiles
            .iter()
            .map(|tile| {
                let same = |it: &&Overlaid| (it.x, it.y, it.version) == (tile.x, tile.y, tile.version);
                kept.iter().find(same).cloned().unwrap_or_else(|| overlaid(tile))
            })
            .collect();
        drop(shown);
        self.queue_draw();
    }

    /// Size of the fitted picture, px of the screen: what blocks over it are drawn for.
    pub(crate) fn fitted_px(&self) -> (u32, u32) {
        let (fitted, scale) = (self.fitted(), f64::from(self.scale_factor()));
        (pixels(fitted.width * scale), pixels(fitted.height * scale))
    }

    /// Where the whole picture lies, in the widget's coordinates; larger than the widget where it is zoomed.
    pub(crate) fn place(&self) -> Rect {
        self.imp().view.get().place(self.imp().footage_px.get(), self.size())
    }

    /// The size on the screen that a frame should fit into, px; `None` where it is zoomed and wants all its pixels.
    pub(crate) fn wanted_px(&self) -> Option<(u32, u32)> {
        let scale = f64::from(self.scale_factor());
        let (width, height) = self.size();
        let size_px = (pixels(width * scale).max(2), pixels(height * scale).max(2));
        (!self.imp().view.get().is_zoomed()).then_some(size_px)
    }

    /// Is called whenever [`Picture::wanted_px`] may have changed.
    pub(crate) fn connect_size_wanted(&self, wanted: impl Fn() + 'static) {
        self.imp().size_wanted.add(move |()| wanted());
        self.ask_for_size();
    }

    pub(crate) fn zoom_in(&self) {
        self.zoom(ZOOM_STEP, (self.size().0 / 2.0, self.size().1 / 2.0));
    }

    pub(crate) fn zoom_out(&self) {
        self.zoom(1.0 / ZOOM_STEP, (self.size().0 / 2.0, self.size().1 / 2.0));
    }

    pub(crate) fn fit(&self) {
        self.set_view(View::default());
    }

    fn fitted(&self) -> Rect {
        View::default().place(self.imp().footage_px.get(), self.size())
    }

    fn size(&self) -> (f64, f64) {
        (f64::from(self.width()), f64::from(self.height()))
    }

    fn zoom(&self, factor: f64, at: (f64, f64)) {
        let imp = self.imp();
        self.set_view(imp.view.get().zoomed(factor, at, imp.footage_px.get(), self.size()));
    }

    fn set_view(&self, view: View) {
        let before = self.imp().view.replace(view);
        if before.is_zoomed() != view.is_zoomed() {
            self.ask_for_size();
        }
        self.queue_draw();
    }

    fn ask_for_size(&self) {
        self.imp().size_wanted.tell(());
    }

    fn connect_gestures(&self) {
        let pointer = std::rc::Rc::new(Cell::new((0.0, 0.0)));
        let motion = gtk::EventControllerMotion::new();
        motion.connect_motion({
            let pointer = pointer.clone();
            move |_, x, y| pointer.set((x, y))
        });
        self.add_controller(motion);
        let wheel = gtk::EventControllerScroll::new(gtk::EventControllerScrollFlags::VERTICAL);
        let picture = self.downgrade();
        wheel.connect_scroll(move |_, _, notches| {
            let Some(picture) = picture.upgrade() else { return glib::Propagation::Proceed };
            picture.zoom(ZOOM_STEP.powf(-notches), pointer.get());
            glib::Propagation::Stop
        });
        self.add_controller(wheel);
        let drag = gtk::GestureDrag::new();
        let picture = self.downgrade();
        drag.connect_drag_begin(move |_, _, _| {
            if let Some(picture) = picture.upgrade() {
                picture.grab_focus();
                picture.imp().drag_from.set(picture.imp().view.get());
            }
        });
        let picture = self.downgrade();
        drag.connect_drag_update(move |_, x, y| {
            let Some(picture) = picture.upgrade().filter(|it| !it.imp().pen.is_taken()) else { return };
            let from = picture.imp().drag_from.get();
            picture.set_view(from.moved((x, y), picture.imp().footage_px.get(), picture.size()));
        });
        self.add_controller(drag);
        let double = gtk::GestureClick::new();
        let picture = self.downgrade();
        double.connect_pressed(move |_, presses, _, _| {
            if let Some(picture) = picture.upgrade().filter(|it| presses == 2 && !it.imp().pen.is_taken()) {
                picture.fit();
            }
        });
        self.add_controller(double);
        self.connect_pen_drag();
    }
}

fn overlaid(tile: &Tile) -> Overlaid {
    let side = |pixels: u32| i32::try_from(pixels).unwrap_or(i32::MAX);
    let stride = usize::try_from(tile.width).unwrap_or(0) * 4;
    // Cairo's ARGB32 is a native-endian word.
    let format = if cfg!(target_endian = "little") {
        gdk::MemoryFormat::B8g8r8a8Premultiplied
    } else {
        gdk::MemoryFormat::A8r8g8b8Premultiplied
    };
    let bytes = glib::Bytes::from(&tile.argb);
    let texture = gdk::MemoryTexture::new(side(tile.width), side(tile.height), format, &bytes, stride);
    Overlaid { x: tile.x, y: tile.y, version: tile.version, texture: texture.upcast() }
}

#[allow(clippy::cast_possible_truncation, reason = "screens are far smaller than what a float holds exactly")]
fn bounds(x: f64, y: f64, width: f64, height: f64) -> graphene::Rect {
    graphene::Rect::new(x as f32, y as f32, width as f32, height as f32)
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to what fits")]
fn pixels(length: f64) -> u32 {
    length.round().clamp(0.0, 32_767.0) as u32
}
