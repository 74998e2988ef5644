//! Shared by the integration tests.

pub mod hostile;
pub mod web_vtt;

use std::path::PathBuf;

/// A file of `../shared/data` (one folder further up for a second working tree), or `None`, said aloud, where that
/// folder is absent.
pub fn shared_data(relative: &str) -> Option<PathBuf> {
    let home = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    let candidates = ["../shared/data", "../../shared/data"].map(|folder| home.join(folder).join(relative));
    let found = candidates.iter().find(|path| path.exists()).cloned();
    if found.is_none() {
        println!("SKIPPED: {} is absent", candidates[0].display());
    }
    found
}
