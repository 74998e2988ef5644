//! Pinning trackside footage: it is moved by itself to a frame on which the kart is at a known place, and that frame is
//! pinned to when the kart was there. Each pin is one change of the book.

use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::book::{FileRef, Id, Op, Trackside as InBook, TracksidePin};
use crate::session::VideoTime;
use crate::window::review::ReviewPage;
use crate::window::review::second::Beside;
use crate::window::review::second::pin_bar::{PinAsk, PinBar};
use crate::window::review::second::trackside::Trackside;

/// What has become of the footage on show in the book.
enum InBookNow {
    AsBefore,
    Gone,
    /// Its file is another one, or elsewhere.
    Elsewhere(FileRef),
}

impl ReviewPage {
    pub(super) fn connect_pin_bar(&self, bar: &PinBar) {
        let page = self.downgrade();
        let lap_chosen = move || {
            if let Some(page) = page.upgrade() {
                page.show_places_of_lap();
            }
        };
        bar.connect(self.pin_asker(), lap_chosen);
    }

    fn pin_asker(&self) -> impl Fn(PinAsk) + Clone + 'static {
        let page = self.downgrade();
        move |ask| {
            let Some(page) = page.upgrade() else { return };
            match ask {
                PinAsk::Step(by) => page.step_trackside(by),
                PinAsk::MoveTo(at) => page.move_trackside(|it| it.go_to(at)),
                PinAsk::PinHere => page.pin_here(),
                PinAsk::GoToPin(index) => page.go_to_pin(index),
                PinAsk::RemovePin(index) => {
                    page.change_pins(|it| it.without_pin(index));
                }
                PinAsk::Done => page.get_in_step(),
            }
        }
    }

    fn show_places_of_lap(&self) {
        let second = self.second();
        if let Some(review) = &*self.imp().review.borrow() {
            second.pin_bar.show_places(review);
        }
    }

    /// Takes in what the book now says of the trackside footage on show.
    pub(super) fn take_in_trackside(&self) {
        let second = self.second();
        let now = {
            let review = self.imp().review.borrow();
            let mut beside = second.beside.borrow_mut();
            let (Some(review), Beside::Trackside(shown)) = (&*review, &mut *beside) else { return };
            match review.history.book().trackside.get(&shown.id) {
                None => InBookNow::Gone,
                Some(it) if it.file != shown.file => InBookNow::Elsewhere(it.file.clone()),
                Some(it) => {
                    let position = second.open.borrow().as_ref().and_then(|it| it.position);
                    shown.take_pins(&it.pins, position);
                    InBookNow::AsBefore
                }
            }
        };
        match now {
            InBookNow::AsBefore => {}
            InBookNow::Gone => self.take_beside(Beside::Lap),
            InBookNow::Elsewhere(file) => {
                if let Some(id) = self.trackside_on_show() {
                    self.read_trackside(Trackside::new(id, file));
                }
            }
        }
    }

    /// The number of the trackside footage that is chosen, while the second picture is on show.
    pub(super) fn trackside_on_show(&self) -> Option<Id> {
        let second = self.imp().second.get()?;
        let is_open = self.imp().second_toggle.is_active();
        second.beside.borrow().trackside().filter(|_| is_open).map(|it| it.id)
    }

    /// Whether keys step the trackside footage: it is moved by itself, and the first picture has not the focus.
    pub(in crate::window::review) fn is_trackside_stepped(&self) -> bool {
        self.trackside_frame_alone().is_some()
    }

    /// The trackside footage that is moved by itself, and the frame that it shows. `None` too while the first picture has
    /// the focus: then that one is meant.
    pub(in crate::window::review) fn trackside_frame_alone(&self) -> Option<(Id, VideoTime)> {
        let id = self.trackside_on_show()?;
        let at = self.second().beside.borrow().trackside()?.frame_alone()?;
        (!self.imp().picture.has_focus()).then_some((id, at))
    }

    /// Moves the trackside footage by itself, or lets it follow the first picture again.
    pub(in crate::window::review) fn toggle_pinning(&self) {
        if self.trackside_on_show().is_none() {
            return self.tell("there is no trackside footage on show to pin; choose it under the second picture first");
        }
        let is_alone = self.second().beside.borrow().trackside().is_some_and(Trackside::is_alone);
        if is_alone { self.get_in_step() } else { self.begin_pinning() }
    }

    fn begin_pinning(&self) {
        self.pause();
        let second = self.second();
        let position = second.open.borrow().as_ref().and_then(|it| it.position);
        second.pin_bar.forget_choices();
        self.move_trackside(|it| it.move_by_itself(position));
        second.picture.grab_focus();
    }

    fn get_in_step(&self) {
        let is_pinned = self.second().beside.borrow().trackside().is_some_and(Trackside::is_pinned);
        if !is_pinned {
            return self.tell("this footage has no pin yet to be in step by; pin one frame first");
        }
        self.move_trackside(Trackside::get_in_step);
        self.imp().picture.grab_focus();
    }

    pub(in crate::window::review) fn step_trackside(&self, by: i64) {
        self.move_trackside(|it| it.step(by));
    }

    fn move_trackside(&self, change: impl FnOnce(&mut Trackside)) {
        if let Beside::Trackside(trackside) = &mut *self.second().beside.borrow_mut() {
            change(trackside);
        }
        self.show_second();
    }

    /// Pins the frame of the trackside footage to the chosen place. Both pictures are then in step there, so that one
    /// sees at once whether it is right.
    fn pin_here(&self) {
        let second = self.second();
        let frame = second.beside.borrow().trackside().and_then(Trackside::frame_alone);
        let here_s = self.imp().review.borrow().as_ref().map(|it| it.playhead().from_s);
        let chosen_s = second.pin_bar.chosen_t_s();
        let (Some(footage), Some(log_t_s)) = (frame, chosen_s.or(here_s)) else { return };
        if !self.change_pins(|it| it.with_pin(TracksidePin { footage, log_t_s })) {
            return;
        }
        if let Some(t_s) = chosen_s {
            self.go_to(|review| review.timeline.nearest(t_s).or_else(|| Some(review.timeline.at(t_s))));
        }
        self.get_in_step();
    }

    /// Changes the pins of the footage on show; `false` where the book refuses.
    fn change_pins(&self, change: impl FnOnce(&InBook) -> InBook) -> bool {
        let Some(id) = self.trackside_on_show() else { return false };
        let changed =
            self.imp().review.borrow().as_ref().and_then(|it| Some(change(it.history.book().trackside.get(&id)?)));
        match changed.map(|it| self.try_change(Op::Trackside(id, Some(it)))) {
            Some(Ok(())) => true,
            Some(Err(sentence)) => {
                self.tell(&sentence);
                false
            }
            None => false,
        }
    }

    /// Shows a pin: its frame, and the moment that it is pinned to.
    fn go_to_pin(&self, index: usize) {
        let pin = self.trackside_on_show().and_then(|id| {
            let review = self.imp().review.borrow();
            review.as_ref()?.history.book().trackside.get(&id)?.pins.get(index).copied()
        });
        let Some(pin) = pin else { return };
        self.go_to(|review| review.timeline.nearest(pin.log_t_s).or_else(|| Some(review.timeline.at(pin.log_t_s))));
        self.move_trackside(|it| it.go_to(pin.footage));
    }

    /// Shows a frame of trackside footage: in step with the first picture, or by itself where there is no pin.
    pub(in crate::window::review) fn show_trackside_frame(&self, id: Id, at: VideoTime) {
        if self.trackside_on_show() != Some(id) {
            self.choose_trackside(id);
        }
        let log_s = {
            let second = self.second();
            let mut beside = second.beside.borrow_mut();
            let Beside::Trackside(trackside) = &mut *beside else { return };
            let log_s = trackside.log_s(at);
            match log_s {
                Some(_) => trackside.get_in_step(),
                None => trackside.go_to(at),
            }
            log_s
        };
        if let Some(t_s) = log_s {
            self.go_to(|review| review.timeline.nearest(t_s).or_else(|| Some(review.timeline.at(t_s))));
            self.begin_playing_anew();
        }
        self.show_second();
    }

    /// The rows under the pictures, where trackside footage is moved by itself.
    pub(super) fn show_pin_bar(&self) {
        let second = self.second();
        let asker = self.pin_asker();
        let review = self.imp().review.borrow();
        let beside = second.beside.borrow();
        let shown = beside.trackside().filter(|_| second.open.borrow().is_some());
        second.chooser.show_pinning(shown);
        let (Some(review), Some(shown)) = (&*review, shown.filter(|it| it.is_alone())) else {
            return second.pin_bar.root().set_visible(false);
        };
        let Some(chapter) = shown.chapter() else { return second.pin_bar.root().set_visible(false) };
        second.pin_bar.show_place(shown.frame_alone(), (chapter.start, chapter.end), shown.is_pinned());
        second.pin_bar.show_choices(review);
        second.pin_bar.show_pins(&shown.pins_shown(review), asker);
        second.pin_bar.root().set_visible(true);
    }
}
