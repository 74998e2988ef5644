//! How sudden the pedals are, moment by moment: takes the states of a first smoothing, gives the factor by which
//! the jerk's density differs from the session's mean. Never looks at a measurement.
//!
//! A kart holds its acceleration for seconds and changes it within a fifth of one. White jerk of one density, which is
//! right on the average, rounds off the beginning of braking and lets noise through everywhere else. Jerk with heavy
//! tails – a normal variable whose density is itself drawn anew for each moment (Student's t) – is smoothed by weighing
//! each moment by what the last round saw there (iterative reweighting: K. L. Lange, R. J. A. Little, J. M. G. Taylor,
//! Journal of the American Statistical Association 84 (1989) 881–896).

use crate::session::{Channel, PathState};
use crate::smooth::noise::interpolate;

/// How long a change of the pedals takes at least, s (common practice, no source).
const CHANGE_S: f64 = 0.2;
/// Degrees of freedom of the jerk: below one, since nearly all of it falls into few moments (trial).
const FREEDOM: f64 = 0.3;

/// For the way to each state from the one before: the factor on the jerk's density, whose root is `jerk` (m/s³ per
/// √Hz). Same length.
pub(super) fn liveliness(states: &[PathState], jerk: f64) -> Vec<f64> {
    let acceleration = Channel {
        t_s: states.iter().map(|it| it.t_s).collect(),
        value: states.iter().map(|it| it.acceleration_mps2).collect(),
    };
    let mut before_s = states.first().map_or(0.0, |it| it.t_s);
    let mut factor_at = |t_s: f64| {
        let (middle_s, over_s) = (0.5 * (before_s + t_s), (t_s - before_s).max(CHANGE_S));
        before_s = t_s;
        let at = |t_s: f64| interpolate(&acceleration, t_s);
        let change = at(middle_s + 0.5 * over_s) - at(middle_s - 0.5 * over_s);
        let squared_sigmas = change * change / (jerk * jerk * over_s);
        (FREEDOM + squared_sigmas) / (FREEDOM + 1.0)
    };
    acceleration.t_s.iter().map(|t_s| factor_at(*t_s)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn braking_is_lively_at_its_beginning_and_calm_while_it_lasts() {
        let states: Vec<PathState> = (0..100)
            .map(|index| {
                let acceleration_mps2 = if index < 50 { 1.0 } else { -7.0 };
                PathState { t_s: f64::from(index) * 0.1, acceleration_mps2, ..PathState::default() }
            })
            .collect();
        let factors = liveliness(&states, 8.0);
        assert!(factors.len() == 100 && factors[20] < 0.3 && factors[80] < 0.3, "{factors:?}");
        assert!(factors[50] > 3.0, "{factors:?}");
    }

    #[test]
    fn no_states_have_no_factors() {
        assert!(liveliness(&[], 8.0).is_empty());
    }
}
