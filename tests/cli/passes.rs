//! `passes` on a circuit whose laps can be reckoned by hand.

use super::contract::{Passes, read};
use super::stadium::{LAP_M, LAP_S, LAPS, RADIUS_M, SPEED_MPS};
use super::{Program, stadium_csv, stadium_track};

fn stadium(dated: bool) -> Program {
    Program::new().with_file("run.csv", stadium_csv(dated)).with_file("track.geojson", stadium_track())
}

/// Closed form: 6 laps of 240 m + 2π·15 m at 12 m/s, a half turn to the left at each end.
#[test]
fn laps_and_corners_are_those_of_the_stadium() {
    let outcome = stadium(true).run(["passes", "run.csv", "--track", "track.geojson", "--format", "json"]);
    let passes: Passes = read(&outcome.is_done().out);
    assert_eq!((passes.format.as_str(), passes.version), ("cornerbook.passes", 1));
    assert_eq!((passes.log.file.as_str(), passes.log.files.len()), ("run.csv", 1));
    assert_eq!(passes.log.start_utc.as_deref(), Some("2026-05-03T10:00:00.000Z"));
    assert!((passes.log.rate_hz.unwrap() - 10.0).abs() < 1e-3 && passes.log.samples > 1000);
    let reference = passes.reference.unwrap();
    assert!(reference.closed && reference.gate == "file");
    // A smoothed 15 m half circle comes out some decimetres short.
    assert!((reference.length_m.unwrap() - LAP_M).abs() < 2.0, "{:?}", reference.length_m);

    let timed: Vec<_> = passes.laps.iter().filter(|it| it.kind == "timed").collect();
    assert_eq!(timed.len(), LAPS as usize);
    for (index, lap) in timed.iter().enumerate() {
        assert_eq!(lap.lap as usize, index + 1);
        assert!((lap.time_s.unwrap() - LAP_S).abs() < 0.05, "{lap:?}");
        assert!((lap.start_t_s - (3.0 + LAP_S * index as f64)).abs() < 0.1, "{lap:?}");
        assert!(lap.time_s_ci95.unwrap() > 0.0 && lap.start_utc.is_some() && lap.end_t_s > lap.start_t_s);
    }

    assert_eq!(passes.corners.len(), 2);
    for (index, corner) in passes.corners.iter().enumerate() {
        assert_eq!((corner.corner as usize, corner.name.as_str()), (index + 1, ["T1", "T2"][index]));
        assert_eq!(corner.direction, "left");
        assert!((corner.angle_deg - 180.0).abs() < 6.0, "{corner:?}");
        assert!((corner.min_radius_m.unwrap() - RADIUS_M).abs() < 2.0, "{corner:?}");
    }
    assert_eq!(passes.passes.len(), 2 * LAPS as usize);
    for pass in &passes.passes {
        assert_eq!(pass.direction, "left");
        let (turn_in, apex, exit) = (pass.turn_in.as_ref(), pass.apex.as_ref(), pass.exit.as_ref());
        let (turn_in, apex, exit) = (turn_in.unwrap(), apex.unwrap(), exit.unwrap());
        assert!(turn_in.t_s < apex.t_s && apex.t_s < exit.t_s, "{pass:?}");
        assert!((pass.min_speed_mps.unwrap() - SPEED_MPS).abs() < 0.5, "{pass:?}");
        assert!(pass.edited.is_empty());
    }
}

#[test]
fn without_a_date_utc_is_null() {
    let outcome = stadium(false).run(["passes", "run.csv", "--format", "json"]);
    let passes: Passes = read(&outcome.is_done().out);
    assert_eq!(passes.log.start_utc, None);
    assert!(passes.laps.iter().all(|it| it.start_utc.is_none()));
    assert_eq!(passes.reference.unwrap().gate, "found");
}

#[test]
fn only_the_laps_and_corners_asked_for() {
    let program = stadium(true);
    let outcome = program.run([
        "passes",
        "run.csv",
        "--track",
        "track.geojson",
        "--lap",
        "2,4",
        "--corner",
        "1",
        "--format",
        "csv",
    ]);
    let mut rows = csv::Reader::from_reader(outcome.is_done().out.as_bytes());
    let places: Vec<(String, String)> =
        rows.records().map(|row| row.map(|it| (it[0].to_owned(), it[1].to_owned())).unwrap()).collect();
    assert_eq!(places, [("2".to_owned(), "1".to_owned()), ("4".to_owned(), "1".to_owned())]);

    let absent = program.run(["passes", "run.csv", "--corner", "9"]);
    assert_eq!(absent.is_refused(1), "error: there is no corner 9; the session has 1 to 2");
}

#[test]
fn the_table_fits_a_terminal_and_speaks_the_readers_unit() {
    let program = stadium(true);
    let outcome = program.run(["passes", "run.csv", "--track", "track.geojson", "--speed-unit", "mph"]);
    let table = &outcome.is_done().out;
    assert!(table.lines().all(|it| it.chars().count() <= 100), "{table}");
    for heading in ["Laps\n", "Corners (metres", "speeds in mph"] {
        assert!(table.contains(heading), "{heading}\n{table}");
    }
    // 12 m/s is 26.8 mph.
    assert!(table.contains(" 26.8"), "{table}");
    assert!(!outcome.err.contains("error"), "{}", outcome.err);
}

#[test]
fn the_same_inputs_give_the_same_text() {
    let program = stadium(true);
    let run = || program.run(["passes", "run.csv", "--format", "json"]).out;
    assert_eq!(run(), run());
}

#[test]
fn a_closed_pipe_is_a_quiet_end() {
    let program = stadium(true);
    let mut child = program
        .command(["passes", "run.csv", "--format", "json"])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(0), "{err}");
    assert!(!err.contains("error") && !err.contains("panic"), "{err}");
}

#[test]
#[cfg(target_os = "linux")]
fn a_full_disk_is_an_error() {
    let full = std::fs::File::options().write(true).open("/dev/full").unwrap();
    let output = stadium(true).command(["passes", "run.csv"]).stdout(full).output().unwrap();
    assert_eq!(output.status.code(), Some(1));
    let err = String::from_utf8(output.stderr).unwrap();
    assert!(err.contains("error: standard output: cannot be written (No space left on device"), "{err}");
}
