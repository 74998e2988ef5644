//! The book's file, NAME.cornerbook: JSON with a version, the only serde structs of this room, and the search for
//! files that have moved.
//!
//! A file of a newer version is refused, for saving it would lose what this program does not know; within a version
//! unknown fields are refused for the same reason. Files of older versions are read.

use std::collections::BTreeMap;
use std::num::NonZeroUsize;
use std::path::{Component, Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::book::{Book, FileRef, Grip, MarkPlace, Pin, Recording, Refused};
use crate::files::{self, Overwrite};
use crate::session::{MarkKind, Note, NoteKind, Place, VideoTime};

/// The word in the file that says what it is.
const FORMAT: &str = "cornerbook.book";
const VERSION: u64 = 1;
/// A book holds no media: even one with thousands of marks is far below this.
const LARGEST_BYTES: u64 = 64 << 20;

/// Why a book or a file it names cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error(transparent)]
    File(#[from] files::Error),
    #[error("{file}: is no book; make one with cornerbook new")]
    NotABook { file: String },
    #[error(
        "{file}: is a book of version {version}, this program reads up to {VERSION}; use a newer cornerbook for it"
    )]
    Newer { file: String, version: u64 },
    #[error("{file}, line {line}, column {column}: is damaged ({cause}); mend it there or make the book anew")]
    Damaged { file: String, line: usize, column: usize, cause: String },
    #[error("{file}: cannot be used ({refused}); mend it there or make the book anew")]
    Refused { file: String, refused: Refused },
    #[error(
        "{}: is not there, nor is a file of that name with {length_bytes} bytes beside {book}; \
         bring it back or make the book anew", path.display()
    )]
    Missing { path: PathBuf, length_bytes: u64, book: String },
}

/// Whether bytes begin like a book, to tell one by its content.
pub fn recognise(head: &[u8]) -> bool {
    let text = String::from_utf8_lossy(head);
    text.trim_start_matches('\u{feff}').trim_start().starts_with('{') && text.contains(&format!("\"{FORMAT}\""))
}

/// Reads a book. Its files' paths are made usable from here, but not looked for: see [`locate`].
pub fn open(path: &Path) -> Result<Book, Error> {
    let bytes = files::read(path, LARGEST_BYTES)?;
    read(&path.display().to_string(), &bytes, files::folder_of(path))
}

/// Writes a book whole, with its files' paths relative to the book's folder where they share one below the root.
pub fn save(book: &Book, path: &Path, overwrite: Overwrite) -> Result<(), Error> {
    Ok(files::write(path, to_json(book, files::folder_of(path)).as_bytes(), overwrite)?)
}

/// Reads a book's bytes. `file` is its name for messages, `folder` what its relative paths start from.
pub fn read(file: &str, bytes: &[u8], folder: &Path) -> Result<Book, Error> {
    let damaged = |cause: serde_json::Error| {
        let text = cause.to_string();
        Error::Damaged {
            file: file.to_owned(),
            line: cause.line(),
            column: cause.column(),
            cause: text.split(" at line ").next().unwrap_or(&text).to_owned(),
        }
    };
    if !recognise(bytes) {
        return Err(Error::NotABook { file: file.to_owned() });
    }
    let head: Head = serde_json::from_slice(bytes).map_err(damaged)?;
    if head.format != FORMAT {
        return Err(Error::NotABook { file: file.to_owned() });
    }
    if head.version == 0 {
        return Err(Error::NotABook { file: file.to_owned() });
    }
    if head.version > VERSION {
        return Err(Error::Newer { file: file.to_owned(), version: head.version });
    }
    let book = serde_json::from_slice::<BookJson>(bytes).map_err(damaged)?.into_book(folder);
    match book.verify_invariants() {
        Ok(()) => Ok(book),
        Err(refused) => Err(Error::Refused { file: file.to_owned(), refused }),
    }
}

/// The file's text: indented, in a fixed order, with a line end.
pub fn to_json(book: &Book, folder: &Path) -> String {
    let mut text =
        serde_json::to_string_pretty(&BookJson::of(book, folder)).expect("strings, numbers and lists have JSON forms");
    text.push('\n');
    text
}

/// What a person names becomes a reference: the path as given and its length.
pub fn refer_to(path: &Path) -> Result<FileRef, Error> {
    match files::length(path) {
        Some(length_bytes) => Ok(FileRef { path: path.to_owned(), length_bytes }),
        // The read says what the trouble is: absent, a folder, or not permitted.
        None => match files::read_head(path, 1) {
            Err(cause) => Err(cause.into()),
            Ok(_) => Err(files::Error::Read {
                path: path.to_owned(),
                cause: std::io::Error::other("it is a device or a pipe"),
            }
            .into()),
        },
    }
}

/// Where a file of the book is now: in its place, else one of the same name and length beside the book.
/// A file in its place with another length is used, and noted.
pub fn locate(wanted: &FileRef, book: &Path) -> Result<(PathBuf, Option<Note>), Error> {
    let in_place = files::length(&wanted.path);
    if in_place == Some(wanted.length_bytes) {
        return Ok((wanted.path.clone(), None));
    }
    let beside = wanted.path.file_name().map(|name| folder_prefix(book).join(name));
    if let Some(beside) = beside
        && beside != wanted.path
        && files::length(&beside) == Some(wanted.length_bytes)
    {
        let note = NoteKind::FileMoved { to: beside.display().to_string() };
        return Ok((beside, Some(note_on(wanted, note))));
    }
    match in_place {
        Some(is_bytes) => {
            let note = NoteKind::FileChanged { was_bytes: wanted.length_bytes, is_bytes };
            Ok((wanted.path.clone(), Some(note_on(wanted, note))))
        }
        None => Err(Error::Missing {
            path: wanted.path.clone(),
            length_bytes: wanted.length_bytes,
            book: book.display().to_string(),
        }),
    }
}

fn note_on(file: &FileRef, kind: NoteKind) -> Note {
    Note::new(kind).in_file(&file.path.display().to_string(), Place::Whole)
}

/// The book's folder as a prefix for names: empty, not ".", for a bare name, so that messages stay short.
fn folder_prefix(book: &Path) -> PathBuf {
    book.parent().map(Path::to_owned).unwrap_or_default()
}

/// `path` seen from `folder`, both absolute; unchanged where they share nothing below the root.
fn relative(path: &Path, folder: &Path) -> PathBuf {
    let shared = path.components().zip(folder.components()).take_while(|(a, b)| a == b).count();
    if shared <= 1 {
        return path.to_owned();
    }
    let up = folder.components().skip(shared).map(|_| Component::ParentDir);
    up.chain(path.components().skip(shared)).collect()
}

#[derive(Deserialize)]
struct Head {
    format: String,
    version: u64,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct BookJson {
    format: String,
    version: u64,
    logs: Vec<FileJson>,
    #[serde(default)]
    footage: Vec<FileJson>,
    #[serde(default)]
    pins: Vec<PinJson>,
    #[serde(default)]
    track: Option<FileJson>,
    #[serde(default)]
    columns: Option<FileJson>,
    #[serde(default)]
    driver: Option<String>,
    #[serde(default)]
    grip: Option<GripJson>,
    #[serde(default)]
    marked_crossing_s: Option<f64>,
    #[serde(default)]
    marks: Vec<MarkJson>,
    #[serde(default)]
    corner_names: BTreeMap<u32, String>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileJson {
    path: PathJson,
    length_bytes: u64,
}

/// A path as text, or as bytes where the file system's name is no UTF-8.
#[derive(Serialize, Deserialize)]
#[serde(untagged)]
enum PathJson {
    Text(String),
    Bytes { bytes: Vec<u8> },
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct PinJson {
    /// From 1.
    chapter: NonZeroUsize,
    footage_s: f64,
    log_t_s: f64,
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum GripJson {
    Dry,
    Damp,
    Wet,
    Slippery,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct MarkJson {
    lap: u32,
    corner: u32,
    mark: MarkKindJson,
    t_s: f64,
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum MarkKindJson {
    TurnIn,
    Apex,
    Exit,
}

impl BookJson {
    fn of(book: &Book, folder: &Path) -> Self {
        let folder = files::absolute(&folder.join(".")).components().collect::<PathBuf>();
        let file = |it: &FileRef| FileJson {
            path: PathJson::of(&relative(&files::absolute(&it.path), &folder)),
            length_bytes: it.length_bytes,
        };
        Self {
            format: FORMAT.to_owned(),
            version: VERSION,
            logs: book.logs.iter().map(file).collect(),
            footage: book.recording.chapters.iter().map(file).collect(),
            pins: book.recording.pins.iter().map(PinJson::of).collect(),
            track: book.track.as_ref().map(file),
            columns: book.columns.as_ref().map(file),
            driver: book.driver.clone(),
            grip: book.grip.map(GripJson::of),
            marked_crossing_s: book.marked_crossing_s,
            marks: book.marks.iter().map(MarkJson::of).collect(),
            corner_names: book.corner_names.clone(),
        }
    }

    fn into_book(self, folder: &Path) -> Book {
        let folder = if folder == Path::new(".") { Path::new("") } else { folder };
        let file = |it: FileJson| FileRef { path: folder.join(it.path.into_path()), length_bytes: it.length_bytes };
        Book {
            logs: self.logs.into_iter().map(file).collect(),
            recording: Recording {
                chapters: self.footage.into_iter().map(file).collect(),
                pins: self.pins.into_iter().map(PinJson::into_pin).collect(),
            },
            track: self.track.map(file),
            columns: self.columns.map(file),
            driver: self.driver,
            grip: self.grip.map(GripJson::into_grip),
            marked_crossing_s: self.marked_crossing_s,
            marks: self.marks.into_iter().map(MarkJson::into_entry).collect(),
            corner_names: self.corner_names,
        }
    }
}

#[cfg(unix)]
impl PathJson {
    fn of(path: &Path) -> Self {
        use std::os::unix::ffi::OsStrExt;
        match path.to_str() {
            Some(text) => Self::Text(text.to_owned()),
            None => Self::Bytes { bytes: path.as_os_str().as_bytes().to_vec() },
        }
    }

    fn into_path(self) -> PathBuf {
        use std::os::unix::ffi::OsStringExt;
        match self {
            Self::Text(text) => text.into(),
            Self::Bytes { bytes } => std::ffi::OsString::from_vec(bytes).into(),
        }
    }
}

#[cfg(not(unix))]
impl PathJson {
    fn of(path: &Path) -> Self {
        Self::Text(path.to_string_lossy().into_owned())
    }

    fn into_path(self) -> PathBuf {
        match self {
            Self::Text(text) => text.into(),
            Self::Bytes { bytes } => String::from_utf8_lossy(&bytes).into_owned().into(),
        }
    }
}

impl PinJson {
    fn of(pin: &Pin) -> Self {
        Self {
            chapter: NonZeroUsize::MIN.saturating_add(pin.chapter),
            footage_s: pin.footage.seconds(),
            log_t_s: pin.log_t_s,
        }
    }

    fn into_pin(self) -> Pin {
        Pin { chapter: self.chapter.get() - 1, footage: VideoTime::from_seconds(self.footage_s), log_t_s: self.log_t_s }
    }
}

impl GripJson {
    fn of(grip: Grip) -> Self {
        match grip {
            Grip::Dry => Self::Dry,
            Grip::Damp => Self::Damp,
            Grip::Wet => Self::Wet,
            Grip::Slippery => Self::Slippery,
        }
    }

    fn into_grip(self) -> Grip {
        match self {
            Self::Dry => Grip::Dry,
            Self::Damp => Grip::Damp,
            Self::Wet => Grip::Wet,
            Self::Slippery => Grip::Slippery,
        }
    }
}

impl MarkJson {
    fn of((place, t_s): (&MarkPlace, &f64)) -> Self {
        let mark = match place.mark {
            MarkKind::TurnIn => MarkKindJson::TurnIn,
            MarkKind::Apex => MarkKindJson::Apex,
            MarkKind::Exit => MarkKindJson::Exit,
        };
        Self { lap: place.lap, corner: place.corner, mark, t_s: *t_s }
    }

    fn into_entry(self) -> (MarkPlace, f64) {
        let mark = match self.mark {
            MarkKindJson::TurnIn => MarkKind::TurnIn,
            MarkKindJson::Apex => MarkKind::Apex,
            MarkKindJson::Exit => MarkKind::Exit,
        };
        (MarkPlace { lap: self.lap, corner: self.corner, mark }, self.t_s)
    }
}

#[cfg(test)]
mod tests;
