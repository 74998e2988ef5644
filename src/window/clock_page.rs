//! The page of the footage's clock: how it lies on the log, the pins that a person has put, how well what is seen to
//! move goes with the log. Takes words and a picture; tells what a person asks for and changes nothing itself.

use std::cell::{Cell, RefCell};
use std::rc::Rc;
use std::sync::Arc;

use gtk::glib;
use gtk::prelude::*;
use gtk4 as gtk;

use crate::draw::{AlignmentPlot, paint_alignment};
use crate::window::listeners::Listeners;
use crate::window::parts::{heading, icon_button, named, wrapping};

/// Height of the picture, px.
const PLOT_PX: i32 = 300;
/// The bar of work in the background follows it this often, ms.
const PROGRESS_EVERY_MS: u64 = 100;

/// What a person asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ask {
    /// The page has come up: the moments to pin to are those near the playhead.
    Look,
    PinHere,
    GoToPin(usize),
    RemovePin(usize),
    /// Moves the footage by so many frames against the log.
    Nudge(i64),
    /// The kart crosses start/finish on the frame on show.
    GateHere,
    FindByMotion,
    StopFinding,
    /// Goes by what is seen, without pins.
    TakeMotion,
}

/// What is on the page.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct ClockShown {
    /// How the footage lies on the log.
    pub(crate) words: String,
    pub(crate) pins: Vec<String>,
    /// There are footage and a log, which can be pinned to each other.
    pub(crate) can_pin: bool,
    /// There is a clock to move.
    pub(crate) can_nudge: bool,
    /// Where start/finish is has to be told, for there are no positions.
    pub(crate) can_mark_gate: bool,
    /// How what is seen goes with the log, in words, where that was looked at.
    pub(crate) motion: Option<String>,
    pub(crate) plot: Option<Arc<AlignmentPlot>>,
    /// It is not what the clock goes by, and could be.
    pub(crate) can_take_motion: bool,
}

struct Parts {
    root: gtk::ScrolledWindow,
    words: gtk::Label,
    pins: gtk::ListBox,
    pinning: gtk::Box,
    nudging: gtk::Box,
    gate: gtk::Box,
    seeing: gtk::Box,
    find: gtk::Button,
    stop: gtk::Button,
    progress: gtk::ProgressBar,
    motion: gtk::Label,
    take: gtk::Button,
    plot: gtk::DrawingArea,
    shown: RefCell<ClockShown>,
    is_finding: Cell<bool>,
    asks: Rc<Listeners<Ask>>,
}

#[derive(Clone)]
pub(crate) struct ClockPage(Rc<Parts>);

impl std::fmt::Debug for ClockPage {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("ClockPage").finish_non_exhaustive()
    }
}

impl ClockPage {
    /// `choose`: puts the choice of a moment into the row that pins.
    pub(crate) fn new(choose: impl FnOnce(&gtk::Box)) -> Self {
        let pins = gtk::ListBox::builder().selection_mode(gtk::SelectionMode::None).css_classes(["boxed"]).build();
        named(&pins, "Pins");
        let pinning = row();
        pinning.append(&gtk::Label::new(Some("This frame is")));
        choose(&pinning);
        let nudging = row();
        nudging.append(&wrapping("Move the footage against the log"));
        let gate = row();
        let seeing = gtk::Box::builder().orientation(gtk::Orientation::Vertical).spacing(8).build();
        let progress = gtk::ProgressBar::builder().hexpand(true).valign(gtk::Align::Center).visible(false).build();
        named(&progress, "Looking at the footage");
        let plot = gtk::DrawingArea::builder()
            .content_height(PLOT_PX)
            .accessible_role(gtk::AccessibleRole::Img)
            .visible(false)
            .build();
        let parts = Rc::new(Parts {
            root: gtk::ScrolledWindow::builder().hscrollbar_policy(gtk::PolicyType::Never).build(),
            words: wrapping(""),
            pins,
            pinning,
            nudging,
            gate,
            seeing,
            find: gtk::Button::with_label("Find by motion"),
            stop: gtk::Button::builder().label("Stop").visible(false).build(),
            progress,
            motion: wrapping(""),
            take: gtk::Button::builder().label("Go by it").visible(false).build(),
            plot,
            shown: RefCell::default(),
            is_finding: Cell::default(),
            asks: Rc::default(),
        });
        parts.lay_out();
        parts.connect();
        Self(parts)
    }

    pub(crate) fn widget(&self) -> &gtk::Widget {
        self.0.root.upcast_ref()
    }

    pub(crate) fn connect_asked(&self, listener: impl Fn(Ask) + 'static) {
        self.0.asks.add(listener);
    }

    pub(crate) fn show(&self, shown: ClockShown) {
        let parts = &self.0;
        if *parts.shown.borrow() == shown {
            return;
        }
        parts.words.set_text(&shown.words);
        parts.show_pins(&shown.pins);
        parts.pinning.parent().unwrap_or(parts.pinning.clone().upcast()).set_visible(shown.can_pin);
        parts.nudging.set_visible(shown.can_nudge);
        parts.gate.set_visible(shown.can_mark_gate);
        parts.seeing.set_visible(shown.can_pin);
        parts.motion.set_visible(shown.motion.is_some());
        parts.motion.set_text(shown.motion.as_deref().unwrap_or_default());
        parts.take.set_visible(shown.can_take_motion);
        parts.plot.set_visible(shown.plot.is_some());
        let title = shown.plot.as_ref().map_or("", |it| it.title.as_str());
        named(&parts.plot, &format!("Seen and logged turning: {title}"));
        parts.shown.replace(shown);
        parts.show_finding();
        parts.plot.queue_draw();
    }

    /// The footage is looked at; `progress` gives how much of it, 0 to 1, and `None` once that has ended.
    pub(crate) fn follow_finding(&self, progress: impl Fn() -> Option<f64> + 'static) {
        self.0.is_finding.set(true);
        self.0.show_finding();
        let weak = Rc::downgrade(&self.0);
        glib::timeout_add_local(std::time::Duration::from_millis(PROGRESS_EVERY_MS), move || {
            let Some(parts) = weak.upgrade() else { return glib::ControlFlow::Break };
            if let Some(done) = progress() {
                parts.progress.set_fraction(done);
                return glib::ControlFlow::Continue;
            }
            parts.is_finding.set(false);
            parts.show_finding();
            glib::ControlFlow::Break
        });
    }
}

impl Parts {
    fn lay_out(&self) {
        let button = |label: &str, tooltip: &str| {
            gtk::Button::builder().label(label).tooltip_text(tooltip).valign(gtk::Align::Center).build()
        };
        let all = gtk::Box::builder().orientation(gtk::Orientation::Vertical).spacing(12).build();
        all.add_css_class("findings");
        all.append(&self.words);
        let pinned = gtk::Box::builder().orientation(gtk::Orientation::Vertical).spacing(8).build();
        let pin = button("Pin", "This frame of the footage shows this moment of the log");
        pin.add_css_class("suggested-action");
        self.asks_on(&pin, Ask::PinHere);
        self.pinning.append(&pin);
        pinned.append(&self.pinning);
        pinned.append(&self.pins);
        all.append(&pinned);
        for (label, words, by) in [
            ("−1 frame", "Show the frame before at this moment of the log", -1),
            ("+1 frame", "Show the next frame at this moment of the log", 1),
        ] {
            let key = if by < 0 { "Alt+," } else { "Alt+." };
            let nudge = button(label, &format!("{words} ({key})"));
            self.asks_on(&nudge, Ask::Nudge(by));
            self.nudging.append(&nudge);
        }
        all.append(&self.nudging);
        self.gate.append(&wrapping("There are no positions: laps begin where a frame shows the kart at start/finish."));
        let here = button("It is here", "The kart crosses start/finish on the frame on show");
        self.asks_on(&here, Ask::GateHere);
        self.gate.append(&here);
        all.append(&self.gate);
        self.seeing.append(&heading("What is seen to turn, and what the log says"));
        let looking = row();
        for button in [&self.find, &self.take] {
            looking.append(button);
        }
        looking.append(&self.progress);
        looking.append(&self.stop);
        self.find.set_tooltip_text(Some("Look in the footage for the turns that the log tells of"));
        self.take.set_tooltip_text(Some("Take the pins away and go by what is seen; undo brings them back"));
        self.asks_on(&self.find, Ask::FindByMotion);
        self.asks_on(&self.stop, Ask::StopFinding);
        self.asks_on(&self.take, Ask::TakeMotion);
        self.seeing.append(&looking);
        self.seeing.append(&self.motion);
        self.seeing.append(&self.plot);
        all.append(&self.seeing);
        self.root.set_child(Some(&all));
    }

    fn asks_on(&self, button: &gtk::Button, ask: Ask) {
        let asks = self.asks.clone();
        button.connect_clicked(move |_| asks.tell(ask));
    }

    fn connect(self: &Rc<Self>) {
        let weak = Rc::downgrade(self);
        self.root.connect_map(move |_| {
            if let Some(parts) = weak.upgrade() {
                parts.asks.tell(Ask::Look);
            }
        });
        let weak = Rc::downgrade(self);
        self.plot.set_draw_func(move |_, context, width, height| {
            let Some(parts) = weak.upgrade() else { return };
            if let Some(plot) = &parts.shown.borrow().plot {
                // A picture that cannot be drawn is left out; its title says it all in words.
                let _ = paint_alignment(context, plot, f64::from(width), f64::from(height));
            }
        });
    }

    fn show_pins(&self, pins: &[String]) {
        if *pins == self.shown.borrow().pins {
            return;
        }
        while let Some(old) = self.pins.first_child() {
            self.pins.remove(&old);
        }
        for (index, words) in pins.iter().enumerate() {
            let go = gtk::Button::builder().hexpand(true).css_classes(["flat"]).tooltip_text("Go to this pin").build();
            go.set_child(Some(&wrapping(words)));
            named(&go, words);
            let remove = icon_button("edit-delete-symbolic", &format!("Remove the pin {words}"));
            remove.set_valign(gtk::Align::Center);
            for (button, ask) in [(&go, Ask::GoToPin(index)), (&remove, Ask::RemovePin(index))] {
                let asks = self.asks.clone();
                button.connect_clicked(move |_| asks.tell(ask));
            }
            let both = gtk::Box::new(gtk::Orientation::Horizontal, 0);
            both.append(&go);
            both.append(&remove);
            let row = gtk::ListBoxRow::builder().child(&both).activatable(false).focusable(false).build();
            named(&row, words);
            self.pins.append(&row);
        }
        self.pins.set_visible(!pins.is_empty());
    }

    fn show_finding(&self) {
        let is_finding = self.is_finding.get();
        self.find.set_visible(!is_finding && self.shown.borrow().motion.is_none());
        self.stop.set_visible(is_finding);
        self.progress.set_visible(is_finding);
    }
}

fn row() -> gtk::Box {
    gtk::Box::builder().spacing(8).build()
}
