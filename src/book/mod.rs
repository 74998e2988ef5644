//! The saved review: what a person gave, its operations with undo, and its file.
//! Nothing that can be computed is kept here, so a better method repairs an old book.

pub mod file;
mod history;

use std::collections::BTreeMap;
use std::fmt;
use std::path::PathBuf;

use crate::session::{MarkEdit, MarkKind, VideoTime};

pub use history::History;

/// What a person gave. Public to read; changed only through [`Op`], which keeps [`Book::verify_invariants`] true.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Book {
    pub logs: Vec<FileRef>,
    pub recording: Recording,
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
}

/// A file by its path (as usable from here) and its length, by which it is known again when it has moved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileRef {
    pub path: PathBuf,
    pub length_bytes: u64,
}

/// One recording: its files in order, and where a person pinned it to the log.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Recording {
    pub chapters: Vec<FileRef>,
    /// In order of chapter and time.
    pub pins: Vec<Pin>,
}

/// One moment that is known in the footage and in the log. An offset is a pin at time 0 of the first chapter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pin {
    /// Index into the chapters, from 0.
    pub chapter: usize,
    /// Presentation time in that chapter.
    pub footage: VideoTime,
    pub log_t_s: f64,
}

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

/// One change of a book: the new content of one place in it. Its inverse is the same place with the old content.
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
}

/// Why a book would not be in order.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    #[error("a book needs at least one log")]
    NoLog,
    #[error("the name of {what} is empty or has line breaks; give a plain one-line name")]
    BadName { what: String },
    #[error("corners are numbered from 1")]
    CornerZero,
    #[error("the time of {what} is no finite number of seconds")]
    BadTime { what: String },
    #[error("pin {number} is for chapter {chapter}, but the recording has {chapters}")]
    PinWithoutChapter { number: usize, chapter: usize, chapters: usize },
    #[error("pin {number} is not later than the one before, in footage and log alike; give pins in order of time")]
    PinOrder { number: usize },
}

impl Book {
    /// Does `op` and gives its inverse, or leaves the book as it was.
    pub fn apply(&mut self, op: Op) -> Result<Op, Refused> {
        let inverse = self.swap(op);
        match self.verify_invariants() {
            Ok(()) => Ok(inverse),
            Err(refused) => {
                self.swap(inverse);
                Err(refused)
            }
        }
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
        if self.logs.is_empty() {
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
        self.recording.verify_invariants()
    }

    fn swap(&mut self, op: Op) -> Op {
        use std::mem::replace;
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
        }
    }
}

impl Recording {
    fn verify_invariants(&self) -> Result<(), Refused> {
        for (index, pin) in self.pins.iter().enumerate() {
            verify_time(pin.log_t_s, || format!("pin {}", index + 1))?;
            if pin.chapter >= self.chapters.len() {
                return Err(Refused::PinWithoutChapter {
                    number: index + 1,
                    chapter: pin.chapter + 1,
                    chapters: self.chapters.len(),
                });
            }
        }
        let rises = |a: &Pin, b: &Pin| (a.chapter, a.footage) < (b.chapter, b.footage) && a.log_t_s < b.log_t_s;
        match self.pins.windows(2).position(|pair| !rises(&pair[0], &pair[1])) {
            Some(index) => Err(Refused::PinOrder { number: index + 2 }),
            None => Ok(()),
        }
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

fn replace_entry<K: Ord, V>(map: &mut BTreeMap<K, V>, key: K, value: Option<V>) -> Option<V> {
    match value {
        Some(value) => map.insert(key, value),
        None => map.remove(&key),
    }
}

fn verify_name(what: &str, name: &str) -> Result<(), Refused> {
    if name.trim().is_empty() || name.chars().any(char::is_control) {
        return Err(Refused::BadName { what: what.to_owned() });
    }
    Ok(())
}

fn verify_corner(corner: u32) -> Result<(), Refused> {
    if corner == 0 { Err(Refused::CornerZero) } else { Ok(()) }
}

fn verify_time(t_s: f64, what: impl Fn() -> String) -> Result<(), Refused> {
    if t_s.is_finite() { Ok(()) } else { Err(Refused::BadTime { what: what() }) }
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};

    use super::*;

    fn file(name: &str) -> FileRef {
        FileRef { path: name.into(), length_bytes: 7 }
    }

    fn pin(chapter: usize, footage_s: f64, log_t_s: f64) -> Pin {
        Pin { chapter, footage: VideoTime::from_seconds(footage_s), log_t_s }
    }

    #[test]
    fn a_refused_operation_leaves_the_book_as_it_was() {
        let mut book = Book { logs: vec![file("run.csv")], ..Book::default() };
        let before = book.clone();
        let mut refuses = |op: Op, sentence: Expect| {
            sentence.assert_eq(&book.apply(op).unwrap_err().to_string());
            assert_eq!(book, before);
        };
        let recording = |pins: &[Pin]| Op::Recording(Recording { chapters: vec![file("a.mp4")], pins: pins.to_vec() });
        refuses(Op::Logs(vec![]), expect!["a book needs at least one log"]);
        refuses(
            Op::Driver(Some(" ".to_owned())),
            expect!["the name of the driver is empty or has line breaks; give a plain one-line name"],
        );
        refuses(
            Op::CornerName(2, Some("a\nb".to_owned())),
            expect!["the name of corner 2 is empty or has line breaks; give a plain one-line name"],
        );
        refuses(Op::CornerName(0, Some("a".to_owned())), expect!["corners are numbered from 1"]);
        refuses(
            Op::MarkedCrossing(Some(f64::NAN)),
            expect!["the time of the marked crossing is no finite number of seconds"],
        );
        let place = MarkPlace { lap: 2, corner: 3, mark: MarkKind::Apex };
        refuses(
            Op::Mark(place, Some(f64::INFINITY)),
            expect!["the time of a mark of lap 2, corner 3 is no finite number of seconds"],
        );
        refuses(recording(&[pin(1, 0.0, 0.0)]), expect!["pin 1 is for chapter 2, but the recording has 1"]);
        refuses(
            recording(&[pin(0, 1.0, 5.0), pin(0, 2.0, 5.0)]),
            expect!["pin 2 is not later than the one before, in footage and log alike; give pins in order of time"],
        );
        refuses(recording(&[pin(0, 1.0, f64::NAN)]), expect!["the time of pin 1 is no finite number of seconds"]);
    }

    #[test]
    fn the_inverse_of_an_operation_brings_the_old_content_back() {
        let mut book = Book { logs: vec![file("run.csv")], ..Book::default() };
        let place = MarkPlace { lap: 2, corner: 3, mark: MarkKind::Apex };
        assert_eq!(book.apply(Op::Mark(place, Some(12.5))), Ok(Op::Mark(place, None)));
        assert_eq!(book.mark_edits(), vec![MarkEdit { lap: 2, corner: 3, mark: MarkKind::Apex, t_s: 12.5 }]);
        assert_eq!(book.apply(Op::Mark(place, None)), Ok(Op::Mark(place, Some(12.5))));
        assert!(book.marks.is_empty());
    }
}
