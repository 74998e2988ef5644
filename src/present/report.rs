//! Words of the report's pages that are sentences or names of values; its headings stand in its pages.

use crate::findings::{Evidence, Measure};
use crate::present::{decimals, fixed, interval};
use crate::session::Estimate;

/// Over the findings where there are none. `is_told`: the session has enough passes to tell.
pub fn nothing_found(is_told: bool) -> &'static str {
    if is_told {
        "Nothing stands out from the rest of the session."
    } else {
        "No findings: they need positions and a few timed laps."
    }
}

/// Why a report has no pictures: no footage was named.
pub const REPORT_WITHOUT_FOOTAGE: &str = "There is no footage to this session, so this report has no stills.";

/// The same, in a build that cannot look into footage.
pub const REPORT_WITHOUT_MEDIA: &str =
    "This report was made by a build that cannot look into footage, so it has no stills.";

/// The same, for a reason that is one sentence without a final dot.
pub fn report_footage_unusable(reason: &str) -> String {
    format!("The footage could not be used, so this report has no stills: {}.", super::one_line(reason))
}

/// In the window, once a report is in its folder. `left_out`: why a still is not in it.
pub fn report_is_written(folder: &str, left_out: Option<&str>) -> String {
    let without = left_out.map(|why| format!("; not every still could be taken ({why})")).unwrap_or_default();
    super::one_line(&format!("The report is in {folder}{without}"))
}

/// In the window, where a report would have to be written over what is there.
pub fn report_is_there(folder: &str) -> String {
    super::one_line(&format!("{folder}: is there already; give another name"))
}

/// How many more findings there are than are shown whole.
pub fn more_findings(count: usize) -> String {
    if count == 1 { "One more finding".to_owned() } else { format!("{count} more findings") }
}

/// How the theoretical best stands against the best lap.
pub fn against_best_lap(time_s: Estimate, best_s: Estimate) -> String {
    if !time_s.differs_from(best_s) {
        return "level with the best lap".to_owned();
    }
    let apart_s = Estimate { value: (time_s.value - best_s.value).abs(), ci95: time_s.ci95.hypot(best_s.ci95) };
    let side = if time_s.value < best_s.value { "quicker" } else { "slower" };
    format!("{} s {side} than the best lap", interval(apart_s))
}

/// What a figure of the evidence is, with its unit.
pub fn measure(measure: Measure) -> &'static str {
    match measure {
        Measure::RiseOverFall => "rise longer than fall, % of the curve",
        Measure::ApexGapM => "gap at the apex, m",
        Measure::EntryMarginM => "left to the outside at the turn-in, m",
        Measure::ExitMarginM => "left to the outside at the exit, m",
        Measure::GripBefore => "grip used before the middle, %",
        Measure::GripBehind => "grip used behind the middle, %",
        Measure::Drive => "drive used to the exit, %",
        Measure::Dip => "easing in the middle, %",
        Measure::StretchS => "time with the straight behind, s",
        Measure::WithApproachS => "time with the straights, s",
        Measure::SlowestBehindApexM => "slowest place behind the apex, m",
        Measure::ApexTurned => "apex behind the middle of the turning, %",
        Measure::ExitCostS => "of the cost on the straight behind, s",
    }
}

/// The figure with its interval, and what is usual, in the unit of [`measure`].
pub fn evidence(it: &Evidence) -> (String, String) {
    let is_length_or_time = matches!(
        it.measure,
        Measure::ApexGapM
            | Measure::EntryMarginM
            | Measure::ExitMarginM
            | Measure::StretchS
            | Measure::WithApproachS
            | Measure::SlowestBehindApexM
            | Measure::ExitCostS
    );
    let scale = if is_length_or_time { 1.0 } else { 100.0 };
    let value = Estimate { value: scale * it.value.value, ci95: scale * it.value.ci95 };
    let digits = if value.ci95.is_finite() { decimals(value.ci95) } else { 1 };
    let shown = if value.ci95.is_finite() && value.ci95 > 0.0 { interval(value) } else { fixed(value.value, 1) };
    (shown, fixed(scale * it.usual, digits.min(2)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_are_in_per_cent_and_lengths_are_not() {
        let of = |measure, value, ci95| evidence(&Evidence { measure, value: Estimate { value, ci95 }, usual: 0.9 });
        assert_eq!(of(Measure::Drive, 0.654, 0.02), ("65 ±2".to_owned(), "90".to_owned()));
        assert_eq!(of(Measure::ApexGapM, 2.34, 0.1), ("2.3 ±0.1".to_owned(), "0.9".to_owned()));
        assert_eq!(of(Measure::StretchS, 7.0, 0.0).0, "7.0");
    }

    #[test]
    fn the_theoretical_best_is_level_or_apart() {
        let against = |value| against_best_lap(Estimate { value, ci95: 0.03 }, Estimate { value: 40.0, ci95: 0.04 });
        assert_eq!(against(39.97), "level with the best lap");
        assert_eq!(against(39.7), "0.30 ±0.05 s quicker than the best lap");
    }

    #[test]
    fn a_reason_is_one_line_of_a_sentence() {
        let said = report_footage_unusable("a.mp4: gone\nfor good");
        assert_eq!(said, "The footage could not be used, so this report has no stills: a.mp4: gone\\nfor good.");
        assert_eq!(
            report_is_written("out", Some("a.mp4: gone")),
            "The report is in out; not every still could be taken (a.mp4: gone)"
        );
        assert_eq!(report_is_there("a\nb"), "a\\nb: is there already; give another name");
        assert_eq!((more_findings(1), more_findings(3)), ("One more finding".to_owned(), "3 more findings".to_owned()));
    }
}
