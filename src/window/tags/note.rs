//! A dialog for a note of several lines. Takes the text there is; gives plain text or keeps what there was.

use std::rc::Rc;

use gtk::gdk::{Key, ModifierType};
use gtk::glib;
use gtk::prelude::*;
use gtk4 as gtk;

use crate::window::naming::name_by_words;

/// Asks for a note. `keep` gets plain text, empty where all was deleted; it gives back why that cannot be kept, and then
/// the dialog stays.
pub(crate) fn write_note(
    over: &impl IsA<gtk::Widget>,
    title: &str,
    text: &str,
    keep: impl Fn(&str) -> Result<(), String> + 'static,
) {
    let builder = gtk::Builder::from_string(include_str!("../../../resources/window/note.ui"));
    let part = "the note's own file has every part";
    let window: gtk::Window = builder.object("note_window").expect(part);
    let view: gtk::TextView = builder.object("note_text").expect(part);
    let trouble: gtk::Label = builder.object("note_trouble").expect(part);
    let keep_button: gtk::Button = builder.object("note_keep").expect(part);
    let cancel: gtk::Button = builder.object("note_cancel").expect(part);
    window.set_title(Some(title));
    window.set_transient_for(over.root().and_downcast_ref::<gtk::Window>());
    view.buffer().set_text(text);
    let close = window.downgrade();
    let kept: Rc<dyn Fn()> = Rc::new(move || {
        let buffer = view.buffer();
        let text = plain(&buffer.text(&buffer.start_iter(), &buffer.end_iter(), false));
        match (keep(&text), close.upgrade()) {
            (Ok(()), Some(window)) => window.close(),
            (Ok(()), None) => {}
            (Err(sentence), _) => {
                trouble.set_text(&sentence);
                trouble.set_visible(true);
            }
        }
    });
    let on_keep = kept.clone();
    [&keep_button, &cancel].into_iter().for_each(name_by_words);
    keep_button.connect_clicked(move |_| on_keep());
    let close = window.downgrade();
    cancel.connect_clicked(move |_| {
        if let Some(window) = close.upgrade() {
            window.close();
        }
    });
    window.add_controller(keys(&window, kept));
    window.present();
}

/// Control and Enter keep the note, Escape leaves it as it was.
fn keys(window: &gtk::Window, kept: Rc<dyn Fn()>) -> gtk::EventControllerKey {
    let keys = gtk::EventControllerKey::new();
    keys.set_propagation_phase(gtk::PropagationPhase::Capture);
    let window = window.downgrade();
    keys.connect_key_pressed(move |_, key, _, modifiers| {
        let has_control = modifiers.contains(ModifierType::CONTROL_MASK);
        match key {
            Key::Return | Key::KP_Enter if has_control => kept(),
            Key::Escape => {
                if let Some(window) = window.upgrade() {
                    window.close();
                }
            }
            _ => return glib::Propagation::Proceed,
        }
        glib::Propagation::Stop
    });
    keys
}

/// What was typed or pasted as the plain text that a book keeps: line breaks are line feeds, a tab is a space, other
/// control characters are left out, and so is empty space at the end.
fn plain(text: &str) -> String {
    let text = text.replace("\r\n", "\n").replace('\r', "\n").replace('\t', " ");
    let text: String = text.chars().filter(|it| *it == '\n' || !it.is_control()).collect();
    text.trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_pasted_becomes_plain_text() {
        assert_eq!(plain("late\r\non\tit\u{1b}[2J\r \n"), "late\non it[2J");
        assert_eq!(plain(" \n\t"), "");
        assert_eq!(plain("<b>ümlaut</b>"), "<b>ümlaut</b>");
    }
}
