//! Shared by the integration tests.

use std::path::PathBuf;

/// A file of `../shared/data`, or `None`, said aloud, where that folder is absent.
pub fn shared_data(relative: &str) -> Option<PathBuf> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/data").join(relative);
    if path.exists() {
        return Some(path);
    }
    println!("SKIPPED: {} is absent", path.display());
    None
}
