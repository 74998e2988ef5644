//! `align` as JSON, CSV and text.

use serde::Serialize;

use crate::clock::{FootageClock, Method};
use crate::present::{self, Align, Table, UNKNOWN};
use crate::report::round;

/// One footage file with its clock.
#[derive(Debug, Clone)]
pub struct FootageEntry {
    /// As the user named it.
    pub file: String,
    pub duration_s: Option<f64>,
    pub frames: Option<u64>,
    pub clock: FootageClock,
}

/// The whole alignment: the log's file and its footage in order.
#[derive(Debug, Clone)]
pub struct Alignment {
    pub log: String,
    pub footage: Vec<FootageEntry>,
    /// What each pin is off by, s; empty where no pins were used.
    pub residuals_s: Vec<f64>,
}

#[derive(Serialize)]
struct AlignmentJson<'a> {
    format: &'static str,
    version: u32,
    log: &'a str,
    footage: Vec<FootageJson<'a>>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    residuals_s: Vec<Option<f64>>,
}

#[derive(Serialize)]
struct FootageJson<'a> {
    file: &'a str,
    duration_s: Option<f64>,
    frames: Option<u64>,
    log_t_s_at_zero: Option<f64>,
    ci95_s: Option<f64>,
    rate_ppm: Option<f64>,
    method: &'static str,
    confidence: Option<f64>,
    next_best_ratio: Option<f64>,
    warnings: Vec<String>,
}

/// Field for field as in docs/formats.md; indented, with a line end.
pub fn alignment_json(alignment: &Alignment) -> String {
    let json = AlignmentJson {
        format: "cornerbook.alignment",
        version: 1,
        log: &alignment.log,
        footage: alignment.footage.iter().map(FootageJson::of).collect(),
        residuals_s: alignment.residuals_s.iter().map(|it| round::seconds(*it)).collect(),
    };
    let mut text = serde_json::to_string_pretty(&json).expect("numbers, strings and lists have JSON forms");
    text.push('\n');
    text
}

/// One row a file, the names of the JSON fields; warnings are joined by semicolons.
pub fn alignment_csv(alignment: &Alignment) -> String {
    let mut table = csv::Writer::from_writer(Vec::new());
    let number = |it: Option<f64>| it.map(|it| it.to_string()).unwrap_or_default();
    let rows = alignment.footage.iter().map(|entry| {
        let json = FootageJson::of(entry);
        [
            json.file.to_owned(),
            number(json.duration_s),
            json.frames.map(|it| it.to_string()).unwrap_or_default(),
            number(json.log_t_s_at_zero),
            number(json.ci95_s),
            number(json.rate_ppm),
            json.method.to_owned(),
            number(json.confidence),
            number(json.next_best_ratio),
            json.warnings.join("; "),
        ]
    });
    let header = [
        "file",
        "duration_s",
        "frames",
        "log_t_s_at_zero",
        "ci95_s",
        "rate_ppm",
        "method",
        "confidence",
        "next_best_ratio",
        "warnings",
    ];
    for row in std::iter::once(header.map(str::to_owned)).chain(rows) {
        table.write_record(row).expect("memory takes every row, and all rows are as long as the header");
    }
    let bytes = table.into_inner().expect("memory takes every byte");
    String::from_utf8(bytes).expect("all cells are text")
}

/// One line a file.
pub fn alignment_text(alignment: &Alignment) -> String {
    let mut table = Table::new(&[
        ("footage", Align::Left),
        ("length", Align::Right),
        ("starts at log time", Align::Point),
        ("", Align::Left),
        ("rate", Align::Right),
        ("by", Align::Left),
        ("confidence", Align::Right),
    ]);
    let unknown = || UNKNOWN.to_owned();
    for entry in &alignment.footage {
        let clock = &entry.clock;
        let ci95_s = clock.ci95_s.unwrap_or(f64::NAN);
        table.push(vec![
            present::one_line(&entry.file),
            entry.duration_s.map_or_else(unknown, present::duration),
            clock.map.map_or_else(unknown, |it| {
                format!("{} s", present::fixed(it.log_t_s_at_zero, present::decimals(ci95_s)))
            }),
            clock.ci95_s.map_or_else(String::new, |it| format!("±{} s", present::fixed(it, present::decimals(it)))),
            clock.map.map_or_else(unknown, |it| format!("{} ppm", present::fixed(it.rate_ppm, 0))),
            method_word(clock.method).to_owned(),
            present::fixed(clock.confidence, 2),
        ]);
    }
    let mut text = table.to_text();
    // A single pin fits by itself.
    let told = if alignment.residuals_s.len() > 1 { alignment.residuals_s.as_slice() } else { &[] };
    for (index, residual_s) in told.iter().enumerate() {
        text.push_str(&format!("pin {}: off by {} s\n", index + 1, present::fixed(*residual_s, 3)));
    }
    text
}

impl<'a> FootageJson<'a> {
    fn of(entry: &'a FootageEntry) -> Self {
        let clock = &entry.clock;
        Self {
            file: &entry.file,
            duration_s: entry.duration_s.and_then(round::seconds),
            frames: entry.frames,
            log_t_s_at_zero: clock.map.and_then(|it| round::seconds(it.log_t_s_at_zero)),
            ci95_s: clock.ci95_s.and_then(round::seconds),
            rate_ppm: clock.map.and_then(|it| round::thousandth(it.rate_ppm)),
            method: method_word(clock.method),
            confidence: round::thousandth(clock.confidence),
            next_best_ratio: clock.next_best_ratio.and_then(round::thousandth),
            warnings: clock.notes.iter().map(present::note).collect(),
        }
    }
}

fn method_word(method: Method) -> &'static str {
    match method {
        Method::Motion => "motion",
        Method::Clock => "clock",
        Method::Manual => "manual",
        Method::None => "none",
    }
}
