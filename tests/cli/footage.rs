//! `align` and footage in `new` and `check`, on films whose length and time stamp are known.

use cornerbook::book::store::Store;

use super::contract::{Alignment, Check, read};
use super::{Program, film, stadium_csv};

fn with_log() -> Program {
    Program::new().with_file("run.csv", stadium_csv(true))
}

fn align(program: &Program, args: &[&str]) -> Alignment {
    let args = [&["align"], args, &["--format", "json"]].concat();
    let alignment: Alignment = read(&program.run(args).is_done().out);
    assert_eq!((alignment.format.as_str(), alignment.version), ("cornerbook.alignment", 1));
    alignment
}

/// The log starts at 10:00:00 UTC; a camera two hours ahead starts 30 s into it.
#[test]
fn a_stamp_in_local_time_finds_its_place() {
    let program = with_log();
    film(&program, "a.mp4", Some("2026-05-03T12:00:30Z"));
    let alignment = align(&program, &["run.csv", "--video", "a.mp4"]);
    let footage = &alignment.footage[0];
    assert_eq!((alignment.log.as_str(), footage.file.as_str(), footage.method.as_str()), ("run.csv", "a.mp4", "clock"));
    assert!((footage.log_t_s_at_zero.unwrap() - 30.0).abs() < 1e-3, "{footage:?}");
    assert!((footage.duration_s.unwrap() - 10.0).abs() < 0.05 && footage.frames == Some(250), "{footage:?}");
    assert!(footage.confidence > 0.0 && footage.confidence <= 0.5 && footage.ci95_s.unwrap() >= 5.0, "{footage:?}");
    assert!(footage.warnings.iter().any(|it| it.contains("lies +2 h from the log's")), "{footage:?}");
    assert!(footage.warnings.iter().any(|it| it.contains("taken as the start of the recording")), "{footage:?}");
}

#[test]
fn trackside_footage_goes_into_a_new_book_without_a_pin() {
    let program = with_log().with_file("notes.txt", "a,b\n1,2\n");
    film(&program, "kerb.mp4", None);
    program.run(["new", "stint", "--log", "run.csv", "--trackside", "kerb.mp4"]).is_done();
    let book = std::fs::read_to_string(program.path("stint.cornerbook")).unwrap();
    let book: serde_json::Value = serde_json::from_str(&book).unwrap();
    let trackside = book["trackside"].as_array().unwrap();
    assert_eq!(
        (trackside.len(), &trackside[0]["path"], &book["footage"]),
        (1, &"kerb.mp4".into(), &serde_json::json!([]))
    );
    assert_eq!(trackside[0]["pins"], serde_json::json!([]));
    let refused = program.run(["new", "other", "--log", "run.csv", "--trackside", "notes.txt"]);
    assert!(refused.is_refused(1).starts_with("error: notes.txt: "), "{refused:?}");
}

/// A stamp ahead of this machine's clock counts like any other: local time on the very day, or a clock never set.
#[test]
fn a_stamp_ahead_of_now_is_read() {
    let program = Program::new();
    film(&program, "a.mp4", Some("2038-05-03T12:00:30Z"));
    let check: Check = read(&program.run(["check", "a.mp4", "--format", "json"]).is_done().out);
    assert_eq!(check.files[0].footage.as_ref().unwrap().created_utc.as_deref(), Some("2038-05-03T12:00:30.000Z"));
}

#[test]
fn chapters_follow_each_other_and_pins_outrank_stamps() {
    let program = with_log();
    film(&program, "a.mp4", Some("2026-05-03T10:00:30Z"));
    film(&program, "b.mp4", Some("2026-05-03T10:00:40Z"));
    let by_clock = align(&program, &["run.csv", "--video", "a.mp4", "b.mp4"]);
    let at: Vec<f64> = by_clock.footage.iter().map(|it| it.log_t_s_at_zero.unwrap()).collect();
    assert!((at[1] - at[0] - 10.0).abs() < 0.05, "{at:?}");

    let by_hand = align(&program, &["run.csv", "--video", "a.mp4", "b.mp4", "--offset", "-1.5"]);
    assert_eq!(by_hand.footage[0].method, "manual");
    assert!((by_hand.footage[0].log_t_s_at_zero.unwrap() + 1.5).abs() < 1e-3);
    assert!((by_hand.footage[0].confidence - 1.0).abs() < 1e-9 && by_hand.footage[0].rate_ppm == Some(0.0));

    // Closed form: through (2, 12) and (12, 22.001) the log runs 100 ppm faster, and is at 9.9998 s at the start.
    let by_pins = align(&program, &["run.csv", "--video", "a.mp4", "b.mp4", "--pin", "2=12", "--pin", "12=22.001"]);
    assert!((by_pins.footage[0].rate_ppm.unwrap() - 100.0).abs() < 0.01, "{by_pins:?}");
    assert!((by_pins.footage[0].log_t_s_at_zero.unwrap() - 9.9998).abs() < 1e-4, "{by_pins:?}");
    assert_eq!(by_pins.residuals_s.len(), 2);
}

#[test]
fn what_cannot_be_aligned_says_why() {
    let program = with_log().with_file("undated.csv", stadium_csv(false));
    film(&program, "unstamped.mp4", None);
    film(&program, "old.mp4", Some("2026-05-01T10:00:00Z"));
    let unstamped = align(&program, &["run.csv", "--video", "unstamped.mp4"]);
    let footage = &unstamped.footage[0];
    assert_eq!((footage.method.as_str(), footage.log_t_s_at_zero, footage.rate_ppm), ("none", None, None));
    assert_eq!(footage.warnings[0], "has no creation time");
    assert!(footage.warnings[1].starts_with("the motion in the footage is not used: "), "{footage:?}");
    let undated = align(&program, &["undated.csv", "--video", "old.mp4"]);
    assert_eq!(undated.footage[0].warnings[0], "the log has no date; times count from its first sample");

    // Two days less the film's 10 s.
    let apart = program.run(["align", "run.csv", "--video", "old.mp4", "--format", "json"]);
    assert_eq!(apart.code, 1);
    let sentence = "error: old.mp4: does not overlap run.csv, they miss each other by 47 h 59 min 50 s; \
                    give --offset, or footage and log of one session";
    assert!(apart.err.lines().any(|it| it == sentence), "{}", apart.err);
    let alignment: Alignment = read(&apart.out);
    assert_eq!(alignment.footage[0].method, "none");

    assert_eq!(program.run(["align", "run.csv"]).is_refused(2), "error: there is no footage; name it with --video");
}

#[test]
fn pins_are_kept_in_a_book() {
    let program = with_log();
    film(&program, "a.mp4", Some("2026-05-03T10:00:30Z"));
    film(&program, "b.mp4", None);
    let new = ["new", "stint", "--log", "run.csv", "--video", "a.mp4", "b.mp4"];
    program.run(new).is_done();
    assert_eq!(align(&program, &["stint.cornerbook"]).footage[0].method, "clock");

    let idle = program.run(["align", "stint.cornerbook", "--out", "pinned"]);
    assert_eq!(idle.is_refused(2), "error: --out keeps an offset or pins in a book; give --offset or --pin");
    program.run(["align", "stint.cornerbook", "--pin", "15=0:45.5", "--out", "pinned"]).is_done();
    let kept = align(&program, &["pinned.cornerbook"]);
    assert_eq!(kept.footage[1].method, "manual");
    assert!((kept.footage[1].log_t_s_at_zero.unwrap() - 40.5).abs() < 0.05, "{kept:?}");
    let over = program.run(["align", "stint.cornerbook", "--offset", "1", "--out", "pinned"]);
    assert!(over.is_refused(1).contains("pinned.cornerbook: is there already"), "{over:?}");

    let window = Store::open(&program.path("pinned.cornerbook")).unwrap();
    let before = std::fs::read(program.path("pinned.cornerbook")).unwrap();
    let force = ["align", "stint.cornerbook", "--offset", "1", "--out", "pinned", "--force"];
    let held = program.run(force);
    assert!(held.is_refused(1).contains("pinned.cornerbook: is open in a window"), "{held:?}");
    assert_eq!(std::fs::read(program.path("pinned.cornerbook")).unwrap(), before);
    drop(window);
    program.run(force).is_done();
    assert_ne!(std::fs::read(program.path("pinned.cornerbook")).unwrap(), before);
}

#[test]
fn pins_that_cannot_all_be_right_are_refused_everywhere() {
    let program = with_log();
    film(&program, "a.mp4", None);
    program.run(["new", "stint", "--log", "run.csv", "--video", "a.mp4", "--offset", "5"]).is_done();
    let (out, film) = (["--out", "x"], ["--out", "x.mp4"]);
    let commands: [Vec<&str>; 6] = [
        ["new", "x", "--log", "run.csv", "--video", "a.mp4"].to_vec(),
        vec!["align", "stint.cornerbook"],
        [&["clip", "stint.cornerbook", "--lap", "1", "--corner", "1"][..], &film].concat(),
        [&["reel", "stint.cornerbook"][..], &film].concat(),
        [&["stills", "stint.cornerbook", "--corner", "1"][..], &out].concat(),
        [&["report", "stint.cornerbook"][..], &out].concat(),
    ];
    for command in commands {
        for pins in [["5=50", "6=40"], ["5=50", "5=60"]] {
            let refused = program.run([&command[..], &["--pin", pins[0], "--pin", pins[1]]].concat());
            assert_eq!(
                refused.is_refused(2),
                format!(
                    "error: the pins {} and {} cannot both be right, for time goes on in footage and log alike; \
                     look for both again",
                    pins[0], pins[1]
                )
            );
        }
    }
    let clip = ["clip", "stint.cornerbook", "--lap", "1", "--corner", "1", "--pin", "0=5", "--pin", "9=15"];
    let unlikely = program.run([&clip[..], &film].concat());
    assert!(unlikely.err.contains("which real clocks hardly do"), "{unlikely:?}");
}

#[test]
fn one_file_is_no_two_chapters() {
    let program = with_log();
    film(&program, "a.mp4", None);
    let refused = program.run(["new", "x", "--log", "run.csv", "--video", "a.mp4", "./a.mp4"]);
    let sentence = "error: ./a.mp4: is named twice as footage; name each file of a recording once";
    assert_eq!(refused.is_refused(1), sentence);
}

#[test]
fn check_looks_into_footage() {
    let program = with_log().with_file("cut.mp4", b"\0\0\0\x20ftypisom\0\0\x02\0isomiso2avc1mp41\0\0\0\x08free");
    film(&program, "a.mp4", Some("2026-05-03T10:00:30Z"));
    let outcome = program.run(["check", "a.mp4", "cut.mp4", "--format", "json"]);
    assert_eq!(outcome.code, 1);
    let check: Check = read(&outcome.out);
    let footage = check.files[0].footage.as_ref().unwrap();
    assert_eq!((footage.width, footage.height, footage.frames), (Some(320), Some(180), Some(250)));
    assert_eq!(footage.created_utc.as_deref(), Some("2026-05-03T10:00:30.000Z"));
    assert!(!check.files[1].usable && check.files[1].error.as_ref().unwrap().starts_with("cut.mp4: "), "{check:?}");
}
