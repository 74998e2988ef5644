//! `check`: every file gets its answer, and the exit code tells whether one cannot be used.

use super::contract::{Check, read};
use super::{Program, stadium_csv, stadium_track};

fn with_files() -> Program {
    let program = Program::new()
        .with_file("run.csv", stadium_csv(true))
        .with_file("track.geojson", stadium_track())
        .with_file("broken.csv", "time,latitude,longitude\n")
        .with_file("empty", "");
    program.run(["new", "stint", "--log", "run.csv", "--track", "track.geojson", "--driver", "Kim"]).is_done();
    program
}

#[test]
fn good_files_are_told_by_their_content() {
    let program = with_files();
    let outcome = program.run(["check", "run.csv", "track.geojson", "stint.cornerbook", "--format", "json"]);
    let check: Check = read(&outcome.is_done().out);
    assert_eq!((check.format.as_str(), check.version), ("cornerbook.check", 1));
    let kinds: Vec<&str> = check.files.iter().map(|it| it.kind.as_str()).collect();
    assert_eq!(kinds, ["log", "track", "book"]);
    assert!(check.files.iter().all(|it| it.usable && it.error.is_none()));
    let log = check.files[0].log.as_ref().unwrap();
    assert!((log.rate_hz.unwrap() - 10.0).abs() < 1e-3 && log.rows == log.fixes && log.rows > 1000);
    assert_eq!(log.start_utc.as_deref(), Some("2026-05-03T10:00:00.000Z"));
    let speed = log.channels.iter().find(|it| it.name == "speed").unwrap();
    assert_eq!((speed.header.as_str(), speed.unit.as_str()), ("speed_mps", "m/s"));
    assert_eq!(check.files[1].holds.as_deref(), Some(&["start/finish gate: given".to_owned()][..]));
    assert!(check.files[2].holds.as_ref().unwrap().contains(&"driver: Kim".to_owned()));
}

#[test]
fn a_bad_file_does_not_stop_the_others() {
    let program = with_files();
    let outcome = program.run(["check", "broken.csv", "run.csv", "empty", "none.csv"]);
    assert_eq!(outcome.code, 1);
    assert!(outcome.out.starts_with("run.csv: CSV log\n"), "{}", outcome.out);
    assert!(outcome.out.contains("  speed") && outcome.out.contains("speed_mps"), "{}", outcome.out);
    let errors: Vec<&str> = outcome.err.lines().collect();
    assert_eq!(errors.len(), 3, "{errors:?}");
    assert!(errors[0].starts_with("error: broken.csv, line 1: "), "{errors:?}");
    assert!(errors[1].starts_with("error: empty: "), "{errors:?}");
    assert!(errors[2].starts_with("error: none.csv: cannot be read"), "{errors:?}");

    let as_json: Check = read(&program.run(["check", "empty", "run.csv", "--format", "json"]).out);
    assert_eq!(as_json.files.iter().map(|it| it.usable).collect::<Vec<_>>(), [false, true]);
    assert!(as_json.files[0].error.as_ref().unwrap().starts_with("empty: "));
}

#[test]
fn a_table_for_spreadsheets() {
    let program = with_files();
    let outcome = program.run(["check", "run.csv", "empty", "--format", "csv"]);
    let rows: Vec<Vec<String>> = csv::Reader::from_reader(outcome.out.as_bytes())
        .records()
        .map(|row| row.unwrap().iter().map(str::to_owned).collect())
        .collect();
    assert_eq!(rows[0][..3], ["run.csv", "log", "true"]);
    assert_eq!(rows[1][..3], ["empty", "unknown", "false"]);
}

#[test]
fn logs_whose_time_does_not_go_on_cannot_be_used() {
    let log = stadium_csv(false);
    let (header, rows) = log.split_once('\n').unwrap();
    let back: Vec<&str> = rows.lines().rev().collect();
    let program = Program::new()
        .with_file("back.csv", format!("{header}\n{}\n", back.join("\n")))
        .with_file("one.csv", format!("{header}\n{}\n", back[0]));
    let count = back.len();
    assert_eq!(
        program.run(["check", "back.csv"]).is_refused(1),
        format!(
            "error: back.csv, line 3: the time runs backwards in {} of {count} rows; sort the log by time, or name its \
             time column with --columns",
            count - 1
        )
    );
    let one = program.run(["check", "one.csv"]);
    assert!(one.is_refused(1).contains("a log needs at least two times"), "{one:?}");
}

#[test]
fn a_log_of_another_length_is_told() {
    let program = with_files().with_file("run.csv", stadium_csv(false));
    let outcome = program.run(["check", "stint.cornerbook"]);
    assert!(outcome.is_done().out.contains("run.csv: has "), "{outcome:?}");
}

#[test]
fn a_book_whose_log_is_gone_cannot_be_used() {
    let program = with_files();
    std::fs::remove_file(program.path("run.csv")).unwrap();
    let outcome = program.run(["check", "stint.cornerbook"]);
    assert!(outcome.is_refused(1).starts_with("error: run.csv: is not there"), "{outcome:?}");
}

#[test]
fn a_book_says_what_it_holds() {
    let book = r##"{"format":"cornerbook.book","version":2,"logs":[{"path":"run.csv","length_bytes":4}],
        "footage":[{"path":"onboard.mp4","length_bytes":4}],
        "trackside":[{"id":2,"path":"kerb.mp4","length_bytes":4,"pins":[{"footage_s":1,"log_t_s":60}]}],
        "tag_kinds":[{"id":1,"name":"slide","colour":"#aa77dd"}],
        "tags":[{"id":3,"on":{"pass":{"lap":1,"corner":1}},"what":{"kind":1}},
                {"id":4,"on":{"pass":{"lap":1,"corner":1}},"what":"note","note":"a\nb"}],
        "reference_points":[{"id":5,"corner":1,"name":"white tyre"}],
        "drawings":[{"id":6,"on":{"chapter":{"number":1,"footage_s":2}},"stays_s":1,"colour":"#ffffff","width":0.01,
                     "shape":{"line":{"from":[0,0],"to":[1,1]}}}]}"##;
    let program = Program::new()
        .with_file("run.csv", "1234")
        .with_file("onboard.mp4", "1234")
        .with_file("kerb.mp4", "1234")
        .with_file("a.cornerbook", book);
    let check: Check = read(&program.run(["check", "a.cornerbook", "--format", "json"]).is_done().out);
    assert_eq!(
        check.files[0].holds.as_deref().unwrap(),
        [
            "log: run.csv (4 bytes)",
            "footage: onboard.mp4 (4 bytes)",
            "trackside footage: kerb.mp4 (4 bytes)",
            "reference points: 1",
            "trackside pins: 1",
            "tag kinds: 1",
            "tags: 2",
            "drawings: 1",
        ]
    );
}
