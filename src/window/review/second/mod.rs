//! The second picture, beside the first: another pass, locked to it by place on the track, never by time; or trackside
//! footage of the same kart, locked by time.

mod adding;
mod choose;
mod follow;
mod guest;
mod pin_bar;
mod pinning;
mod trackside;

use std::cell::RefCell;
use std::sync::Arc;

use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::analysis::Analysis;
use crate::book::{Book, Id};
use crate::media::{ShownFrame, Viewer, ViewerEvent};
use crate::window::inbox::Running;
use crate::window::loading::Chapter;
use crate::window::navigate::Playhead;
use crate::window::picture::Picture;
use crate::window::review::drawing::{NO_FRAME, drawn_at};
use crate::window::review::panels::GuestLap;
use crate::window::review::second::choose::Chooser;
use crate::window::review::second::follow::{Followed, Other, follow};
use crate::window::review::second::guest::Guest;
use crate::window::review::second::pin_bar::PinBar;
use crate::window::review::second::trackside::Trackside;
use crate::window::review::session_overlay::SessionOverlay;
use crate::window::review::timeline::Position;
use crate::window::review::viewing::{open_viewer, texture_of};
use crate::window::review::{Review, ReviewPage, WITHOUT_FOOTAGE_PX};

/// The widgets, and what is open while they are shown.
#[derive(Debug)]
pub(super) struct SecondPicture {
    root: gtk::Box,
    picture: Picture,
    no_picture: gtk::Label,
    words: gtk::Label,
    chooser: Chooser,
    below: gtk::Box,
    pin_bar: PinBar,
    open: RefCell<Option<Open>>,
    beside: RefCell<Beside>,
    /// The book or the footage that is being read.
    reading: RefCell<Option<Running>>,
}

/// What the second picture shows.
#[derive(Debug, Default)]
enum Beside {
    /// Another lap of the same book.
    #[default]
    Lap,
    Guest(Box<Guest>),
    Trackside(Box<Trackside>),
}

/// The second picture's own view of the footage.
#[derive(Debug)]
struct Open {
    viewer: Option<Viewer>,
    /// What the overlay is of.
    analysis: Arc<Analysis>,
    overlay: SessionOverlay,
    /// Where it is, while there is a frame of that place.
    position: Option<Position>,
}

impl Beside {
    fn guest(&self) -> Option<&Guest> {
        match self {
            Self::Guest(guest) => Some(guest),
            Self::Lap | Self::Trackside(_) => None,
        }
    }

    fn trackside(&self) -> Option<&Trackside> {
        match self {
            Self::Trackside(trackside) => Some(trackside),
            Self::Lap | Self::Guest(_) => None,
        }
    }

    fn chapters<'a>(&'a self, review: &'a Review) -> &'a [Chapter] {
        match self {
            Self::Lap => &review.footage.chapters,
            Self::Guest(guest) => &guest.footage.chapters,
            Self::Trackside(trackside) => trackside.chapter().map_or(&[], std::slice::from_ref),
        }
    }

    fn analysis<'a>(&'a self, review: &'a Review) -> &'a Arc<Analysis> {
        self.guest().map_or(&review.analysis, |it| &it.analysis)
    }

    /// The book whose drawings are on its frames.
    fn book<'a>(&'a self, review: &'a Review) -> &'a Book {
        self.guest().map_or(review.history.book(), |it| &it.book)
    }
}

impl SecondPicture {
    fn new() -> Self {
        let picture = Picture::default();
        picture.set_hexpand(true);
        picture.set_vexpand(true);
        picture.update_property(&[gtk::accessible::Property::Label("Second picture")]);
        let no_picture = gtk::Label::builder()
            .wrap(true)
            .max_width_chars(36)
            .justify(gtk::Justification::Center)
            .halign(gtk::Align::Center)
            .valign(gtk::Align::Center)
            .can_target(false)
            .css_classes(["no-picture"])
            .build();
        let words = gtk::Label::builder()
            .xalign(0.0)
            .wrap(true)
            .lines(2)
            .ellipsize(gtk::pango::EllipsizeMode::End)
            .css_classes(["where", "under-picture"])
            .build();
        let over = gtk::Overlay::builder().child(&picture).build();
        over.add_overlay(&no_picture);
        let root = gtk::Box::builder().orientation(gtk::Orientation::Vertical).visible(false).build();
        root.append(&over);
        let chooser = Chooser::new();
        let below = gtk::Box::builder().spacing(4).build();
        words.set_hexpand(true);
        below.append(&words);
        below.append(chooser.widget());
        root.append(&below);
        let (open, beside, reading) = Default::default();
        Self { root, picture, no_picture, words, chooser, below, pin_bar: PinBar::new(), open, beside, reading }
    }

    pub(super) fn picture(&self) -> &Picture {
        &self.picture
    }

    /// What is on show of the review's own book, and of which of its trackside footage. `Err`: why there is nothing to
    /// draw on.
    pub(super) fn place(&self) -> Result<(Position, Option<Id>), &'static str> {
        let beside = self.beside.borrow();
        if beside.guest().is_some() {
            return Err("this footage is another book's; open that one to draw on it");
        }
        let position = self.open.borrow().as_ref().and_then(|it| it.position);
        position.map(|it| (it, beside.trackside().map(|it| it.id))).ok_or(NO_FRAME)
    }

    /// The lap that is followed.
    fn other<'a>(&self, review: &Review, guest: Option<&'a Guest>) -> Other<'a> {
        let lap = match guest {
            Some(guest) => guest.laps.get(self.chooser.lap()).copied(),
            None => review.other,
        };
        Other { guest, lap }
    }

    /// Says why there is no picture, or that there is one.
    fn show_why(&self, why: Option<&str>) {
        self.no_picture.set_visible(why.is_some());
        if let Some(why) = why {
            self.no_picture.set_text(why);
            self.picture.show_frame(None, WITHOUT_FOOTAGE_PX);
            self.picture.show_tiles(&[]);
            self.picture.show_drawings(Vec::new());
        }
    }
}

impl ReviewPage {
    pub(super) fn add_second_picture(&self) {
        let second = SecondPicture::new();
        self.imp().pictures.append(&second.root);
        // What is under the pictures is of one height, so that the pictures are.
        let lines = gtk::SizeGroup::new(gtk::SizeGroupMode::Vertical);
        lines.add_widget(&*self.imp().first_words);
        lines.add_widget(&second.below);
        let page = self.downgrade();
        second.picture.connect_size_wanted(move || {
            if let Some(page) = page.upgrade() {
                page.ask_for_second_size();
            }
        });
        self.imp().stage.insert_child_after(second.pin_bar.root(), Some(&*self.imp().pictures));
        self.connect_chooser(&second.chooser);
        self.connect_pin_bar(&second.pin_bar);
        self.imp().second.set(second).expect("the page is made once");
        let page = self.downgrade();
        self.imp().second_toggle.connect_toggled(move |_| {
            if let Some(page) = page.upgrade() {
                page.begin_second_anew();
                page.show_position();
            }
        });
    }

    /// The lap of another book that is beside the first picture.
    pub(super) fn guest_lap(&self) -> Option<GuestLap> {
        let second = self.imp().second.get().filter(|_| self.imp().second_toggle.is_active())?;
        let beside = second.beside.borrow();
        let guest = beside.guest()?;
        let lap = *guest.laps.get(second.chooser.lap())?;
        Some(GuestLap { name: guest.name.clone(), analysis: guest.analysis.clone(), lap })
    }

    fn second(&self) -> &SecondPicture {
        self.imp().second.get().expect("made where the page is made")
    }

    pub(super) fn toggle_second(&self) {
        let toggle = &self.imp().second_toggle;
        toggle.set_active(!toggle.is_active());
    }

    /// Bytes of decoded frames that each picture may keep.
    pub(super) fn cache_bytes(&self) -> usize {
        let pictures = if self.imp().second_toggle.is_active() { 2 } else { 1 };
        self.settings().get().cache_bytes() / pictures
    }

    /// Opens the footage once more where the second picture is to be shown and there is a review, else closes it.
    pub(super) fn begin_second_anew(&self) {
        let imp = self.imp();
        let is_shown = imp.second_toggle.is_active();
        let second = self.second();
        second.pin_bar.root().set_visible(false);
        second.root.set_visible(is_shown);
        imp.first_words.set_visible(is_shown);
        second.open.replace(None);
        second.show_why(Some(""));
        let open = match &*imp.review.borrow() {
            Some(review) => {
                if let Some(viewer) = &review.viewer {
                    viewer.set_cache_bytes(self.cache_bytes());
                }
                is_shown.then(|| self.open_second(review))
            }
            None => None,
        };
        second.open.replace(open);
        self.ask_for_second_size();
    }

    fn open_second(&self, review: &Review) -> Open {
        let beside = self.second().beside.borrow();
        let analysis = beside.analysis(review).clone();
        let page = self.downgrade();
        let shown = move |frame: &ShownFrame| {
            if let Some(page) = page.upgrade() {
                page.show_second_frame(frame);
            }
        };
        let page = self.downgrade();
        let told = move |event| {
            if let Some(page) = page.upgrade() {
                page.take_second_notice(event);
            }
        };
        Open {
            viewer: open_viewer(beside.chapters(review), self.cache_bytes(), shown, told),
            overlay: SessionOverlay::new(&analysis, self.settings().get().speed_unit),
            analysis,
            position: None,
        }
    }

    fn take_second_notice(&self, event: ViewerEvent) {
        match event {
            // The book's own frames are known to the first picture already.
            ViewerEvent::Ready(index) => {
                match &mut *self.second().beside.borrow_mut() {
                    Beside::Lap => {}
                    Beside::Guest(guest) => guest.timeline.set_index(index),
                    Beside::Trackside(trackside) => trackside.set_index(index),
                }
                self.show_second();
            }
            ViewerEvent::Failed(sentence) => self.tell(&sentence),
            ViewerEvent::Shown(_) => {}
        }
    }

    fn ask_for_second_size(&self) {
        let Some(second) = self.imp().second.get() else { return };
        if let Some(viewer) = second.open.borrow().as_ref().and_then(|it| it.viewer.as_ref()) {
            viewer.set_size_px(second.picture.wanted_px());
        }
        self.show_second();
    }

    fn show_second_frame(&self, frame: &ShownFrame) {
        // A frame of a place that the playhead has left meanwhile is not shown where there is none.
        let second = self.second();
        if second.open.borrow().as_ref().is_some_and(|it| it.position.is_some()) {
            let pixels = &frame.pixels;
            second.picture.show_frame(Some(texture_of(pixels)), (pixels.width_px, pixels.height_px));
        }
    }

    /// Moves the second picture to where the first is: on the track, or in time.
    pub(super) fn show_second(&self) {
        let Some(second) = self.imp().second.get() else { return };
        self.take_in_trackside();
        let followed = {
            let review = self.imp().review.borrow();
            let mut open = second.open.borrow_mut();
            let (Some(review), Some(open)) = (&*review, &mut *open) else { return };
            let unit = self.settings().get().speed_unit;
            let beside = second.beside.borrow();
            let analysis = beside.analysis(review);
            if !Arc::ptr_eq(&open.analysis, analysis) {
                open.analysis = analysis.clone();
                open.overlay = SessionOverlay::new(&open.analysis, unit);
            }
            let followed = match &*beside {
                Beside::Trackside(trackside) => trackside.follow(review, unit),
                Beside::Lap | Beside::Guest(_) => follow(review, second.other(review, beside.guest()), unit),
            };
            open.position = followed.position.filter(|it| matches!(it, Position::Frame { .. }));
            if let (Some(Position::Frame { place, .. }), Some(viewer)) = (open.position, &mut open.viewer) {
                viewer.show(place);
            }
            followed
        };
        self.imp().first_words.set_text(&followed.first_words);
        second.words.set_text(&followed.second_words);
        second.show_why(followed.why_no_picture.as_deref());
        self.show_over_second(&followed);
        self.show_pin_bar();
        self.give_up_draft_of_another_frame();
    }

    /// Overlay and drawings of the second picture's frame.
    fn show_over_second(&self, followed: &Followed) {
        let second = self.second();
        let review = self.imp().review.borrow();
        let mut open = second.open.borrow_mut();
        let (Some(review), Some(open), Some(position)) = (&*review, &mut *open, followed.position) else { return };
        if followed.why_no_picture.is_some() {
            return;
        }
        let beside = second.beside.borrow();
        let trackside = beside.trackside().map(|it| it.id);
        let drawn = drawn_at(beside.book(review), position, trackside);
        second.picture.show_drawings(drawn.into_iter().map(|it| it.1).collect());
        if trackside.is_some() {
            // The overlay is the first picture's: it speaks of the same moment.
            return second.picture.show_tiles(&[]);
        }
        let frame = second.other(review, beside.guest()).timeline(review).playhead(position);
        // Speed as in the words below: of the place, not of the moment the frame begins.
        let playhead = Playhead { from_s: followed.at_s.unwrap_or(frame.from_s), ..frame };
        let parts = self.settings().get().overlay;
        let (tiles, are_new) = open.overlay.tiles(&open.analysis, playhead, second.picture.fitted_px(), parts);
        if are_new {
            second.picture.show_tiles(&[]);
        }
        second.picture.show_tiles(&tiles);
    }
}
