//! Names for screen readers where the toolkit leaves them out.

use gtk::prelude::*;
use gtk4 as gtk;

/// Some widgets of the toolkit have a button inside, which screen readers come to first and which has no name.
pub(super) fn name_button_inside(widget: &impl IsA<gtk::Widget>, name: &str) {
    if let Some(button) = widget.first_child() {
        button.update_property(&[gtk::accessible::Property::Label(name)]);
    }
}

/// A button with a letter to press is called by its words once, without the sign that marks the letter; the toolkit adds
/// the sign's version to them.
pub(super) fn name_by_words(button: &gtk::Button) {
    button.reset_property(gtk::AccessibleProperty::Label);
}
