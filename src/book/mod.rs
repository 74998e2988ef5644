//! The saved review: what a person gave, its operations with undo, its file, and the book on disk while it is edited.
//! Nothing that can be computed is kept here, so a better method repairs an old book.

mod colour;
mod drawings;
pub mod file;
mod footage;
mod history;
mod op;
mod queries;
mod reel;
mod refused;
pub mod store;
mod suggestions;
mod tags;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use crate::book::refused::{verify_corner, verify_name, verify_time};
use crate::session::{MarkEdit, MarkKind};

pub use colour::{Colour, NoColour};
pub use drawings::{Circle, Circled, Drawing, FREEHAND_MOST_POINTS, ReferencePoint, Shape, Share};
pub use footage::{FileRef, FootageRef, FrameRef, Pin, Recording, Trackside, TracksidePin};
pub use history::History;
pub use op::Op;
pub use reel::{Reel, ReelCut};
pub use refused::Refused;
pub use suggestions::{Answer, Suggestion};
pub use tags::{Exit, Outcome, Side, Tag, TagKind, TagPlace, What};

/// What a person gave. Public to read; changed only through [`Op`], which keeps [`Book::verify_invariants`] true.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Book {
    pub logs: Vec<FileRef>,
    pub recording: Recording,
    pub trackside: BTreeMap<Id, Trackside>,
    pub track: Option<FileRef>,
    /// The column map that the logs are read with.
    pub columns: Option<FileRef>,
    pub driver: Option<String>,
    pub grip: Option<Grip>,
    /// Log time of one crossing of the start/finish gate, s: for logs without position.
    pub marked_crossing_s: Option<f64>,
    /// Log times in seconds at which a person put a mark.
    pub marks: BTreeMap<MarkPlace, f64>,
    /// By corner number.
    pub corner_names: BTreeMap<u32, String>,
    pub tag_kinds: BTreeMap<Id, TagKind>,
    pub tags: BTreeMap<Id, Tag>,
    pub reference_points: BTreeMap<Id, ReferencePoint>,
    /// A later one lies over an earlier one.
    pub drawings: BTreeMap<Id, Drawing>,
    /// What was answered to findings that were suggested as tags.
    pub suggestions: BTreeMap<Suggestion, Answer>,
    /// What is to be shown of it as one film.
    pub reel: Reel,
    /// The number that the next new thing gets.
    pub next_id: Id,
}

/// The number of something in a book, whatever it is: no two things of one book ever have the same, not even one after
/// the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Id(pub u32);

/// How the track was, as the driver says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Grip {
    Dry,
    Damp,
    Wet,
    Slippery,
}

/// Which mark of which pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct MarkPlace {
    pub lap: u32,
    pub corner: u32,
    pub mark: MarkKind,
}

impl Book {
    /// A new book with the tag kinds that it begins with. It needs a log, or the footage of a recording, to be in order.
    pub fn new(logs: Vec<FileRef>) -> Self {
        let mut book = Self { logs, ..Self::default() };
        for kind in TagKind::starter_set() {
            book.tag_kinds.insert(book.next_id, kind);
            book.next_id.0 += 1;
        }
        book
    }

    /// The corrections, as the analysis takes them, in order of lap, corner and mark.
    pub fn mark_edits(&self) -> Vec<MarkEdit> {
        let edit = |(place, t_s): (&MarkPlace, &f64)| MarkEdit {
            lap: place.lap,
            corner: place.corner,
            mark: place.mark,
            t_s: *t_s,
        };
        self.marks.iter().map(edit).collect()
    }

    /// What must hold after every operation and for every file that is read.
    pub fn verify_invariants(&self) -> Result<(), Refused> {
        if self.logs.is_empty() && self.recording.chapters.is_empty() {
            return Err(Refused::NoLog);
        }
        if let Some(driver) = &self.driver {
            verify_name("the driver", driver)?;
        }
        for (corner, name) in &self.corner_names {
            verify_corner(*corner)?;
            verify_name(&format!("corner {corner}"), name)?;
        }
        for (place, t_s) in &self.marks {
            verify_corner(place.corner)?;
            verify_time(*t_s, || format!("a mark of lap {}, corner {}", place.lap, place.corner))?;
        }
        if let Some(t_s) = self.marked_crossing_s {
            verify_time(t_s, || "the marked crossing".to_owned())?;
        }
        self.recording.verify_invariants()?;
        self.verify_ids()?;
        self.trackside.iter().try_for_each(|(id, it)| it.verify_invariants(*id))?;
        tags::verify_kinds(&self.tag_kinds)?;
        tags::verify_tags(&self.tags, &self.tag_kinds, &self.recording, &self.trackside)?;
        suggestions::verify_suggestions(&self.suggestions)?;
        self.reel.verify_invariants()?;
        let (recording, trackside) = (&self.recording, &self.trackside);
        self.reference_points.iter().try_for_each(|(id, it)| it.verify_invariants(*id, recording, trackside))?;
        self.drawings.iter().try_for_each(|(id, it)| it.verify_invariants(*id, recording, trackside))
    }

    /// Every number is given once, and was given out before.
    fn verify_ids(&self) -> Result<(), Refused> {
        let mut seen = BTreeSet::new();
        for id in self.ids() {
            if id >= self.next_id {
                return Err(Refused::IdNotGiven { id, next: self.next_id });
            }
            if !seen.insert(id) {
                return Err(Refused::IdTwice { id });
            }
        }
        Ok(())
    }

    /// One more than the highest number that is there.
    fn first_free_id(&self) -> Result<Id, Refused> {
        match self.ids().max() {
            Some(highest) => highest.after().ok_or(Refused::IdsSpent),
            None => Ok(Id::default()),
        }
    }

    fn ids(&self) -> impl Iterator<Item = Id> {
        let of_tags = self.tag_kinds.keys().chain(self.tags.keys());
        of_tags.chain(self.trackside.keys()).chain(self.reference_points.keys()).chain(self.drawings.keys()).copied()
    }
}

impl Id {
    /// `None` after the last one there can be.
    fn after(self) -> Option<Self> {
        self.0.checked_add(1).map(Self)
    }
}

/// The first one of a book.
impl Default for Id {
    fn default() -> Self {
        Self(1)
    }
}

impl fmt::Display for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl Grip {
    pub const ALL: [Self; 4] = [Self::Dry, Self::Damp, Self::Wet, Self::Slippery];

    /// The word in files and arguments.
    pub fn word(self) -> &'static str {
        match self {
            Self::Dry => "dry",
            Self::Damp => "damp",
            Self::Wet => "wet",
            Self::Slippery => "slippery",
        }
    }
}

impl fmt::Display for Grip {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

#[cfg(test)]
mod tests;
