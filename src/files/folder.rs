//! A folder that appears whole or not at all, and files that appear in a folder together. Both take their names and,
//! piece by piece, what is in them; neither deletes a file that it would not have written itself.

#![allow(clippy::disallowed_methods, reason = "part of the door to the file system")]

use std::ffi::OsStr;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use crate::files::{Error, Overwrite, folder_of, make_folder, refuse_existing, without_name};

/// An output folder that is being filled under a temporary name beside its place.
/// It takes its name in [`PendingFolder::finish`]; dropped before that, it leaves nothing behind.
#[derive(Debug)]
pub struct PendingFolder {
    /// Holds the new folder, and for a moment the replaced one.
    around: tempfile::TempDir,
    target: PathBuf,
    overwrite: Overwrite,
    is_ours: fn(&OsStr) -> bool,
}

impl PendingFolder {
    /// Refuses at once where `target` is there, unless it is an empty folder, or may be replaced and holds only entries
    /// that are `is_ours`, by their names: a wrong name after --force costs nobody their files.
    pub fn new(target: &Path, overwrite: Overwrite, is_ours: fn(&OsStr) -> bool) -> Result<Self, Error> {
        refuse(target, overwrite, is_ours)?;
        let around = workshop(folder_of(target), target)?;
        Ok(Self { around, target: target.to_owned(), overwrite, is_ours })
    }

    /// Where a file of the folder goes until [`PendingFolder::finish`]; its folder is made.
    pub fn path(&self, name: &str) -> Result<PathBuf, Error> {
        let path = self.around.path().join(NEW).join(name);
        let made = fs::create_dir_all(folder_of(&path));
        made.map_err(|cause| Error::Write { path: self.target.join(name), cause })?;
        Ok(path)
    }

    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<(), Error> {
        let path = self.path(name)?;
        let written = File::create_new(&path).and_then(|mut file| file.write_all(bytes).and_then(|()| file.sync_all()));
        written.map_err(|cause| Error::Write { path: self.target.join(name), cause })
    }

    /// Gives the folder its name. What it replaces is moved away first and comes back if that fails.
    pub fn finish(self) -> Result<(), Error> {
        refuse(&self.target, self.overwrite, self.is_ours)?;
        let (new, old) = (self.around.path().join(NEW), self.around.path().join("old"));
        let replaces = fs::symlink_metadata(&self.target).is_ok();
        let moved = if replaces { fs::rename(&self.target, &old) } else { Ok(()) };
        let named = moved.and_then(|()| {
            fs::rename(&new, &self.target).inspect_err(|_| {
                if replaces {
                    // Where even this fails, the old folder is as lost as the disk.
                    let _ = fs::rename(&old, &self.target);
                }
            })
        });
        named.map_err(|cause| Error::Write { path: self.target.clone(), cause })?;
        // Makes the new name last through a power cut; a folder that cannot be flushed still has the files.
        let _ = File::open(folder_of(&self.target)).and_then(|folder| folder.sync_all());
        Ok(())
    }
}

/// Files that appear in a folder together, once all are written; what else lies in the folder stays.
/// Dropped before [`PendingFiles::finish`], they leave nothing behind.
#[derive(Debug)]
pub struct PendingFiles {
    around: tempfile::TempDir,
    target: PathBuf,
    overwrite: Overwrite,
}

impl PendingFiles {
    /// Refuses at once where one of the `names` is in `target` and may not be replaced, so that no work is done in vain.
    pub fn new<'a>(
        target: &Path,
        overwrite: Overwrite,
        names: impl IntoIterator<Item = &'a str>,
    ) -> Result<Self, Error> {
        names.into_iter().try_for_each(|it| refuse_existing(&target.join(it), overwrite))?;
        // On the target's file system: within it where it is there, for it may be one of its own.
        let home = if target.is_dir() { target } else { folder_of(target) };
        let around = workshop(home, target)?;
        Ok(Self { around, target: target.to_owned(), overwrite })
    }

    /// Where the files go until [`PendingFiles::finish`].
    pub fn folder(&self) -> PathBuf {
        self.around.path().join(NEW)
    }

    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<(), Error> {
        let written = fs::write(self.folder().join(name), bytes);
        written.map_err(|cause| Error::Write { path: self.target.join(name), cause })
    }

    /// Gives the files their names.
    ///
    /// # Errors
    /// A name that is taken by now and may not be replaced; then none is given. A folder that cannot be written.
    pub fn finish(self) -> Result<(), Error> {
        let write_error = |cause| Error::Write { path: self.target.clone(), cause };
        let entries = fs::read_dir(self.folder()).map_err(write_error)?;
        let names: Vec<_> = entries.flatten().map(|it| it.file_name()).collect();
        names.iter().try_for_each(|it| refuse_existing(&self.target.join(it), self.overwrite))?;
        fs::create_dir_all(&self.target).map_err(write_error)?;
        for name in &names {
            let target = self.target.join(name);
            fs::rename(self.folder().join(name), &target).map_err(|cause| Error::Write { path: target, cause })?;
        }
        // Makes the new names last through a power cut; a folder that cannot be flushed still has the files.
        let _ = File::open(&self.target).and_then(|folder| folder.sync_all());
        Ok(())
    }
}

/// A folder for files that are finished one by one and stay, whatever becomes of the next. Made for them, it goes again
/// where none came.
#[derive(Debug)]
pub struct GrowingFolder {
    path: PathBuf,
    is_new: bool,
}

impl GrowingFolder {
    /// Makes the folder, and those above it, where it is not there.
    pub fn new(path: &Path) -> Result<Self, Error> {
        let is_new = !path.exists();
        make_folder(path)?;
        Ok(Self { path: path.to_owned(), is_new })
    }
}

impl Drop for GrowingFolder {
    fn drop(&mut self) {
        if self.is_new {
            // Only an empty folder can be removed so.
            let _ = fs::remove_dir(&self.path);
        }
    }
}

/// Where what becomes of `target` is made: the folder [`NEW`] in a hidden one in `home`, which is made where it is not there.
fn workshop(home: &Path, target: &Path) -> Result<tempfile::TempDir, Error> {
    let write_error = |cause| Error::Write { path: target.to_owned(), cause };
    fs::create_dir_all(home).map_err(write_error)?;
    let around = tempfile::Builder::new().prefix(".cornerbook-").tempdir_in(home);
    let around = around.map_err(|cause| write_error(without_name(&cause)))?;
    fs::create_dir(around.path().join(NEW)).map_err(write_error)?;
    Ok(around)
}

const NEW: &str = "new";

fn refuse(target: &Path, overwrite: Overwrite, is_ours: fn(&OsStr) -> bool) -> Result<(), Error> {
    let exists = || Error::Exists { path: target.to_owned() };
    let entries = match fs::read_dir(target) {
        Ok(entries) => entries,
        Err(cause) if cause.kind() == io::ErrorKind::NotFound => return Ok(()),
        // A file, or a folder that is closed to us: nothing of ours.
        Err(_) => return Err(exists()),
    };
    let mut names = entries.flatten().map(|it| it.file_name()).collect::<Vec<_>>();
    names.sort();
    match names.iter().find(|it| !is_ours(it)) {
        None if names.is_empty() || overwrite == Overwrite::Replace => Ok(()),
        Some(other) if overwrite == Overwrite::Replace => {
            Err(Error::NotOurs { path: target.to_owned(), other: other.to_string_lossy().into_owned() })
        }
        _ => Err(exists()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pending(target: &Path, overwrite: Overwrite) -> Result<PendingFolder, Error> {
        PendingFolder::new(target, overwrite, |name| name == "a.txt" || name == "in")
    }

    fn entries(folder: &Path) -> Vec<String> {
        let names = fs::read_dir(folder).unwrap().map(|it| it.unwrap().file_name().to_string_lossy().into_owned());
        let mut names: Vec<String> = names.collect();
        names.sort();
        names
    }

    #[test]
    fn it_appears_whole_or_not_at_all() {
        let around = tempfile::tempdir().unwrap();
        let target = around.path().join("deep/out");
        let folder = pending(&target, Overwrite::Refuse).unwrap();
        folder.write("a.txt", b"1").unwrap();
        folder.write("in/b.txt", b"2").unwrap();
        assert!(!target.exists());
        folder.finish().unwrap();
        assert_eq!(entries(&target), ["a.txt", "in"]);
        assert_eq!(fs::read(target.join("in/b.txt")).unwrap(), b"2");
        drop(pending(&around.path().join("other"), Overwrite::Refuse).unwrap());
        assert_eq!(
            (entries(around.path()), entries(target.parent().unwrap())),
            (vec!["deep".into()], vec!["out".into()])
        );
    }

    #[test]
    fn only_what_it_wrote_itself_is_replaced() {
        let around = tempfile::tempdir().unwrap();
        let target = around.path().join("out");
        fs::create_dir(&target).unwrap();
        pending(&target, Overwrite::Refuse).unwrap().finish().unwrap();
        fs::write(target.join("a.txt"), b"old").unwrap();
        assert!(matches!(pending(&target, Overwrite::Refuse), Err(Error::Exists { .. })));
        let folder = pending(&target, Overwrite::Replace).unwrap();
        folder.write("in/b.txt", b"new").unwrap();
        fs::write(target.join("diary.txt"), b"mine").unwrap();
        assert!(folder.finish().unwrap_err().to_string().contains("holds diary.txt, which is no part"));
        assert_eq!(entries(&target), ["a.txt", "diary.txt"]);
        fs::remove_file(target.join("diary.txt")).unwrap();
        pending(&target, Overwrite::Replace).unwrap().finish().unwrap();
        assert_eq!((entries(&target), entries(around.path())), (Vec::<String>::new(), vec!["out".into()]));
        let file = around.path().join("file");
        fs::write(&file, b"mine").unwrap();
        for overwrite in [Overwrite::Refuse, Overwrite::Replace] {
            assert!(matches!(pending(&file, overwrite), Err(Error::Exists { .. })));
        }
    }

    #[test]
    fn files_appear_together_beside_what_is_there() {
        let around = tempfile::tempdir().unwrap();
        let target = around.path().join("deep/out");
        let fill = |overwrite| {
            let files = PendingFiles::new(&target, overwrite, ["a.txt", "b.txt"])?;
            files.write("a.txt", b"a").unwrap();
            fs::write(files.folder().join("b.txt"), b"b").unwrap();
            Ok::<_, Error>(files)
        };
        drop(fill(Overwrite::Refuse).unwrap());
        assert_eq!(entries(target.parent().unwrap()), Vec::<String>::new());
        fs::create_dir(&target).unwrap();
        fs::write(target.join("diary.txt"), b"mine").unwrap();
        drop(fill(Overwrite::Refuse).unwrap());
        assert_eq!(entries(&target), ["diary.txt"]);
        let late = fill(Overwrite::Refuse).unwrap();
        fill(Overwrite::Refuse).unwrap().finish().unwrap();
        assert!(matches!(fill(Overwrite::Refuse), Err(Error::Exists { .. })));
        assert!(matches!(late.finish(), Err(Error::Exists { .. })));
        fill(Overwrite::Replace).unwrap().finish().unwrap();
        assert_eq!(entries(&target), ["a.txt", "b.txt", "diary.txt"]);
    }

    #[test]
    fn a_folder_made_for_nothing_goes_again() {
        let around = tempfile::tempdir().unwrap();
        let target = around.path().join("clips");
        drop(GrowingFolder::new(&target).unwrap());
        assert!(!target.exists());
        let folder = GrowingFolder::new(&target).unwrap();
        fs::write(target.join("1.mp4"), b"film").unwrap();
        drop(folder);
        assert_eq!(entries(&target), ["1.mp4"]);
        fs::remove_file(target.join("1.mp4")).unwrap();
        drop(GrowingFolder::new(&target).unwrap());
        assert!(target.exists(), "it was there before");
    }
}
