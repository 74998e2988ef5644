//! Operations: what is refused, in which words, and what their inverses bring back; the questions a book answers.

use expect_test::{Expect, expect};

use super::*;
use crate::session::VideoTime;

fn file(name: &str) -> FileRef {
    FileRef { path: name.into(), length_bytes: 7 }
}

fn pin(chapter: usize, footage_s: f64, log_t_s: f64) -> Pin {
    Pin { chapter, footage: VideoTime::from_seconds(footage_s), log_t_s }
}

#[test]
fn a_refused_operation_leaves_the_book_as_it_was() {
    let mut book = Book { logs: vec![file("run.csv")], ..Book::default() };
    let before = book.clone();
    let mut refuses = |op: Op, sentence: Expect| {
        sentence.assert_eq(&book.apply(op).unwrap_err().to_string());
        assert_eq!(book, before);
    };
    let recording = |pins: &[Pin]| Op::Recording(Recording { chapters: vec![file("a.mp4")], pins: pins.to_vec() });
    refuses(Op::Logs(vec![]), expect!["a book needs at least one log, or footage"]);
    refuses(
        Op::Driver(Some(" ".to_owned())),
        expect!["the name of the driver is empty or has line breaks; give a plain one-line name"],
    );
    refuses(
        Op::CornerName(2, Some("a\nb".to_owned())),
        expect!["the name of corner 2 is empty or has line breaks; give a plain one-line name"],
    );
    refuses(Op::CornerName(0, Some("a".to_owned())), expect!["corners are numbered from 1"]);
    refuses(
        Op::MarkedCrossing(Some(f64::NAN)),
        expect!["the time of the marked crossing is no finite number of seconds"],
    );
    let place = MarkPlace { lap: 2, corner: 3, mark: MarkKind::Apex };
    refuses(
        Op::Mark(place, Some(f64::INFINITY)),
        expect!["the time of a mark of lap 2, corner 3 is no finite number of seconds"],
    );
    refuses(recording(&[pin(1, 0.0, 0.0)]), expect!["pin 1 is for chapter 2, but the recording has 1"]);
    refuses(
        recording(&[pin(0, 1.0, 5.0), pin(0, 2.0, 5.0)]),
        expect!["pin 2 is not later than the one before, in footage and log alike; give pins in order of time"],
    );
    refuses(recording(&[pin(0, 1.0, f64::NAN)]), expect!["the time of pin 1 is no finite number of seconds"]);
}

#[test]
fn the_inverse_of_an_operation_brings_the_old_content_back() {
    let mut book = Book { logs: vec![file("run.csv")], ..Book::default() };
    let place = MarkPlace { lap: 2, corner: 3, mark: MarkKind::Apex };
    assert_eq!(book.apply(Op::Mark(place, Some(12.5))), Ok(Op::Mark(place, None)));
    assert_eq!(book.mark_edits(), vec![MarkEdit { lap: 2, corner: 3, mark: MarkKind::Apex, t_s: 12.5 }]);
    assert_eq!(book.apply(Op::Mark(place, None)), Ok(Op::Mark(place, Some(12.5))));
    assert!(book.marks.is_empty());
}

fn share(x: f64, y: f64) -> Share {
    Share { x, y }
}

fn frame(footage: FootageRef) -> FrameRef {
    FrameRef { footage, at: VideoTime::from_seconds(2.0) }
}

/// A line on the first chapter.
fn line() -> Drawing {
    Drawing {
        on: frame(FootageRef::Chapter(0)),
        stays_s: 2.0,
        colour: Colour::hex(0xff_ff00),
        width: 0.01,
        shape: Shape::Line { from: share(0.0, 0.0), to: share(1.0, 1.0) },
    }
}

fn tag(on: TagPlace, what: What) -> Tag {
    Tag { on, what, note: None }
}

#[test]
fn pins_of_trackside_footage_stay_in_order() {
    let pin = |footage_s: f64, log_t_s| TracksidePin { footage: VideoTime::from_seconds(footage_s), log_t_s };
    let pinned = Trackside::unpinned(file("kerb.mp4")).with_pin(pin(5.0, 15.0)).with_pin(pin(1.0, 11.0));
    assert_eq!(pinned.pins, [pin(1.0, 11.0), pin(5.0, 15.0)]);
    // A frame, or a moment, that is pinned anew has one pin.
    assert_eq!(pinned.with_pin(pin(5.0, 15.2)).pins, [pin(1.0, 11.0), pin(5.0, 15.2)]);
    assert_eq!(pinned.with_pin(pin(5.2, 15.0)).pins, [pin(1.0, 11.0), pin(5.2, 15.0)]);
    assert_eq!(pinned.without_pin(0).pins, [pin(5.0, 15.0)]);
    assert_eq!(pinned.without_pin(2), pinned);
}

/// A new book with one chapter and one file of trackside footage, which has number 10.
fn reviewed() -> Book {
    let mut book = Book::new(vec![file("run.csv")]);
    book.apply(Op::Recording(Recording { chapters: vec![file("a.mp4")], pins: vec![] })).unwrap();
    book.apply(Op::Trackside(book.next_id, Some(Trackside { file: file("kerb.mp4"), pins: vec![] }))).unwrap();
    book
}

const PASS: TagPlace = TagPlace::Pass { lap: 3, corner: 2 };

#[test]
fn tags_are_refused_in_words() {
    let mut book = reviewed();
    let id = book.next_id;
    book.apply(Op::Tag(id, Some(tag(PASS, What::Exit(Exit::Good))))).unwrap();
    let (before, next) = (book.clone(), book.next_id);
    let mut refuses = |op: Op, sentence: Expect| {
        sentence.assert_eq(&book.apply(op).unwrap_err().to_string());
        assert_eq!(book, before);
    };
    let put = |tag: Tag| Op::Tag(next, Some(tag));
    let frame = |t_s: f64| TagPlace::Frame { t_s };
    refuses(
        Op::Tag(Id(40), Some(tag(PASS, What::Kind(Id(1))))),
        expect!["number 40 is not given out yet; new things take the book's next number, 12"],
    );
    refuses(
        Op::Tag(Id(1), Some(tag(PASS, What::Kind(Id(1))))),
        expect!["number 1 is given to two things of the book; give one of them another number"],
    );
    refuses(
        put(tag(PASS, What::Kind(Id(11)))),
        expect!["tag 12 is of a kind that the book does not have; change or remove that tag first"],
    );
    refuses(put(tag(frame(f64::NAN), What::Kind(Id(1)))), expect!["the time of tag 12 is no finite number of seconds"]);
    refuses(
        put(tag(frame(1.0), What::Exit(Exit::Bad))),
        expect!["tag 12 rates an exit, but is not on a pass; put it on the pass"],
    );
    refuses(
        put(tag(PASS, What::Exit(Exit::Bad))),
        expect!["the exit of lap 3, corner 2 is rated twice; change the rating that is there"],
    );
    refuses(
        put(tag(PASS, What::Note)),
        expect!["tag 12 is only a note, but has no text; write some, or give the tag a kind"],
    );
    let noted = |text: &str| put(Tag { on: PASS, what: What::Note, note: Some(text.to_owned()) });
    for text in ["", " \n ", "a\tb", "a\u{1b}[2Jb", "a\r\nb", "a\u{85}b"] {
        refuses(
            noted(text),
            expect![
                "the text of the note on tag 12 is empty or has control characters; give plain text, line breaks are allowed"
            ],
        );
    }
    refuses(
        noted(&"ä".repeat(20_001)),
        expect!["the text of the note on tag 12 has 20001 characters; give at most 20000"],
    );
    let on_trackside = |footage, at_s| TagPlace::Trackside { footage, at: VideoTime::from_seconds(at_s) };
    refuses(
        put(tag(on_trackside(id, 1.0), What::Kind(Id(1)))),
        expect!["tag 12 is on trackside footage that the book does not have; remove it first"],
    );
    refuses(
        put(tag(on_trackside(Id(10), 1e9), What::Kind(Id(1)))),
        expect!["the footage time of tag 12 lies days away from the footage; give its presentation time in seconds"],
    );
    for text in ["<b>&amp;\"'", "👩‍👩‍👧‍👦🏁", "שלום \u{202e}olleh\u{202c}", "%s {} \\n", &"ä".repeat(10_000)]
    {
        book.apply(noted(text)).unwrap();
    }
}

#[test]
fn tag_kinds_are_refused_in_words() {
    let mut book = reviewed();
    let before = book.clone();
    let mut refuses = |id: Id, kind: (&str, Option<char>), sentence: Expect| {
        let kind = TagKind { name: kind.0.to_owned(), colour: Colour::hex(0), key: kind.1 };
        sentence.assert_eq(&book.apply(Op::TagKind(id, Some(kind))).unwrap_err().to_string());
        assert_eq!(book, before);
    };
    let next = before.next_id;
    refuses(next, ("Traffic ", None), expect!["two kinds of tag are called Traffic ; give one of them another name"]);
    refuses(
        next,
        ("a\nb", None),
        expect!["the name of tag kind 11 is empty or has line breaks; give a plain one-line name"],
    );
    refuses(
        next,
        ("late brake", Some('1')),
        expect!["the key 1 is given to two kinds of tag; give one of them another key"],
    );
    refuses(
        next,
        ("late brake", Some(' ')),
        expect!["the key of late brake is no visible character; give a letter, a digit or a sign"],
    );

    let id = book.next_id;
    book.apply(Op::Tag(id, Some(tag(PASS, What::Kind(Id(2)))))).unwrap();
    let refused = book.apply(Op::TagKind(Id(2), None)).unwrap_err().to_string();
    assert_eq!(refused, "tag 11 is of a kind that the book does not have; change or remove that tag first");
    // A kind goes together with its tags, in whatever order, and both come back together.
    let before = book.clone();
    let both = book.apply(Op::Several(vec![Op::TagKind(Id(2), None), Op::Tag(id, None)])).unwrap();
    assert!(book.tags.is_empty() && book.tag_kinds.len() == 8);
    book.apply(both).unwrap();
    assert_eq!(book, before);
}

#[test]
fn drawings_reference_points_and_trackside_footage_are_refused_in_words() {
    let mut book = reviewed();
    let (before, next) = (book.clone(), book.next_id);
    let mut refuses = |op: Op, sentence: Expect| {
        sentence.assert_eq(&book.apply(op).unwrap_err().to_string());
        assert_eq!(book, before);
    };
    let put = |drawing: Drawing| Op::Drawing(next, Some(drawing));
    let shaped = |shape: Shape| put(Drawing { shape, ..line() });
    refuses(
        put(Drawing { on: frame(FootageRef::Chapter(1)), ..line() }),
        expect!["drawing 11 is on chapter 2, but the recording has 1; remove it first"],
    );
    refuses(
        put(Drawing { on: frame(FootageRef::Trackside(Id(1))), ..line() }),
        expect!["drawing 11 is on trackside footage that the book does not have; remove it first"],
    );
    refuses(put(Drawing { stays_s: -1.0, ..line() }), expect!["the stay of drawing 11 is -1; give 0 to 3600 s"]);
    refuses(
        put(Drawing { width: f64::NAN, ..line() }),
        expect!["the line width of drawing 11 is NaN; give above 0, up to 0.1 of the picture's height"],
    );
    refuses(
        shaped(Shape::Line { from: share(0.0, 1.01), to: share(0.5, 0.5) }),
        expect!["drawing 11 has a place outside the picture; places are shares of its width and height, 0 to 1"],
    );
    refuses(
        shaped(Shape::Freehand(vec![share(0.0, 0.0), share(f64::NAN, 0.0)])),
        expect!["drawing 11 has a place outside the picture; places are shares of its width and height, 0 to 1"],
    );
    refuses(
        shaped(Shape::Freehand(vec![share(0.0, 0.0); 5001])),
        expect!["drawing 11 has 5001 points; a freehand line has 2 to 5000"],
    );
    let circle = Circle { centre: share(0.5, 0.5), radius: 0.0 };
    refuses(
        shaped(Shape::Circle(circle)),
        expect!["the radius of drawing 11 is 0; give above 0, up to 1 of the picture's height"],
    );
    let text = |size: f64, text: &str| shaped(Shape::Text { at: share(0.5, 0.5), size, text: text.to_owned() });
    refuses(
        text(0.6, "late"),
        expect!["the text height of drawing 11 is 0.6; give above 0, up to 0.5 of the picture's height"],
    );
    refuses(
        text(0.05, "\u{7}"),
        expect!["the text of drawing 11 is empty or has control characters; give plain text, line breaks are allowed"],
    );

    let point = |corner: u32, name: &str, circled: Option<Circled>| {
        Op::ReferencePoint(next, Some(ReferencePoint { corner, name: name.to_owned(), circled }))
    };
    refuses(point(0, "white tyre", None), expect!["corners are numbered from 1"]);
    refuses(
        point(2, "", None),
        expect!["the name of reference point 11 is empty or has line breaks; give a plain one-line name"],
    );
    refuses(
        point(2, "white tyre", Some(Circled { on: frame(FootageRef::Chapter(0)), circle })),
        expect!["the radius of reference point 11 is 0; give above 0, up to 1 of the picture's height"],
    );

    let pinned = |pins: &[(f64, f64)]| {
        let pin = |it: &(f64, f64)| TracksidePin { footage: VideoTime::from_seconds(it.0), log_t_s: it.1 };
        let pins = pins.iter().map(pin).collect();
        Op::Trackside(Id(10), Some(Trackside { file: file("kerb.mp4"), pins }))
    };
    refuses(
        pinned(&[(1.0, 5.0), (2.0, 5.0)]),
        expect![
            "pin 2 of trackside footage 10 is not later than the one before, in footage and log alike; give pins in order of time"
        ],
    );
    refuses(
        pinned(&[(1.0, f64::INFINITY)]),
        expect!["the time of pin 1 of trackside footage 10 is no finite number of seconds"],
    );
    book.apply(put(line())).unwrap();
    let gone = book.apply(Op::Recording(Recording::default())).unwrap_err().to_string();
    assert_eq!(gone, "drawing 11 is on chapter 1, but the recording has 0; remove it first");
}

#[test]
fn a_number_is_never_given_out_twice() {
    let mut history = History::new(Book::new(vec![file("run.csv")]));
    let id = history.book().next_id;
    history.apply(Op::Tag(id, Some(tag(PASS, What::Kind(Id(1)))))).unwrap();
    assert!(history.undo());
    assert_ne!(history.book().next_id, id);
    assert!(history.redo());
    assert!(history.book().tags.contains_key(&id));

    let mut spent = Book { next_id: Id(u32::MAX), ..Book::new(vec![file("run.csv")]) };
    let refused = spent.apply(Op::Tag(Id(u32::MAX), Some(tag(PASS, What::Kind(Id(1)))))).unwrap_err();
    assert_eq!(refused.to_string(), "the book has given out all its numbers; make it anew");
}

#[test]
fn a_screen_finds_what_it_asks_for() {
    let mut book = reviewed();
    let trackside = TagPlace::Trackside { footage: Id(10), at: VideoTime(0) };
    let tags = [
        tag(PASS, What::Exit(Exit::Bad)),
        tag(TagPlace::Frame { t_s: 60.0 }, What::Kind(Id(8))),
        tag(TagPlace::Frame { t_s: 70.0 }, What::Overtake { side: Side::Inside, outcome: Outcome::Done }),
        tag(TagPlace::Pass { lap: 4, corner: 2 }, What::Defence { side: Side::Outside, held: false }),
        tag(trackside, What::Kind(Id(1))),
    ];
    for it in tags {
        book.apply(Op::Tag(book.next_id, Some(it))).unwrap();
    }
    let ids = |found: &mut dyn Iterator<Item = (Id, &Tag)>| found.map(|it| it.0.0).collect::<Vec<_>>();
    assert_eq!(ids(&mut book.tags_of_lap(3, (50.0, 70.0))), [11, 12]);
    assert_eq!(ids(&mut book.tags_of_pass(3, 2, None)), [11]);
    assert_eq!(ids(&mut book.tags_of_pass(3, 2, Some((60.0, 80.0)))), [11, 12, 13]);
    assert_eq!(ids(&mut book.tags_of_trackside(Id(10))), [15]);
    assert_eq!(book.exit_of(3, 2), Some((Id(11), Exit::Bad)));
    assert_eq!(book.exit_of(4, 2), None);
    assert_eq!(book.kind_of_key('8').map(|it| it.1.name.as_str()), Some("traffic"));
    assert_eq!(book.kind_of_key('x'), None);

    book.apply(Op::Drawing(book.next_id, Some(line()))).unwrap();
    book.apply(Op::Drawing(book.next_id, Some(Drawing { on: frame(FootageRef::Trackside(Id(10))), ..line() })))
        .unwrap();
    let on_show = |footage, at_s: f64| {
        let at = VideoTime::from_seconds(at_s);
        book.drawings_on_show(footage, at, at).map(|it| it.0.0).collect::<Vec<_>>()
    };
    assert_eq!(on_show(FootageRef::Chapter(0), 3.0), [16]);
    assert_eq!(on_show(FootageRef::Trackside(Id(10)), 2.0), [17]);
    assert!(on_show(FootageRef::Chapter(0), 4.0).is_empty() && on_show(FootageRef::Chapter(1), 3.0).is_empty());

    let point = ReferencePoint { corner: 2, name: "white tyre".to_owned(), circled: None };
    book.apply(Op::ReferencePoint(book.next_id, Some(point))).unwrap();
    assert_eq!((book.reference_points_of(2).count(), book.reference_points_of(1).count()), (1, 0));
}

#[test]
fn a_moved_file_is_named_anew_in_every_place() {
    let mut book = Book { track: Some(file("track.json")), ..Book::new(vec![file("a.csv"), file("b.csv")]) };
    book.recording.chapters = vec![file("a.mp4")];
    let before = book.clone();
    let inverse = book.apply(book.moved("b.csv".as_ref(), file("new.csv")).unwrap()).unwrap();
    assert_eq!(book.logs, [file("a.csv"), file("new.csv")]);
    assert_eq!((&book.recording, &book.track), (&before.recording, &before.track));
    book.apply(inverse).unwrap();
    assert_eq!(book, before);
    book.apply(book.moved("track.json".as_ref(), file("t.json")).unwrap()).unwrap();
    assert_eq!(book.track, Some(file("t.json")));
    assert_eq!(book.moved("nowhere.csv".as_ref(), file("c.csv")), None);
}

#[test]
fn pins_are_put_taken_and_moved_together() {
    let pin = |chapter, footage_s, log_t_s| Pin { chapter, footage: VideoTime::from_seconds(footage_s), log_t_s };
    let recording = Recording { chapters: vec![file("a.mp4"), file("b.mp4")], pins: vec![pin(0, 5.0, 20.0)] };
    let three = recording.with_pin(pin(1, 1.0, 80.0)).with_pin(pin(0, 9.0, 24.0));
    assert_eq!(three.pins, [pin(0, 5.0, 20.0), pin(0, 9.0, 24.0), pin(1, 1.0, 80.0)]);
    // The same frame, and the same moment.
    assert_eq!(three.with_pin(pin(0, 9.0, 25.0)).pins, [pin(0, 5.0, 20.0), pin(0, 9.0, 25.0), pin(1, 1.0, 80.0)]);
    assert_eq!(three.with_pin(pin(0, 8.0, 24.0)).pins, [pin(0, 5.0, 20.0), pin(0, 8.0, 24.0), pin(1, 1.0, 80.0)]);
    assert_eq!(three.without_pin(1).pins, [pin(0, 5.0, 20.0), pin(1, 1.0, 80.0)]);
    assert_eq!(three.without_pin(7), three);
    assert_eq!(three.later_by(-1.5).pins, [pin(0, 5.0, 18.5), pin(0, 9.0, 22.5), pin(1, 1.0, 78.5)]);
    assert_eq!(three.later_by(-1.5).chapters, recording.chapters);
}

#[test]
fn a_reel_is_put_in_order_and_kept_in_bounds() {
    let cuts = |laps: [u32; 3]| laps.map(|lap| ReelCut::of(lap, 1)).to_vec();
    let reel = Reel { title: Some("Sunday".to_owned()), cuts: cuts([1, 2, 3]) };
    let laps = |it: &Reel| it.cuts.iter().map(|it| it.lap).collect::<Vec<_>>();
    assert_eq!(laps(&reel.with_moved(0, 2)), [2, 3, 1]);
    assert_eq!(laps(&reel.with_moved(2, 0)), [3, 1, 2]);
    assert_eq!(reel.with_moved(3, 0), reel);
    assert_eq!((laps(&reel.without(1)), reel.without(9)), (vec![1, 3], reel.clone()));
    let mut book = Book::new(vec![file("a.csv")]);
    book.apply(Op::Reel(reel.clone())).unwrap();
    let refuses = |changed: Reel, expected: &str| {
        let mut book = book.clone();
        assert_eq!(book.apply(Op::Reel(changed)).unwrap_err().to_string(), expected);
        assert_eq!(book.reel, reel);
    };
    refuses(
        reel.with_changed(1, |it| it.lead_s = Some(61.0)),
        "clip 2 of the reel begins or ends too far from its pass; give 0 to 60 s",
    );
    refuses(
        reel.with_changed(2, |it| it.words = Some(" ".to_owned())),
        "the text of clip 3 of the reel is empty or has control characters; give plain text, line breaks are allowed",
    );
    refuses(Reel { cuts: vec![ReelCut::of(1, 1); 501], title: None }, "the reel has 501 clips; a reel has at most 500");
    refuses(
        Reel { title: Some(String::new()), ..reel.clone() },
        "the name of the reel is empty or has line breaks; give a plain one-line name",
    );
}
