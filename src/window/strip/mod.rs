//! The lap strip as a widget. Takes a `LapStrip` and the playhead's log time; tells log times scrubbed to, marks and
//! tags chosen, marks dragged. Knows no application.

mod draw;
mod input;

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use gtk::prelude::*;
use gtk4 as gtk;

use crate::corners::MarkKind;
use crate::present;
use crate::strip::{AxisKind, LapStrip, Stretch};
use crate::units::SpeedUnit;
use crate::window::listeners::Listeners;
use crate::window::paint::{Layer, connect_drawing};

/// A mark that a person moves, or has moved.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MarkMove {
    pub kind: MarkKind,
    pub corner: u32,
    /// Log time, s.
    pub t_s: f64,
}

/// What a mouse button is held on.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Hold {
    Scrub,
    /// A mark by its index, and where it is dragged to once it has left its place.
    Mark {
        index: usize,
        along: Option<f64>,
    },
    Tag {
        id: u64,
    },
}

/// A tag's name as drawn: id, left, top, width, height in px. The dot lies on the tag's own place.
#[derive(Debug, Clone, Copy, PartialEq)]
struct TagBox {
    index: usize,
    x: f64,
    y: f64,
    width: f64,
    height: f64,
}

#[derive(Default)]
struct State {
    strip: LapStrip,
    unit: SpeedUnit,
    shown: Stretch,
    playhead_s: Option<f64>,
    hold: Option<Hold>,
    /// A mark that was dropped, until new data is shown: index and place.
    dropped: Option<(usize, f64)>,
    hovered_mark: Option<usize>,
    tag_boxes: Vec<TagBox>,
}

struct Parts {
    root: gtk::Box,
    title: gtk::Label,
    readout: gtk::Label,
    whole_lap: gtk::Button,
    area: gtk::DrawingArea,
    state: RefCell<State>,
    layer: Layer,
    /// Counts changes of what the layer shows.
    version: Cell<u64>,
    seek: Listeners<f64>,
    mark_chosen: Listeners<(u32, MarkKind)>,
    tag_chosen: Listeners<u64>,
    mark_dragged: Listeners<MarkMove>,
    mark_moved: Listeners<MarkMove>,
    drag_cancelled: Listeners<()>,
}

/// See the module. To be kept for as long as its widget is shown; clones are the same widget.
#[derive(Clone)]
pub struct LapStripView(Rc<Parts>);

impl std::fmt::Debug for LapStripView {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("LapStripView").finish_non_exhaustive()
    }
}

impl Default for LapStripView {
    fn default() -> Self {
        Self::new()
    }
}

impl LapStripView {
    pub fn new() -> Self {
        let title = gtk::Label::builder().xalign(0.0).hexpand(true).ellipsize(gtk::pango::EllipsizeMode::End).build();
        title.add_css_class("heading");
        let readout = gtk::Label::builder().xalign(1.0).ellipsize(gtk::pango::EllipsizeMode::End).build();
        readout.add_css_class("numeric");
        let whole_lap = gtk::Button::builder().label("Whole lap").sensitive(false).build();
        whole_lap.add_css_class("flat");
        let header = gtk::Box::builder().spacing(12).margin_start(6).margin_end(6).build();
        header.append(&title);
        header.append(&whole_lap);
        header.append(&readout);
        let area = gtk::DrawingArea::builder()
            .accessible_role(gtk::AccessibleRole::Slider)
            .focusable(true)
            .hexpand(true)
            .vexpand(true)
            .content_height(150)
            .has_tooltip(true)
            .build();
        let root = gtk::Box::builder().orientation(gtk::Orientation::Vertical).spacing(4).build();
        root.append(&header);
        root.append(&area);
        let parts = Rc::new(Parts {
            root,
            title,
            readout,
            whole_lap,
            area,
            state: RefCell::default(),
            layer: Layer::default(),
            version: Cell::new(0),
            seek: Listeners::default(),
            mark_chosen: Listeners::default(),
            tag_chosen: Listeners::default(),
            mark_dragged: Listeners::default(),
            mark_moved: Listeners::default(),
            drag_cancelled: Listeners::default(),
        });
        connect_drawing(&parts.area, &parts, draw::draw);
        input::connect(&parts);
        let view = Self(parts);
        view.show(LapStrip::default(), SpeedUnit::default());
        view
    }

    pub fn widget(&self) -> &gtk::Widget {
        self.0.root.upcast_ref()
    }

    /// Shows another lap, or the same one analysed again: then the stretch on show stays.
    pub fn show(&self, strip: LapStrip, unit: SpeedUnit) {
        let parts = &self.0;
        {
            let mut state = parts.state.borrow_mut();
            let is_same_axis = state.strip.lap == strip.lap && state.strip.whole == strip.whole;
            if !is_same_axis {
                state.shown = strip.whole;
            }
            (state.dropped, state.hovered_mark) = (None, None);
            if state.hold.is_some_and(|it| it != Hold::Scrub) {
                state.hold = None;
            }
            (state.strip, state.unit) = (strip, unit);
        }
        parts.title.set_text(&title(&parts.state.borrow().strip));
        parts.changed();
        parts.tell_playhead();
    }

    /// Log time in s. A playhead that leaves a zoomed strip takes the strip along.
    pub fn set_playhead(&self, t_s: Option<f64>) {
        self.0.set_playhead(t_s);
    }

    /// Shows one corner and what is around it, or the whole lap.
    pub fn zoom_to_corner(&self, corner: Option<u32>) {
        self.0.zoom_to_corner(corner);
    }

    /// Told the log time in s whenever a person moves the playhead; continuously while scrubbing.
    pub fn connect_seek(&self, listener: impl Fn(f64) + 'static) {
        self.0.seek.add(listener);
    }

    /// Told corner and kind of a mark that is clicked.
    pub fn connect_mark_chosen(&self, listener: impl Fn((u32, MarkKind)) + 'static) {
        self.0.mark_chosen.add(listener);
    }

    /// Told the id of a tag that is clicked.
    pub fn connect_tag_chosen(&self, listener: impl Fn(u64) + 'static) {
        self.0.tag_chosen.add(listener);
    }

    /// Told continuously while a mark is dragged.
    pub fn connect_mark_dragged(&self, listener: impl Fn(MarkMove) + 'static) {
        self.0.mark_dragged.add(listener);
    }

    /// Told once when a dragged mark is let go.
    pub fn connect_mark_moved(&self, listener: impl Fn(MarkMove) + 'static) {
        self.0.mark_moved.add(listener);
    }

    /// Told when a drag ends by Escape.
    pub fn connect_drag_cancelled(&self, listener: impl Fn() + 'static) {
        self.0.drag_cancelled.add(move |()| listener());
    }
}

impl Parts {
    /// What the layer shows has changed.
    fn changed(&self) {
        self.version.set(self.version.get() + 1);
        let state = self.state.borrow();
        self.whole_lap.set_sensitive(state.shown != state.strip.whole);
        self.area.queue_draw();
    }

    fn set_playhead(&self, t_s: Option<f64>) {
        if self.state.borrow().playhead_s == t_s {
            return;
        }
        self.state.borrow_mut().playhead_s = t_s;
        self.follow_playhead();
        self.tell_playhead();
        self.area.queue_draw();
    }

    /// Turns the page of a zoomed strip when the playhead has left it.
    fn follow_playhead(&self) {
        /// The playhead comes in at this share of the new page.
        const ENTERS_AT: f64 = 0.1;
        let mut state = self.state.borrow_mut();
        let along = state.playhead_s.and_then(|it| state.strip.trace.along_at(it));
        let Some(along) = along.filter(|it| !state.shown.holds(*it)) else { return };
        let by = along - ENTERS_AT * state.shown.length() - state.shown.from;
        let shown = state.shown.moved(by, state.strip.whole);
        if shown != state.shown {
            state.shown = shown;
            drop(state);
            self.changed();
        }
    }

    /// In the header and to screen readers.
    fn tell_playhead(&self) {
        let state = self.state.borrow();
        let words = state.playhead_s.map_or_else(String::new, |it| state.strip.words_at(it, state.unit));
        if self.readout.text() != words {
            self.readout.set_text(&words);
        }
        let along = state.playhead_s.and_then(|it| state.strip.trace.along_at(it)).unwrap_or(state.strip.whole.from);
        self.area.update_property(&[
            gtk::accessible::Property::Label("Lap strip"),
            gtk::accessible::Property::Description(&self.title.text()),
            gtk::accessible::Property::ValueMin(state.strip.whole.from),
            gtk::accessible::Property::ValueMax(state.strip.whole.to),
            gtk::accessible::Property::ValueNow(along),
            gtk::accessible::Property::ValueText(&words),
        ]);
    }

    fn zoom_to_corner(&self, corner: Option<u32>) {
        {
            let mut state = self.state.borrow_mut();
            let found = corner.and_then(|number| state.strip.corners.iter().find(|it| it.number == number));
            let whole = state.strip.whole;
            state.shown = found.map_or(whole, |it| Stretch::around(it.from, it.to, whole));
        }
        self.changed();
    }

    /// Moves the playhead as a person asked, at once, and tells it.
    fn seek_to(&self, along: f64) {
        let t_s = {
            let state = self.state.borrow();
            let range = state.strip.trace.range();
            range.and_then(|(from, to)| state.strip.trace.t_at(along.clamp(from, to)))
        };
        if let Some(t_s) = t_s {
            self.set_playhead(Some(t_s));
            self.seek.tell(t_s);
        }
    }
}

/// "Lap 3 · 0:40.59 ±0.01 · timed".
fn title(strip: &LapStrip) -> String {
    let mut parts = vec![present::lap_name(strip.lap)];
    parts.extend(strip.time_s.map(|it| {
        let half_width = present::fixed(it.ci95, present::decimals(it.ci95));
        format!("{} ±{half_width}", present::lap_time(it))
    }));
    parts.extend(strip.kind.map(|it| present::lap_kind(it).to_owned()));
    if strip.trace.points.is_empty() {
        parts.push("nothing to show".to_owned());
    }
    parts.join("  ·  ")
}

/// What the axis counts.
fn axis_caption(strip: &LapStrip) -> &'static str {
    match (strip.trace.axis, strip.lap) {
        (AxisKind::Distance, _) => "metres from start/finish",
        (AxisKind::Time, Some(_)) => "time on the lap (the log has no positions)",
        (AxisKind::Time, None) => "time in the log (it has no laps)",
    }
}
