//! The keys of the review page. They are heard last: what has the focus, a field of text above all, takes its keys
//! first.

use gtk::gdk::{Key, ModifierType};
use gtk::glib;
use gtk::prelude::*;
use gtk4 as gtk;

use crate::book::Exit;
use crate::corners::MarkKind;
use crate::window::navigate::{Stop, Way};
use crate::window::review::ReviewPage;

/// What a key does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Deed {
    Step(i64),
    Jump(Stop, Way),
    PlayOrPause,
    Slower,
    Faster,
    ZoomIn,
    ZoomOut,
    Fit,
    /// Puts a mark of this pass on the frame on show.
    MarkHere(MarkKind),
    GiveMarksBack,
    /// Moves the mark on the frame on show by so many frames, and the playhead with it.
    MoveMark(i64),
    RateExit(Exit),
    /// Shows or hides the second picture.
    TwoPictures,
    /// Takes the pen, or lays it down.
    Draw,
    /// Moves the footage by so many frames against the log.
    Nudge(i64),
    /// Moves trackside footage by itself to pin it, or lets it follow again.
    Pin,
}

/// The deed of a key with its modifiers; `None` where it has none here.
pub(super) fn deed(key: Key, modifiers: ModifierType) -> Option<Deed> {
    let held = modifiers & (ModifierType::SHIFT_MASK | ModifierType::CONTROL_MASK | ModifierType::ALT_MASK);
    let way = match key {
        Key::Left | Key::KP_Left | Key::Page_Up | Key::comma | Key::less => Way::Back,
        _ => Way::Forward,
    };
    let frames = if way == Way::Back { -1 } else { 1 };
    if held == ModifierType::CONTROL_MASK {
        let with_control = match key {
            Key::_1 | Key::KP_1 => Some(Deed::MarkHere(MarkKind::TurnIn)),
            Key::_2 | Key::KP_2 => Some(Deed::MarkHere(MarkKind::Apex)),
            Key::_3 | Key::KP_3 => Some(Deed::MarkHere(MarkKind::Exit)),
            Key::_0 | Key::KP_0 => Some(Deed::GiveMarksBack),
            Key::g => Some(Deed::RateExit(Exit::Good)),
            Key::b => Some(Deed::RateExit(Exit::Bad)),
            _ => None,
        };
        if with_control.is_some() {
            return with_control;
        }
    }
    match key {
        Key::Left | Key::Right | Key::KP_Left | Key::KP_Right => match held {
            ModifierType::SHIFT_MASK => Some(Deed::Jump(Stop::Mark, way)),
            ModifierType::CONTROL_MASK => Some(Deed::Jump(Stop::Corner, way)),
            ModifierType::ALT_MASK => Some(Deed::Jump(Stop::Tag, way)),
            both if both == ModifierType::CONTROL_MASK | ModifierType::SHIFT_MASK => Some(Deed::MoveMark(frames)),
            none if none.is_empty() => Some(Deed::Step(frames)),
            _ => None,
        },
        Key::Page_Up | Key::Page_Down if held.is_empty() => Some(Deed::Jump(Stop::Lap, way)),
        Key::comma | Key::period if held == ModifierType::ALT_MASK => Some(Deed::Nudge(frames)),
        Key::comma | Key::period if held.is_empty() => Some(Deed::Step(frames)),
        Key::space if held.is_empty() => Some(Deed::PlayOrPause),
        Key::bracketleft if held.is_empty() => Some(Deed::Slower),
        Key::bracketright if held.is_empty() => Some(Deed::Faster),
        Key::plus | Key::equal | Key::KP_Add => Some(Deed::ZoomIn),
        Key::minus | Key::KP_Subtract => Some(Deed::ZoomOut),
        Key::_0 | Key::KP_0 => Some(Deed::Fit),
        Key::F2 if held.is_empty() => Some(Deed::TwoPictures),
        Key::F3 if held.is_empty() => Some(Deed::Draw),
        Key::F4 if held.is_empty() => Some(Deed::Pin),
        _ => None,
    }
}

/// The signs of a keyboard by name, as letters and digits have them.
const SIGNS: [&str; 33] = [
    "space",
    "exclam",
    "quotedbl",
    "numbersign",
    "dollar",
    "percent",
    "ampersand",
    "apostrophe",
    "parenleft",
    "parenright",
    "asterisk",
    "plus",
    "comma",
    "minus",
    "period",
    "slash",
    "colon",
    "semicolon",
    "less",
    "equal",
    "greater",
    "question",
    "at",
    "bracketleft",
    "backslash",
    "bracketright",
    "asciicircum",
    "underscore",
    "grave",
    "braceleft",
    "bar",
    "braceright",
    "asciitilde",
];

/// Whether it can mean nothing to a field of text.
fn is_function_key(key: Key) -> bool {
    (Key::F1..=Key::F12).contains(&key)
}

/// Whether typing a character does something here, so that it cannot put a tag on.
pub(super) fn is_taken(typed: char) -> bool {
    let by_own_name = Key::from_name(typed.to_string());
    let signs = SIGNS.into_iter().filter_map(Key::from_name).filter(|it| it.to_unicode() == Some(typed));
    by_own_name.into_iter().chain(signs).any(|it| deed(it, ModifierType::empty()).is_some())
}

impl ReviewPage {
    /// Heard on the page as a whole, and on each of its notebooks' pages before the notebook hears them: that would take
    /// arrows with Control or Alt for itself.
    pub(super) fn add_keys(&self) {
        self.hear_keys(self.upcast_ref());
        self.panels().turned_pages().iter().for_each(|it| self.hear_keys(it));
    }

    fn hear_keys(&self, on: &gtk::Widget) {
        let keys = gtk::EventControllerKey::new();
        let page = self.downgrade();
        keys.connect_key_pressed(move |_, key, keycode, modifiers| {
            let Some(page) = page.upgrade() else { return glib::Propagation::Proceed };
            if page.is_text_typed() && !is_function_key(key) {
                return glib::Propagation::Proceed;
            }
            if let Some(deed) = deed(key, modifiers) {
                page.carry_out(deed);
                return glib::Propagation::Stop;
            }
            let commands = ModifierType::CONTROL_MASK | ModifierType::ALT_MASK | ModifierType::SUPER_MASK;
            let on_pass = modifiers.contains(ModifierType::SHIFT_MASK);
            if !modifiers.intersects(commands) && page.tag_by_key(key, keycode, on_pass) {
                return glib::Propagation::Stop;
            }
            glib::Propagation::Proceed
        });
        on.add_controller(keys);
    }

    fn carry_out(&self, deed: Deed) {
        match deed {
            Deed::Step(by) if self.is_trackside_stepped() => self.step_trackside(by),
            Deed::Step(by) => self.step(by),
            Deed::Jump(stop, way) => self.jump(stop, way),
            Deed::PlayOrPause => self.play_or_pause(),
            Deed::Slower => self.slower(),
            Deed::Faster => self.faster(),
            Deed::ZoomIn => self.picture().zoom_in(),
            Deed::ZoomOut => self.picture().zoom_out(),
            Deed::Fit => self.picture().fit(),
            Deed::MarkHere(mark) => self.mark_here(mark),
            Deed::GiveMarksBack => self.give_marks_back(),
            Deed::MoveMark(by) => self.move_mark_here(by),
            Deed::RateExit(exit) => self.rate_exit(exit),
            Deed::TwoPictures => self.toggle_second(),
            Deed::Draw => self.toggle_drawing(),
            Deed::Nudge(by) => self.nudge(by),
            Deed::Pin => self.toggle_pinning(),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    /// The shortcuts window shows each deed's keys, and no key that does nothing. `1...9` are tags, which the book knows.
    #[test]
    fn the_shortcuts_window_shows_every_deed() {
        let description = include_str!("../../../resources/window/shortcuts.ui");
        let shown: Vec<String> = description
            .split("\"accelerator\">")
            .skip(1)
            .flat_map(|it| it.split("</").next().unwrap().split(' '))
            .filter(|it| !it.contains("..."))
            .map(|it| it.replace("&lt;", "<").replace("&gt;", ">"))
            .collect();
        let deeds_shown: BTreeSet<String> = shown
            .iter()
            .map(|it| {
                let (key, modifiers) = key_of(it);
                format!("{:?}", deed(key, modifiers).unwrap_or_else(|| panic!("{it} does nothing")))
            })
            .collect();
        assert!(shown.len() > 15, "{shown:?}");

        let held = [
            ModifierType::empty(),
            ModifierType::SHIFT_MASK,
            ModifierType::CONTROL_MASK,
            ModifierType::ALT_MASK,
            ModifierType::CONTROL_MASK | ModifierType::SHIFT_MASK,
        ];
        let signs = "space comma period less greater bracketleft bracketright plus minus equal slash Left Right Up Down \
                     Page_Up Page_Down Home End Return Delete BackSpace Tab F2 F3 F4 F5 F6 F7 F8 F9 F12";
        let letters = ('a'..='z').chain('0'..='9').map(String::from);
        let names = letters.chain(signs.split_whitespace().map(str::to_owned));
        let keys: Vec<Key> = names.map(|it| Key::from_name(it.as_str()).unwrap()).collect();
        let deeds: BTreeSet<String> = keys
            .iter()
            .flat_map(|key| held.into_iter().filter_map(move |it| deed(*key, it)))
            .map(|it| format!("{it:?}"))
            .collect();
        assert_eq!(deeds, deeds_shown);
    }

    /// The key and the modifiers of `<Control>1`.
    fn key_of(accelerator: &str) -> (Key, ModifierType) {
        let (modifier, name) = accelerator.rsplit_once('>').unwrap_or(("", accelerator));
        let modifiers = match modifier {
            "" => ModifierType::empty(),
            "<Shift" => ModifierType::SHIFT_MASK,
            "<Control" => ModifierType::CONTROL_MASK,
            "<Alt" => ModifierType::ALT_MASK,
            "<Control><Shift" => ModifierType::CONTROL_MASK | ModifierType::SHIFT_MASK,
            other => panic!("{other}> is no modifier here"),
        };
        (Key::from_name(name).unwrap_or_else(|| panic!("{name} is no key")), modifiers)
    }

    #[test]
    fn arrows_step_and_jump() {
        assert_eq!(deed(Key::Left, ModifierType::empty()), Some(Deed::Step(-1)));
        assert_eq!(deed(Key::Right, ModifierType::SHIFT_MASK), Some(Deed::Jump(Stop::Mark, Way::Forward)));
        assert_eq!(deed(Key::Left, ModifierType::CONTROL_MASK), Some(Deed::Jump(Stop::Corner, Way::Back)));
        assert_eq!(deed(Key::Page_Down, ModifierType::empty()), Some(Deed::Jump(Stop::Lap, Way::Forward)));
        // A lock key that is on changes nothing.
        assert_eq!(deed(Key::Left, ModifierType::LOCK_MASK), Some(Deed::Step(-1)));
        assert_eq!(deed(Key::Left, ModifierType::CONTROL_MASK | ModifierType::SHIFT_MASK), Some(Deed::MoveMark(-1)));
        assert_eq!(deed(Key::Left, ModifierType::CONTROL_MASK | ModifierType::ALT_MASK), None);
        assert_eq!(deed(Key::a, ModifierType::empty()), None);
    }

    #[test]
    fn a_character_that_does_something_is_taken() {
        for typed in [',', '.', '[', ']', '+', '=', '-', '0', ' '] {
            assert!(is_taken(typed), "{typed}");
        }
        for typed in ['1', 'q', 'Q', 'ü', '/', '\\', '\u{1}'] {
            assert!(!is_taken(typed), "{typed}");
        }
    }
}
