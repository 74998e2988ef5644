//! `findings` on a circuit driven at one speed: nothing stands out, laps are level, the theoretical best is the lap.

use serde_json::Value;

use super::stadium::{LAP_S, LAPS};
use super::{Program, stadium_csv, stadium_track};

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
