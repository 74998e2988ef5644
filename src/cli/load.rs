//! Files to a session: a book or a log file, with its track and columns, read and analysed.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::analysis::{self, Analysis, Inputs};
use crate::book::{self, Book};
use crate::cli::console::{Console, Stop, with_progress};
use crate::cli::plan::Reading;
use crate::files;
use crate::job::Context;
use crate::log::{self, ColumnMap};
use crate::session::{Note, Samples};
use crate::track::file::{self as track_file, TrackFile};

/// A day at 100 Hz with many channels is below this.
const LARGEST_LOG_BYTES: u64 = 4 << 30;
/// Track files and column maps are written by hand or drawn on a map.
const LARGEST_TEXT_BYTES: u64 = 64 << 20;
/// How much of a file tells what it is.
pub(super) const HEAD_BYTES: u64 = 64 << 10;

/// A session that has been read.
#[derive(Debug)]
pub(super) struct Session {
    pub(super) samples: Arc<Samples>,
    pub(super) inputs: Inputs,
    /// The book and where it is, where the input was one.
    pub(super) book: Option<(PathBuf, Book)>,
    /// The files that were read besides the book.
    #[cfg_attr(not(feature = "media"), expect(dead_code, reason = "only films could replace them"))]
    pub(super) files: Vec<PathBuf>,
    /// Findings on the files themselves; those on the log are in the analysis.
    pub(super) notes: Vec<Note>,
}

/// Reads `input`, a book or a log file as its content says, with what was given besides. What is typed outranks what
/// the book holds.
pub(super) fn open(input: &Path, reading: &Reading, context: &Context) -> Result<Session, Stop> {
    if book::file::recognise(&files::read_head(input, HEAD_BYTES)?) {
        return open_book(input, reading, context);
    }
    let mut notes = Vec::new();
    let samples = read_logs(&[input.to_owned()], reading.columns.as_deref(), context)?;
    let track = reading.track.as_deref().map(|it| read_track(it, &mut notes)).transpose()?;
    let samples = Arc::new(samples);
    let inputs = Inputs { samples: samples.clone(), track, marked_crossing_s: reading.crossing_s, edits: Vec::new() };
    let files =
        [Some(input.to_owned()), reading.track.clone(), reading.columns.clone()].into_iter().flatten().collect();
    Ok(Session { samples, inputs, book: None, files, notes })
}

fn open_book(path: &Path, reading: &Reading, context: &Context) -> Result<Session, Stop> {
    let book = book::file::open(path)?;
    let mut notes = Vec::new();
    let mut locate = |file: &book::FileRef| -> Result<PathBuf, Stop> {
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
    let samples = Arc::new(read_logs(&logs, columns.as_deref(), context)?);
    let inputs = Inputs {
        samples: samples.clone(),
        track: track.as_deref().map(|it| read_track(it, &mut notes)).transpose()?,
        marked_crossing_s: reading.crossing_s.or(book.marked_crossing_s),
        edits: book.mark_edits(),
    };
    let files = logs.into_iter().chain(columns).chain(track).collect();
    Ok(Session { samples, inputs, book: Some((path.to_owned(), book)), files, notes })
}

/// Reads the logs of one session and joins them. One of several may hold other channels than positions alone.
pub(super) fn read_logs(paths: &[PathBuf], columns: Option<&Path>, context: &Context) -> Result<Samples, Stop> {
    let columns = columns.map(read_columns).transpose()?;
    if let [only] = paths {
        return read_log(only, columns.as_ref());
    }
    let mut parts = Vec::with_capacity(paths.len());
    for path in paths {
        context.check()?;
        let bytes = files::read(path, LARGEST_LOG_BYTES)?;
        let part = log::read_part(&path.display().to_string(), &bytes, columns.as_ref());
        parts.push(part.map_err(|error| Stop::Failed(error.into()))?);
    }
    log::join(parts).map_err(|error| Stop::Failed(error.into()))
}

pub(super) fn read_log(path: &Path, columns: Option<&ColumnMap>) -> Result<Samples, Stop> {
    let bytes = files::read(path, LARGEST_LOG_BYTES)?;
    log::read(&path.display().to_string(), &bytes, columns).map_err(|error| Stop::Failed(error.into()))
}

pub(super) fn read_columns(path: &Path) -> Result<ColumnMap, Stop> {
    let file = path.display().to_string();
    let bytes = files::read(path, LARGEST_TEXT_BYTES)?;
    let text = String::from_utf8(bytes).map_err(|error| {
        anyhow::anyhow!("{file}, byte {}: is no UTF-8 text; a column map is TOML", error.utf8_error().valid_up_to())
    })?;
    ColumnMap::parse(&file, &text).map_err(|error| Stop::Failed(error.into()))
}

pub(super) fn read_track(path: &Path, notes: &mut Vec<Note>) -> Result<TrackFile, Stop> {
    let bytes = files::read(path, LARGEST_TEXT_BYTES)?;
    let (track, found) = track_file::parse(&path.display().to_string(), &bytes).map_err(anyhow::Error::from)?;
    notes.extend(found);
    Ok(track)
}

/// Analyses the session and gives its corners the names of the book; the analysis' notes begin with the session's.
pub(super) fn analyse(session: &Session, console: &mut Console<'_>, context: &Context) -> Result<Analysis, Stop> {
    let mut analysis = with_progress("finding laps and corners", context, || analysis::run(&session.inputs, context))?;
    analysis.notes.splice(0..0, session.notes.iter().cloned());
    if let Some((_, book)) = &session.book {
        for corner in &mut analysis.corners {
            if let Some(name) = book.corner_names.get(&corner.number) {
                name.clone_into(&mut corner.name);
            }
        }
    }
    console.notes(&analysis.notes);
    Ok(analysis)
}
