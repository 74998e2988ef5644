//! Names that break careless programs.

use super::{Program, stadium_csv, stadium_track};

/// From a log and a track of these names to passes, by way of a book of that name.
#[track_caller]
fn survives(name: &std::ffi::OsStr) {
    let with = |end: &str| {
        let mut longer = name.to_owned();
        longer.push(end);
        longer
    };
    let program =
        Program::new().with_file(with(".csv"), stadium_csv(true)).with_file(with(".geojson"), stadium_track());
    let here = |end: &str| std::path::Path::new(".").join(with(end));
    let args = ["new".into(), here(""), "--log".into(), here(".csv"), "--track".into(), here(".geojson")];
    let made = program.run(args);
    assert_eq!(made.is_done().out.lines().count(), 1, "the path made is one line: {made:?}");
    assert!(program.path(with(".cornerbook")).is_file());
    let outcome = program.run(["passes".into(), here(".cornerbook")]);
    assert!(outcome.is_done().out.contains("Passes"), "{outcome:?}");
    assert!(outcome.err.lines().all(|it| it.starts_with("warning: ")), "{outcome:?}");

    let lost = program.run(["passes".into(), here(" none.csv")]);
    lost.is_refused(1);
    assert!(!lost.err.contains('\u{1b}') && lost.err.lines().count() == 1, "{lost:?}");
}

#[test]
fn hostile_names_survive() {
    for name in ["a b", "it's \"quoted\"", "new\nline", "\u{1b}[2Jescape", "-dash", "a;b,c", "50%{x}$HOME", "übung ⟲"]
    {
        survives(name.as_ref());
    }
}

#[test]
#[cfg(unix)]
fn a_name_that_is_no_utf8_survives() {
    use std::os::unix::ffi::OsStrExt;
    survives(std::ffi::OsStr::from_bytes(b"ru\xffn \xfe"));
}

#[test]
fn a_leading_dash_after_two_dashes_is_a_name() {
    let program = Program::new().with_file("-run.csv", stadium_csv(true));
    program.run(["passes", "--format", "csv", "--", "-run.csv"]).is_done();
    program.run(["check", "--", "-run.csv"]).is_done();
    program.run(["new", "--log=-run.csv", "--", "-stint"]).is_done();
    assert_eq!(program.files(), ["-run.csv", "-stint.cornerbook"]);
}
