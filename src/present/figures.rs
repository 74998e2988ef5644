//! Words and numbers of the review window: figures of a pass, how they stand, where the playhead is.

use crate::corners::figure::{ApexTiming, Figure, Standing};
use crate::present::{UNKNOWN, clock_time, decimals, fixed, one_line};
use crate::session::Estimate;
use crate::units::SpeedUnit;

/// A figure's name as in the glossary.
pub fn figure(figure: Figure) -> &'static str {
    match figure {
        Figure::EntrySpeed => "entry speed",
        Figure::MinSpeed => "minimum speed",
        Figure::ExitSpeed => "exit speed",
        Figure::EntryGateSpeed => "entry gate speed",
        Figure::ExitGateSpeed => "exit gate speed",
        Figure::Time => "time in corner",
        Figure::ExitCost => "cost of the exit",
        Figure::ApexPlace => "apex place",
    }
}

/// A figure's name over a narrow column; its unit stands beside it.
pub fn figure_short(figure: Figure) -> &'static str {
    match figure {
        Figure::EntrySpeed => "Entry",
        Figure::MinSpeed => "Minimum",
        Figure::ExitSpeed => "Exit",
        Figure::EntryGateSpeed => "Entry gate",
        Figure::ExitGateSpeed => "Exit gate",
        Figure::Time => "Time",
        Figure::ExitCost => "Exit cost",
        Figure::ApexPlace => "Apex place",
    }
}

/// The symbol beside a figure: the reader's unit of speed, s or m.
pub fn figure_unit(figure: Figure, unit: SpeedUnit) -> &'static str {
    match figure {
        Figure::Time | Figure::ExitCost => "s",
        Figure::ApexPlace => "m",
        _ => unit.symbol(),
    }
}

/// A figure in the reader's unit: the value and "±half-width", the latter empty where there is none to tell.
/// Digits follow the interval; apex places carry their sign.
pub fn figure_value(figure: Figure, estimate: Estimate, unit: SpeedUnit) -> (String, String) {
    let in_unit = |it: f64| if figure.is_speed() { unit.from_mps(it) } else { it };
    let (value, ci95) = (in_unit(estimate.value), in_unit(estimate.ci95));
    // An interval that says nothing lets no digits through but the first.
    let digits = if ci95.is_finite() { decimals(ci95) } else { 1 };
    let text = if figure == Figure::ApexPlace { signed(value, digits) } else { fixed(value, digits) };
    let half_width = if ci95.is_finite() && ci95 > 0.0 { format!("±{}", fixed(ci95, digits)) } else { String::new() };
    (text, half_width)
}

/// A number with its sign; zero has none.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    let is_zero = text.bytes().all(|it| matches!(it, b'0' | b'.'));
    if is_zero || text.starts_with('-') { text } else { format!("+{text}") }
}

/// How a figure stands against the best pass's.
pub fn standing(standing: Standing) -> &'static str {
    match standing {
        Standing::Best => "best pass",
        Standing::Better => "better",
        Standing::Level => "level",
        Standing::Worse => "worse",
        Standing::Earlier => "earlier",
        Standing::Later => "later",
        Standing::Unknown => "not compared",
    }
}

/// "early", "middle", "late".
pub fn apex_timing(timing: ApexTiming) -> &'static str {
    match timing {
        ApexTiming::Early => "early",
        ApexTiming::Middle => "middle",
        ApexTiming::Late => "late",
    }
}

/// "good exit" or "bad exit".
pub fn exit_verdict(is_good: bool) -> &'static str {
    if is_good { "good exit" } else { "bad exit" }
}

/// A bare speed in whole units with its symbol, or a dash.
pub fn whole_speed(speed_mps: Option<f64>, unit: SpeedUnit) -> String {
    speed_mps
        .filter(|it| it.is_finite())
        .map_or_else(|| UNKNOWN.to_owned(), |it| format!("{} {unit}", fixed(unit.from_mps(it), 0)))
}

/// Whole metres, "412 m"; the answer to where on the lap.
pub fn whole_metres(metres: f64) -> String {
    format!("{} m", fixed(metres, 0))
}

/// Where the playhead is and what is to be read there, for eyes and for screen readers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlayheadWords<'a> {
    /// Along the lap; `None` for a log without positions.
    pub distance_m: Option<f64>,
    /// Since the start of the lap, s.
    pub since_start_s: f64,
    pub speed_mps: Option<f64>,
    /// The corner's name where the playhead is in one.
    pub corner: Option<&'a str>,
}

/// "412 m, 71 km/h, T3"; without positions "0:31.4, 71 km/h, T3".
pub fn playhead(words: PlayheadWords<'_>, unit: SpeedUnit) -> String {
    let place = words.distance_m.map_or_else(|| clock_time(words.since_start_s, 1), whole_metres);
    let corner = words.corner.map_or_else(|| "between corners".to_owned(), crate::present::one_line);
    let speed = words.speed_mps.map_or_else(|| "no speed here".to_owned(), |it| whole_speed(Some(it), unit));
    format!("{place}, {speed}, {corner}")
}

/// "Lap 3", or what stands for it where the log has no laps.
pub fn lap_name(lap: Option<u32>) -> String {
    lap.map_or_else(|| "Whole log, no laps".to_owned(), |it| format!("Lap {it}"))
}

/// "Lap 3", or "Kim, lap 3" where it is of another session than the one under review.
pub fn lap_of(session: Option<&str>, lap: u32) -> String {
    session.map_or_else(|| lap_name(Some(lap)), |it| format!("{}, lap {lap}", one_line(it)))
}

/// What one pass gains on another by the exit gate: "lap 5 is 0.12 ±0.03 s quicker than lap 3", or level.
pub fn quicker(this: (u32, Estimate), other: (u32, Estimate)) -> String {
    let ((this_lap, this_s), (other_lap, other_s)) = (this, other);
    if !this_s.differs_from(other_s) {
        return format!("lap {this_lap} and lap {other_lap} are level");
    }
    let both = this_s.ci95.hypot(other_s.ci95);
    let (first, second) = if this_s.value < other_s.value { (this_lap, other_lap) } else { (other_lap, this_lap) };
    let gain_s = Estimate { value: (this_s.value - other_s.value).abs(), ci95: both };
    format!("lap {first} is {} s quicker than lap {second}", crate::present::interval(gain_s))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimate(value: f64, ci95: f64) -> Estimate {
        Estimate { value, ci95 }
    }

    #[test]
    fn figures_are_in_the_readers_unit_with_the_digits_they_deserve() {
        let kmh = SpeedUnit::KilometresPerHour;
        let text = |figure, value, ci95| figure_value(figure, estimate(value, ci95), kmh);
        assert_eq!(text(Figure::MinSpeed, 20.0, 0.1), ("72.0".into(), "±0.4".into()));
        assert_eq!(text(Figure::Time, 3.456, 0.02), ("3.46".into(), "±0.02".into()));
        assert_eq!(text(Figure::ApexPlace, 3.4, 1.2), ("+3".into(), "±1".into()));
        assert_eq!(text(Figure::ApexPlace, -3.4, f64::INFINITY), ("-3.4".into(), String::new()));
        assert_eq!(signed(0.04, 1), "0.0");
    }

    #[test]
    fn the_playhead_is_told_in_words() {
        let words =
            PlayheadWords { distance_m: Some(411.7), since_start_s: 31.4, speed_mps: Some(19.8), corner: Some("T3") };
        assert_eq!(playhead(words, SpeedUnit::KilometresPerHour), "412 m, 71 km/h, T3");
        let bare = PlayheadWords { distance_m: None, speed_mps: None, corner: None, ..words };
        assert_eq!(playhead(bare, SpeedUnit::MilesPerHour), "0:31.4, no speed here, between corners");
    }

    #[test]
    fn a_gain_inside_the_intervals_is_level() {
        let (three, five) = (estimate(3.30, 0.02), estimate(3.18, 0.02));
        assert_eq!(quicker((3, three), (5, five)), "lap 5 is 0.12 ±0.03 s quicker than lap 3");
        assert_eq!(quicker((5, five), (3, three)), "lap 5 is 0.12 ±0.03 s quicker than lap 3");
        assert_eq!(quicker((3, three), (4, estimate(3.31, 0.02))), "lap 3 and lap 4 are level");
        assert_eq!((lap_of(None, 3), lap_of(Some("Kim\nR."), 3)), ("Lap 3".to_owned(), "Kim\\nR., lap 3".to_owned()));
    }
}
