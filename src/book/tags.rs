//! Tags: words that a person puts on a moment or a pass, from the book's own set of kinds or from the few that the
//! program knows the meaning of.

use std::collections::{BTreeMap, BTreeSet};

use crate::book::refused::{verify_corner, verify_name, verify_text, verify_time};
use crate::book::{Colour, FootageRef, FrameRef, Id, Recording, Refused, Trackside};
use crate::session::VideoTime;

/// The kinds that a new book begins with: name, colour, key. Every colour keeps a contrast of 3 to 1 with white and with
/// the ground of the overlay (WCAG 2.2, 1.4.11), and lies as far from the others as that leaves room for.
const STARTER_SET: [(&str, u32, char); 9] = [
    ("early turn-in", 0x00_88bb, '1'),
    ("late turn-in", 0x55_44ff, '2'),
    ("early apex", 0xcc_7700, '3'),
    ("missed apex", 0xff_0022, '4'),
    ("wide exit", 0xff_0088, '5'),
    ("late on the power", 0x99_5566, '6'),
    ("slide", 0xaa_77dd, '7'),
    ("traffic", 0x22_7755, '8'),
    ("good line", 0x00_9900, '9'),
];

/// One word of the book's own tag set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TagKind {
    /// One line; no two kinds have the same, whatever their capitals.
    pub name: String,
    pub colour: Colour,
    /// The key that puts this tag on; no two kinds have the same, whatever their capitals.
    pub key: Option<char>,
}

/// A word on a moment or a pass.
#[derive(Debug, Clone, PartialEq)]
pub struct Tag {
    pub on: TagPlace,
    pub what: What,
    /// Several lines of plain text.
    pub note: Option<String>,
}

/// What a tag is on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TagPlace {
    /// A moment of the session, whatever footage shows it: log time, s.
    Frame {
        t_s: f64,
    },
    Pass {
        lap: u32,
        corner: u32,
    },
    /// A frame of trackside footage.
    Trackside {
        footage: Id,
        at: VideoTime,
    },
}

/// What a tag says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// A kind of the book's own set.
    Kind(Id),
    /// How the exit of a pass was; on a pass, and at most one of it.
    Exit(Exit),
    Overtake {
        side: Side,
        outcome: Outcome,
    },
    Defence {
        side: Side,
        held: bool,
    },
    /// What the note says.
    Note,
}

/// A person's rating of an exit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Exit {
    Good,
    Bad,
}

/// The side of the corner.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Side {
    Inside,
    Outside,
}

/// What became of going for another kart's place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Outcome {
    /// Begun; how it ended is not said.
    Attempt,
    Done,
    Failed,
}

impl TagKind {
    /// What a new book begins with.
    pub fn starter_set() -> Vec<Self> {
        let kind = |(name, rgb, key): (&str, u32, char)| Self {
            name: name.to_owned(),
            colour: Colour::hex(rgb),
            key: Some(key),
        };
        STARTER_SET.map(kind).to_vec()
    }

    /// Whether a typed character is this kind's key, whatever its capitals.
    pub fn has_key(&self, typed: char) -> bool {
        self.key.is_some_and(|it| it.to_lowercase().eq(typed.to_lowercase()))
    }
}

pub(super) fn verify_kinds(kinds: &BTreeMap<Id, TagKind>) -> Result<(), Refused> {
    let (mut names, mut keys) = (BTreeSet::new(), BTreeSet::new());
    for (id, kind) in kinds {
        verify_name(&format!("tag kind {id}"), &kind.name)?;
        if !names.insert(kind.name.trim().to_lowercase()) {
            return Err(Refused::KindNameTwice { name: kind.name.clone() });
        }
        let Some(key) = kind.key else { continue };
        if key.is_control() || key.is_whitespace() {
            return Err(Refused::BadKey { name: kind.name.clone() });
        }
        if !keys.insert(key.to_lowercase().to_string()) {
            return Err(Refused::KeyTwice { key });
        }
    }
    Ok(())
}

pub(super) fn verify_tags(
    tags: &BTreeMap<Id, Tag>,
    kinds: &BTreeMap<Id, TagKind>,
    recording: &Recording,
    trackside: &BTreeMap<Id, Trackside>,
) -> Result<(), Refused> {
    let mut rated = BTreeSet::new();
    for (id, tag) in tags {
        let what = || format!("tag {id}");
        match tag.on {
            TagPlace::Frame { t_s } => verify_time(t_s, what)?,
            TagPlace::Pass { corner, .. } => verify_corner(corner)?,
            TagPlace::Trackside { footage, at } => {
                let frame = FrameRef { footage: FootageRef::Trackside(footage), at };
                frame.verify_invariants(recording, trackside, what)?;
            }
        }
        match (tag.what, tag.on) {
            (What::Kind(kind), _) if !kinds.contains_key(&kind) => return Err(Refused::TagWithoutKind { tag: *id }),
            (What::Note, _) if tag.note.is_none() => return Err(Refused::NoteWithoutText { tag: *id }),
            (What::Exit(_), TagPlace::Pass { lap, corner }) if !rated.insert((lap, corner)) => {
                return Err(Refused::ExitTwice { lap, corner });
            }
            (What::Exit(_), TagPlace::Frame { .. } | TagPlace::Trackside { .. }) => {
                return Err(Refused::ExitWithoutPass { tag: *id });
            }
            _ => {}
        }
        if let Some(note) = &tag.note {
            verify_text(note, || format!("the note on tag {id}"))?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_starter_set_is_in_order_and_can_be_told_apart_on_dark_and_light() {
        let kinds = TagKind::starter_set();
        let numbered = (1..).map(Id).zip(kinds.iter().cloned()).collect();
        assert_eq!(verify_kinds(&numbered), Ok(()));
        assert!(kinds.iter().all(|it| it.key.is_some()));
        for (index, kind) in kinds.iter().enumerate() {
            for ground in [0xff_ffff, 0x0b_0f14] {
                let contrast = kind.colour.contrast(Colour::hex(ground));
                assert!(contrast >= 3.0, "{}: {contrast} on {ground:06x}", kind.name);
            }
            for other in &kinds[..index] {
                let apart = |a: u8, b: u8| u32::from(a.abs_diff(b));
                let apart = apart(kind.colour.red, other.colour.red)
                    + apart(kind.colour.green, other.colour.green)
                    + apart(kind.colour.blue, other.colour.blue);
                assert!(apart >= 100, "{} and {}: {apart}", kind.name, other.name);
            }
        }
    }

    #[test]
    fn a_key_is_found_whatever_its_capitals() {
        let kind = TagKind { name: "slide".to_owned(), colour: Colour::hex(0), key: Some('ß') };
        assert!(kind.has_key('ß') && !kind.has_key('s'));
        assert!(TagKind { key: Some('Q'), ..kind.clone() }.has_key('q'));
        assert!(!TagKind { key: None, ..kind }.has_key('q'));
    }
}
