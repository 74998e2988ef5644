//! Choosing what the second picture follows: a lap of this book, or of another one.

use std::path::PathBuf;

use gtk::prelude::*;
use gtk4 as gtk;

use crate::present;
use crate::window::inbox::in_background;
use crate::window::review::ReviewPage;
use crate::window::review::second::guest::{self, Guest};

/// The button for another book, and while there is one its laps and a button to be rid of it.
#[derive(Debug)]
pub(super) struct Chooser {
    root: gtk::Box,
    laps: gtk::DropDown,
    away: gtk::Button,
    open: gtk::Button,
}

impl Chooser {
    pub(super) fn new() -> Self {
        let laps = gtk::DropDown::builder().visible(false).build();
        let away = gtk::Button::builder().icon_name("window-close-symbolic").visible(false).build();
        let open = gtk::Button::builder().icon_name("document-open-symbolic").build();
        named(&laps, "Lap of the other book");
        named(&away, "Back to this book's laps");
        named(&open, "Compare with another book");
        let root = gtk::Box::builder().spacing(4).build();
        for widget in [laps.upcast_ref::<gtk::Widget>(), away.upcast_ref(), open.upcast_ref()] {
            widget.add_css_class("flat");
            root.append(widget);
        }
        Self { root, laps, away, open }
    }

    pub(super) fn widget(&self) -> &gtk::Box {
        &self.root
    }

    /// Index of the lap that is chosen.
    pub(super) fn lap(&self) -> usize {
        usize::try_from(self.laps.selected()).unwrap_or(usize::MAX)
    }

    fn show(&self, guest: Option<&Guest>) {
        if let Some(guest) = guest {
            let names: Vec<String> = guest.laps.iter().map(|it| present::lap_name(Some(*it))).collect();
            self.laps.set_model(Some(&gtk::StringList::new(&names.iter().map(String::as_str).collect::<Vec<_>>())));
            self.laps.set_selected(u32::try_from(guest.quickest).unwrap_or(0));
        }
        self.laps.set_visible(guest.is_some());
        self.away.set_visible(guest.is_some());
    }
}

fn named(widget: &impl IsA<gtk::Widget>, words: &str) {
    widget.set_tooltip_text(Some(words));
    widget.upcast_ref::<gtk::Widget>().update_property(&[gtk::accessible::Property::Label(words)]);
}

impl ReviewPage {
    pub(super) fn connect_chooser(&self, chooser: &Chooser) {
        let page = self.downgrade();
        chooser.open.connect_clicked(move |_| {
            if let Some(page) = page.upgrade() {
                page.choose_guest();
            }
        });
        let page = self.downgrade();
        chooser.away.connect_clicked(move |_| {
            if let Some(page) = page.upgrade() {
                page.leave_guest();
            }
        });
        let page = self.downgrade();
        chooser.laps.connect_selected_notify(move |_| {
            if let Some(page) = page.upgrade() {
                page.show_second();
            }
        });
    }

    fn choose_guest(&self) {
        let chooser = gtk::FileChooserNative::new(
            Some("Compare with another book"),
            self.root().and_downcast_ref::<gtk::Window>(),
            gtk::FileChooserAction::Open,
            Some("Compare"),
            Some("Cancel"),
        );
        chooser.set_modal(true);
        let books = gtk::FileFilter::new();
        books.set_name(Some("Books"));
        books.add_pattern("*.cornerbook");
        chooser.add_filter(&books);
        let page = self.downgrade();
        // The dialog lives until it has answered: the closure holds it.
        let held = chooser.clone();
        chooser.connect_response(move |_, response| {
            let path = held.file().and_then(|it| it.path()).filter(|_| response == gtk::ResponseType::Accept);
            if let (Some(page), Some(path)) = (page.upgrade(), path) {
                page.read_guest(path);
            }
            held.destroy();
        });
        chooser.show();
    }

    /// Reads another book in the background; a book chosen meanwhile replaces it.
    fn read_guest(&self, path: PathBuf) {
        let second = self.second();
        second.words.set_text("Reading the other book …");
        let page = self.downgrade();
        let running = in_background(
            "other book",
            move |context| guest::read(&path, context),
            move |result| {
                let Some(page) = page.upgrade() else { return };
                match result {
                    Ok((guest, sentences)) => {
                        page.take_guest(Some(guest));
                        if let Some(first) = sentences.first() {
                            page.tell(first);
                        }
                    }
                    Err(error) => {
                        page.tell(&error.to_string());
                        page.show_second();
                    }
                }
            },
        );
        second.reading.replace(Some(running));
    }

    /// The second picture follows the review's own book.
    pub(in crate::window::review) fn leave_guest(&self) {
        self.take_guest(None);
    }

    /// The second picture follows another book, or this one again.
    fn take_guest(&self, guest: Option<Guest>) {
        let second = self.second();
        // Nothing is held while the widgets are told: they ask back.
        second.guest.replace(None);
        second.reading.replace(None);
        second.chooser.show(guest.as_ref());
        second.guest.replace(guest);
        self.begin_second_anew();
        self.show_second();
    }
}
