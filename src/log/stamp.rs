//! One time cell to days and seconds: RFC 3339 and its usual relatives, dates, and times of day.

use chrono::{DateTime, Datelike, NaiveDate, TimeDelta, Utc};

pub(crate) const DAY_S: f64 = 86_400.0;

/// A point in time: whole days since 1970-01-01 and the second of that day. Apart, so that no digit is lost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Moment {
    pub(crate) day: i64,
    pub(crate) second: f64,
}

impl Moment {
    pub(crate) fn from_unix_s(unix_s: f64) -> Option<Self> {
        let day = (unix_s / DAY_S).floor();
        #[allow(clippy::cast_possible_truncation, reason = "within ±1e7 days")]
        (day.abs() < 1e7).then(|| Self { day: day as i64, second: unix_s - day * DAY_S })
    }

    /// Seconds since the start of `day`.
    pub(crate) fn since_day(self, day: i64) -> f64 {
        (self.day - day) as f64 * DAY_S + self.second
    }
}

/// The date and time that lies `seconds` after the start of `day` (days since 1970-01-01); `None` outside the calendar.
pub(crate) fn utc_of(day: i64, seconds: f64) -> Option<DateTime<Utc>> {
    #[allow(clippy::cast_possible_truncation, reason = "float to integer casts saturate; chrono checks the sum")]
    let offset = TimeDelta::microseconds((seconds * 1e6).round() as i64);
    DateTime::from_timestamp(day.checked_mul(86_400)?, 0)?.checked_add_signed(offset)
}

/// Which of two small numbers in a date is the day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum DateOrder {
    DayFirst,
    MonthFirst,
}

/// A date and time in one cell, and whether it named its zone. The zone is applied: the moment is UTC.
/// Reads RFC 3339, the same with a space or a slash, `dd.mm.yyyy hh:mm:ss`, with `.` or `,` before the fraction.
pub(crate) fn date_time(cell: &[u8], order: DateOrder) -> Option<(Moment, bool)> {
    let cell = cell.trim_ascii();
    let split = cell.iter().position(|byte| matches!(byte, b'T' | b't' | b' '))?;
    let day = date(&cell[..split], order)?;
    let (second, rest) = clock_prefix(cell[split + 1..].trim_ascii_start())?;
    let zone_s = zone_seconds(rest.trim_ascii())?;
    let mut moment = Moment { day, second: second - zone_s.unwrap_or(0.0) };
    let days = (moment.second / DAY_S).floor();
    #[allow(clippy::cast_possible_truncation, reason = "a zone moves the date by one day at most")]
    let whole = days as i64;
    moment = Moment { day: moment.day + whole, second: moment.second - days * DAY_S };
    Some((moment, zone_s.is_some()))
}

/// Days since 1970-01-01 of `yyyy-mm-dd`, `yyyy/mm/dd`, `yyyymmdd`, `dd.mm.yyyy` or `dd/mm/yyyy` in the given order.
pub(crate) fn date(cell: &[u8], order: DateOrder) -> Option<i64> {
    let cell = cell.trim_ascii();
    if let Some(yyyymmdd) = digits(cell, 8, 8) {
        return day_number(yyyymmdd / 10_000, yyyymmdd / 100 % 100, yyyymmdd % 100);
    }
    let mut parts = cell.split(|byte| matches!(byte, b'-' | b'/' | b'.'));
    let (first, second, third) = (parts.next()?, parts.next()?, parts.next()?);
    if parts.next().is_some() {
        return None;
    }
    if first.len() == 4 {
        return day_number(digits(first, 4, 4)?, digits(second, 1, 2)?, digits(third, 1, 2)?);
    }
    let year = digits(third, 2, 4).map(|year| if third.len() == 2 { full_year(year) } else { year })?;
    let (first, second) = (digits(first, 1, 2)?, digits(second, 1, 2)?);
    // Full stops are written with the day first only.
    match order {
        DateOrder::MonthFirst if !cell.contains(&b'.') => day_number(year, first, second),
        _ => day_number(year, second, first),
    }
}

/// Two digits of a year: 80 to 99 are the last century's (satellite navigation begins in 1980).
pub(crate) fn full_year(two_digits: u32) -> u32 {
    if two_digits >= 80 { 1900 + two_digits } else { 2000 + two_digits }
}

/// Days since 1970-01-01; `None` for a day that the calendar does not have.
pub(crate) fn day_number(year: u32, month: u32, day: u32) -> Option<i64> {
    /// 1970-01-01 counted from 0001-01-01 = 1.
    const UNIX_DAY_FROM_CE: i64 = 719_163;
    let date = NaiveDate::from_ymd_opt(i32::try_from(year).ok()?, month, day)?;
    Some(i64::from(date.num_days_from_ce()) - UNIX_DAY_FROM_CE)
}

/// Seconds of `hh:mm:ss(.sss)`; `mm:ss(.sss)` too where nothing follows.
pub(crate) fn clock(cell: &[u8]) -> Option<f64> {
    let cell = cell.trim_ascii();
    let cell = cell.strip_suffix(b"Z").unwrap_or(cell);
    if let Some((seconds, rest)) = clock_prefix(cell) {
        return rest.is_empty().then_some(seconds);
    }
    let colon = cell.iter().position(|byte| *byte == b':')?;
    let minutes = digits(&cell[..colon], 1, 4)?;
    let (seconds, rest) = seconds_prefix(&cell[colon + 1..])?;
    rest.is_empty().then_some(f64::from(minutes) * 60.0 + seconds)
}

fn clock_prefix(cell: &[u8]) -> Option<(f64, &[u8])> {
    let first = cell.iter().position(|byte| *byte == b':')?;
    let second = first + 1 + cell[first + 1..].iter().position(|byte| *byte == b':')?;
    let hours = digits(&cell[..first], 1, 2).filter(|it| *it < 24)?;
    let minutes = digits(&cell[first + 1..second], 1, 2).filter(|it| *it < 60)?;
    let (seconds, rest) = seconds_prefix(&cell[second + 1..])?;
    Some((f64::from(hours * 3600 + minutes * 60) + seconds, rest))
}

/// `ss(.sss)` at the start of `cell` and what follows it. A leap second 60 is let pass.
fn seconds_prefix(cell: &[u8]) -> Option<(f64, &[u8])> {
    let whole = cell.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let seconds = digits(cell.get(..whole)?, 1, 2).filter(|it| *it <= 60)?;
    let rest = &cell[whole..];
    match rest {
        [b'.' | b',', fraction @ ..] => {
            let places = fraction.iter().take_while(|byte| byte.is_ascii_digit()).count();
            let (mut value, mut scale) = (0.0, 1.0);
            for byte in fraction[..places].iter().take(15) {
                value = value * 10.0 + f64::from(byte - b'0');
                scale *= 10.0;
            }
            Some((f64::from(seconds) + value / scale, &fraction[places..]))
        }
        _ => Some((f64::from(seconds), rest)),
    }
}

/// Outer `None`: no zone and not empty either. Inner `None`: no zone given.
fn zone_seconds(rest: &[u8]) -> Option<Option<f64>> {
    let (sign, digits_of_zone) = match rest {
        b"" => return Some(None),
        b"Z" | b"z" | b"UTC" | b"GMT" => return Some(Some(0.0)),
        [b'+', zone @ ..] => (1.0, zone),
        [b'-', zone @ ..] => (-1.0, zone),
        _ => return None,
    };
    let (hours, minutes) = match digits_of_zone {
        [h1, h2] => (digits(&[*h1, *h2], 2, 2)?, 0),
        [h1, h2, b':', m1, m2] | [h1, h2, m1, m2] => (digits(&[*h1, *h2], 2, 2)?, digits(&[*m1, *m2], 2, 2)?),
        _ => return None,
    };
    (hours < 24 && minutes < 60).then(|| Some(sign * f64::from(hours * 3600 + minutes * 60)))
}

fn digits(bytes: &[u8], least: usize, most: usize) -> Option<u32> {
    if bytes.len() < least || bytes.len() > most {
        return None;
    }
    bytes.iter().try_fold(0_u32, |sum, byte| byte.is_ascii_digit().then(|| sum * 10 + u32::from(byte - b'0')))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utc(cell: &str) -> Option<String> {
        let (moment, _) = date_time(cell.as_bytes(), DateOrder::DayFirst)?;
        Some(utc_of(moment.day, moment.second)?.to_rfc3339())
    }

    /// Against chrono's own reading of RFC 3339.
    #[test]
    fn rfc_3339_is_read_as_chrono_reads_it() {
        for cell in ["2024-02-29T23:59:59.25Z", "2024-01-01T00:30:00+02:00", "1999-12-31T23:00:00.000001-05:30"] {
            let expected = DateTime::parse_from_rfc3339(cell).unwrap().with_timezone(&Utc).to_rfc3339();
            assert_eq!(utc(cell).as_deref(), Some(expected.as_str()));
        }
    }

    #[test]
    fn relatives_of_rfc_3339_are_read() {
        assert_eq!(utc("2024/05/01 12:34:56,5").unwrap(), "2024-05-01T12:34:56.500+00:00");
        assert_eq!(utc("01.05.2024 12:34:56").unwrap(), "2024-05-01T12:34:56+00:00");
        for bad in
            ["2024-02-30T00:00:00Z", "2024-01-01T25:00:00Z", "2024-01-01", "12:00:00", "2024-01-01T12:00:00 noon"]
        {
            assert_eq!(utc(bad), None, "{bad}");
        }
    }

    #[test]
    fn a_missing_zone_is_told() {
        assert!(!date_time(b"2024-05-01T12:00:00", DateOrder::DayFirst).unwrap().1);
        assert!(date_time(b"2024-05-01T12:00:00Z", DateOrder::DayFirst).unwrap().1);
    }

    #[test]
    fn clocks_are_read() {
        assert_eq!(clock(b"01:02:03.5"), Some(3723.5));
        assert_eq!(clock(b"02:03,25"), Some(123.25));
        for bad in ["24:00:00", "1:60:00", "12", "a:b:c", "1:2:3x"] {
            assert_eq!(clock(bad.as_bytes()), None, "{bad}");
        }
    }

    #[test]
    fn the_date_order_is_kept() {
        assert_eq!(date(b"03/04/2024", DateOrder::DayFirst), day_number(2024, 4, 3));
        assert_eq!(date(b"03/04/2024", DateOrder::MonthFirst), day_number(2024, 3, 4));
        assert_eq!(date(b"3.4.24", DateOrder::MonthFirst), day_number(2024, 4, 3));
        assert_eq!(date(b"20240403", DateOrder::DayFirst), day_number(2024, 4, 3));
    }
}
