//! Random operations on a book: invariants after each, and undo of all returns to the start.

use std::collections::BTreeMap;

use cornerbook::book::{
    Answer, Book, Circle, Circled, Colour, Drawing, Exit, FileRef, FootageRef, FrameRef, Grip, History, Id, MarkPlace,
    Op, Outcome, Pin, Recording, Reel, ReelCut, ReferencePoint, Shape, Share, Side, Suggestion, Tag, TagKind, TagPlace,
    Trackside, TracksidePin, What, file,
};
use cornerbook::session::{MarkKind, VideoTime};
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;

fn file_ref() -> impl Strategy<Value = FileRef> {
    ("[a-z\"' ]{1,8}", 0_u64..1000).prop_map(|(name, length_bytes)| FileRef { path: name.into(), length_bytes })
}

/// Mostly plain times, with the ones that must be refused among them.
fn time_s() -> impl Strategy<Value = f64> {
    prop_oneof![8 => -10.0..4000.0_f64, 1 => Just(f64::NAN), 1 => Just(f64::INFINITY)]
}

fn place() -> impl Strategy<Value = MarkPlace> {
    let mark = prop_oneof![Just(MarkKind::TurnIn), Just(MarkKind::Apex), Just(MarkKind::Exit)];
    (0_u32..4, 0_u32..4, mark).prop_map(|(lap, corner, mark)| MarkPlace { lap, corner, mark })
}

fn recording() -> impl Strategy<Value = Recording> {
    let pin = (0_usize..3, 0_i64..1000, time_s()).prop_map(|(chapter, second, log_t_s)| Pin {
        chapter,
        footage: VideoTime(second * 1_000_000_000),
        log_t_s,
    });
    (vec(file_ref(), 0..3), vec(pin, 0..3)).prop_map(|(chapters, pins)| Recording { chapters, pins })
}

/// Mostly numbers that are there or come next: the start has 1 to 12.
fn id() -> impl Strategy<Value = Id> {
    prop_oneof![8 => 1_u32..20, 4 => 12_u32..14, 1 => Just(u32::MAX)].prop_map(Id)
}

fn footage_time() -> impl Strategy<Value = VideoTime> {
    prop_oneof![20 => -1_000_000_000..4_000_000_000_000_i64, 1 => Just(i64::MAX)].prop_map(VideoTime)
}

fn frame() -> impl Strategy<Value = FrameRef> {
    let footage = prop_oneof![
        6 => Just(FootageRef::Chapter(0)),
        3 => Just(FootageRef::Trackside(Id(10))),
        1 => (0_usize..3).prop_map(FootageRef::Chapter),
        1 => id().prop_map(FootageRef::Trackside),
    ];
    (footage, footage_time()).prop_map(|(footage, at)| FrameRef { footage, at })
}

/// Shares, mostly inside the picture.
fn part() -> impl Strategy<Value = f64> {
    prop_oneof![60 => 0.0..1.0_f64, 1 => prop_oneof![Just(1.5), Just(f64::NAN)]]
}

fn share() -> impl Strategy<Value = Share> {
    (part(), part()).prop_map(|(x, y)| Share { x, y })
}

fn circle() -> impl Strategy<Value = Circle> {
    (share(), part()).prop_map(|(centre, radius)| Circle { centre, radius })
}

/// Markup, quotes, other ways of writing, and what must be refused.
fn text() -> impl Strategy<Value = String> {
    prop_oneof![4 => "[a-z<&\"'\\\\ \n👩‍🏁שא\u{202e}]{0,12}", 1 => "\\PC{0,8}", 1 => ".{0,6}"]
}

fn shape() -> impl Strategy<Value = Shape> {
    prop_oneof![
        circle().prop_map(Shape::Circle),
        (share(), share()).prop_map(|(from, to)| Shape::Arrow { from, to }),
        (share(), share()).prop_map(|(from, to)| Shape::Line { from, to }),
        vec(share(), 0..6).prop_map(Shape::Freehand),
        (share(), 0.0..0.6_f64, text()).prop_map(|(at, size, text)| Shape::Text { at, size, text }),
    ]
}

fn drawing() -> impl Strategy<Value = Drawing> {
    (frame(), -0.1..10.0_f64, any::<u32>(), 0.0..0.11_f64, shape())
        .prop_map(|(on, stays_s, rgb, width, shape)| Drawing { on, stays_s, colour: Colour::hex(rgb), width, shape })
}

fn tag() -> impl Strategy<Value = Tag> {
    let on = prop_oneof![
        time_s().prop_map(|t_s| TagPlace::Frame { t_s }),
        (0_u32..4, 0_u32..4).prop_map(|(lap, corner)| TagPlace::Pass { lap, corner }),
        (id(), footage_time()).prop_map(|(footage, at)| TagPlace::Trackside { footage, at }),
    ];
    let side = || prop_oneof![Just(Side::Inside), Just(Side::Outside)];
    let outcome = prop_oneof![Just(Outcome::Attempt), Just(Outcome::Done), Just(Outcome::Failed)];
    let what = prop_oneof![
        2 => id().prop_map(What::Kind),
        1 => prop_oneof![Just(Exit::Good), Just(Exit::Bad)].prop_map(What::Exit),
        1 => (side(), outcome).prop_map(|(side, outcome)| What::Overtake { side, outcome }),
        1 => (side(), any::<bool>()).prop_map(|(side, held)| What::Defence { side, held }),
        1 => Just(What::Note),
    ];
    (on, what, option::of(text())).prop_map(|(on, what, note)| Tag { on, what, note })
}

fn kind() -> impl Strategy<Value = TagKind> {
    let key = prop_oneof![prop::char::range('a', 'f'), any::<char>()];
    ("[a-dA-D \n]{0,3}", any::<u32>(), option::of(key)).prop_map(|(name, rgb, key)| TagKind {
        name,
        colour: Colour::hex(rgb),
        key,
    })
}

fn trackside() -> impl Strategy<Value = Trackside> {
    let pin = (footage_time(), time_s()).prop_map(|(footage, log_t_s)| TracksidePin { footage, log_t_s });
    (file_ref(), vec(pin, 0..3)).prop_map(|(file, pins)| Trackside { file, pins })
}

fn point() -> impl Strategy<Value = ReferencePoint> {
    let circled = (frame(), circle()).prop_map(|(on, circle)| Circled { on, circle });
    (0_u32..4, "[a-z \n]{0,6}", option::of(circled)).prop_map(|(corner, name, circled)| ReferencePoint {
        corner,
        name,
        circled,
    })
}

fn suggestion() -> impl Strategy<Value = Suggestion> {
    // One code in ten is none.
    let finding = prop_oneof![9 => "[a-z_]{1,3}", 1 => "[A-Z \n]{0,2}"];
    (finding, 0_u32..4, option::of(0_u32..4)).prop_map(|(finding, corner, lap)| Suggestion { finding, corner, lap })
}

fn reel() -> impl Strategy<Value = Reel> {
    // One time in ten is out of range.
    let seconds = || option::of(prop_oneof![9 => 0.0..60.0, 1 => Just(-1.0)]);
    let cut = (0_u32..4, 0_u32..4, seconds(), seconds(), option::of("[a-z \n]{0,6}"));
    let cut = cut.prop_map(|(lap, corner, lead_s, tail_s, words)| ReelCut { lap, corner, lead_s, tail_s, words });
    (option::of("[a-z \n]{0,6}"), vec(cut, 0..4)).prop_map(|(title, cuts)| Reel { title, cuts })
}

fn op() -> impl Strategy<Value = Op> {
    let grip = prop_oneof![Just(Grip::Dry), Just(Grip::Damp), Just(Grip::Wet), Just(Grip::Slippery)];
    let name = "[a-z \n]{0,6}";
    let answer = prop_oneof![Just(Answer::Taken), Just(Answer::Declined)];
    let numbered = prop_oneof![
        (id(), option::of(trackside())).prop_map(|(id, it)| Op::Trackside(id, it)),
        (id(), option::of(kind())).prop_map(|(id, it)| Op::TagKind(id, it)),
        (id(), option::of(tag())).prop_map(|(id, it)| Op::Tag(id, it)),
        (id(), option::of(point())).prop_map(|(id, it)| Op::ReferencePoint(id, it)),
        (id(), option::of(drawing())).prop_map(|(id, it)| Op::Drawing(id, it)),
    ];
    let named = prop_oneof![
        vec(file_ref(), 0..3).prop_map(Op::Logs),
        recording().prop_map(Op::Recording),
        option::of(file_ref()).prop_map(Op::Track),
        option::of(file_ref()).prop_map(Op::Columns),
        option::of(name).prop_map(Op::Driver),
        option::of(grip).prop_map(Op::Grip),
        option::of(time_s()).prop_map(Op::MarkedCrossing),
        (place(), option::of(time_s())).prop_map(|(place, t_s)| Op::Mark(place, t_s)),
        (0_u32..4, option::of(name)).prop_map(|(corner, name)| Op::CornerName(corner, name)),
        (suggestion(), option::of(answer)).prop_map(|(which, it)| Op::Suggestion(which, it)),
    ];
    let single = prop_oneof![named, numbered, reel().prop_map(Op::Reel)];
    single.prop_recursive(2, 8, 3, |inner| vec(inner, 0..3).prop_map(Op::Several))
}

/// The same book but for its next number, which no undo takes back.
fn content(book: &Book) -> Book {
    Book { next_id: Id(0), ..book.clone() }
}

fn start() -> Book {
    let logs = vec![FileRef { path: "run.csv".into(), length_bytes: 3 }];
    let mut book = Book { corner_names: BTreeMap::from([(1, "hairpin".to_owned())]), ..Book::new(logs) };
    let chapters = vec![FileRef { path: "a.mp4".into(), length_bytes: 3 }];
    let file = FileRef { path: "kerb.mp4".into(), length_bytes: 3 };
    for op in [
        Op::Recording(Recording { chapters, pins: vec![] }),
        Op::Trackside(Id(10), Some(Trackside { file, pins: vec![] })),
        Op::Tag(Id(11), Some(Tag { on: TagPlace::Frame { t_s: 1.0 }, what: What::Kind(Id(1)), note: None })),
    ] {
        book.apply(op).unwrap();
    }
    book
}

fn cases() -> u32 {
    if std::env::var_os("RUN_SLOW_TESTS").is_some() { 20_000 } else { 300 }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(cases()))]

    #[test]
    fn invariants_hold_and_undo_of_all_returns_to_the_start(ops in vec(op(), 0..40)) {
        let mut history = History::new(start());
        let mut states = vec![start()];
        for op in ops {
            let before = history.book().clone();
            prop_assert!(before.tags.keys().chain(before.drawings.keys()).all(|it| *it < before.next_id));
            match history.apply(op) {
                Ok(()) => states.push(history.book().clone()),
                Err(_) => prop_assert_eq!(history.book(), &before),
            }
            prop_assert_eq!(history.book().verify_invariants(), Ok(()));
        }
        let end = content(history.book());
        for state in states.iter().rev().skip(1) {
            prop_assert!(history.undo());
            prop_assert_eq!(content(history.book()), content(state));
        }
        prop_assert!(!history.undo());
        while history.redo() {}
        prop_assert_eq!(content(history.book()), end);
    }

    /// Whatever operations can make, the file keeps. Absolute paths, so that no folder of the test machine plays in.
    #[test]
    fn every_book_survives_its_file(ops in vec(op(), 0..20)) {
        let mut history = History::new(start());
        for op in ops {
            let _ = history.apply(op);
        }
        let mut book = history.book().clone();
        let recording = &mut book.recording.chapters;
        let trackside = book.trackside.values_mut().map(|it| &mut it.file);
        let files = book.logs.iter_mut().chain(recording).chain(trackside);
        let files = files.chain(&mut book.track).chain(&mut book.columns);
        files.for_each(|it| it.path = std::path::Path::new("/no such folder").join(&it.path));
        let json = file::to_json(&book, std::path::Path::new("."));
        prop_assert_eq!(file::read("b", json.as_bytes(), std::path::Path::new(".")).unwrap(), book);
    }

    #[test]
    fn a_new_change_forgets_what_was_taken_back(first in op(), second in op()) {
        let mut history = History::new(start());
        let first_done = history.apply(first).is_ok();
        prop_assert_eq!(history.undo(), first_done);
        if history.apply(second).is_ok() {
            prop_assert!(!history.redo());
        }
    }
}
