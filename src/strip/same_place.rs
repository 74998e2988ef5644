//! The same place on the circuit in another lap. Lap against lap, moments are matched by place, never by time.

use crate::analysis::{Analysis, TrackPlace};

/// Log time at which `lap` is where the kart is at `t_s`, s: at the same distance along the reference line, between
/// samples linear. `None` off the laps, in a lap that has not been there, and in a log without positions.
pub fn same_place_s(analysis: &Analysis, t_s: f64, lap: u32) -> Option<f64> {
    passes_at_s(analysis, analysis.place_at(t_s)?.distance_m, lap)
}

/// Log time at which `lap` is at a distance along the reference line, m, between samples linear.
pub(super) fn passes_at_s(analysis: &Analysis, distance_m: f64, lap: u32) -> Option<f64> {
    let states = &analysis.path.states;
    let of_lap = |index: usize| -> Option<(f64, f64)> {
        let place: TrackPlace = analysis.places.get(index).copied().flatten()?;
        (place.lap == lap).then(|| (states[index].t_s, place.distance_m))
    };
    (1..states.len()).find_map(|index| {
        let ((from_s, from_m), (to_s, to_m)) = (of_lap(index - 1)?, of_lap(index)?);
        let share = (distance_m - from_m) / (to_m - from_m);
        (from_m < to_m && (0.0..=1.0).contains(&share)).then_some(from_s + share * (to_s - from_s))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::{Path, PathState};
    use crate::track::ReferenceLine;

    /// Two laps of 100 m, the second at twice the speed of the first.
    fn two_laps() -> Analysis {
        let line = ReferenceLine { points: Vec::new(), length_m: 100.0 };
        let mut analysis = Analysis { reference: Some(line), ..Analysis::default() };
        for (lap, speed_mps, start_s) in [(1_u32, 10.0, 0.0), (2, 20.0, 10.0)] {
            for step in 0..10 {
                let distance_m = f64::from(step) * 10.0;
                let state = PathState { t_s: start_s + distance_m / speed_mps, speed_mps, ..PathState::default() };
                analysis.path.states.push(state);
                analysis.places.push(Some(TrackPlace { lap, distance_m, offset_m: 0.0 }));
            }
        }
        analysis.path = Path { states: analysis.path.states, gaps: Vec::new() };
        analysis
    }

    #[test]
    fn laps_are_matched_by_place() {
        let analysis = two_laps();
        let at = same_place_s(&analysis, 4.5, 2).unwrap();
        assert!((at - 12.25).abs() < 1e-9, "{at}");
        assert!((same_place_s(&analysis, at, 1).unwrap() - 4.5).abs() < 1e-9);
        assert_eq!(same_place_s(&analysis, 4.5, 7), None);
        assert_eq!(same_place_s(&Analysis::default(), 4.5, 1), None);
    }
}
