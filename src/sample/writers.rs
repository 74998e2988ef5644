//! Writers of logs: the same samples as CSV in several dialects, NMEA 0183 sentences, and GPX 1.1.

use std::fmt::Write;

use chrono::{DateTime, Utc};

use crate::session::{Channel, ChannelKind, Fix, Samples};
use crate::units::{KNOT_MPS, SpeedUnit, compass_from_heading};

/// How a CSV gives time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimeStyle {
    Rfc3339,
    EpochSeconds,
    EpochMilliseconds,
    /// Seconds from the start, no date.
    FromStart,
}

/// What a CSV row holds between two fixes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Between {
    /// The last value again.
    Repeat,
    Empty,
}

/// A dialect of CSV.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CsvStyle {
    pub time: TimeStyle,
    pub speed: SpeedUnit,
    pub delimiter: char,
    pub decimal_comma: bool,
    pub between: Between,
}

impl Default for CsvStyle {
    fn default() -> Self {
        Self {
            time: TimeStyle::Rfc3339,
            speed: SpeedUnit::KilometresPerHour,
            delimiter: ',',
            decimal_comma: false,
            between: Between::Repeat,
        }
    }
}

/// Rows at every time at which anything was measured; columns for what there is. Yaw rate is positive to the left.
/// Without a date in `samples`, styles that need one count from 1970.
pub fn csv_log(samples: &Samples, style: CsvStyle) -> String {
    let mut columns = vec![Column::time(samples, style.time)];
    columns.extend(Column::positions(samples.fixes()));
    if let Some(speed) = samples.channel(ChannelKind::Speed) {
        let header = match style.speed {
            SpeedUnit::KilometresPerHour => "speed_kmh",
            SpeedUnit::MilesPerHour => "speed_mph",
            SpeedUnit::MetresPerSecond => "speed_mps",
        };
        columns.push(Column::channel(header, speed, 3, |value| style.speed.from_mps(value)));
    }
    if let Some(course) = samples.channel(ChannelKind::Heading) {
        columns.push(Column::channel("course_deg", course, 2, compass_from_heading));
    }
    if let Some(yaw_rate) = samples.channel(ChannelKind::YawRate) {
        columns.push(Column::channel("yaw_rate_dps", yaw_rate, 3, f64::to_degrees));
    }
    table(&columns, &times_of(samples), style)
}

/// One column: its cells in order of time, each at a time in milliseconds.
struct Column {
    header: &'static str,
    cells: Vec<(i64, String)>,
}

impl Column {
    fn time(samples: &Samples, style: TimeStyle) -> Self {
        let header = match style {
            TimeStyle::Rfc3339 => "time_utc",
            TimeStyle::EpochSeconds => "epoch_s",
            TimeStyle::EpochMilliseconds => "epoch_ms",
            TimeStyle::FromStart => "time_s",
        };
        let cells = times_of(samples).into_iter().map(|at_ms| (at_ms, time_cell(samples, at_ms, style))).collect();
        Self { header, cells }
    }

    fn positions(fixes: &[Fix]) -> Vec<Self> {
        if fixes.is_empty() {
            return Vec::new();
        }
        let column = |header, degrees: fn(&Fix) -> f64| Self {
            header,
            cells: fixes.iter().map(|fix| (milliseconds(fix.t_s), format!("{:.8}", degrees(fix)))).collect(),
        };
        vec![column("latitude", |fix| fix.latitude_deg), column("longitude", |fix| fix.longitude_deg)]
    }

    fn channel(header: &'static str, channel: &Channel, decimals: usize, convert: impl Fn(f64) -> f64) -> Self {
        let cells =
            channel.iter().map(|(t_s, value)| (milliseconds(t_s), format!("{:.decimals$}", convert(value)))).collect();
        Self { header, cells }
    }
}

fn table(columns: &[Column], times_ms: &[i64], style: CsvStyle) -> String {
    let headers: Vec<&str> = columns.iter().map(|column| column.header).collect();
    let mut text = headers.join(&style.delimiter.to_string());
    text.push('\n');
    let mut next = vec![0; columns.len()];
    for at_ms in times_ms {
        for (index, column) in columns.iter().enumerate() {
            if index > 0 {
                text.push(style.delimiter);
            }
            let fresh = column.cells.get(next[index]).is_some_and(|(cell_ms, _)| cell_ms <= at_ms);
            if fresh {
                next[index] += 1;
            }
            let shown = fresh || style.between == Between::Repeat;
            if let Some((_, cell)) = next[index].checked_sub(1).map(|last| &column.cells[last]).filter(|_| shown) {
                text.push_str(&if style.decimal_comma { cell.replace('.', ",") } else { cell.clone() });
            }
        }
        text.push('\n');
    }
    text
}

fn time_cell(samples: &Samples, at_ms: i64, style: TimeStyle) -> String {
    let utc = utc_of(samples, at_ms);
    match style {
        TimeStyle::Rfc3339 => utc.format("%Y-%m-%dT%H:%M:%S%.3fZ").to_string(),
        TimeStyle::EpochSeconds => format!("{:.3}", utc.timestamp_millis() as f64 / 1000.0),
        TimeStyle::EpochMilliseconds => utc.timestamp_millis().to_string(),
        TimeStyle::FromStart => format!("{:.3}", at_ms as f64 / 1000.0),
    }
}

/// Every time at which anything was measured, in whole milliseconds, rising.
fn times_of(samples: &Samples) -> Vec<i64> {
    let channels = samples.channels().values().flat_map(|channel| channel.t_s.iter().copied());
    let mut times: Vec<i64> = samples.fixes().iter().map(|fix| fix.t_s).chain(channels).map(milliseconds).collect();
    times.sort_unstable();
    times.dedup();
    times
}

fn milliseconds(t_s: f64) -> i64 {
    #[allow(clippy::cast_possible_truncation, reason = "float to integer casts saturate; runs last minutes")]
    let ms = (t_s * 1000.0).round() as i64;
    ms
}

fn utc_of(samples: &Samples, at_ms: i64) -> DateTime<Utc> {
    samples.start_utc().unwrap_or_default() + chrono::TimeDelta::milliseconds(at_ms)
}

/// RMC and GGA sentences per fix, with speed and course where there are any.
pub fn nmea_log(samples: &Samples) -> String {
    let value_at = |kind, t_s: f64| {
        let channel = samples.channel(kind)?;
        let index = channel.t_s.partition_point(|it| *it < t_s - 5e-4);
        channel.value.get(index).copied()
    };
    let mut text = String::new();
    for fix in samples.fixes() {
        let utc = utc_of(samples, milliseconds(fix.t_s));
        let time = utc.format("%H%M%S%.3f");
        let (latitude, longitude) = (degrees_minutes(fix.latitude_deg, 2), degrees_minutes(fix.longitude_deg, 3));
        let north = if fix.latitude_deg < 0.0 { 'S' } else { 'N' };
        let east = if fix.longitude_deg < 0.0 { 'W' } else { 'E' };
        let optional = |value: Option<f64>| value.map(|it| format!("{it:.3}")).unwrap_or_default();
        let knots = optional(value_at(ChannelKind::Speed, fix.t_s).map(|speed| speed / KNOT_MPS));
        let course = optional(value_at(ChannelKind::Heading, fix.t_s).map(compass_from_heading));
        let date = utc.format("%d%m%y");
        push_sentence(
            &mut text,
            &format!("GNRMC,{time},A,{latitude},{north},{longitude},{east},{knots},{course},{date},,,A"),
        );
        push_sentence(
            &mut text,
            &format!("GNGGA,{time},{latitude},{north},{longitude},{east},1,14,0.8,10.0,M,0.0,M,,"),
        );
    }
    text
}

/// Degrees as `dddmm.mmmmmmm` without a sign; seven decimals of a minute are 0.2 mm.
fn degrees_minutes(degrees: f64, degree_digits: usize) -> String {
    // Rounded first, so that 59.99999999 minutes become the next degree.
    let minutes = (degrees.abs() * 60.0 * 1e7).round() / 1e7;
    let whole = (minutes / 60.0).floor();
    format!("{whole:0degree_digits$.0}{:010.7}", minutes - whole * 60.0)
}

fn push_sentence(text: &mut String, body: &str) {
    let checksum = body.bytes().fold(0, |sum, byte| sum ^ byte);
    // Writing to a String cannot fail.
    let _ = write!(text, "${body}*{checksum:02X}\r\n");
}

/// One track with one segment; positions and times only.
pub fn gpx_log(samples: &Samples) -> String {
    let mut text = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <gpx version=\"1.1\" creator=\"cornerbook\" xmlns=\"http://www.topografix.com/GPX/1/1\">\n<trk><trkseg>\n",
    );
    for fix in samples.fixes() {
        let time = utc_of(samples, milliseconds(fix.t_s)).format("%Y-%m-%dT%H:%M:%S%.3fZ");
        // Writing to a String cannot fail.
        let _ = writeln!(
            text,
            "<trkpt lat=\"{:.8}\" lon=\"{:.8}\"><time>{time}</time></trkpt>",
            fix.latitude_deg, fix.longitude_deg
        );
    }
    text.push_str("</trkseg></trk>\n</gpx>\n");
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn minutes_carry_into_degrees() {
        assert_eq!(degrees_minutes(41.5, 2), "4130.0000000");
        assert_eq!(degrees_minutes(-7.999_999_999_99, 3), "00800.0000000");
    }

    /// NMEA 0183: the checksum is the exclusive or of the bytes between $ and *. The example is worked out by hand:
    /// 'A' (0x41) xor 'B' (0x42) = 0x03.
    #[test]
    fn the_checksum_is_the_exclusive_or() {
        let mut text = String::new();
        push_sentence(&mut text, "AB");
        assert_eq!(text, "$AB*03\r\n");
    }
}
