//! Choosing what is beside the first picture: another lap of this book, a lap of another one, or trackside footage.

use std::path::PathBuf;

use gtk::gio;
use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::book::{Book, Id};
use crate::present;
use crate::window::inbox::in_background;
use crate::window::naming::name_button_inside;
use crate::window::review::ReviewPage;
use crate::window::review::second::Beside;
use crate::window::review::second::guest;
use crate::window::review::second::trackside::Trackside;

/// The choice of another lap, as the action `review.beside` has it; trackside footage is its number.
const LAP: &str = "lap";
const OTHER_BOOK: &str = "book";

/// The button with the menu of what can be beside, and what belongs to the present choice.
#[derive(Debug)]
pub(super) struct Chooser {
    root: gtk::Box,
    laps: gtk::DropDown,
    find: gtk::Button,
    pin: gtk::Button,
    menu: gtk::MenuButton,
    chosen: gtk::Label,
}

impl Chooser {
    pub(super) fn new() -> Self {
        let laps = gtk::DropDown::builder().visible(false).build();
        named(&laps, "Lap of the other book");
        let find = gtk::Button::builder().label("Find the file…").visible(false).build();
        let pin = gtk::Button::builder().label("Pin…").visible(false).build();
        pin.set_tooltip_text(Some("Move the trackside footage by itself and pin it to a known place (F4)"));
        let chosen = gtk::Label::builder().ellipsize(gtk::pango::EllipsizeMode::Middle).max_width_chars(18).build();
        let menu =
            gtk::MenuButton::builder().child(&chosen).always_show_arrow(true).direction(gtk::ArrowType::Up).build();
        menu.set_tooltip_text(Some("What is beside the first picture"));
        let root = gtk::Box::builder().spacing(4).margin_end(8).valign(gtk::Align::Center).build();
        for widget in [laps.upcast_ref::<gtk::Widget>(), find.upcast_ref(), pin.upcast_ref(), menu.upcast_ref()] {
            widget.add_css_class("flat");
            root.append(widget);
        }
        Self { root, laps, find, pin, menu, chosen }
    }

    pub(super) fn widget(&self) -> &gtk::Box {
        &self.root
    }

    /// Index of the lap that is chosen.
    pub(super) fn lap(&self) -> usize {
        usize::try_from(self.laps.selected()).unwrap_or(usize::MAX)
    }

    fn show(&self, beside: &Beside) {
        if let Some(guest) = beside.guest() {
            let names: Vec<String> = guest.laps.iter().map(|it| present::lap_name(Some(*it))).collect();
            self.laps.set_model(Some(&gtk::StringList::new(&names.iter().map(String::as_str).collect::<Vec<_>>())));
            self.laps.set_selected(u32::try_from(guest.quickest).unwrap_or(0));
        }
        self.laps.set_visible(beside.guest().is_some());
        let chosen = match beside {
            Beside::Lap => "Another lap",
            Beside::Guest(guest) => &guest.name,
            Beside::Trackside(trackside) => &trackside.name,
        };
        self.chosen.set_text(chosen);
        self.name_menu();
        self.show_pinning(beside.trackside());
    }

    fn name_menu(&self) {
        let words = format!("Beside: {}", self.chosen.text());
        self.menu.update_property(&[gtk::accessible::Property::Label(&words)]);
        name_button_inside(&self.menu, &words);
    }

    /// Offers to pin trackside footage, or to find its file.
    pub(super) fn show_pinning(&self, trackside: Option<&Trackside>) {
        self.find.set_visible(trackside.is_some_and(Trackside::is_missing));
        self.pin.set_visible(trackside.is_some_and(|it| it.chapter().is_some() && !it.is_alone()));
    }
}

fn named(widget: &impl IsA<gtk::Widget>, words: &str) {
    widget.set_tooltip_text(Some(words));
    widget.upcast_ref::<gtk::Widget>().update_property(&[gtk::accessible::Property::Label(words)]);
}

/// What can be beside the first picture, as the book is now.
fn menu_of(book: &Book, trackside: Option<Id>) -> gio::Menu {
    let item = |label: &str, action: &str, target: Option<&str>| {
        let item = gio::MenuItem::new(Some(label), None);
        item.set_action_and_target_value(Some(action), target.map(ToVariant::to_variant).as_ref());
        item
    };
    let menu = gio::Menu::new();
    let passes = gio::Menu::new();
    passes.append_item(&item("Another lap of this book", "review.beside", Some(LAP)));
    passes.append_item(&item("Another book…", "review.beside-book", None));
    menu.append_section(None, &passes);
    let footage = gio::Menu::new();
    for (id, it) in &book.trackside {
        let name = Trackside::new(*id, it.file.clone()).name;
        // An underscore stands for itself, not for a key to reach the item by.
        footage.append_item(&item(&name.replace('_', "__"), "review.beside", Some(&id.to_string())));
    }
    footage.append_item(&item("Add trackside footage…", "review.add-trackside", None));
    if trackside.is_some() {
        footage.append_item(&item("Take this footage out of the book", "review.remove-trackside", None));
    }
    menu.append_section(Some("Trackside footage"), &footage);
    menu
}

impl ReviewPage {
    pub(super) fn connect_chooser(&self, chooser: &Chooser) {
        let page = self.downgrade();
        chooser.laps.connect_selected_notify(move |_| {
            if let Some(page) = page.upgrade() {
                page.show_position();
            }
        });
        let page = self.downgrade();
        chooser.find.connect_clicked(move |_| {
            if let Some(page) = page.upgrade() {
                page.find_trackside();
            }
        });
        let page = self.downgrade();
        chooser.pin.connect_clicked(move |_| {
            if let Some(page) = page.upgrade() {
                page.toggle_pinning();
            }
        });
    }

    /// The actions of the menu, in the page's group.
    pub(in crate::window::review) fn add_beside_actions(&self, group: &gio::SimpleActionGroup) {
        let beside = gio::SimpleAction::new_stateful("beside", Some(gtk::glib::VariantTy::STRING), &LAP.to_variant());
        let page = self.downgrade();
        beside.connect_activate(move |_, chosen| {
            let (Some(page), Some(chosen)) = (page.upgrade(), chosen.and_then(gtk::glib::Variant::str)) else { return };
            match chosen.parse() {
                Ok(number) => page.choose_trackside(Id(number)),
                Err(_) => page.leave_guest(),
            }
        });
        group.add_action(&beside);
        for (name, act) in [
            ("beside-book", Self::choose_guest as fn(&Self)),
            ("add-trackside", Self::choose_trackside_file),
            ("remove-trackside", Self::remove_trackside),
        ] {
            let action = gio::SimpleAction::new(name, None);
            let page = self.downgrade();
            action.connect_activate(move |_, _| {
                if let Some(page) = page.upgrade() {
                    act(&page);
                }
            });
            group.add_action(&action);
        }
    }

    /// The menu lists the trackside footage that the book has now.
    pub(in crate::window::review) fn show_beside_menu(&self) {
        let Some(second) = self.imp().second.get() else { return };
        let beside = second.beside.borrow();
        let menu = self
            .imp()
            .review
            .borrow()
            .as_ref()
            .map(|it| menu_of(it.history.book(), beside.trackside().map(|it| it.id)));
        second.chooser.menu.set_menu_model(menu.as_ref());
        let chosen = match &*beside {
            Beside::Lap => LAP.to_owned(),
            Beside::Guest(_) => OTHER_BOOK.to_owned(),
            Beside::Trackside(trackside) => trackside.id.to_string(),
        };
        let action = self.imp().actions.get().and_then(|it| it.lookup_action("beside"));
        if let Some(action) = action.and_downcast::<gio::SimpleAction>() {
            action.set_state(&chosen.to_variant());
        }
    }

    fn choose_guest(&self) {
        let books = gtk::FileFilter::new();
        books.set_name(Some("Books"));
        books.add_pattern("*.cornerbook");
        self.choose_file("Compare with another book", "Compare", Some(&books), Self::read_guest);
    }

    /// Asks for one file.
    pub(in crate::window::review) fn choose_file(
        &self,
        title: &str,
        accept: &str,
        filter: Option<&gtk::FileFilter>,
        chosen: impl Fn(&Self, PathBuf) + 'static,
    ) {
        let chooser = gtk::FileChooserNative::new(
            Some(title),
            self.root().and_downcast_ref::<gtk::Window>(),
            gtk::FileChooserAction::Open,
            Some(accept),
            Some("Cancel"),
        );
        chooser.set_modal(true);
        if let Some(filter) = filter {
            chooser.add_filter(filter);
        }
        let page = self.downgrade();
        // The dialog lives until it has answered: the closure holds it.
        let held = chooser.clone();
        chooser.connect_response(move |_, response| {
            let path = held.file().and_then(|it| it.path()).filter(|_| response == gtk::ResponseType::Accept);
            if let (Some(page), Some(path)) = (page.upgrade(), path) {
                chosen(&page, path);
            }
            held.destroy();
        });
        chooser.show();
    }

    /// Reads another book in the background; what is chosen meanwhile replaces it.
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
                        // What was set aside in its log is for when that book is under review.
                        let is_unseen = guest.footage.chapters.is_empty() && !guest.book.recording.chapters.is_empty();
                        page.take_beside(Beside::Guest(Box::new(guest)));
                        if let Some(first) = sentences.first().filter(|_| is_unseen) {
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

    /// The second picture follows a lap of the review's own book.
    pub(in crate::window::review) fn leave_guest(&self) {
        self.take_beside(Beside::Lap);
    }

    /// Another thing is beside the first picture.
    pub(super) fn take_beside(&self, beside: Beside) {
        let second = self.second();
        // Nothing is held while the widgets are told: they ask back.
        second.beside.replace(Beside::Lap);
        second.reading.replace(None);
        second.chooser.show(&beside);
        second.beside.replace(beside);
        self.show_beside_menu();
        self.begin_second_anew();
        self.show_anew();
    }
}
