//! The known places that a kart passes on a lap, in order of time: the start/finish gate, and each corner's gates and
//! marks. They are what a person can recognise from beside the track. Takes laps and passes; computes nothing anew.

use crate::corners::{MarkKind, Pass};
use crate::track::Lap;

/// A place that the kart is known to pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KnownPlace {
    StartFinish,
    /// Of the corner with this number.
    EntryGate(u32),
    Mark(u32, MarkKind),
    ExitGate(u32),
}

impl KnownPlace {
    /// The number of the corner that it belongs to.
    pub fn corner(self) -> Option<u32> {
        match self {
            Self::StartFinish => None,
            Self::EntryGate(corner) | Self::Mark(corner, _) | Self::ExitGate(corner) => Some(corner),
        }
    }
}

/// When one lap passes a known place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KnownMoment {
    pub place: KnownPlace,
    /// Log time, s.
    pub t_s: f64,
}

/// All that is known of one lap, rising in time. Empty for a lap that is not there; lap 0 begins at no gate.
pub fn known_moments(laps: &[Lap], passes: &[Pass], lap: u32) -> Vec<KnownMoment> {
    let gate = laps.iter().filter(|it| it.number == lap && lap > 0);
    let gate = gate.map(|it| KnownMoment { place: KnownPlace::StartFinish, t_s: it.start_t_s });
    let in_corners = passes.iter().filter(|it| it.lap == lap).flat_map(moments_of);
    let mut moments: Vec<KnownMoment> = gate.chain(in_corners).filter(|it| it.t_s.is_finite()).collect();
    moments.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    moments
}

/// The known moment of any lap that lies nearest to a log time, no further than `within_s`, and its lap. All in s.
pub fn known_moment_near(laps: &[Lap], passes: &[Pass], t_s: f64, within_s: f64) -> Option<(u32, KnownMoment)> {
    let all = laps.iter().flat_map(|it| known_moments(laps, passes, it.number).into_iter().map(|on| (it.number, on)));
    let away_s = |it: &(u32, KnownMoment)| (it.1.t_s - t_s).abs();
    all.filter(|it| away_s(it) <= within_s).min_by(|a, b| away_s(a).total_cmp(&away_s(b)))
}

fn moments_of(pass: &Pass) -> impl Iterator<Item = KnownMoment> {
    let mark = |kind| (KnownPlace::Mark(pass.corner, kind), pass.mark(kind).map(|it| it.t_s.value));
    let all = [
        (KnownPlace::EntryGate(pass.corner), pass.entry_gate_t_s),
        mark(MarkKind::TurnIn),
        mark(MarkKind::Apex),
        mark(MarkKind::Exit),
        (KnownPlace::ExitGate(pass.corner), pass.exit_gate_t_s),
    ];
    all.into_iter().filter_map(|(place, t_s)| Some(KnownMoment { place, t_s: t_s? }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::corners::Direction;
    use crate::track::LapKind;

    fn lap(number: u32, start_t_s: f64) -> Lap {
        Lap { number, kind: LapKind::Timed, start_t_s, end_t_s: start_t_s + 30.0, time_s: None }
    }

    fn pass(lap: u32, corner: u32, gates_s: (f64, f64)) -> Pass {
        let nothing = Pass::nothing_known(lap, corner, Direction::Left);
        Pass { entry_gate_t_s: Some(gates_s.0), exit_gate_t_s: Some(gates_s.1), ..nothing }
    }

    #[test]
    fn places_come_in_the_order_in_which_they_are_passed() {
        let laps = [lap(0, 0.0), lap(1, 30.0)];
        // The second corner's entry gate lies before the first one's exit gate.
        let passes = [pass(0, 1, (3.0, 5.0)), pass(1, 1, (33.0, 36.0)), pass(1, 2, (35.0, 39.0))];
        let of = |lap| -> Vec<KnownPlace> { known_moments(&laps, &passes, lap).iter().map(|it| it.place).collect() };
        assert_eq!(of(0), [KnownPlace::EntryGate(1), KnownPlace::ExitGate(1)]);
        let in_order = [
            KnownPlace::StartFinish,
            KnownPlace::EntryGate(1),
            KnownPlace::EntryGate(2),
            KnownPlace::ExitGate(1),
            KnownPlace::ExitGate(2),
        ];
        assert_eq!(of(1), in_order);
        assert!(of(7).is_empty());
    }

    #[test]
    fn the_nearest_place_of_any_lap_is_found() {
        let (laps, passes) = ([lap(0, 0.0), lap(1, 30.0)], [pass(0, 1, (3.0, 5.0)), pass(1, 1, (33.0, 36.0))]);
        let near = |t_s| known_moment_near(&laps, &passes, t_s, 0.05).map(|(lap, it)| (lap, it.place));
        assert_eq!(near(33.04), Some((1, KnownPlace::EntryGate(1))));
        assert_eq!(near(4.98), Some((0, KnownPlace::ExitGate(1))));
        assert_eq!(near(33.1), None);
        assert_eq!(near(f64::NAN), None);
    }
}
