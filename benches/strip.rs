//! What the review window asks of the main thread on a session of one hour at 25 Hz: the plain data of each widget.

use std::sync::Arc;
use std::time::{Duration, Instant};

use cornerbook::analysis::{self, Analysis, Inputs};
use cornerbook::job;
use cornerbook::sample::{Circuit, Driver, LoggerNoise, log_samples, simulate};
use cornerbook::strip::{CornerPlot, LapStrip, MapPicture, OtherLap, PassRows, StripTag};
use cornerbook::track::file;
use cornerbook::units::SpeedUnit;

/// Laps of the sample's main circuit in an hour.
const LAPS_AN_HOUR: u32 = 86;
const ROUNDS: usize = 20;

#[allow(clippy::disallowed_methods, reason = "a bench is a clock")]
fn slowest(mut work: impl FnMut()) -> Duration {
    (0..ROUNDS)
        .map(|_| {
            let begin = Instant::now();
            work();
            begin.elapsed()
        })
        .max()
        .unwrap_or_default()
}

fn hour(circuit: &Circuit) -> Analysis {
    let scenario = simulate(circuit, &Driver::a(), LAPS_AN_HOUR, 1);
    let noise = LoggerNoise { fix_rate_hz: 25.0, yaw_rate_hz: 25.0, ..LoggerNoise::default() };
    let samples = Arc::new(log_samples(&scenario, &noise, 1));
    let inputs = Inputs { samples, track: None, marked_crossing_s: None, edits: Vec::new() };
    analysis::run(&inputs, &job::Context::new()).expect("nobody cancels")
}

#[allow(clippy::print_stdout, reason = "a bench says what it measured")]
fn main() {
    let circuit = Circuit::saltpan();
    let analysis = hour(&circuit);
    let track =
        file::parse("track.geojson", circuit.geojson().as_bytes()).expect("the sample's own track is readable").0;
    let tags: Vec<StripTag> =
        (0..40).map(|it| StripTag { id: it, t_s: 90.0 * it as f64, name: "tag".to_owned(), colour: 0 }).collect();
    let unit = SpeedUnit::default();
    let without_laps = Analysis { laps: Vec::new(), ..analysis.clone() };
    let tell = |what: &str, took: Duration| println!("{what}: {:.2} ms at the slowest", took.as_secs_f64() * 1e3);
    tell("lap strip of lap 80", slowest(|| assert!(!LapStrip::of(&analysis, 80, &tags).marks.is_empty())));
    tell("lap strip of the whole log", slowest(|| assert!(LapStrip::of(&without_laps, 1, &tags).lap.is_none())));
    tell(
        "map of two laps",
        slowest(|| assert!(MapPicture::of(&analysis, Some(&track), 80, Some(OtherLap::Here(40))).this.is_some())),
    );
    tell("table of one corner's passes", slowest(|| assert!(PassRows::of(&analysis, 3, unit).rows.len() > 80)));
    tell("plot of four passes", slowest(|| assert!(CornerPlot::of(&analysis, 3, &[80, 40, 20, 10]).lines.len() == 4)));
}
