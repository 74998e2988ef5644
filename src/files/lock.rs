//! Advisory locks: a file that one process at a time may hold. The system lets go of it when its holder dies, however it
//! dies, so a lock file that is left behind blocks nobody.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use fs4::{FileExt, TryLockError};

/// How often a lock file that its former holder removes at the same moment is made anew.
const ATTEMPTS: usize = 100;

/// A lock that is held until this is dropped.
#[derive(Debug)]
pub struct Lock {
    /// Holds the lock by being open.
    _file: File,
    path: PathBuf,
}

/// Why there is no lock.
#[derive(Debug, thiserror::Error)]
pub enum NoLock {
    #[error("another process holds it")]
    Held,
    /// The lock file cannot be made here, or the file system knows no locks.
    #[error(transparent)]
    Impossible(#[from] io::Error),
}

impl Lock {
    /// Takes the lock `path` without waiting. The file is made where it is not there.
    pub fn take(path: &Path) -> Result<Self, NoLock> {
        for _ in 0..ATTEMPTS {
            let file = File::options().create(true).truncate(false).write(true).open(path)?;
            match FileExt::try_lock(&file) {
                Ok(()) if is_still_at(&file, path) => return Ok(Self { _file: file, path: path.to_owned() }),
                Ok(()) => {}
                Err(TryLockError::WouldBlock) => return Err(NoLock::Held),
                Err(TryLockError::Error(cause)) => return Err(NoLock::Impossible(cause)),
            }
        }
        Err(NoLock::Held)
    }
}

impl Drop for Lock {
    fn drop(&mut self) {
        // Removed while held, so that whoever opened it meanwhile sees in `take` that it is gone. Where that cannot be
        // seen the file stays.
        if cfg!(unix) {
            let _ = fs::remove_file(&self.path);
        }
    }
}

/// Whether the opened file still has its name: its former holder may have removed it in between.
#[cfg(unix)]
fn is_still_at(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    match (file.metadata(), fs::metadata(path)) {
        (Ok(opened), Ok(named)) => (opened.dev(), opened.ino()) == (named.dev(), named.ino()),
        _ => false,
    }
}

#[cfg(not(unix))]
fn is_still_at(_file: &File, _path: &Path) -> bool {
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lock_is_held_by_one_and_leaves_nothing_behind() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lock");
        let lock = Lock::take(&path).unwrap();
        assert!(matches!(Lock::take(&path), Err(NoLock::Held)));
        drop(lock);
        assert!(!path.exists());
        // What a killed process leaves is a file that nobody holds.
        fs::write(&path, b"").unwrap();
        drop(Lock::take(&path).unwrap());
        assert!(matches!(Lock::take(folder.path()), Err(NoLock::Impossible(_))));
    }

    #[test]
    fn never_two_holders_at_once() {
        use std::sync::atomic::{AtomicU32, Ordering};
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lock");
        let (holders, taken) = (AtomicU32::new(0), AtomicU32::new(0));
        std::thread::scope(|scope| {
            for _ in 0..4 {
                scope.spawn(|| {
                    while taken.load(Ordering::SeqCst) < 400 {
                        let Ok(lock) = Lock::take(&path) else { continue };
                        assert_eq!(holders.fetch_add(1, Ordering::SeqCst), 0);
                        taken.fetch_add(1, Ordering::SeqCst);
                        holders.fetch_sub(1, Ordering::SeqCst);
                        drop(lock);
                    }
                });
            }
        });
    }
}
