//! The book's file: there and back, what is refused, files that have moved.

use expect_test::{Expect, expect};

use super::*;

fn full() -> Book {
    let file = |name: &str| FileRef { path: name.into(), length_bytes: 7 };
    Book {
        logs: vec![file("run \"1\"\n.csv"), file("run2.csv")],
        recording: Recording {
            chapters: vec![file("a.mp4"), file("b.mp4")],
            pins: vec![
                Pin { chapter: 0, footage: VideoTime(1_000_000_001), log_t_s: 12.25 },
                Pin { chapter: 1, footage: VideoTime(0), log_t_s: 80.1 },
            ],
        },
        track: Some(file("track.geojson")),
        columns: Some(file("map.toml")),
        driver: Some("Kim".to_owned()),
        grip: Some(Grip::Damp),
        marked_crossing_s: Some(4.5),
        marks: BTreeMap::from([(MarkPlace { lap: 2, corner: 3, mark: MarkKind::TurnIn }, 61.234_567)]),
        corner_names: BTreeMap::from([(3, "hairpin <b>".to_owned())]),
    }
}

#[test]
fn there_and_back_is_the_same_book() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.cornerbook");
    let mut book = full();
    let in_folder = |it: &mut FileRef| it.path = folder.path().join(&it.path);
    book.logs.iter_mut().chain(&mut book.recording.chapters).chain(&mut book.track).for_each(in_folder);
    book.columns.iter_mut().for_each(in_folder);
    save(&book, &path, Overwrite::Refuse).unwrap();
    assert_eq!(open(&path).unwrap(), book);
    let text = String::from_utf8(files::read(&path, 1 << 20).unwrap()).unwrap();
    assert!(text.contains(r#""path": "track.geojson""#), "paths are relative to the book: {text}");
}

#[test]
#[cfg(unix)]
fn a_name_that_is_no_utf8_survives() {
    use std::os::unix::ffi::OsStrExt;
    let name = Path::new(std::ffi::OsStr::from_bytes(b"ru\xffn.csv"));
    let book = Book { logs: vec![FileRef { path: name.to_owned(), length_bytes: 1 }], ..Book::default() };
    let json = to_json(&book, Path::new("."));
    assert_eq!(read("b", json.as_bytes(), Path::new(".")).unwrap(), book);
}

#[test]
fn paths_are_relative_where_they_share_a_folder() {
    let seen = |path: &str, folder: &str| relative(Path::new(path), Path::new(folder)).display().to_string();
    assert_eq!(seen("/home/kim/run.csv", "/home/kim"), "run.csv");
    assert_eq!(seen("/home/kim/data/run.csv", "/home/kim"), "data/run.csv");
    assert_eq!(seen("/home/kim/run.csv", "/home/kim/books"), "../run.csv");
    assert_eq!(seen("/media/card/a.mp4", "/home/kim"), "/media/card/a.mp4");
}

#[test]
fn a_moved_file_is_found_beside_the_book() {
    let folder = tempfile::tempdir().unwrap();
    let book = folder.path().join("a.cornerbook");
    let wanted = FileRef { path: folder.path().join("gone/run.csv"), length_bytes: 3 };
    let missing = locate(&wanted, &book).unwrap_err().to_string();
    assert!(missing.contains("is not there, nor is a file of that name with 3 bytes beside"), "{missing}");

    let beside = folder.path().join("run.csv");
    files::write(&beside, b"four", Overwrite::Refuse).unwrap();
    assert!(locate(&wanted, &book).is_err(), "another length is another file");
    files::write(&beside, b"abc", Overwrite::Replace).unwrap();
    let (found, note) = locate(&wanted, &book).unwrap();
    assert_eq!(found, beside);
    assert!(matches!(note.unwrap().kind, NoteKind::FileMoved { .. }));

    let (found, note) = locate(&FileRef { path: beside.clone(), length_bytes: 9 }, &book).unwrap();
    assert_eq!(found, beside);
    assert_eq!(note.unwrap().kind, NoteKind::FileChanged { was_bytes: 9, is_bytes: 3 });
    assert_eq!(locate(&FileRef { path: beside, length_bytes: 3 }, &book).unwrap().1, None);
}

#[test]
fn what_is_no_book_is_one_sentence() {
    let refuses = |text: &str, expected: Expect| {
        expected.assert_eq(&read("a.cornerbook", text.as_bytes(), Path::new(".")).unwrap_err().to_string());
    };
    let with = |rest: &str| format!(r#"{{"format":"cornerbook.book","version":1,{rest}}}"#);
    refuses("", expect!["a.cornerbook: is no book; make one with cornerbook new"]);
    refuses("Time,Lat\n", expect!["a.cornerbook: is no book; make one with cornerbook new"]);
    refuses(
        r#"{"format":"cornerbook.passes","about":"cornerbook.book""#,
        expect![
            "a.cornerbook, line 1, column 55: is damaged (EOF while parsing an object); mend it there or make the book anew"
        ],
    );
    refuses(
        r#"{"format":"cornerbook.passes","about":"cornerbook.book","version":1}"#,
        expect!["a.cornerbook: is no book; make one with cornerbook new"],
    );
    refuses(
        r#"{"format":"cornerbook.book","version":2,"tags":[]}"#,
        expect!["a.cornerbook: is a book of version 2, this program reads up to 1; use a newer cornerbook for it"],
    );
    refuses(
        r#"{"format":"cornerbook.book","version":-1}"#,
        expect![
            "a.cornerbook, line 1, column 40: is damaged (invalid value: integer `-1`, expected u64); mend it there or make the book anew"
        ],
    );
    refuses(
        &with(r#""logs":[]"#),
        expect!["a.cornerbook: cannot be used (a book needs at least one log); mend it there or make the book anew"],
    );
    refuses(
        &with(r#""logs":[],"colour":3"#),
        expect![
            "a.cornerbook, line 1, column 58: is damaged (unknown field `colour`, expected one of `format`, `version`, `logs`, `footage`, `pins`, `track`, `columns`, `driver`, `grip`, `marked_crossing_s`, `marks`, `corner_names`); mend it there or make the book anew"
        ],
    );
    refuses(
        &with(r#""logs":[{"path":"a.csv","length_bytes":3}],"grip":"snow""#),
        expect![
            "a.cornerbook, line 1, column 96: is damaged (unknown variant `snow`, expected one of `dry`, `damp`, `wet`, `slippery`); mend it there or make the book anew"
        ],
    );
    refuses(
        &with(r#""logs":[{"path":"a.csv","length_bytes":3}],"pins":[{"chapter":0,"footage_s":0,"log_t_s":0}]"#),
        expect![
            "a.cornerbook, line 1, column 103: is damaged (invalid value: integer `0`, expected a nonzero usize); mend it there or make the book anew"
        ],
    );
    refuses(
        &with(r#""logs":[{"path":"a.csv","length_bytes":3}],"marks":[{"lap":1,"corner":0,"mark":"apex","t_s":0}]"#),
        expect!["a.cornerbook: cannot be used (corners are numbered from 1); mend it there or make the book anew"],
    );
}

proptest::proptest! {
    /// Any damage of a good file is read or refused, never a panic.
    #[test]
    fn a_damaged_book_never_panics(at in 0_usize..2000, cut in 0_usize..40, put in ".{0,8}") {
        let mut bytes = to_json(&full(), Path::new(".")).into_bytes();
        let from = at.min(bytes.len());
        let to = (from + cut).min(bytes.len());
        bytes.splice(from..to, put.bytes());
        let _ = read("b", &bytes, Path::new("."));
    }
}
