//! The footage of the book that is open, read anew where the book says something else of it, and found again where it has
//! moved.

use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::book::file::refer_to;
use crate::present;
use crate::window::inbox::in_background;
use crate::window::loading::{Footage, footage_or_none};
use crate::window::review::timeline::Timeline;
use crate::window::review::{ReviewPage, WITHOUT_FOOTAGE_PX};

impl ReviewPage {
    /// Asks where the missing footage is now, and says so in the book.
    pub(super) fn find_footage(&self) {
        let missing = self.imp().review.borrow().as_ref().and_then(|it| it.footage.missing.clone());
        let Some(missing) = missing else { return };
        let name = missing.file_name().unwrap_or_default().to_string_lossy().into_owned();
        self.choose_file(&format!("Where is {name}?"), "Use this file", None, move |page, path| {
            let now = match refer_to(&path) {
                Ok(now) => now,
                Err(error) => return page.tell(&error.to_string()),
            };
            let op = page.imp().review.borrow().as_ref().and_then(|it| it.history.book().moved(&missing, now));
            if let Some(op) = op {
                page.change(op);
                // The button that was pressed goes with what was missing.
                page.grab_focus();
            }
        });
    }

    /// Reads the footage that the book names now, in the background; a newer change replaces an older.
    pub(super) fn read_footage_anew(&self) {
        let Some(session) =
            self.imp().review.borrow().as_ref().map(|it| it.session.with_book(it.history.book().clone()))
        else {
            return;
        };
        let page = self.downgrade();
        let running = in_background(
            "footage",
            move |context| footage_or_none(&session, context),
            move |result| {
                if let (Some(page), Ok((footage, sentences))) = (page.upgrade(), result) {
                    page.take_footage(footage, &sentences);
                }
            },
        );
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            review.reading = Some(running);
        }
    }

    /// Shows other footage at the moment that is on show.
    fn take_footage(&self, footage: Footage, sentences: &[String]) {
        self.pause();
        let viewer = self.open_viewer(&footage);
        let notes = match &mut *self.imp().review.borrow_mut() {
            Some(review) => {
                let t_s = review.playhead().from_s;
                review.timeline = Timeline::new(footage.on_view(), review.session.samples.duration_s());
                review.position = review.timeline.at(t_s);
                (review.footage, review.viewer, review.reading) = (footage, viewer, None);
                let analysed = review.analysis.notes.iter().map(present::note);
                sentences.iter().cloned().chain(analysed).collect::<Vec<_>>()
            }
            None => return,
        };
        self.panels().files.show_notes(&notes);
        self.imp().picture.show_frame(None, WITHOUT_FOOTAGE_PX);
        self.imp().volume.set_sensitive(self.has_footage());
        self.ask_for_size();
        self.begin_second_anew();
        self.forget_thumbnails();
        self.show_anew();
    }
}
