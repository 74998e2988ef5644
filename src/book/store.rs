//! A book on disk while it is edited: one window at a time, saved after each change, whole or not at all. Takes a path and
//! operations; gives the book, and one sentence where its newest state is not on disk. Never writes over what someone else
//! has written meanwhile, unless told to.

use std::path::{Path, PathBuf};

use crate::book::file::{self, Error};
use crate::book::{Book, History, Op, Refused};
use crate::files::{self, Lock, NoLock, Overwrite};

/// Why a book is not opened for editing.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    #[error(transparent)]
    Book(#[from] Error),
    #[error("{file}: is open in another window; go on there, or open it here to read only")]
    InUse { file: String },
}

/// Why the newest state of a book is not on disk. Nothing of it is lost: the next save has it too.
#[derive(Debug, thiserror::Error)]
pub enum NotSaved {
    #[error("{file}: can only be read here ({why}); save the book under another name to keep the change")]
    ReadOnly { file: String, why: String },
    #[error(
        "{file}: another program has changed it since it was opened here, and it is not written over; \
         save the book under another name, or write over that change on purpose"
    )]
    ChangedMeanwhile { file: String },
    #[error("{file}: is open in another window; save the book under another name")]
    InUse { file: String },
    #[error("{0}; the change is kept here and tried again with the next one")]
    File(#[from] files::Error),
}

/// Why a book that was made elsewhere is not written.
#[derive(Debug, thiserror::Error)]
pub enum NotWritten {
    #[error(transparent)]
    Book(#[from] Error),
    #[error("{file}: is open in a window, which would not know of the change; close it there or give another name")]
    InUse { file: String },
}

/// Writes a book whole, unless a window has the file that is there.
pub fn write(book: &Book, path: &Path, overwrite: Overwrite) -> Result<(), NotWritten> {
    let there = if files::length(path).is_some() { files::real(path).map_err(Error::from)? } else { path.to_owned() };
    let _lock = match Lock::take(&files::beside(&there, ".lock")) {
        Ok(lock) => Some(lock),
        Err(NoLock::Held) => return Err(NotWritten::InUse { file: path.display().to_string() }),
        // Where no lock can be made, no window has one, or writing tells best what is wrong.
        Err(NoLock::Impossible(_)) => None,
    };
    Ok(file::save(book, path, overwrite)?)
}

/// Saves one book to its file. Holds the book's lock until dropped.
///
/// Saving waits for the disk: a window keeps this on a worker ([`Store::into_parts`]).
#[derive(Debug)]
pub struct Keeper {
    path: PathBuf,
    access: Access,
    /// The file as it was read or written last.
    on_disk: Vec<u8>,
}

#[derive(Debug)]
enum Access {
    Edit { _lock: Lock },
    Read { why: String },
}

impl Keeper {
    /// The book's file, with every link followed.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Why the book can only be read, in a few words; `None` where it can be saved.
    pub fn read_only(&self) -> Option<&str> {
        match &self.access {
            Access::Edit { .. } => None,
            Access::Read { why } => Some(why),
        }
    }

    /// Saves the book where it differs from the file. What another program has written since is not written over.
    pub fn save(&mut self, book: &Book) -> Result<(), NotSaved> {
        let there = self.file_now()?;
        match there {
            Some(bytes) if bytes == self.on_disk => self.write(book, Overwrite::Replace),
            Some(_) => Err(NotSaved::ChangedMeanwhile { file: self.name() }),
            None => self.write(book, Overwrite::Refuse),
        }
    }

    /// Saves the book whatever its file holds now: for a person who has been told that it was changed.
    pub fn save_over(&mut self, book: &Book) -> Result<(), NotSaved> {
        if let Some(bytes) = self.file_now()? {
            self.on_disk = bytes;
        }
        self.write(book, Overwrite::Replace)
    }

    /// Writes the book into another file, whatever it holds, and goes on there. Where that fails, all stays as it is.
    pub fn save_as(&mut self, book: &Book, path: &Path) -> Result<(), NotSaved> {
        let path = files::absolute(path);
        if path == self.path && self.read_only().is_none() {
            return self.save_over(book);
        }
        let lock = Lock::take(&files::beside(&path, ".lock")).map_err(|cause| match cause {
            NoLock::Held => NotSaved::InUse { file: path.display().to_string() },
            NoLock::Impossible(cause) => files::Error::Write { path: path.clone(), cause }.into(),
        })?;
        let on_disk = file::to_json(book, files::folder_of(&path)).into_bytes();
        files::save(&path, &on_disk, Overwrite::Replace)?;
        let path = files::real(&path)?;
        *self = Self { path, access: Access::Edit { _lock: lock }, on_disk };
        Ok(())
    }

    /// The file's bytes; `None` where it is not there.
    fn file_now(&self) -> Result<Option<Vec<u8>>, files::Error> {
        if files::length(&self.path).is_none() {
            return Ok(None);
        }
        files::read(&self.path, file::LARGEST_BYTES).map(Some)
    }

    fn write(&mut self, book: &Book, overwrite: Overwrite) -> Result<(), NotSaved> {
        if let Access::Read { why } = &self.access {
            return Err(NotSaved::ReadOnly { file: self.name(), why: why.clone() });
        }
        let bytes = file::to_json(book, files::folder_of(&self.path)).into_bytes();
        if bytes != self.on_disk || overwrite == Overwrite::Refuse {
            files::save(&self.path, &bytes, overwrite)?;
            self.on_disk = bytes;
        }
        Ok(())
    }

    fn name(&self) -> String {
        self.path.display().to_string()
    }
}

/// A book with undo that is saved after each change.
#[derive(Debug)]
pub struct Store {
    history: History,
    keeper: Keeper,
    trouble: Option<NotSaved>,
}

impl Store {
    /// Opens a book to edit it, and removes what killed saves have left beside it. Where nothing can be written it is
    /// opened to read only; where another window has it, it is not opened.
    pub fn open(path: &Path) -> Result<Self, OpenError> {
        let path = files::real(path).map_err(Error::from)?;
        let access = match Lock::take(&files::beside(&path, ".lock")) {
            Err(NoLock::Held) => return Err(OpenError::InUse { file: path.display().to_string() }),
            Err(NoLock::Impossible(cause)) => Access::Read { why: cause.to_string() },
            Ok(_) if files::is_write_protected(&path) => Access::Read { why: "the file is write-protected".to_owned() },
            Ok(lock) => {
                files::remove_leftovers(&path);
                Access::Edit { _lock: lock }
            }
        };
        Self::with(path, access)
    }

    /// Opens a book to look at it, whoever else has it open.
    pub fn open_to_read(path: &Path) -> Result<Self, OpenError> {
        let path = files::real(path).map_err(Error::from)?;
        Self::with(path, Access::Read { why: "it was opened to read only".to_owned() })
    }

    fn with(path: PathBuf, access: Access) -> Result<Self, OpenError> {
        let on_disk = files::read(&path, file::LARGEST_BYTES).map_err(Error::from)?;
        let book = file::read(&path.display().to_string(), &on_disk, files::folder_of(&path))?;
        Ok(Self { history: History::new(book), keeper: Keeper { path, access, on_disk }, trouble: None })
    }

    pub fn book(&self) -> &Book {
        self.history.book()
    }

    pub fn keeper(&self) -> &Keeper {
        &self.keeper
    }

    /// Why the book as it is now is not on disk; `None` where it is.
    pub fn trouble(&self) -> Option<&NotSaved> {
        self.trouble.as_ref()
    }

    /// Does `op` and saves; a refused one changes nothing. See [`Store::trouble`] for whether it is on disk.
    pub fn apply(&mut self, op: Op) -> Result<(), Refused> {
        self.history.apply(op)?;
        self.save();
        Ok(())
    }

    /// Takes the last change back and saves; `false` where there is none.
    pub fn undo(&mut self) -> bool {
        let is_done = self.history.undo();
        if is_done {
            self.save();
        }
        is_done
    }

    /// Does the last change taken back again and saves; `false` where there is none.
    pub fn redo(&mut self) -> bool {
        let is_done = self.history.redo();
        if is_done {
            self.save();
        }
        is_done
    }

    /// Saves again, after trouble.
    pub fn save(&mut self) {
        self.trouble = self.keeper.save(self.history.book()).err();
    }

    /// Saves whatever the file holds now: for a person who has been told that it was changed.
    pub fn save_over(&mut self) {
        self.trouble = self.keeper.save_over(self.history.book()).err();
    }

    /// The book and what saves it, apart: so that saving can be done on a worker, newest state last.
    pub fn into_parts(self) -> (History, Keeper) {
        (self.history, self.keeper)
    }
}

#[cfg(test)]
mod tests;
