//! `new`: what goes into a book, and that nothing is lost or written over.

use super::contract::{Passes, read};
use super::{Program, stadium_csv, stadium_track};

fn with_inputs() -> Program {
    Program::new().with_file("data/run.csv", stadium_csv(true)).with_file("data/track.geojson", stadium_track())
}

const NEW: [&str; 10] = [
    "new",
    "stint",
    "--log",
    "data/run.csv",
    "--track",
    "data/track.geojson",
    "--driver",
    "Kim \"K\"",
    "--grip",
    "damp",
];

#[test]
fn a_book_is_made_once_and_used_like_its_log() {
    let program = with_inputs();
    let made = program.run(NEW);
    assert_eq!((made.code, made.out.as_str()), (0, "stint.cornerbook\n"), "{made:?}");
    assert_eq!(program.files(), ["data", "stint.cornerbook"]);
    let text = std::fs::read_to_string(program.path("stint.cornerbook")).unwrap();
    let book: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!((&book["format"], &book["version"]), (&"cornerbook.book".into(), &3.into()));
    assert_eq!((&book["driver"], &book["grip"]), (&"Kim \"K\"".into(), &"damp".into()));
    assert_eq!(book["logs"][0]["path"], "data/run.csv");

    let of_book = program.run(["passes", "stint.cornerbook", "--format", "json"]);
    let of_log = program.run(["passes", "data/run.csv", "--track", "data/track.geojson", "--format", "json"]);
    assert_eq!(of_book.is_done().out, of_log.is_done().out);
    let passes: Passes = read(&of_book.out);
    assert_eq!(passes.reference.unwrap().gate, "file");
}

#[test]
fn nothing_is_written_over_without_force() {
    let program = with_inputs().with_file("stint.cornerbook", "mine");
    assert_eq!(
        program.run(NEW).is_refused(1),
        "error: stint.cornerbook: is there already; give another name, or --force to write over it"
    );
    assert_eq!(std::fs::read(program.path("stint.cornerbook")).unwrap(), b"mine");
    program.run(NEW.into_iter().chain(["--force"])).is_done();
    assert_ne!(std::fs::read(program.path("stint.cornerbook")).unwrap(), b"mine");
}

#[test]
fn a_book_that_a_window_has_open_is_not_written_over_even_with_force() {
    let program = with_inputs();
    program.run(NEW).is_done();
    let before = std::fs::read(program.path("stint.cornerbook")).unwrap();
    let window = cornerbook::book::store::Store::open(&program.path("stint.cornerbook")).unwrap();
    let in_use = "error: stint.cornerbook: is open in a window, which would not know of the change; close it there or \
                  give another name";
    assert_eq!(program.run(NEW.into_iter().chain(["--force"])).is_refused(1), in_use);
    assert_eq!(std::fs::read(program.path("stint.cornerbook")).unwrap(), before);
    drop(window);
    program.run(NEW.into_iter().chain(["--force"])).is_done();
}

#[test]
fn a_book_finds_its_log_from_any_folder_and_beside_itself() {
    let program = with_inputs();
    program.run(NEW).is_done();
    let passes = |program: &Program, book: &str| program.run(["passes", book, "--format", "json"]);
    std::fs::create_dir(program.path("moved")).unwrap();
    for (from, to) in [("stint.cornerbook", "moved/stint.cornerbook"), ("data/run.csv", "moved/run.csv")] {
        std::fs::rename(program.path(from), program.path(to)).unwrap();
    }
    std::fs::rename(program.path("data/track.geojson"), program.path("moved/track.geojson")).unwrap();
    let found = passes(&program, "moved/stint.cornerbook");
    assert!(found.is_done().err.contains("is not in its place; used moved/run.csv instead"), "{}", found.err);

    std::fs::remove_file(program.path("moved/run.csv")).unwrap();
    let lost = passes(&program, "moved/stint.cornerbook");
    let sentence = lost.is_refused(1);
    assert!(
        sentence.starts_with("error: moved/data/run.csv: is not there, nor is a file of that name with"),
        "{sentence}"
    );
    assert!(sentence.ends_with("beside moved/stint.cornerbook; bring it back or make the book anew"), "{sentence}");
}

#[test]
fn a_bad_input_makes_no_book() {
    let program = with_inputs().with_file("empty.csv", "").with_file("bad.geojson", "{}");
    let refused = program.run(["new", "stint", "--log", "empty.csv"]);
    assert!(refused.is_refused(1).starts_with("error: empty.csv: "), "{refused:?}");
    let refused = program.run(["new", "stint", "--log", "data/run.csv", "--track", "bad.geojson"]);
    assert!(refused.is_refused(1).starts_with("error: bad.geojson: is JSON, but no FeatureCollection"), "{refused:?}");
    let refused = program.run(["new", "stint", "--log", "data/run.csv", "--driver", " "]);
    assert!(refused.is_refused(2).contains("the name of the driver is empty"), "{refused:?}");
    let refused = program.run(["new", "stint", "--log", "data/run.csv", "--offset", "3"]);
    assert_eq!(refused.is_refused(2), "error: an offset or a pin needs footage; name it with --video");
    let refused = program.run(["new", "no folder/stint", "--log", "data/run.csv"]);
    assert!(refused.is_refused(1).contains("cannot be written"), "{refused:?}");
    assert!(!program.files().iter().any(|it| it.contains("stint")), "{:?}", program.files());
}
