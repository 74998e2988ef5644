//! What every reader hands on: rows with one time each, positions and columns beside them, nothing judged yet.

use chrono::{DateTime, Utc};

use crate::log::stamp;
use crate::log::unit::Unit;
use crate::session::{ChannelKind, ChannelUse, LogKind, Note, NoteKind, Place};

/// One column of values in the file's unit. `value` has one entry per row; NaN where the row has none.
#[derive(Debug, Clone)]
pub(crate) struct Column {
    pub(crate) kind: ChannelKind,
    pub(crate) header: String,
    /// `None` where the file does not name it.
    pub(crate) unit: Option<Unit>,
    /// The unit as people should read it where it is not [`Unit::symbol`] (a pressure in bar).
    pub(crate) unit_text: Option<String>,
    /// Multiplies the value besides the unit's factor.
    pub(crate) scale: f64,
    pub(crate) value: Vec<f64>,
}

/// Where the times of a table count from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Epoch {
    /// Days since 1970-01-01; times are seconds since the start of that day (UTC).
    Day(i64),
    /// The logger's own counter, with the date of its zero where the file tells it: (day, second of the day).
    Counter(Option<(i64, f64)>),
    /// Time of day without a date.
    TimeOfDay,
}

/// A log file as read. All vectors of rows have the same length.
#[derive(Debug, Clone)]
pub(crate) struct Table {
    pub(crate) file: String,
    pub(crate) kind: LogKind,
    /// Rows, sentences or points met, good or not.
    pub(crate) rows_met: usize,
    pub(crate) epoch: Epoch,
    pub(crate) t_s: Vec<f64>,
    /// Line of each row.
    pub(crate) line: Vec<u64>,
    /// NaN where a row has no position; empty where the log has none at all.
    pub(crate) latitude_deg: Vec<f64>,
    pub(crate) longitude_deg: Vec<f64>,
    pub(crate) columns: Vec<Column>,
    /// Time and position.
    pub(crate) uses: Vec<ChannelUse>,
    pub(crate) unused: Vec<String>,
    pub(crate) notes: Vec<Note>,
}

impl Table {
    pub(crate) fn new(file: &str, kind: LogKind) -> Self {
        Self {
            file: file.to_owned(),
            kind,
            rows_met: 0,
            epoch: Epoch::Counter(None),
            t_s: Vec::new(),
            line: Vec::new(),
            latitude_deg: Vec::new(),
            longitude_deg: Vec::new(),
            columns: Vec::new(),
            uses: Vec::new(),
            unused: Vec::new(),
            notes: Vec::new(),
        }
    }

    pub(crate) fn note(&mut self, kind: NoteKind, place: Place) {
        self.notes.push(Note::new(kind).in_file(&self.file, place));
    }

    /// As [`Table::note`], where the count is not zero.
    pub(crate) fn note_count(&mut self, count: usize, kind: impl FnOnce(usize) -> NoteKind, place: Place) {
        if count > 0 {
            self.note(kind(count), place);
        }
    }

    pub(crate) fn has_position(&self) -> bool {
        !self.latitude_deg.is_empty()
    }

    /// Date and time of a time of this table.
    pub(crate) fn utc_at(&self, t_s: f64) -> Option<DateTime<Utc>> {
        match self.epoch {
            Epoch::Day(day) => stamp::utc_of(day, t_s),
            Epoch::Counter(Some((day, second))) => stamp::utc_of(day, second + t_s),
            Epoch::Counter(None) | Epoch::TimeOfDay => None,
        }
    }

    /// Keeps the rows of `indexes`, in their order.
    pub(crate) fn keep_rows(&mut self, indexes: &[usize]) {
        if indexes.len() == self.t_s.len() {
            return;
        }
        pick(&mut self.t_s, indexes);
        pick(&mut self.line, indexes);
        if self.has_position() {
            pick(&mut self.latitude_deg, indexes);
            pick(&mut self.longitude_deg, indexes);
        }
        for column in &mut self.columns {
            pick(&mut column.value, indexes);
        }
    }
}

/// `indexes` rise, so that values only move towards the front.
fn pick<T: Copy>(values: &mut Vec<T>, indexes: &[usize]) {
    for (to, from) in indexes.iter().enumerate() {
        values[to] = values[*from];
    }
    values.truncate(indexes.len());
}
