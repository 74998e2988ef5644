//! Files to a session: a book or a log file, with its track and columns, read and analysed, and its footage put on the
//! log's clock. Command line and window share it; it shows nothing.

mod aligned;
mod alone;
pub mod footage;
mod kind;
pub mod motion;
mod seen;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::analysis::{self, Analysis, Inputs};
use crate::book::{self, Book};
use crate::corners::Corner;
use crate::files;
use crate::job::{Cancelled, Context};
use crate::log::{self, ColumnMap};
#[cfg(feature = "media")]
use crate::media;
use crate::session::{Note, Samples};
use crate::track::file::{self as track_file, TrackFile};

pub use aligned::{Aligned, align, align_without_motion, recording_pins};
pub use kind::{FileKind, book_of, free_name, kind_of};

/// A day at 100 Hz with many channels is below this.
const LARGEST_LOG_BYTES: u64 = 4 << 30;
/// Track files and column maps are written by hand or drawn on a map.
const LARGEST_TEXT_BYTES: u64 = 64 << 20;
/// How much of a file tells what it is.
const HEAD_BYTES: u64 = 64 << 10;

/// Why a session cannot be loaded: one sentence with file, place, what is wrong and what to do.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    #[error(transparent)]
    File(#[from] files::Error),
    #[error(transparent)]
    Book(#[from] book::file::Error),
    #[error(transparent)]
    Log(#[from] log::Error),
    #[error(transparent)]
    Track(#[from] track_file::Error),
    #[error("{}, byte {byte}: is no UTF-8 text; a column map is TOML", path.display())]
    NotText { path: PathBuf, byte: usize },
    #[error("{}: holds nothing; record or copy it again", path.display())]
    Empty { path: PathBuf },
    #[error(
        "{}: is of no kind known here; logs are CSV, NMEA 0183 or GPX, footage is MP4, QuickTime, Matroska, WebM, AVI or \
         MPEG-TS", path.display()
    )]
    UnknownKind { path: PathBuf },
    #[error("{}: is no footage; footage is MP4, QuickTime, Matroska, WebM, AVI or MPEG-TS", path.display())]
    NotFootage { path: PathBuf },
    #[error("{}: is named twice as footage; name each file of a recording once", path.display())]
    FootageTwice { path: PathBuf },
    #[error("{}: is a book; open it by itself", path.display())]
    BookAmongFiles { path: PathBuf },
    #[error("{}: is a second track file; give one", path.display())]
    SecondTrack { path: PathBuf },
    #[error("there is neither a log nor footage among the files; add the logger's file")]
    NoLog,
    #[error("there is no footage; name it with --video")]
    NoFootage,
    #[cfg(feature = "media")]
    #[error(transparent)]
    Media(media::Error),
    #[cfg(not(feature = "media"))]
    #[error("{}: is footage, which this build cannot look into; use a build with the feature media", path.display())]
    FootageUnreadable { path: PathBuf },
}

#[cfg(feature = "media")]
impl From<media::Error> for Error {
    fn from(error: media::Error) -> Self {
        match error {
            media::Error::Cancelled(cancelled) => Self::Cancelled(cancelled),
            other => Self::Media(other),
        }
    }
}

/// What a log is read with besides itself. What is given here outranks what a book holds.
#[derive(Debug, Clone, Default)]
pub struct Reading {
    pub track: Option<PathBuf>,
    pub columns: Option<PathBuf>,
    pub crossing_s: Option<f64>,
}

/// A session that has been read.
#[derive(Debug, Clone)]
pub struct Session {
    pub samples: Arc<Samples>,
    pub inputs: Inputs,
    /// The book and where it is, where the input was one.
    pub book: Option<(PathBuf, Book)>,
    /// The files that were read besides the book.
    pub files: Vec<PathBuf>,
    /// Findings on the files themselves; those on the log are in the analysis.
    pub notes: Vec<Note>,
    /// There is no log: the samples are what is seen in the footage, on its own clock.
    pub is_footage_alone: bool,
}

impl Session {
    /// The same with its book as it is now. What was read is not read again.
    #[must_use]
    pub fn with_book(&self, book: Book) -> Self {
        let path = self.book.as_ref().map(|it| it.0.clone());
        Self { book: path.map(|it| (it, book)), ..self.clone() }
    }
}

/// Reads `input`, a book or a log file as its content says, with what was given besides.
pub fn open(input: &Path, reading: &Reading, context: &Context) -> Result<Session, Error> {
    if book::file::recognise(&files::read_head(input, HEAD_BYTES)?) {
        return with_book(input, book::file::open(input)?, reading, context);
    }
    let mut notes = Vec::new();
    let samples = read_logs(&[input.to_owned()], reading.columns.as_deref(), context)?;
    let track = reading.track.as_deref().map(|it| read_track(it, &mut notes)).transpose()?;
    let samples = Arc::new(samples);
    let inputs = Inputs { samples: samples.clone(), track, marked_crossing_s: reading.crossing_s, edits: Vec::new() };
    let files =
        [Some(input.to_owned()), reading.track.clone(), reading.columns.clone()].into_iter().flatten().collect();
    Ok(Session { samples, inputs, book: None, files, notes, is_footage_alone: false })
}

/// Reads the files of `book`, which was read from `path`.
pub fn with_book(path: &Path, book: Book, reading: &Reading, context: &Context) -> Result<Session, Error> {
    let mut notes = Vec::new();
    let mut locate = |file: &book::FileRef| -> Result<PathBuf, Error> {
        let (found, note) = book::file::locate(file, path)?;
        notes.extend(note);
        Ok(found)
    };
    let logs = book.logs.iter().map(&mut locate).collect::<Result<Vec<_>, _>>()?;
    let columns = match &reading.columns {
        Some(typed) => Some(typed.clone()),
        None => book.columns.as_ref().map(&mut locate).transpose()?,
    };
    let track = match &reading.track {
        Some(typed) => Some(typed.clone()),
        None => book.track.as_ref().map(&mut locate).transpose()?,
    };
    let is_footage_alone = logs.is_empty();
    let samples = Arc::new(if is_footage_alone {
        let chapters = book.recording.chapters.iter().map(&mut locate).collect::<Result<Vec<_>, _>>()?;
        samples_of_footage(&chapters, context)?
    } else {
        read_logs(&logs, columns.as_deref(), context)?
    });
    let inputs = Inputs {
        samples: samples.clone(),
        track: track.as_deref().map(|it| read_track(it, &mut notes)).transpose()?,
        marked_crossing_s: reading.crossing_s.or(book.marked_crossing_s),
        edits: book.mark_edits(),
    };
    let files = logs.into_iter().chain(columns).chain(track).collect();
    Ok(Session { samples, inputs, book: Some((path.to_owned(), book)), files, notes, is_footage_alone })
}

/// Where there is no log: the turning seen in the chapters of one recording, whose time is the log's.
///
/// # Errors
/// No chapters, footage that cannot be decoded, or cancelled.
pub fn samples_of_footage(chapters: &[PathBuf], context: &Context) -> Result<Samples, Error> {
    let Some(first) = chapters.first() else { return Err(Error::NoLog) };
    let footage = footage::probe_all(chapters, context)?;
    Ok(alone::samples_of(&motion::see_all(&footage, context)?, first.display().to_string()))
}

/// Reads the logs of one session and joins them. One of several may hold other channels than positions alone.
pub fn read_logs(paths: &[PathBuf], columns: Option<&Path>, context: &Context) -> Result<Samples, Error> {
    let columns = columns.map(read_columns).transpose()?;
    if let [only] = paths {
        return read_log(only, columns.as_ref());
    }
    let mut parts = Vec::with_capacity(paths.len());
    for path in paths {
        context.check()?;
        let bytes = files::read(path, LARGEST_LOG_BYTES)?;
        parts.push(log::read_part(&path.display().to_string(), &bytes, columns.as_ref())?);
    }
    Ok(log::join(parts)?)
}

pub fn read_log(path: &Path, columns: Option<&ColumnMap>) -> Result<Samples, Error> {
    let bytes = files::read(path, LARGEST_LOG_BYTES)?;
    Ok(log::read(&path.display().to_string(), &bytes, columns)?)
}

pub fn read_columns(path: &Path) -> Result<ColumnMap, Error> {
    let file = path.display().to_string();
    let bytes = files::read(path, LARGEST_TEXT_BYTES)?;
    let text = String::from_utf8(bytes)
        .map_err(|error| Error::NotText { path: path.to_owned(), byte: error.utf8_error().valid_up_to() })?;
    Ok(ColumnMap::parse(&file, &text)?)
}

pub fn read_track(path: &Path, notes: &mut Vec<Note>) -> Result<TrackFile, Error> {
    let bytes = files::read(path, LARGEST_TEXT_BYTES)?;
    let (track, found) = track_file::parse(&path.display().to_string(), &bytes)?;
    notes.extend(found);
    Ok(track)
}

/// Analyses the session and gives its corners the names of the book; the analysis' notes begin with the session's.
pub fn analyse(session: &Session, context: &Context) -> Result<Analysis, Cancelled> {
    let mut analysis = analysis::run(&session.inputs, context)?;
    analysis.notes.splice(0..0, session.notes.iter().cloned());
    if let Some((_, book)) = &session.book {
        name_corners(&mut analysis, book);
    }
    Ok(analysis)
}

/// Gives the corners the names that the book has for them, and the others the program's own.
pub fn name_corners(analysis: &mut Analysis, book: &Book) {
    for corner in &mut analysis.corners {
        let given = book.corner_names.get(&corner.number).cloned();
        corner.name = given.unwrap_or_else(|| Corner::own_name(corner.number));
    }
}
