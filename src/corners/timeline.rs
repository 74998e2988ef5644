//! Log time against place: where along the unrolled circuit the kart was at which time, and back.

use crate::session::Path;
use crate::track::place::Unrolled;

/// Rising pairs of log time and unrolled distance, with the offset to the left of the reference line.
#[derive(Debug, Clone, Default)]
pub struct Timeline {
    t_s: Vec<f64>,
    distance_m: Vec<f64>,
    offset_m: Vec<f64>,
    gaps: Vec<(f64, f64)>,
}

/// Neighbouring states farther apart than this, m, lie on both sides of a way off the circuit.
const BROKEN_M: f64 = 60.0;

impl Timeline {
    pub fn new(path: &Path, places: &[Option<Unrolled>]) -> Self {
        let mut timeline = Self { gaps: path.gaps.clone(), ..Self::default() };
        for (state, place) in path.states.iter().zip(places) {
            let Some(place) = place else { continue };
            // Standing still and the seam between laps move back by centimetres: those states add nothing.
            if timeline.distance_m.last().is_none_or(|last| place.distance_m > *last) {
                timeline.t_s.push(state.t_s);
                timeline.distance_m.push(place.distance_m);
                timeline.offset_m.push(place.offset_m);
            }
        }
        timeline
    }

    /// Log time at a place; `None` off the log's ends and where a gap or a way off the circuit hides it.
    pub fn time_at(&self, distance_m: f64) -> Option<f64> {
        self.between(distance_m).map(|(before, share)| mix(&self.t_s, before, share))
    }

    /// Offset to the left of the reference line at a place; `None` as for the time.
    pub fn offset_at(&self, distance_m: f64) -> Option<f64> {
        self.between(distance_m).map(|(before, share)| mix(&self.offset_m, before, share))
    }

    /// Unrolled distance at a time, between the log's ends.
    pub fn distance_at(&self, t_s: f64) -> Option<f64> {
        let before = self.t_s.partition_point(|it| *it <= t_s).checked_sub(1)?;
        let to_s = self.t_s.get(before + 1)?;
        Some(mix(&self.distance_m, before, (t_s - self.t_s[before]) / (to_s - self.t_s[before])))
    }

    /// How fast the place moves along the line at a time, m/s.
    pub fn pace_at(&self, t_s: f64) -> Option<f64> {
        let before = self.t_s.partition_point(|it| *it <= t_s).checked_sub(1)?;
        let (to_s, to_m) = (self.t_s.get(before + 1)?, self.distance_m.get(before + 1)?);
        Some((to_m - self.distance_m[before]) / (to_s - self.t_s[before])).filter(|it| *it > 0.0)
    }

    fn between(&self, distance_m: f64) -> Option<(usize, f64)> {
        let before = self.distance_m.partition_point(|it| *it <= distance_m).checked_sub(1)?;
        let to_m = self.distance_m.get(before + 1)?;
        let (from_m, from_s, to_s) = (self.distance_m[before], self.t_s[before], self.t_s[before + 1]);
        let hidden = to_m - from_m > BROKEN_M || self.gaps.iter().any(|gap| gap.0 < to_s && gap.1 > from_s);
        (!hidden).then(|| (before, (distance_m - from_m) / (to_m - from_m)))
    }
}

fn mix(values: &[f64], before: usize, share: f64) -> f64 {
    values[before] + share * (values[before + 1] - values[before])
}
