//! The column map: a TOML file that names the columns of a CSV log where their headers do not speak for themselves.
//!
//! ```toml
//! delimiter = ";"            # optional: "," ";" or "tab"
//! decimal = ","              # optional: "." or ","
//! dates = "month first"      # optional: "day first" or "month first", for 03/04/2024
//! ignore = ["speed 2"]       # optional: headers to be passed over
//!
//! [time]
//! column = "Clock"           # the header as the file has it, or the column's number from 1
//! unit = "ms"                # optional
//!
//! ["yaw rate"]
//! column = 7
//! unit = "deg/s"
//! scale = -1.0               # optional: multiplies the values
//! ```

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::log::error::{Error, channel_name};
use crate::log::meaning::Meaning;
use crate::log::stamp::DateOrder;
use crate::log::unit::{self, Unit};
use crate::session::ChannelKind;

/// All that a map can speak of.
const MEANINGS: [Meaning; 15] = [
    Meaning::Time,
    Meaning::Date,
    Meaning::Latitude,
    Meaning::Longitude,
    Meaning::Channel(ChannelKind::Speed),
    Meaning::Channel(ChannelKind::Heading),
    Meaning::Channel(ChannelKind::YawRate),
    Meaning::Channel(ChannelKind::LateralAcceleration),
    Meaning::Channel(ChannelKind::LongitudinalAcceleration),
    Meaning::Channel(ChannelKind::EngineSpeed),
    Meaning::Channel(ChannelKind::Throttle),
    Meaning::Channel(ChannelKind::Brake),
    Meaning::Channel(ChannelKind::Steering),
    Meaning::Channel(ChannelKind::Satellites),
    Meaning::Channel(ChannelKind::Hdop),
];

/// Which columns of a CSV log hold what. Columns that the map leaves out are still matched by their headers.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ColumnMap {
    pub(crate) delimiter: Option<u8>,
    pub(crate) decimal_mark: Option<u8>,
    pub(crate) date_order: Option<DateOrder>,
    pub(crate) ignore: Vec<String>,
    pub(crate) entries: Vec<Entry>,
}

/// One column of the map.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Entry {
    pub(crate) meaning: Meaning,
    pub(crate) column: ColumnName,
    pub(crate) unit: Option<Unit>,
    pub(crate) scale: f64,
}

/// A header as the file has it, or a number from 1.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(untagged)]
pub(crate) enum ColumnName {
    Number(usize),
    Header(String),
}

impl ColumnName {
    /// `None` where the column is named by number.
    pub(crate) fn header(&self) -> Option<&str> {
        match self {
            Self::Number(_) => None,
            Self::Header(header) => Some(header),
        }
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct RawEntry {
    column: ColumnName,
    unit: Option<String>,
    scale: Option<f64>,
}

#[derive(Debug, Deserialize)]
struct RawMap {
    delimiter: Option<String>,
    decimal: Option<String>,
    dates: Option<String>,
    #[serde(default)]
    ignore: Vec<String>,
    #[serde(flatten)]
    entries: BTreeMap<String, RawEntry>,
}

impl ColumnMap {
    /// Reads a map; `file` is for messages.
    ///
    /// # Errors
    /// [`Error::MapBroken`] with the line: no TOML, an unknown name, or a unit that its channel cannot have.
    pub fn parse(file: &str, text: &str) -> Result<Self, Error> {
        let broken = |at: usize, rule: String| {
            let line = text.as_bytes()[..at.min(text.len())].iter().filter(|it| **it == b'\n').count() as u64 + 1;
            Error::MapBroken { file: file.to_owned(), line, rule }
        };
        let raw: RawMap = toml::from_str(text)
            .map_err(|error| broken(error.span().map_or(0, |it| it.start), one_line(error.message())))?;
        let choice = |given: &Option<String>, key: &str, choices: &[(&str, u8)]| {
            let Some(given) = given else { return Ok(None) };
            let found = choices.iter().find(|(name, _)| name == given).map(|(_, byte)| *byte);
            let names: Vec<String> = choices.iter().map(|(name, _)| format!("{name:?}")).collect();
            let at = text.find(key).unwrap_or(0);
            let rule = || format!("{key} is {given:?}; it can be {}", names.join(" or "));
            found.map(Some).ok_or_else(|| broken(at, rule()))
        };
        let delimiters = [(",", b','), (";", b';'), ("tab", b'\t'), ("\t", b'\t')];
        let delimiter = choice(&raw.delimiter, "delimiter", &delimiters)?;
        let decimal_mark = choice(&raw.decimal, "decimal", &[(".", b'.'), (",", b',')])?;
        let dates = choice(&raw.dates, "dates", &[("day first", 0), ("month first", 1)])?;
        let mut entries = Vec::new();
        for (name, entry) in raw.entries {
            let at = text.find(&format!("[{name}")).or_else(|| text.find(&name)).unwrap_or(0);
            let Some(meaning) = meaning_named(&name) else {
                let known: Vec<&str> = MEANINGS.iter().map(|it| meaning_name(*it)).collect();
                return Err(broken(at, format!("{name:?} is no channel; known are {}", known.join(", "))));
            };
            let unit = match &entry.unit {
                None => None,
                Some(text) => Some(unit::parse(text, meaning.dimension()).ok_or_else(|| {
                    broken(at, format!("{text:?} is no unit of {}; leave it out or correct it", meaning_name(meaning)))
                })?),
            };
            let scale = entry.scale.unwrap_or(1.0);
            if !scale.is_finite() || scale == 0.0 || entry.column == ColumnName::Number(0) {
                let rule = format!("{name}: columns count from 1 and a scale is a number other than 0");
                return Err(broken(at, rule));
            }
            entries.push(Entry { meaning, column: entry.column, unit, scale });
        }
        let date_order = dates.map(|it| if it == 0 { DateOrder::DayFirst } else { DateOrder::MonthFirst });
        Ok(Self { delimiter, decimal_mark, date_order, ignore: raw.ignore, entries })
    }
}

/// The name that a map and messages use.
pub(crate) fn meaning_name(meaning: Meaning) -> &'static str {
    match meaning {
        Meaning::Time => "time",
        Meaning::Date => "date",
        Meaning::Latitude => "latitude",
        Meaning::Longitude => "longitude",
        Meaning::Channel(kind) => channel_name(kind),
    }
}

/// `yaw rate`, `yaw_rate` and `Yaw-Rate` are one name.
fn meaning_named(name: &str) -> Option<Meaning> {
    let plain = |text: &str| text.to_lowercase().replace(['_', '-'], " ");
    MEANINGS.into_iter().find(|it| plain(meaning_name(*it)) == plain(name))
}

fn one_line(message: &str) -> String {
    message.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_map_is_read() {
        let text =
            "delimiter = \"tab\"\n[time]\ncolumn = \"Clock\"\nunit = \"ms\"\n[yaw_rate]\ncolumn = 7\nscale = -1.0\n";
        let map = ColumnMap::parse("map.toml", text).unwrap();
        assert_eq!(map.delimiter, Some(b'\t'));
        assert_eq!(map.entries.len(), 2);
        assert!(map.entries.iter().any(|it| it.column == ColumnName::Number(7) && it.scale == -1.0));
    }

    #[test]
    fn what_is_wrong_with_a_map_is_one_sentence_with_its_line() {
        let sentence = |text: &str| ColumnMap::parse("map.toml", text).unwrap_err().to_string();
        assert!(sentence("\n[time\n").starts_with("map.toml, line 2: "));
        assert!(sentence("[pace]\ncolumn = 1\n").contains("\"pace\" is no channel; known are time, date, latitude"));
        assert!(sentence("[speed]\ncolumn = 1\nunit = \"bar\"\n").contains("\"bar\" is no unit of speed"));
        assert!(sentence("decimal = \"x\"\n").contains("decimal is \"x\"; it can be \".\" or \",\""));
        assert!(sentence("[speed]\ncolumn = 0\n").contains("columns count from 1"));
    }
}
