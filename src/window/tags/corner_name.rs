//! The name of the corner on show, as a field. Takes number and name; tells the operation that gives it another one.

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use gtk::gdk;
use gtk::glib;
use gtk::prelude::*;
use gtk4 as gtk;

use crate::book::Op;
use crate::window::listeners::Listeners;
use crate::window::tags::{Ask, set_text};

struct Parts {
    root: gtk::Box,
    entry: gtk::Entry,
    /// The corner whose name is in the field; 0 for none.
    corner: Cell<u32>,
    name: RefCell<String>,
    asks: Listeners<Ask>,
}

/// See the module. Cheap to clone: clones are the same widget.
#[derive(Clone)]
pub(crate) struct CornerName(Rc<Parts>);

impl std::fmt::Debug for CornerName {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("CornerName").finish_non_exhaustive()
    }
}

impl CornerName {
    pub(crate) fn new() -> Self {
        let entry = gtk::Entry::builder()
            .hexpand(true)
            .sensitive(false)
            .tooltip_text("Name of this corner (Enter keeps it, empty gives back its number)")
            .build();
        entry.update_property(&[gtk::accessible::Property::Label("Name of this corner")]);
        let label = gtk::Label::builder().label("_Corner").use_underline(true).mnemonic_widget(&entry).build();
        let root = gtk::Box::builder().spacing(8).css_classes(["tool-line"]).build();
        root.append(&label);
        root.append(&entry);
        let parts =
            Rc::new(Parts { root, entry, corner: Cell::new(0), name: RefCell::default(), asks: Listeners::default() });
        connect(&parts);
        Self(parts)
    }

    pub(crate) fn widget(&self) -> &gtk::Widget {
        self.0.root.upcast_ref()
    }

    pub(crate) fn connect_asked(&self, listener: impl Fn(Ask) + 'static) {
        self.0.asks.add(listener);
    }

    /// Shows a corner's name. While another name is being typed, the field stays with the corner it is for.
    pub(crate) fn show(&self, corner: Option<(u32, &str)>) {
        let parts = &self.0;
        if parts.is_being_typed_in() {
            return;
        }
        let (number, name) = corner.unwrap_or_default();
        parts.corner.set(number);
        name.clone_into(&mut parts.name.borrow_mut());
        parts.entry.set_sensitive(corner.is_some());
        if parts.entry.text() != name {
            set_text(&parts.entry, name);
        }
    }
}

impl Parts {
    fn is_being_typed_in(&self) -> bool {
        let has_focus = self.entry.state_flags().contains(gtk::StateFlags::FOCUS_WITHIN);
        has_focus && self.entry.text() != *self.name.borrow()
    }

    /// The field goes back to the name there is; the book has the last word on the one that was typed.
    fn keep(&self) {
        let (name, typed) = (self.name.borrow().clone(), self.entry.text());
        if typed == name {
            return;
        }
        set_text(&self.entry, &name);
        if let Some(op) = renaming(self.corner.get(), &name, &typed) {
            self.asks.tell(Ask::Change(op));
        }
    }
}

fn connect(parts: &Rc<Parts>) {
    let weak = Rc::downgrade(parts);
    let keep = move || {
        if let Some(parts) = weak.upgrade() {
            parts.keep();
        }
    };
    let on_leave = keep.clone();
    parts.entry.connect_activate(move |_| keep());
    let focus = gtk::EventControllerFocus::new();
    focus.connect_leave(move |_| on_leave());
    parts.entry.add_controller(focus);
    let keys = gtk::EventControllerKey::new();
    let weak = Rc::downgrade(parts);
    keys.connect_key_pressed(move |_, key, _, _| match weak.upgrade() {
        Some(parts) if key == gdk::Key::Escape => {
            set_text(&parts.entry, &parts.name.borrow().clone());
            glib::Propagation::Stop
        }
        _ => glib::Propagation::Proceed,
    });
    parts.entry.add_controller(keys);
}

/// What gives a corner the typed name; an empty one gives back its number. `None` where there is nothing to change.
fn renaming(corner: u32, name: &str, typed: &str) -> Option<Op> {
    let typed = typed.trim();
    if corner == 0 || typed == name {
        return None;
    }
    Some(Op::CornerName(corner, (!typed.is_empty()).then(|| typed.to_owned())))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_changed_only_where_it_differs() {
        assert_eq!(renaming(4, "T4", " T4 "), None);
        assert_eq!(renaming(0, "", "x"), None);
        assert_eq!(renaming(4, "T4", " Long left "), Some(Op::CornerName(4, Some("Long left".to_owned()))));
        assert_eq!(renaming(4, "Long left", "  "), Some(Op::CornerName(4, None)));
    }
}
