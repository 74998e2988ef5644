//! Random operations on a book: invariants after each, and undo of all returns to the start.

use std::collections::BTreeMap;

use cornerbook::book::{Book, FileRef, Grip, History, MarkPlace, Op, Pin, Recording, file};
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

fn op() -> impl Strategy<Value = Op> {
    let grip = prop_oneof![Just(Grip::Dry), Just(Grip::Damp), Just(Grip::Wet), Just(Grip::Slippery)];
    let name = "[a-z \n]{0,6}";
    prop_oneof![
        vec(file_ref(), 0..3).prop_map(Op::Logs),
        recording().prop_map(Op::Recording),
        option::of(file_ref()).prop_map(Op::Track),
        option::of(file_ref()).prop_map(Op::Columns),
        option::of(name).prop_map(Op::Driver),
        option::of(grip).prop_map(Op::Grip),
        option::of(time_s()).prop_map(Op::MarkedCrossing),
        (place(), option::of(time_s())).prop_map(|(place, t_s)| Op::Mark(place, t_s)),
        (0_u32..4, option::of(name)).prop_map(|(corner, name)| Op::CornerName(corner, name)),
    ]
}

fn start() -> Book {
    let logs = vec![FileRef { path: "run.csv".into(), length_bytes: 3 }];
    Book { logs, corner_names: BTreeMap::from([(1, "hairpin".to_owned())]), ..Book::default() }
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
            match history.apply(op) {
                Ok(()) => states.push(history.book().clone()),
                Err(_) => prop_assert_eq!(history.book(), &before),
            }
            prop_assert_eq!(history.book().verify_invariants(), Ok(()));
        }
        let end = history.book().clone();
        for state in states.iter().rev().skip(1) {
            prop_assert!(history.undo());
            prop_assert_eq!(history.book(), state);
        }
        prop_assert!(!history.undo());
        while history.redo() {}
        prop_assert_eq!(history.book(), &end);
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
        let files = book.logs.iter_mut().chain(recording).chain(&mut book.track).chain(&mut book.columns);
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
