//! Moving the playhead, and moving everything that is seen with it.

use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::analysis::Analysis;
use crate::corners::MarkKind;
use crate::media::{ShownFrame, Viewer, ViewerEvent};
use crate::present::{CornerWords, Whereabouts, file_missing, whereabouts};
use crate::reel::Phase;
use crate::session::ChannelKind;
use crate::strip::same_place_s;
use crate::window::loading::Footage;
use crate::window::navigate::{Playhead, Stop, Way};
use crate::window::review::panels::Subject;
use crate::window::review::timeline::{Position, Timeline};
use crate::window::review::viewing::{open_viewer, texture_of};
use crate::window::review::{Review, ReviewPage, WITHOUT_FOOTAGE_PX};

impl ReviewPage {
    pub(super) fn ask_for_size(&self) {
        let picture = &self.imp().picture;
        if let Some(viewer) = self.imp().review.borrow().as_ref().and_then(|it| it.viewer.as_ref()) {
            viewer.set_size_px(picture.wanted_px());
        }
        self.show_overlay();
    }

    /// Goes to a log time, s.
    pub(super) fn seek(&self, t_s: f64) {
        self.leave_preview();
        self.go_to(|review| Some(review.timeline.at(t_s)));
        // Who asks may have put its own playhead on the very moment: the frame on show counts, though it be the same.
        let moment_s = self.imp().review.borrow().as_ref().map(Review::moment_s);
        if let Some(moment_s) = moment_s {
            self.panels().set_playhead(moment_s);
        }
    }

    pub(super) fn step(&self, by: i64) {
        self.pause();
        self.go_to(|review| review.timeline.step(review.position, by));
    }

    pub(super) fn jump(&self, stop: Stop, way: Way) {
        self.leave_preview();
        self.go_to(|review| review.stops.next(stop, way, review.playhead()).map(|it| review.timeline.at(it)));
        self.begin_playing_anew();
    }

    pub(super) fn previous_corner(&self) {
        self.jump(Stop::Corner, Way::Back);
    }

    pub(super) fn next_corner(&self) {
        self.jump(Stop::Corner, Way::Forward);
    }

    /// Goes to a mark of the lap on show.
    pub(super) fn go_to_mark(&self, corner: u32, mark: MarkKind) {
        self.go_to(|review| {
            let lap = review.subject().lap?;
            let mark = review.analysis.pass(lap, corner)?.mark(mark)?;
            Some(review.timeline.at(mark.t_s.value))
        });
        self.begin_playing_anew();
    }

    /// Goes to the same place of another lap; to the pass's beginning where that lap has not been there.
    pub(super) fn go_to_pass(&self, lap: u32, corner: u32) {
        self.go_to(|review| {
            let begin_s = || review.analysis.pass(lap, corner)?.times_s().map(|it| it.0);
            let is_on_corner = review.subject().corner == Some(corner);
            let same_s = is_on_corner.then(|| same_place_s(&review.analysis, review.moment_s(), lap)).flatten();
            Some(review.timeline.at(same_s.or_else(begin_s)?))
        });
        self.begin_playing_anew();
    }

    /// Chooses the lap to compare with.
    pub(super) fn compare_with(&self, lap: Option<u32>) {
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            review.other = lap;
        }
        self.show_position();
    }

    pub(super) fn go_to(&self, find: impl FnOnce(&Review) -> Option<Position>) {
        let moved = match &mut *self.imp().review.borrow_mut() {
            Some(review) => find(review).filter(|it| *it != review.position).map(|it| review.position = it).is_some(),
            None => false,
        };
        if moved {
            self.show_position();
        }
    }

    /// Moves everything that is seen to the position.
    pub(super) fn show_position(&self) {
        // Nothing of the state is held while widgets are told: they may ask back.
        let (words, why_no_picture, is_missing) = {
            let mut review = self.imp().review.borrow_mut();
            let Some(review) = &mut *review else { return };
            let has_frame = match (review.position, &mut review.viewer) {
                (Position::Frame { place, .. }, Some(viewer)) => {
                    viewer.show(place);
                    true
                }
                _ => false,
            };
            let is_missing = review.footage.missing.is_some();
            (self.words(review), (!has_frame).then(|| without_picture(review)), is_missing)
        };
        self.show_panels();
        let imp = self.imp();
        imp.where_label.set_text(&words);
        imp.no_picture.set_visible(why_no_picture.is_some());
        if let Some(why) = why_no_picture {
            imp.no_picture_words.set_text(&why);
            imp.find_footage.set_visible(is_missing);
            imp.picture.show_frame(None, WITHOUT_FOOTAGE_PX);
        }
        self.show_overlay();
        self.show_drawings();
        self.show_second();
    }

    /// Strip, map, passes and plot follow the playhead; those whose lap or corner has changed are shown anew.
    fn show_panels(&self) {
        let guest = self.guest_lap();
        let (scene, before, now, t_s) = {
            let mut review = self.imp().review.borrow_mut();
            let Some(review) = &mut *review else { return };
            let now = Subject { guest: guest.as_ref().map(|it| it.lap), ..review.subject() };
            let before = review.shown.replace(now);
            // Most frames move nothing but the playhead: the book is copied for the others only.
            ((before != Some(now)).then(|| review.scene(guest)), before, now, review.moment_s())
        };
        let panels = self.panels();
        if let Some(scene) = scene {
            panels.show(&scene, before, now, self.settings().get().speed_unit);
        }
        panels.set_playhead(t_s);
        if panels.clock.widget().is_mapped() {
            self.show_clock();
        }
    }

    fn words(&self, review: &Review) -> String {
        let Playhead { from_s, until_s } = review.playhead();
        let analysis = &*review.analysis;
        let place = review.track_place();
        // A path without positions stands still unless the log has a speed.
        let has_speed = analysis.plane.is_some() || review.session.samples.channel(ChannelKind::Speed).is_some();
        let pass = review.pass();
        let corner = pass.and_then(|pass| {
            let corner = analysis.corners.iter().find(|it| it.number == pass.corner)?;
            let phase = Phase::of_pass(pass, (from_s, until_s))?.word();
            Some(CornerWords { name: &corner.name, lap: pass.lap, phase })
        });
        let here = Whereabouts {
            t_s: from_s,
            lap: review.subject().lap,
            corner,
            distance_m: place.map(|it| it.distance_m),
            speed_mps: analysis
                .path
                .at(review.moment_s())
                .map(|it| it.speed_mps)
                .filter(|it| has_speed && it.is_finite()),
        };
        whereabouts(here, self.settings().get().speed_unit)
    }

    pub(super) fn show_overlay(&self) {
        let imp = self.imp();
        let mut review = imp.review.borrow_mut();
        let Some(Review { analysis, timeline, position, overlay, footage, .. }) = &mut *review else { return };
        if footage.is_off_clock() {
            return imp.picture.show_tiles(&[]);
        }
        let parts = self.settings().get().overlay;
        let playhead = timeline.playhead(*position);
        let (tiles, are_new) = overlay.tiles(analysis, playhead, imp.picture.fitted_px(), parts);
        if are_new {
            imp.picture.show_tiles(&[]);
        }
        imp.picture.show_tiles(&tiles);
    }

    pub(super) fn open_viewer(&self, footage: &Footage) -> Option<Viewer> {
        let (page, told) = (self.downgrade(), self.downgrade());
        open_viewer(
            &footage.chapters,
            self.cache_bytes(),
            move |frame| {
                if let Some(page) = page.upgrade() {
                    page.show_frame(frame);
                }
            },
            move |event| {
                if let Some(page) = told.upgrade() {
                    page.take_notice(event);
                }
            },
        )
    }

    fn take_notice(&self, event: ViewerEvent) {
        match event {
            ViewerEvent::Ready(index) => {
                if let Some(review) = &mut *self.imp().review.borrow_mut() {
                    review.timeline.set_index(index);
                    let t_s = review.timeline.playhead(review.position).from_s;
                    review.position = review.timeline.at(t_s);
                }
                self.show_position();
            }
            ViewerEvent::Failed(sentence) => self.tell(&sentence),
            ViewerEvent::Shown(_) => {}
        }
    }

    fn show_frame(&self, frame: &ShownFrame) {
        // A frame of footage that the playhead has left meanwhile is not shown over the log alone.
        let is_on_footage =
            self.imp().review.borrow().as_ref().is_some_and(|it| matches!(it.position, Position::Frame { .. }));
        if !is_on_footage {
            return;
        }
        let pixels = &frame.pixels;
        self.imp().picture.show_frame(Some(texture_of(pixels)), (pixels.width_px, pixels.height_px));
    }
}

/// A review opens on the first frame of the first pass that can be seen, else on the first pass, else at the beginning.
pub(super) fn first_position(timeline: &Timeline, analysis: &Analysis) -> Position {
    let mut begins_s: Vec<f64> = analysis.passes.iter().filter_map(|it| it.times_s()).map(|it| it.0).collect();
    begins_s.sort_by(f64::total_cmp);
    let seen = begins_s.iter().copied().find(|it| matches!(timeline.at(*it), Position::Frame { .. }));
    timeline.at(seen.or(begins_s.first().copied()).unwrap_or(0.0))
}

/// Why there is no picture.
fn without_picture(review: &Review) -> String {
    if let Some(missing) = &review.footage.missing {
        return file_missing(&missing.file_name().unwrap_or_default().to_string_lossy());
    }
    if !review.timeline.has_footage() {
        return "This book has no footage.".to_owned();
    }
    review.timeline.elsewhere("The footage", &review.analysis.laps)
}
