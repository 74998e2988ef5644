//! The main job on one hour at 25 Hz, and on four: the time from the log's bytes to the passes as JSON.
//! The reference in the same run is the bare `csv` crate parsing the same cells to `f64`.

use std::sync::Arc;
use std::time::{Duration, Instant};

use cornerbook::analysis::{self, Inputs};
use cornerbook::job;
use cornerbook::log;
use cornerbook::report::{PassesView, passes_json};
use cornerbook::sample::{Circuit, CsvStyle, Driver, LoggerNoise, csv_log, log_samples, simulate};
use cornerbook::track::file;

/// Laps of the sample's main circuit in an hour.
const LAPS_AN_HOUR: u32 = 86;
const ROUNDS: usize = 3;

#[allow(clippy::disallowed_methods, reason = "a bench is a clock")]
fn quickest(mut work: impl FnMut()) -> Duration {
    (0..ROUNDS)
        .map(|_| {
            let begin = Instant::now();
            work();
            begin.elapsed()
        })
        .min()
        .unwrap_or_default()
}

/// A log of some hours as CSV, and the track file.
fn written(hours: u32, with_yaw: bool) -> (Vec<u8>, Vec<u8>) {
    let circuit = Circuit::saltpan();
    let scenario = simulate(&circuit, &Driver::a(), LAPS_AN_HOUR * hours, 1);
    let noise = LoggerNoise { fix_rate_hz: 25.0, yaw_rate_hz: 25.0, with_yaw, ..LoggerNoise::default() };
    let samples = log_samples(&scenario, &noise, 1);
    (csv_log(&samples, CsvStyle::default()).into_bytes(), circuit.geojson().into_bytes())
}

fn main_job(csv: &[u8], track: &[u8]) -> usize {
    let samples = Arc::new(log::read("hour.csv", csv, None).expect("the sample's own log is readable"));
    let track = file::parse("track.geojson", track).expect("the sample's own track is readable").0;
    let inputs = Inputs { samples: samples.clone(), track: Some(track), marked_crossing_s: None, edits: Vec::new() };
    let analysis = analysis::run(&inputs, &job::Context::new()).expect("nobody cancels");
    passes_json(&PassesView { samples: &samples, analysis: &analysis, laps: &[], corners: &[] }).len()
}

/// What the bare crate takes to turn every cell that is a number into one.
fn bare(csv: &[u8]) -> f64 {
    let mut reader = csv::ReaderBuilder::new().flexible(true).from_reader(csv);
    let mut record = csv::ByteRecord::new();
    let mut sum = 0.0;
    while reader.read_byte_record(&mut record).unwrap_or(false) {
        for cell in &record {
            sum += std::str::from_utf8(cell).ok().and_then(|it| it.parse::<f64>().ok()).unwrap_or(0.0);
        }
    }
    sum
}

/// Most memory this process has held, MiB.
#[allow(clippy::disallowed_methods, reason = "the kernel's own figures, not a user's file")]
fn peak_mib() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|it| it.starts_with("VmHWM:")).unwrap_or_default();
    line.split_whitespace().nth(1).and_then(|it| it.parse::<f64>().ok()).unwrap_or(0.0) / 1024.0
}

#[allow(clippy::print_stdout, reason = "a bench says what it measured")]
fn main() {
    for (name, with_yaw) in [("with yaw rate", true), ("without", false)] {
        let (hour, track) = written(1, with_yaw);
        let job_s = quickest(|| assert!(main_job(&hour, &track) > 1000)).as_secs_f64();
        let bare_s = quickest(|| assert!(bare(&hour).is_finite())).as_secs_f64();
        let (four, track) = written(4, with_yaw);
        let four_s = quickest(|| assert!(main_job(&four, &track) > 1000)).as_secs_f64();
        println!(
            "passes, one hour at 25 Hz {name}: {job_s:.3} s (bare csv {bare_s:.3} s, ratio {:.1}); four hours {:.2} times as long",
            job_s / bare_s,
            four_s / job_s
        );
    }
    println!("passes, most memory of the bench itself, four hours and the simulation included: {:.0} MiB", peak_mib());
}
