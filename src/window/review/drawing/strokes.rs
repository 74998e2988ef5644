//! From the pen's places to shapes, and the distance of a place to a shape. Plane geometry in shares of the picture's
//! height; touches no widget.

use geo::{Distance, Euclidean, LineString, Point};

use crate::book::{Circle, FREEHAND_MOST_POINTS, Shape, Share};

/// Places nearer than this to the one before are the same, as a share of the picture's height: about a pixel.
const STEP: f64 = 0.001;
/// A stroke shorter than this, as a share of the height, was a click.
const CLICK: f64 = 0.008;
/// A reference point may be marked by a click: its circle is then this large.
const CLICK_RADIUS: f64 = 0.05;
/// Letters are about this wide, in their heights (tried, no source): enough to find a text by.
const LETTER_WIDTH: f64 = 0.55;

/// What the pen makes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Tool {
    Circle,
    Arrow,
    Line,
    Freehand,
    Text,
    ReferencePoint,
    Eraser,
}

impl Tool {
    pub(super) const ALL: [Self; 7] =
        [Self::Circle, Self::Arrow, Self::Line, Self::Freehand, Self::Text, Self::ReferencePoint, Self::Eraser];

    pub(super) fn word(self) -> &'static str {
        match self {
            Self::Circle => "Circle",
            Self::Arrow => "Arrow",
            Self::Line => "Line",
            Self::Freehand => "Freehand",
            Self::Text => "Text",
            Self::ReferencePoint => "Reference point",
            Self::Eraser => "Eraser",
        }
    }
}

/// The pen's way since it was put down.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Stroke {
    points: Vec<Share>,
    /// Width of the picture by its height.
    aspect: f64,
}

impl Stroke {
    pub(super) fn new(at: Share, aspect: f64) -> Self {
        Self { points: vec![at], aspect }
    }

    /// Goes on to a place. A line of too many points loses every second one, but never its ends.
    pub(super) fn go_on(&mut self, to: Share) {
        if self.distance(self.last(), to) < STEP {
            return;
        }
        self.points.push(to);
        if self.points.len() > FREEHAND_MOST_POINTS {
            let last = self.points.len() - 1;
            let kept = self.points.iter().enumerate().filter(|(index, _)| index % 2 == 0 || *index == last);
            self.points = kept.map(|it| *it.1).collect();
        }
    }

    /// The shape of a tool that needs no words; `None` for the others, and for a click that makes none.
    pub(super) fn shape(&self, tool: Tool) -> Option<Shape> {
        let (from, to) = (self.first(), self.last());
        let is_drawn = self.distance(from, to) >= CLICK;
        match tool {
            Tool::Circle => is_drawn.then(|| Shape::Circle(self.circle())),
            Tool::Arrow => is_drawn.then_some(Shape::Arrow { from, to }),
            Tool::Line => is_drawn.then_some(Shape::Line { from, to }),
            Tool::Freehand => (self.points.len() > 1).then(|| Shape::Freehand(self.points.clone())),
            Tool::Text | Tool::ReferencePoint | Tool::Eraser => None,
        }
    }

    /// Around the place where the pen was put down, through the one where it is.
    pub(super) fn circle(&self) -> Circle {
        let radius = self.distance(self.first(), self.last());
        Circle { centre: self.first(), radius: if radius < CLICK { CLICK_RADIUS } else { radius.min(1.0) } }
    }

    /// Where the pen was put down.
    pub(super) fn first(&self) -> Share {
        self.points[0]
    }

    fn last(&self) -> Share {
        self.points[self.points.len() - 1]
    }

    fn distance(&self, a: Share, b: Share) -> f64 {
        Euclidean.distance(point(a, self.aspect), point(b, self.aspect))
    }
}

/// How far a place is from a shape's line, or from a text, as a share of the picture's height.
pub(super) fn distance(at: Share, shape: &Shape, aspect: f64) -> f64 {
    let here = point(at, aspect);
    let to_line = |points: &[Share]| {
        let line: LineString = points.iter().map(|it| point(*it, aspect)).collect();
        Euclidean.distance(&here, &line)
    };
    match shape {
        Shape::Circle(circle) => (Euclidean.distance(here, point(circle.centre, aspect)) - circle.radius).abs(),
        Shape::Arrow { from, to } | Shape::Line { from, to } => to_line(&[*from, *to]),
        Shape::Freehand(points) => to_line(points),
        Shape::Text { at, size, text } => {
            let letters = text.lines().map(|it| it.chars().count()).max().unwrap_or(0);
            let width = letters as f64 * size * LETTER_WIDTH;
            let height = text.lines().count() as f64 * size;
            let corner = point(*at, aspect);
            let beside = |at: f64, from: f64, length: f64| (from - at).max(at - from - length).max(0.0);
            beside(here.x(), corner.x(), width).hypot(beside(here.y(), corner.y(), height))
        }
    }
}

/// In shares of the height both ways, so that lengths are what the eye sees.
fn point(share: Share, aspect: f64) -> Point {
    Point::new(share.x * aspect, share.y)
}

#[cfg(test)]
mod tests {
    use super::*;

    const WIDE: f64 = 2.0;

    fn at(x: f64, y: f64) -> Share {
        Share { x, y }
    }

    fn stroke(points: &[Share]) -> Stroke {
        let mut stroke = Stroke::new(points[0], WIDE);
        points[1..].iter().for_each(|it| stroke.go_on(*it));
        stroke
    }

    #[test]
    fn a_circle_is_round_on_the_screen() {
        // 0.15 of the width is 0.3 heights across, and 0.4 down: 3-4-5.
        let circle = stroke(&[at(0.5, 0.2), at(0.65, 0.6)]).circle();
        assert!((circle.radius - 0.5).abs() < 1e-12);
        assert_eq!(circle.centre, at(0.5, 0.2));
        assert!((distance(at(0.5, 0.7), &Shape::Circle(circle), WIDE)).abs() < 1e-12);
        assert!((distance(at(0.5, 0.2), &Shape::Circle(circle), WIDE) - 0.5).abs() < 1e-12);
    }

    #[test]
    fn a_click_draws_nothing_but_marks_a_reference_point() {
        let click = stroke(&[at(0.5, 0.5), at(0.501, 0.501)]);
        assert!((click.circle().radius - CLICK_RADIUS).abs() < 1e-12);
        assert!([Tool::Circle, Tool::Line, Tool::Arrow].iter().all(|it| click.shape(*it).is_none()));
        assert_eq!(Stroke::new(at(0.5, 0.5), WIDE).shape(Tool::Freehand), None);
        let line = stroke(&[at(0.1, 0.1), at(0.3, 0.2), at(0.2, 0.4)]).shape(Tool::Line);
        assert_eq!(line, Some(Shape::Line { from: at(0.1, 0.1), to: at(0.2, 0.4) }));
    }

    #[test]
    fn a_freehand_line_has_no_more_points_than_a_book_takes_and_keeps_its_ends() {
        let turn = |step: u32| {
            let angle_rad = f64::from(step) * 0.01;
            at(0.5 + 0.2 * angle_rad.cos(), 0.5 + 0.4 * angle_rad.sin())
        };
        let mut long = Stroke::new(turn(0), WIDE);
        for step in 1..=20_001 {
            long.go_on(turn(step));
            assert!(long.points.len() <= FREEHAND_MOST_POINTS && long.last() == turn(step));
        }
        let Some(Shape::Freehand(points)) = long.shape(Tool::Freehand) else { panic!("a line") };
        assert!(points.len() > FREEHAND_MOST_POINTS / 2 && points[0] == turn(0));
        // A pointer that rests adds nothing.
        let before = long.clone();
        long.go_on(turn(20_001));
        assert_eq!(long, before);
    }

    #[test]
    fn the_distance_is_what_the_eye_sees() {
        let line = Shape::Line { from: at(0.0, 0.5), to: at(0.5, 0.5) };
        assert!((distance(at(0.25, 0.6), &line, WIDE) - 0.1).abs() < 1e-12);
        // Beyond its end: 0.1 of the width is 0.2 heights.
        assert!((distance(at(0.6, 0.5), &line, WIDE) - 0.2).abs() < 1e-12);
        let text = Shape::Text { at: at(0.1, 0.1), size: 0.1, text: "brake".to_owned() };
        assert!(distance(at(0.15, 0.15), &text, WIDE) < 1e-12);
        assert!((distance(at(0.15, 0.3), &text, WIDE) - 0.1).abs() < 1e-12);
        let dot = Shape::Freehand(vec![at(0.2, 0.2), at(0.2, 0.2)]);
        assert!((distance(at(0.2, 0.5), &dot, WIDE) - 0.3).abs() < 1e-12);
    }
}
