//! Playing: the clock of the display, or what is heard, says which frame should be on show.

use gtk::glib;
use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::window::review::playing::{NORMAL, Playing, SPEEDS};
use crate::window::review::sounding::is_noticed;
use crate::window::review::timeline::Position;
use crate::window::review::{Review, ReviewPage};

impl ReviewPage {
    pub(super) fn play_or_pause(&self) {
        let is_playing = self.imp().review.borrow().as_ref().is_some_and(|it| it.playing.is_some());
        if is_playing { self.pause() } else { self.play() }
    }

    pub(super) fn play(&self) {
        let Some(now_us) = self.imp().picture.frame_clock().map(|it| it.frame_time()) else { return };
        let (rate, volume) = (self.pace(), self.settings().get().volume);
        match &mut *self.imp().review.borrow_mut() {
            Some(review) => {
                review.playing = Some(Playing::on_frame(now_us, review.playhead(), rate));
                self.play_sound(review, review.position, rate, volume);
            }
            None => return,
        }
        self.show_playing(true);
        let page = self.downgrade();
        self.imp().picture.add_tick_callback(move |_, clock| match page.upgrade() {
            Some(page) => page.play_on(clock.frame_time()),
            None => glib::ControlFlow::Break,
        });
    }

    /// Shows what should be on show by now; ends where the session ends.
    fn play_on(&self, now_us: i64) -> glib::ControlFlow {
        let at = {
            let volume = self.settings().get().volume;
            let mut review = self.imp().review.borrow_mut();
            let Some((review, playing)) = review.as_mut().and_then(|it| it.playing.map(|playing| (it, playing))) else {
                return glib::ControlFlow::Break;
            };
            let t_s = review.follow_sound(playing, now_us);
            let position = review.timeline.at(t_s);
            if chapter_of(position) != chapter_of(review.position) {
                self.play_sound(review, position, playing.rate(), volume);
            }
            (position, t_s, t_s >= review.timeline.last_s())
        };
        self.go_to(|_| Some(at.0));
        if at.2 || self.preview_is_over(at.1) {
            self.pause();
            return glib::ControlFlow::Break;
        }
        glib::ControlFlow::Continue
    }

    pub(super) fn pause(&self) {
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            review.playing = None;
            review.preview.clear();
            review.sounding.pause();
        }
        self.show_playing(false);
    }

    fn pace(&self) -> f64 {
        let chosen = usize::try_from(self.imp().speed.selected()).unwrap_or(NORMAL);
        SPEEDS.get(chosen).copied().unwrap_or(SPEEDS[NORMAL])
    }

    pub(super) fn change_pace(&self) {
        self.begin_playing_anew();
    }

    /// Where the playhead has jumped or the pace has changed, playing goes on from here.
    pub(super) fn begin_playing_anew(&self) {
        let Some(now_us) = self.imp().picture.frame_clock().map(|it| it.frame_time()) else { return };
        let (rate, volume) = (self.pace(), self.settings().get().volume);
        if let Some(review) = &mut *self.imp().review.borrow_mut()
            && review.playing.is_some()
        {
            review.playing = Some(Playing::on_frame(now_us, review.playhead(), rate));
            self.play_sound(review, review.position, rate, volume);
        }
    }

    /// The sound of the frame on show, from there; silence where there is no footage.
    fn play_sound(&self, review: &mut Review, position: Position, rate: f64, volume: f64) {
        let Position::Frame { place, .. } = position else { return review.sounding.pause() };
        let Some(chapter) = review.footage.chapters.get(place.chapter) else { return };
        let (silent, inbox) = async_channel::bounded(1);
        // A review that is closed meanwhile needs no word.
        let on_silent = move |sentence| drop(silent.try_send(sentence));
        review.sounding.play(&chapter.path, place, rate, volume, on_silent);
        let volume = self.imp().volume.downgrade();
        glib::spawn_future_local(async move {
            if let (Ok(sentence), Some(volume)) = (inbox.recv().await, volume.upgrade()) {
                volume.set_sensitive(false);
                volume.set_tooltip_text(Some(&sentence));
            }
        });
    }

    pub(super) fn slower(&self) {
        let speed = &self.imp().speed;
        speed.set_selected(speed.selected().saturating_sub(1));
    }

    pub(super) fn faster(&self) {
        let speed = &self.imp().speed;
        let last = u32::try_from(SPEEDS.len() - 1).unwrap_or(0);
        speed.set_selected((speed.selected() + 1).min(last));
    }

    fn show_playing(&self, is_playing: bool) {
        let play = &self.imp().play;
        let (icon, word) = if is_playing {
            ("media-playback-pause-symbolic", "Pause")
        } else {
            ("media-playback-start-symbolic", "Play")
        };
        play.set_icon_name(icon);
        play.set_tooltip_text(Some(&format!("{word} (Space)")));
        play.update_property(&[gtk::accessible::Property::Label(word)]);
    }

    pub(super) fn set_volume(&self, volume: f64) {
        if let Some(review) = &*self.imp().review.borrow() {
            review.sounding.set_volume(volume);
        }
        // Before the window has handed them over, there is nothing to keep.
        if let Some(settings) = self.imp().settings.get() {
            settings.set(|it| it.volume = volume);
        }
    }
}

impl Review {
    /// The log time to show by now, s. The picture follows the sound where they have come apart.
    fn follow_sound(&mut self, playing: Playing, now_us: i64) -> f64 {
        let t_s = playing.t_s(now_us);
        let heard = self.sounding.heard().and_then(|(chapter, at)| self.timeline.log_s(chapter, at));
        match heard.filter(|it| is_noticed(it - t_s)) {
            Some(heard_s) => {
                self.playing = Some(Playing::new(now_us, heard_s, playing.rate()));
                heard_s
            }
            None => t_s,
        }
    }
}

/// The chapter that a position is in; `None` where there is no footage.
fn chapter_of(position: Position) -> Option<usize> {
    match position {
        Position::Frame { place, .. } => Some(place.chapter),
        Position::Log { .. } => None,
    }
}
