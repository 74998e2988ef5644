//! One pass beside another: what there is to be compared where both are at the same place. Takes an `Analysis` and a
//! log time; gives figures with their intervals.

use crate::analysis::Analysis;
use crate::corners::Pass;
use crate::session::{Estimate, PathState};

/// Below this a place says little about a time, m/s: a kart that rolls this slowly is leaving the track.
const SLOWEST_MPS: f64 = 1.0;

/// One lap at one place.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AtPlace {
    pub speed_mps: Option<Estimate>,
    /// Since the entry gate of the pass that was asked about; negative before it.
    pub since_gate_s: Option<Estimate>,
}

/// What is known at a log time, s. `pass`: the one whose entry gate counts. Missing in gaps and off the log. The time
/// since the gate is never told surer than the whole pass's time, whose interval knows how positions wander.
pub fn at_place(analysis: &Analysis, t_s: f64, pass: Option<&Pass>) -> AtPlace {
    let Some(here) = analysis.path.at(t_s).filter(|it| it.speed_mps.is_finite()) else { return AtPlace::default() };
    let since = |pass: &Pass| {
        let gate = analysis.path.at(pass.entry_gate_t_s?)?;
        let own = Estimate::from_variance(t_s - gate.t_s, variance_s2(&here) + variance_s2(&gate));
        Some(Estimate { ci95: own.ci95.max(pass.time_s.map_or(0.0, |it| it.ci95)), ..own })
    };
    AtPlace {
        // A path without positions stands still.
        speed_mps: analysis.plane.map(|_| Estimate::from_variance(here.speed_mps, here.speed_variance)),
        since_gate_s: pass.and_then(since),
    }
}

/// How sure the time at a place is, s².
fn variance_s2(state: &PathState) -> f64 {
    state.along_variance_m2 / state.speed_mps.max(SLOWEST_MPS).powi(2)
}

/// The pass of a lap whose entry gate was crossed last at a log time, s; `None` before the lap's first.
pub fn last_gate(analysis: &Analysis, lap: u32, t_s: f64) -> Option<&Pass> {
    let crossed = |it: &&Pass| it.lap == lap && it.entry_gate_t_s.is_some_and(|gate_s| gate_s <= t_s);
    let gate_s = |it: &Pass| it.entry_gate_t_s.unwrap_or(f64::NEG_INFINITY);
    analysis.passes.iter().filter(crossed).max_by(|a, b| gate_s(a).total_cmp(&gate_s(b)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::corners::Direction;
    use crate::geom::plane::Plane;
    use crate::session::Path;

    /// 10 m/s with a variance of 0.04 m²/s², 2 m² along.
    fn straight() -> Analysis {
        let state = |t_s: f64| PathState {
            t_s,
            speed_mps: 10.0,
            speed_variance: 0.04,
            along_variance_m2: 2.0,
            ..PathState::default()
        };
        let pass = |lap, corner, gate_s| Pass {
            entry_gate_t_s: gate_s,
            time_s: Some(Estimate { value: 2.0, ci95: 0.1 }),
            ..Pass::nothing_known(lap, corner, Direction::Left)
        };
        Analysis {
            plane: Some(Plane::new(48.0, 11.0, 0.0)),
            path: Path { states: (0..20).map(|it| state(f64::from(it))).collect(), gaps: vec![(11.0, 13.0)] },
            passes: vec![pass(1, 2, Some(8.0)), pass(1, 1, Some(3.0)), pass(1, 3, None), pass(2, 1, Some(15.0))],
            ..Analysis::default()
        }
    }

    #[test]
    fn the_gate_crossed_last_counts() {
        let analysis = straight();
        let corner = |lap, t_s| last_gate(&analysis, lap, t_s).map(|it| it.corner);
        assert_eq!((corner(1, 2.0), corner(1, 5.0), corner(1, 14.0), corner(2, 14.0)), (None, Some(1), Some(2), None));
    }

    #[test]
    fn figures_carry_their_intervals() {
        let analysis = straight();
        let here = at_place(&analysis, 5.5, last_gate(&analysis, 1, 5.5));
        let (speed, since) = (here.speed_mps.unwrap(), here.since_gate_s.unwrap());
        assert!((speed.value - 10.0).abs() < 1e-12 && (speed.sigma() - 0.2).abs() < 1e-12);
        // Each of the two places is known to √2 m, which takes √2/10 s at 10 m/s: together 0.2 s.
        assert!((since.value - 2.5).abs() < 1e-12 && (since.sigma() - 0.2).abs() < 1e-12);
        let mut unsure = analysis.passes[1].clone();
        unsure.time_s = Some(Estimate { value: 2.0, ci95: 0.9 });
        let since = at_place(&analysis, 5.5, Some(&unsure)).since_gate_s.unwrap();
        assert!((since.ci95 - 0.9).abs() < 1e-12, "the pass's own time is no surer");
        assert_eq!(at_place(&analysis, 12.0, None), AtPlace::default(), "in a gap");
        assert_eq!(at_place(&analysis, 99.0, None), AtPlace::default(), "off the log");
        assert_eq!(at_place(&analysis, 5.5, None).since_gate_s, None);
    }
}
