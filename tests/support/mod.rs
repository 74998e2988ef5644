//! Shared by the integration tests.

use std::path::PathBuf;

/// A file of `shared/data`, in the first folder above this crate that has it (the crate may stand in a worktree), or
/// `None`, said aloud, where none has.
pub fn shared_data(relative: &str) -> Option<PathBuf> {
    let crate_folder = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    let found = crate_folder.ancestors().skip(1).map(|it| it.join("shared/data").join(relative)).find(|it| it.exists());
    if found.is_none() {
        println!("SKIPPED: shared/data/{relative} is absent");
    }
    found
}
