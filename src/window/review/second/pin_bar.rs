//! The rows under the pictures while trackside footage is moved by itself: moving it, the place at which it shows the
//! kart, and the pins that it has. Holds widgets; decides nothing.

use std::cell::RefCell;
use std::rc::Rc;

use gtk::glib;
use gtk::prelude::*;
use gtk4 as gtk;

use crate::session::VideoTime;
use crate::window::parts::{icon_button, named};
use crate::window::review::Review;
use crate::window::review::moment_choice::{MomentChoice, NoLap};
use crate::window::review::second::trackside::PinShown;

/// The slider's coarse step, s.
const PAGE_S: f64 = 1.0;
/// The slider's fine step, s, where the keys move it: about a frame.
const STEP_S: f64 = 0.04;

/// What a person asks of the pins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum PinAsk {
    Step(i64),
    MoveTo(VideoTime),
    PinHere,
    GoToPin(usize),
    RemovePin(usize),
    Done,
}

#[derive(Debug)]
pub(super) struct PinBar {
    root: gtk::Box,
    back: gtk::Button,
    on: gtk::Button,
    along: gtk::Scale,
    done: gtk::Button,
    moments: Rc<MomentChoice>,
    pin: gtk::Button,
    pins: gtk::Box,
    pins_row: gtk::ScrolledWindow,
    /// The pins that are listed.
    listed: RefCell<Vec<PinShown>>,
}

impl PinBar {
    pub(super) fn new() -> Self {
        let back = icon_button("go-previous-symbolic", "Trackside footage one frame back");
        let on = icon_button("go-next-symbolic", "Trackside footage one frame forward");
        let along = gtk::Scale::with_range(gtk::Orientation::Horizontal, 0.0, 1.0, STEP_S);
        along.set_draw_value(false);
        along.set_hexpand(true);
        along.set_width_request(160);
        named(&along, "Place in the trackside footage");
        let done = gtk::Button::with_label("In step");
        done.set_tooltip_text(Some("Let the trackside footage follow the first picture again (F4)"));
        let moving = row();
        moving.append(&gtk::Label::new(Some("Trackside")));
        moving.append(&back);
        moving.append(&on);
        moving.append(&along);
        moving.append(&done);

        let moments = Rc::new(MomentChoice::new());
        let pin = gtk::Button::builder().label("Pin").css_classes(["suggested-action"]).build();
        pin.set_tooltip_text(Some("This frame of the trackside footage shows the kart at this place"));
        let pinning = row();
        pinning.append(&gtk::Label::new(Some("The kart is at")));
        moments.add_to(&pinning);
        pinning.append(&pin);

        let pins = gtk::Box::builder().spacing(12).build();
        let pins_row = gtk::ScrolledWindow::builder()
            .child(&pins)
            .vscrollbar_policy(gtk::PolicyType::Never)
            .propagate_natural_height(true)
            .css_classes(["transport"])
            .build();
        let root = gtk::Box::builder().orientation(gtk::Orientation::Vertical).visible(false).build();
        root.append(&moving);
        root.append(&pinning);
        root.append(&pins_row);
        Self { root, back, on, along, done, moments, pin, pins, pins_row, listed: RefCell::default() }
    }

    pub(super) fn root(&self) -> &gtk::Box {
        &self.root
    }

    /// Where in the footage it is, of what there is, and whether it can go back in step.
    pub(super) fn show_place(&self, at: Option<VideoTime>, ends: (VideoTime, VideoTime), is_pinned: bool) {
        self.pin.set_sensitive(at.is_some());
        self.done.set_sensitive(is_pinned);
        let adjustment = self.along.adjustment();
        adjustment.set_lower(ends.0.seconds());
        adjustment.set_upper(ends.1.seconds());
        adjustment.set_page_increment(PAGE_S);
        if let Some(at) = at {
            adjustment.set_value(at.seconds());
        }
    }

    /// Offers the moments to pin to, where they are not offered yet.
    pub(super) fn show_choices(&self, review: &Review) {
        // This moment needs no lap, and is all there is without one.
        let here = || Some(NoLap { name: "the first picture's moment".to_owned(), ..NoLap::default() });
        self.moments.show(review, here);
    }

    /// The choices are offered anew the next time, the place nearest to the playhead first.
    pub(super) fn forget_choices(&self) {
        self.moments.forget();
    }

    /// Offers the places of the lap that is chosen.
    pub(super) fn show_places(&self, review: &Review) {
        self.moments.show_places(review);
    }

    /// Log time of the chosen place, s; `None` for the first picture's moment.
    pub(super) fn chosen_t_s(&self) -> Option<f64> {
        self.moments.chosen_t_s()
    }

    /// Lists the pins, each with a button that goes there and one that removes it.
    pub(super) fn show_pins(&self, shown: &[PinShown], asked: impl Fn(PinAsk) + Clone + 'static) {
        self.pins_row.set_visible(!shown.is_empty());
        if *self.listed.borrow() == shown {
            return;
        }
        while let Some(old) = self.pins.first_child() {
            self.pins.remove(&old);
        }
        for (index, pin) in shown.iter().enumerate() {
            let go = gtk::Button::builder().label(&pin.words).css_classes(["flat"]).build();
            go.set_tooltip_text(Some("Go to this pin"));
            let (to, remove_to) = (asked.clone(), asked.clone());
            go.connect_clicked(move |_| to(PinAsk::GoToPin(index)));
            let remove = icon_button("edit-delete-symbolic", &format!("Remove the pin {}", pin.words));
            remove.connect_clicked(move |_| remove_to(PinAsk::RemovePin(index)));
            let both = gtk::Box::new(gtk::Orientation::Horizontal, 0);
            both.append(&go);
            both.append(&remove);
            self.pins.append(&both);
        }
        self.listed.replace(shown.to_vec());
    }

    /// `lap_chosen` is called when a person chooses another lap.
    pub(super) fn connect(&self, asked: impl Fn(PinAsk) + Clone + 'static, lap_chosen: impl Fn() + 'static) {
        for (button, ask) in [
            (&self.back, PinAsk::Step(-1)),
            (&self.on, PinAsk::Step(1)),
            (&self.pin, PinAsk::PinHere),
            (&self.done, PinAsk::Done),
        ] {
            let asked = asked.clone();
            button.connect_clicked(move |_| asked(ask));
        }
        self.along.connect_change_value(move |_, _, to_s| {
            asked(PinAsk::MoveTo(VideoTime::from_seconds(to_s)));
            glib::Propagation::Proceed
        });
        self.moments.connect_lap_chosen(lap_chosen);
    }
}

fn row() -> gtk::Box {
    gtk::Box::builder().spacing(6).css_classes(["transport"]).build()
}
