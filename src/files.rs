//! The only door to the file system: whole reads with a clear refusal, and writes that appear whole or not at all.

#![allow(clippy::disallowed_methods, reason = "this file is that door")]

mod folder;
mod lock;

use std::ffi::{OsStr, OsString};
use std::fs::{self, File};
use std::io::{self, Read, Seek, Write};
use std::path::{Path, PathBuf};

pub use folder::{GrowingFolder, PendingFiles, PendingFolder};
pub use lock::{Lock, NoLock};

/// Random letters and digits at the end of the temporary name of [`save`].
const RANDOM_CHARS: usize = 6;

/// What can go wrong between the program and a file.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error("{}: cannot be read ({cause}); check the name and the permissions", path.display())]
    Read { path: PathBuf, cause: io::Error },
    #[error("{}: cannot be written ({cause}); check the folder, its permissions and the free space", path.display())]
    Write { path: PathBuf, cause: io::Error },
    #[error("{}: is there already; give another name, or --force to write over it", path.display())]
    Exists { path: PathBuf },
    #[error("{}: holds {other}, which is no part of what would replace it; give another folder", path.display())]
    NotOurs { path: PathBuf, other: String },
    #[error("{}: is a folder; name a file", path.display())]
    IsFolder { path: PathBuf },
    #[error("{}: is no ordinary file; name a file", path.display())]
    NotAFile { path: PathBuf },
    #[error("{}: is one of the inputs; give the output another name", path.display())]
    IsInput { path: PathBuf },
    #[error("{}: holds {size_bytes} bytes, more than the {limit_bytes} that this kind of file may have", path.display())]
    TooLarge { path: PathBuf, size_bytes: u64, limit_bytes: u64 },
}

/// Whether an output may replace a file that is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Overwrite {
    Refuse,
    Replace,
}

/// Reads a file whole; a folder, or more than `limit_bytes`, is refused before anything is read.
pub fn read(path: &Path, limit_bytes: u64) -> Result<Vec<u8>, Error> {
    let read_error = |cause| Error::Read { path: path.to_owned(), cause };
    let (file, size_bytes) = open_ordinary(path)?;
    if size_bytes > limit_bytes {
        return Err(Error::TooLarge { path: path.to_owned(), size_bytes, limit_bytes });
    }
    let mut bytes = Vec::with_capacity(usize::try_from(size_bytes).unwrap_or(0));
    // A file may grow while it is read: the limit holds for what is really read.
    let read_bytes = file.take(limit_bytes + 1).read_to_end(&mut bytes).map_err(read_error)? as u64;
    if read_bytes > limit_bytes {
        return Err(Error::TooLarge { path: path.to_owned(), size_bytes: read_bytes, limit_bytes });
    }
    Ok(bytes)
}

/// Opens a file for reading, with its length in bytes. Pipes and devices are refused before they are opened: they may
/// never answer.
fn open_ordinary(path: &Path) -> Result<(File, u64), Error> {
    let read_error = |cause| Error::Read { path: path.to_owned(), cause };
    let about = fs::metadata(path).map_err(read_error)?;
    if about.is_dir() {
        return Err(Error::IsFolder { path: path.to_owned() });
    }
    if !about.is_file() {
        return Err(Error::NotAFile { path: path.to_owned() });
    }
    Ok((File::open(path).map_err(read_error)?, about.len()))
}

/// The first `count` bytes of a file (fewer where it is shorter), to recognise its kind by content.
pub fn read_head(path: &Path, count: u64) -> Result<Vec<u8>, Error> {
    let read_error = |cause| Error::Read { path: path.to_owned(), cause };
    let (file, _) = open_ordinary(path)?;
    let mut bytes = Vec::new();
    file.take(count).read_to_end(&mut bytes).map_err(read_error)?;
    Ok(bytes)
}

/// Up to `count` bytes from `offset`; fewer where the file ends before, none past its end.
pub fn read_at(path: &Path, offset: u64, count: u64) -> Result<Vec<u8>, Error> {
    let read_error = |cause| Error::Read { path: path.to_owned(), cause };
    let (mut file, _) = open_ordinary(path)?;
    file.seek(io::SeekFrom::Start(offset)).map_err(read_error)?;
    let mut bytes = Vec::new();
    file.take(count).read_to_end(&mut bytes).map_err(read_error)?;
    Ok(bytes)
}

/// Writes bytes into a file of our own making from `offset` on; it ends with them.
pub fn write_at(path: &Path, offset: u64, bytes: &[u8]) -> Result<(), Error> {
    let write_error = |cause| Error::Write { path: path.to_owned(), cause };
    let mut file = File::options().write(true).open(path).map_err(write_error)?;
    file.seek(io::SeekFrom::Start(offset)).map_err(write_error)?;
    file.write_all(bytes).and_then(|()| file.set_len(offset + bytes.len() as u64)).map_err(write_error)
}

/// An output that is being made under a temporary name in the target's folder.
/// It takes its final name in [`Pending::finish`]; dropped before that, it leaves nothing behind.
#[derive(Debug)]
pub struct Pending {
    temporary: tempfile::TempPath,
    target: PathBuf,
    overwrite: Overwrite,
}

impl Pending {
    /// Refuses at once where `target` exists and may not be replaced, so that no work is done in vain.
    pub fn new(target: &Path, overwrite: Overwrite) -> Result<Self, Error> {
        let suffix = target.extension().map(|it| format!(".{}", it.to_string_lossy())).unwrap_or_default();
        Self::named(target, overwrite, OsStr::new(".cornerbook-"), &suffix)
    }

    fn named(target: &Path, overwrite: Overwrite, prefix: &OsStr, suffix: &str) -> Result<Self, Error> {
        refuse_existing(target, overwrite)?;
        let temporary = tempfile::Builder::new()
            .prefix(prefix)
            .suffix(suffix)
            .rand_bytes(RANDOM_CHARS)
            .tempfile_in(folder_of(target))
            .map_err(|cause| Error::Write { path: target.to_owned(), cause: without_name(&cause) })?
            .into_temp_path();
        Ok(Self { temporary, target: target.to_owned(), overwrite })
    }

    /// Where the bytes go until [`Pending::finish`].
    pub fn path(&self) -> &Path {
        &self.temporary
    }

    /// Flushes to disk and gives the file its name; atomic on one file system.
    pub fn finish(self) -> Result<(), Error> {
        let Self { temporary, target, overwrite } = self;
        let write_error = |cause| Error::Write { path: target.clone(), cause };
        File::open(&temporary).and_then(|file| file.sync_all()).map_err(write_error)?;
        set_permissions_like(&target, &temporary).map_err(write_error)?;
        let renamed = match overwrite {
            Overwrite::Replace => temporary.persist(&target),
            Overwrite::Refuse => temporary.persist_noclobber(&target),
        };
        match renamed {
            Ok(()) => {
                // Makes the new name last through a power cut; a folder that cannot be flushed still has the file.
                let _ = File::open(folder_of(&target)).and_then(|folder| folder.sync_all());
                Ok(())
            }
            Err(error) if error.error.kind() == io::ErrorKind::AlreadyExists => Err(Error::Exists { path: target }),
            Err(error) => Err(Error::Write { path: target, cause: error.error }),
        }
    }
}

/// Writes `bytes` whole under `target`, or not at all.
pub fn write(target: &Path, bytes: &[u8], overwrite: Overwrite) -> Result<(), Error> {
    fill(Pending::new(target, overwrite)?, bytes)
}

/// Like [`write()`], for a file that is written again and again: what a killed save leaves behind is known by its name,
/// see [`remove_leftovers`].
pub fn save(target: &Path, bytes: &[u8], overwrite: Overwrite) -> Result<(), Error> {
    fill(Pending::named(target, overwrite, &saving_prefix(target), "")?, bytes)
}

/// Removes what killed saves of `target` have left beside it. Only to be called where nobody else is saving it.
pub fn remove_leftovers(target: &Path) {
    let prefix = saving_prefix(target);
    let Ok(entries) = fs::read_dir(folder_of(target)) else { return };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let random = name.as_encoded_bytes().strip_prefix(prefix.as_encoded_bytes());
        if random.is_some_and(|it| it.len() == RANDOM_CHARS && it.iter().all(u8::is_ascii_alphanumeric)) {
            // One that cannot be removed does no harm.
            let _ = fs::remove_file(entry.path());
        }
    }
}

fn saving_prefix(target: &Path) -> OsString {
    beside(target, ".saving-").file_name().map(OsStr::to_owned).unwrap_or_default()
}

/// A hidden name in the folder of `target` that is made of its own.
pub fn beside(target: &Path, ending: &str) -> PathBuf {
    let mut name = OsString::from(".");
    name.push(target.file_name().unwrap_or_default());
    name.push(ending);
    folder_of(target).join(name)
}

fn fill(pending: Pending, bytes: &[u8]) -> Result<(), Error> {
    File::options()
        .write(true)
        .open(pending.path())
        .and_then(|mut file| file.write_all(bytes))
        .map_err(|cause| Error::Write { path: pending.target.clone(), cause })?;
    pending.finish()
}

/// The trouble with a temporary file without its name, which says nothing to a person.
fn without_name(cause: &io::Error) -> io::Error {
    match cause.kind() {
        io::ErrorKind::NotFound => io::Error::new(io::ErrorKind::NotFound, "there is no such folder"),
        kind => io::Error::from(kind),
    }
}

/// Refuses where `target` exists and may not be replaced, or is a folder.
pub fn refuse_existing(target: &Path, overwrite: Overwrite) -> Result<(), Error> {
    if target.is_dir() {
        return Err(Error::IsFolder { path: target.to_owned() });
    }
    if overwrite == Overwrite::Refuse && target.exists() {
        return Err(Error::Exists { path: target.to_owned() });
    }
    Ok(())
}

/// Refuses where `target` is one of the files that are read, under whatever name: an output never replaces an input.
pub fn refuse_input<'a>(target: &Path, inputs: impl IntoIterator<Item = &'a Path>) -> Result<(), Error> {
    let Ok(real) = fs::canonicalize(target) else { return Ok(()) };
    let is_input =
        inputs.into_iter().any(|it| fs::canonicalize(it).is_ok_and(|it| it == real) || same_file(it, target));
    if is_input { Err(Error::IsInput { path: target.to_owned() }) } else { Ok(()) }
}

/// Whether two names are hard links to one file.
#[cfg(unix)]
fn same_file(a: &Path, b: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    match (fs::metadata(a), fs::metadata(b)) {
        (Ok(a), Ok(b)) => (a.dev(), a.ino()) == (b.dev(), b.ino()),
        _ => false,
    }
}

#[cfg(not(unix))]
fn same_file(_a: &Path, _b: &Path) -> bool {
    false
}

/// Makes a folder and those above it; an existing one is fine.
pub fn make_folder(path: &Path) -> Result<(), Error> {
    fs::create_dir_all(path).map_err(|cause| Error::Write { path: path.to_owned(), cause })
}

/// The path from the root with links in its folders followed; the last part keeps its name, be it a link or absent.
pub fn absolute(path: &Path) -> PathBuf {
    let folder = folder_of(path);
    match (fs::canonicalize(folder), path.file_name()) {
        (Ok(folder), Some(name)) => folder.join(name),
        (Ok(_), None) => fs::canonicalize(path).unwrap_or_else(|_| path.to_owned()),
        // The folder is gone: the plain name is the best there is.
        (Err(_), _) => std::path::absolute(path).unwrap_or_else(|_| path.to_owned()),
    }
}

/// The path from the root with every link followed; the file must be there.
pub fn real(path: &Path) -> Result<PathBuf, Error> {
    fs::canonicalize(path).map_err(|cause| Error::Read { path: path.to_owned(), cause })
}

/// Whether the file itself is marked as not to be written.
pub fn is_write_protected(path: &Path) -> bool {
    fs::metadata(path).is_ok_and(|it| it.permissions().readonly())
}

/// Length in bytes, or `None` where there is no such file.
pub fn length(path: &Path) -> Option<u64> {
    fs::metadata(path).ok().filter(fs::Metadata::is_file).map(|it| it.len())
}

/// The folder that holds `target`, as named; "." for a bare name.
pub fn folder_of(target: &Path) -> &Path {
    match target.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// Temporary files are private to the user: a finished output is as open as the file that it replaces, or else as
/// readable as any new file.
#[cfg(unix)]
fn set_permissions_like(target: &Path, temporary: &Path) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    let replaced = fs::metadata(target).ok().map(|it| it.permissions());
    fs::set_permissions(temporary, replaced.unwrap_or_else(|| fs::Permissions::from_mode(0o644)))
}

#[cfg(not(unix))]
fn set_permissions_like(_target: &Path, _temporary: &Path) -> io::Result<()> {
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dropped_output_leaves_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let target = folder.path().join("clip.mp4");
        drop(Pending::new(&target, Overwrite::Refuse).unwrap());
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    }

    #[test]
    fn an_existing_file_is_kept_unless_forced() {
        let folder = tempfile::tempdir().unwrap();
        let target = folder.path().join("passes.json");
        write(&target, b"first", Overwrite::Refuse).unwrap();
        let refused = write(&target, b"second", Overwrite::Refuse).unwrap_err().to_string();
        assert!(refused.ends_with("is there already; give another name, or --force to write over it"), "{refused}");
        assert_eq!(fs::read(&target).unwrap(), b"first");
        write(&target, b"second", Overwrite::Replace).unwrap();
        assert_eq!(read(&target, 100).unwrap(), b"second");
    }

    #[test]
    #[cfg(unix)]
    fn a_replaced_file_stays_as_private_as_it_was() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let target = folder.path().join("a.cornerbook");
        let mode = || fs::metadata(&target).unwrap().permissions().mode() & 0o777;
        save(&target, b"first", Overwrite::Refuse).unwrap();
        assert_eq!(mode(), 0o644);
        fs::set_permissions(&target, fs::Permissions::from_mode(0o600)).unwrap();
        save(&target, b"second", Overwrite::Replace).unwrap();
        assert_eq!((mode(), fs::read(&target).unwrap().as_slice()), (0o600, b"second".as_slice()));
    }

    #[test]
    fn leftovers_of_killed_saves_go_and_nothing_else_does() {
        let folder = tempfile::tempdir().unwrap();
        let target = folder.path().join("a.cornerbook");
        let kept = [".a.cornerbook.saving-12345", ".a.cornerbook.saving-1234.6", ".ba.cornerbook.saving-123456", "a"];
        for name in kept.iter().chain(&[".a.cornerbook.saving-aB3456"]) {
            fs::write(folder.path().join(name), b"half").unwrap();
        }
        remove_leftovers(&target);
        let mut left: Vec<_> = fs::read_dir(folder.path()).unwrap().map(|it| it.unwrap().file_name()).collect();
        left.sort();
        let mut kept = kept.map(OsString::from);
        kept.sort();
        assert_eq!(left, kept);
    }

    #[test]
    fn folders_missing_files_and_oversize_are_one_sentence() {
        let folder = tempfile::tempdir().unwrap();
        assert!(matches!(read(folder.path(), 10), Err(Error::IsFolder { .. })));
        assert!(matches!(read(&folder.path().join("none.csv"), 10), Err(Error::Read { .. })));
        let large = folder.path().join("large.csv");
        write(&large, &[0; 11], Overwrite::Refuse).unwrap();
        assert!(matches!(read(&large, 10), Err(Error::TooLarge { size_bytes: 11, .. })));
    }

    #[test]
    #[cfg(unix)]
    fn an_input_is_no_output_under_any_name() {
        let folder = tempfile::tempdir().unwrap();
        let (log, link) = (folder.path().join("log.csv"), folder.path().join("link.mp4"));
        write(&log, b"t", Overwrite::Refuse).unwrap();
        fs::hard_link(&log, &link).unwrap();
        for target in [&log, &link, &folder.path().join("../").join(folder.path().file_name().unwrap()).join("log.csv")]
        {
            assert!(matches!(refuse_input(target, [log.as_path()]), Err(Error::IsInput { .. })), "{target:?}");
        }
        refuse_input(&folder.path().join("new.mp4"), [log.as_path()]).unwrap();
    }

    #[test]
    #[cfg(unix)]
    fn an_endless_device_is_refused() {
        assert!(matches!(read(Path::new("/dev/zero"), 1000), Err(Error::NotAFile { .. })));
    }
}
