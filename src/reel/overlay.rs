//! What is written and drawn over the footage at each log time, as plain data.
//!
//! A mark lights on the frame that is on show when it falls: the last frame whose presentation time is not after the
//! mark. So a frame's state is asked for with the stretch of log time for which it is shown, `from..until`.

use crate::analysis::Analysis;
use crate::book::Colour;
use crate::corners::{Corner, Mark, MarkKind, Pass, Unclear};
use crate::geom::Point;
use crate::reel::phase::{INSTANT_S, Phase, moment_s};
use crate::session::{Estimate, PathState};
use crate::units::SpeedUnit;

/// Reference line drawn beyond the corner's gates, m.
const MAP_MARGIN_M: f64 = 60.0;
/// States this much before and after the clip are kept, so that its first and last frames have neighbours, s.
const EDGE_S: f64 = 1.0;
/// Shown for a figure that cannot be told.
const UNKNOWN: &str = "–";

/// Everything the overlay of one clip can ever show. Times are log times in seconds.
#[derive(Debug, Clone, PartialEq)]
pub struct OverlayScript {
    corner: String,
    lap: u32,
    unit: SpeedUnit,
    begin_s: f64,
    finish_s: f64,
    marks: [Timed; 3],
    speeds: [Timed; 3],
    /// Time and speed in m/s, by time; empty where the log tells no speed.
    live: Vec<(f64, f64)>,
    pub map: Option<MapShape>,
    tags: Vec<TagShown>,
}

/// A tag over the log times at which it is on show, s.
#[derive(Debug, Clone, PartialEq)]
pub struct TagShown {
    pub from_s: f64,
    pub until_s: f64,
    pub line: TagLine,
}

/// What a tag says, on one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TagLine {
    pub text: String,
    /// Of its kind, where it is of one.
    pub colour: Option<Colour>,
}

/// Something that happens at a log time: a mark, or a figure that becomes known.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Timed {
    t_s: Option<f64>,
    speed_mps: Option<f64>,
}

/// What stays the same on the map: metres on the session's plane.
#[derive(Debug, Clone, PartialEq)]
pub struct MapShape {
    pub reference: Vec<Point>,
    /// The pass's own line by log time.
    pub line: Vec<(f64, Point)>,
    pub marks: [Option<Point>; 3],
    /// Heading that points up on the map: the kart's at turn-in, radians.
    pub up_rad: f64,
}

/// The overlay over one frame. Parts that are equal need no redrawing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OverlayState {
    pub caption: Caption,
    /// Turn-in, apex, exit.
    pub marks: [MarkState; 3],
    pub unit: &'static str,
    pub map: Option<MapState>,
    pub tags: Vec<TagLine>,
}

/// Which pass, how fast, in which part of the corner.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caption {
    pub corner: String,
    pub lap: u32,
    /// Whole numbers of the unit, or a dash.
    pub speed: String,
    pub unit: &'static str,
    pub phase: &'static str,
}

/// One mark with the figure that belongs under it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MarkState {
    pub kind: MarkKind,
    pub name: &'static str,
    pub is_lit: bool,
    pub figure_name: &'static str,
    /// Empty until reached; a dash where it cannot be told.
    pub figure: String,
}

/// How much of the map's line is driven, and which marks are lit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MapState {
    /// Points of [`MapShape::line`] that are behind the kart.
    pub points: usize,
    pub lit: [bool; 3],
}

impl OverlayScript {
    /// `pass_s`: log times of turn-in and exit or what stands for them; `shown_s`: of the whole clip.
    pub(crate) fn new(
        analysis: &Analysis,
        corner: &Corner,
        pass: &Pass,
        pass_s: (f64, f64),
        shown_s: (f64, f64),
        unit: SpeedUnit,
    ) -> Self {
        let value = |it: Option<Estimate>| it.map(|it| it.value);
        let apex = pass.apex.map(|it| it.mark);
        let mark = |it: Option<Mark>| Timed { t_s: it.map(|it| it.t_s.value), speed_mps: None };
        // A figure whose time is unknown is shown once the pass is over.
        let figure = |t_s: Option<f64>, speed: Option<Estimate>| Timed {
            t_s: Some(t_s.unwrap_or(pass_s.1)),
            speed_mps: value(speed),
        };
        let shown = states_around(analysis, shown_s);
        let has_speed = !pass.unclear.contains(&Unclear::NoSpeed);
        Self {
            corner: corner.name.clone(),
            lap: pass.lap,
            unit,
            begin_s: pass_s.0,
            finish_s: pass_s.1,
            marks: [mark(pass.turn_in), mark(apex), mark(pass.exit)],
            speeds: [
                figure(pass.turn_in.map(|it| it.t_s.value), pass.entry_speed_mps),
                figure(value(pass.min_speed_t_s), pass.min_speed_mps),
                figure(pass.exit.map(|it| it.t_s.value), pass.exit_speed_mps),
            ],
            live: shown.filter(|it| has_speed && it.speed_mps.is_finite()).map(|it| (it.t_s, it.speed_mps)).collect(),
            map: map_of(analysis, corner, [pass.turn_in, apex, pass.exit], pass_s, shown_s),
            tags: Vec::new(),
        }
    }

    /// Shows tags as well, in this order.
    pub(crate) fn with_tags(mut self, tags: Vec<TagShown>) -> Self {
        self.tags = tags;
        self
    }

    /// The corner's name.
    pub fn corner(&self) -> &str {
        &self.corner
    }

    /// The tags that are ever shown.
    pub fn tags(&self) -> &[TagShown] {
        &self.tags
    }

    /// What to show over a frame that is on show for the log times `from_s..until_s`.
    pub fn state(&self, from_s: f64, until_s: f64) -> OverlayState {
        let is_reached = |it: &Timed| it.t_s.is_some_and(|t_s| t_s + INSTANT_S < until_s);
        let moment_s = moment_s(self.marks.map(|it| it.t_s), (from_s, until_s));
        let lit = self.marks.each_ref().map(is_reached);
        let names =
            [(MarkKind::TurnIn, "Turn-in", "Entry"), (MarkKind::Apex, "Apex", "Min"), (MarkKind::Exit, "Exit", "Exit")];
        let marks = std::array::from_fn(|index| MarkState {
            kind: names[index].0,
            name: names[index].1,
            is_lit: lit[index],
            figure_name: names[index].2,
            figure: if is_reached(&self.speeds[index]) {
                self.figure(self.speeds[index].speed_mps)
            } else {
                String::new()
            },
        });
        OverlayState {
            caption: Caption {
                corner: self.corner.clone(),
                lap: self.lap,
                speed: self.live_at(moment_s).map_or(UNKNOWN.to_owned(), |it| format!("{:.0}", self.unit.from_mps(it))),
                unit: self.unit.symbol(),
                phase: self.phase((from_s, until_s)).word(),
            },
            marks,
            unit: self.unit.symbol(),
            map: self
                .map
                .as_ref()
                .map(|map| MapState { points: map.line.partition_point(|(t_s, _)| *t_s <= from_s), lit }),
            tags: self
                .tags
                .iter()
                .filter(|it| it.from_s + INSTANT_S < until_s && it.until_s > from_s)
                .map(|it| it.line.clone())
                .collect(),
        }
    }

    fn figure(&self, speed_mps: Option<f64>) -> String {
        speed_mps.map_or(UNKNOWN.to_owned(), |it| format!("{:.1}", self.unit.from_mps(it)))
    }

    /// Between the samples, linear; `None` outside them.
    fn live_at(&self, t_s: f64) -> Option<f64> {
        let next = self.live.partition_point(|(at_s, _)| *at_s <= t_s);
        let (before_s, before) = *self.live.get(next.checked_sub(1)?)?;
        match self.live.get(next) {
            Some((after_s, after)) => Some(before + (after - before) * (t_s - before_s) / (after_s - before_s)),
            None => Some(before),
        }
    }

    fn phase(&self, frame_s: (f64, f64)) -> Phase {
        Phase::of(self.marks.map(|it| it.t_s), (self.begin_s, self.finish_s), frame_s)
    }
}

fn states_around(analysis: &Analysis, (from_s, until_s): (f64, f64)) -> impl Iterator<Item = &PathState> {
    analysis.path.states.iter().filter(move |it| it.t_s >= from_s - EDGE_S && it.t_s <= until_s + EDGE_S)
}

/// `None` for a log without positions.
fn map_of(
    analysis: &Analysis,
    corner: &Corner,
    marks: [Option<Mark>; 3],
    pass_s: (f64, f64),
    shown_s: (f64, f64),
) -> Option<MapShape> {
    analysis.plane?;
    let shown = states_around(analysis, shown_s);
    let line: Vec<(f64, Point)> = shown.map(|it| (it.t_s, Point::new(it.x_m, it.y_m))).collect();
    let up_rad = analysis.path.at(pass_s.0)?.heading_rad;
    let place = |mark: Mark| analysis.path.at(mark.t_s.value).map(|it| Point::new(it.x_m, it.y_m));
    Some(MapShape {
        reference: reference_around(analysis, corner),
        line,
        marks: marks.map(|it| it.and_then(place)),
        up_rad,
    })
}

/// The reference line through a corner and a little beyond; empty where there is none.
fn reference_around(analysis: &Analysis, corner: &Corner) -> Vec<Point> {
    let (Some(reference), Some(entry_m), Some(exit_m)) = (&analysis.reference, corner.entry_gate_m, corner.exit_gate_m)
    else {
        return Vec::new();
    };
    if reference.length_m <= 0.0 {
        return Vec::new();
    }
    let begin_m = entry_m - MAP_MARGIN_M;
    let span_m = ((exit_m - entry_m).rem_euclid(reference.length_m) + 2.0 * MAP_MARGIN_M).min(reference.length_m);
    let ahead_m = |distance_m: f64| (distance_m - begin_m).rem_euclid(reference.length_m);
    let mut points: Vec<(f64, Point)> =
        reference.points.iter().map(|it| (ahead_m(it.distance_m), it.position)).filter(|(m, _)| *m <= span_m).collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    points.into_iter().map(|(_, point)| point).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn script() -> OverlayScript {
        let at = |t_s: f64| Timed { t_s: Some(t_s), speed_mps: None };
        OverlayScript {
            corner: "T1".to_owned(),
            lap: 1,
            unit: SpeedUnit::MetresPerSecond,
            begin_s: 1.02,
            finish_s: 3.0,
            marks: [at(1.02), at(2.0), at(3.0)],
            speeds: [Timed { t_s: Some(1.02), speed_mps: Some(30.6) }, Timed::default(), Timed::default()],
            live: vec![(0.0, 0.0), (4.0, 120.0)],
            map: None,
            tags: Vec::new(),
        }
    }

    #[test]
    fn the_picture_of_a_mark_tells_the_speed_at_the_mark() {
        let script = script();
        let told = |from_s: f64| {
            let state = script.state(from_s, from_s + 0.04);
            (state.caption.phase, state.caption.speed, state.marks[0].figure.clone())
        };
        let words = |phase, speed: &str, figure: &str| (phase, speed.to_owned(), figure.to_owned());
        assert_eq!(told(0.96), words("Approach", "29", ""));
        // The frame begins at 30.0 m/s, the mark falls half-way through it.
        assert_eq!(told(1.0), words("At turn-in", "31", "30.6"));
        assert_eq!(told(1.04), words("Entry", "31", "30.6"));
    }
}
