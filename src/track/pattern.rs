//! Laps of a log without positions: the yaw rate repeats lap after lap. One crossing of the start/finish gate, marked by
//! a person, says where in the pattern a lap begins; without it laps begin in the middle of the longest straight.

use crate::session::{Estimate, Path, PathState};
use crate::track::place::Unrolled;
use crate::track::{GateOrigin, Lap, LapKind, ReferenceLine, ReferencePoint};

/// How patterns are compared: along the way in m where a speed was measured, else in time in s.
#[derive(Debug, Clone, Copy)]
struct Scale {
    has_speed: bool,
    /// Even steps of the pattern, and those in which the beginning of a lap is sought.
    step: f64,
    fine: f64,
    /// No lap is shorter or longer than this.
    shortest: f64,
    longest: f64,
    /// How much of the log tells the length of a lap.
    judged: f64,
}

const ALONG: Scale =
    Scale { has_speed: true, step: 2.0, fine: 0.25, shortest: 80.0, longest: 8000.0, judged: 12_000.0 };
const IN_TIME: Scale = Scale { has_speed: false, step: 0.1, fine: 0.02, shortest: 10.0, longest: 400.0, judged: 600.0 };

impl Scale {
    /// The way of a state: metres driven, or log time.
    fn way(self, state: &PathState) -> f64 {
        if self.has_speed { state.travelled_m } else { state.t_s }
    }

    /// What bends: curvature, 1/m, or yaw rate, rad/s.
    fn bend(self, state: &PathState) -> f64 {
        if self.has_speed { state.yaw_rate_radps / state.speed_mps.max(1.0) } else { state.yaw_rate_radps }
    }
}

/// Yaw rates less alike than this (correlation) from lap to lap are no pattern.
const LEAST_LIKENESS: f64 = 0.5;
/// Of several likely lap times the shortest is taken that is nearly as likely as the best: two laps repeat as well.
const NEARLY: f64 = 0.85;
/// A lap may be this much longer or shorter than the usual one.
const LAP_SPREAD: f64 = 0.12;
/// How much of a lap to both sides of its beginning is matched.
const MATCHED_SHARE: f64 = 0.2;
/// Another line past the gate shifts the pattern by about this, s (common practice, no source).
const MATCH_SIGMA_S: f64 = 0.08;

/// Laps, and the circuit as a line of curvature without a place.
#[derive(Debug, Clone)]
pub struct Pattern {
    pub gate: GateOrigin,
    pub laps: Vec<Lap>,
    /// Along the way in m, or in seconds of the mean lap where no speed was measured; curvature in 1/m, or rad/s.
    pub line: ReferenceLine,
    /// Same length as the path's states.
    pub places: Vec<Option<Unrolled>>,
}

/// Finds the laps. `path` is that of a log without positions; `has_speed` says whether its way is measured.
/// `None` where nothing repeats.
pub fn find_pattern(path: &Path, marked_s: Option<f64>, has_speed: bool) -> Option<Pattern> {
    let scale = if has_speed { ALONG } else { IN_TIME };
    let bend = resampled(path, scale)?;
    let period = lap_length(&bend, scale)?;
    let marked = marked_s.and_then(|t_s| path.at(t_s)).map(|state| scale.way(&state));
    let (start, gate) = match marked {
        Some(start) => (start, GateOrigin::Marked),
        None => (longest_straight(&bend, period), GateOrigin::Found),
    };
    let begins: Vec<f64> =
        lap_beginnings(&bend, start, period, scale).into_iter().filter_map(|it| time_at(path, it, scale)).collect();
    let laps = laps_between(path, &begins);
    let line = mean_lap(path, &laps, scale)?;
    let places = places(path, &laps, line.length_m, scale);
    Some(Pattern { gate, laps, line, places })
}

/// The bend at even steps of the way.
struct Even {
    first: f64,
    step: f64,
    value: Vec<f64>,
}

impl Even {
    fn last(&self) -> f64 {
        self.first + (self.value.len().saturating_sub(1)) as f64 * self.step
    }

    fn holds(&self, at: f64) -> bool {
        (self.first..=self.last()).contains(&at)
    }

    /// Steps in a length of the way.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "lengths within a log, bounded above")]
    fn steps(&self, length: f64) -> usize {
        (length / self.step).clamp(0.0, 1e7) as usize
    }

    /// Value between two samples; the ends go on.
    fn at(&self, at: f64) -> f64 {
        let exact = ((at - self.first) / self.step).clamp(0.0, (self.value.len() - 1) as f64);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the list")]
        let index = (exact as usize).min(self.value.len().saturating_sub(2));
        let next = self.value.get(index + 1).copied().unwrap_or(self.value[index]);
        self.value[index] + (exact - index as f64) * (next - self.value[index])
    }
}

fn resampled(path: &Path, scale: Scale) -> Option<Even> {
    let (first, last) = (scale.way(path.states.first()?), scale.way(path.states.last()?));
    if last - first < 2.0 * scale.shortest {
        return None;
    }
    let mut even = Even { first, step: scale.step, value: Vec::new() };
    let mut after = 1;
    for index in 0..even.steps(last - first) {
        let at = first + index as f64 * scale.step;
        while after + 1 < path.states.len() && scale.way(&path.states[after]) < at {
            after += 1;
        }
        let (a, b) = (&path.states[after - 1], &path.states[after]);
        let span = scale.way(b) - scale.way(a);
        let share = if span > 0.0 { ((at - scale.way(a)) / span).clamp(0.0, 1.0) } else { 0.0 };
        even.value.push(scale.bend(a) + share * (scale.bend(b) - scale.bend(a)));
    }
    Some(even)
}

/// Log time at a place of the way; the first moment where the kart stands.
fn time_at(path: &Path, way: f64, scale: Scale) -> Option<f64> {
    let after = path.states.partition_point(|it| scale.way(it) < way);
    let b = path.states.get(after)?;
    let Some(a) = after.checked_sub(1).map(|before| &path.states[before]) else { return Some(b.t_s) };
    let share = (way - scale.way(a)) / (scale.way(b) - scale.way(a));
    Some(a.t_s + share * (b.t_s - a.t_s))
}

/// Correlation of two stretches of one length, by Pearson; 0 where one of them does not vary.
fn likeness(a: impl Iterator<Item = (f64, f64)> + Clone) -> f64 {
    let count = a.clone().count() as f64;
    let (mean_x, mean_y) = a.clone().fold((0.0, 0.0), |sum, it| (sum.0 + it.0 / count, sum.1 + it.1 / count));
    let (mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0);
    for (x, y) in a {
        xx += (x - mean_x).powi(2);
        yy += (y - mean_y).powi(2);
        xy += (x - mean_x) * (y - mean_y);
    }
    if xx <= 0.0 || yy <= 0.0 { 0.0 } else { xy / (xx * yy).sqrt() }
}

/// The usual length of a lap: the lag at which the bend is most like itself.
fn lap_length(bend: &Even, scale: Scale) -> Option<f64> {
    let value = &bend.value;
    let (low, high) = (bend.steps(scale.shortest), bend.steps(scale.longest).min(value.len() * 2 / 3));
    let judged = &value[..value.len().min(bend.steps(scale.judged) + high)];
    let at = |lag: usize| likeness(judged.iter().copied().zip(judged[lag..].iter().copied()));
    let likenesses: Vec<f64> = (low..high).map(at).collect();
    let best = likenesses.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if best < LEAST_LIKENESS {
        return None;
    }
    let is_peak = |index: usize| {
        let near = &likenesses[index.saturating_sub(10)..(index + 11).min(likenesses.len())];
        near.iter().all(|it| *it <= likenesses[index])
    };
    let first = (0..likenesses.len()).find(|index| likenesses[*index] >= NEARLY * best && is_peak(*index))?;
    Some((low + first) as f64 * bend.step)
}

/// The middle of the stretch of a lap that bends least.
fn longest_straight(bend: &Even, period: f64) -> f64 {
    let (lap, half) = (bend.steps(period), bend.steps(0.04 * period).max(5));
    // In the second lap, where there is one: the first may begin with a standing kart, which turns least of all.
    let from = lap.min(bend.value.len().saturating_sub(lap + 1)).max(half);
    let to = (from + lap).min(bend.value.len().saturating_sub(half + 1)).max(from + 1);
    let turning = |middle: usize| -> f64 {
        let end = (middle + half + 1).min(bend.value.len());
        bend.value[middle - half..end].iter().map(|it| it.abs()).sum()
    };
    let best = (from..to).min_by(|a, b| turning(*a).total_cmp(&turning(*b))).unwrap_or(from);
    bend.first + best as f64 * bend.step
}

/// Beginnings of laps, rising: from a known one on and back, each where the pattern about it is found again.
fn lap_beginnings(bend: &Even, start: f64, period: f64, scale: Scale) -> Vec<f64> {
    let half = MATCHED_SHARE * period;
    // What of the window about the start lies in the log is matched.
    let known: Vec<(f64, f64)> = (0..=bend.steps(2.0 * half))
        .map(|step| step as f64 * bend.step - half)
        .filter(|it| bend.holds(start + it))
        .map(|it| (it, bend.at(start + it)))
        .collect();
    let at = |place: f64| likeness(known.iter().map(|(offset, value)| (*value, bend.at(place + offset))));
    let found_near = |guess: f64| -> Option<f64> {
        let reach = LAP_SPREAD * period;
        let fine = Even { first: guess - reach, step: scale.fine, value: Vec::new() };
        let tried = (0..=fine.steps(2.0 * reach)).map(|step| fine.first + step as f64 * fine.step);
        let best = tried.filter(|it| bend.holds(*it)).max_by(|a, b| at(*a).total_cmp(&at(*b)))?;
        (at(best) >= LEAST_LIKENESS).then_some(best)
    };
    let mut begins = vec![start];
    while let Some(next) = begins.last().and_then(|last| found_near(last + period)) {
        begins.push(next);
    }
    begins.reverse();
    while let Some(before) = begins.last().and_then(|first| found_near(first - period)) {
        begins.push(before);
    }
    begins.reverse();
    begins
}

fn laps_between(path: &Path, begins: &[f64]) -> Vec<Lap> {
    let (Some(first), Some(last)) = (path.states.first(), path.states.last()) else { return Vec::new() };
    let mut laps = vec![Lap { number: 0, kind: LapKind::Out, start_t_s: first.t_s, end_t_s: begins[0], time_s: None }];
    for (pair, number) in begins.windows(2).zip(1..) {
        let interrupted = path.gaps.iter().any(|gap| gap.1 > pair[0] && gap.0 < pair[1]);
        let variance_s2 = 2.0 * MATCH_SIGMA_S * MATCH_SIGMA_S;
        laps.push(Lap {
            number,
            kind: if interrupted { LapKind::Partial } else { LapKind::Timed },
            start_t_s: pair[0],
            end_t_s: pair[1],
            time_s: Some(Estimate::from_variance(pair[1] - pair[0], variance_s2)),
        });
    }
    #[allow(clippy::cast_possible_truncation, reason = "laps are counted in hundreds")]
    let number = begins.len() as u32;
    let start_t_s = begins[begins.len() - 1];
    if last.t_s - start_t_s > 1.0 {
        laps.push(Lap { number, kind: LapKind::In, start_t_s, end_t_s: last.t_s, time_s: None });
    }
    laps
}

/// Mean curvature (or yaw rate) of the timed laps by share of the lap.
fn mean_lap(path: &Path, laps: &[Lap], scale: Scale) -> Option<ReferenceLine> {
    let ends = |lap: &Lap| Some((path.at(lap.start_t_s)?, path.at(lap.end_t_s)?));
    let timed: Vec<(f64, f64, &Lap)> = laps
        .iter()
        .filter(|it| it.kind == LapKind::Timed)
        .filter_map(|lap| ends(lap).map(|(a, b)| (scale.way(&a), scale.way(&b), lap)))
        .filter(|it| it.1 > it.0)
        .collect();
    let length = timed.iter().map(|it| it.1 - it.0).sum::<f64>() / timed.len().max(1) as f64;
    if length <= 0.0 {
        return None;
    }
    // A point a metre, or ten a second.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a lap is finite")]
    let count = (length * if scale.has_speed { 1.0 } else { 10.0 }).round().clamp(50.0, 1e5) as usize;
    let mut sums = vec![(0.0, 0.0); count];
    for (from, to, lap) in &timed {
        let first = path.states.partition_point(|it| it.t_s < lap.start_t_s);
        let last = path.states.partition_point(|it| it.t_s < lap.end_t_s);
        for state in &path.states[first..last] {
            let share = (scale.way(state) - from) / (to - from);
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0..count")]
            let index = ((share * count as f64) as usize).min(count - 1);
            sums[index].0 += scale.bend(state);
            sums[index].1 += 1.0;
        }
    }
    let spacing = length / count as f64;
    let mut bend = 0.0;
    let mut heading_rad = 0.0;
    let points = sums
        .into_iter()
        .enumerate()
        .map(|(index, (sum, weight))| {
            if weight > 0.0 {
                bend = sum / weight;
            }
            heading_rad += bend * spacing;
            ReferencePoint {
                distance_m: index as f64 * spacing,
                heading_rad,
                curvature_per_m: bend,
                position: crate::geom::Point::default(),
            }
        })
        .collect();
    Some(ReferenceLine { points, length_m: length })
}

fn places(path: &Path, laps: &[Lap], length: f64, scale: Scale) -> Vec<Option<Unrolled>> {
    let mut places = vec![None; path.states.len()];
    for lap in laps.iter().filter(|it| it.number > 0) {
        let Some(start) = path.at(lap.start_t_s).map(|it| scale.way(&it)) else { continue };
        // An open lap has the usual length.
        let end = path.at(lap.end_t_s).filter(|_| lap.time_s.is_some()).map(|it| scale.way(&it));
        let own_length = end.map_or(length, |it| it - start);
        let first = path.states.partition_point(|it| it.t_s < lap.start_t_s);
        let last = path.states.partition_point(|it| it.t_s < lap.end_t_s);
        for (state, place) in path.states[first..last].iter().zip(&mut places[first..last]) {
            let share = (scale.way(state) - start) / own_length;
            if share < 1.0 {
                *place = Some(Unrolled { distance_m: (f64::from(lap.number) + share) * length, offset_m: 0.0 });
            }
        }
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Laps of given times, each the same two corners.
    fn path(lap_times_s: &[f64]) -> Path {
        let mut states = Vec::new();
        let mut begin_s = 0.0;
        for lap_s in lap_times_s {
            let mut t_s = 0.0;
            while t_s < *lap_s {
                let share = t_s / lap_s;
                let bump = |at: f64| (-((share - at) / 0.04).powi(2)).exp();
                let yaw_rate_radps = 1.0 * bump(0.3) - 0.7 * bump(0.55) + 0.4 * bump(0.8);
                states.push(PathState { t_s: begin_s + t_s, yaw_rate_radps, ..PathState::default() });
                t_s += 0.05;
            }
            begin_s += lap_s;
        }
        Path { states, gaps: Vec::new() }
    }

    #[test]
    fn laps_are_found_from_one_marked_crossing() {
        let times_s = [40.0, 41.0, 39.5, 40.4, 40.0];
        let pattern = find_pattern(&path(&times_s), Some(81.0), false).unwrap();
        assert_eq!(pattern.gate, GateOrigin::Marked);
        let found: Vec<f64> = pattern.laps.iter().filter_map(|it| it.time_s).map(|it| it.value).collect();
        assert!(found.len() >= 3, "{found:?}");
        for time_s in &found {
            assert!(times_s.iter().any(|it| (it - time_s).abs() < 0.5), "{time_s} of {times_s:?}");
        }
    }

    #[test]
    fn what_does_not_repeat_has_no_laps() {
        let states = (0..3000)
            .map(|i| {
                let t_s = f64::from(i) * 0.1;
                PathState { t_s, yaw_rate_radps: (t_s * t_s * 0.01).sin(), ..PathState::default() }
            })
            .collect();
        assert!(find_pattern(&Path { states, gaps: Vec::new() }, Some(20.0), false).is_none());
    }
}
