//! The help of every command, as it is; a changed option shows here.

use expect_test::expect_file;

use super::Program;

#[test]
fn help_and_version_are_results() {
    let program = Program::new();
    let version = program.run(["--version"]);
    assert_eq!(version.is_done().out, format!("cornerbook {}\n", env!("CARGO_PKG_VERSION")));
}

#[cfg(feature = "media")]
#[test]
fn every_command_explains_itself() {
    let program = Program::new();
    let help = |args: &[&str]| program.run(args).is_done().out.clone();
    expect_file!["golden/help.txt"].assert_eq(&help(&["--help"]));
    expect_file!["golden/help-new.txt"].assert_eq(&help(&["new", "--help"]));
    expect_file!["golden/help-check.txt"].assert_eq(&help(&["check", "--help"]));
    expect_file!["golden/help-passes.txt"].assert_eq(&help(&["passes", "--help"]));
    expect_file!["golden/help-align.txt"].assert_eq(&help(&["align", "--help"]));
    expect_file!["golden/help-clip.txt"].assert_eq(&help(&["clip", "--help"]));
    expect_file!["golden/help-reel.txt"].assert_eq(&help(&["reel", "--help"]));
    expect_file!["golden/help-stills.txt"].assert_eq(&help(&["stills", "--help"]));
    expect_file!["golden/help-demo.txt"].assert_eq(&help(&["demo", "--help"]));
}

#[cfg(not(feature = "media"))]
#[test]
fn a_build_without_footage_lists_only_what_it_has() {
    let help = Program::new().run(["--help"]);
    expect_file!["golden/help-core.txt"].assert_eq(&help.is_done().out);
}
