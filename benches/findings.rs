//! Findings of one hour at 25 Hz, and the hour held against another: the time from a ready analysis to the JSON.
//! The yardstick in the same run is the analysis itself.

use std::sync::Arc;
use std::time::{Duration, Instant};

use cornerbook::analysis::{self, Analysis, Inputs};
use cornerbook::findings::{self, Beside, Findings, Other};
use cornerbook::job;
use cornerbook::report::{FindingsView, findings_json};
use cornerbook::sample::{Circuit, Driver, LoggerNoise, log_samples, simulate};
use cornerbook::track::file;

/// Laps of the sample's main circuit in an hour.
const LAPS_AN_HOUR: u32 = 86;
const ROUNDS: usize = 3;
/// What findings of an hour may take beyond its analysis, s (docs/methods.md#speed-of-the-program).
const GOAL_S: f64 = 3.0;

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

/// Inputs of an hour: the circuit with its edges, so that nothing is left out.
fn hour(driver: &Driver, seed: u64) -> Inputs {
    let circuit = Circuit::saltpan();
    let scenario = simulate(&circuit, driver, LAPS_AN_HOUR, seed);
    let noise = LoggerNoise { fix_rate_hz: 25.0, yaw_rate_hz: 25.0, ..LoggerNoise::default() };
    let track = file::parse("track.geojson", circuit.geojson().as_bytes()).expect("the sample's own track is readable");
    let samples = Arc::new(log_samples(&scenario, &noise, seed));
    Inputs { samples, track: Some(track.0), marked_crossing_s: None, edits: Vec::new() }
}

fn analysed(inputs: &Inputs) -> Analysis {
    analysis::run(inputs, &job::Context::new()).expect("nobody cancels")
}

fn found(analysis: &Analysis) -> Findings {
    let view = analysis.view().expect("the sample has a circuit");
    findings::find(&view, &[(3, 1)], &[], &job::Context::new()).expect("nobody cancels")
}

fn written(analysis: &Analysis, found: &Findings, beside: Option<&Beside>) -> usize {
    let beside = beside.map(|it| ("other.csv", it));
    findings_json(&FindingsView { file: "hour.csv", analysis, found, grip: None, answers: None, beside }).len()
}

fn beside(analysis: &Analysis, other: &Analysis) -> Beside {
    let (view, other_view) = (analysis.view().expect("a circuit"), other.view().expect("a circuit"));
    let (plane, other_plane) = (analysis.plane.as_ref().expect("a plane"), other.plane.as_ref().expect("a plane"));
    findings::beside(&view, plane, &Other { view: &other_view, plane: other_plane, shift_s: Some(0.0) })
}

#[allow(clippy::print_stdout, reason = "a bench says what it measured")]
fn main() {
    let (inputs, other) = (hour(&Driver::b(), 1), analysed(&hour(&Driver::a(), 2)));
    let analysis = analysed(&inputs);
    let analysis_s = quickest(|| assert!(!analysed(&inputs).laps.is_empty())).as_secs_f64();
    let alone_s = quickest(|| assert!(written(&analysis, &found(&analysis), None) > 1000)).as_secs_f64();
    let found = found(&analysis);
    let both_s = quickest(|| assert!(written(&analysis, &found, Some(&beside(&analysis, &other))) > 1000));
    println!("findings, one hour at 25 Hz, goal {GOAL_S} s: {alone_s:.3} s (the analysis before {analysis_s:.3} s)");
    println!("findings, the hour against another hour on one clock: {:.3} s", both_s.as_secs_f64());
}
