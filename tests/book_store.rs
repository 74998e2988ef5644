//! A window that dies while it saves: the book opens again with a state that was saved, and nothing is left beside it.
//! The window's part is played by this test binary itself, started again with a folder in its environment.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};

use cornerbook::book::store::Store;
use cornerbook::book::{Book, FileRef, Op, Tag, TagPlace, What, file};
use cornerbook::files::Overwrite;

/// Names the book to the process that saves it.
const BOOK: &str = "CORNERBOOK_TEST_BOOK";
/// Makes the book long enough for a save to take a while, characters.
const NOTE_CHARS: usize = 20_000;
const NOTES: usize = 20;

fn kills() -> u32 {
    if std::env::var_os("RUN_SLOW_TESTS").is_some() { 100 } else { 25 }
}

/// The other process: raises a number in the book and saves, says each number once it is saved, and goes on.
/// Started without a book, as with all other tests, it does nothing.
#[test]
fn saver() {
    let Some(path) = std::env::var_os(BOOK) else { return };
    let mut store = Store::open(Path::new(&path)).unwrap();
    for number in number_of(store.book()) + 1.. {
        store.apply(Op::MarkedCrossing(Some(f64::from(number)))).unwrap();
        match store.trouble() {
            None => println!("saved {number}"),
            Some(trouble) => {
                println!("trouble {trouble}");
                return;
            }
        }
    }
}

fn number_of(book: &Book) -> u32 {
    book.marked_crossing_s.unwrap() as u32
}

fn start_saver(path: &Path, before: &str) -> Child {
    // The shell hands over its process, so that the child is the saver itself.
    let mut command = Command::new("sh");
    command.args(["-c", &format!("{before} exec \"$0\" --exact book_store::saver --nocapture")]);
    command.arg(std::env::current_exe().unwrap()).env(BOOK, path);
    command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap()
}

fn make_book(path: &Path) {
    let log = FileRef { path: path.with_file_name("run.csv"), length_bytes: 3 };
    let mut book = Book { marked_crossing_s: Some(0.0), ..Book::new(vec![log]) };
    for index in 0..NOTES {
        let note = char::from(b'a' + index as u8).to_string().repeat(NOTE_CHARS);
        let tag = Tag { on: TagPlace::Pass { lap: 1, corner: 1 }, what: What::Note, note: Some(note) };
        book.apply(Op::Tag(book.next_id, Some(tag))).unwrap();
    }
    file::save(&book, path, Overwrite::Refuse).unwrap();
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        std::fs::read_dir(folder).unwrap().map(|it| it.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
#[cfg(unix)]
fn a_window_that_is_killed_while_saving_leaves_a_book_that_opens() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.cornerbook");
    make_book(&path);
    let notes = file::open(&path).unwrap().tags;
    let mut left_behind = 0;
    for kill in 0..kills() {
        let mut child = start_saver(&path, "");
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map(Result::unwrap);
        let saved = |line: String| line.strip_prefix("saved ").map(|it| it.parse::<u32>().unwrap());
        let mut last = lines.by_ref().filter_map(saved).nth(kill as usize % 3).unwrap();
        // A different moment of the save each time: this long is about one save.
        for _ in 0..kill * 40 {
            std::hint::black_box(names(folder.path()));
        }
        child.kill().unwrap();
        child.wait().unwrap();
        last = lines.filter_map(saved).last().unwrap_or(last);

        left_behind += usize::from(names(folder.path()).len() > 2);
        let store = Store::open(&path).unwrap();
        let found = number_of(store.book());
        assert!(found == last || found == last + 1, "{found} after {last} was saved");
        assert_eq!(store.book().tags, notes);
        drop(store);
        assert_eq!(names(folder.path()), ["a.cornerbook"], "after kill {kill}");
    }
    println!("{left_behind} of {} kills left half a save behind", kills());
}

/// The size limit of a shell stands for a full disk: the write fails in the middle.
#[test]
#[cfg(unix)]
fn a_full_disk_is_one_sentence_and_the_book_stays() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.cornerbook");
    make_book(&path);
    let before = std::fs::read(&path).unwrap();
    let child = start_saver(&path, "trap '' XFSZ; ulimit -f 100;");
    let output = child.wait_with_output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let sentence = text.lines().find_map(|it| it.strip_prefix("trouble ")).unwrap();
    assert!(
        sentence.ends_with(
            "/a.cornerbook: cannot be written (File too large (os error 27)); check the folder, its permissions and \
             the free space; the change is kept here and tried again with the next one"
        ),
        "{sentence}"
    );
    assert_eq!(std::fs::read(&path).unwrap(), before);
    assert_eq!(names(folder.path()), ["a.cornerbook"]);
}
