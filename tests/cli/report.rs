//! `report`: a folder that is whole or not there, the same for the same inputs, and what stands in it.

use serde_json::Value;

use super::stadium::LAPS;
use super::{Program, stadium_csv, stadium_track};
use crate::support::web_vtt;

const FILES: [&str; 8] =
    ["findings.json", "index.html", "laps.csv", "laps.gpx", "lines.geojson", "passes.csv", "passes.json", "tags.vtt"];
const REPORT: [&str; 6] = ["report", "run.csv", "--track", "track.geojson", "--out", "out"];

fn stadium() -> Program {
    Program::new().with_file("run.csv", stadium_csv(true)).with_file("track.geojson", stadium_track())
}

fn entries(program: &Program, folder: &str) -> Vec<String> {
    let entries = std::fs::read_dir(program.path(folder)).unwrap();
    let mut names: Vec<String> = entries.map(|it| it.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

fn read(program: &Program, name: &str) -> String {
    std::fs::read_to_string(program.path("out").join(name)).unwrap()
}

#[test]
fn a_report_is_a_page_with_its_tables() {
    let program = stadium();
    let outcome = program.run(REPORT);
    assert_eq!(outcome.is_done().out, "out/index.html\n");
    assert_eq!(entries(&program, "out"), FILES);
    let page = read(&program, "index.html");
    for expected in ["id=\"corner-1\"", "id=\"corner-2\"", "licensed instructors", "there is no footage"] {
        assert!(page.to_lowercase().contains(expected), "{expected}");
    }
    let passes = program.run(["passes", "run.csv", "--track", "track.geojson", "--format", "json"]);
    assert_eq!(read(&program, "passes.json"), passes.is_done().out);
    let passes = program.run(["passes", "run.csv", "--track", "track.geojson", "--format", "csv"]);
    assert_eq!(read(&program, "passes.csv"), passes.is_done().out);
    let laps = read(&program, "laps.csv");
    assert_eq!(laps.lines().filter(|it| it.contains(",timed,")).count(), LAPS as usize, "{laps}");
    assert!(web_vtt::cues(&read(&program, "tags.vtt")).unwrap().is_empty());
}

#[test]
fn lines_are_geojson_in_degrees_east_and_north() {
    let program = stadium();
    program.run(REPORT).is_done();
    let lines: Value = serde_json::from_str(&read(&program, "lines.geojson")).unwrap();
    let features = lines["features"].as_array().unwrap();
    let of = |role: &str| features.iter().filter(|it| it["properties"]["role"] == role).collect::<Vec<_>>();
    assert_eq!((of("reference_line").len(), of("corner").len()), (1, 2));
    assert_eq!(of("apex").len(), 2 * LAPS as usize);
    let laps = of("lap");
    assert!(laps.len() >= LAPS as usize && laps.iter().all(|it| it["geometry"]["type"] == "MultiLineString"));
    let reference = of("reference_line")[0]["geometry"]["coordinates"].as_array().unwrap();
    assert_eq!(reference.first(), reference.last());
    let track: Value = serde_json::from_str(&stadium_track()).unwrap();
    let near = &track["features"][0]["geometry"]["coordinates"][0];
    for axis in 0..2 {
        assert!((reference[0][axis].as_f64().unwrap() - near[axis].as_f64().unwrap()).abs() < 0.01);
    }
}

#[test]
fn the_same_inputs_give_the_same_report() {
    let program = stadium();
    program.run(REPORT).is_done();
    let first: Vec<String> = FILES.iter().map(|it| read(&program, it)).collect();
    program.run(REPORT.iter().chain(&["--force"])).is_done();
    assert_eq!(FILES.map(|it| read(&program, it)).to_vec(), first);
}

#[test]
fn nothing_is_written_over_but_a_report() {
    let program = stadium().with_file("out/laps.csv", "older").with_file("out/diary.txt", "mine");
    let refused = program.run(REPORT);
    assert_eq!(refused.code, 1);
    assert!(refused.err.contains("out: is there already"), "{}", refused.err);
    let refused = program.run(REPORT.iter().chain(&["--force"]));
    assert_eq!(refused.code, 1);
    assert!(refused.err.contains("out: holds diary.txt"), "{}", refused.err);
    assert_eq!(entries(&program, "out"), ["diary.txt", "laps.csv"]);
    std::fs::remove_file(program.path("out/diary.txt")).unwrap();
    program.run(REPORT.iter().chain(&["--force"])).is_done();
    assert_eq!(entries(&program, "out"), FILES);
}

#[test]
fn a_failed_report_leaves_nothing() {
    let program = Program::new().with_file("run.csv", "no log at all");
    let outcome = program.run(["report", "run.csv", "--out", "deep/out"]);
    assert_eq!(outcome.code, 1);
    assert!(entries(&program, "deep").is_empty());
}

#[test]
fn a_folder_with_an_input_is_no_place_for_a_report() {
    let program = Program::new().with_file("out/passes.csv", stadium_csv(true));
    let outcome = program.run(["report", "out/passes.csv", "--out", "out", "--force"]);
    assert_eq!(outcome.code, 1);
    assert!(outcome.err.contains("passes.csv: is one of the inputs"), "{}", outcome.err);
    assert_eq!(entries(&program, "out"), ["passes.csv"]);
}

#[test]
fn a_session_without_laps_or_positions_has_a_report_too() {
    let still = "time_s,latitude,longitude\n0,47.0,8.0\n1,47.0,8.0\n2,47.0,8.0\n";
    let turning: String = (0..200).map(|it| format!("{},{}\n", 0.1 * f64::from(it), 0.5)).collect();
    for log in [still.to_owned(), format!("time_s,yaw_rate_radps\n{turning}")] {
        let program = Program::new().with_file("run.csv", log);
        program.run(["report", "run.csv", "--out", "out"]).is_done();
        assert_eq!(entries(&program, "out"), FILES);
        let lines: Value = serde_json::from_str(&read(&program, "lines.geojson")).unwrap();
        assert_eq!(lines["type"], "FeatureCollection");
    }
}
