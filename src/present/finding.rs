//! Findings as people read them: what was seen first, then what to try. Takes findings, gives sentences and labels.
//! No sentence asks for more than the driver's own passes have shown to hold: advice is to do as elsewhere, never faster.

use crate::findings::stats::Pooled;
use crate::findings::{Finding, FindingKind, LineKind, Measure};
use crate::present::{UNKNOWN, fixed, interval};

/// A finding's name; also the tag that it suggests.
pub fn finding_kind(kind: FindingKind) -> &'static str {
    match kind {
        FindingKind::EarlyTurnIn => "early turn-in",
        FindingKind::EarlyApex => "early apex",
        FindingKind::LateTurnIn => "late turn-in",
        FindingKind::MissedApex => "missed apex",
        FindingKind::EntryWidthLeft => "entry width left",
        FindingKind::ExitWidthLeft => "exit width left",
        FindingKind::EntryTooFast => "entry too fast",
        FindingKind::EntryTooSlow => "entry too slow",
        FindingKind::SlowInTheMiddle => "slow at the slowest point",
        FindingKind::LateOnThePower => "late on the power",
        FindingKind::TwoBites => "two bites at the corner",
        FindingKind::LostTime => "lost time",
    }
}

pub fn line_kind(kind: LineKind) -> &'static str {
    match kind {
        LineKind::Geometric => "geometric",
        LineKind::LateApex => "late apex",
        LineKind::EarlyApex => "early apex",
        LineKind::TightEntry => "tight entry",
        LineKind::InsideEntry => "inside entry",
    }
}

/// "in 6 of 8 passes", and what it costs one of them.
pub fn finding_size(finding: &Finding) -> String {
    let passes = if finding.laps.len() == 1 {
        format!("on lap {}", finding.laps[0])
    } else {
        format!("in {} of {} passes", finding.laps.len(), finding.of)
    };
    if finding.size_s.value.abs() <= finding.size_s.ci95 {
        return format!("{passes}, and costs nothing that can be measured");
    }
    let verb = if finding.size_s.value > 0.0 { "costs" } else { "brings" };
    let size = crate::session::Estimate { value: finding.size_s.value.abs(), ..finding.size_s };
    format!("{passes}, and {verb} {} s there{}", interval(size), of_that_behind(finding))
}

/// How much of the cost comes on the straight, where it is a part worth telling.
fn of_that_behind(finding: &Finding) -> String {
    let behind_s = finding.evidence.iter().find(|it| it.measure == Measure::ExitCostS).map(|it| it.value);
    let told = behind_s.filter(|it| it.value >= TOLD_BEHIND_S && finding.size_s.value >= it.value);
    told.map_or_else(String::new, |it| format!(", of which {} s on the straight behind", fixed(it.value, 2)))
}

/// Hundredths below this are not told apart, s.
const TOLD_BEHIND_S: f64 = 0.02;

/// What was seen: figures against what is usual.
pub fn finding_observation(finding: &Finding) -> String {
    let figure = |wanted: Measure| finding.evidence.iter().find(|it| it.measure == wanted).copied();
    let value = |wanted: Measure, decimals: usize| {
        figure(wanted).map_or_else(String::new, |it| fixed(it.value.value, decimals))
    };
    let usual = |wanted: Measure| figure(wanted).map_or_else(String::new, |it| fixed(it.usual, 1));
    let percent = |wanted: Measure| figure(wanted).map_or_else(String::new, |it| fixed(100.0 * it.value.value, 0));
    match finding.kind {
        FindingKind::EarlyTurnIn => format!(
            "the wheel is turned in slowly and straightened quickly: the rise takes {} % of the curve more than the fall",
            percent(Measure::RiseOverFall)
        ),
        FindingKind::EarlyApex => format!(
            "the kart is nearest to the inside {} % of the turning before its middle, and the wheel is turned in slowly",
            fixed(-100.0 * figure(Measure::ApexTurned).map_or(0.0, |it| it.value.value), 0)
        ),
        FindingKind::LateTurnIn => {
            format!(
                "the wheel is turned in quickly and straightened slowly: the fall takes {} % of the curve more than the \
                 rise",
                fixed(-100.0 * figure(Measure::RiseOverFall).map_or(0.0, |it| it.value.value), 0)
            )
        }
        FindingKind::MissedApex => format!(
            "the apex passes {} m from the inside, elsewhere {} m",
            value(Measure::ApexGapM, 1),
            usual(Measure::ApexGapM)
        ),
        FindingKind::EntryWidthLeft => format!(
            "at the turn-in {} m are left to the outside, elsewhere {} m",
            value(Measure::EntryMarginM, 1),
            usual(Measure::EntryMarginM)
        ),
        FindingKind::ExitWidthLeft => format!(
            "at the exit {} m are left to the outside, elsewhere {} m",
            value(Measure::ExitMarginM, 1),
            usual(Measure::ExitMarginM)
        ),
        FindingKind::EntryTooFast => format!(
            "the grip is used up before the middle, and {} % of it behind; the slowest place lies {} m behind the apex",
            percent(Measure::GripBehind),
            value(Measure::SlowestBehindApexM, 0)
        ),
        FindingKind::EntryTooSlow => format!(
            "before the middle {} % of the grip held elsewhere is used, and the kart speeds up from there",
            percent(Measure::GripBefore)
        ),
        FindingKind::SlowInTheMiddle => {
            format!("{} % of the grip held elsewhere is used through the corner", percent(Measure::GripBehind))
        }
        FindingKind::LateOnThePower => {
            format!("between the hold and the exit {} % of the usual drive is used", percent(Measure::Drive))
        }
        FindingKind::TwoBites => {
            format!("the wheel is eased by {} % in the middle and turned again", percent(Measure::Dip))
        }
        FindingKind::LostTime => {
            let (measure, with) = match figure(Measure::WithApproachS) {
                Some(_) => (Measure::WithApproachS, "with the straights beside it"),
                None => (Measure::StretchS, "with the straight behind it"),
            };
            let usual = figure(measure).map_or_else(String::new, |it| fixed(it.usual, 2));
            let taken = value(measure, 2);
            format!("this pass takes {taken} s {with}, usually {usual} s: traffic, a slide or a mistake")
        }
    }
}

/// Said where no corner of the one session is one of the other.
pub const NOT_BESIDE: &str = "no corner in common: sessions are compared on one circuit and from one start/finish gate; \
                              give the track file with --track";

/// How much a figure differs from pass to pass, in its own unit times `scale`; "<" and the least that would show where it
/// may be measuring alone.
pub fn spread(pooled: &Pooled, scale: f64, digits: usize) -> String {
    if pooled.count < 2 {
        return UNKNOWN.to_owned();
    }
    let is_shown = pooled.spread >= pooled.least_shown;
    let shown = fixed(scale * if is_shown { pooled.spread } else { pooled.least_shown }, digits);
    if is_shown { shown } else { format!("<{shown}") }
}

/// What to try next, as far as the driver's own passes have shown it to hold.
pub fn finding_advice(kind: FindingKind) -> &'static str {
    match kind {
        FindingKind::EarlyTurnIn => "try a later turn-in, as at the other corners, and compare the exits",
        FindingKind::EarlyApex => "try a later turn-in and look for an apex behind the middle, and compare the exits",
        FindingKind::LateTurnIn => "try a calmer, earlier turn-in, as at the other corners",
        FindingKind::MissedApex => "look for a reference point at the inside and let the kart run to it",
        FindingKind::EntryWidthLeft => {
            "come in from as far outside as at the other corners, where no one is beside you"
        }
        FindingKind::ExitWidthLeft => "let the kart run out as far as at the other corners, where no one is beside you",
        FindingKind::EntryTooFast => "brake a little earlier and be back on the power sooner",
        FindingKind::EntryTooSlow => {
            "look at the braking: the corner holds what the others hold, later in the same pass"
        }
        FindingKind::SlowInTheMiddle => {
            "look at the surface and the line first; where both are as elsewhere, there may be something left"
        }
        FindingKind::LateOnThePower => "open the throttle as smoothly as elsewhere while the wheel is straightened",
        FindingKind::TwoBites => "one steady turn of the wheel, as on the passes without a second one",
        FindingKind::LostTime => "look at the footage of this pass",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spread_that_does_not_show_is_never_nothing() {
        let pooled = |spread| Pooled { spread, least_shown: 1.2, count: 7, mean: Estimate { value: 3.0, ci95: 0.1 } };
        assert_eq!(spread(&pooled(0.0), 1.0, 1), "<1.2");
        assert_eq!(spread(&pooled(1.5), 2.0, 1), "3.0");
        assert_eq!(spread(&Pooled { count: 1, ..pooled(0.0) }, 1.0, 1), UNKNOWN);
    }
    use crate::findings::Evidence;
    use crate::session::Estimate;

    fn finding(size_s: f64) -> Finding {
        let gap = Estimate { value: 2.34, ci95: 0.1 };
        Finding {
            kind: FindingKind::MissedApex,
            corner: 3,
            laps: vec![2, 3],
            of: 8,
            size_s: Estimate { value: size_s, ci95: 0.03 },
            evidence: vec![Evidence { measure: Measure::ApexGapM, value: gap, usual: 0.9 }],
            seen_on_lap: 3,
            seen_at_s: 80.0,
        }
    }

    #[test]
    fn the_observation_comes_with_its_figures() {
        assert_eq!(finding_observation(&finding(0.12)), "the apex passes 2.3 m from the inside, elsewhere 0.9 m");
        assert_eq!(finding_size(&finding(0.12)), "in 2 of 8 passes, and costs 0.12 ±0.03 s there");
        assert_eq!(finding_size(&finding(0.02)), "in 2 of 8 passes, and costs nothing that can be measured");
        assert_eq!(finding_size(&finding(-0.05)), "in 2 of 8 passes, and brings 0.05 ±0.03 s there");
    }

    /// The house rule: advice never asks for more speed or later braking.
    #[test]
    fn no_advice_asks_for_more_than_was_shown() {
        for kind in [
            FindingKind::EarlyTurnIn,
            FindingKind::EarlyApex,
            FindingKind::LateTurnIn,
            FindingKind::MissedApex,
            FindingKind::EntryWidthLeft,
            FindingKind::ExitWidthLeft,
            FindingKind::EntryTooFast,
            FindingKind::EntryTooSlow,
            FindingKind::SlowInTheMiddle,
            FindingKind::LateOnThePower,
            FindingKind::TwoBites,
            FindingKind::LostTime,
        ] {
            let advice = finding_advice(kind);
            assert!(["faster", "harder", "brake later", "flat out"].iter().all(|it| !advice.contains(it)), "{advice}");
        }
    }
}
