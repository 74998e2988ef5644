//! What a file is, by its content, and files picked together sorted into the parts of a book.

use std::path::{Path, PathBuf};

use crate::book::{Book, Recording, file as book_file, file::refer_to};
use crate::files;
use crate::load::footage;
use crate::load::{Error, HEAD_BYTES};
use crate::log;
use crate::track::file as track_file;

/// The kinds of file that a session is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FileKind {
    Book,
    Track,
    Footage,
    Log,
}

/// Tells a file's kind from its first bytes. Text that is nothing else is taken for a log: its reader says best what is
/// wrong with it.
///
/// # Errors
/// The file cannot be read, is empty, or is binary and of no known kind.
pub fn kind_of(path: &Path) -> Result<FileKind, Error> {
    let head = files::read_head(path, HEAD_BYTES)?;
    if book_file::recognise(&head) {
        Ok(FileKind::Book)
    } else if track_file::recognise(&head) {
        Ok(FileKind::Track)
    } else if log::recognise(&head).is_some() {
        Ok(FileKind::Log)
    } else if footage::recognise(&head) {
        Ok(FileKind::Footage)
    } else if head.is_empty() {
        Err(Error::Empty { path: path.to_owned() })
    } else if head.contains(&0) {
        Err(Error::UnknownKind { path: path.to_owned() })
    } else {
        Ok(FileKind::Log)
    }
}

/// A book of files that were picked together: logs, footage and at most one track file, each in the order of names.
///
/// # Errors
/// A file of no known kind, a book among them, two track files, or neither a log nor footage.
pub fn book_of(paths: &[PathBuf]) -> Result<Book, Error> {
    let mut paths = paths.to_vec();
    paths.sort();
    let mut book = Book::new(Vec::new());
    let mut chapters = Vec::new();
    for path in &paths {
        let file = refer_to(path)?;
        match kind_of(path)? {
            FileKind::Book => return Err(Error::BookAmongFiles { path: path.clone() }),
            FileKind::Track if book.track.is_some() => return Err(Error::SecondTrack { path: path.clone() }),
            FileKind::Track => book.track = Some(file),
            FileKind::Footage => chapters.push(file),
            FileKind::Log => book.logs.push(file),
        }
    }
    if book.logs.is_empty() && chapters.is_empty() {
        return Err(Error::NoLog);
    }
    book.recording = Recording { chapters, pins: Vec::new() };
    Ok(book)
}

/// Where a new book goes: beside its first log or footage and named after it, with a number where that name is taken.
pub fn free_name(book: &Book) -> PathBuf {
    let log = book.logs.first().or(book.recording.chapters.first()).map(|it| it.path.clone()).unwrap_or_default();
    let stem = log.file_stem().unwrap_or_default().to_owned();
    let name = |number: u32| {
        let mut name = stem.clone();
        if number > 1 {
            name.push(format!(" {number}"));
        }
        name.push(".cornerbook");
        log.with_file_name(name)
    };
    (1..).map(name).find(|it| files::length(it).is_none()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::Overwrite;

    #[test]
    fn files_are_sorted_by_what_they_hold() {
        let folder = tempfile::tempdir().unwrap();
        let write = |name: &str, bytes: &[u8]| {
            let path = folder.path().join(name);
            files::write(&path, bytes, Overwrite::Refuse).unwrap();
            path
        };
        let second = write("b.mp4", b"\0\0\0\x20ftypisom");
        let first = write("a.mp4", b"\0\0\0\x20ftypisom");
        let log = write("film.mp4.txt", b"t_s,lat,lon\n0,47,8\n1,47,8\n");
        let track = write("track.json", b"{\"type\": \"FeatureCollection\", \"features\": []}");
        let book = book_of(&[second, track.clone(), first, log.clone()]).unwrap();
        assert_eq!(book.logs[0].path, log);
        assert_eq!(book.track.as_ref().unwrap().path, track);
        assert!(book.recording.chapters[0].path.ends_with("a.mp4") && book.recording.chapters.len() == 2);
        assert_eq!(free_name(&book), folder.path().join("film.mp4.cornerbook"));
        write("film.mp4.cornerbook", b"{");
        assert_eq!(free_name(&book), folder.path().join("film.mp4 2.cornerbook"));
        assert!(matches!(book_of(std::slice::from_ref(&track)), Err(Error::NoLog)));
        let other = write("track2.json", b"{\"type\": \"FeatureCollection\", \"features\": []}");
        assert!(matches!(book_of(&[track, other, log]), Err(Error::SecondTrack { .. })));
        assert!(matches!(kind_of(&write("noise", b"\x01\0\x02")), Err(Error::UnknownKind { .. })));
        assert!(matches!(kind_of(&write("nothing.csv", b"")), Err(Error::Empty { .. })));
    }
}
