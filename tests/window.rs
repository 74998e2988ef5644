//! The window as it runs: the program on a display of its own, used by keys and pointer, read over AT-SPI by Python.
//! What a person does and what must come of it is in `window/checks.py`. Without its tools each check is a loud skip, with
//! CI=true a failure. Screenshots are kept under target/window/.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::{Mutex, PoisonError};

/// The one that has the bindings of Debian's packages; a Python from elsewhere has not.
const PYTHON: &str = "/usr/bin/python3";
const TOOLS: [&str; 5] = ["Xvfb", "dbus-run-session", "xdotool", "import", "ffmpeg"];
/// The checks wait for the window with time limits, so they do not take each other's processor time.
static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());

#[test]
fn the_start_page_names_what_can_be_done() {
    check("start_page");
}

#[test]
fn keys_move_the_playhead_to_places_that_the_command_line_knows() {
    check("moving");
}

#[test]
fn the_frame_on_show_is_the_one_asked_for() {
    check("frames");
}

#[test]
fn a_mark_set_by_hand_changes_the_figures_and_undo_brings_them_back() {
    check("marks");
}

#[test]
fn the_picture_goes_along_with_a_mark_that_is_dragged() {
    check("mark_drag");
}

#[test]
fn tags_are_saved_at_once_even_when_the_program_is_told_to_end() {
    check("tags");
}

#[test]
fn a_note_is_written_in_a_window_of_its_own() {
    check("notes");
}

#[test]
fn a_second_window_on_the_same_book_says_so() {
    check("second_window");
}

#[test]
fn a_book_that_cannot_be_opened_is_one_sentence_on_the_start_page() {
    check("bad_books");
}

#[test]
fn settings_are_seen_at_once() {
    check("settings");
}

#[test]
fn the_tag_set_is_reached_by_keys_and_changes_the_book() {
    check("tag_set");
}

#[test]
fn trackside_footage_is_pinned_and_shows_the_moment_of_the_onboard_picture() {
    check("trackside");
}

#[test]
fn trackside_footage_without_a_pin_is_tagged_and_drawn_on_by_itself() {
    check("trackside_alone");
}

#[test]
fn trackside_footage_that_has_moved_is_found_again() {
    check("missing_trackside");
}

#[test]
fn files_are_dropped_on_the_window() {
    check("drops");
}

#[test]
fn a_lap_of_another_book_is_laid_beside_this_one() {
    check("another_book");
}

#[test]
fn onboard_footage_that_has_moved_is_asked_for() {
    check("missing_onboard");
}

#[test]
fn keys_are_heard_again_after_a_menu() {
    check("keys_after_menus");
}

#[test]
fn changes_that_cannot_be_saved_are_never_lost_in_silence() {
    check("unsaved");
}

#[test]
fn a_finding_is_looked_at_taken_and_declined() {
    check("findings");
}

#[test]
fn footage_is_pinned_moved_against_the_log_and_found_by_motion() {
    check("clock");
}

#[test]
fn footage_that_nothing_puts_on_the_log_is_pinned() {
    check("unclocked");
}

#[test]
fn footage_alone_is_reviewed_and_its_laps_begin_where_a_person_says() {
    check("footage_alone");
}

#[test]
fn a_reel_is_put_together_previewed_and_written() {
    check("reel");
}

#[test]
fn a_report_is_written_from_the_menu() {
    check("report");
}

#[test]
fn a_report_that_is_stopped_leaves_nothing() {
    check("report_stopped");
}

/// Runs a check of `window/checks.py` in a folder and a session bus of its own.
fn check(name: &str) {
    if let Some(missing) = missing_tool() {
        assert!(std::env::var("CI").as_deref() != Ok("true"), "no {missing}: make test installs what the tests need");
        println!("SKIPPED: the window is not tested: no {missing}");
        return;
    }
    let _turn = ONE_AT_A_TIME.lock().unwrap_or_else(PoisonError::into_inner);
    let folder = tempfile::tempdir().unwrap();
    put_in_books(folder.path());
    if name == "another_book" {
        fs::copy(home().join("sample-data/driver-b.csv"), folder.path().join("driver-b.csv")).unwrap();
        let inputs = ["--log", "driver-b.csv", "--track", "track.geojson", "--driver", "Driver B"];
        cornerbook(folder.path(), &[["new", "other"].as_slice(), &inputs].concat());
    }
    if name.contains("trackside") || name == "drops" {
        film_from_the_kerb(folder.path());
    }
    if ["missing_trackside", "trackside_alone"].contains(&name) {
        make_book(folder.path(), &["--trackside", "kerb.mp4", "--force"]);
    }
    if name == "unclocked" {
        let film = ["-f", "lavfi", "-i", "testsrc2=s=320x180:r=25:d=12", "-c:v", "libx264", "-map_metadata", "-1"];
        let made = Command::new("ffmpeg").args(film).arg(folder.path().join("turns.mp4")).output().unwrap();
        assert!(made.status.success(), "{made:?}");
        let inputs = ["--log", "driver-a.csv", "--track", "track.geojson", "--video", "turns.mp4"];
        cornerbook(folder.path(), &[["new", "unclocked"].as_slice(), &inputs].concat());
    }
    if name == "footage_alone" {
        cornerbook(folder.path(), &["new", "alone", "--video", "driver-a.mp4"]);
    }
    let pictures = home().join("target/window").join(name);
    fs::create_dir_all(&pictures).unwrap();
    let output = Command::new("dbus-run-session")
        .args(["--", PYTHON, "-W", "ignore::DeprecationWarning"])
        .arg(home().join("tests/window/checks.py"))
        .args([name, env!("CARGO_BIN_EXE_cornerbook")])
        .args([folder.path(), &pictures])
        .env_remove("WAYLAND_DISPLAY")
        .env("GDK_BACKEND", "x11")
        .env("GSK_RENDERER", "cairo")
        .env("GTK_A11Y", "atspi")
        .env("PYTHONDONTWRITEBYTECODE", "1")
        .env("XDG_CONFIG_HOME", folder.path().join("config"))
        .env("XDG_DATA_HOME", folder.path().join("data"))
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{name}: see {} and\n{told}", pictures.display());
    print!("{}", String::from_utf8_lossy(&output.stdout));
}

fn missing_tool() -> Option<String> {
    let runs = |program: &str, args: &[&str]| {
        let run = Command::new(program).args(args).stdin(Stdio::null()).output();
        run.is_ok_and(|it| it.status.success())
    };
    let absent = TOOLS.iter().find(|it| !runs("sh", &["-c", &format!("command -v {it}")])).map(|it| (*it).to_owned());
    let has_bindings = || runs(PYTHON, &["-c", "import gi; gi.require_version('Atspi', '2.0')"]);
    absent.or_else(|| (!has_bindings()).then(|| format!("AT-SPI for {PYTHON}")))
}

/// The sample's book, what the command line says of it, and books that cannot be opened.
fn put_in_books(folder: &Path) {
    for file in ["driver-a.csv", "driver-a.mp4", "track.geojson", "truth.json"] {
        fs::copy(home().join("sample-data").join(file), folder.join(file)).unwrap();
    }
    make_book(folder, &[]);
    let passes = cornerbook(folder, &["passes", "sample.cornerbook", "--format", "json"]);
    fs::write(folder.join("passes.json"), passes).unwrap();

    let book = fs::read_to_string(folder.join("sample.cornerbook")).unwrap();
    let version = format!("\"version\": {}", serde_json::from_str::<serde_json::Value>(&book).unwrap()["version"]);
    let bad = [
        ("newer", book.replace(&version, "\"version\": 99")),
        ("missing", book.replace("driver-a.csv", "gone.csv")),
        ("damaged", book[..book.len() / 2].to_owned()),
    ];
    for (name, text) in bad {
        assert_ne!(text, book);
        fs::write(folder.join(name).with_extension("cornerbook"), text).unwrap();
    }
}

/// Log time of the footage's first moment, s, as JSON has it.
fn footage_begins_s(folder: &Path) -> serde_json::Value {
    let truth: serde_json::Value = serde_json::from_slice(&fs::read(folder.join("truth.json")).unwrap()).unwrap();
    truth["footage"][0]["log_t_s_at_zero"].clone()
}

fn make_book(folder: &Path, more: &[&str]) {
    let offset = footage_begins_s(folder).to_string();
    let inputs = ["--log", "driver-a.csv", "--track", "track.geojson", "--video", "driver-a.mp4"];
    cornerbook(folder, &[["new", "sample"].as_slice(), &inputs, &["--offset", &offset], more].concat());
}

/// Footage of the first pass and the lap after it, whose frames keep the codes of the onboard footage.
fn film_from_the_kerb(folder: &Path) {
    let passes: serde_json::Value = serde_json::from_slice(&fs::read(folder.join("passes.json")).unwrap()).unwrap();
    let begin_s = footage_begins_s(folder).as_f64().unwrap();
    let turn_in_s = |it: &serde_json::Value| it["turn_in"]["t_s"].as_f64();
    let seen = passes["passes"].as_array().unwrap().iter().filter(|it| turn_in_s(it).is_some_and(|at| at >= begin_s));
    let first = seen.min_by(|a, b| turn_in_s(a).unwrap().total_cmp(&turn_in_s(b).unwrap())).unwrap();
    let (lap, corner) = (first["lap"].to_string(), first["corner"].to_string());
    let pass = ["--lap", &lap, "--corner", &corner, "--lead", "1.5", "--tail", "55", "--hold", "0"];
    cornerbook(folder, &[["clip", "sample.cornerbook"].as_slice(), &pass, &["--out", "kerb.mp4"]].concat());
}

/// Runs the command line; its result.
fn cornerbook(folder: &Path, args: &[&str]) -> Vec<u8> {
    let output = Command::new(env!("CARGO_BIN_EXE_cornerbook")).args(args).current_dir(folder).output().unwrap();
    assert!(output.status.success(), "{args:?}: {output:?}");
    output.stdout
}

fn home() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}
