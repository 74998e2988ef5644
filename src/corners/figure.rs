//! The figures by which the passes of one corner are compared. Takes passes; gives estimates in SI, and how one stands
//! against another. Words and units for people are made in `present`.

use crate::corners::{Corner, Pass};
use crate::session::Estimate;

/// An apex farther from the middle than this share of the corner's length is early or late (docs/glossary.md).
const EARLY_OR_LATE_SHARE: f64 = 0.1;

/// One column of a comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Figure {
    EntrySpeed,
    MinSpeed,
    ExitSpeed,
    EntryGateSpeed,
    ExitGateSpeed,
    Time,
    ExitCost,
    ApexPlace,
}

impl Figure {
    /// In the order in which they are listed.
    pub const ALL: [Self; 8] = [
        Self::EntrySpeed,
        Self::MinSpeed,
        Self::ExitSpeed,
        Self::EntryGateSpeed,
        Self::ExitGateSpeed,
        Self::Time,
        Self::ExitCost,
        Self::ApexPlace,
    ];

    pub fn is_speed(self) -> bool {
        !matches!(self, Self::Time | Self::ExitCost | Self::ApexPlace)
    }

    /// The figure of one pass in m/s, s or m. `length_m`: of the reference line; needed for the apex place alone.
    pub fn of(self, pass: &Pass, corner: &Corner, length_m: Option<f64>) -> Option<Estimate> {
        match self {
            Self::EntrySpeed => pass.entry_speed_mps,
            Self::MinSpeed => pass.min_speed_mps,
            Self::ExitSpeed => pass.exit_speed_mps,
            Self::EntryGateSpeed => pass.entry_gate_speed_mps,
            Self::ExitGateSpeed => pass.exit_gate_speed_mps,
            Self::Time => pass.time_s,
            Self::ExitCost => pass.exit_cost_s,
            Self::ApexPlace => apex_place(pass, corner, length_m?).map(|it| it.from_middle_m),
        }
    }
}

/// Where the apex lies against the middle of the corner.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ApexPlace {
    /// Along the reference line, positive behind the middle.
    pub from_middle_m: Estimate,
    /// The same as a share of the way from entry gate to exit gate.
    pub share: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ApexTiming {
    Early,
    Middle,
    Late,
}

impl ApexPlace {
    pub fn timing(&self) -> ApexTiming {
        if self.share < -EARLY_OR_LATE_SHARE {
            ApexTiming::Early
        } else if self.share > EARLY_OR_LATE_SHARE {
            ApexTiming::Late
        } else {
            ApexTiming::Middle
        }
    }
}

/// `None` where the pass has no apex, the corner no middle or gates, or the log no positions.
/// The interval is that of the apex's time at the speed driven there; without a speed it is infinite.
pub fn apex_place(pass: &Pass, corner: &Corner, length_m: f64) -> Option<ApexPlace> {
    let mark = pass.apex?.mark;
    let (entry_m, middle_m, exit_m) = (corner.entry_gate_m?, corner.middle_m?, corner.exit_gate_m?);
    let corner_m = (exit_m - entry_m).rem_euclid(length_m);
    if corner_m.is_nan() || corner_m <= 0.0 {
        return None;
    }
    let from_middle_m = (mark.distance_m? - middle_m + 0.5 * length_m).rem_euclid(length_m) - 0.5 * length_m;
    let ci95 = mark.speed_mps.map_or(f64::INFINITY, |it| it.value * mark.t_s.ci95);
    Some(ApexPlace { from_middle_m: Estimate { value: from_middle_m, ci95 }, share: from_middle_m / corner_m })
}

/// How a figure stands against the best pass's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Standing {
    /// It is the best pass's own.
    Best,
    Better,
    /// The difference lies inside the two intervals together.
    Level,
    Worse,
    /// For the apex place, which is neither better nor worse in itself.
    Earlier,
    Later,
    /// One of the two cannot be told.
    Unknown,
}

/// A higher speed is better, a shorter time or a smaller cost too.
pub fn standing(figure: Figure, value: Option<Estimate>, best: Option<Estimate>) -> Standing {
    let (Some(value), Some(best)) = (value, best) else { return Standing::Unknown };
    if !value.differs_from(best) {
        return Standing::Level;
    }
    let is_higher = value.value > best.value;
    match figure {
        Figure::ApexPlace if is_higher => Standing::Later,
        Figure::ApexPlace => Standing::Earlier,
        _ if is_higher == figure.is_speed() => Standing::Better,
        _ => Standing::Worse,
    }
}

/// The best pass of one corner: the least time from its entry gate to the next corner's, as far as that is known of any
/// pass; else the least time in the corner. `None` where no pass has a time.
pub fn best_pass<'a>(passes: impl Iterator<Item = &'a Pass> + Clone) -> Option<&'a Pass> {
    let with_straight = |it: &&'a Pass| Some((*it, it.time_s?.value + it.exit_cost_s?.value));
    let alone = |it: &&'a Pass| Some((*it, it.time_s?.value));
    let least = |a: &(&Pass, f64), b: &(&Pass, f64)| a.1.total_cmp(&b.1);
    let best = passes.clone().filter_map(|it| with_straight(&it)).min_by(least);
    best.or_else(|| passes.filter_map(|it| alone(&it)).min_by(least)).map(|it| it.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::corners::{Apex, ApexBy, Direction, Mark};

    fn estimate(value: f64, ci95: f64) -> Estimate {
        Estimate { value, ci95 }
    }

    fn corner(entry_m: f64, middle_m: f64, exit_m: f64) -> Corner {
        Corner {
            number: 1,
            name: "T1".to_owned(),
            direction: Direction::Left,
            angle_deg: 90.0,
            min_radius_m: None,
            entry_gate_m: Some(entry_m),
            middle_m: Some(middle_m),
            exit_gate_m: Some(exit_m),
            latitude_deg: None,
            longitude_deg: None,
        }
    }

    fn pass_with_apex(distance_m: f64) -> Pass {
        let mark = Mark {
            t_s: estimate(10.0, 0.05),
            latitude_deg: None,
            longitude_deg: None,
            distance_m: Some(distance_m),
            speed_mps: Some(estimate(20.0, 0.1)),
        };
        let apex = Some(Apex { mark, by: ApexBy::Edge, gap_m: None });
        Pass { apex, ..bare_pass(None, None) }
    }

    fn bare_pass(time_s: Option<f64>, exit_cost_s: Option<f64>) -> Pass {
        Pass {
            time_s: time_s.map(|it| estimate(it, 0.01)),
            exit_cost_s: exit_cost_s.map(|it| estimate(it, 0.01)),
            ..Pass::nothing_known(1, 1, Direction::Left)
        }
    }

    #[test]
    fn apex_places_are_early_or_late_from_a_tenth_on() {
        let timing = |apex_m| apex_place(&pass_with_apex(apex_m), &corner(80.0, 100.0, 120.0), 500.0).unwrap().timing();
        assert_eq!(
            [95.9, 96.1, 103.9, 104.1].map(timing),
            [ApexTiming::Early, ApexTiming::Middle, ApexTiming::Middle, ApexTiming::Late]
        );
        let place = apex_place(&pass_with_apex(103.0), &corner(80.0, 100.0, 120.0), 500.0).unwrap();
        // 0.05 s at 20 m/s.
        assert!((place.from_middle_m.value - 3.0).abs() < 1e-9 && (place.from_middle_m.ci95 - 1.0).abs() < 1e-9);
    }

    #[test]
    fn a_corner_over_the_gate_measures_round_the_circuit() {
        let place = apex_place(&pass_with_apex(498.0), &corner(480.0, 3.0, 20.0), 500.0).unwrap();
        assert!((place.from_middle_m.value + 5.0).abs() < 1e-9 && (place.share + 0.125).abs() < 1e-9);
        assert!(apex_place(&pass_with_apex(498.0), &corner(480.0, 3.0, 480.0), 500.0).is_none());
    }

    #[test]
    fn a_higher_speed_and_a_shorter_time_are_better() {
        let stands = |figure, value| standing(figure, Some(estimate(value, 0.3)), Some(estimate(10.0, 0.4)));
        assert_eq!(stands(Figure::MinSpeed, 10.6), Standing::Better);
        assert_eq!(stands(Figure::MinSpeed, 10.4), Standing::Level);
        assert_eq!(stands(Figure::MinSpeed, 9.4), Standing::Worse);
        assert_eq!(stands(Figure::Time, 9.4), Standing::Better);
        assert_eq!(stands(Figure::ExitCost, 10.6), Standing::Worse);
        assert_eq!(stands(Figure::ApexPlace, 10.6), Standing::Later);
        assert_eq!(standing(Figure::Time, None, Some(estimate(1.0, 0.1))), Standing::Unknown);
    }

    #[test]
    fn the_straight_behind_the_corner_decides_which_pass_is_best() {
        let passes = [bare_pass(Some(3.0), Some(0.5)), bare_pass(Some(3.2), Some(0.1)), bare_pass(Some(2.9), None)];
        assert_eq!(best_pass(passes.iter()).map(|it| it.time_s.unwrap().value.to_bits()), Some(3.2_f64.to_bits()));
        let alone = [bare_pass(Some(3.0), None), bare_pass(Some(2.9), None), bare_pass(None, None)];
        assert_eq!(best_pass(alone.iter()).map(|it| it.time_s.unwrap().value.to_bits()), Some(2.9_f64.to_bits()));
        assert!(best_pass([bare_pass(None, None)].iter()).is_none());
    }
}
