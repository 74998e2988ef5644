//! The lap strip: one lap along its distance with speed, corners, marks and tags.

use crate::analysis::Analysis;
use crate::corners::{Corner, MarkKind, Pass};
use crate::present::{self, PlayheadWords};
use crate::session::Estimate;
use crate::strip::trace::{AxisKind, Trace};
use crate::strip::view::{Stretch, mark_limits};
use crate::track::{Lap, LapKind};
use crate::units::SpeedUnit;

/// A corner that is passed after the lap's end is drawn this far beyond its exit gate, m.
const BEYOND_M: f64 = 5.0;
/// No pass takes longer than this to its exit after the lap's end, s.
const BEYOND_S: f64 = 30.0;

/// A playhead that was put on a gate has reached it, though rounding may leave it just before; axis units.
const ON_GATE: f64 = 0.05;

/// A tag as a person set it.
#[derive(Debug, Clone, PartialEq)]
pub struct StripTag {
    /// Given back when the tag is chosen.
    pub id: u64,
    /// Log time, s.
    pub t_s: f64,
    pub name: String,
    /// 0xRRGGBB.
    pub colour: u32,
}

/// A tag on the axis.
#[derive(Debug, Clone, PartialEq)]
pub struct PlacedTag {
    pub along: f64,
    pub tag: StripTag,
}

/// A corner from entry gate to exit gate; without gates, from its first mark to its last.
#[derive(Debug, Clone, PartialEq)]
pub struct StripCorner {
    pub number: u32,
    pub name: String,
    pub from: f64,
    pub to: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StripMark {
    pub corner: u32,
    pub kind: MarkKind,
    pub along: f64,
    /// Log time, s.
    pub t_s: f64,
    /// A person has put it there.
    pub is_moved: bool,
}

/// One lap. Corners and tags rise along the axis, marks too.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LapStrip {
    /// `None` where the log has no laps: the strip is then the whole log.
    pub lap: Option<u32>,
    pub kind: Option<LapKind>,
    pub time_s: Option<Estimate>,
    pub trace: Trace,
    /// The axis from end to end.
    pub whole: Stretch,
    pub corners: Vec<StripCorner>,
    pub marks: Vec<StripMark>,
    pub tags: Vec<PlacedTag>,
}

impl LapStrip {
    /// One lap of an analysis; tags outside it are left out. Where the analysis has no laps at all, the whole log by
    /// time. A lap that is not there gives an empty strip.
    pub fn of(analysis: &Analysis, lap: u32, tags: &[StripTag]) -> Self {
        if analysis.laps.is_empty() {
            return Self::whole_log(analysis, tags);
        }
        let Some(found) = analysis.laps.iter().find(|it| it.number == lap) else {
            return Self { lap: Some(lap), ..Self::default() };
        };
        let mut strip = Self { lap: Some(lap), kind: Some(found.kind), time_s: found.time_s, ..Self::default() };
        strip.trace = Trace::new(analysis, lap, found.start_t_s, last_t_s(analysis, found));
        strip.whole = whole(analysis, lap, found, &strip.trace);
        strip.corners = corners(analysis, lap, &strip.trace);
        strip.marks = marks(analysis, lap, &strip.trace);
        strip.tags = placed(tags, &strip.trace);
        strip
    }

    fn whole_log(analysis: &Analysis, tags: &[StripTag]) -> Self {
        let states = &analysis.path.states;
        let (Some(first), Some(last)) = (states.first(), states.last()) else { return Self::default() };
        let trace = Trace::by_time(analysis, first.t_s, last.t_s);
        let tags = placed(tags, &trace);
        Self { whole: Stretch { from: 0.0, to: last.t_s - first.t_s }, trace, tags, ..Self::default() }
    }

    /// The corner at a place of the axis.
    pub fn corner_at(&self, along: f64) -> Option<&StripCorner> {
        self.corners.iter().find(|it| (it.from - ON_GATE..=it.to).contains(&along))
    }

    /// The corner that a moment belongs to: between the gates, or already between turn-in and exit of its pass.
    fn corner_of(&self, t_s: f64, along: f64) -> Option<&StripCorner> {
        let is_between_marks = |corner: &&StripCorner| {
            let mut of_pass = self.marks.iter().filter(|it| it.corner == corner.number).map(|it| it.t_s);
            let first_s = of_pass.next();
            first_s.zip(of_pass.next_back()).is_some_and(|(from_s, to_s)| (from_s..=to_s).contains(&t_s))
        };
        self.corners.iter().find(is_between_marks).or_else(|| self.corner_at(along))
    }

    /// How far the mark at `index` may be dragged.
    pub fn limits_of(&self, index: usize) -> Stretch {
        let along: Vec<f64> = self.marks.iter().map(|it| it.along).collect();
        let reached = self.trace.range().map_or(self.whole, |(from, to)| Stretch { from, to });
        mark_limits(&along, index, reached)
    }

    /// Distance or time, speed and corner at a log time, in words.
    pub fn words_at(&self, t_s: f64, unit: SpeedUnit) -> String {
        let Some(along) = self.trace.along_at(t_s) else { return "not on this lap".to_owned() };
        let start_s = self.trace.points.first().map_or(t_s, |it| it.t_s);
        let words = PlayheadWords {
            distance_m: (self.trace.axis == AxisKind::Distance).then_some(along),
            since_start_s: t_s - start_s,
            speed_mps: self.trace.speed_at(along),
            corner: self.corner_of(t_s, along).map(|it| it.name.as_str()),
        };
        present::playhead(words, unit)
    }
}

/// The lap's own end, or later where its last corner lies over the gate.
fn last_t_s(analysis: &Analysis, lap: &Lap) -> f64 {
    let passes = analysis.passes.iter().filter(|it| it.lap == lap.number);
    let times = passes.flat_map(|it| it.exit_gate_t_s.into_iter().chain(marks_of(it).into_iter().map(|it| it.1)));
    times.filter(|it| *it <= lap.end_t_s + BEYOND_S).fold(lap.end_t_s, f64::max)
}

/// All laps have the same axis, so that one looks like the other; it is longer where the lap itself is.
fn whole(analysis: &Analysis, lap: u32, found: &Lap, trace: &Trace) -> Stretch {
    let (from, to) = trace.range().unwrap_or((0.0, 0.0));
    match (&analysis.reference, trace.axis) {
        (Some(reference), AxisKind::Distance) => {
            let beyond_m = analysis.corners.iter().filter(|it| has_pass(analysis, lap, it.number)).filter_map(|it| {
                let (_, to_m) = gates(it, reference.length_m)?;
                (to_m > reference.length_m).then_some(to_m + BEYOND_M)
            });
            Stretch { from: from.min(0.0), to: beyond_m.fold(reference.length_m.max(to), f64::max) }
        }
        _ => Stretch { from: 0.0, to: (found.end_t_s - found.start_t_s).max(to) },
    }
}

fn has_pass(analysis: &Analysis, lap: u32, corner: u32) -> bool {
    analysis.pass(lap, corner).is_some()
}

/// Entry and exit gate, the exit gate behind the entry gate also where the start/finish gate lies between.
fn gates(corner: &Corner, length_m: f64) -> Option<(f64, f64)> {
    let (from_m, to_m) = (corner.entry_gate_m?, corner.exit_gate_m?);
    Some((from_m, if to_m < from_m { to_m + length_m } else { to_m }))
}

fn corners(analysis: &Analysis, lap: u32, trace: &Trace) -> Vec<StripCorner> {
    let length_m = analysis.reference.as_ref().map(|it| it.length_m);
    let by_marks = |corner: u32| {
        let pass = analysis.pass(lap, corner)?;
        let ends = pass.entry_gate_t_s.zip(pass.exit_gate_t_s);
        let along = ends.map_or_else(|| marks_of(pass).iter().map(|it| it.1).collect(), |(a, b)| vec![a, b]);
        let along: Vec<f64> = along.into_iter().filter_map(|it| trace.along_at(it)).collect();
        let (from, to) = (along.iter().copied().reduce(f64::min)?, along.iter().copied().reduce(f64::max)?);
        (from < to).then_some((from, to))
    };
    let placed = analysis.corners.iter().filter_map(|corner| {
        let by_gates = length_m.filter(|_| trace.axis == AxisKind::Distance).and_then(|it| gates(corner, it));
        let (from, to) = by_gates.or_else(|| by_marks(corner.number))?;
        Some(StripCorner { number: corner.number, name: corner.name.clone(), from, to })
    });
    let mut corners: Vec<StripCorner> = placed.collect();
    corners.sort_by(|a, b| a.from.total_cmp(&b.from));
    corners
}

/// Kind and log time of the marks that a pass has.
fn marks_of(pass: &Pass) -> Vec<(MarkKind, f64)> {
    let marks =
        [(MarkKind::TurnIn, pass.turn_in), (MarkKind::Apex, pass.apex.map(|it| it.mark)), (MarkKind::Exit, pass.exit)];
    marks.into_iter().filter_map(|(kind, mark)| Some((kind, mark?.t_s.value))).collect()
}

fn marks(analysis: &Analysis, lap: u32, trace: &Trace) -> Vec<StripMark> {
    let of_pass = |pass: &Pass| -> Vec<StripMark> {
        let placed = marks_of(pass).into_iter().filter_map(|(kind, t_s)| {
            let along = trace.along_at(t_s)?;
            Some(StripMark { corner: pass.corner, kind, along, t_s, is_moved: pass.edited.contains(&kind) })
        });
        placed.collect()
    };
    let mut marks: Vec<StripMark> = analysis.passes.iter().filter(|it| it.lap == lap).flat_map(of_pass).collect();
    marks.sort_by(|a, b| a.along.total_cmp(&b.along));
    marks
}

fn placed(tags: &[StripTag], trace: &Trace) -> Vec<PlacedTag> {
    let mut tags: Vec<PlacedTag> =
        tags.iter().filter_map(|tag| Some(PlacedTag { along: trace.along_at(tag.t_s)?, tag: tag.clone() })).collect();
    tags.sort_by(|a, b| a.along.total_cmp(&b.along));
    tags
}
