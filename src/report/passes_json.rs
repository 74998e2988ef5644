//! `passes --format json`, field for field as in docs/formats.md.

use serde::Serialize;

use crate::corners::{Apex, Corner, Mark, Pass};
use crate::present;
use crate::report::{PassesView, mark_name, round, unclear_code};
use crate::session::Samples;
use crate::track::Lap;

/// The whole report as indented JSON with a line end. SI units, degrees for angles, null for what cannot be told.
pub fn passes_json(view: &PassesView<'_>) -> String {
    let mut text =
        serde_json::to_string_pretty(&PassesJson::of(view)).expect("numbers, strings and lists have JSON forms");
    text.push('\n');
    text
}

#[derive(Serialize)]
struct PassesJson {
    format: &'static str,
    version: u32,
    log: LogJson,
    reference: Option<ReferenceJson>,
    laps: Vec<LapJson>,
    corners: Vec<CornerJson>,
    passes: Vec<PassJson>,
}

#[derive(Serialize)]
struct LogJson {
    file: String,
    /// All files of the log, in order.
    files: Vec<String>,
    samples: usize,
    rate_hz: Option<f64>,
    start_utc: Option<String>,
    duration_s: Option<f64>,
    warnings: Vec<String>,
}

#[derive(Serialize)]
struct ReferenceJson {
    length_m: Option<f64>,
    closed: bool,
    gate: &'static str,
}

#[derive(Serialize)]
struct LapJson {
    lap: u32,
    start_t_s: Option<f64>,
    start_utc: Option<String>,
    end_t_s: Option<f64>,
    time_s: Option<f64>,
    time_s_ci95: Option<f64>,
    kind: &'static str,
}

#[derive(Serialize)]
struct CornerJson {
    corner: u32,
    name: String,
    direction: &'static str,
    angle_deg: Option<f64>,
    min_radius_m: Option<f64>,
    entry_gate_m: Option<f64>,
    middle_m: Option<f64>,
    exit_gate_m: Option<f64>,
    latitude: Option<f64>,
    longitude: Option<f64>,
}

#[derive(Serialize)]
struct MarkJson {
    t_s: Option<f64>,
    t_s_ci95: Option<f64>,
    utc: Option<String>,
    latitude: Option<f64>,
    longitude: Option<f64>,
    distance_m: Option<f64>,
    speed_mps: Option<f64>,
    speed_mps_ci95: Option<f64>,
}

#[derive(Serialize)]
struct ApexJson {
    #[serde(flatten)]
    mark: MarkJson,
    by: &'static str,
    gap_m: Option<f64>,
    gap_m_ci95: Option<f64>,
}

#[derive(Serialize)]
struct PassJson {
    lap: u32,
    corner: u32,
    direction: &'static str,
    turn_in: Option<MarkJson>,
    apex: Option<ApexJson>,
    exit: Option<MarkJson>,
    approach_speed_mps: Option<f64>,
    approach_speed_mps_ci95: Option<f64>,
    entry_speed_mps: Option<f64>,
    entry_speed_mps_ci95: Option<f64>,
    min_speed_mps: Option<f64>,
    min_speed_mps_ci95: Option<f64>,
    min_speed_t_s: Option<f64>,
    min_speed_t_s_ci95: Option<f64>,
    exit_speed_mps: Option<f64>,
    exit_speed_mps_ci95: Option<f64>,
    entry_gate_speed_mps: Option<f64>,
    entry_gate_speed_mps_ci95: Option<f64>,
    exit_gate_speed_mps: Option<f64>,
    exit_gate_speed_mps_ci95: Option<f64>,
    time_s: Option<f64>,
    time_s_ci95: Option<f64>,
    path_m: Option<f64>,
    path_m_ci95: Option<f64>,
    exit_cost_s: Option<f64>,
    exit_cost_s_ci95: Option<f64>,
    edited: Vec<&'static str>,
    unclear: Vec<&'static str>,
}

impl PassesJson {
    fn of(view: &PassesView<'_>) -> Self {
        let samples = view.samples;
        Self {
            format: "cornerbook.passes",
            version: 1,
            log: LogJson::of(view),
            reference: view.analysis.gate.map(|gate| ReferenceJson {
                length_m: view.analysis.reference.as_ref().and_then(|it| round::metres(it.length_m)),
                closed: true,
                gate: present::gate_origin(gate),
            }),
            laps: view.laps().map(|it| LapJson::of(it, samples)).collect(),
            corners: view.corners().map(CornerJson::of).collect(),
            passes: view.passes().map(|it| PassJson::of(it, samples)).collect(),
        }
    }
}

impl LogJson {
    fn of(view: &PassesView<'_>) -> Self {
        let samples = view.samples;
        Self {
            file: view.file(),
            files: samples.sources().iter().map(|it| it.file.clone()).collect(),
            samples: view.sample_count(),
            rate_hz: samples.rate_hz().and_then(round::thousandth),
            start_utc: samples.start_utc().map(present::utc),
            duration_s: round::seconds(samples.duration_s()),
            warnings: view.analysis.notes.iter().map(present::note).collect(),
        }
    }
}

impl LapJson {
    fn of(lap: &Lap, samples: &Samples) -> Self {
        let (time_s, time_s_ci95) = round::pair(lap.time_s, round::seconds);
        Self {
            lap: lap.number,
            start_t_s: round::seconds(lap.start_t_s),
            start_utc: samples.utc_at(lap.start_t_s).map(present::utc),
            end_t_s: round::seconds(lap.end_t_s),
            time_s,
            time_s_ci95,
            kind: present::lap_kind(lap.kind),
        }
    }
}

impl CornerJson {
    fn of(corner: &Corner) -> Self {
        Self {
            corner: corner.number,
            name: corner.name.clone(),
            direction: present::direction(corner.direction),
            angle_deg: round::angle_deg(corner.angle_deg),
            min_radius_m: corner.min_radius_m.and_then(round::metres),
            entry_gate_m: corner.entry_gate_m.and_then(round::metres),
            middle_m: corner.middle_m.and_then(round::metres),
            exit_gate_m: corner.exit_gate_m.and_then(round::metres),
            latitude: corner.latitude_deg.and_then(round::position_deg),
            longitude: corner.longitude_deg.and_then(round::position_deg),
        }
    }
}

impl MarkJson {
    fn of(mark: &Mark, samples: &Samples) -> Self {
        let (t_s, t_s_ci95) = round::pair(Some(mark.t_s), round::seconds);
        let (speed_mps, speed_mps_ci95) = round::pair(mark.speed_mps, round::speed);
        Self {
            t_s,
            t_s_ci95,
            utc: samples.utc_at(mark.t_s.value).map(present::utc),
            latitude: mark.latitude_deg.and_then(round::position_deg),
            longitude: mark.longitude_deg.and_then(round::position_deg),
            distance_m: mark.distance_m.and_then(round::metres),
            speed_mps,
            speed_mps_ci95,
        }
    }
}

impl ApexJson {
    fn of(apex: &Apex, samples: &Samples) -> Self {
        let (gap_m, gap_m_ci95) = round::pair(apex.gap_m, round::metres);
        Self { mark: MarkJson::of(&apex.mark, samples), by: present::apex_by(apex.by), gap_m, gap_m_ci95 }
    }
}

impl PassJson {
    fn of(pass: &Pass, samples: &Samples) -> Self {
        let (approach_speed_mps, approach_speed_mps_ci95) = round::pair(pass.approach_speed_mps, round::speed);
        let (entry_speed_mps, entry_speed_mps_ci95) = round::pair(pass.entry_speed_mps, round::speed);
        let (min_speed_mps, min_speed_mps_ci95) = round::pair(pass.min_speed_mps, round::speed);
        let (min_speed_t_s, min_speed_t_s_ci95) = round::pair(pass.min_speed_t_s, round::seconds);
        let (exit_speed_mps, exit_speed_mps_ci95) = round::pair(pass.exit_speed_mps, round::speed);
        let (entry_gate_speed_mps, entry_gate_speed_mps_ci95) = round::pair(pass.entry_gate_speed_mps, round::speed);
        let (exit_gate_speed_mps, exit_gate_speed_mps_ci95) = round::pair(pass.exit_gate_speed_mps, round::speed);
        let (time_s, time_s_ci95) = round::pair(pass.time_s, round::seconds);
        let (path_m, path_m_ci95) = round::pair(pass.path_m, round::metres);
        let (exit_cost_s, exit_cost_s_ci95) = round::pair(pass.exit_cost_s, round::seconds);
        Self {
            lap: pass.lap,
            corner: pass.corner,
            direction: present::direction(pass.direction),
            turn_in: pass.turn_in.as_ref().map(|it| MarkJson::of(it, samples)),
            apex: pass.apex.as_ref().map(|it| ApexJson::of(it, samples)),
            exit: pass.exit.as_ref().map(|it| MarkJson::of(it, samples)),
            approach_speed_mps,
            approach_speed_mps_ci95,
            entry_speed_mps,
            entry_speed_mps_ci95,
            min_speed_mps,
            min_speed_mps_ci95,
            min_speed_t_s,
            min_speed_t_s_ci95,
            exit_speed_mps,
            exit_speed_mps_ci95,
            entry_gate_speed_mps,
            entry_gate_speed_mps_ci95,
            exit_gate_speed_mps,
            exit_gate_speed_mps_ci95,
            time_s,
            time_s_ci95,
            path_m,
            path_m_ci95,
            exit_cost_s,
            exit_cost_s_ci95,
            edited: pass.edited.iter().map(|it| mark_name(*it)).collect(),
            unclear: pass.unclear.iter().map(|it| unclear_code(*it)).collect(),
        }
    }
}
