//! Small widgets that several pages are made of.

use gtk::prelude::*;
use gtk4 as gtk;

/// Says to screen readers what a widget is.
pub(super) fn named(widget: &impl IsA<gtk::Accessible>, words: &str) {
    widget.update_property(&[gtk::accessible::Property::Label(words)]);
}

/// A flat button with an icon, and words for what it does.
pub(super) fn icon_button(icon: &str, words: &str) -> gtk::Button {
    let button = gtk::Button::builder().icon_name(icon).css_classes(["flat"]).tooltip_text(words).build();
    named(&button, words);
    button
}

/// Text that takes as many lines as it needs.
pub(super) fn wrapping(text: &str) -> gtk::Label {
    let label = gtk::Label::builder().label(text).xalign(0.0).hexpand(true).wrap(true).build();
    label.set_wrap_mode(gtk::pango::WrapMode::WordChar);
    label
}

pub(super) fn heading(text: &str) -> gtk::Label {
    gtk::Label::builder().label(text).xalign(0.0).wrap(true).css_classes(["heading"]).build()
}
