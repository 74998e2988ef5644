//! Which column is what: the column map's word first, then the headers' own.

use crate::log::columns::{ColumnMap, ColumnName, Entry, meaning_name};
use crate::log::csv::layout::{Layout, same_header};
use crate::log::error::Error;
use crate::log::meaning::{self, Meaning};
use crate::log::text;
use crate::log::unit::{self, Unit};
use crate::session::ChannelKind;

/// Headers that an error lists before it cuts the list short.
const HEADERS_SHOWN: usize = 12;

/// A column of times.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct TimeColumn {
    pub(crate) index: usize,
    pub(crate) unit: Option<Unit>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum ValueKind {
    Latitude,
    Longitude,
    Channel(ChannelKind),
}

/// A column of numbers.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ValueColumn {
    pub(crate) index: usize,
    pub(crate) kind: ValueKind,
    pub(crate) header: String,
    pub(crate) unit: Option<Unit>,
    pub(crate) scale: f64,
}

impl ValueColumn {
    /// A channel's value as written; a position in degrees, `47.1 S` being negative.
    pub(crate) fn read(&self, cell: &[u8], decimal_mark: u8) -> Option<f64> {
        if let Some(value) = text::number(cell, decimal_mark) {
            return Some(if self.is_position() { value * self.scale } else { value });
        }
        let (last, rest) = cell.trim_ascii().split_last()?;
        let sign = match (self.kind, last) {
            (ValueKind::Latitude, b'N') | (ValueKind::Longitude, b'E') => 1.0,
            (ValueKind::Latitude, b'S') | (ValueKind::Longitude, b'W') => -1.0,
            (ValueKind::Channel(_), b'%') => 1.0,
            _ => return None,
        };
        text::number(rest, decimal_mark).map(|value| value * sign)
    }

    fn is_position(&self) -> bool {
        !matches!(self.kind, ValueKind::Channel(_))
    }
}

/// The columns of a file by their use.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Selection {
    pub(crate) times: Vec<TimeColumn>,
    pub(crate) date: Option<usize>,
    /// Latitude and longitude first, both or none.
    pub(crate) values: Vec<ValueColumn>,
    pub(crate) unused: Vec<String>,
}

/// A column with a meaning, and how well the header says so (0 best).
#[derive(Debug, Clone, Copy)]
struct Candidate {
    index: usize,
    meaning: Meaning,
    unit: Option<Unit>,
    scale: f64,
    rank: usize,
}

/// Errors: a column that the map names is missing; no time; with `is_whole_log` neither position nor yaw rate.
pub(crate) fn select(file: &str, layout: &Layout, map: &ColumnMap, is_whole_log: bool) -> Result<Selection, Error> {
    let mut candidates: Vec<Candidate> = Vec::new();
    for entry in &map.entries {
        candidates.push(mapped(file, layout, entry)?);
    }
    for (index, header) in layout.headers.iter().enumerate() {
        let is_taken =
            candidates.iter().any(|it| it.index == index) || map.ignore.iter().any(|it| same_header(it, header));
        if let Some(reading) = meaning::read(header).filter(|_| !is_taken) {
            let unit = reading.unit.or_else(|| unit_below(layout, index, reading.meaning));
            // A plain word with its unit says most.
            let rank = 1 + 2 * reading.penalty + usize::from(unit.is_none());
            candidates.push(Candidate { index, meaning: reading.meaning, unit, scale: reading.sign, rank });
        }
    }
    candidates.sort_by_key(|it| (it.rank, it.index));
    let best = |meaning: Meaning| candidates.iter().find(|it| it.meaning == meaning).copied();
    let is_time_mapped = best(Meaning::Time).is_some_and(|it| it.rank == 0);
    let times: Vec<TimeColumn> = candidates
        .iter()
        .filter(|it| it.meaning == Meaning::Time && (!is_time_mapped || it.rank == 0))
        .map(|it| TimeColumn { index: it.index, unit: it.unit })
        .collect();
    let date = best(Meaning::Date).map(|it| it.index);
    let mut values: Vec<ValueColumn> = Vec::new();
    if let (Some(latitude), Some(longitude)) = (best(Meaning::Latitude), best(Meaning::Longitude)) {
        values.push(value_column(layout, latitude, ValueKind::Latitude));
        values.push(value_column(layout, longitude, ValueKind::Longitude));
    }
    for candidate in &candidates {
        if let Meaning::Channel(kind) = candidate.meaning
            && !values.iter().any(|it| it.kind == ValueKind::Channel(kind))
        {
            values.push(value_column(layout, *candidate, ValueKind::Channel(kind)));
        }
    }
    let used = |index: usize| {
        times.iter().any(|it| it.index == index) || date == Some(index) || values.iter().any(|it| it.index == index)
    };
    let unused = layout.headers.iter().enumerate().filter(|(index, header)| !used(*index) && !header.is_empty());
    let unused = unused.map(|(_, header)| header.clone()).collect();
    let (file, line, headers) = (file.to_owned(), layout.header_line, header_list(&layout.headers));
    if times.is_empty() && date.is_none() {
        return Err(Error::NoTime { file, line, headers });
    }
    let is_position_or_yaw_rate =
        |it: &ValueColumn| it.is_position() || it.kind == ValueKind::Channel(ChannelKind::YawRate);
    if is_whole_log && !values.iter().any(is_position_or_yaw_rate) || values.is_empty() {
        return Err(Error::NoPositionOrYawRate { file, line, headers });
    }
    // A date column may hold the whole date and time.
    let times =
        if times.is_empty() { date.map(|index| TimeColumn { index, unit: None }).into_iter().collect() } else { times };
    Ok(Selection { times, date, values, unused })
}

fn mapped(file: &str, layout: &Layout, entry: &Entry) -> Result<Candidate, Error> {
    let index = match &entry.column {
        ColumnName::Number(number) => number.checked_sub(1).filter(|it| *it < layout.headers.len().max(layout.cells)),
        ColumnName::Header(header) => layout.headers.iter().position(|it| same_header(it, header)),
    };
    let Some(index) = index else {
        return Err(Error::MapColumnMissing {
            file: file.to_owned(),
            line: layout.header_line,
            column: match &entry.column {
                ColumnName::Number(number) => format!("column {number}"),
                ColumnName::Header(header) => format!("{header:?}"),
            },
            channel: meaning_name(entry.meaning).to_owned(),
            headers: header_list(&layout.headers),
        });
    };
    let header_unit = || {
        let reading = layout.headers.get(index).and_then(|it| meaning::read(it))?;
        reading.unit.filter(|_| reading.meaning == entry.meaning)
    };
    let unit = entry.unit.or_else(|| unit_below(layout, index, entry.meaning)).or_else(header_unit);
    Ok(Candidate { index, meaning: entry.meaning, unit, scale: entry.scale, rank: 0 })
}

/// The unit in the row below the header.
fn unit_below(layout: &Layout, index: usize, meaning: Meaning) -> Option<Unit> {
    unit::parse(layout.units.get(index)?, meaning.dimension())
}

fn value_column(layout: &Layout, candidate: Candidate, kind: ValueKind) -> ValueColumn {
    let Candidate { index, unit, scale, .. } = candidate;
    let is_radians = unit.is_some_and(|it| it.symbol == unit::RADIAN.symbol) && !matches!(kind, ValueKind::Channel(_));
    let scale = if is_radians { scale * 180.0 / std::f64::consts::PI } else { scale };
    let header = layout.headers.get(index).cloned().unwrap_or_else(|| (index + 1).to_string());
    ValueColumn { index, kind, header, unit, scale }
}

fn header_list(headers: &[String]) -> String {
    let mut shown: Vec<String> = headers.iter().take(HEADERS_SHOWN).map(|it| format!("{it:?}")).collect();
    if headers.len() > HEADERS_SHOWN {
        shown.push(format!("and {} more", headers.len() - HEADERS_SHOWN));
    }
    shown.join(", ")
}
