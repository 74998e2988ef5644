//! The tag menu of the transport bar: every word there is, with its key. A model of actions of the group `review`; does
//! nothing itself.

use gtk::gio;
use gtk::glib::prelude::*;
use gtk4 as gtk;

use crate::book::{Book, Outcome, Side, TagKind, What};
use crate::present;

/// Overtakes, then defences: what `review.tag-words` takes as a place in this list.
pub(crate) const MENU_WORDS: [What; 10] = [
    overtake(Side::Inside, Outcome::Done),
    overtake(Side::Inside, Outcome::Failed),
    overtake(Side::Inside, Outcome::Attempt),
    overtake(Side::Outside, Outcome::Done),
    overtake(Side::Outside, Outcome::Failed),
    overtake(Side::Outside, Outcome::Attempt),
    What::Defence { side: Side::Inside, held: true },
    What::Defence { side: Side::Inside, held: false },
    What::Defence { side: Side::Outside, held: true },
    What::Defence { side: Side::Outside, held: false },
];

const fn overtake(side: Side, outcome: Outcome) -> What {
    What::Overtake { side, outcome }
}

/// The menu with the kinds that the book has now.
pub(crate) fn tag_menu(book: &Book) -> gio::Menu {
    let menu = gio::Menu::new();
    let on = gio::Menu::new();
    on.append_item(&item("On this frame", "review.tag-on", Some(&"frame".to_variant())));
    on.append_item(&item("On this pass", "review.tag-on", Some(&"pass".to_variant())));
    menu.append_section(None, &on);
    let kinds = gio::Menu::new();
    for (id, kind) in &book.tag_kinds {
        let item = item(&kind_label(kind), "review.tag-kind", Some(&id.0.to_variant()));
        if let Some(accel) = accel(kind) {
            item.set_attribute_value("accel", Some(&accel.to_variant()));
        }
        kinds.append_item(&item);
    }
    menu.append_section(None, &kinds);
    let exits = gio::Menu::new();
    for (word, action, accel) in
        [("Good exit", "review.exit-good", "<Control>g"), ("Bad exit", "review.exit-bad", "<Control>b")]
    {
        let item = item(word, action, None);
        item.set_attribute_value("accel", Some(&accel.to_variant()));
        exits.append_item(&item);
    }
    menu.append_section(None, &exits);
    let rest = gio::Menu::new();
    rest.append_submenu(Some("Overtake"), &words(|it| matches!(it, What::Overtake { .. })));
    rest.append_submenu(Some("Defence"), &words(|it| matches!(it, What::Defence { .. })));
    rest.append_item(&item("Note…", "review.tag-note", None));
    menu.append_section(None, &rest);
    let set = gio::Menu::new();
    set.append_item(&item("Tag set…", "review.tag-set", None));
    menu.append_section(None, &set);
    menu
}

fn words(is_wanted: impl Fn(What) -> bool) -> gio::Menu {
    let menu = gio::Menu::new();
    for (place, what) in (0_u32..).zip(MENU_WORDS) {
        if is_wanted(what) {
            menu.append_item(&item(&label(&present::tag(what)), "review.tag-words", Some(&place.to_variant())));
        }
    }
    menu
}

fn item(label: &str, action: &str, target: Option<&gtk::glib::Variant>) -> gio::MenuItem {
    let item = gio::MenuItem::new(Some(label), None);
    item.set_action_and_target_value(Some(action), target);
    item
}

/// A name as a menu shows it: an underscore stands for itself, not for a key to reach it by.
fn label(name: &str) -> String {
    present::one_line(name).replace('_', "__")
}

/// The key of a kind as menus take it: they know letters and digits by name.
fn accel(kind: &TagKind) -> Option<String> {
    kind.key.filter(char::is_ascii_alphanumeric).map(|it| it.to_ascii_lowercase().to_string())
}

/// The name of a kind, with its key where the menu would not show it.
fn kind_label(kind: &TagKind) -> String {
    match kind.key {
        Some(key) if accel(kind).is_none() => label(&format!("{} ({key})", kind.name)),
        _ => label(&kind.name),
    }
}

#[cfg(test)]
mod tests {
    use gtk::prelude::MenuModelExt;

    use super::*;

    #[test]
    fn every_word_is_in_the_menu_once() {
        for (index, what) in MENU_WORDS.iter().enumerate() {
            assert!(!MENU_WORDS[..index].contains(what), "{what:?}");
        }
        assert_eq!(words(|it| matches!(it, What::Overtake { .. })).n_items(), 6);
        assert_eq!(words(|it| matches!(it, What::Defence { .. })).n_items(), 4);
    }

    #[test]
    fn every_key_is_shown() {
        let kind = |key| TagKind { name: "slide".to_owned(), colour: crate::book::Colour::hex(0), key };
        assert_eq!((accel(&kind(Some('Q'))).as_deref(), kind_label(&kind(Some('Q'))).as_str()), (Some("q"), "slide"));
        assert_eq!((accel(&kind(Some('_'))), kind_label(&kind(Some('_'))).as_str()), (None, "slide (__)"));
        assert_eq!((accel(&kind(None)), kind_label(&kind(None)).as_str()), (None, "slide"));
    }

    #[test]
    fn a_name_is_shown_as_it_is_written() {
        assert_eq!(label("wide_exit <b>"), "wide__exit <b>");
        assert_eq!(label("a\u{202e}b"), "a\\u{202e}b");
    }
}
