//! The cut list of one clip. Takes an analysis, a pass and the footage with its clocks; gives stretches and stills in the
//! order they are shown.

use std::path::PathBuf;

use crate::analysis::Analysis;
use crate::corners::{Corner, MarkKind, Pass};
use crate::reel::beside::Beside;
use crate::reel::drawings::ClipDrawing;
use crate::reel::overlay::OverlayScript;
use crate::session::{ClockMap, SessionTime, VideoTime};
use crate::units::SpeedUnit;

/// Chapters of one recording follow each other without a gap; a clock that was set for each apart may be off by this
/// much. The last frame stays on show meanwhile.
const JOIN_S: f64 = 0.25;

/// One footage file on the log's clock.
#[derive(Debug, Clone, PartialEq)]
pub struct Chapter {
    pub file: PathBuf,
    pub clock: ClockMap,
    /// Presentation times of the first shown frame and of the end of the last one.
    pub start: VideoTime,
    pub end: VideoTime,
}

/// How a clip is to be made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClipOptions {
    /// Shown before turn-in and after exit, s. Shortened where the footage is shorter.
    pub lead_s: f64,
    pub tail_s: f64,
    /// Pace between turn-in and exit: 1 as it was, 0.5 half as fast.
    pub slow: f64,
    /// A still of this many seconds at each mark, or at the one in `hold_at`; 0 for none.
    pub hold_s: f64,
    pub hold_at: Option<MarkKind>,
    pub speed_unit: SpeedUnit,
    /// Height of the film in pixels; `None` leaves the footage's.
    pub height_px: Option<u32>,
}

impl Default for ClipOptions {
    fn default() -> Self {
        Self {
            lead_s: 2.0,
            tail_s: 2.0,
            slow: 1.0,
            hold_s: 0.0,
            hold_at: None,
            speed_unit: SpeedUnit::default(),
            height_px: None,
        }
    }
}

/// One piece of the film. `chapter` indexes [`ClipPlan::chapters`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cut {
    /// The footage from one presentation time up to another, at a pace (1 = as it was).
    Run { chapter: usize, from: VideoTime, until: VideoTime, pace: f64 },
    /// A still of the frame on show at a presentation time.
    Hold { chapter: usize, at: VideoTime, seconds: f64 },
}

impl Cut {
    /// How long it is in the film, s.
    pub fn film_s(&self) -> f64 {
        match self {
            Self::Run { from, until, pace, .. } => (until.0 - from.0) as f64 * 1e-9 / pace,
            Self::Hold { seconds, .. } => *seconds,
        }
    }

    pub fn chapter(&self) -> usize {
        match self {
            Self::Run { chapter, .. } | Self::Hold { chapter, .. } => *chapter,
        }
    }

    /// Presentation time of its first moment, and of its end; a hold has one.
    pub fn from(&self) -> VideoTime {
        match *self {
            Self::Run { from, .. } => from,
            Self::Hold { at, .. } => at,
        }
    }

    pub fn until(&self) -> VideoTime {
        match *self {
            Self::Run { until, .. } => until,
            Self::Hold { at, .. } => at,
        }
    }
}

/// One clip: everything that a renderer needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipPlan {
    /// For the container's title.
    pub title: String,
    pub chapters: Vec<Chapter>,
    /// In the order shown; at least one.
    pub cuts: Vec<Cut>,
    pub overlay: OverlayScript,
    /// What a person has drawn on the footage, the oldest first: a later one lies over an earlier one.
    pub drawings: Vec<ClipDrawing>,
    /// Another pass, shown as well.
    pub beside: Option<Box<Beside>>,
    pub height_px: Option<u32>,
    /// By how much the lead and the tail are shorter than asked for, because there is no footage, s.
    pub lead_missing_s: f64,
    pub tail_missing_s: f64,
}

impl ClipPlan {
    /// Length of the film, s.
    pub fn film_s(&self) -> f64 {
        self.cuts.iter().map(Cut::film_s).sum()
    }

    /// Log times that are shown, s: of the first moment and of the end.
    pub fn shown_s(&self) -> (f64, f64) {
        let log_s = |chapter: usize, at: VideoTime| self.chapters[chapter].clock.to_log(at).0;
        let begin = self.cuts.first().map_or(0.0, |it| log_s(it.chapter(), it.from()));
        let end = self.cuts.last().map_or(0.0, |it| log_s(it.chapter(), it.until()));
        (begin, end)
    }

    /// The frame on show at a log time: its chapter and presentation time. Where there is no footage, the nearest frame.
    pub fn nearest_frame(&self, log_s: f64) -> (usize, VideoTime) {
        let nearest = |chapter: &Chapter| {
            let at = chapter.clock.to_video(SessionTime(log_s));
            at.clamp(chapter.start, VideoTime((chapter.end.0 - 1).max(chapter.start.0)))
        };
        let away_s = |chapter: &Chapter| (chapter.clock.to_log(nearest(chapter)).0 - log_s).abs();
        let chapters = self.chapters.iter().enumerate();
        let (index, chapter) = chapters
            .min_by(|a, b| away_s(a.1).total_cmp(&away_s(b.1)))
            .expect("a plan has the chapters that its cuts are of");
        (index, nearest(chapter))
    }

    /// When in the film a log time comes on show, s; `None` for what is not shown.
    pub fn film_time_s(&self, log_s: f64) -> Option<f64> {
        let mut begin_s = 0.0;
        for cut in &self.cuts {
            let at = self.chapters[cut.chapter()].clock.to_video(SessionTime(log_s));
            if let Cut::Run { from, until, pace, .. } = *cut
                && at >= from
                && at < until
            {
                return Some(begin_s + (at.0 - from.0) as f64 * 1e-9 / pace);
            }
            begin_s += cut.film_s();
        }
        None
    }
}

/// Why there is no clip.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PlanError {
    #[error("there is no {what} {number}; {}", session_has(there))]
    Absent { what: &'static str, number: u32, there: Vec<u32> },
    #[error("lap {lap}: does not go through corner {corner}; see the pass table for the laps that do")]
    NoPass { lap: u32, corner: u32 },
    #[error("lap {lap}, corner {corner}: neither its marks nor its gates are known; move its marks by hand first")]
    NotLocated { lap: u32, corner: u32 },
    #[error("lap {lap}, corner {corner}: there is no footage; add it with --video")]
    NoFootage { lap: u32, corner: u32 },
    #[error(
        "lap {lap}, corner {corner}: the footage {side} {seconds:.1} s {late}; add the chapter that is missing or check its clock"
    )]
    NotCovered { lap: u32, corner: u32, side: &'static str, late: &'static str, seconds: f64 },
    #[error(
        "lap {lap}, corner {corner}: the footage has a hole of {seconds:.1} s inside the pass; add the chapter that is missing"
    )]
    Hole { lap: u32, corner: u32, seconds: f64 },
    #[error(
        "lap {lap}, corner {corner}: lap {other_lap} was not at the same places; two pictures need positions on one circuit, \
         and laps that were both driven"
    )]
    NoSamePlace { lap: u32, other_lap: u32, corner: u32 },
    #[error("the reel has no clip; choose a pass")]
    Empty,
    #[error("{name} {value}: must be {rule}; give another value")]
    Option { name: &'static str, value: f64, rule: &'static str },
}

/// What the session has instead of what was asked for: `there` in rising order.
pub fn session_has(there: &[u32]) -> String {
    match there {
        [] => "the session has none".to_owned(),
        [only] => format!("the session has only {only}"),
        [first, .., last] => format!("the session has {first} to {last}"),
    }
}

/// A stretch of log time with the chapter that covers it.
#[derive(Debug, Clone, Copy)]
struct Span {
    chapter: usize,
    from_s: f64,
    until_s: f64,
}

/// Plans the clip of one pass. A pass without marks is shown from gate to gate, with what is unknown left open.
pub fn clip_plan(
    analysis: &Analysis,
    lap: u32,
    corner: u32,
    chapters: &[Chapter],
    options: &ClipOptions,
) -> Result<ClipPlan, PlanError> {
    check_options(options)?;
    let absent = |what, number, there| PlanError::Absent { what, number, there };
    let of_corner: &Corner = analysis
        .corners
        .iter()
        .find(|it| it.number == corner)
        .ok_or_else(|| absent("corner", corner, analysis.corners.iter().map(|it| it.number).collect()))?;
    let pass = analysis.pass(lap, corner);
    let pass = pass.ok_or_else(|| {
        let laps: Vec<u32> = analysis.laps.iter().map(|it| it.number).collect();
        if laps.contains(&lap) { PlanError::NoPass { lap, corner } } else { absent("lap", lap, laps) }
    })?;
    let (begin_s, finish_s) = pass.times_s().ok_or(PlanError::NotLocated { lap, corner })?;
    let wanted_s = (begin_s - options.lead_s, finish_s + options.tail_s);
    let spans = footage_of(lap, corner, chapters, (begin_s, finish_s), wanted_s)?;
    let shown_s = (spans[0].from_s, spans[spans.len() - 1].until_s);
    let overlay = OverlayScript::new(analysis, of_corner, pass, (begin_s, finish_s), shown_s, options.speed_unit);
    Ok(ClipPlan {
        title: format!("{}, lap {lap}", of_corner.name),
        chapters: chapters.to_vec(),
        cuts: cuts_of(&spans, chapters, pass, (begin_s, finish_s), options),
        overlay,
        drawings: Vec::new(),
        beside: None,
        height_px: options.height_px,
        lead_missing_s: shown_s.0 - wanted_s.0,
        tail_missing_s: wanted_s.1 - shown_s.1,
    })
}

fn check_options(options: &ClipOptions) -> Result<(), PlanError> {
    let rules = [
        ("lead", options.lead_s, (0.0..=600.0).contains(&options.lead_s), "0 to 600 s"),
        ("tail", options.tail_s, (0.0..=600.0).contains(&options.tail_s), "0 to 600 s"),
        ("slow", options.slow, (0.1..=1.0).contains(&options.slow), "0.1 to 1"),
        ("hold", options.hold_s, (0.0..=60.0).contains(&options.hold_s), "0 to 60 s"),
    ];
    match rules.into_iter().find(|(_, _, is_kept, _)| !is_kept) {
        Some((name, value, _, rule)) => Err(PlanError::Option { name, value, rule }),
        None => Ok(()),
    }
}

/// The stretches of footage from `wanted` that hang together around the whole pass, in order of log time.
fn footage_of(
    lap: u32,
    corner: u32,
    chapters: &[Chapter],
    pass_s: (f64, f64),
    wanted_s: (f64, f64),
) -> Result<Vec<Span>, PlanError> {
    let mut covered: Vec<Span> = chapters
        .iter()
        .enumerate()
        .map(|(chapter, it)| Span { chapter, from_s: it.clock.to_log(it.start).0, until_s: it.clock.to_log(it.end).0 })
        .collect();
    covered.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    let (Some(first), Some(last)) = (covered.first().copied(), covered.last().copied()) else {
        return Err(PlanError::NoFootage { lap, corner });
    };
    let not_covered = |side, late, seconds| PlanError::NotCovered { lap, corner, side, late, seconds };
    if first.from_s > pass_s.0 {
        return Err(not_covered("begins", "after the pass does", first.from_s - pass_s.0));
    }
    let end_s = covered.iter().map(|it| it.until_s).fold(last.until_s, f64::max);
    if end_s < pass_s.1 {
        return Err(not_covered("ends", "before the pass does", pass_s.1 - end_s));
    }
    join(&covered, pass_s, wanted_s).map_err(|seconds| PlanError::Hole { lap, corner, seconds })
}

/// Cuts the chapters to what is wanted, each beginning where the one before ends. A hole in the lead or the tail
/// shortens it; one inside the pass is an error that gives its length.
fn join(covered: &[Span], pass_s: (f64, f64), wanted_s: (f64, f64)) -> Result<Vec<Span>, f64> {
    let mut joined: Vec<Span> = Vec::new();
    let mut reached_s = wanted_s.0;
    for span in covered {
        let from_s = span.from_s.max(reached_s);
        let until_s = span.until_s.min(wanted_s.1);
        if until_s <= from_s {
            continue;
        }
        let hole_s = from_s - reached_s;
        if hole_s > JOIN_S && !joined.is_empty() {
            if from_s > pass_s.1 {
                break;
            }
            if reached_s > pass_s.0 || from_s > pass_s.0 {
                return Err(hole_s);
            }
            joined.clear();
        }
        if let Some(before) = joined.last_mut() {
            before.until_s = from_s;
        }
        joined.push(Span { chapter: span.chapter, from_s, until_s });
        reached_s = until_s;
    }
    if joined.is_empty() { Err(pass_s.1 - pass_s.0) } else { Ok(joined) }
}

fn cuts_of(
    spans: &[Span],
    chapters: &[Chapter],
    pass: &Pass,
    (begin_s, finish_s): (f64, f64),
    options: &ClipOptions,
) -> Vec<Cut> {
    let is_held = |it: &MarkKind| options.hold_s > 0.0 && options.hold_at.is_none_or(|at| at == *it);
    let kinds = [MarkKind::TurnIn, MarkKind::Apex, MarkKind::Exit].into_iter().filter(is_held);
    let mut holds_s: Vec<f64> = kinds.filter_map(|it| Some(pass.mark(it)?.t_s.value)).collect();
    holds_s.sort_by(f64::total_cmp);
    let mut edges_s: Vec<f64> = holds_s.clone();
    if options.slow < 1.0 {
        edges_s.extend([begin_s, finish_s]);
    }
    edges_s.sort_by(f64::total_cmp);
    edges_s.dedup();

    let mut cuts = Vec::new();
    for span in spans {
        let to_video = |t_s: f64| chapters[span.chapter].clock.to_video(SessionTime(t_s));
        let inner_s = edges_s.iter().copied().filter(|it| *it > span.from_s && *it < span.until_s);
        let mut from_s = span.from_s;
        for until_s in inner_s.chain([span.until_s]) {
            if holds_s.contains(&from_s) {
                cuts.push(Cut::Hold { chapter: span.chapter, at: to_video(from_s), seconds: options.hold_s });
            }
            let is_inside = from_s >= begin_s && until_s <= finish_s;
            let pace = if is_inside { options.slow } else { 1.0 };
            cuts.push(Cut::Run { chapter: span.chapter, from: to_video(from_s), until: to_video(until_s), pace });
            from_s = until_s;
        }
    }
    let last = spans[spans.len() - 1];
    if holds_s.contains(&last.until_s) {
        let at = chapters[last.chapter].clock.to_video(SessionTime(last.until_s));
        cuts.push(Cut::Hold { chapter: last.chapter, at, seconds: options.hold_s });
    }
    cuts
}
