//! Changes of the team's tag set as operations, with the words that say what they do. Touches no widget.

use crate::book::{Book, Colour, Id, Op, Tag, TagKind, What};
use crate::present;

/// The colour that a new kind begins with.
const NEW_COLOUR: Colour = Colour::hex(0x33_66cc);

/// Removing a kind, and what becomes of its tags.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Removal {
    pub(super) op: Op,
    /// Tags that go with it.
    removed: usize,
    /// Tags with a note, which stay as notes.
    noted: usize,
}

/// A new kind with a name that no other has, and no key.
pub(super) fn addition(book: &Book) -> Op {
    let is_taken = |name: &str| book.tag_kinds.values().any(|it| it.name.trim().to_lowercase() == name);
    let numbered = (2..).map(|it: u32| format!("new tag {it}"));
    let name = std::iter::once("new tag".to_owned()).chain(numbered).find(|it| !is_taken(it)).unwrap_or_default();
    Op::TagKind(book.next_id, Some(TagKind { name, colour: NEW_COLOUR, key: None }))
}

/// Takes a kind out of the set in one step. Nothing that was written is lost: a tag with a note becomes a note.
pub(super) fn removal(book: &Book, kind: Id) -> Removal {
    let of_kind = || book.tags.iter().filter(|(_, it)| it.what == What::Kind(kind));
    let without_kind = |(id, tag): (&Id, &Tag)| {
        let noted = tag.note.is_some().then(|| Tag { what: What::Note, ..tag.clone() });
        Op::Tag(*id, noted)
    };
    let noted = of_kind().filter(|(_, it)| it.note.is_some()).count();
    let removed = of_kind().count() - noted;
    let ops = of_kind().map(without_kind).chain([Op::TagKind(kind, None)]).collect();
    Removal { op: Op::Several(ops), removed, noted }
}

impl Removal {
    pub(super) fn touches_tags(&self) -> bool {
        self.removed + self.noted > 0
    }

    /// What becomes of the kind's tags: "3 tags go with it. 1 tag has a note and stays as a note."
    pub(super) fn words(&self) -> String {
        let of = |count: usize, one: &str, several: &str| match count {
            0 => None,
            1 => Some(format!("1 tag {one}.")),
            _ => Some(format!("{count} tags {several}.")),
        };
        let parts = [
            of(self.removed, "goes with it", "go with it"),
            of(self.noted, "has a note and stays as a note", "have notes and stay as notes"),
        ];
        let words = parts.into_iter().flatten().collect::<Vec<_>>().join(" ");
        if words.is_empty() { "No tag is of this kind.".to_owned() } else { words }
    }
}

/// The key that was typed; `None` for an empty field, and why where the page takes that key itself.
pub(super) fn typed_key(text: &str, is_page_key: impl Fn(char) -> bool) -> Result<Option<char>, String> {
    match text.chars().next() {
        Some(key) if is_page_key(key) => {
            Err(format!("the key {} has another meaning here; give another one", present::one_line(&key.to_string())))
        }
        key => Ok(key),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::{FileRef, History, TagPlace};

    fn book() -> Book {
        Book::new(vec![FileRef { path: "a.csv".into(), length_bytes: 1 }])
    }

    #[test]
    fn a_new_kind_gets_a_free_name() {
        let mut book = book();
        for name in ["new tag", "new tag 2", "new tag 3"] {
            book.apply(addition(&book)).unwrap();
            assert_eq!(book.tag_kinds.last_key_value().unwrap().1.name, name);
        }
    }

    #[test]
    fn removing_a_kind_keeps_what_was_written_and_is_one_step() {
        let mut history = History::new(book());
        let kind = *history.book().tag_kinds.keys().next().unwrap();
        assert_eq!(removal(history.book(), kind).words(), "No tag is of this kind.");
        for note in [None, Some("wet kerb".to_owned()), None] {
            let tag = Tag { on: TagPlace::Frame { t_s: 1.0 }, what: What::Kind(kind), note };
            history.apply(Op::Tag(history.book().next_id, Some(tag))).unwrap();
        }
        let before = history.book().clone();
        let removal = removal(&before, kind);
        assert!(removal.touches_tags());
        assert_eq!(removal.words(), "2 tags go with it. 1 tag has a note and stays as a note.");
        history.apply(removal.op).unwrap();
        assert!(!history.book().tag_kinds.contains_key(&kind));
        let left: Vec<_> = history.book().tags.values().map(|it| (it.what, it.note.as_deref())).collect();
        assert_eq!(left, [(What::Note, Some("wet kerb"))]);
        assert!(history.undo());
        assert_eq!(*history.book(), before);
    }

    #[test]
    fn a_key_of_the_page_is_refused() {
        assert_eq!(typed_key("", |_| true), Ok(None));
        assert_eq!(typed_key("q", |it| it == '+'), Ok(Some('q')));
        assert_eq!(
            typed_key("+", |it| it == '+'),
            Err("the key + has another meaning here; give another one".to_owned())
        );
    }
}
