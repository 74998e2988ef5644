//! One lap's states laid along an axis: distance from the start/finish gate, or time where the log has no positions.
//! Takes states and their places; gives points that rise strictly along the axis, and crosses between axis and log time.

use crate::analysis::Analysis;
use crate::geom::Point;
use crate::session::NORMAL_CI95;

/// Two states of a path are no further apart than this, s, unless there is a gap between them.
const JUST_OUTSIDE_S: f64 = 0.1;

/// What lies along the strip.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum AxisKind {
    /// Metres from the start/finish gate along the reference line.
    #[default]
    Distance,
    /// Seconds since the start: the log has no positions, or no laps.
    Time,
}

/// One state on the axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TracePoint {
    /// m or s by the trace's [`AxisKind`].
    pub along: f64,
    /// Log time, s.
    pub t_s: f64,
    /// `None` where the log tells no speed.
    pub speed_mps: Option<f64>,
    /// Half-width of the speed's 95 % interval, m/s.
    pub speed_ci95: f64,
    /// On the session's plane; zero for a log without positions.
    pub position: Point,
    /// Nothing was measured between the point before and this one.
    pub is_after_gap: bool,
}

/// Points rise strictly in `along` and in `t_s`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Trace {
    pub axis: AxisKind,
    pub points: Vec<TracePoint>,
}

impl Trace {
    /// The states of the log times `from_s..=to_s`, by distance from the start of `lap`; states of the laps before and
    /// after have negative distances and such beyond the lap's length. States off the circuit and where the kart
    /// stands or rolls back are left out. By time from `from_s` where the analysis has no reference line.
    pub fn new(analysis: &Analysis, lap: u32, from_s: f64, to_s: f64) -> Self {
        match analysis.reference.as_ref().map(|it| it.length_m) {
            Some(length_m) if length_m > 0.0 => {
                let base_m = f64::from(lap) * length_m;
                Self::collect(analysis, AxisKind::Distance, from_s, to_s, |index, _| {
                    let place = analysis.places.get(index).copied().flatten()?;
                    Some(f64::from(place.lap) * length_m + place.distance_m - base_m)
                })
            }
            _ => Self::by_time(analysis, from_s, to_s),
        }
    }

    /// The states of the log times `from_s..=to_s` by time since `from_s`.
    pub fn by_time(analysis: &Analysis, from_s: f64, to_s: f64) -> Self {
        Self::collect(analysis, AxisKind::Time, from_s, to_s, |_, t_s| Some(t_s - from_s))
    }

    fn collect(
        analysis: &Analysis,
        axis: AxisKind,
        from_s: f64,
        to_s: f64,
        along: impl Fn(usize, f64) -> Option<f64>,
    ) -> Self {
        let states = &analysis.path.states;
        let first = states.partition_point(|it| it.t_s < from_s);
        let mut points: Vec<TracePoint> = Vec::new();
        let mut gaps = analysis.path.gaps.iter().peekable();
        let mut is_after_gap = false;
        for (index, state) in states.iter().enumerate().skip(first).take_while(|(_, it)| it.t_s <= to_s) {
            while let Some((_, gap_to_s)) = gaps.peek()
                && *gap_to_s <= state.t_s
            {
                let (gap_from_s, _) = gaps.next().copied().unwrap_or_default();
                is_after_gap |= points.last().is_some_and(|it| it.t_s <= gap_from_s);
            }
            if gaps.peek().is_some_and(|(gap_from_s, _)| state.t_s > *gap_from_s) {
                continue;
            }
            let Some(at) = along(index, state.t_s) else {
                is_after_gap |= !points.is_empty();
                continue;
            };
            if points.last().is_some_and(|it| at <= it.along) {
                continue;
            }
            let is_measured = state.speed_variance.is_finite() && state.speed_mps.is_finite();
            points.push(TracePoint {
                along: at,
                t_s: state.t_s,
                speed_mps: is_measured.then_some(state.speed_mps),
                speed_ci95: NORMAL_CI95 * state.speed_variance.max(0.0).sqrt(),
                position: Point::new(state.x_m, state.y_m),
                is_after_gap: std::mem::take(&mut is_after_gap),
            });
        }
        Self { axis, points }
    }

    /// Keeps what lies between two places of the axis.
    pub fn between(mut self, from: f64, to: f64) -> Self {
        self.points.retain(|it| (from..=to).contains(&it.along));
        if let Some(first) = self.points.first_mut() {
            first.is_after_gap = false;
        }
        self
    }

    /// First and last place; `None` for an empty trace.
    pub fn range(&self) -> Option<(f64, f64)> {
        Some((self.points.first()?.along, self.points.last()?.along))
    }

    /// Place at a log time, linear between points, also over a gap; `None` outside. A lap begins and ends between two
    /// states: a moment just outside is at its end.
    pub fn along_at(&self, t_s: f64) -> Option<f64> {
        let next = self.points.partition_point(|it| it.t_s < t_s);
        let Some(after) = self.points.get(next) else {
            return self.points.last().filter(|it| t_s - it.t_s <= JUST_OUTSIDE_S).map(|it| it.along);
        };
        match next.checked_sub(1) {
            None => (after.t_s - t_s <= JUST_OUTSIDE_S).then_some(after.along),
            Some(before) => {
                let before = &self.points[before];
                Some(mix(before.along, after.along, (t_s - before.t_s) / (after.t_s - before.t_s)))
            }
        }
    }

    /// Log time at a place, linear between points, also over a gap; the ends outside. `None` for an empty trace.
    pub fn t_at(&self, along: f64) -> Option<f64> {
        let next = self.points.partition_point(|it| it.along < along);
        let Some(after) = self.points.get(next) else { return self.points.last().map(|it| it.t_s) };
        let Some(before) = next.checked_sub(1).map(|it| &self.points[it]) else { return Some(after.t_s) };
        Some(mix(before.t_s, after.t_s, (along - before.along) / (after.along - before.along)))
    }

    /// Speed at a place; `None` outside, inside a gap and where none was measured.
    pub fn speed_at(&self, along: f64) -> Option<f64> {
        let (before, after, share) = self.around(along)?;
        Some(mix(before.speed_mps?, after.speed_mps?, share))
    }

    /// Position on the plane; `None` outside and inside a gap.
    pub fn position_at(&self, along: f64) -> Option<Point> {
        let (before, after, share) = self.around(along)?;
        Some(before.position + (after.position - before.position).scaled(share))
    }

    fn around(&self, along: f64) -> Option<(&TracePoint, &TracePoint, f64)> {
        let next = self.points.partition_point(|it| it.along < along);
        let after = self.points.get(next)?;
        match next.checked_sub(1).map(|it| &self.points[it]) {
            None => (after.along <= along).then_some((after, after, 0.0)),
            Some(_) if after.is_after_gap && along < after.along => None,
            Some(before) => Some((before, after, (along - before.along) / (after.along - before.along))),
        }
    }

    /// Places (from, to) between which nothing was measured.
    pub fn gaps(&self) -> Vec<(f64, f64)> {
        let pairs = self.points.windows(2).filter(|pair| pair[1].is_after_gap);
        pairs.map(|pair| (pair[0].along, pair[1].along)).collect()
    }

    /// Lowest and highest speed, m/s; `None` where no speed is known.
    pub fn speed_range_mps(&self) -> Option<(f64, f64)> {
        self.speed_range_between_mps(f64::NEG_INFINITY, f64::INFINITY)
    }

    /// The same for the points between two places.
    pub fn speed_range_between_mps(&self, from: f64, to: f64) -> Option<(f64, f64)> {
        let first = self.points.partition_point(|it| it.along < from);
        let speeds = self.points[first..].iter().take_while(|it| it.along <= to).filter_map(|it| it.speed_mps);
        let range = speeds.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), it| (low.min(it), high.max(it)));
        (range.0 <= range.1).then_some(range)
    }
}

fn mix(from: f64, to: f64, share: f64) -> f64 {
    from + (to - from) * share
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::{Path, PathState};

    /// Ten states a second apart at 10 m/s, without positions.
    fn without_positions(gaps: Vec<(f64, f64)>) -> Analysis {
        let states =
            (0..10).map(|i| PathState { t_s: f64::from(i), speed_mps: 10.0 + f64::from(i), ..PathState::default() });
        Analysis { path: Path { states: states.collect(), gaps }, ..Analysis::default() }
    }

    #[test]
    fn time_and_axis_are_crossed_both_ways() {
        let trace = Trace::new(&without_positions(Vec::new()), 1, 2.0, 8.0);
        assert_eq!(trace.axis, AxisKind::Time);
        assert_eq!(trace.range(), Some((0.0, 6.0)));
        assert_eq!((trace.along_at(4.5), trace.t_at(2.5)), (Some(2.5), Some(4.5)));
        assert_eq!((trace.along_at(1.0), trace.along_at(8.5)), (None, None));
        assert_eq!((trace.along_at(1.95), trace.along_at(8.05)), (Some(0.0), Some(6.0)), "between two states");
        assert_eq!((trace.t_at(-3.0), trace.t_at(99.0)), (Some(2.0), Some(8.0)));
        assert_eq!(trace.speed_at(0.5), Some(12.5));
        assert_eq!(trace.speed_range_mps(), Some((12.0, 18.0)));
        assert_eq!(trace.speed_range_between_mps(1.5, 3.0), Some((14.0, 15.0)));
        assert_eq!(trace.speed_range_between_mps(3.2, 3.8), None);
    }

    #[test]
    fn a_gap_stays_open_for_figures_but_not_for_time() {
        let trace = Trace::new(&without_positions(vec![(4.0, 7.0)]), 1, 2.0, 8.0);
        assert_eq!(trace.gaps(), [(2.0, 5.0)]);
        assert_eq!((trace.speed_at(3.0), trace.t_at(3.0)), (None, Some(5.0)));
        assert_eq!((trace.speed_at(2.0), trace.speed_at(5.0)), (Some(14.0), Some(17.0)));
        let outside = Trace::new(&without_positions(vec![(0.0, 1.5)]), 1, 2.0, 8.0);
        assert!(outside.gaps().is_empty());
    }

    #[test]
    fn nothing_gives_nothing() {
        let trace = Trace::new(&Analysis::default(), 1, 0.0, 9.0);
        assert!(trace.points.is_empty() && trace.t_at(1.0).is_none() && trace.speed_range_mps().is_none());
    }
}
