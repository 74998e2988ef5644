//! A season as the program writes it, for DuckDB to ask: two of the sample's drivers, one day, one circuit.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use cornerbook::files::Overwrite;
use cornerbook::job::Context;
use cornerbook::sample::{SampleOptions, write_sample};

/// Writes `target/cross/season/`, divided by circuit and year, and beside it the same passes as CSV and JSON.
#[test]
fn season() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/cross");
    let season = folder.join("season");
    if season.exists() {
        fs::remove_dir_all(&season).unwrap();
    }
    fs::create_dir_all(&season).unwrap();
    let options = SampleOptions { laps: 4, footage: None, overwrite: Overwrite::Replace, ..SampleOptions::default() };
    let written = write_sample(&folder.join("season-sample"), &options, &Context::new()).unwrap();
    for log in &written.logs[..2] {
        let passes = |args: &[&str]| passes(log, &written.track, args);
        let where_to = passes(&["--format", "parquet", "--out", season.to_str().unwrap(), "--circuit", "Salt Pan"]);
        let csv = PathBuf::from(where_to.trim_end()).with_extension("csv");
        fs::write(csv, passes(&["--format", "csv"])).unwrap();
    }
}

fn passes(log: &Path, track: &Path, args: &[&str]) -> String {
    let mut command = Command::new(env!("CARGO_BIN_EXE_cornerbook"));
    let output = command.arg("passes").arg(log).arg("--track").arg(track).args(args).output().unwrap();
    assert!(output.status.success(), "{output:?}");
    String::from_utf8(output.stdout).unwrap()
}
