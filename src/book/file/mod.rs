//! The book's file, NAME.cornerbook: JSON with a version, whose serde structs are in this folder alone, and the search
//! for files that have moved.
//!
//! A file of a newer version is refused, for saving it would lose what this program does not know; within a version
//! unknown fields are refused for the same reason. Files of older versions are read.

mod drawings_json;
mod json;
mod locate;
mod reel_json;
mod suggestions_json;
mod tags_json;

use std::path::{Path, PathBuf};

use serde::Deserialize;

use crate::book::file::json::BookJson;
use crate::book::{Book, Refused};
use crate::files::{self, Overwrite};

pub use locate::{footage_of, locate, refer_to};

/// The word in the file that says what it is.
const FORMAT: &str = "cornerbook.book";
const VERSION: u64 = 3;
/// A book holds no media: even one with thousands of marks is far below this.
pub(super) const LARGEST_BYTES: u64 = 64 << 20;

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
    #[error(
        "{file}: says that it is of version {version} but has {field}, which came with version {since}; \
         write \"version\": {since} there if that is what it is"
    )]
    OlderThanItsFields { file: String, version: u64, field: &'static str, since: u64 },
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

/// The name with ".cornerbook" at its end, by which file managers know a book.
pub fn with_ending(name: &Path) -> PathBuf {
    if name.extension().is_some_and(|it| it == "cornerbook") {
        return name.to_owned();
    }
    let mut longer = name.as_os_str().to_owned();
    longer.push(".cornerbook");
    longer.into()
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
    if head.format != FORMAT || head.version == 0 {
        return Err(Error::NotABook { file: file.to_owned() });
    }
    if head.version > VERSION {
        return Err(Error::Newer { file: file.to_owned(), version: head.version });
    }
    let json = serde_json::from_slice::<BookJson>(bytes).map_err(damaged)?;
    if let Some((field, since)) = json.field_newer_than(head.version) {
        return Err(Error::OlderThanItsFields { file: file.to_owned(), version: head.version, field, since });
    }
    let book = json.into_book(folder);
    let in_order = book.and_then(|book| book.verify_invariants().map(|()| book));
    in_order.map_err(|refused| Error::Refused { file: file.to_owned(), refused })
}

/// The file's text: indented, in a fixed order, with a line end.
pub fn to_json(book: &Book, folder: &Path) -> String {
    let mut text =
        serde_json::to_string_pretty(&BookJson::of(book, folder)).expect("strings, numbers and lists have JSON forms");
    text.push('\n');
    text
}

#[derive(Deserialize)]
struct Head {
    format: String,
    version: u64,
}

#[cfg(test)]
mod tests;
