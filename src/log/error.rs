//! What makes a log unusable, each as one sentence: file, place, what is wrong, what to do.

use crate::session::{ChannelKind, Place};

/// A log that cannot be used. Findings that leave the rest usable are notes instead.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Error {
    #[error("{file}: holds nothing; give a log with at least one row")]
    Empty { file: String },
    #[error("{file}, byte 0: is {found}, not a log; give a CSV, NMEA 0183 or GPX file")]
    WrongKind { file: String, found: &'static str },
    #[error("{file}, byte {byte}: is no text and no known log; give a CSV, NMEA 0183 or GPX file")]
    NotText { file: String, byte: usize },
    #[error(
        "{file}: is text, but neither CSV (cells parted by comma, semicolon or tab) nor NMEA 0183 nor GPX; give a log of one \
             of these kinds"
    )]
    Unrecognised { file: String },
    #[error(
        "{file}, line {line}: has {length_bytes} bytes, more than any row of a table; give a log with a line per row"
    )]
    LineTooLong { file: String, line: u64, length_bytes: usize },
    #[error(
        "{file}, line {line}: no row names the columns; put a header such as time_s,latitude_deg,longitude_deg above \
         the data, or name the columns by number with --columns"
    )]
    NoHeader { file: String, line: u64 },
    #[error("{file}, line {line}: a header without a row of data below it; record or export the log again")]
    NoRows { file: String, line: u64 },
    #[error("{file}, line {line}: no column for the time among {headers}; name it with --columns")]
    NoTime { file: String, line: u64, headers: String },
    #[error(
        "{file}, line {line}: neither latitude and longitude nor a yaw rate among {headers}; name the columns with \
         --columns"
    )]
    NoPositionOrYawRate { file: String, line: u64, headers: String },
    #[error(
        "{file}, line {line}: column {header:?} holds {cell:?}, which is no time; name the time column with --columns"
    )]
    TimeUnreadable { file: String, line: u64, header: String, cell: String },
    #[error("{file}, line {line}: the time never goes on after {clock}; a log needs at least two times")]
    TimeStands { file: String, line: u64, clock: String },
    #[error(
        "{file}, line {line}: the time runs backwards in {back} of {rows} rows; sort the log by time, or name its time \
         column with --columns"
    )]
    TimeRunsBack { file: String, line: u64, back: usize, rows: usize },
    #[error("{file}{}: latitude or longitude out of range in all {count} fixes (the first is {latitude}, {longitude}); \
             latitudes lie within ±90°, longitudes within ±180°, so the columns are swapped or mean something else; \
             name them with --columns", at(*place))]
    PositionsOutOfRange { file: String, place: Place, count: usize, latitude: f64, longitude: f64 },
    #[error("{file}: all {count} fixes are void; record again with a clear view of the sky")]
    AllVoid { file: String, count: usize },
    #[error("{file}: no usable position and no usable yaw rate in {rows} rows; record or export the log again")]
    NothingUsable { file: String, rows: usize },
    #[error("{file}, byte {byte}: is no well-formed XML ({cause}); export the track again")]
    XmlBroken { file: String, byte: u64, cause: String },
    #[error("{file}: no track point; export a track, not a route or waypoints")]
    NoTrackPoints { file: String },
    #[error("{file}: none of the {points} track points has a time; export the track with times")]
    NoPointTimes { file: String, points: usize },
    #[error("{file}: {sentences} sentences, but none of RMC, GGA or GNS with a time; set the logger to write RMC")]
    NoFixSentences { file: String, sentences: usize },
    #[error("{file}: the checksums of all {sentences} sentences are wrong; copy the log from the logger again")]
    AllChecksumsWrong { file: String, sentences: usize },
    #[error("{file}, line {line}: {rule}")]
    MapBroken { file: String, line: u64, rule: String },
    #[error(
        "{file}: the column map names {column} for {channel}, but the header on line {line} has {headers}; correct the map"
    )]
    MapColumnMissing { file: String, line: u64, column: String, channel: String, headers: String },
    #[error("no log given; name at least one log file")]
    NothingToJoin,
}

fn at(place: Place) -> String {
    match place {
        Place::Whole => String::new(),
        Place::Line(line) => format!(", line {line}"),
        Place::Byte(byte) => format!(", byte {byte}"),
    }
}

/// The channel's name as users write it in a column map and read it in messages.
pub fn channel_name(kind: ChannelKind) -> &'static str {
    match kind {
        ChannelKind::Speed => "speed",
        ChannelKind::Heading => "course",
        ChannelKind::YawRate => "yaw rate",
        ChannelKind::LateralAcceleration => "lateral acceleration",
        ChannelKind::LongitudinalAcceleration => "longitudinal acceleration",
        ChannelKind::EngineSpeed => "engine speed",
        ChannelKind::Throttle => "throttle",
        ChannelKind::Brake => "brake",
        ChannelKind::Steering => "steering",
        ChannelKind::Satellites => "satellites",
        ChannelKind::Hdop => "HDOP",
    }
}
