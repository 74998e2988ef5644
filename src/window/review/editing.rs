//! Changing the book: each change is one operation, saved at once, and what hangs on it is computed and shown anew.

use std::sync::Arc;

use gtk::gdk;
use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::analysis;
use crate::book::{Book, Exit, History, Id, MarkPlace, Op, Refused, Tag, TagPlace, What};
use crate::corners::{MarkKind, Pass};
use crate::load::name_corners;
use crate::window::inbox::in_background;
use crate::window::navigate::{Playhead, Stops};
use crate::window::review::session_overlay::SessionOverlay;
use crate::window::review::{Review, ReviewPage};
use crate::window::strip::MarkMove;
use crate::window::tags::tag_time_s;

/// The playhead is put on marks in floating-point numbers, s.
const ROUNDING_S: f64 = 1e-6;

impl Review {
    /// The mark on the frame on show. What a person has moved is where the book has it: the analysis may not have
    /// followed yet.
    fn mark_on_show(&self) -> Option<MarkPlace> {
        let Playhead { from_s, until_s } = self.playhead();
        let is_on_show = |t_s: f64| t_s >= from_s - ROUNDING_S && t_s < until_s;
        let moved = &self.history.book().marks;
        let of_pass = |pass: &Pass| {
            let place = |mark| MarkPlace { lap: pass.lap, corner: pass.corner, mark };
            [MarkKind::TurnIn, MarkKind::Apex, MarkKind::Exit].map(|it| Some((place(it), pass.mark(it)?.t_s.value)))
        };
        let found = self.analysis.passes.iter().flat_map(of_pass).flatten().filter(|it| !moved.contains_key(&it.0));
        let mut all = moved.iter().map(|(place, t_s)| (*place, *t_s)).chain(found);
        all.find(|it| is_on_show(it.1)).map(|it| it.0)
    }
}

impl ReviewPage {
    /// Does an operation; a refused one is told and changes nothing.
    pub(super) fn change(&self, op: Op) {
        if let Err(sentence) = self.try_change(op) {
            self.tell(&sentence);
        }
    }

    /// Does an operation, or gives back why it is refused; then nothing is changed.
    pub(super) fn try_change(&self, op: Op) -> Result<(), String> {
        self.edit(|review| review.history.apply(op).map(|()| true)).map_err(|refused| refused.to_string())
    }

    pub(crate) fn undo(&self) {
        if !self.does_text("text.undo") {
            self.step_back_or_on(History::undo);
        }
    }

    pub(crate) fn redo(&self) {
        if !self.does_text("text.redo") {
            self.step_back_or_on(History::redo);
        }
    }

    fn step_back_or_on(&self, step: impl FnOnce(&mut History) -> bool) {
        if let Err(refused) = self.edit(|review| Ok(step(&mut review.history))) {
            self.tell(&refused.to_string());
        }
    }

    pub(crate) fn can_undo(&self) -> bool {
        self.imp().review.borrow().as_ref().is_some_and(|it| it.history.can_undo())
    }

    pub(crate) fn can_redo(&self) -> bool {
        self.imp().review.borrow().as_ref().is_some_and(|it| it.history.can_redo())
    }

    fn edit(&self, edit: impl FnOnce(&mut Review) -> Result<bool, Refused>) -> Result<(), Refused> {
        let before = match &mut *self.imp().review.borrow_mut() {
            Some(review) => {
                let before = review.history.book().clone();
                edit(review)?.then_some(before)
            }
            None => None,
        };
        if let Some(before) = before {
            self.take_in(&before);
        }
        Ok(())
    }

    /// Saves the book as it is now, and shows what has changed in it.
    fn take_in(&self, before: &Book) {
        let (needs_analysis, has_other_footage, has_other_pins, has_other_tags) =
            match &mut *self.imp().review.borrow_mut() {
                Some(review) => {
                    review.keeping.save(review.history.book());
                    let book = review.history.book();
                    if book.corner_names != before.corner_names {
                        name_corners(Arc::make_mut(&mut review.analysis), book);
                        review.overlay = SessionOverlay::new(&review.analysis, self.settings().get().speed_unit);
                    }
                    let needs_analysis =
                        book.mark_edits() != before.mark_edits() || book.marked_crossing_s != before.marked_crossing_s;
                    let has_other_footage = book.recording.chapters != before.recording.chapters;
                    let has_other_pins = book.recording.pins != before.recording.pins;
                    // Tags say which passes are clean.
                    (needs_analysis, has_other_footage, has_other_pins, book.tags != before.tags)
                }
                None => return,
            };
        if needs_analysis {
            self.analyse_anew();
        }
        if has_other_tags {
            self.panels().findings.set_stale();
        }
        if has_other_footage {
            self.read_footage_anew();
        } else if has_other_pins {
            self.take_in_pins();
        }
        self.take_in_tags();
        self.show_anew();
        self.tell_changed();
    }

    fn tell_changed(&self) {
        self.imp().on_changed.tell(());
    }

    pub(super) fn take_in_tags(&self) {
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            let book = review.history.book();
            let times_s: Vec<f64> =
                book.tags.values().filter_map(|it| tag_time_s(it, book, &review.analysis)).collect();
            review.stops.set_tags(times_s.into_iter());
        }
        self.show_tag_menu();
        self.show_beside_menu();
    }

    /// Shows all panels anew where they are.
    pub(super) fn show_anew(&self) {
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            // The corner on show stays, even where the playhead is far from it.
            let corner = review.shown.and_then(|it| it.corner);
            review.shown = None;
            review.before_drag = None;
            review.corner_before = corner;
        }
        self.show_position();
        self.show_reel();
    }

    /// Computes everything from the corrections as they are now, in the background; a newer change replaces an older.
    fn analyse_anew(&self) {
        let page = self.downgrade();
        let Some((session, book)) =
            self.imp().review.borrow().as_ref().map(|it| (it.session.clone(), it.history.book().clone()))
        else {
            return;
        };
        let running = in_background(
            "analysis",
            move |context| {
                let mut inputs = session.inputs.clone();
                inputs.edits = book.mark_edits();
                inputs.marked_crossing_s = book.marked_crossing_s;
                let mut analysis = analysis::run(&inputs, context)?;
                name_corners(&mut analysis, &book);
                Ok::<_, crate::job::Cancelled>(analysis)
            },
            move |result| {
                if let (Some(page), Ok(analysis)) = (page.upgrade(), result) {
                    page.take_analysis(Arc::new(analysis));
                }
            },
        );
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            review.analysing = Some(running);
        }
    }

    fn take_analysis(&self, analysis: Arc<analysis::Analysis>) {
        let unit = self.settings().get().speed_unit;
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            review.stops = Stops::of(&analysis);
            review.overlay = SessionOverlay::new(&analysis, unit);
            review.analysis = analysis;
            review.analysing = None;
        }
        self.panels().findings.set_stale();
        self.take_in_tags();
        self.show_anew();
    }

    /// Puts a mark of the lap on show at a log time, s, or gives it back to the program.
    pub(super) fn move_mark(&self, corner: u32, mark: MarkKind, t_s: Option<f64>) {
        let lap = self.imp().review.borrow().as_ref().and_then(|it| it.subject().lap);
        if let Some(lap) = lap {
            self.change(Op::Mark(MarkPlace { lap, corner, mark }, t_s));
        }
    }

    /// The picture goes along with a mark that is dragged: the frame under it is what its place is judged by.
    pub(super) fn follow_dragged(&self, t_s: f64) {
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            review.before_drag.get_or_insert(review.position);
        }
        self.pause();
        self.seek(t_s);
    }

    pub(super) fn drop_dragged(&self, mark: MarkMove) {
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            review.before_drag = None;
        }
        self.move_mark(mark.corner, mark.kind, Some(mark.t_s));
    }

    /// A drag that is given up leaves everything as it was.
    pub(super) fn leave_dragged(&self) {
        let before = self.imp().review.borrow_mut().as_mut().and_then(|it| it.before_drag.take());
        if let Some(before) = before {
            self.go_to(|_| Some(before));
        }
    }

    /// Puts a mark of the pass at the playhead on the frame on show.
    pub(super) fn mark_here(&self, mark: MarkKind) {
        let here = self.imp().review.borrow().as_ref().and_then(|review| {
            let pass = review.pass()?;
            Some((MarkPlace { lap: pass.lap, corner: pass.corner, mark }, review.playhead().from_s))
        });
        match here {
            Some((place, t_s)) => self.change(Op::Mark(place, Some(t_s))),
            None => self.tell("there is no corner here to set a mark of; go to one first"),
        }
    }

    /// Moves the mark on the frame on show by so many frames, and the playhead with it.
    pub(super) fn move_mark_here(&self, by: i64) {
        let Some(place) = self.imp().review.borrow().as_ref().and_then(Review::mark_on_show) else {
            return self.tell("there is no mark on this frame; Shift with the arrow keys goes to one");
        };
        self.step(by);
        let t_s = self.imp().review.borrow().as_ref().map(|it| it.playhead().from_s);
        if let Some(t_s) = t_s {
            self.change(Op::Mark(place, Some(t_s)));
        }
    }

    /// Gives all marks of the pass at the playhead back to the program.
    pub(super) fn give_marks_back(&self) {
        let op = self.imp().review.borrow().as_ref().and_then(|review| {
            let pass = review.pass()?;
            let moved = review.history.book().marks.keys().copied();
            let of_pass = moved.filter(|it| (it.lap, it.corner) == (pass.lap, pass.corner));
            let ops: Vec<Op> = of_pass.map(|it| Op::Mark(it, None)).collect();
            (!ops.is_empty()).then_some(Op::Several(ops))
        });
        match op {
            Some(op) => self.change(op),
            None => self.tell("no mark of this pass was moved by hand"),
        }
    }

    /// Puts a tag on the frame on show. Trackside footage that is moved by itself has moments of its own.
    pub(super) fn tag_frame(&self, what: What) {
        let alone = self.trackside_frame_alone();
        self.tag(what, |review| {
            let of_session = TagPlace::Frame { t_s: review.playhead().from_s };
            Some(alone.map_or(of_session, |(footage, at)| TagPlace::Trackside { footage, at }))
        });
    }

    /// Puts a tag on the pass at the playhead.
    pub(super) fn tag_pass(&self, what: What) {
        self.tag(what, |review| {
            let pass = review.pass()?;
            Some(TagPlace::Pass { lap: pass.lap, corner: pass.corner })
        });
    }

    fn tag(&self, what: What, on: impl FnOnce(&Review) -> Option<TagPlace>) {
        let op = self.imp().review.borrow().as_ref().and_then(|review| {
            let tag = Tag { on: on(review)?, what, note: None };
            Some(Op::Tag(review.history.book().next_id, Some(tag)))
        });
        match op {
            Some(op) => self.change(op),
            None => self.tell("there is no pass here to tag; go to a corner first"),
        }
    }

    /// Rates the exit of the pass at the playhead; the same rating again takes it back.
    pub(super) fn rate_exit(&self, exit: Exit) {
        let op = self.imp().review.borrow().as_ref().and_then(|review| {
            let (pass, book) = (review.pass()?, review.history.book());
            let tag = |on| Tag { on, what: What::Exit(exit), note: None };
            let on = TagPlace::Pass { lap: pass.lap, corner: pass.corner };
            Some(match book.exit_of(pass.lap, pass.corner) {
                Some((id, rated)) if rated == exit => Op::Tag(id, None),
                Some((id, _)) => {
                    let note = book.tags.get(&id).and_then(|it| it.note.clone());
                    Op::Tag(id, Some(Tag { note, ..tag(on) }))
                }
                None => Op::Tag(book.next_id, Some(tag(on))),
            })
        });
        match op {
            Some(op) => self.change(op),
            None => self.tell("there is no pass here to rate; go to a corner first"),
        }
    }

    /// Puts on the tag whose key was typed: on the frame, or with Shift on the pass. `false` where it is no tag's key.
    pub(super) fn tag_by_key(&self, key: gdk::Key, keycode: u32, on_pass: bool) -> bool {
        let kind = self.imp().review.borrow().as_ref().and_then(|review| {
            let typed = self.unshifted(keycode).or(key.to_unicode())?;
            review.history.book().kind_of_key(typed).map(|(id, _)| id)
        });
        let Some(kind) = kind else { return false };
        if on_pass {
            self.tag_pass(What::Kind(kind))
        } else {
            self.tag_frame(What::Kind(kind))
        }
        true
    }

    /// What a key of the keyboard types without Shift.
    fn unshifted(&self, keycode: u32) -> Option<char> {
        let keys = self.display().map_keycode(keycode)?;
        keys.into_iter().find(|(key, _)| key.level() == 0).and_then(|(_, key)| key.to_unicode())
    }

    /// Goes to a tag by its number; one on trackside footage is shown there.
    pub(super) fn go_to_tag(&self, tag: u64) {
        let Ok(id) = u32::try_from(tag).map(Id) else { return };
        let on = self.imp().review.borrow().as_ref().and_then(|it| Some(it.history.book().tags.get(&id)?.on));
        if let Some(TagPlace::Trackside { footage, at }) = on {
            return self.show_trackside_frame(footage, at);
        }
        self.go_to(|review| {
            let book = review.history.book();
            let t_s = tag_time_s(book.tags.get(&id)?, book, &review.analysis)?;
            Some(review.timeline.at(t_s))
        });
        self.begin_playing_anew();
    }
}
