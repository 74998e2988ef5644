//! The editor of the team's tag set: name, colour and key of each kind. Each change is one operation, done at once; what
//! the book refuses is said in its own sentence, and the field shows again what the book has.

use std::cell::RefCell;
use std::rc::{Rc, Weak};

use gtk::gdk;
use gtk::glib;
use gtk::prelude::*;
use gtk4 as gtk;

use crate::book::{Book, Colour, Id, Op, TagKind};
use crate::present;
use crate::window::naming::{name_button_inside, name_by_words};
use crate::window::tags::set::{addition, removal, typed_key};
use crate::window::tags::set_text;

/// The book that the set is of.
pub(crate) struct SetOwner {
    /// `None` once the book is closed.
    pub(crate) book: Box<dyn Fn() -> Option<Book>>,
    /// Does an operation, or says why not.
    pub(crate) change: Box<dyn Fn(Op) -> Result<(), String>>,
    /// Whether a key means something else where tags are put on.
    pub(crate) is_page_key: Box<dyn Fn(char) -> bool>,
}

impl std::fmt::Debug for SetOwner {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SetOwner").finish_non_exhaustive()
    }
}

struct Dialog {
    window: gtk::Window,
    list: gtk::ListBox,
    trouble: gtk::Label,
    rows: RefCell<Vec<Row>>,
    owner: SetOwner,
}

/// The fields of one kind.
#[derive(Clone)]
struct Row {
    id: Id,
    colour: gtk::ColorButton,
    name: gtk::Entry,
    key: gtk::Entry,
    remove: gtk::Button,
}

/// Shows the editor over a widget's window.
pub(crate) fn show_tag_set(over: &impl IsA<gtk::Widget>, owner: SetOwner) {
    let builder = gtk::Builder::from_string(include_str!("../../../resources/window/tag_set.ui"));
    let part = "the editor's own file has every part";
    let add: gtk::Button = builder.object("set_add").expect(part);
    let close: gtk::Button = builder.object("set_close").expect(part);
    [&add, &close].into_iter().for_each(name_by_words);
    let dialog = Rc::new(Dialog {
        window: builder.object("set_window").expect(part),
        list: builder.object("set_list").expect(part),
        trouble: builder.object("set_trouble").expect(part),
        rows: RefCell::default(),
        owner,
    });
    dialog.window.set_transient_for(over.root().and_downcast_ref::<gtk::Window>());
    dialog.show();
    let weak = Rc::downgrade(&dialog);
    add.connect_clicked(move |_| with(&weak, Dialog::add));
    let weak = Rc::downgrade(&dialog);
    close.connect_clicked(move |_| with(&weak, |it| it.window.close()));
    let keys = gtk::EventControllerKey::new();
    let weak = Rc::downgrade(&dialog);
    keys.connect_key_pressed(move |_, key, _, _| {
        if key != gdk::Key::Escape {
            return glib::Propagation::Proceed;
        }
        with(&weak, |it| it.window.close());
        glib::Propagation::Stop
    });
    dialog.window.add_controller(keys);
    // The window holds the dialog until it closes; what is still in a field is kept first.
    let held = RefCell::new(Some(dialog.clone()));
    dialog.window.connect_close_request(move |_| {
        let are_kept = held.borrow().as_ref().is_none_or(|it| it.keep_all());
        if !are_kept {
            return glib::Propagation::Stop;
        }
        held.replace(None);
        glib::Propagation::Proceed
    });
    dialog.window.present();
}

fn with(dialog: &Weak<Dialog>, act: impl FnOnce(&Rc<Dialog>)) {
    if let Some(dialog) = dialog.upgrade() {
        act(&dialog);
    }
}

impl Dialog {
    /// Makes the rows anew from the book.
    fn show(self: &Rc<Self>) {
        self.rows.borrow_mut().clear();
        while let Some(row) = self.list.first_child() {
            self.list.remove(&row);
        }
        let Some(book) = (self.owner.book)() else { return };
        for (id, kind) in &book.tag_kinds {
            let row = Row::new(*id, kind);
            row.set_removal(&removal(&book, *id).words());
            self.list.append(&row.widget());
            self.connect_row(&row);
            self.rows.borrow_mut().push(row);
        }
    }

    /// The fields ask for their row by its number: held by their own closures, they would never be let go of.
    fn connect_row(self: &Rc<Self>, row: &Row) {
        let on = |act: fn(&Rc<Self>, Id)| {
            let (weak, id) = (Rc::downgrade(self), row.id);
            move || with(&weak, |it| act(it, id))
        };
        let act = on(Self::keep_of);
        row.colour.connect_color_set(move |_| act());
        for entry in [&row.name, &row.key] {
            let act = on(Self::keep_of);
            entry.connect_activate(move |_| act());
            let focus = gtk::EventControllerFocus::new();
            let act = on(Self::keep_of);
            focus.connect_leave(move |_| act());
            entry.add_controller(focus);
        }
        let act = on(Self::ask_to_remove);
        row.remove.connect_clicked(move |_| act());
    }

    fn add(self: &Rc<Self>) {
        let Some(book) = (self.owner.book)() else { return };
        if self.change(addition(&book)) {
            self.show();
            let added = self.rows.borrow().last().map(|it| it.name.clone());
            if let Some(name) = added {
                name.grab_focus();
            }
        }
    }

    /// A kind that no tag is of goes at once; else what becomes of its tags is said first.
    fn ask_to_remove(self: &Rc<Self>, id: Id) {
        let Some(book) = (self.owner.book)() else { return };
        let Some(kind) = book.tag_kinds.get(&id) else { return };
        let removal = removal(&book, id);
        if !removal.touches_tags() {
            return self.remove(removal.op);
        }
        let question = gtk::MessageDialog::builder()
            .transient_for(&self.window)
            .modal(true)
            .message_type(gtk::MessageType::Question)
            .text(format!("Remove “{}”?", present::one_line(&kind.name)))
            .secondary_text(format!("{} Undo brings all of it back.", removal.words()))
            .build();
        question.add_button("_Cancel", gtk::ResponseType::Cancel);
        question.add_button("_Remove", gtk::ResponseType::Accept);
        question.set_default_response(gtk::ResponseType::Cancel);
        let weak = Rc::downgrade(self);
        question.connect_response(move |question, response| {
            question.close();
            if response == gtk::ResponseType::Accept {
                with(&weak, |it| it.remove(removal.op.clone()));
            }
        });
        question.present();
    }

    fn remove(self: &Rc<Self>, op: Op) {
        if self.change(op) {
            self.show();
            self.list.grab_focus();
        }
    }

    fn keep_of(self: &Rc<Self>, id: Id) {
        let row = self.rows.borrow().iter().find(|it| it.id == id).cloned();
        if let Some(row) = row {
            self.keep(&row);
        }
    }

    /// Keeps what all fields say; `false` where something was refused.
    fn keep_all(&self) -> bool {
        let rows = self.rows.borrow().clone();
        rows.iter().all(|it| self.keep(it))
    }

    /// Keeps what the fields say, where the book does not say so already. What is refused goes back.
    fn keep(&self, row: &Row) -> bool {
        let Some(kind) = (self.owner.book)().and_then(|it| it.tag_kinds.get(&row.id).cloned()) else { return true };
        let typed = row.key.text().trim().to_owned();
        // A key that the book has already stays.
        let is_page_key = |key| kind.key != Some(key) && (self.owner.is_page_key)(key);
        let key = match typed_key(&typed, is_page_key) {
            Ok(key) => key,
            Err(sentence) => {
                self.say(Some(&sentence));
                row.show(&kind);
                return false;
            }
        };
        let edited = TagKind { name: row.name.text().trim().to_owned(), colour: row.colour_now(), key };
        if edited == kind {
            return true;
        }
        let is_kept = self.change(Op::TagKind(row.id, Some(edited.clone())));
        row.show(if is_kept { &edited } else { &kind });
        is_kept
    }

    /// Whether the book took the change; if not, why is said.
    fn change(&self, op: Op) -> bool {
        let refused = (self.owner.change)(op).err();
        self.say(refused.as_deref());
        refused.is_none()
    }

    fn say(&self, sentence: Option<&str>) {
        self.trouble.set_text(sentence.unwrap_or_default());
        self.trouble.set_visible(sentence.is_some());
    }
}

impl Row {
    fn new(id: Id, kind: &TagKind) -> Self {
        let row = Self {
            id,
            colour: gtk::ColorButton::builder().title("Colour").tooltip_text("Colour").build(),
            name: gtk::Entry::builder().hexpand(true).tooltip_text("Name").build(),
            key: gtk::Entry::builder().max_length(1).width_chars(3).max_width_chars(3).xalign(0.5).build(),
            remove: gtk::Button::from_icon_name("user-trash-symbolic"),
        };
        row.key.set_tooltip_text(Some("The key that puts this tag on; empty for none"));
        row.remove.add_css_class("flat");
        row.show(kind);
        row
    }

    fn widget(&self) -> gtk::ListBoxRow {
        let line = gtk::Box::builder().spacing(8).build();
        line.append(&self.colour);
        line.append(&self.name);
        line.append(&self.key);
        line.append(&self.remove);
        gtk::ListBoxRow::builder().child(&line).activatable(false).selectable(false).focusable(false).build()
    }

    fn show(&self, kind: &TagKind) {
        let share = |part: u8| f32::from(part) / 255.0;
        let Colour { red, green, blue } = kind.colour;
        self.colour.set_rgba(&gdk::RGBA::new(share(red), share(green), share(blue), 1.0));
        set_text(&self.name, &kind.name);
        set_text(&self.key, &kind.key.map(String::from).unwrap_or_default());
        let name = present::one_line(&kind.name);
        let named = |what: &str| format!("{what} of {name}");
        self.colour.update_property(&[gtk::accessible::Property::Label(&named("Colour"))]);
        name_button_inside(&self.colour, &named("Colour"));
        self.name.update_property(&[gtk::accessible::Property::Label(&named("Name"))]);
        self.key.update_property(&[gtk::accessible::Property::Label(&named("Key"))]);
        self.remove.update_property(&[gtk::accessible::Property::Label(&format!("Remove {name}"))]);
    }

    /// Says what becomes of the kind's tags when it is removed.
    fn set_removal(&self, words: &str) {
        self.remove.set_tooltip_text(Some(&format!("Remove this kind. {words}")));
    }

    fn colour_now(&self) -> Colour {
        let rgba = self.colour.rgba();
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 255 after the clamp")]
        let part = |share: f32| (share.clamp(0.0, 1.0) * 255.0).round() as u8;
        Colour { red: part(rgba.red()), green: part(rgba.green()), blue: part(rgba.blue()) }
    }
}
