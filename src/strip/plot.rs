//! Speed over distance through one corner for several laps, each with its interval, and what one gains on the other.

use crate::analysis::Analysis;
use crate::corners::{MarkKind, Pass};
use crate::session::Estimate;
use crate::strip::elsewhere::{LapElsewhere, same_corner, same_distance_elsewhere_m, wrapped_m};
use crate::strip::lap::StripMark;
use crate::strip::trace::{AxisKind, Trace};
use crate::strip::view::Stretch;

/// Shown before the entry gate and behind the exit gate, m.
const BEFORE_M: f64 = 30.0;
const AFTER_M: f64 = 60.0;
/// The same where the log has no positions, s before the first mark and behind the last.
const BEFORE_S: f64 = 1.5;
const AFTER_S: f64 = 3.0;
/// Time looked through before and after a pass for the metres above, s: a kart rolls at walking pace at the least.
const LOOK_S: f64 = 30.0;
/// The difference in time is told every so many metres.
const DIFFERENCE_STEP_M: f64 = 1.0;

/// One pass in the plot.
#[derive(Debug, Clone, PartialEq)]
pub struct PlotLine {
    /// The other session that it is of, in words; `None` for the one under review.
    pub session: Option<String>,
    pub lap: u32,
    /// By distance from the entry gate, or by time since the first mark.
    pub trace: Trace,
    pub marks: Vec<StripMark>,
    /// In the corner, s.
    pub time_s: Option<Estimate>,
}

/// The chosen passes, the first of them this one.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CornerPlot {
    pub corner_name: String,
    pub axis: AxisKind,
    pub whole: Stretch,
    /// The exit gate; the entry gate is at 0. `None` where there are no gates.
    pub exit_gate: Option<f64>,
    /// Add to a place of the plot to get metres from the start/finish gate.
    pub from_start_m: f64,
    pub lines: Vec<PlotLine>,
    /// Of the second line against the first: (m from the entry gate, s later since the entry gate), positive where the
    /// second is behind. Empty without two lines, without distances, and where either has a gap.
    pub difference: Vec<(f64, f64)>,
}

impl CornerPlot {
    /// Laps without a pass through the corner are left out. Empty where there is no such corner.
    pub fn of(analysis: &Analysis, corner: u32, laps: &[u32]) -> Self {
        let Some(found) = analysis.corners.iter().find(|it| it.number == corner) else { return Self::default() };
        let passes = laps.iter().filter_map(|lap| analysis.pass(*lap, corner));
        let mut plot = Self { corner_name: found.name.clone(), ..Self::default() };
        let length_m = analysis.reference.as_ref().map(|it| it.length_m);
        match (length_m, found.entry_gate_m, found.exit_gate_m) {
            (Some(length_m), Some(entry_m), Some(exit_m)) => {
                let corner_m = (exit_m - entry_m).rem_euclid(length_m);
                plot.exit_gate = Some(corner_m);
                plot.from_start_m = entry_m;
                // On a short circuit the plot ends where it would begin again.
                let to_m = (corner_m + AFTER_M).min(length_m - BEFORE_M);
                plot.whole = Stretch { from: -BEFORE_M, to: to_m };
                plot.lines = passes.filter_map(|it| by_distance(analysis, it, entry_m, plot.whole)).collect();
            }
            _ => {
                plot.axis = AxisKind::Time;
                plot.lines = passes.filter_map(|it| by_time(analysis, it)).collect();
                let ends = plot.lines.iter().filter_map(|it| it.trace.range()).map(|it| it.1);
                plot.whole = Stretch { from: -BEFORE_S, to: ends.fold(0.0, f64::max) };
            }
        }
        plot.difference = difference(&plot);
        plot
    }

    /// With a lap of another session as the second line, laid over this session's `corner` by place. Without it where
    /// that lap has no pass there, or either session has no positions.
    pub fn with_lap_elsewhere(mut self, here: &Analysis, corner: u32, other: LapElsewhere<'_>) -> Self {
        if let Some(line) = line_elsewhere(here, corner, other, self.whole) {
            self.lines.insert(self.lines.len().min(1), line);
            self.difference = difference(&self);
        }
        self
    }

    /// The speeds of all lines, m/s.
    pub fn speed_range_mps(&self) -> Option<(f64, f64)> {
        let ranges = self.lines.iter().filter_map(|it| it.trace.speed_range_mps());
        ranges.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
    }
}

/// Log times that a pass spans: its gates, else its marks.
fn span_s(pass: &Pass) -> Option<(f64, f64)> {
    let marks = [pass.turn_in, pass.apex.map(|it| it.mark), pass.exit].into_iter().flatten().map(|it| it.t_s.value);
    let times = || marks.clone().chain([pass.entry_gate_t_s, pass.exit_gate_t_s].into_iter().flatten());
    Some((times().reduce(f64::min)?, times().reduce(f64::max)?))
}

fn by_distance(analysis: &Analysis, pass: &Pass, entry_m: f64, whole: Stretch) -> Option<PlotLine> {
    let (from_s, to_s) = span_s(pass)?;
    let mut trace = Trace::new(analysis, pass.lap, from_s - LOOK_S, to_s + LOOK_S);
    trace.points.iter_mut().for_each(|it| it.along -= entry_m);
    line_of(pass, trace.between(whole.from, whole.to))
}

fn line_elsewhere(here: &Analysis, corner: u32, other: LapElsewhere<'_>, whole: Stretch) -> Option<PlotLine> {
    let there = other.analysis;
    let corner = here.corners.iter().find(|it| it.number == corner)?;
    let pass = there.pass(other.lap, same_corner(corner, here, there)?.number)?;
    let entry_m = same_distance_elsewhere_m(here, corner.entry_gate_m?, there)?;
    // The other session's gate may lie inside this corner: its distances are then a lap more or less.
    let length_m = there.reference.as_ref()?.length_m;
    let (from_s, to_s) = span_s(pass)?;
    let at_s = pass.entry_gate_t_s.unwrap_or(from_s);
    let at_m = Trace::new(there, pass.lap, from_s - LOOK_S, to_s + LOOK_S).along_at(at_s)?;
    let line = by_distance(there, pass, at_m + wrapped_m(entry_m - at_m, length_m), whole)?;
    Some(PlotLine { session: Some(other.session.to_owned()), ..line })
}

fn by_time(analysis: &Analysis, pass: &Pass) -> Option<PlotLine> {
    let (from_s, to_s) = span_s(pass)?;
    let mut trace = Trace::by_time(analysis, from_s - BEFORE_S, to_s + AFTER_S);
    trace.points.iter_mut().for_each(|it| it.along -= BEFORE_S);
    line_of(pass, trace)
}

fn line_of(pass: &Pass, trace: Trace) -> Option<PlotLine> {
    let marks =
        [(MarkKind::TurnIn, pass.turn_in), (MarkKind::Apex, pass.apex.map(|it| it.mark)), (MarkKind::Exit, pass.exit)];
    let placed = marks.into_iter().filter_map(|(kind, mark)| {
        let t_s = mark?.t_s.value;
        let along = trace.along_at(t_s)?;
        Some(StripMark { corner: pass.corner, kind, along, t_s, is_moved: pass.edited.contains(&kind) })
    });
    let marks = placed.collect();
    (!trace.points.is_empty()).then_some(PlotLine { session: None, lap: pass.lap, trace, marks, time_s: pass.time_s })
}

fn difference(plot: &CornerPlot) -> Vec<(f64, f64)> {
    let [this, other, ..] = plot.lines.as_slice() else { return Vec::new() };
    let is_whole = |line: &PlotLine| !line.trace.points.iter().any(|it| it.is_after_gap);
    let both = this.trace.range().zip(other.trace.range());
    let (Some((a, b)), AxisKind::Distance) = (both, plot.axis) else { return Vec::new() };
    let (from, to) = (a.0.max(b.0), a.1.min(b.1));
    if !(is_whole(this) && is_whole(other) && from <= 0.0 && to > 0.0) {
        return Vec::new();
    }
    let behind_s = |along: f64| Some(other.trace.t_at(along)? - this.trace.t_at(along)?);
    let Some(at_gate_s) = behind_s(0.0) else { return Vec::new() };
    let steps = std::iter::successors(Some(from.ceil()), |it| Some(it + DIFFERENCE_STEP_M));
    steps.take_while(|it| *it <= to).filter_map(|it| Some((it, behind_s(it)? - at_gate_s))).collect()
}
