//! `check` as JSON, CSV and text: what each file holds and what is wrong with it.

use serde::Serialize;

use crate::present::{self, Align, Table};
use crate::report::round;
use crate::session::{ChannelKind, Samples};

/// One file that was looked at.
#[derive(Debug, Clone)]
pub struct Checked {
    /// As the user named it.
    pub file: String,
    pub content: Content,
    /// In words.
    pub warnings: Vec<String>,
}

/// What a file turned out to be.
#[derive(Debug, Clone)]
pub enum Content {
    Log(LogFound),
    /// One line each: what it holds.
    Track(Vec<String>),
    Book(Vec<String>),
    Footage(FootageFound),
    /// It cannot be used; the sentence says why.
    Unusable(String),
}

/// What a log holds.
#[derive(Debug, Clone)]
pub struct LogFound {
    /// "CSV log" and so on.
    pub kind: &'static str,
    pub rows: usize,
    pub fixes: usize,
    pub rate_hz: Option<f64>,
    pub start_utc: Option<String>,
    pub duration_s: f64,
    pub channels: Vec<ChannelFound>,
    pub unused: Vec<String>,
}

/// One channel and where it came from.
#[derive(Debug, Clone, Serialize)]
pub struct ChannelFound {
    pub name: String,
    pub header: String,
    pub unit: String,
    pub samples: Option<usize>,
    pub rate_hz: Option<f64>,
}

/// What a footage file holds.
#[derive(Debug, Clone, Serialize)]
pub struct FootageFound {
    pub duration_s: Option<f64>,
    pub frames: Option<u64>,
    pub width: Option<u32>,
    pub height: Option<u32>,
    pub rate_hz: Option<f64>,
    pub created_utc: Option<String>,
    /// Codecs, rotation and so on, one line each.
    pub details: Vec<String>,
}

impl FootageFound {
    fn rounded(&self) -> Self {
        Self {
            duration_s: self.duration_s.and_then(round::seconds),
            rate_hz: self.rate_hz.and_then(round::thousandth),
            ..self.clone()
        }
    }
}

impl LogFound {
    /// Of a log that was read from one file.
    pub fn of(samples: &Samples) -> Self {
        let source = samples.sources().first();
        Self {
            kind: source.map_or("log", |it| present::log_kind(it.kind)),
            rows: samples.sources().iter().map(|it| it.rows).sum(),
            fixes: samples.fixes().len(),
            rate_hz: samples.rate_hz(),
            start_utc: samples.start_utc().map(present::utc),
            duration_s: samples.duration_s(),
            channels: samples
                .sources()
                .iter()
                .flat_map(|it| &it.uses)
                .map(|used| {
                    let channel = used.channel.and_then(|kind: ChannelKind| samples.channel(kind));
                    ChannelFound {
                        name: used.name.to_owned(),
                        header: used.header.clone(),
                        unit: used.unit.clone(),
                        samples: channel.map(|it| it.len()),
                        rate_hz: channel.and_then(|it| it.rate_hz()).and_then(round::thousandth),
                    }
                })
                .collect(),
            unused: source.map(|it| it.unused.clone()).unwrap_or_default(),
        }
    }
}

#[derive(Serialize)]
struct CheckJson<'a> {
    format: &'static str,
    version: u32,
    files: Vec<FileJson<'a>>,
}

#[derive(Serialize)]
struct FileJson<'a> {
    file: &'a str,
    kind: &'static str,
    usable: bool,
    error: Option<&'a str>,
    warnings: &'a [String],
    log: Option<LogJson<'a>>,
    footage: Option<FootageFound>,
    /// Of a track file or a book, in words.
    holds: Option<&'a [String]>,
}

#[derive(Serialize)]
struct LogJson<'a> {
    rows: usize,
    fixes: usize,
    rate_hz: Option<f64>,
    start_utc: Option<&'a str>,
    duration_s: Option<f64>,
    channels: &'a [ChannelFound],
    unused: &'a [String],
}

/// Indented JSON with a line end.
pub fn checks_json(files: &[Checked]) -> String {
    let json = CheckJson { format: "cornerbook.check", version: 1, files: files.iter().map(FileJson::of).collect() };
    let mut text = serde_json::to_string_pretty(&json).expect("numbers, strings and lists have JSON forms");
    text.push('\n');
    text
}

/// One row a file: kind, whether it can be used, and all sentences on it joined by semicolons.
pub fn checks_csv(files: &[Checked]) -> String {
    let mut table = csv::Writer::from_writer(Vec::new());
    let rows = files.iter().map(|file| {
        let json = FileJson::of(file);
        let sentences: Vec<&str> = json.error.into_iter().chain(file.warnings.iter().map(String::as_str)).collect();
        [file.file.clone(), json.kind.to_owned(), json.usable.to_string(), sentences.join("; ")]
    });
    let header = ["file", "kind", "usable", "sentences"].map(str::to_owned);
    for row in std::iter::once(header).chain(rows) {
        table.write_record(row).expect("memory takes every row, and all rows are as long as the header");
    }
    let bytes = table.into_inner().expect("memory takes every byte");
    String::from_utf8(bytes).expect("all cells are text")
}

/// A paragraph a file. Files that cannot be used are left to standard error.
pub fn checks_text(files: &[Checked]) -> String {
    let paragraphs: Vec<String> = files.iter().filter_map(paragraph).collect();
    paragraphs.join("\n")
}

fn paragraph(file: &Checked) -> Option<String> {
    let name = present::one_line(&file.file);
    let (title, lines) = match &file.content {
        Content::Unusable(_) => return None,
        Content::Log(log) => (log.kind, log_lines(log)),
        Content::Track(lines) => ("track file", bulleted(lines)),
        Content::Book(lines) => ("book", bulleted(lines)),
        Content::Footage(footage) => ("footage", bulleted(&footage_lines(footage))),
    };
    let mut text = format!("{name}: {title}\n{lines}");
    if !file.warnings.is_empty() {
        text.push_str("  set aside or assumed:\n");
        for warning in &file.warnings {
            text.push_str(&format!("    {warning}\n"));
        }
    }
    Some(text)
}

fn bulleted(lines: &[String]) -> String {
    lines.iter().map(|it| format!("  {}\n", present::one_line(it))).collect()
}

fn log_lines(log: &LogFound) -> String {
    let rate = log.rate_hz.map_or_else(|| "rate unknown".to_owned(), |it| format!("{} Hz", present::fixed(it, 1)));
    let date = log.start_utc.as_deref().map_or_else(|| "no date".to_owned(), |it| format!("from {it}"));
    let mut text = format!(
        "  {} rows, {} positions, {rate}, {}, {date}\n",
        log.rows,
        log.fixes,
        present::duration(log.duration_s)
    );
    let mut table = Table::new(&[
        ("  channel", Align::Left),
        ("from", Align::Left),
        ("unit", Align::Left),
        ("samples", Align::Right),
        ("rate", Align::Right),
    ]);
    for channel in &log.channels {
        table.push(vec![
            format!("  {}", present::one_line(&channel.name)),
            present::one_line(&channel.header),
            present::one_line(&channel.unit),
            channel.samples.map(|it| it.to_string()).unwrap_or_default(),
            channel.rate_hz.map(|it| format!("{} Hz", present::fixed(it, 1))).unwrap_or_default(),
        ]);
    }
    text.push_str(&table.to_text());
    if !log.unused.is_empty() {
        let names: Vec<String> = log.unused.iter().map(|it| present::one_line(it)).collect();
        text.push_str(&format!("  not used: {}\n", names.join(", ")));
    }
    text
}

fn footage_lines(footage: &FootageFound) -> Vec<String> {
    let mut facts = Vec::new();
    facts.extend(footage.duration_s.map(present::duration));
    facts.extend(footage.frames.map(|it| format!("{it} frames")));
    facts.extend(footage.rate_hz.map(|it| format!("{} frames a second", present::fixed(it, 2))));
    facts.extend(footage.width.zip(footage.height).map(|(width, height)| format!("{width}×{height}")));
    facts
        .push(footage.created_utc.as_ref().map_or_else(|| "no creation time".to_owned(), |it| format!("created {it}")));
    std::iter::once(facts.join(", ")).chain(footage.details.iter().cloned()).collect()
}

impl<'a> FileJson<'a> {
    fn of(file: &'a Checked) -> Self {
        let mut json = Self {
            file: &file.file,
            kind: "unknown",
            usable: true,
            error: None,
            warnings: &file.warnings,
            log: None,
            footage: None,
            holds: None,
        };
        match &file.content {
            Content::Log(log) => {
                json.kind = "log";
                json.log = Some(LogJson {
                    rows: log.rows,
                    fixes: log.fixes,
                    rate_hz: log.rate_hz.and_then(round::thousandth),
                    start_utc: log.start_utc.as_deref(),
                    duration_s: round::seconds(log.duration_s),
                    channels: &log.channels,
                    unused: &log.unused,
                });
            }
            Content::Track(lines) => (json.kind, json.holds) = ("track", Some(lines.as_slice())),
            Content::Book(lines) => (json.kind, json.holds) = ("book", Some(lines.as_slice())),
            Content::Footage(footage) => (json.kind, json.footage) = ("footage", Some(footage.rounded())),
            Content::Unusable(sentence) => (json.usable, json.error) = (false, Some(sentence.as_str())),
        }
        json
    }
}
