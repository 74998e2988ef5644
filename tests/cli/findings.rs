//! `findings` on a circuit driven at one speed: nothing stands out, laps are level, the theoretical best is the lap.

use cornerbook::sample::{Circuit, CsvStyle, Driver, LoggerNoise, csv_log, log_samples, simulate};
use serde_json::Value;

use super::stadium::{LAP_S, LAPS};
use super::{Outcome, Program, stadium_csv, stadium_track};

fn stadium() -> Program {
    Program::new().with_file("run.csv", stadium_csv(true)).with_file("track.geojson", stadium_track())
}

#[test]
fn an_even_session_has_nothing_to_find() {
    let outcome = stadium().run(["findings", "run.csv", "--track", "track.geojson", "--format", "json"]);
    let found: Value = serde_json::from_str(&outcome.is_done().out).unwrap();
    assert_eq!((&found["format"], &found["version"]), (&"cornerbook.findings".into(), &1.into()));
    assert!(found["findings"].as_array().unwrap().iter().all(|it| it["size_s"].as_f64().unwrap() < 0.05), "{found}");
    let best_s = found["theoretical_best"]["corners"]["time_s"].as_f64().unwrap();
    assert!((best_s - LAP_S).abs() < 0.1, "{best_s}");
    assert_eq!(found["lines"].as_array().unwrap().len(), 2 * LAPS as usize);
    assert!(found["against"].is_null());
}

#[test]
fn a_session_is_level_with_itself() {
    let args = ["findings", "run.csv", "--track", "track.geojson", "--against", "run.csv"];
    let outcome = stadium().run(args);
    let text = &outcome.is_done().out;
    assert!(text.contains("Against run.csv") && text.contains("T1: level"), "{text}");
    assert!(text.contains("licensed instructors"), "{text}");
}

/// Laps of both begin at the gate of the one track that is known.
#[test]
fn a_book_with_a_track_lends_it_to_a_log_without() {
    let program = stadium();
    program.run(["new", "day.cornerbook", "--log", "run.csv", "--track", "track.geojson"]).is_done();
    let outcome = program.run(["findings", "day.cornerbook", "--against", "run.csv"]);
    let text = &outcome.is_done().out;
    assert!(text.contains("T1: level") && text.contains("T2: level"), "{text}");
    assert!(!text.contains("no corner in common"), "{text}");
}

#[test]
fn sessions_of_two_places_have_no_corner_in_common() {
    let scenario = simulate(&Circuit::saltpan(), &Driver::a(), 3, 2);
    let elsewhere = csv_log(&log_samples(&scenario, &LoggerNoise::default(), 2), CsvStyle::default());
    let program = stadium().with_file("elsewhere.csv", elsewhere);
    let outcome = program.run(["findings", "run.csv", "--against", "elsewhere.csv"]);
    assert!(outcome.is_done().out.contains("no corner in common"), "{}", outcome.out);
}

#[test]
fn csv_has_a_header_and_a_row_for_each_finding() {
    let program = stadium();
    let csv = program.run(["findings", "run.csv", "--format", "csv"]).is_done().out.clone();
    let json = program.run(["findings", "run.csv", "--format", "json"]).is_done().out.clone();
    let found: Value = serde_json::from_str(&json).unwrap();
    assert!(csv.starts_with("corner,name,kind,"), "{csv}");
    assert_eq!(csv.lines().count(), 1 + found["findings"].as_array().unwrap().len());
}

#[test]
fn a_missing_second_session_is_told() {
    let outcome = stadium().run(["findings", "run.csv", "--against", "none.csv"]);
    assert_eq!(outcome.code, 1);
    assert!(outcome.err.contains("none.csv"), "{}", outcome.err);
}

/// A sample driver who is late on the power at corner 8, in a book.
fn late_driver() -> Program {
    let scenario = simulate(&Circuit::saltpan(), &Driver::c(), 6, 2);
    let log = csv_log(&log_samples(&scenario, &LoggerNoise::default(), 2), CsvStyle::default());
    let program = Program::new().with_file("run.csv", log).with_file("track.geojson", scenario.circuit.geojson());
    program.run(["new", "day.cornerbook", "--log", "run.csv", "--track", "track.geojson"]).is_done();
    program
}

fn json(outcome: &Outcome) -> Value {
    serde_json::from_str(&outcome.is_done().out).unwrap()
}

#[test]
fn findings_are_taken_and_declined_in_the_book() {
    let program = late_driver();
    let run =
        |args: &[&str]| program.run([["findings", "day.cornerbook", "--format", "json"].as_slice(), args].concat());
    let answer = |found: &Value| {
        let first = &found["findings"][0];
        assert_eq!(first["id"], "late_on_the_power:8", "{found}");
        (first["answer"].as_str().map(str::to_owned), first["laps"].as_array().unwrap().len())
    };
    let book = || serde_json::from_slice::<Value>(&std::fs::read(program.path("day.cornerbook")).unwrap()).unwrap();
    assert_eq!(answer(&json(&run(&[]))).0, None);
    let before = book();
    let (taken, laps) = answer(&json(&run(&["--take", "late_on_the_power:8"])));
    assert_eq!(taken.as_deref(), Some("taken"));
    let after = book();
    assert_eq!(after["tags"].as_array().unwrap().len(), laps);
    assert_eq!(after["tags"][0]["on"]["pass"]["corner"], 8);
    assert_eq!(after["tag_kinds"], before["tag_kinds"], "the starter set has this kind");
    assert_eq!(answer(&json(&run(&["--decline", "late_on_the_power:8"]))).0.as_deref(), Some("declined"));
    assert_eq!(book()["tags"], after["tags"], "what a person has stays");
    assert_eq!(answer(&json(&run(&["--ask-again", "late_on_the_power:8"]))).0, None);

    let refused = run(&["--take", "late_on_the_power:8", "--decline", "two_bites:77"]);
    assert!(refused.is_refused(2).contains("two_bites:77"), "{refused:?}");
    assert!(book()["suggestions"].as_array().unwrap().is_empty(), "all or nothing");
}

#[test]
fn answers_need_a_book() {
    let outcome = stadium().run(["findings", "run.csv", "--take", "two_bites:1"]);
    assert!(outcome.is_refused(2).contains("cornerbook new"));
}
