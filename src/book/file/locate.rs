//! Files that a book names: how they are referred to, and where they are now.

use std::path::{Component, Path, PathBuf};

use crate::book::file::Error;
use crate::book::{Book, FileRef, FootageRef, Op, Recording, Trackside};
use crate::files;
use crate::session::{Note, NoteKind, Place};

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

impl Book {
    /// The change that says where a file is now that the book names at `was`, in every place that names it, and with it
    /// the book's other files that are lost and lie in the same folder now; `None` where the book names none such.
    pub fn moved(&self, was: &Path, now: FileRef) -> Option<Op> {
        let moved = |file: &FileRef| if file.path == was { Some(now.clone()) } else { lost_beside(file, &now.path) };
        let in_list = |files: &[FileRef]| {
            let after: Vec<FileRef> = files.iter().map(|it| moved(it).unwrap_or_else(|| it.clone())).collect();
            (after != files).then_some(after)
        };
        let alone = |file: &Option<FileRef>| file.as_ref().and_then(moved).map(Some);
        let recording = |chapters| Op::Recording(Recording { chapters, pins: self.recording.pins.clone() });
        let trackside = self.trackside.iter().filter_map(|(id, it)| {
            let file = moved(&it.file)?;
            Some(Op::Trackside(*id, Some(Trackside { file, ..it.clone() })))
        });
        let ops: Vec<Op> = [
            in_list(&self.logs).map(Op::Logs),
            in_list(&self.recording.chapters).map(recording),
            alone(&self.track).map(Op::Track),
            alone(&self.columns).map(Op::Columns),
        ]
        .into_iter()
        .flatten()
        .chain(trackside)
        .collect();
        (!ops.is_empty()).then_some(Op::Several(ops))
    }
}

/// A file that is not in its place, where one of its name and length lies in the folder of `found`.
fn lost_beside(file: &FileRef, found: &Path) -> Option<FileRef> {
    let is_at = |path: &Path| files::length(path) == Some(file.length_bytes);
    let path = found.parent()?.join(file.path.file_name()?);
    (!is_at(&file.path) && is_at(&path)).then_some(FileRef { path, length_bytes: file.length_bytes })
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

/// Which footage file of a book a path is: the one of that path, else one of the same name and length.
pub fn footage_of(book: &Book, path: &Path) -> Option<FootageRef> {
    let chapters = book.recording.chapters.iter().enumerate().map(|(index, it)| (FootageRef::Chapter(index), it));
    let trackside = book.trackside.iter().map(|(id, it)| (FootageRef::Trackside(*id), &it.file));
    let all: Vec<_> = chapters.chain(trackside).collect();
    let length_bytes = files::length(path);
    let is_known = |it: &FileRef| it.path.file_name() == path.file_name() && Some(it.length_bytes) == length_bytes;
    let found = all.iter().find(|(_, it)| it.path == path).or_else(|| all.iter().find(|(_, it)| is_known(it)));
    found.map(|(footage, _)| *footage)
}

fn note_on(file: &FileRef, kind: NoteKind) -> Note {
    Note::new(kind).in_file(&file.path.display().to_string(), Place::Whole)
}

/// The book's folder as a prefix for names: empty, not ".", for a bare name, so that messages stay short.
fn folder_prefix(book: &Path) -> PathBuf {
    book.parent().map(Path::to_owned).unwrap_or_default()
}

/// `path` seen from `folder`, both absolute; unchanged where they share nothing below the root.
pub(super) fn relative(path: &Path, folder: &Path) -> PathBuf {
    let shared = path.components().zip(folder.components()).take_while(|(a, b)| a == b).count();
    if shared <= 1 {
        return path.to_owned();
    }
    let up = folder.components().skip(shared).map(|_| Component::ParentDir);
    up.chain(path.components().skip(shared)).collect()
}
