//! What the page of findings asks for: they are found in the background, looked at, taken as tags or declined.

use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::book::{Book, Op};
use crate::findings::{Finding, Findings, suggest};
use crate::handout;
use crate::present;
use crate::window::findings::Ask;
use crate::window::inbox::in_background;
use crate::window::review::timeline::Position;
use crate::window::review::{Review, ReviewPage};

impl Review {
    /// The position that shows a finding: where it is seen best, else, where that was not filmed, on another lap that has
    /// it and was.
    fn where_seen(&self, finding: &Finding) -> Position {
        let best = self.timeline.at(finding.seen_at_s);
        let passes = finding.laps.iter().filter_map(|lap| self.analysis.pass(*lap, finding.corner));
        let moments = passes.filter_map(|it| it.times_s()).map(|(from_s, _)| self.timeline.at(from_s));
        let is_filmed = |it: &Position| matches!(it, Position::Frame { .. });
        std::iter::once(best).chain(moments).find(is_filmed).unwrap_or(best)
    }
}

impl ReviewPage {
    pub(super) fn connect_findings(&self) {
        let page = self.downgrade();
        self.panels().findings.connect_asked(move |ask| {
            if let Some(page) = page.upgrade() {
                page.do_what_findings_ask(&ask);
            }
        });
    }

    fn do_what_findings_ask(&self, ask: &Ask) {
        match ask {
            Ask::Find => self.find_anew(),
            Ask::See(finding) => {
                self.go_to(|review| Some(review.where_seen(finding)));
                self.begin_playing_anew();
            }
            Ask::Take(finding) => {
                self.answer(|book| suggest::take(book, finding, present::finding_kind(finding.kind)));
            }
            Ask::Decline(finding) => self.answer(|_| suggest::decline(finding)),
            Ask::Forget(finding) => self.answer(|_| suggest::ask_again(finding)),
        }
    }

    fn answer(&self, op: impl FnOnce(&Book) -> Op) {
        let op = self.imp().review.borrow().as_ref().map(|it| op(it.history.book()));
        if let Some(op) = op {
            self.change(op);
        }
    }

    /// Finds in the background; a newer look replaces an older.
    fn find_anew(&self) {
        let Some((analysis, book)) =
            self.imp().review.borrow().as_ref().map(|it| (it.analysis.clone(), it.history.book().clone()))
        else {
            return;
        };
        let page = self.downgrade();
        let running = in_background(
            "findings",
            move |context| handout::find(&analysis, Some(&book), context),
            move |result| {
                if let (Some(page), Ok(found)) = (page.upgrade(), result) {
                    page.take_findings(found);
                }
            },
        );
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            review.finding = Some(running);
        }
    }

    fn take_findings(&self, found: Findings) {
        let panels = self.panels();
        panels.findings.take_in(found);
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            review.finding = None;
            panels.findings.show(review.history.book(), &review.analysis);
        }
    }
}
