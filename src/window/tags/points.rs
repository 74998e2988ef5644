//! The reference points of the corner on show: a list, and a field that keeps one by its name. Takes the
//! book; tells what a person asks for.

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use gtk::prelude::*;
use gtk4 as gtk;

use crate::book::{Book, FootageRef, Id, Op, ReferencePoint};
use crate::present;
use crate::window::listeners::Listeners;
use crate::window::tags::{Ask, set_text};

/// Most of the page that the list takes before it scrolls, px.
const LIST_MOST_PX: i32 = 132;

struct Parts {
    root: gtk::Box,
    title: gtk::Label,
    list: gtk::ListBox,
    scrolled: gtk::ScrolledWindow,
    name: gtk::Entry,
    keep: gtk::Button,
    has_corner: Cell<bool>,
    shown: RefCell<Vec<(Id, ReferencePoint)>>,
    asks: Listeners<Ask>,
}

#[derive(Clone)]
pub(super) struct PointList(Rc<Parts>);

impl std::fmt::Debug for PointList {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("PointList").finish_non_exhaustive()
    }
}

impl Default for PointList {
    fn default() -> Self {
        let title = gtk::Label::builder().xalign(0.0).wrap(true).css_classes(["heading"]).build();
        let list = gtk::ListBox::builder().selection_mode(gtk::SelectionMode::None).build();
        list.update_property(&[gtk::accessible::Property::Label("Reference points")]);
        let scrolled = gtk::ScrolledWindow::builder()
            .child(&list)
            .hscrollbar_policy(gtk::PolicyType::Never)
            .propagate_natural_height(true)
            .max_content_height(LIST_MOST_PX)
            .build();
        let name = gtk::Entry::builder().hexpand(true).placeholder_text("Tyre, kerb, board …").build();
        name.update_property(&[gtk::accessible::Property::Label("Name of a new reference point")]);
        let keep = gtk::Button::builder()
            .label("Keep")
            .tooltip_text(
                "Keep a reference point of this corner by its name (Enter); the pen circles it in a frame (F3)",
            )
            .build();
        let line = gtk::Box::builder().spacing(8).build();
        line.append(&name);
        line.append(&keep);
        let root =
            gtk::Box::builder().orientation(gtk::Orientation::Vertical).spacing(4).css_classes(["tool-line"]).build();
        root.append(&title);
        root.append(&scrolled);
        root.append(&line);
        let parts = Rc::new(Parts {
            root,
            title,
            list,
            scrolled,
            name,
            keep,
            has_corner: Cell::new(false),
            shown: RefCell::default(),
            asks: Listeners::default(),
        });
        connect(&parts);
        Self(parts)
    }
}

fn connect(parts: &Rc<Parts>) {
    let weak = Rc::downgrade(parts);
    let keep = move || {
        if let Some(parts) = weak.upgrade() {
            parts.keep();
        }
    };
    let on_enter = keep.clone();
    parts.keep.connect_clicked(move |_| keep());
    parts.name.connect_activate(move |_| on_enter());
    let weak = Rc::downgrade(parts);
    parts.name.connect_changed(move |_| {
        if let Some(parts) = weak.upgrade() {
            parts.show_whether_it_can_be_kept();
        }
    });
    let weak = Rc::downgrade(parts);
    parts.list.connect_row_activated(move |_, row| {
        let Some(parts) = weak.upgrade() else { return };
        let index = usize::try_from(row.index()).ok();
        let point = index.and_then(|it| parts.shown.borrow().get(it).map(|(_, point)| point.clone()));
        if let Some(circled) = point.and_then(|it| it.circled) {
            parts.asks.tell(Ask::GoToFrame(circled.on));
        }
    });
}

impl PointList {
    pub(super) fn widget(&self) -> &gtk::Widget {
        self.0.root.upcast_ref()
    }

    pub(super) fn connect_asked(&self, listener: impl Fn(Ask) + 'static) {
        self.0.asks.add(listener);
    }

    /// Shows the points of a corner, by number and name.
    pub(super) fn show(&self, book: &Book, corner: Option<(u32, &str)>) {
        let parts = &self.0;
        let name = corner.map_or_else(|| "no corner".to_owned(), |it| present::one_line(it.1));
        parts.title.set_text(&format!("Reference points of {name}"));
        parts.has_corner.set(corner.is_some());
        parts.show_whether_it_can_be_kept();
        let points: Vec<(Id, ReferencePoint)> = corner
            .map(|it| book.reference_points_of(it.0).map(|(id, point)| (id, point.clone())).collect())
            .unwrap_or_default();
        parts.scrolled.set_visible(!points.is_empty());
        if *parts.shown.borrow() == points {
            return;
        }
        while let Some(row) = parts.list.first_child() {
            parts.list.remove(&row);
        }
        for (id, point) in &points {
            parts.list.append(&row(parts, *id, point, book.recording.chapters.len()));
        }
        *parts.shown.borrow_mut() = points;
    }
}

impl Parts {
    fn keep(&self) {
        let name = self.name.text().trim().to_owned();
        if !name.is_empty() && self.has_corner.get() {
            set_text(&self.name, "");
            self.asks.tell(Ask::KeepPoint(name));
        }
    }

    fn show_whether_it_can_be_kept(&self) {
        self.name.set_sensitive(self.has_corner.get());
        self.keep.set_sensitive(self.has_corner.get() && !self.name.text().trim().is_empty());
    }
}

/// Name and frame; Enter or a click goes there, the button removes the point.
fn row(parts: &Rc<Parts>, id: Id, point: &ReferencePoint, chapters: usize) -> gtk::ListBoxRow {
    let name = present::one_line(&point.name);
    let frame = frame_words(point, chapters);
    let label = gtk::Label::builder().label(&name).xalign(0.0).hexpand(true).ellipsize(gtk::pango::EllipsizeMode::End);
    let line = gtk::Box::builder().spacing(8).build();
    line.append(&label.build());
    line.append(&gtk::Label::builder().label(&frame).css_classes(["dim-label", "numeric"]).build());
    let remove = gtk::Button::builder()
        .icon_name("user-trash-symbolic")
        .css_classes(["flat"])
        .tooltip_text("Remove this reference point")
        .build();
    remove.update_property(&[gtk::accessible::Property::Label(&format!("Remove {name}"))]);
    let weak = Rc::downgrade(parts);
    remove.connect_clicked(move |_| {
        if let Some(parts) = weak.upgrade() {
            parts.asks.tell(Ask::Change(Op::ReferencePoint(id, None)));
        }
    });
    line.append(&remove);
    let row = gtk::ListBoxRow::builder().child(&line).activatable(point.circled.is_some()).build();
    row.set_tooltip_text(point.circled.map(|_| "Go to its frame (Enter)"));
    row.update_property(&[gtk::accessible::Property::Label(&format!("{name}, {frame}"))]);
    row
}

/// Where a point can be seen: "file 2, 0:12.345"; the file is left out where there is only one.
fn frame_words(point: &ReferencePoint, chapters: usize) -> String {
    let Some(circled) = point.circled else { return "not circled yet".to_owned() };
    let at = present::clock_time(circled.on.at.seconds(), 3);
    match circled.on.footage {
        FootageRef::Chapter(chapter) if chapters > 1 => format!("file {}, {at}", chapter + 1),
        FootageRef::Chapter(_) => at,
        FootageRef::Trackside(_) => format!("trackside, {at}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::{Circle, Circled, FrameRef, Share};
    use crate::session::VideoTime;

    #[test]
    fn a_frame_is_told_by_file_and_time() {
        let circle = Circle { centre: Share { x: 0.5, y: 0.5 }, radius: 0.5 };
        let on = FrameRef { footage: FootageRef::Chapter(1), at: VideoTime::from_seconds(72.5) };
        let point = |circled| ReferencePoint { corner: 1, name: "tyre".to_owned(), circled };
        let circled = point(Some(Circled { on, circle }));
        assert_eq!(frame_words(&circled, 2), "file 2, 1:12.500");
        assert_eq!(frame_words(&circled, 1), "1:12.500");
        assert_eq!(frame_words(&point(None), 2), "not circled yet");
    }
}
