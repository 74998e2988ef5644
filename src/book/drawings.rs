//! What a person draws on footage, and the reference points that are circled in it. Places are shares of the picture,
//! so that a drawing fits the same footage at any size.

use std::collections::BTreeMap;

use crate::book::refused::{verify_corner, verify_name, verify_text};
use crate::book::{Colour, FrameRef, Id, Recording, Refused, Trackside};
use crate::session::VideoTime;

/// Most points of one freehand line: half a minute of drawing at the rate of a usual pointer.
pub const FREEHAND_MOST_POINTS: usize = 5000;
/// Times closer than this are the same instant: they may have been seconds in a file on the way.
const INSTANT_NS: i64 = 500;

/// A place in a picture: shares of its width from the left and of its height from the top, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    pub x: f64,
    pub y: f64,
}

/// One drawing on one footage file.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    /// The first frame that shows it.
    pub on: FrameRef,
    /// For how long it stays on show, s of footage; with 0 it is on one frame. It ends with its footage file.
    pub stays_s: f64,
    pub colour: Colour,
    /// Width of its lines, as a share of the picture's height.
    pub width: f64,
    pub shape: Shape,
}

/// Form and place of a drawing.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    Circle(Circle),
    /// The head is at `to`.
    Arrow {
        from: Share,
        to: Share,
    },
    Line {
        from: Share,
        to: Share,
    },
    Freehand(Vec<Share>),
    /// `at`: the top left of the text, moved inwards where it would not fit. `size`: its height, as a share of the
    /// picture's. Several lines of plain text.
    Text {
        at: Share,
        size: f64,
        text: String,
    },
}

/// A circle that is round on the screen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circle {
    pub centre: Share,
    /// As a share of the picture's height.
    pub radius: f64,
}

/// The tyre, kerb or board that the driver looks for.
#[derive(Debug, Clone, PartialEq)]
pub struct ReferencePoint {
    pub corner: u32,
    pub name: String,
    pub circled: Option<Circled>,
}

/// Where a reference point can be seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circled {
    pub on: FrameRef,
    pub circle: Circle,
}

impl Drawing {
    /// Whether a frame of this drawing's footage file shows it; the frame is on show for the presentation times
    /// `from..until`. An empty stretch is the instant `from`.
    pub fn is_on_show(&self, from: VideoTime, until: VideoTime) -> bool {
        let begin_ns = self.on.at.0.saturating_add(INSTANT_NS);
        let end_ns = self.on.at.0.saturating_add(VideoTime::from_seconds(self.stays_s).0).saturating_sub(INSTANT_NS);
        let until_ns = until.0.max(from.0.saturating_add(2 * INSTANT_NS));
        let is_first = from.0 <= begin_ns && begin_ns < until_ns;
        is_first || (from.0 > begin_ns && from.0 < end_ns)
    }

    pub(super) fn verify_invariants(
        &self,
        id: Id,
        recording: &Recording,
        trackside: &BTreeMap<Id, Trackside>,
    ) -> Result<(), Refused> {
        let what = || format!("drawing {id}");
        self.on.verify_invariants(recording, trackside, what)?;
        verify_measure("stay", self.stays_s, (0.0..=3600.0).contains(&self.stays_s), "0 to 3600 s", what)?;
        verify_share_of_height("line width", self.width, 0.1, "above 0, up to 0.1 of the picture's height", what)?;
        match &self.shape {
            Shape::Circle(circle) => circle.verify_invariants(what),
            Shape::Arrow { from, to } | Shape::Line { from, to } => verify_places(&[*from, *to], what),
            Shape::Freehand(points) if !(2..=FREEHAND_MOST_POINTS).contains(&points.len()) => {
                Err(Refused::PointCount { what: what(), points: points.len(), most: FREEHAND_MOST_POINTS })
            }
            Shape::Freehand(points) => verify_places(points, what),
            Shape::Text { at, size, text } => {
                verify_places(&[*at], what)?;
                verify_share_of_height("text height", *size, 0.5, "above 0, up to 0.5 of the picture's height", what)?;
                verify_text(text, what)
            }
        }
    }
}

impl Circle {
    fn verify_invariants(&self, what: impl Fn() -> String) -> Result<(), Refused> {
        verify_places(&[self.centre], &what)?;
        verify_share_of_height("radius", self.radius, 1.0, "above 0, up to 1 of the picture's height", what)
    }
}

impl ReferencePoint {
    pub(super) fn verify_invariants(
        &self,
        id: Id,
        recording: &Recording,
        trackside: &BTreeMap<Id, Trackside>,
    ) -> Result<(), Refused> {
        let what = || format!("reference point {id}");
        verify_corner(self.corner)?;
        verify_name(&what(), &self.name)?;
        let Some(circled) = self.circled else { return Ok(()) };
        circled.on.verify_invariants(recording, trackside, what)?;
        circled.circle.verify_invariants(what)
    }
}

fn verify_places(places: &[Share], what: impl Fn() -> String) -> Result<(), Refused> {
    let is_inside = |it: &Share| (0.0..=1.0).contains(&it.x) && (0.0..=1.0).contains(&it.y);
    if places.iter().all(is_inside) { Ok(()) } else { Err(Refused::OutsidePicture { what: what() }) }
}

fn verify_share_of_height(
    measure: &'static str,
    value: f64,
    most: f64,
    rule: &'static str,
    what: impl Fn() -> String,
) -> Result<(), Refused> {
    verify_measure(measure, value, value > 0.0 && value <= most, rule, what)
}

fn verify_measure(
    measure: &'static str,
    value: f64,
    is_kept: bool,
    rule: &'static str,
    what: impl Fn() -> String,
) -> Result<(), Refused> {
    if is_kept { Ok(()) } else { Err(Refused::BadMeasure { measure, what: what(), value, rule }) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::FootageRef;

    fn drawing(at_ns: i64, stays_s: f64) -> Drawing {
        let at = Share { x: 0.5, y: 0.5 };
        Drawing {
            on: FrameRef { footage: FootageRef::Chapter(0), at: VideoTime(at_ns) },
            stays_s,
            colour: Colour::hex(0xff_ffff),
            width: 0.01,
            shape: Shape::Line { from: at, to: at },
        }
    }

    /// Frames of 40 ms: which of the first ten show the drawing.
    fn shown(drawing: &Drawing) -> Vec<i64> {
        let frame = |it: i64| VideoTime(it * 40_000_000);
        (0..10).filter(|it| drawing.is_on_show(frame(*it), frame(*it + 1))).collect()
    }

    #[test]
    fn a_drawing_is_on_show_from_its_frame_to_its_end() {
        // Put on exactly at a frame's time, or a few ns beside it: the same frames.
        for off_ns in [-3, 0, 3] {
            assert_eq!(shown(&drawing(80_000_000 + off_ns, 0.08)), [2, 3]);
            assert_eq!(shown(&drawing(80_000_000 + off_ns, 0.0)), [2]);
        }
        // Between two frames' times it begins on the one that is on show.
        assert_eq!(shown(&drawing(90_000_000, 0.08)), [2, 3, 4]);
        assert_eq!(shown(&drawing(90_000_000, 0.001)), [2]);
        assert_eq!(shown(&drawing(-90_000_000, 0.1)), [0]);
        assert!(shown(&drawing(i64::MAX, 3600.0)).is_empty());
    }

    #[test]
    fn an_empty_stretch_is_an_instant() {
        let drawing = drawing(80_000_000, 0.08);
        let at = |ns: i64| drawing.is_on_show(VideoTime(ns), VideoTime(ns));
        assert!(!at(79_990_000) && at(80_000_000) && at(80_020_000) && at(159_990_000) && !at(160_000_000));
    }
}
