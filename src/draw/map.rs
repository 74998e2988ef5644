//! The small map: the corner's reference line as a band, the pass's line driven so far, the three marks, the kart.

use cairo::Context;

use crate::corners::MarkKind;
use crate::draw::marks::sign;
use crate::draw::{BRIGHT, Error, GROUND, QUIET, ground};
use crate::geom::Point;
use crate::reel::{MapShape, MapState};

/// Width of the reference band in metres: about a kart track's (common practice, no source).
const BAND_M: f64 = 8.0;
/// Free border inside the map, in text heights.
const INSIDE: f64 = 1.2;
/// A shape smaller than this is not enlarged further, m.
const SPAN_AT_LEAST_M: f64 = 30.0;

/// From metres on the plane to pixels of the map, with the direction of travel at turn-in pointing up.
#[derive(Debug, Clone, Copy)]
struct View {
    sin: f64,
    cos: f64,
    centre: Point,
    px_per_m: f64,
    middle_px: f64,
}

impl View {
    fn new(shape: &MapShape, side_px: f64, inside_px: f64) -> Self {
        let (sin, cos) = (std::f64::consts::FRAC_PI_2 - shape.up_rad).sin_cos();
        let mut view = Self { sin, cos, centre: Point::default(), px_per_m: 1.0, middle_px: side_px / 2.0 };
        let turned: Vec<Point> = shape.line.iter().map(|(_, it)| view.turned(*it)).collect();
        let range = |of: fn(&Point) -> f64| {
            let values = turned.iter().map(of);
            (values.clone().fold(f64::INFINITY, f64::min), values.fold(f64::NEG_INFINITY, f64::max))
        };
        let (x, y) = (range(|it| it.x_m), range(|it| it.y_m));
        let span_m = (x.1 - x.0).max(y.1 - y.0).max(SPAN_AT_LEAST_M);
        view.centre = Point::new((x.0 + x.1) / 2.0, (y.0 + y.1) / 2.0);
        view.px_per_m = (side_px - 2.0 * inside_px) / span_m;
        view
    }

    fn turned(&self, point: Point) -> Point {
        Point::new(point.x_m * self.cos - point.y_m * self.sin, point.x_m * self.sin + point.y_m * self.cos)
    }

    fn to_px(self, point: Point) -> (f64, f64) {
        let from_centre = self.turned(point) - self.centre;
        (self.middle_px + from_centre.x_m * self.px_per_m, self.middle_px - from_centre.y_m * self.px_per_m)
    }
}

/// Draws the map over a square surface of `side_px`. `unit` is the text height in pixels.
pub(crate) fn draw(context: &Context, shape: &MapShape, state: MapState, side_px: f64, unit: f64) -> Result<(), Error> {
    ground(context, side_px, side_px, unit * 0.4)?;
    if shape.line.is_empty() {
        return Ok(());
    }
    let view = View::new(shape, side_px, INSIDE * unit);
    context.save()?;
    context.rectangle(0.0, 0.0, side_px, side_px);
    context.clip();
    context.set_line_cap(cairo::LineCap::Round);
    context.set_line_join(cairo::LineJoin::Round);

    let reference = shape.reference.iter().copied();
    QUIET.set(context, 0.28);
    stroke(context, view, reference, (BAND_M * view.px_per_m).max(unit * 0.5))?;

    let all = shape.line.iter().map(|(_, point)| *point);
    QUIET.set(context, 0.7);
    stroke(context, view, all.clone(), (unit * 0.08).max(1.0))?;
    BRIGHT.set(context, 1.0);
    stroke(context, view, all.take(state.points), (unit * 0.2).max(2.0))?;

    for (index, kind) in [MarkKind::TurnIn, MarkKind::Apex, MarkKind::Exit].into_iter().enumerate() {
        if let Some(point) = shape.marks[index] {
            let (x, y) = view.to_px(point);
            sign(context, kind, state.lit[index], x, y, unit * 0.38)?;
        }
    }
    if let Some((_, kart)) = state.points.checked_sub(1).and_then(|last| shape.line.get(last)) {
        let (x, y) = view.to_px(*kart);
        context.new_path();
        context.arc(x, y, unit * 0.3, 0.0, std::f64::consts::TAU);
        GROUND.set(context, 1.0);
        context.set_line_width(unit * 0.2);
        context.stroke_preserve()?;
        BRIGHT.set(context, 1.0);
        context.fill()?;
    }
    Ok(context.restore()?)
}

fn stroke(context: &Context, view: View, points: impl Iterator<Item = Point>, width: f64) -> Result<(), Error> {
    context.new_path();
    for point in points {
        let (x, y) = view.to_px(point);
        context.line_to(x, y);
    }
    context.set_line_width(width);
    Ok(context.stroke()?)
}
