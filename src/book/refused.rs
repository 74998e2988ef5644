//! Why a book would not be in order, and the rules that several parts of a book share. Takes plain values; gives a
//! sentence or nothing.

use crate::book::Id;
use crate::session::VideoTime;

/// Longest note or drawn text, characters: some pages of writing.
pub(super) const TEXT_MOST_CHARS: usize = 20_000;
/// Presentation times of footage are within this, s either side of 0: eleven days, beyond any recording.
const FOOTAGE_MOST_S: f64 = 1e6;

/// Why a book would not be in order.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Refused {
    #[error("a book needs at least one log, or footage")]
    NoLog,
    #[error("the name of {what} is empty or has line breaks; give a plain one-line name")]
    BadName { what: String },
    #[error("corners are numbered from 1")]
    CornerZero,
    #[error("the time of {what} is no finite number of seconds")]
    BadTime { what: String },
    #[error("the footage time of {what} lies days away from the footage; give its presentation time in seconds")]
    BadFootageTime { what: String },
    #[error("pin {number} is for chapter {chapter}, but the recording has {chapters}")]
    PinWithoutChapter { number: usize, chapter: usize, chapters: usize },
    #[error("pin {number} is not later than the one before, in footage and log alike; give pins in order of time")]
    PinOrder { number: usize },
    #[error(
        "pin {number} of trackside footage {footage} is not later than the one before, in footage and log alike; \
         give pins in order of time"
    )]
    TracksidePinOrder { footage: Id, number: usize },
    #[error("number {id} is not given out yet; new things take the book's next number, {next}")]
    IdNotGiven { id: Id, next: Id },
    #[error("number {id} is given to two things of the book; give one of them another number")]
    IdTwice { id: Id },
    #[error("the book has given out all its numbers; make it anew")]
    IdsSpent,
    #[error("two kinds of tag are called {name}; give one of them another name")]
    KindNameTwice { name: String },
    #[error("the key {key} is given to two kinds of tag; give one of them another key")]
    KeyTwice { key: char },
    #[error("the key of {name} is no visible character; give a letter, a digit or a sign")]
    BadKey { name: String },
    #[error("tag {tag} is of a kind that the book does not have; change or remove that tag first")]
    TagWithoutKind { tag: Id },
    #[error("tag {tag} is only a note, but has no text; write some, or give the tag a kind")]
    NoteWithoutText { tag: Id },
    #[error("tag {tag} rates an exit, but is not on a pass; put it on the pass")]
    ExitWithoutPass { tag: Id },
    #[error("the exit of lap {lap}, corner {corner} is rated twice; change the rating that is there")]
    ExitTwice { lap: u32, corner: u32 },
    #[error("{what} is on chapter {chapter}, but the recording has {chapters}; remove it first")]
    NoChapter { what: String, chapter: usize, chapters: usize },
    #[error("{what} is on trackside footage that the book does not have; remove it first")]
    NoTrackside { what: String },
    #[error("the text of {what} is empty or has control characters; give plain text, line breaks are allowed")]
    BadText { what: String },
    #[error("the text of {what} has {chars} characters; give at most {TEXT_MOST_CHARS}")]
    LongText { what: String, chars: usize },
    #[error("{what} has a place outside the picture; places are shares of its width and height, 0 to 1")]
    OutsidePicture { what: String },
    #[error("the {measure} of {what} is {value}; give {rule}")]
    BadMeasure { measure: &'static str, what: String, value: f64, rule: &'static str },
    #[error("{finding:?} is the code of no finding; codes have lower-case letters, digits and _")]
    BadSuggestion { finding: String },
    #[error("the reel has {cuts} clips; a reel has at most {most}")]
    LongReel { cuts: usize, most: usize },
    #[error("clip {number} of the reel begins or ends too far from its pass; give 0 to {most_s} s")]
    BadCut { number: usize, most_s: f64 },
    #[error("{what} has {points} points; a freehand line has 2 to {most}")]
    PointCount { what: String, points: usize, most: usize },
}

pub(super) fn verify_name(what: &str, name: &str) -> Result<(), Refused> {
    if name.trim().is_empty() || name.chars().any(char::is_control) {
        return Err(Refused::BadName { what: what.to_owned() });
    }
    Ok(())
}

pub(super) fn verify_corner(corner: u32) -> Result<(), Refused> {
    if corner == 0 { Err(Refused::CornerZero) } else { Ok(()) }
}

pub(super) fn verify_time(t_s: f64, what: impl Fn() -> String) -> Result<(), Refused> {
    if t_s.is_finite() { Ok(()) } else { Err(Refused::BadTime { what: what() }) }
}

pub(super) fn verify_footage_time(at: VideoTime, what: impl Fn() -> String) -> Result<(), Refused> {
    if at.seconds().abs() <= FOOTAGE_MOST_S { Ok(()) } else { Err(Refused::BadFootageTime { what: what() }) }
}

/// Text of several lines: no control character but the line feed.
pub(super) fn verify_text(text: &str, what: impl Fn() -> String) -> Result<(), Refused> {
    if text.trim().is_empty() || text.chars().any(|it| it.is_control() && it != '\n') {
        return Err(Refused::BadText { what: what() });
    }
    let chars = text.chars().count();
    if chars > TEXT_MOST_CHARS { Err(Refused::LongText { what: what(), chars }) } else { Ok(()) }
}
