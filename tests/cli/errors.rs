//! Wrong usage and unusable inputs: the exit code and the one line.

use super::{Program, stadium_csv};

#[cfg(not(feature = "window"))]
#[test]
fn without_arguments_help_is_no_result() {
    let outcome = Program::new().run::<&str>([]);
    assert_eq!((outcome.code, outcome.out.as_str()), (2, ""));
    assert!(outcome.err.contains("Usage: cornerbook"), "{}", outcome.err);
}

#[cfg(feature = "window")]
#[test]
fn without_a_display_a_window_is_refused() {
    let program = Program::new().with_file("stint.cornerbook", "");
    for args in [&[][..], &["stint.cornerbook"]] {
        assert_eq!(
            program.run_without_display(args).is_refused(1),
            "error: there is no display to open a window on; cornerbook help lists what works without one"
        );
    }
    assert_eq!(
        program.run_without_display(["pases"]).is_refused(2),
        "error: pases: is neither a file nor a command; cornerbook help lists the commands"
    );
}

#[cfg(not(feature = "window"))]
#[test]
fn a_book_alone_says_that_there_is_no_window() {
    let outcome = Program::new().run(["stint.cornerbook"]);
    assert_eq!(
        outcome.is_refused(2),
        "error: stint.cornerbook: this build has no window to open it in; see it with cornerbook passes BOOK, \
         cut a clip with cornerbook clip BOOK"
    );
}

#[test]
fn wrong_usage_is_code_2() {
    let program = Program::new().with_file("run.csv", stadium_csv(false));
    for args in [
        &["passes"][..],
        &["passes", "run.csv", "--format", "xml"],
        &["passes", "run.csv", "--speed-unit", "kmh"],
        &["passes", "run.csv", "--lap", "-1"],
        &["passes", "run.csv", "--no-such-option"],
        &["new", "stint"],
        &["new", "stint", "--log", "run.csv", "--grip", "snow"],
        &["new", "stint", "--log", "run.csv", "--offset", "1:75"],
        &["new", "stint", "--log", "run.csv", "--pin", "3"],
        &["passes", "run.csv", "--crossing", "1e300"],
        &["check"],
        &["no", "such", "command"],
    ] {
        let outcome = program.run(args);
        assert_eq!((outcome.code, outcome.out.as_str()), (2, ""), "{args:?}: {outcome:?}");
        assert!(outcome.err.starts_with("error: "), "{args:?}: {outcome:?}");
    }
}

#[test]
fn an_unusable_input_is_code_1_and_one_line() {
    let program = Program::new()
        .with_file("empty.csv", "")
        .with_file("newer.cornerbook", r#"{"format":"cornerbook.book","version":9}"#)
        .with_file("damaged.cornerbook", r#"{"format":"cornerbook.book","version":1,"logs":[}"#)
        .with_file("run.csv", stadium_csv(false))
        .with_file("latin1.toml", b"time = \"Zeit \xe4\"");
    let error = |args: &[&str]| program.run(args).is_refused(1).to_owned();
    assert_eq!(
        error(&["passes", "none.csv"]),
        "error: none.csv: cannot be read (No such file or directory (os error 2)); check the name and the permissions"
    );
    assert_eq!(error(&["passes", "."]), "error: .: is a folder; name a file");
    assert!(error(&["passes", "empty.csv"]).starts_with("error: empty.csv: "));
    assert_eq!(
        error(&["passes", "newer.cornerbook"]),
        "error: newer.cornerbook: is a book of version 9, this program reads up to 3; use a newer cornerbook for it"
    );
    assert_eq!(
        error(&["passes", "damaged.cornerbook"]),
        "error: damaged.cornerbook, line 1, column 49: is damaged (expected value); mend it there or make the book anew"
    );
    assert_eq!(
        error(&["passes", "run.csv", "--columns", "latin1.toml"]),
        "error: latin1.toml, byte 13: is no UTF-8 text; a column map is TOML"
    );
    assert_eq!(
        error(&["passes", "run.csv", "--track", "run.csv"]),
        "error: run.csv, line 1, column 2: is no JSON (expected ident); a track file is GeoJSON (RFC 7946)"
    );
}

/// A kart that stands, two fixes, a straight drive: nothing to show, which is said, and no harm done.
#[test]
fn a_log_without_laps_is_a_warning() {
    let mut standing = String::from("time,latitude,longitude\n");
    let mut straight = standing.clone();
    for row in 0..300 {
        standing.push_str(&format!("{}.0,47.0,8.0\n", row));
        straight.push_str(&format!("{}.0,47.{:05},8.0\n", row, row * 10));
    }
    let program = Program::new()
        .with_file("standing.csv", standing)
        .with_file("straight.csv", straight)
        .with_file("two.csv", "time,latitude,longitude\n0,47,8\n1,47.0001,8\n");
    for name in ["standing.csv", "straight.csv", "two.csv"] {
        let outcome = program.run(["passes", name]);
        assert_eq!((outcome.code, outcome.out.as_str()), (0, "no laps\n"), "{name}: {outcome:?}");
        assert!(outcome.err.contains("warning: "), "{name}: {outcome:?}");
    }
}

#[cfg(not(feature = "media"))]
#[test]
fn commands_that_need_footage_say_so() {
    let program = Program::new();
    for args in [&["align", "x.csv"][..], &["clip", "--lap", "3"], &["demo"], &["demo", "--help"]] {
        assert_eq!(
            program.run(args).is_refused(2),
            "error: this build works without footage and has no such command; build it with the feature media"
        );
    }
}
