//! Opening and saving: who may, what is left alone, and every sentence. Killed saves are in `tests/book_store.rs`.

#![allow(clippy::disallowed_methods, reason = "tests play the other program that reads and writes the file")]

use std::fs;

use expect_test::{Expect, expect};

use super::*;
use crate::book::FileRef;

struct Shelf {
    folder: tempfile::TempDir,
    path: PathBuf,
}

impl Shelf {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.cornerbook");
        let log = FileRef { path: folder.path().join("run.csv"), length_bytes: 3 };
        file::save(&Book::new(vec![log]), &path, Overwrite::Refuse).unwrap();
        Self { folder, path }
    }

    fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(self.folder.path()).unwrap();
        let mut names: Vec<_> = entries.map(|it| it.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    fn says(&self, error: Option<&NotSaved>, sentence: Expect) {
        let text = error.map_or("saved".to_owned(), ToString::to_string);
        let folder = fs::canonicalize(self.folder.path()).unwrap();
        sentence.assert_eq(&text.replace(folder.to_str().unwrap(), "FOLDER"));
    }
}

fn driver(name: &str) -> Op {
    Op::Driver(Some(name.to_owned()))
}

#[test]
fn each_change_is_on_disk_and_so_is_its_undo() {
    let shelf = Shelf::new();
    let mut store = Store::open(&shelf.path).unwrap();
    assert_eq!(store.keeper().read_only(), None);
    store.apply(driver("Kim")).unwrap();
    assert_eq!(file::open(&shelf.path).unwrap().driver.as_deref(), Some("Kim"));
    assert!(store.undo());
    assert_eq!(file::open(&shelf.path).unwrap(), *store.book());
    assert_eq!(store.book().driver, None);
    assert!(store.redo() && !store.redo());
    assert_eq!(file::open(&shelf.path).unwrap(), *store.book());
    assert!(store.apply(Op::Logs(vec![])).is_err());
    assert!(store.trouble().is_none());
    assert_eq!(shelf.names(), [".a.cornerbook.lock", "a.cornerbook"]);
    drop(store);
    assert_eq!(shelf.names(), ["a.cornerbook"]);
}

#[test]
fn a_book_is_edited_in_one_window_at_a_time() {
    let shelf = Shelf::new();
    let first = Store::open(&shelf.path).unwrap();
    let refused = Store::open(&shelf.path).unwrap_err().to_string();
    assert!(
        refused.ends_with("/a.cornerbook: is open in another window; go on there, or open it here to read only"),
        "{refused}"
    );
    let mut second = Store::open_to_read(&shelf.path).unwrap();
    second.apply(driver("Kim")).unwrap();
    shelf.says(
        second.trouble(),
        expect![
            "FOLDER/a.cornerbook: can only be read here (it was opened to read only); save the book under another name to keep the change"
        ],
    );
    assert_eq!(file::open(&shelf.path).unwrap(), *first.book());
    let (_, keeper) = first.into_parts();
    assert!(Store::open(&shelf.path).is_err(), "the keeper holds the lock");
    drop(keeper);
    Store::open(&shelf.path).unwrap();
}

#[test]
fn what_cannot_be_written_is_opened_to_read() {
    let shelf = Shelf::new();
    // Nothing can be made under the lock's name, as in a folder that is not ours.
    let lock = shelf.folder.path().join(".a.cornerbook.lock");
    fs::create_dir(&lock).unwrap();
    let mut store = Store::open(&shelf.path).unwrap();
    assert!(store.keeper().read_only().is_some());
    store.apply(driver("Kim")).unwrap();
    assert!(matches!(store.trouble(), Some(NotSaved::ReadOnly { .. })));
    drop(store);
    fs::remove_dir(&lock).unwrap();

    let mut permissions = fs::metadata(&shelf.path).unwrap().permissions();
    permissions.set_readonly(true);
    fs::set_permissions(&shelf.path, permissions).unwrap();
    let mut store = Store::open(&shelf.path).unwrap();
    store.apply(driver("Kim")).unwrap();
    shelf.says(
        store.trouble(),
        expect![
            "FOLDER/a.cornerbook: can only be read here (the file is write-protected); save the book under another name to keep the change"
        ],
    );
    assert_eq!(file::open(&shelf.path).unwrap().driver, None);
}

#[test]
fn what_another_program_wrote_is_not_written_over_unasked() {
    let shelf = Shelf::new();
    let mut store = Store::open(&shelf.path).unwrap();
    let mut other = store.book().clone();
    other.driver = Some("Sam".to_owned());
    file::save(&other, &shelf.path, Overwrite::Replace).unwrap();
    store.apply(driver("Kim")).unwrap();
    shelf.says(
        store.trouble(),
        expect![
            "FOLDER/a.cornerbook: another program has changed it since it was opened here, and it is not written over; save the book under another name, or write over that change on purpose"
        ],
    );
    assert_eq!(file::open(&shelf.path).unwrap(), other);
    store.save();
    assert!(store.trouble().is_some());
    store.save_over();
    assert!(store.trouble().is_none());
    assert_eq!(file::open(&shelf.path).unwrap(), *store.book());

    // The same bytes written again are no change.
    let bytes = fs::read(&shelf.path).unwrap();
    fs::write(&shelf.path, &bytes).unwrap();
    store.apply(driver("Alex")).unwrap();
    assert!(store.trouble().is_none());
}

#[test]
fn a_save_that_fails_keeps_the_change_for_the_next_one() {
    let shelf = Shelf::new();
    let mut store = Store::open(&shelf.path).unwrap();
    let away = shelf.folder.path().with_extension("away");
    fs::rename(shelf.folder.path(), &away).unwrap();
    store.apply(driver("Kim")).unwrap();
    // The name of the temporary file is random.
    let sentence = store.trouble().unwrap().to_string();
    let (begin, end) = (sentence.split(" (").next().unwrap(), sentence.split_once(')').unwrap().1);
    let end = end.trim_start_matches(|it| it != ';');
    assert!(begin.ends_with("/a.cornerbook: cannot be written"), "{sentence}");
    expect!["; check the folder, its permissions and the free space; the change is kept here and tried again with the next one"].assert_eq(end);
    fs::rename(&away, shelf.folder.path()).unwrap();
    assert_eq!(file::open(&shelf.path).unwrap().driver, None);
    store.apply(Op::MarkedCrossing(Some(1.0))).unwrap();
    assert!(store.trouble().is_none());
    let saved = file::open(&shelf.path).unwrap();
    assert_eq!((saved.driver.as_deref(), saved.marked_crossing_s), (Some("Kim"), Some(1.0)));

    // A book that was thrown away is made again, and says nothing.
    fs::remove_file(&shelf.path).unwrap();
    store.save();
    assert!(store.trouble().is_none());
    assert_eq!(file::open(&shelf.path).unwrap(), *store.book());
}

#[test]
fn leftovers_go_at_the_next_opening_and_links_stay_links() {
    let shelf = Shelf::new();
    fs::write(shelf.folder.path().join(".a.cornerbook.saving-x1Y2z3"), b"{").unwrap();
    fs::write(shelf.folder.path().join(".a.cornerbook.lock"), b"").unwrap();
    drop(Store::open(&shelf.path).unwrap());
    assert_eq!(shelf.names(), ["a.cornerbook"]);

    #[cfg(unix)]
    {
        let elsewhere = tempfile::tempdir().unwrap();
        let link = elsewhere.path().join("link.cornerbook");
        std::os::unix::fs::symlink(&shelf.path, &link).unwrap();
        let mut store = Store::open(&link).unwrap();
        assert!(Store::open(&shelf.path).is_err(), "one book under two names");
        store.apply(driver("Kim")).unwrap();
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        let saved = file::open(&shelf.path).unwrap();
        assert_eq!(saved.driver.as_deref(), Some("Kim"));
        assert_eq!(saved.logs[0].path, shelf.folder.path().join("run.csv"));
    }
}
