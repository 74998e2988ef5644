//! A book that could not be saved: the message with its ways out, and the question before it is left.

use std::cell::RefCell;

use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::book::file::with_ending;
use crate::present;
use crate::window::main_window::{MainWindow, WayOut};
use crate::window::review::{Decision, Kept, other_name};

/// What waits until the book is saved or given up.
pub(super) type Waiting = Box<dyn FnOnce(&MainWindow)>;

impl MainWindow {
    /// After each save: where it failed, a message with the ways out; where the next went well, the message goes.
    pub(super) fn show_kept(&self) {
        let imp = self.imp();
        match imp.review_page.kept() {
            Kept::Saving => return,
            Kept::Saved if imp.is_of_unsaved.replace(false) => imp.message_box.set_visible(false),
            Kept::Saved => {}
            Kept::Not { sentence, way_out } => {
                let other = way_out.map(WayOut::Decide);
                self.tell_with(&sentence, other.into_iter().chain([WayOut::SaveAs]).collect());
                imp.is_of_unsaved.set(true);
            }
        }
        self.show_title();
        if let Some(waiting) = imp.waiting.take() {
            self.once_saved(waiting);
        }
    }

    /// Does `act` as soon as the open book is saved. Where it cannot be, a person is asked first what becomes of it.
    pub(super) fn once_saved(&self, act: impl FnOnce(&Self) + 'static) {
        match self.imp().review_page.kept() {
            Kept::Saved => act(self),
            Kept::Saving => {
                self.imp().waiting.replace(Some(Box::new(act)));
            }
            Kept::Not { sentence, way_out } => self.ask_what_becomes_of_it(&sentence, way_out, Box::new(act)),
        }
    }

    fn ask_what_becomes_of_it(&self, sentence: &str, way_out: Option<Decision>, act: Waiting) {
        let dialog = gtk::MessageDialog::builder()
            .transient_for(self)
            .modal(true)
            .destroy_with_parent(true)
            .message_type(gtk::MessageType::Question)
            .text("The last changes are not saved")
            .secondary_text(present::one_line(sentence))
            .build();
        dialog.add_button("Cancel", gtk::ResponseType::Cancel);
        dialog.add_button("Discard the changes", gtk::ResponseType::Reject);
        if let Some(way_out) = &way_out {
            dialog.add_button(WayOut::Decide(way_out.clone()).label(), gtk::ResponseType::Apply);
        }
        dialog.add_button(WayOut::SaveAs.label(), gtk::ResponseType::Accept);
        dialog.set_default_response(gtk::ResponseType::Accept);
        let (window, act) = (self.downgrade(), RefCell::new(Some(act)));
        dialog.connect_response(move |dialog, response| {
            dialog.destroy();
            let (Some(window), Some(act)) = (window.upgrade(), act.take()) else { return };
            match (response, &way_out) {
                (gtk::ResponseType::Reject, _) => act(&window),
                (gtk::ResponseType::Apply, Some(decision)) => {
                    window.decide(decision.clone());
                    window.once_saved(act);
                }
                (gtk::ResponseType::Accept, _) => window.save_as(Some(act)),
                _ => {}
            }
        });
        dialog.present();
    }

    /// Asks for another name and saves there; then does what waits.
    pub(super) fn save_as(&self, act: Option<Waiting>) {
        let Some(path) = self.imp().review_page.book_path() else { return };
        let act = RefCell::new(act);
        self.choose_new("Save the book as", "Save", &other_name(&path), move |window, path| {
            window.decide(Decision::SaveAs(with_ending(&path)));
            if let Some(act) = act.take() {
                window.once_saved(act);
            }
        });
    }

    pub(super) fn decide(&self, decision: Decision) {
        if let Err(error) = self.imp().review_page.decide(decision) {
            self.tell(&error.to_string());
        }
    }
}
