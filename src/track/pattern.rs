//! Laps of a log without positions: the yaw rate repeats lap after lap. One crossing of the start/finish gate, marked by
//! a person, says where in the pattern a lap begins; without it laps begin in the middle of the longest straight.

use crate::session::{Channel, Estimate, Path};
use crate::track::place::Unrolled;
use crate::track::{GateOrigin, Lap, LapKind, ReferenceLine, ReferencePoint};

/// Rate that patterns are compared at, Hz.
const RATE_HZ: f64 = 10.0;
/// No lap is shorter or longer than this, s.
const SHORTEST_LAP_S: f64 = 10.0;
const LONGEST_LAP_S: f64 = 400.0;
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
    let yaw_rate = resampled(path)?;
    let period_s = lap_time(&yaw_rate)?;
    let (start_s, gate) = match marked_s {
        Some(t_s) if (yaw_rate.first_s..=yaw_rate.last_s()).contains(&t_s) => (t_s, GateOrigin::Marked),
        _ => (longest_straight(&yaw_rate, period_s), GateOrigin::Found),
    };
    let begins = lap_beginnings(&yaw_rate, start_s, period_s);
    let laps = laps_between(path, &begins);
    let line = mean_lap(path, &laps, has_speed)?;
    let places = places(path, &laps, line.length_m, has_speed);
    Some(Pattern { gate, laps, line, places })
}

/// The yaw rate at even steps, smoothed over one of them.
struct Even {
    first_s: f64,
    value: Vec<f64>,
}

impl Even {
    fn last_s(&self) -> f64 {
        self.first_s + (self.value.len().saturating_sub(1)) as f64 / RATE_HZ
    }

    /// Value between two samples; the ends go on.
    fn at(&self, t_s: f64) -> f64 {
        let exact = ((t_s - self.first_s) * RATE_HZ).clamp(0.0, (self.value.len() - 1) as f64);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the list")]
        let index = (exact as usize).min(self.value.len().saturating_sub(2));
        let next = self.value.get(index + 1).copied().unwrap_or(self.value[index]);
        self.value[index] + (exact - index as f64) * (next - self.value[index])
    }
}

fn resampled(path: &Path) -> Option<Even> {
    let (first, last) = (path.states.first()?, path.states.last()?);
    let channel = Channel {
        t_s: path.states.iter().map(|it| it.t_s).collect(),
        value: path.states.iter().map(|it| it.yaw_rate_radps).collect(),
    };
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a log is below a day")]
    let count = ((last.t_s - first.t_s) * RATE_HZ).floor().clamp(0.0, 1e7) as usize;
    if (count as f64) < 2.0 * SHORTEST_LAP_S * RATE_HZ {
        return None;
    }
    let mut after = 1;
    let value = (0..count)
        .map(|index| {
            let t_s = first.t_s + index as f64 / RATE_HZ;
            while after + 1 < channel.len() && channel.t_s[after] < t_s {
                after += 1;
            }
            let (a, b) = (after - 1, after);
            let share = ((t_s - channel.t_s[a]) / (channel.t_s[b] - channel.t_s[a])).clamp(0.0, 1.0);
            channel.value[a] + share * (channel.value[b] - channel.value[a])
        })
        .collect();
    Some(Even { first_s: first.t_s, value })
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

/// The usual lap time, s: the lag at which the yaw rate is most like itself.
fn lap_time(yaw_rate: &Even) -> Option<f64> {
    let value = &yaw_rate.value;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "constants and a length")]
    let (low, high) =
        ((SHORTEST_LAP_S * RATE_HZ) as usize, ((LONGEST_LAP_S * RATE_HZ) as usize).min(value.len() * 2 / 3));
    // Ten minutes tell a lap time as well as an hour.
    let judged = &value[..value.len().min(6000 + high)];
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
    Some((low + first) as f64 / RATE_HZ)
}

/// The middle of the stretch of a lap with the least turning.
fn longest_straight(yaw_rate: &Even, period_s: f64) -> f64 {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a lap in tenths of a second")]
    let (lap, half) = ((period_s * RATE_HZ) as usize, (0.04 * period_s * RATE_HZ).max(5.0) as usize);
    // In the second lap, where there is one: the first may begin with a standing kart, which turns least of all.
    let from = lap.min(yaw_rate.value.len().saturating_sub(lap + 1)).max(half);
    let to = (from + lap).min(yaw_rate.value.len().saturating_sub(half + 1)).max(from + 1);
    let turning = |middle: usize| -> f64 {
        let end = (middle + half + 1).min(yaw_rate.value.len());
        yaw_rate.value[middle - half..end].iter().map(|it| it.abs()).sum()
    };
    let best = (from..to).min_by(|a, b| turning(*a).total_cmp(&turning(*b))).unwrap_or(from);
    yaw_rate.first_s + best as f64 / RATE_HZ
}

/// Beginnings of laps, rising: from a known one on and back, each where the pattern about it is found again.
fn lap_beginnings(yaw_rate: &Even, start_s: f64, period_s: f64) -> Vec<f64> {
    let half_s = MATCHED_SHARE * period_s;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "part of a lap in tenths of a second")]
    let steps = (2.0 * half_s * RATE_HZ) as usize;
    let offsets: Vec<f64> = (0..=steps).map(|step| step as f64 / RATE_HZ - half_s).collect();
    // What of the window about the start lies in the log is matched.
    let known: Vec<(f64, f64)> = offsets
        .iter()
        .filter(|it| (yaw_rate.first_s..=yaw_rate.last_s()).contains(&(start_s + **it)))
        .map(|it| (*it, yaw_rate.at(start_s + it)))
        .collect();
    let at = |t_s: f64| likeness(known.iter().map(|(offset, value)| (*value, yaw_rate.at(t_s + offset))));
    let found_near = |guess_s: f64| -> Option<f64> {
        let reach_s = LAP_SPREAD * period_s;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "part of a lap in steps of 20 ms")]
        let steps = (2.0 * reach_s / 0.02) as usize;
        let tried = (0..=steps).map(|step| guess_s - reach_s + step as f64 * 0.02);
        let inside = tried.filter(|it| (yaw_rate.first_s..=yaw_rate.last_s()).contains(it));
        let best = inside.max_by(|a, b| at(*a).total_cmp(&at(*b)))?;
        (at(best) >= LEAST_LIKENESS).then_some(best)
    };
    let mut begins = vec![start_s];
    while let Some(next) = begins.last().and_then(|last| found_near(last + period_s)) {
        begins.push(next);
    }
    begins.reverse();
    while let Some(before) = begins.last().and_then(|first| found_near(first - period_s)) {
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

/// The way of a state: metres driven, or log time where no speed was measured.
fn way(state: &crate::session::PathState, has_speed: bool) -> f64 {
    if has_speed { state.travelled_m } else { state.t_s }
}

/// Mean curvature (or yaw rate) of the timed laps by share of the lap.
fn mean_lap(path: &Path, laps: &[Lap], has_speed: bool) -> Option<ReferenceLine> {
    let ends = |lap: &Lap| Some((path.at(lap.start_t_s)?, path.at(lap.end_t_s)?));
    let timed: Vec<(f64, f64, &Lap)> = laps
        .iter()
        .filter(|it| it.kind == LapKind::Timed)
        .filter_map(|lap| ends(lap).map(|(a, b)| (way(&a, has_speed), way(&b, has_speed), lap)))
        .filter(|it| it.1 > it.0)
        .collect();
    let length = timed.iter().map(|it| it.1 - it.0).sum::<f64>() / timed.len().max(1) as f64;
    if length <= 0.0 {
        return None;
    }
    // A point a metre, or ten a second.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a lap is finite")]
    let count = (length * if has_speed { 1.0 } else { RATE_HZ }).round().clamp(50.0, 1e5) as usize;
    let mut sums = vec![(0.0, 0.0); count];
    for (from, to, lap) in &timed {
        let first = path.states.partition_point(|it| it.t_s < lap.start_t_s);
        let last = path.states.partition_point(|it| it.t_s < lap.end_t_s);
        for state in &path.states[first..last] {
            let share = (way(state, has_speed) - from) / (to - from);
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0..count")]
            let index = ((share * count as f64) as usize).min(count - 1);
            let bend = if has_speed { state.yaw_rate_radps / state.speed_mps.max(1.0) } else { state.yaw_rate_radps };
            sums[index].0 += bend;
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

fn places(path: &Path, laps: &[Lap], length: f64, has_speed: bool) -> Vec<Option<Unrolled>> {
    let mut places = vec![None; path.states.len()];
    for lap in laps.iter().filter(|it| it.number > 0) {
        let Some(start) = path.at(lap.start_t_s).map(|it| way(&it, has_speed)) else { continue };
        // An open lap has the usual length.
        let end = path.at(lap.end_t_s).filter(|_| lap.time_s.is_some()).map(|it| way(&it, has_speed));
        let own_length = end.map_or(length, |it| it - start);
        let first = path.states.partition_point(|it| it.t_s < lap.start_t_s);
        let last = path.states.partition_point(|it| it.t_s < lap.end_t_s);
        for index in first..last {
            let share = (way(&path.states[index], has_speed) - start) / own_length;
            if share < 1.0 {
                let distance_m = (f64::from(lap.number) + share) * length;
                places[index] = Some(Unrolled { distance_m, offset_m: 0.0 });
            }
        }
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::PathState;

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
