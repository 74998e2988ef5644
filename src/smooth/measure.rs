//! Measurements in order of time: one step per instant, cut into stretches at gaps and standstills, and into pieces
//! that workers smooth side by side.

use std::ops::Range;

use crate::geom::Point;
use crate::session::Channel;
use crate::smooth::settle::Settled;

/// All that was measured at one instant.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Step {
    pub t_s: f64,
    pub position: Option<Point>,
    pub speed_mps: Option<f64>,
    pub heading_rad: Option<f64>,
    pub yaw_rate_radps: Option<f64>,
    /// Samples that the yaw rate is the mean of.
    pub yaw_count: u32,
    pub acceleration_mps2: Option<f64>,
}

/// Part of a stretch for one worker; `core` indexes `steps`, the rest overlaps its neighbours.
#[derive(Debug, Clone)]
pub(super) struct Piece<'a> {
    pub(super) steps: &'a [Step],
    pub(super) core: Range<usize>,
}

/// Measurements closer than this belong to one instant, s.
const SAME_INSTANT_S: f64 = 1e-3;
/// A stretch without measurement longer than this, s, and than five usual intervals, is a gap.
const GAP_S: f64 = 2.0;
const GAP_INTERVALS: f64 = 5.0;
/// Slower than this, m/s, for this long, s, is standing.
const STANDING_MPS: f64 = 0.5;
const STANDING_S: f64 = 5.0;
/// Steps in one piece, and how far it reaches into its neighbours, s: longer than the filter remembers.
const PIECE_STEPS: usize = 4000;
const OVERLAP_S: f64 = 12.0;

/// Gaps (from, to) in a list of rising times, s.
pub(super) fn gaps(t_s: &[f64]) -> Vec<(f64, f64)> {
    let limit_s = gap_limit_s(t_s);
    t_s.windows(2).filter(|pair| pair[1] - pair[0] > limit_s).map(|pair| (pair[0], pair[1])).collect()
}

fn gap_limit_s(t_s: &[f64]) -> f64 {
    let mut intervals: Vec<f64> = t_s.windows(2).map(|pair| pair[1] - pair[0]).collect();
    if intervals.is_empty() {
        return GAP_S;
    }
    let middle = intervals.len() / 2;
    let (_, median, _) = intervals.select_nth_unstable_by(middle, f64::total_cmp);
    GAP_S.max(GAP_INTERVALS * *median)
}

/// The steps, cut where the position is missing for too long and where a standing kart sets off again.
pub(super) fn stretches(settled: &Settled) -> Vec<Vec<Step>> {
    let fix_times: Vec<f64> = settled.fixes.iter().map(|(t_s, _)| *t_s).collect();
    let (Some(first_s), Some(last_s)) = (fix_times.first().copied(), fix_times.last().copied()) else {
        return Vec::new();
    };
    // (end of one stretch, start of the next): what lies strictly between belongs to neither.
    let mut cuts = gaps(&fix_times);
    cuts.extend(departures(&settled.fixes).into_iter().map(|t_s| (t_s, t_s)));
    cuts.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut stretches = Vec::new();
    let mut current: Vec<Step> = Vec::new();
    let mut next_cut = 0;
    for step in merge(settled) {
        if step.t_s < first_s || step.t_s > last_s {
            continue;
        }
        while next_cut < cuts.len() && step.t_s > cuts[next_cut].0 {
            if !current.is_empty() {
                stretches.push(std::mem::take(&mut current));
            }
            if step.t_s < cuts[next_cut].1 {
                break;
            }
            next_cut += 1;
        }
        let inside_gap = next_cut < cuts.len() && step.t_s > cuts[next_cut].0;
        if !inside_gap {
            current.push(step);
        }
    }
    if !current.is_empty() {
        stretches.push(current);
    }
    stretches
}

/// Times at which a kart that has stood sets off.
fn departures(fixes: &[(f64, Point)]) -> Vec<f64> {
    let mut departures = Vec::new();
    let mut standing_since: Option<f64> = None;
    let mut ahead = 0;
    for (index, (t_s, position)) in fixes.iter().enumerate() {
        ahead = ahead.max(index);
        while ahead + 1 < fixes.len() && fixes[ahead].0 < t_s + 2.0 {
            ahead += 1;
        }
        let (later_s, later) = fixes[ahead];
        let standing = later_s > *t_s && position.distance_m(later) / (later_s - t_s) < STANDING_MPS;
        match (standing, standing_since) {
            (true, None) => standing_since = Some(*t_s),
            (false, Some(since_s)) => {
                if t_s - since_s >= STANDING_S {
                    departures.push(*t_s);
                }
                standing_since = None;
            }
            _ => {}
        }
    }
    departures
}

/// All channels merged by time.
fn merge(settled: &Settled) -> Vec<Step> {
    let mut steps: Vec<Step> = settled
        .fixes
        .iter()
        .map(|(t_s, position)| Step { t_s: *t_s, position: Some(*position), ..Step::default() })
        .collect();
    let mut add = |channel: &Option<Channel>, set: &dyn Fn(&mut Step, f64)| {
        for (t_s, value) in channel.iter().flat_map(Channel::iter) {
            let mut step = Step { t_s, ..Step::default() };
            set(&mut step, value);
            steps.push(step);
        }
    };
    add(&settled.speed, &|step, value| step.speed_mps = Some(value));
    add(&settled.heading, &|step, value| step.heading_rad = Some(value));
    add(&settled.acceleration, &|step, value| step.acceleration_mps2 = Some(value));
    add(&settled.yaw_rate, &|step, value| {
        step.yaw_rate_radps = Some(value);
        step.yaw_count = 1;
    });
    steps.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    steps.dedup_by(|later, kept| {
        let same = later.t_s - kept.t_s < SAME_INSTANT_S;
        if same {
            kept.position = kept.position.or(later.position);
            kept.speed_mps = kept.speed_mps.or(later.speed_mps);
            kept.heading_rad = kept.heading_rad.or(later.heading_rad);
            kept.acceleration_mps2 = kept.acceleration_mps2.or(later.acceleration_mps2);
            kept.yaw_rate_radps = kept.yaw_rate_radps.or(later.yaw_rate_radps);
            kept.yaw_count = kept.yaw_count.max(later.yaw_count);
        }
        same
    });
    steps
}

/// Cuts long stretches into pieces of bounded length, so that memory stays bounded and both cores have work.
pub(super) fn pieces(stretches: &[Vec<Step>]) -> Vec<Piece<'_>> {
    let mut pieces = Vec::new();
    for steps in stretches {
        let count = steps.len().div_ceil(PIECE_STEPS).max(1);
        for piece in 0..count {
            let (from, to) = (piece * steps.len() / count, (piece + 1) * steps.len() / count);
            let Some((first, last)) = steps.get(from).zip(steps.get(to.saturating_sub(1))) else { continue };
            let start = steps.partition_point(|step| step.t_s < first.t_s - OVERLAP_S);
            let end = steps.partition_point(|step| step.t_s <= last.t_s + OVERLAP_S);
            pieces.push(Piece { steps: &steps[start..end], core: from - start..to - start });
        }
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settled(times_s: impl Iterator<Item = f64>, speed_mps: f64) -> Settled {
        Settled { fixes: times_s.map(|t_s| (t_s, Point::new(t_s * speed_mps, 0.0))).collect(), ..Settled::default() }
    }

    #[test]
    fn a_gap_cuts_and_the_pieces_cover_every_step_once() {
        let times = (0..9000).map(|i| f64::from(i) * 0.1).filter(|t_s| !(100.0..110.0).contains(t_s));
        let stretches = stretches(&settled(times, 10.0));
        assert_eq!(stretches.len(), 2);
        let covered: usize = pieces(&stretches).iter().map(|piece| piece.core.len()).sum();
        assert_eq!(covered, 8900);
        assert!(pieces(&stretches).len() > 2);
    }

    #[test]
    fn channels_of_one_instant_share_a_step() {
        let mut settled = settled((0..10).map(f64::from), 10.0);
        settled.speed = Some(Channel { t_s: vec![0.0, 0.5, 1.0004], value: vec![1.0, 2.0, 3.0] });
        let steps = merge(&settled);
        assert_eq!(steps.len(), 11);
        assert_eq!(steps[2].speed_mps, Some(3.0));
        assert!(steps[2].position.is_some());
    }
}
