//! Log files: bytes to samples and notes. Takes bytes, never paths; recognises CSV, NMEA 0183 and GPX by content.
//!
//! Each reader gives a `table::Table`: rows with a time, positions and columns, nothing judged. `screen` puts it in
//! order, sets aside what cannot be, infers units and finds gaps, the same way for all kinds.

mod columns;
mod csv;
mod error;
mod gpx;
mod held;
mod infer;
mod join;
mod meaning;
pub mod nmea;
mod order;
mod place;
mod recognise;
mod screen;
mod stamp;
mod table;
mod text;
mod unit;

pub use columns::ColumnMap;
pub use error::{Error, channel_name};
pub use join::join;
pub use recognise::recognise;

use crate::session::{LogKind, Samples};

/// Reads one log. `file` is its name for messages; `columns` is heeded for CSV.
///
/// # Errors
/// One sentence: no log, or a log without time with position or time with yaw rate.
pub fn read(file: &str, bytes: &[u8], columns: Option<&ColumnMap>) -> Result<Samples, Error> {
    read_as(file, bytes, columns, true)
}

/// Reads one file of several: as [`read`], but it may hold other channels alone (a speed, a steering angle).
/// The parts go to [`join`].
///
/// # Errors
/// As [`read`]; no known channel at all is still refused.
pub fn read_part(file: &str, bytes: &[u8], columns: Option<&ColumnMap>) -> Result<Samples, Error> {
    read_as(file, bytes, columns, false)
}

fn read_as(file: &str, bytes: &[u8], columns: Option<&ColumnMap>, is_whole_log: bool) -> Result<Samples, Error> {
    let Some(kind) = recognise(bytes) else { return Err(recognise::refusal(file, bytes)) };
    let bytes = text::to_utf8(bytes);
    let table = match kind {
        LogKind::Csv => csv::read(file, &bytes, columns, is_whole_log)?,
        LogKind::Nmea => nmea::read(file, &bytes)?,
        LogKind::Gpx => gpx::read(file, &bytes)?,
        LogKind::Footage => return Err(recognise::refusal(file, &bytes)),
    };
    screen::finish(table)
}
