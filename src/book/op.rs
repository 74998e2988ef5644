//! The operations on a book: every change is one of these, and each has an inverse.

use std::collections::BTreeMap;
use std::mem::replace;

use crate::book::{
    Answer, Book, Drawing, FileRef, Grip, Id, MarkPlace, Recording, Reel, ReferencePoint, Refused, Suggestion, Tag,
    TagKind, Trackside,
};

/// One change of a book: the new content of one place in it. Its inverse is the same place with the old content.
///
/// What has a number is added under the book's next one ([`Book::next_id`]), changed under its own, and removed with
/// `None`.
#[derive(Debug, Clone, PartialEq)]
pub enum Op {
    Logs(Vec<FileRef>),
    Recording(Recording),
    Track(Option<FileRef>),
    Columns(Option<FileRef>),
    Driver(Option<String>),
    Grip(Option<Grip>),
    /// Log time, s.
    MarkedCrossing(Option<f64>),
    /// Log time in s, or `None` to give the mark back to the program.
    Mark(MarkPlace, Option<f64>),
    CornerName(u32, Option<String>),
    Trackside(Id, Option<Trackside>),
    TagKind(Id, Option<TagKind>),
    Tag(Id, Option<Tag>),
    ReferencePoint(Id, Option<ReferencePoint>),
    Drawing(Id, Option<Drawing>),
    /// `None` forgets the answer: it is suggested again.
    Suggestion(Suggestion, Option<Answer>),
    Reel(Reel),
    /// Several changes as one, in this order. Only what they leave behind must be in order, not the steps between.
    Several(Vec<Op>),
}

impl Op {
    /// The book's next number once this is done, or why its numbers are not the book's.
    fn next_id_after(&self, next: Id) -> Result<Id, Refused> {
        match self {
            Self::Several(ops) => ops.iter().try_fold(next, |next, op| op.next_id_after(next)),
            Self::Trackside(id, Some(_))
            | Self::TagKind(id, Some(_))
            | Self::Tag(id, Some(_))
            | Self::ReferencePoint(id, Some(_))
            | Self::Drawing(id, Some(_)) => match *id {
                id if id < next => Ok(next),
                id if id == next => next.after().ok_or(Refused::IdsSpent),
                id => Err(Refused::IdNotGiven { id, next }),
            },
            _ => Ok(next),
        }
    }
}

impl Book {
    /// Does `op` and gives its inverse, or leaves the book as it was. Only the next number is not taken back by an
    /// inverse: a number is never given out twice.
    pub fn apply(&mut self, op: Op) -> Result<Op, Refused> {
        let next_id = op.next_id_after(self.next_id)?;
        let next_id_before = replace(&mut self.next_id, next_id);
        let inverse = self.swap(op);
        match self.verify_invariants() {
            Ok(()) => Ok(inverse),
            Err(refused) => {
                self.swap(inverse);
                self.next_id = next_id_before;
                Err(refused)
            }
        }
    }

    fn swap(&mut self, op: Op) -> Op {
        match op {
            Op::Logs(it) => Op::Logs(replace(&mut self.logs, it)),
            Op::Recording(it) => Op::Recording(replace(&mut self.recording, it)),
            Op::Track(it) => Op::Track(replace(&mut self.track, it)),
            Op::Columns(it) => Op::Columns(replace(&mut self.columns, it)),
            Op::Driver(it) => Op::Driver(replace(&mut self.driver, it)),
            Op::Grip(it) => Op::Grip(replace(&mut self.grip, it)),
            Op::MarkedCrossing(it) => Op::MarkedCrossing(replace(&mut self.marked_crossing_s, it)),
            Op::Mark(place, it) => Op::Mark(place, replace_entry(&mut self.marks, place, it)),
            Op::CornerName(corner, it) => Op::CornerName(corner, replace_entry(&mut self.corner_names, corner, it)),
            Op::Trackside(id, it) => Op::Trackside(id, replace_entry(&mut self.trackside, id, it)),
            Op::TagKind(id, it) => Op::TagKind(id, replace_entry(&mut self.tag_kinds, id, it)),
            Op::Tag(id, it) => Op::Tag(id, replace_entry(&mut self.tags, id, it)),
            Op::ReferencePoint(id, it) => Op::ReferencePoint(id, replace_entry(&mut self.reference_points, id, it)),
            Op::Drawing(id, it) => Op::Drawing(id, replace_entry(&mut self.drawings, id, it)),
            Op::Suggestion(which, it) => {
                let old = replace_entry(&mut self.suggestions, which.clone(), it);
                Op::Suggestion(which, old)
            }
            Op::Reel(it) => Op::Reel(replace(&mut self.reel, it)),
            Op::Several(ops) => {
                let mut inverses: Vec<Op> = ops.into_iter().map(|it| self.swap(it)).collect();
                inverses.reverse();
                Op::Several(inverses)
            }
        }
    }
}

fn replace_entry<K: Ord, V>(map: &mut BTreeMap<K, V>, key: K, value: Option<V>) -> Option<V> {
    match value {
        Some(value) => map.insert(key, value),
        None => map.remove(&key),
    }
}
