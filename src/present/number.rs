//! Numbers as people read them. The digits of a figure follow its interval: none beyond the first uncertain one.

use chrono::{DateTime, SecondsFormat, Utc};

use crate::session::Estimate;
use crate::units::SpeedUnit;

/// No figure is shown finer than thousandths, whatever its interval claims.
const MOST_DECIMALS: usize = 3;

/// How many decimals a figure with this 95 % half-width deserves: down to the first digit of the half-width.
/// Degenerate: a half-width that is zero, negative or not finite says nothing, and gives `MOST_DECIMALS`.
pub fn decimals(ci95: f64) -> usize {
    if !(ci95.is_finite() && ci95 > 0.0) {
        return MOST_DECIMALS;
    }
    // Half-widths that round up to the next power of ten (0.96 → 1) count as that power.
    (0..MOST_DECIMALS).find(|it| ci95 * 10_f64.powi(i32::try_from(*it).unwrap_or(0)) >= 0.95).unwrap_or(MOST_DECIMALS)
}

/// A number with fixed decimals; never "-0.0".
pub fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|it| matches!(it, b'0' | b'.')) => rest.to_owned(),
        _ => text,
    }
}

/// "12.34 ±0.05": a figure with its interval, in the figure's own unit.
pub fn interval(estimate: Estimate) -> String {
    let digits = decimals(estimate.ci95);
    format!("{} ±{}", fixed(estimate.value, digits), fixed(estimate.ci95, digits))
}

/// A speed in the reader's unit, without the symbol; digits by the interval in that unit.
pub fn speed(speed_mps: Estimate, unit: SpeedUnit) -> String {
    fixed(unit.from_mps(speed_mps.value), decimals(unit.from_mps(speed_mps.ci95)))
}

/// "m:ss.mmm" for a lap time; hours are counted in the minutes.
pub fn lap_time(time_s: Estimate) -> String {
    clock_time(time_s.value, decimals(time_s.ci95))
}

/// "m:ss.mmm" with the given decimals, rounded once so that 59.9996 s becomes 1:00.000.
pub fn clock_time(time_s: f64, decimals: usize) -> String {
    let decimals = decimals.min(9);
    let scale = 10_u64.pow(u32::try_from(decimals).unwrap_or(0));
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "not negative; float to integer casts saturate"
    )]
    let ticks = (time_s.abs() * scale as f64).round() as u64;
    let (whole_s, part) = (ticks / scale, ticks % scale);
    let sign = if time_s < 0.0 && ticks > 0 { "-" } else { "" };
    let (minutes, seconds) = (whole_s / 60, whole_s % 60);
    if decimals == 0 {
        format!("{sign}{minutes}:{seconds:02}")
    } else {
        format!("{sign}{minutes}:{seconds:02}.{part:0decimals$}")
    }
}

/// A difference with its sign, or "level" where it lies inside the two intervals together.
/// Units: those of the estimates. Source: design, "Each figure carries a 95 % interval".
pub fn difference(value: Estimate, reference: Estimate) -> String {
    if !value.differs_from(reference) {
        return "level".to_owned();
    }
    let digits = decimals(value.ci95.hypot(reference.ci95));
    let difference = value.value - reference.value;
    let sign = if difference > 0.0 { "+" } else { "" };
    format!("{sign}{}", fixed(difference, digits))
}

/// "1 h 02 min 03 s", "2 min 05 s", "12.3 s": how long something lasts.
pub fn duration(duration_s: f64) -> String {
    if duration_s.abs() < 60.0 {
        let text = fixed(duration_s, 1);
        if text.trim_start_matches('-') != "60.0" {
            return format!("{text} s");
        }
    }
    #[allow(clippy::cast_possible_truncation, reason = "float to integer casts saturate")]
    let seconds = duration_s.round() as i64;
    let (hours, minutes, seconds) = (seconds / 3600, (seconds / 60 % 60).abs(), (seconds % 60).abs());
    if hours == 0 {
        format!("{minutes} min {seconds:02} s")
    } else {
        format!("{hours} h {minutes:02} min {seconds:02} s")
    }
}

/// RFC 3339 in UTC with milliseconds.
pub fn utc(at: DateTime<Utc>) -> String {
    at.to_rfc3339_opts(SecondsFormat::Millis, true)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimate(value: f64, ci95: f64) -> Estimate {
        Estimate { value, ci95 }
    }

    #[test]
    fn digits_follow_the_interval() {
        let cases = [(2.0, 0), (0.96, 0), (0.94, 1), (0.3, 1), (0.04, 2), (0.0096, 2), (0.004, 3), (1e-6, 3), (0.0, 3)];
        for (ci95, expected) in cases {
            assert_eq!(decimals(ci95), expected, "{ci95}");
        }
        assert_eq!(decimals(f64::NAN), 3);
        assert_eq!(interval(estimate(12.345, 0.051)), "12.35 ±0.05");
        assert_eq!(interval(estimate(-0.001, 0.051)), "0.00 ±0.05");
    }

    #[test]
    fn lap_times_round_once() {
        assert_eq!(clock_time(59.9996, 3), "1:00.000");
        assert_eq!(clock_time(59.9994, 3), "0:59.999");
        assert_eq!(clock_time(3725.25, 1), "62:05.3");
        assert_eq!(clock_time(61.0, 0), "1:01");
        assert_eq!(clock_time(-0.5, 1), "-0:00.5");
        assert_eq!(clock_time(-0.01, 1), "0:00.0");
        assert_eq!(lap_time(estimate(52.3456, 0.04)), "0:52.35");
    }

    #[test]
    fn speeds_are_in_the_readers_unit() {
        assert_eq!(speed(estimate(10.0, 0.1), SpeedUnit::KilometresPerHour), "36.0");
        assert_eq!(speed(estimate(10.0, 0.1), SpeedUnit::MetresPerSecond), "10.0");
        assert_eq!(speed(estimate(10.0, 0.3), SpeedUnit::KilometresPerHour), "36");
    }

    #[test]
    fn a_difference_inside_the_interval_is_level() {
        assert_eq!(difference(estimate(10.0, 0.3), estimate(10.4, 0.3)), "level");
        assert_eq!(difference(estimate(10.0, 0.3), estimate(10.5, 0.3)), "-0.5");
        assert_eq!(difference(estimate(10.5, 0.03), estimate(10.0, 0.03)), "+0.50");
    }

    #[test]
    fn durations_read_like_speech() {
        assert_eq!(duration(12.34), "12.3 s");
        assert_eq!(duration(59.96), "1 min 00 s");
        assert_eq!(duration(125.4), "2 min 05 s");
        assert_eq!(duration(3723.0), "1 h 02 min 03 s");
    }
}
