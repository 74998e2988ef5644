//! What is drawn on a frame: a book's drawings that are on show, and its reference points that are circled there.

use crate::book::{Book, Circled, Colour, Drawing, FootageRef, FrameRef, Id, Shape, Share};
use crate::session::VideoTime;
use crate::window::review::timeline::Position;

/// Lines and text of what is drawn, as shares of the picture's height.
pub(super) const LINE_WIDTH: f64 = 0.007;
pub(super) const TEXT_SIZE: f64 = 0.06;
/// Reference points look alike, whatever a person draws with: a light green that stands out from asphalt and grass.
pub(super) const REFERENCE_COLOUR: Colour = Colour::hex(0x9b_f2c1);
const REFERENCE_TEXT_SIZE: f64 = 0.045;
/// Between the circle and its name, as a share of the height.
const REFERENCE_GAP: f64 = 0.015;

/// What a drawing on show is in the book.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::window::review) enum Drawn {
    Drawing(Id),
    ReferencePoint(Id),
}

/// All that is drawn on a frame that is on show for `from..until`, the lowest first. A reference point is its circle
/// and its name.
pub(super) fn drawn_on(book: &Book, footage: FootageRef, from: VideoTime, until: VideoTime) -> Vec<(Drawn, Drawing)> {
    let drawings = book.drawings_on_show(footage, from, until).map(|(id, it)| (Drawn::Drawing(id), it.clone()));
    let points = book.reference_points.iter().flat_map(|(id, point)| {
        let circled = point.circled.filter(|it| it.on.footage == footage);
        let shapes = circled.map(|it| named_circle(&it, &point.name)).into_iter().flatten();
        shapes.map(|it| (Drawn::ReferencePoint(*id), it))
    });
    drawings.chain(points.filter(|(_, it)| it.is_on_show(from, until))).collect()
}

/// A circle and the name below it.
pub(super) fn named_circle(circled: &Circled, name: &str) -> [Drawing; 2] {
    let Circled { on, circle } = *circled;
    let drawing = |shape| Drawing { on, stays_s: 0.0, colour: REFERENCE_COLOUR, width: LINE_WIDTH, shape };
    let at = Share { x: circle.centre.x, y: (circle.centre.y + circle.radius + REFERENCE_GAP).min(1.0) };
    let text = Shape::Text { at, size: REFERENCE_TEXT_SIZE, text: name.to_owned() };
    [drawing(Shape::Circle(circle)), drawing(text)]
}

/// All that is drawn on the frame at a position in a book's own recording, or in its trackside footage with this number;
/// the lowest first.
pub(in crate::window::review) fn drawn_at(
    book: &Book,
    position: Position,
    trackside: Option<Id>,
) -> Vec<(Drawn, Drawing)> {
    match (position, position.frame(trackside)) {
        (Position::Frame { place, until }, Some(frame)) => drawn_on(book, frame.footage, place.at, until),
        _ => Vec::new(),
    }
}

impl Position {
    /// The frame at a position in the recording, or in the trackside footage with this number; `None` where there is no
    /// footage.
    pub(in crate::window::review) fn frame(self, trackside: Option<Id>) -> Option<FrameRef> {
        match self {
            Self::Frame { place, .. } => {
                let footage = trackside.map_or(FootageRef::Chapter(place.chapter), FootageRef::Trackside);
                Some(FrameRef { footage, at: place.at })
            }
            Self::Log { .. } => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::{Circle, ReferencePoint};

    #[test]
    fn drawings_and_circled_points_show_on_their_frames() {
        let on = |chapter, ns| FrameRef { footage: FootageRef::Chapter(chapter), at: VideoTime(ns) };
        let circle = Circle { centre: Share { x: 0.5, y: 0.5 }, radius: 0.1 };
        let mut book = Book::default();
        let drawing = Drawing {
            on: on(0, 40_000_000),
            stays_s: 0.1,
            colour: Colour::hex(0xff_ffff),
            width: LINE_WIDTH,
            shape: Shape::Circle(circle),
        };
        book.drawings.insert(Id(1), drawing);
        let point = |on| ReferencePoint { corner: 1, name: "tyre".to_owned(), circled: Some(Circled { on, circle }) };
        book.reference_points.insert(Id(2), point(on(0, 80_000_000)));
        book.reference_points.insert(Id(3), point(on(1, 80_000_000)));
        let shown = |frame: i64| -> Vec<Drawn> {
            let at = |it: i64| VideoTime(it * 40_000_000);
            drawn_on(&book, FootageRef::Chapter(0), at(frame), at(frame + 1)).into_iter().map(|it| it.0).collect()
        };
        assert!(shown(0).is_empty() && shown(5).is_empty());
        assert_eq!(shown(1), [Drawn::Drawing(Id(1))]);
        assert_eq!(shown(2), [Drawn::Drawing(Id(1)), Drawn::ReferencePoint(Id(2)), Drawn::ReferencePoint(Id(2))]);
        assert_eq!(shown(3), [Drawn::Drawing(Id(1))]);
    }
}
