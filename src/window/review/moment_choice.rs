//! Choosing a moment that the log knows: first a lap, then a place that it passes. Holds widgets; decides nothing.

use std::cell::{Cell, RefCell};
use std::rc::Rc;
use std::sync::Arc;

use gtk::prelude::*;
use gtk4 as gtk;

use crate::analysis::Analysis;
use crate::corners::{KnownPlace, known_moment_near, known_moments};
use crate::present;
use crate::session::VideoTime;
use crate::window::naming::name_button_inside;
use crate::window::review::Review;

/// A pin is told by a known place that is no further from it than this, s: half a frame of 25 a second.
const PLACE_WITHIN_S: f64 = 0.02;

/// What can be chosen in the place of a lap: moments in words with their log times, s, or none, where it is a moment by
/// itself.
#[derive(Debug, Clone, Default)]
pub(super) struct NoLap {
    pub(super) name: String,
    pub(super) moments: Vec<(String, f64)>,
}

#[derive(Debug)]
pub(super) struct MomentChoice {
    laps: gtk::DropDown,
    places: gtk::DropDown,
    listed: RefCell<Listed>,
    /// While the choices are filled in, nobody chooses.
    is_filling: Cell<bool>,
}

#[derive(Debug, Default)]
struct Listed {
    of: Option<Arc<Analysis>>,
    no_lap: Option<NoLap>,
    laps: Vec<u32>,
    moments: Vec<(String, f64)>,
}

impl MomentChoice {
    pub(super) fn new() -> Self {
        let laps = gtk::DropDown::builder().tooltip_text("The lap in which it is there").build();
        let places = gtk::DropDown::builder().hexpand(true).tooltip_text("The place that the kart passes").build();
        for (choice, name) in [(&laps, "Lap of the place"), (&places, "Place of the kart")] {
            choice.update_property(&[gtk::accessible::Property::Label(name)]);
            name_button_inside(choice, name);
        }
        Self { laps, places, listed: RefCell::default(), is_filling: Cell::default() }
    }

    pub(super) fn add_to(&self, row: &gtk::Box) {
        row.append(&self.laps);
        row.append(&self.places);
    }

    /// Offers the places of an analysis, where they are not offered yet: those of the lap on show, the nearest chosen.
    pub(super) fn show(&self, review: &Review, no_lap: impl FnOnce() -> Option<NoLap>) {
        let is_listed = self.listed.borrow().of.as_ref().is_some_and(|it| Arc::ptr_eq(it, &review.analysis));
        if is_listed {
            return;
        }
        let (no_lap, laps) = (no_lap(), review.laps_with_places());
        let before = usize::from(no_lap.is_some());
        let on_show = review.subject().lap;
        let chosen = laps.iter().position(|it| Some(*it) == on_show).map_or(0, |it| it + before);
        let names = no_lap.iter().map(|it| it.name.clone());
        let names = names.chain(laps.iter().map(|it| present::lap_name(Some(*it))));
        self.is_filling.set(true);
        fill(&self.laps, names.collect(), chosen);
        self.is_filling.set(false);
        self.listed.replace(Listed { of: Some(review.analysis.clone()), no_lap, laps, ..self.listed.take() });
        name_button_inside(&self.laps, "Lap of the place");
        self.show_places(review);
    }

    /// The choices are offered anew the next time, the place nearest to the playhead first.
    pub(super) fn forget(&self) {
        let mut listed = self.listed.borrow_mut();
        listed.of = None;
        listed.moments.clear();
    }

    /// Offers the places of the lap that is chosen: the same place as before, else the one nearest to the playhead.
    pub(super) fn show_places(&self, review: &Review) {
        let moments = match self.lap() {
            Some(lap) => {
                let known = known_moments(&review.analysis.laps, &review.analysis.passes, lap);
                known.iter().map(|it| (review.place_words(it.place), it.t_s)).collect()
            }
            None => self.listed.borrow().no_lap.as_ref().map(|it| it.moments.clone()).unwrap_or_default(),
        };
        let before = self.chosen().map(|it| it.0);
        let away_s = |it: &(String, f64)| (it.1 - review.playhead().from_s).abs();
        let same = moments.iter().position(|it| Some(&it.0) == before.as_ref());
        let nearest = moments.iter().enumerate().min_by(|a, b| away_s(a.1).total_cmp(&away_s(b.1))).map(|it| it.0);
        fill(&self.places, moments.iter().map(|it| it.0.clone()).collect(), same.or(nearest).unwrap_or(0));
        self.places.set_visible(!moments.is_empty());
        self.listed.borrow_mut().moments = moments;
        name_button_inside(&self.places, "Place of the kart");
    }

    /// The lap that is chosen; `None` for what is in the place of one.
    fn lap(&self) -> Option<u32> {
        let listed = self.listed.borrow();
        let before = usize::from(listed.no_lap.is_some());
        listed.laps.get(usize::try_from(self.laps.selected()).ok()?.checked_sub(before)?).copied()
    }

    fn chosen(&self) -> Option<(String, f64)> {
        self.listed.borrow().moments.get(usize::try_from(self.places.selected()).ok()?).cloned()
    }

    /// Log time of the chosen moment, s; `None` where what is chosen has none.
    pub(super) fn chosen_t_s(&self) -> Option<f64> {
        self.chosen().map(|it| it.1)
    }

    /// Is called when a person chooses another lap.
    pub(super) fn connect_lap_chosen(self: &Rc<Self>, chosen: impl Fn() + 'static) {
        let weak = Rc::downgrade(self);
        self.laps.connect_selected_notify(move |_| {
            if weak.upgrade().is_some_and(|it| !it.is_filling.get()) {
                chosen();
            }
        });
    }
}

impl Review {
    /// A known place in words, with the name of its corner.
    fn place_words(&self, place: KnownPlace) -> String {
        let name = place.corner().and_then(|it| self.analysis.corners.iter().find(|corner| corner.number == it));
        present::known_place(place, name.map_or("", |it| it.name.as_str()))
    }

    /// The laps that pass a known place, in order.
    fn laps_with_places(&self) -> Vec<u32> {
        let all = self.analysis.laps.iter().map(|it| it.number);
        all.filter(|it| !known_moments(&self.analysis.laps, &self.analysis.passes, *it).is_empty()).collect()
    }

    /// A pin in words: by a known place near it, else by its log time.
    pub(super) fn pin_words(&self, footage: VideoTime, log_t_s: f64, off_frames: Option<f64>) -> String {
        let near = known_moment_near(&self.analysis.laps, &self.analysis.passes, log_t_s, PLACE_WITHIN_S);
        let place = near.map(|(lap, it)| (lap, self.place_words(it.place)));
        let place = place.as_ref().map(|(lap, words)| (*lap, words.as_str()));
        present::pin(footage.seconds(), place, log_t_s, off_frames)
    }
}

fn fill(choice: &gtk::DropDown, names: Vec<String>, chosen: usize) {
    choice.set_model(Some(&gtk::StringList::new(&names.iter().map(String::as_str).collect::<Vec<_>>())));
    choice.set_selected(u32::try_from(chosen).unwrap_or(0));
}
