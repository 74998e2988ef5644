//! The book's file: there and back, what is refused, files that have moved.

use std::collections::BTreeMap;

use expect_test::{Expect, expect};

use super::locate::relative;
use super::*;
use crate::book::{
    Answer, Circle, Circled, Colour, Drawing, Exit, FileRef, FootageRef, FrameRef, Grip, Id, MarkPlace, Outcome, Pin,
    Recording, Reel, ReelCut, ReferencePoint, Shape, Share, Side, Suggestion, Tag, TagKind, TagPlace, Trackside,
    TracksidePin, What,
};
use crate::session::{MarkKind, NoteKind, VideoTime};

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
        trackside: BTreeMap::from([(
            Id(2),
            Trackside { file: file("kerb.mp4"), pins: vec![TracksidePin { footage: VideoTime(1_500), log_t_s: 61.5 }] },
        )]),
        tag_kinds: BTreeMap::from([(
            Id(1),
            TagKind { name: "slide \"s\"".to_owned(), colour: Colour::hex(0x01_0203), key: Some('"') },
        )]),
        tags: tags(),
        reference_points: BTreeMap::from([(
            Id(20),
            ReferencePoint {
                corner: 3,
                name: "white tyre".to_owned(),
                circled: Some(Circled { on: frame(FootageRef::Trackside(Id(2))), circle: circle() }),
            },
        )]),
        drawings: drawings(),
        suggestions: suggestions(),
        reel: Reel {
            title: Some("Exits".to_owned()),
            cuts: vec![
                ReelCut::of(2, 3),
                ReelCut { lead_s: Some(1.5), words: Some("look\n<there>".to_owned()), ..ReelCut::of(2, 3) },
            ],
        },
        next_id: Id(41),
    }
}

fn suggestions() -> BTreeMap<Suggestion, Answer> {
    let which = |finding: &str, lap| Suggestion { finding: finding.to_owned(), corner: 3, lap };
    BTreeMap::from([(which("early_turn_in", None), Answer::Declined), (which("lost_time", Some(4)), Answer::Taken)])
}

fn frame(footage: FootageRef) -> FrameRef {
    FrameRef { footage, at: VideoTime(33_366_667) }
}

fn circle() -> Circle {
    Circle { centre: Share { x: 0.1, y: 1.0 / 3.0 }, radius: 0.25 }
}

fn tags() -> BTreeMap<Id, Tag> {
    let pass = TagPlace::Pass { lap: 2, corner: 3 };
    let tags = [
        (TagPlace::Frame { t_s: 12.25 }, What::Kind(Id(1)), None),
        (pass, What::Exit(Exit::Good), Some("first line\nsecond 👩‍👩‍👧‍👦 \u{202e}שלום\u{202c} </b> \\ \"")),
        (pass, What::Overtake { side: Side::Inside, outcome: Outcome::Attempt }, None),
        (pass, What::Defence { side: Side::Outside, held: true }, None),
        (TagPlace::Trackside { footage: Id(2), at: VideoTime(7) }, What::Note, Some("n")),
    ];
    let tag = |(on, what, note): (TagPlace, What, Option<&str>)| Tag { on, what, note: note.map(str::to_owned) };
    (10..).map(Id).zip(tags.map(tag)).collect()
}

fn drawings() -> BTreeMap<Id, Drawing> {
    let (from, to) = (Share { x: 0.0, y: 0.1 }, Share { x: 1.0, y: 0.7 });
    let shapes = [
        Shape::Circle(circle()),
        Shape::Arrow { from, to },
        Shape::Line { from: to, to: from },
        Shape::Freehand(vec![from, to, from]),
        Shape::Text { at: from, size: 0.05, text: "late\nagain".to_owned() },
    ];
    let drawing = |shape: Shape| Drawing {
        on: frame(FootageRef::Chapter(1)),
        stays_s: 2.5,
        colour: Colour::hex(0xff_8000),
        width: 0.008,
        shape,
    };
    (30..).map(Id).zip(shapes.map(drawing)).collect()
}

#[test]
fn there_and_back_is_the_same_book() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.cornerbook");
    let mut book = full();
    let in_folder = |it: &mut FileRef| it.path = folder.path().join(&it.path);
    book.logs.iter_mut().chain(&mut book.recording.chapters).chain(&mut book.track).for_each(in_folder);
    book.trackside.values_mut().for_each(|it| in_folder(&mut it.file));
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
fn files_that_were_moved_together_are_found_together() {
    let folder = tempfile::tempdir().unwrap();
    let put = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        files::make_folder(path.parent().unwrap()).unwrap();
        files::write(&path, bytes, Overwrite::Refuse).unwrap();
        path
    };
    let file = |path: PathBuf, length_bytes| FileRef { path, length_bytes };
    let lost = |name: &str, length_bytes| file(folder.path().join("card").join(name), length_bytes);
    let kept = put("card/kept.mp4", b"kept");
    let [first, second] = [put("new/1.mp4", b"one"), put("new/2.mp4", b"two!")];
    for name in ["new/kept.mp4", "new/3.mp4"] {
        put(name, b"kept");
    }
    let chapters = vec![lost("1.mp4", 3), lost("2.mp4", 4), lost("3.mp4", 99), file(kept.clone(), 4)];
    let mut book = Book {
        recording: Recording { chapters, ..Recording::default() },
        track: Some(lost("2.mp4", 4)),
        ..Book::default()
    };
    book.apply(book.moved(&lost("1.mp4", 3).path, file(first.clone(), 3)).unwrap()).unwrap();
    let expected = vec![file(first, 3), file(second.clone(), 4), lost("3.mp4", 99), file(kept, 4)];
    assert_eq!(book.recording.chapters, expected, "another length is another file, and one in its place stays");
    assert_eq!(book.track, Some(file(second, 4)));
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
        r#"{"format":"cornerbook.book","version":4,"tags":[]}"#,
        expect!["a.cornerbook: is a book of version 4, this program reads up to 3; use a newer cornerbook for it"],
    );
    refuses(
        r#"{"format":"cornerbook.book","version":-1}"#,
        expect![
            "a.cornerbook, line 1, column 40: is damaged (invalid value: integer `-1`, expected u64); mend it there or make the book anew"
        ],
    );
    refuses(
        &with(r#""logs":[]"#),
        expect![
            "a.cornerbook: cannot be used (a book needs at least one log, or footage); mend it there or make the book anew"
        ],
    );
    refuses(
        &with(r#""logs":[],"colour":3"#),
        expect![
            "a.cornerbook, line 1, column 58: is damaged (unknown field `colour`, expected one of `format`, `version`, `logs`, `footage`, `pins`, `trackside`, `track`, `columns`, `driver`, `grip`, `marked_crossing_s`, `marks`, `corner_names`, `tag_kinds`, `tags`, `reference_points`, `drawings`, `suggestions`, `reel`, `next_id`); mend it there or make the book anew"
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

#[test]
fn a_book_has_no_fields_of_a_later_version() {
    let text = |version: u32, rest: &str| {
        format!(
            r#"{{"format":"cornerbook.book","version":{version},"logs":[{{"path":"a.csv","length_bytes":3}}],{rest}}}"#
        )
    };
    let read = |text: String| read("a.cornerbook", text.as_bytes(), Path::new(".")).map_err(|it| it.to_string());
    for (field, since) in [(r#""tag_kinds":[]"#, 2), (r#""next_id":99"#, 2), (r#""reel":{"cuts":[]}"#, 3)] {
        assert!(read(text(since, field)).is_ok(), "{field}");
        let (name, before) = (field.split('"').nth(1).unwrap(), since - 1);
        let sentence = format!(
            "a.cornerbook: says that it is of version {before} but has {name}, which came with version {since}; \
             write \"version\": {since} there if that is what it is"
        );
        assert_eq!(read(text(before, field)), Err(sentence));
    }
}

#[test]
fn a_book_of_version_1_is_read_and_gets_the_starter_set() {
    let text = r#"{"format":"cornerbook.book","version":1,"logs":[{"path":"a.csv","length_bytes":3}],"driver":"Kim"}"#;
    let book = read("a.cornerbook", text.as_bytes(), Path::new(".")).unwrap();
    let log = FileRef { path: "a.csv".into(), length_bytes: 3 };
    assert_eq!(book, Book { driver: Some("Kim".to_owned()), ..Book::new(vec![log]) });
    assert!(to_json(&book, Path::new(".")).contains("\"version\": 3"));
}

#[test]
fn what_does_not_fit_together_is_one_sentence() {
    let refuses = |rest: &str, expected: Expect| {
        let text = format!(
            r#"{{"format":"cornerbook.book","version":2,"logs":[{{"path":"a.csv","length_bytes":3}}],"tag_kinds":[],{rest}}}"#
        );
        let sentence = read("a.cornerbook", text.as_bytes(), Path::new(".")).unwrap_err().to_string();
        let ending = "; mend it there or make the book anew";
        expected.assert_eq(sentence.strip_prefix("a.cornerbook").and_then(|it| it.strip_suffix(ending)).unwrap());
    };
    let note = |id: u32| format!(r#"{{"id":{id},"on":{{"frame":{{"t_s":1}}}},"what":"note","note":"n"}}"#);
    refuses(
        &format!(r#""tags":[{},{}]"#, note(1), note(1)),
        expect![": cannot be used (number 1 is given to two things of the book; give one of them another number)"],
    );
    refuses(
        &format!(r#""tags":[{}],"next_id":4"#, note(4)),
        expect![": cannot be used (number 4 is not given out yet; new things take the book's next number, 4)"],
    );
    refuses(
        &format!(r#""tags":[{}]"#, note(u32::MAX)),
        expect![": cannot be used (the book has given out all its numbers; make it anew)"],
    );
    refuses(
        r#""tags":[{"id":1,"on":{"frame":{"t_s":1}},"what":{"kind":2}}]"#,
        expect![": cannot be used (tag 1 is of a kind that the book does not have; change or remove that tag first)"],
    );
    refuses(
        r#""tags":[{"id":1,"on":{"frame":{"t_s":1,"x":2}},"what":"note"}]"#,
        expect![", line 1, column 140: is damaged (unknown field `x`, expected `t_s`)"],
    );
    refuses(
        r#""reference_points":[{"id":1,"corner":1,"name":"a","side":"left"}]"#,
        expect![
            ", line 1, column 154: is damaged (unknown field `side`, expected one of `id`, `corner`, `name`, `circled`)"
        ],
    );
    let drawing = |shape: &str, colour: &str| {
        format!(
            r#""drawings":[{{"id":1,"on":{{"chapter":{{"number":1,"footage_s":0}}}},"stays_s":1,"colour":"{colour}","width":0.01,"shape":{shape}}}]"#
        )
    };
    refuses(
        &drawing(r#"{"freehand":[[0,0],[1,1]]}"#, "#ffffff"),
        expect![": cannot be used (drawing 1 is on chapter 1, but the recording has 0; remove it first)"],
    );
    refuses(
        &drawing(r#"{"freehand":[[0,0],[1,1,1]]}"#, "#ffffff"),
        expect![", line 1, column 239: is damaged (trailing characters)"],
    );
    refuses(
        &drawing(r#"{"star":[[0,0],[1,1]]}"#, "#ffffff"),
        expect![
            ", line 1, column 221: is damaged (unknown variant `star`, expected one of `circle`, `arrow`, `line`, `freehand`, `text`)"
        ],
    );
    refuses(
        &drawing(r#"{"freehand":[[0,0],[1,1]]}"#, "red"),
        expect![", line 1, column 188: is damaged (a colour is written #rrggbb, with hexadecimal digits)"],
    );
}

proptest::proptest! {
    /// Any damage of a good file is read or refused, never a panic.
    #[test]
    fn a_damaged_book_never_panics(at in 0_usize..8000, cut in 0_usize..40, put in ".{0,8}") {
        let mut bytes = to_json(&full(), Path::new(".")).into_bytes();
        let from = at.min(bytes.len());
        let to = (from + cut).min(bytes.len());
        bytes.splice(from..to, put.bytes());
        let _ = read("b", &bytes, Path::new("."));
    }
}

#[test]
fn a_book_is_called_a_book() {
    assert_eq!(with_ending(Path::new("a/stint 1")), Path::new("a/stint 1.cornerbook"));
    assert_eq!(with_ending(Path::new("a.cornerbook")), Path::new("a.cornerbook"));
    assert_eq!(with_ending(Path::new("a.b")), Path::new("a.b.cornerbook"));
    assert_eq!(with_ending(Path::new("a/stint 1.5")), Path::new("a/stint 1.5.cornerbook"));
}
