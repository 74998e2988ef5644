//! Reports for a browser and for readers of GPX, GeoJSON, WebVTT and CSV, written to target/cross/: one of the sample
//! session with its footage, one of a book full of hostile text.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use crate::support::hostile::{HOSTILE_NAME, make_hostile};

/// Log time of the footage's first moment (sample-data/README.md): the search for it has tests of its own.
const OFFSET_S: &str = "45.1084";

fn run(args: &[&str], folder: &Path) {
    let output = Command::new(env!("CARGO_BIN_EXE_cornerbook")).args(args).current_dir(folder).output().unwrap();
    assert!(output.status.success(), "{args:?}: {output:?}");
}

/// A book of the sample's first driver, with footage where this build can show it, in a new folder.
fn sample_book(folder: &str, name: &str) -> PathBuf {
    let home = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folder = home.join("target/cross").join(folder);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    let sample = |name: &str| home.join("sample-data").join(name).display().to_string();
    let (log, track, video) = (sample("driver-a.csv"), sample("track.geojson"), sample("driver-a.mp4"));
    let mut args = vec!["new", name, "--log", log.as_str(), "--track", track.as_str()];
    if cfg!(feature = "media") {
        args.extend(["--video", video.as_str()]);
    }
    run(&args, &folder);
    folder
}

fn report(folder: &Path, name: &str) {
    let book = format!("{name}.cornerbook");
    let mut args = vec!["report", book.as_str(), "--out", "out"];
    if cfg!(feature = "media") {
        args.extend(["--offset", OFFSET_S]);
    }
    run(&args, folder);
}

#[test]
fn report_of_the_sample() {
    let folder = sample_book("report", "sample");
    report(&folder, "sample");
}

#[test]
fn report_of_hostile_text() {
    let folder = sample_book("report-hostile", HOSTILE_NAME);
    let path = folder.join(format!("{HOSTILE_NAME}.cornerbook"));
    let mut book: Value = serde_json::from_slice(&std::fs::read(&path).unwrap()).unwrap();
    make_hostile(&mut book);
    std::fs::write(&path, book.to_string()).unwrap();
    report(&folder, HOSTILE_NAME);
}
