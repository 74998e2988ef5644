//! The words of films: what stands on cards, in chapters and in lists of clips.

use crate::corners::figure::{Figure, Standing, standing};
use crate::present::{decimals, figure, figure_unit, figure_value, fixed, one_line, signed};
use crate::session::Estimate;
use crate::units::SpeedUnit;

/// "Hairpin · Lap 5", with who drove where that is to be told apart.
pub fn clip_name(corner: &str, lap: u32, driver: Option<&str>) -> String {
    let driver = driver.map(|it| format!(" · {}", one_line(it))).unwrap_or_default();
    format!("{} · Lap {lap}{driver}", one_line(corner))
}

/// "Exit gate speed".
pub fn figure_heading(of: Figure) -> String {
    let name = figure(of);
    let mut letters = name.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// "61.2 ±0.4 km/h", or a dash.
pub fn figure_with_unit(of: Figure, value: Option<Estimate>, unit: SpeedUnit) -> String {
    let Some(value) = value else { return crate::present::UNKNOWN.to_owned() };
    let (number, half_width) = figure_value(of, value, unit);
    [number.as_str(), &half_width, figure_unit(of, unit)]
        .into_iter()
        .filter(|it| !it.is_empty())
        .collect::<Vec<_>>()
        .join(" ")
}

/// "-1.8 ±0.6 km/h", "level", or nothing where one of the two is not known: a figure against another with the interval
/// of the difference.
pub fn figure_apart(of: Figure, value: Option<Estimate>, best: Option<Estimate>, unit: SpeedUnit) -> String {
    let (Some(value), Some(best)) = (value, best) else { return String::new() };
    if standing(of, Some(value), Some(best)) == Standing::Level {
        return "level".to_owned();
    }
    let in_unit = |it: f64| if of.is_speed() { unit.from_mps(it) } else { it };
    let ci95 = in_unit(value.ci95.hypot(best.ci95));
    let digits = decimals(ci95);
    format!("{} ±{} {}", signed(in_unit(value.value - best.value), digits), fixed(ci95, digits), figure_unit(of, unit))
}

/// "best of 8", "3rd of 8"; of one there is no order.
pub fn rank(rank: Option<usize>, of: usize) -> String {
    match rank {
        Some(1) if of > 1 => format!("best of {of}"),
        Some(rank) if of > 1 => format!("{} of {of}", ordinal(rank)),
        _ => String::new(),
    }
}

/// "1st", "2nd", "3rd", "4th", "11th".
fn ordinal(number: usize) -> String {
    let ending = match (number % 10, number % 100) {
        (_, 11..=13) => "th",
        (1, _) => "st",
        (2, _) => "nd",
        (3, _) => "rd",
        _ => "th",
    };
    format!("{number}{ending}")
}

/// How many passes were not chosen for want of footage.
pub fn without_footage(count: usize) -> String {
    let (passes, are) = if count == 1 { ("pass", "is") } else { ("passes", "are") };
    format!("{count} {passes} that would fit {are} not in the footage")
}

/// The film of a reel is done; `left_out`: the first reason why a clip is not in it.
pub fn film_is_written(film: &str, left_out: Option<&str>) -> String {
    let more = left_out.map(|it| format!("; {it}")).unwrap_or_default();
    format!("{}: is written{more}", one_line(film))
}

/// Nothing is written over in the window.
pub fn film_is_there(film: &str) -> String {
    format!("{}: is there already; give another name", one_line(film))
}

/// Why a clip of a reel is left out.
pub fn cut_left_out(lap: u32, corner: u32) -> String {
    format!("left out: lap {lap}, corner {corner}: the session has no such pass, or the footage does not show it")
}

/// "against the best, lap 4".
pub fn against_best(lap: u32) -> String {
    format!("against the best, lap {lap}")
}

/// "8 clips", "1 clip".
pub fn clips(count: usize) -> String {
    if count == 1 { "1 clip".to_owned() } else { format!("{count} clips") }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimate(value: f64, ci95: f64) -> Option<Estimate> {
        Some(Estimate { value, ci95 })
    }

    #[test]
    fn figures_stand_with_their_interval_and_against_the_best() {
        let unit = SpeedUnit::KilometresPerHour;
        let text = |value, best| figure_apart(Figure::ExitGateSpeed, value, best, unit);
        assert_eq!(figure_with_unit(Figure::ExitGateSpeed, estimate(17.0, 0.1), unit), "61.2 ±0.4 km/h");
        assert_eq!(figure_with_unit(Figure::Time, None, unit), "–");
        assert_eq!(text(estimate(17.0, 0.1), estimate(17.5, 0.1)), "-1.8 ±0.5 km/h");
        assert_eq!(text(estimate(17.0, 0.1), estimate(17.1, 0.1)), "level");
        assert_eq!(text(estimate(17.0, 0.1), None), "");
        assert_eq!(figure_heading(Figure::ExitCost), "Cost of the exit");
    }

    #[test]
    fn ranks_read_like_speech() {
        assert_eq!([1, 2, 3, 4, 11, 12, 21].map(ordinal), ["1st", "2nd", "3rd", "4th", "11th", "12th", "21st"]);
        assert_eq!(
            (rank(Some(1), 8), rank(Some(2), 8), rank(Some(1), 1), rank(None, 3)),
            ("best of 8".into(), "2nd of 8".into(), String::new(), String::new())
        );
        assert_eq!(clip_name("Hair\npin", 3, Some("A")), "Hair\\npin · Lap 3 · A");
    }
}
