//! The footage's clock under a person's hand: pins, steps against the log, and what is seen to move. Each change is one
//! operation of the book; the picture follows at once, for nothing is read again.

use std::sync::Arc;

use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::book::{Op, Pin, Recording};
use crate::clock::{jolts_s, sets_off_s};
use crate::media::FootagePlace;
use crate::present;
use crate::session::{ChannelKind, VideoTime};
use crate::window::clock_page::{Ask, ClockShown};
use crate::window::inbox::in_background;
use crate::window::loading::{ByItself, clock_by_itself};
use crate::window::review::moment_choice::NoLap;
use crate::window::review::timeline::Position;
use crate::window::review::{Review, ReviewPage};

/// From so many pins on, their residuals say something: fewer fit whatever they say.
pub(super) const TELLING_PINS: usize = 3;

/// Why footage without a log cannot be moved against one.
const NO_LOG: &str = "there is no log that this footage could be moved against";
const NO_MOMENT: &str = "the log has no lap or corner here that a frame could be pinned to";
const NO_FRAME: &str = "there is no footage of this moment; go to a frame of it first";
const NO_CLOCK: &str = "the footage is not on the log's clock yet; pin one of its frames first";

impl Review {
    fn recording(&self) -> &Recording {
        &self.history.book().recording
    }

    fn frame(&self) -> Option<FootagePlace> {
        match self.position {
            Position::Frame { place, .. } => Some(place),
            Position::Log { .. } => None,
        }
    }

    /// What the page of the clock shows.
    pub(super) fn clock_shown(&self) -> ClockShown {
        let has_log = !self.session.is_footage_alone;
        let has_footage = self.timeline.has_footage();
        let by_itself = self.footage.by_itself.as_ref().filter(|_| has_log && has_footage);
        ClockShown {
            words: self.clock_words(),
            pins: self
                .recording()
                .pins
                .iter()
                .enumerate()
                .map(|(index, pin)| self.recording_pin(index, *pin))
                .collect(),
            can_pin: has_log && has_footage,
            can_nudge: has_log && has_footage && !self.footage.is_off_clock(),
            can_mark_gate: self.analysis.plane.is_none(),
            motion: by_itself.map(|it| self.motion_words(it)),
            plot: by_itself.and_then(|it| it.plot.clone()),
            can_take_motion: by_itself.is_some_and(|it| it.is_known()) && !self.recording().pins.is_empty(),
        }
    }

    fn clock_words(&self) -> String {
        if !self.timeline.has_footage() {
            return "This book has no footage.".to_owned();
        }
        if self.session.is_footage_alone {
            return "There is no log: times are the footage's own.".to_owned();
        }
        let more = if self.footage.is_off_clock() {
            " Until a frame is pinned, it is shown as if it began with the log."
        } else {
            ""
        };
        format!("The footage is {}.{more}", self.footage.clock)
    }

    fn recording_pin(&self, index: usize, pin: Pin) -> String {
        let words = self.pin_words(pin.footage, pin.log_t_s, self.off_frames(index, pin));
        if self.footage.chapters.len() > 1 { format!("file {}, {words}", pin.chapter + 1) } else { words }
    }

    /// How far a pin is from the clock that fits all, in frames of the footage there. `None` for so few pins that they
    /// fit whatever they say, and until the frames are known.
    fn off_frames(&self, index: usize, pin: Pin) -> Option<f64> {
        let residuals_s = &self.footage.residuals_s;
        let telling_s = residuals_s.get(index).filter(|_| residuals_s.len() >= TELLING_PINS)?;
        Some(telling_s / self.timeline.frame_s(FootagePlace { chapter: pin.chapter, at: pin.footage })?)
    }

    /// What is seen to move, and how far that is from the clock that is gone by.
    fn motion_words(&self, by_itself: &ByItself) -> String {
        let words = format!("Without pins it is {}.", by_itself.words());
        let apart = self.frame().filter(|_| !self.recording().pins.is_empty()).and_then(|place| {
            let seen = by_itself.clocks.get(place.chapter)?.map?;
            let now_s = self.timeline.log_s(place.chapter, place.at)?;
            Some((seen.to_log(place.at).0 - now_s, self.timeline.frame_s(place)))
        });
        let apart = apart.map(|(later_s, frame_s)| present::footage_later(later_s, frame_s));
        apart.map_or(words.clone(), |it| format!("{words} On the frame on show {it}."))
    }

    /// Moments outside the laps' places at which a person sees something happen.
    fn other_moments(&self) -> Option<NoLap> {
        let states = self.analysis.path.states.iter().map(|it| (it.t_s, it.speed_mps));
        let samples = &self.session.samples;
        let accelerations = [ChannelKind::LongitudinalAcceleration, ChannelKind::LateralAcceleration];
        let jolts = accelerations.into_iter().filter_map(|it| samples.channel(it)).flat_map(jolts_s);
        let sets_off = sets_off_s(states).into_iter().map(|it| (present::moment_of("the kart sets off", it), it));
        let jolts = jolts.map(|it| (present::moment_of("a jolt", it), it));
        let mut moments: Vec<(String, f64)> = sets_off.chain(jolts).collect();
        moments.sort_by(|a, b| a.1.total_cmp(&b.1));
        (!moments.is_empty()).then(|| NoLap { name: "other moments".to_owned(), moments })
    }

    /// The recording with its pins moved so that the frame so many on is shown at the moment of the one on show, or why
    /// that cannot be.
    fn nudged(&self, by: i64) -> Result<Recording, &'static str> {
        if self.session.is_footage_alone {
            return Err(NO_LOG);
        }
        if self.footage.is_off_clock() {
            return Err(NO_CLOCK);
        }
        let place = self.frame().ok_or(NO_FRAME)?;
        let log_s = |place: FootagePlace| self.timeline.log_s(place.chapter, place.at);
        let to = match self.timeline.step_in_footage(self.position, by) {
            Position::Frame { place: to, .. } if to.chapter == place.chapter && to != place => to,
            _ => return Err("there is no frame beyond this one in the file"),
        };
        let (now_s, to_s) = log_s(place).zip(log_s(to)).ok_or(NO_FRAME)?;
        let pinned =
            if self.recording().pins.is_empty() { self.pinned_as_it_is(place) } else { self.recording().clone() };
        Ok(pinned.later_by(now_s - to_s))
    }

    /// The recording with pins that say what its clock already is: one on this frame, or at both ends where it runs faster
    /// or slower than the log.
    fn pinned_as_it_is(&self, place: FootagePlace) -> Recording {
        let chapters = &self.footage.chapters;
        let drifts = chapters.iter().filter_map(|it| it.clock).any(|it| it.rate_ppm != 0.0);
        let ends = chapters.first().zip(chapters.last()).filter(|_| drifts).map(|(first, last)| {
            let end = VideoTime(last.end.0 - 1);
            [FootagePlace { chapter: 0, at: first.start }, FootagePlace { chapter: chapters.len() - 1, at: end }]
        });
        let places = ends.map_or_else(|| vec![place], |it| it.to_vec());
        let pin = |it: FootagePlace| {
            let log_t_s = self.timeline.log_s(it.chapter, it.at)?;
            Some(Pin { chapter: it.chapter, footage: it.at, log_t_s })
        };
        places.into_iter().filter_map(pin).fold(self.recording().clone(), |it, pin| it.with_pin(pin))
    }
}

impl ReviewPage {
    pub(super) fn connect_clock(&self) {
        let page = self.downgrade();
        self.panels().clock.connect_asked(move |ask| {
            if let Some(page) = page.upgrade() {
                page.do_what_the_clock_asks(ask);
            }
        });
        let page = self.downgrade();
        self.panels().moments.connect_lap_chosen(move || {
            if let Some(page) = page.upgrade()
                && let Some(review) = &*page.imp().review.borrow()
            {
                page.panels().moments.show_places(review);
            }
        });
    }

    fn do_what_the_clock_asks(&self, ask: Ask) {
        match ask {
            Ask::Look => {
                self.panels().moments.forget();
                self.show_clock();
            }
            Ask::PinHere => self.pin_frame(),
            Ask::GoToPin(index) => self.go_to(|review| {
                let pin = review.recording().pins.get(index)?;
                Some(review.timeline.on_frame(FootagePlace { chapter: pin.chapter, at: pin.footage }))
            }),
            Ask::RemovePin(index) => self.change_recording(|it| Ok(it.recording().without_pin(index))),
            Ask::Nudge(by) => self.nudge(by),
            Ask::GateHere => {
                let here_s = self.imp().review.borrow().as_ref().map(|it| it.playhead().from_s);
                if let Some(t_s) = here_s {
                    self.change(Op::MarkedCrossing(Some(t_s)));
                }
            }
            Ask::FindByMotion => self.find_by_motion(),
            Ask::StopFinding => {
                if let Some(review) = &mut *self.imp().review.borrow_mut() {
                    review.matching = None;
                }
            }
            Ask::TakeMotion => self
                .change_recording(|it| Ok(Recording { chapters: it.recording().chapters.clone(), pins: Vec::new() })),
        }
    }

    /// Brings up the page of the clock where the footage is not on the log's: it says why, and a frame can be pinned.
    pub(super) fn ask_for_clock(&self) {
        if self.imp().review.borrow().as_ref().is_some_and(|it| it.footage.is_off_clock()) {
            self.panels().bring_up_clock();
        }
    }

    /// Shows the page of the clock as it is now.
    pub(super) fn show_clock(&self) {
        let panels = self.panels();
        let review = self.imp().review.borrow();
        let Some(review) = &*review else { return };
        panels.clock.show(review.clock_shown());
        if panels.clock.widget().is_mapped() {
            panels.moments.show(review, || review.other_moments());
        }
    }

    /// Moves the footage by so many frames against the log.
    pub(super) fn nudge(&self, by: i64) {
        self.pause();
        self.change_recording(|review| review.nudged(by));
    }

    /// Pins the frame on show to the chosen moment, and goes there: the frame stays on show, and the log comes to it.
    fn pin_frame(&self) {
        self.pause();
        let Some(log_t_s) = self.panels().moments.chosen_t_s() else { return self.tell(NO_MOMENT) };
        let frame = self.imp().review.borrow().as_ref().and_then(Review::frame);
        let Some(place) = frame else { return self.tell(NO_FRAME) };
        let pin = Pin { chapter: place.chapter, footage: place.at, log_t_s };
        self.change_recording(|review| Ok(review.recording().with_pin(pin)));
        self.go_to(|review| Some(review.timeline.on_frame(place)));
    }

    fn change_recording(&self, change: impl FnOnce(&Review) -> Result<Recording, &'static str>) {
        let changed = self.imp().review.borrow().as_ref().map(change);
        match changed {
            Some(Ok(recording)) => self.change(Op::Recording(recording)),
            Some(Err(why)) => self.tell(why),
            None => {}
        }
    }

    /// Puts the footage on the clock that the book's pins now make, the moment on show staying; reads it anew where that
    /// is not known.
    pub(super) fn take_in_pins(&self) {
        let is_known = match &mut *self.imp().review.borrow_mut() {
            Some(review) => match review.footage.with_pins(&review.history.book().recording) {
                Some(footage) => {
                    let t_s = review.playhead().from_s;
                    review.timeline.set_clocks(footage.on_view().into_iter().map(|it| it.clock));
                    review.footage = footage;
                    review.position = review.timeline.at(t_s);
                    true
                }
                None => false,
            },
            None => return,
        };
        if is_known {
            self.begin_playing_anew();
            self.forget_thumbnails();
        } else {
            self.read_footage_anew();
        }
    }

    /// Looks in the background for the clock that the footage is on without pins.
    fn find_by_motion(&self) {
        let session = self.imp().review.borrow().as_ref().map(|it| it.session.with_book(it.history.book().clone()));
        let Some(session) = session else { return };
        let page = self.downgrade();
        let running = in_background(
            "motion",
            move |context| clock_by_itself(&session, context),
            move |found| {
                if let Some(page) = page.upgrade() {
                    page.take_motion(found);
                }
            },
        );
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            review.matching = Some(running);
        }
        let page = self.downgrade();
        self.panels().clock.follow_finding(move || {
            let page = page.upgrade()?;
            let review = page.imp().review.borrow();
            Some(review.as_ref()?.matching.as_ref()?.progress())
        });
    }

    fn take_motion(&self, found: Result<ByItself, crate::load::Error>) {
        let refused = match &mut *self.imp().review.borrow_mut() {
            Some(review) => {
                review.matching = None;
                match found {
                    Ok(found) => {
                        review.footage.by_itself = Some(Arc::new(found));
                        None
                    }
                    Err(error) => Some(error.to_string()),
                }
            }
            None => None,
        };
        if let Some(sentence) = refused {
            self.tell(&sentence);
        }
        self.show_clock();
    }
}
