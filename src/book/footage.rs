//! The files that a book speaks of, and places in its footage. Plain values; no file is opened here.

use std::collections::BTreeMap;
use std::path::PathBuf;

use crate::book::refused::{verify_footage_time, verify_time};
use crate::book::{Id, Refused};
use crate::session::VideoTime;

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

/// One file that was filmed from beside the track, and where a person pinned it to the log.
#[derive(Debug, Clone, PartialEq)]
pub struct Trackside {
    pub file: FileRef,
    /// In order of time.
    pub pins: Vec<TracksidePin>,
}

/// One moment that is known in trackside footage and in the log, such as the kart passing a known place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TracksidePin {
    pub footage: VideoTime,
    pub log_t_s: f64,
}

/// Which footage file of the book.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FootageRef {
    /// Index into the recording's chapters, from 0.
    Chapter(usize),
    Trackside(Id),
}

/// The frame on show at a presentation time of a footage file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FrameRef {
    pub footage: FootageRef,
    pub at: VideoTime,
}

impl Recording {
    /// With one pin more, in order of chapter and time; another pin on the same frame or the same moment gives way to it.
    #[must_use]
    pub fn with_pin(&self, pin: Pin) -> Self {
        let place = |it: &Pin| (it.chapter, it.footage);
        let same = |it: &Pin| place(it) == place(&pin) || it.log_t_s.total_cmp(&pin.log_t_s).is_eq();
        let mut pins: Vec<Pin> = self.pins.iter().copied().filter(|it| !same(it)).collect();
        pins.insert(pins.partition_point(|it| place(it) < place(&pin)), pin);
        Self { chapters: self.chapters.clone(), pins }
    }

    /// Without the pin at this index, where there is one.
    #[must_use]
    pub fn without_pin(&self, index: usize) -> Self {
        let others = self.pins.iter().enumerate().filter(|it| it.0 != index);
        Self { chapters: self.chapters.clone(), pins: others.map(|it| *it.1).collect() }
    }

    /// With the footage so much later on the log, s.
    #[must_use]
    pub fn later_by(&self, later_s: f64) -> Self {
        let pins = self.pins.iter().map(|it| Pin { log_t_s: it.log_t_s + later_s, ..*it });
        Self { chapters: self.chapters.clone(), pins: pins.collect() }
    }

    pub(super) fn verify_invariants(&self) -> Result<(), Refused> {
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

impl Trackside {
    /// Footage that nobody has pinned yet.
    pub fn unpinned(file: FileRef) -> Self {
        Self { file, pins: Vec::new() }
    }

    /// With one pin more, in order of time; another pin on the same frame or the same moment gives way to it.
    #[must_use]
    pub fn with_pin(&self, pin: TracksidePin) -> Self {
        let same = |it: &TracksidePin| it.footage == pin.footage || it.log_t_s.total_cmp(&pin.log_t_s).is_eq();
        let mut pins: Vec<TracksidePin> = self.pins.iter().copied().filter(|it| !same(it)).collect();
        pins.insert(pins.partition_point(|it| it.footage < pin.footage), pin);
        Self { file: self.file.clone(), pins }
    }

    /// Without the pin at this index, where there is one.
    #[must_use]
    pub fn without_pin(&self, index: usize) -> Self {
        let others = self.pins.iter().enumerate().filter(|it| it.0 != index);
        Self { file: self.file.clone(), pins: others.map(|it| *it.1).collect() }
    }

    pub(super) fn verify_invariants(&self, footage: Id) -> Result<(), Refused> {
        for (index, pin) in self.pins.iter().enumerate() {
            let what = || format!("pin {} of trackside footage {footage}", index + 1);
            verify_time(pin.log_t_s, what)?;
            verify_footage_time(pin.footage, what)?;
        }
        let rises = |a: &TracksidePin, b: &TracksidePin| a.footage < b.footage && a.log_t_s < b.log_t_s;
        match self.pins.windows(2).position(|pair| !rises(&pair[0], &pair[1])) {
            Some(index) => Err(Refused::TracksidePinOrder { footage, number: index + 2 }),
            None => Ok(()),
        }
    }
}

impl FrameRef {
    /// Whether the book has the footage. `what`: what is on this frame, for the sentence.
    pub(super) fn verify_invariants(
        self,
        recording: &Recording,
        trackside: &BTreeMap<Id, Trackside>,
        what: impl Fn() -> String,
    ) -> Result<(), Refused> {
        verify_footage_time(self.at, &what)?;
        let chapters = recording.chapters.len();
        match self.footage {
            FootageRef::Chapter(chapter) if chapter >= chapters => {
                Err(Refused::NoChapter { what: what(), chapter: chapter.saturating_add(1), chapters })
            }
            FootageRef::Trackside(id) if !trackside.contains_key(&id) => Err(Refused::NoTrackside { what: what() }),
            _ => Ok(()),
        }
    }
}
