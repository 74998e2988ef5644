//! Two passes at the same place, in words: the line under each picture.

use crate::present::{UNKNOWN, difference, one_line, speed, whole_speed};
use crate::session::Estimate;
use crate::units::SpeedUnit;

/// What a session is called whose driver is not known, beside one under review.
pub const OTHER_SESSION: &str = "Other session";

/// What [`difference`] calls two figures that their intervals do not part.
const LEVEL: &str = "level";

/// One pass at the place on show.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PassHere<'a> {
    /// "Lap 3", and whose where that is another's.
    pub name: &'a str,
    pub speed_mps: Option<Estimate>,
    /// Since the entry gate that both have crossed last.
    pub since_gate_s: Option<Estimate>,
}

/// "Lap 3 · 83.4 km/h".
pub fn pass_here(here: PassHere<'_>, unit: SpeedUnit) -> String {
    let speed = here.speed_mps.map_or_else(|| UNKNOWN.to_owned(), |it| speed(it, unit));
    format!("{} · {speed} {unit}", one_line(here.name))
}

/// "Lap 5 · 81.2 km/h (-2.2) · +0.12 s since the entry gate of T4": the second pass and what sets it apart from the
/// first. What lies inside the intervals is level; what is not known is left out.
pub fn pass_beside(second: PassHere<'_>, first: PassHere<'_>, corner: Option<&str>, unit: SpeedUnit) -> String {
    let in_unit = |it: Estimate| Estimate { value: unit.from_mps(it.value), ci95: unit.from_mps(it.ci95) };
    let apart =
        second.speed_mps.zip(first.speed_mps).map(|(second, first)| difference(in_unit(second), in_unit(first)));
    let apart = apart.map(|it| format!(" ({it})")).unwrap_or_default();
    let later = second.since_gate_s.zip(first.since_gate_s).zip(corner).map(|((second, first), corner)| {
        let later = if second.differs_from(first) { difference(second, first) + " s" } else { "level".to_owned() };
        format!(" · {later} since the entry gate of {}", one_line(corner))
    });
    format!("{}{apart}{}", pass_here(second, unit), later.unwrap_or_default())
}

/// Two passes at the same place, for the strip below their pictures.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct BesideWords {
    /// "Lap 3", "83.4 km/h".
    pub first: [String; 2],
    pub second: [String; 2],
    /// How much later the second is since the entry gate, and how much faster: "+0.12 s", "-2.2 km/h"; "level", or empty
    /// where it is not known.
    pub later: String,
    pub faster: String,
}

pub fn beside_words(first: PassHere<'_>, second: PassHere<'_>, unit: SpeedUnit) -> BesideWords {
    let in_unit = |it: Estimate| Estimate { value: unit.from_mps(it.value), ci95: unit.from_mps(it.ci95) };
    let with = |words: String, symbol: &str| if words == LEVEL { words } else { format!("{words} {symbol}") };
    let whole = |it: Option<Estimate>| whole_speed(it.map(|it| it.value), unit);
    let later = second.since_gate_s.zip(first.since_gate_s).map(|(second, first)| with(difference(second, first), "s"));
    let speeds = second.speed_mps.zip(first.speed_mps);
    let faster = speeds.map(|(second, first)| with(difference(in_unit(second), in_unit(first)), unit.symbol()));
    BesideWords {
        first: [one_line(first.name), whole(first.speed_mps)],
        second: [one_line(second.name), whole(second.speed_mps)],
        later: later.unwrap_or_default(),
        faster: faster.unwrap_or_default(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn here(name: &str, speed_mps: f64, since_gate_s: Option<f64>) -> PassHere<'_> {
        PassHere {
            name,
            speed_mps: Some(Estimate { value: speed_mps, ci95: 0.1 }),
            since_gate_s: since_gate_s.map(|value| Estimate { value, ci95: 0.02 }),
        }
    }

    #[test]
    fn the_second_pass_is_told_against_the_first() {
        let unit = SpeedUnit::default();
        let (first, second) = (here("Lap 3", 20.0, Some(1.5)), here("Lap 5", 19.0, Some(1.62)));
        assert_eq!(pass_here(first, unit), "Lap 3 · 72.0 km/h");
        assert_eq!(
            pass_beside(second, first, Some("T4"), unit),
            "Lap 5 · 68.4 km/h (-3.6) · +0.12 s since the entry gate of T4"
        );
    }

    #[test]
    fn the_strip_tells_what_sets_two_passes_apart() {
        let words = beside_words(here("Lap 3", 20.0, Some(1.5)), here("Lap 5", 19.0, Some(1.62)), SpeedUnit::default());
        assert_eq!((words.later.as_str(), words.faster.as_str()), ("+0.12 s", "-3.6 km/h"));
        assert_eq!((words.first[1].as_str(), words.second[1].as_str()), ("72 km/h", "68 km/h"));
        let level = beside_words(here("Lap 3", 20.0, Some(1.5)), here("Lap 5", 20.0, None), SpeedUnit::default());
        assert_eq!((level.later.as_str(), level.faster.as_str()), ("", "level"));
    }

    #[test]
    fn what_is_inside_the_intervals_is_level_and_what_is_unknown_left_out() {
        let unit = SpeedUnit::default();
        let (first, second) = (here("Lap 3", 20.0, Some(1.5)), here("Lap 5", 20.05, Some(1.51)));
        let words = pass_beside(second, first, Some("T4"), unit);
        assert_eq!(words, "Lap 5 · 72.2 km/h (level) · level since the entry gate of T4");
        assert_eq!(pass_beside(here("Lap 5", 20.0, None), first, Some("T4"), unit), "Lap 5 · 72.0 km/h (level)");
        let unknown = PassHere { name: "Lap 6", ..PassHere::default() };
        assert_eq!(pass_beside(unknown, first, None, unit), "Lap 6 · – km/h");
    }
}
