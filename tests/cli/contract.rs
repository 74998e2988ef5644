//! A second, strict reader of the program's JSON: own structs, unknown fields refused, so that a renamed or dropped
//! field cannot slip through together with its writer.

#![allow(dead_code, reason = "a field that no test looks at is still read, and strictly")]

use serde::Deserialize;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Passes {
    pub format: String,
    pub version: u32,
    pub log: Log,
    pub reference: Option<Reference>,
    pub laps: Vec<Lap>,
    pub corners: Vec<Corner>,
    pub passes: Vec<Pass>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Log {
    pub file: String,
    pub files: Vec<String>,
    pub samples: usize,
    pub rate_hz: Option<f64>,
    pub start_utc: Option<String>,
    pub duration_s: f64,
    pub warnings: Vec<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reference {
    pub length_m: Option<f64>,
    pub closed: bool,
    pub gate: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lap {
    pub lap: u32,
    pub start_t_s: f64,
    pub start_utc: Option<String>,
    pub end_t_s: f64,
    pub time_s: Option<f64>,
    pub time_s_ci95: Option<f64>,
    pub kind: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Corner {
    pub corner: u32,
    pub name: String,
    pub direction: String,
    pub angle_deg: f64,
    pub min_radius_m: Option<f64>,
    pub entry_gate_m: Option<f64>,
    pub middle_m: Option<f64>,
    pub exit_gate_m: Option<f64>,
    pub latitude: Option<f64>,
    pub longitude: Option<f64>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mark {
    pub t_s: f64,
    pub t_s_ci95: f64,
    pub utc: Option<String>,
    pub latitude: Option<f64>,
    pub longitude: Option<f64>,
    pub distance_m: Option<f64>,
    pub speed_mps: Option<f64>,
    pub speed_mps_ci95: Option<f64>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Apex {
    pub t_s: f64,
    pub t_s_ci95: f64,
    pub utc: Option<String>,
    pub latitude: Option<f64>,
    pub longitude: Option<f64>,
    pub distance_m: Option<f64>,
    pub speed_mps: Option<f64>,
    pub speed_mps_ci95: Option<f64>,
    pub by: String,
    pub gap_m: Option<f64>,
    pub gap_m_ci95: Option<f64>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pass {
    pub lap: u32,
    pub corner: u32,
    pub direction: String,
    pub turn_in: Option<Mark>,
    pub apex: Option<Apex>,
    pub exit: Option<Mark>,
    pub approach_speed_mps: Option<f64>,
    pub approach_speed_mps_ci95: Option<f64>,
    pub entry_speed_mps: Option<f64>,
    pub entry_speed_mps_ci95: Option<f64>,
    pub min_speed_mps: Option<f64>,
    pub min_speed_mps_ci95: Option<f64>,
    pub min_speed_t_s: Option<f64>,
    pub min_speed_t_s_ci95: Option<f64>,
    pub exit_speed_mps: Option<f64>,
    pub exit_speed_mps_ci95: Option<f64>,
    pub entry_gate_speed_mps: Option<f64>,
    pub entry_gate_speed_mps_ci95: Option<f64>,
    pub exit_gate_speed_mps: Option<f64>,
    pub exit_gate_speed_mps_ci95: Option<f64>,
    pub time_s: Option<f64>,
    pub time_s_ci95: Option<f64>,
    pub path_m: Option<f64>,
    pub path_m_ci95: Option<f64>,
    pub exit_cost_s: Option<f64>,
    pub exit_cost_s_ci95: Option<f64>,
    pub edited: Vec<String>,
    pub unclear: Vec<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Alignment {
    pub format: String,
    pub version: u32,
    pub log: String,
    pub footage: Vec<Footage>,
    #[serde(default)]
    pub residuals_s: Vec<f64>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Footage {
    pub file: String,
    pub duration_s: Option<f64>,
    pub frames: Option<u64>,
    pub log_t_s_at_zero: Option<f64>,
    pub ci95_s: Option<f64>,
    pub rate_ppm: Option<f64>,
    pub method: String,
    pub confidence: f64,
    pub next_best_ratio: Option<f64>,
    pub warnings: Vec<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Check {
    pub format: String,
    pub version: u32,
    pub files: Vec<CheckedFile>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CheckedFile {
    pub file: String,
    pub kind: String,
    pub usable: bool,
    pub error: Option<String>,
    pub warnings: Vec<String>,
    pub log: Option<CheckedLog>,
    pub footage: Option<CheckedFootage>,
    pub holds: Option<Vec<String>>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CheckedLog {
    pub rows: usize,
    pub fixes: usize,
    pub rate_hz: Option<f64>,
    pub start_utc: Option<String>,
    pub duration_s: f64,
    pub channels: Vec<CheckedChannel>,
    pub unused: Vec<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CheckedChannel {
    pub name: String,
    pub header: String,
    pub unit: String,
    pub samples: Option<usize>,
    pub rate_hz: Option<f64>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CheckedFootage {
    pub duration_s: Option<f64>,
    pub frames: Option<u64>,
    pub width: Option<u32>,
    pub height: Option<u32>,
    pub rate_hz: Option<f64>,
    pub created_utc: Option<String>,
    pub details: Vec<String>,
}

/// Reads strictly, or fails with the text.
#[track_caller]
pub fn read<T: serde::de::DeserializeOwned>(text: &str) -> T {
    serde_json::from_str(text).unwrap_or_else(|error| panic!("{error}\n{text}"))
}
