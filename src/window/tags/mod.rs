//! Tags: the page that lists them, their menu, the editor of the team's set, reference points and corner names. Each
//! tells what a person asks for; the review page does it.

mod corner_name;
mod list;
mod menu;
mod note;
mod page;
mod points;
mod set;
mod set_dialog;

use gtk::prelude::*;
use gtk4 as gtk;

use crate::book::{FrameRef, Id, Op};

pub(crate) use corner_name::CornerName;
pub(crate) use list::{tag_look, tag_time_s};
pub(crate) use menu::{MENU_WORDS, tag_menu};
pub(crate) use note::write_note;
pub(crate) use page::TagsPage;
pub(crate) use set_dialog::{SetOwner, show_tag_set};

/// What a person asks for.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Ask {
    GoToTag(Id),
    GoToFrame(FrameRef),
    Change(Op),
    WriteNote {
        tag: Id,
        title: String,
    },
    /// A reference point of this name for the corner on show.
    KeepPoint(String),
    EditSet,
}

/// Puts text into a field as if it had been there from the start: taking back in the field takes back typing alone.
fn set_text(entry: &gtk::Entry, text: &str) {
    entry.set_enable_undo(false);
    entry.set_text(text);
    entry.set_enable_undo(true);
}
