//! The drawings of a book over a picture of any size: a core in the drawing's colour with an outline that it stands out
//! from, so that it can be seen over any footage. Takes drawings and a picture's place; a window paints them straight
//! over it, a film takes them as tiles.

use cairo::{Content, Context, RecordingSurface};

use crate::book::{Circle, Colour as PlainColour, Drawing, Shape, Share};
use crate::draw::layout::Place;
use crate::draw::overlay::{Tile, paint};
use crate::draw::text::Block;
use crate::draw::{BRIGHT, Colour, Error, GROUND};

/// Lines are never thinner than this, px: a thinner one is lost in encoding (tried, no source).
const WIDTH_AT_LEAST_PX: f64 = 1.5;
/// Outline on each side of a line, as a share of its width, and its least, px.
const OUTLINE_SHARE: f64 = 0.35;
const OUTLINE_AT_LEAST_PX: f64 = 1.0;
/// Outline of text, as a share of its height.
const TEXT_OUTLINE_SHARE: f64 = 0.09;
/// Length of an arrow's head in line widths, and at most as a share of the arrow; the angle of its sides.
const HEAD_WIDTHS: f64 = 5.0;
const HEAD_AT_MOST: f64 = 0.6;
const HEAD_ANGLE_RAD: f64 = 0.5;
/// Side of the squares that a drawing is cut into, px: those that hold none of it cost nothing. Even.
const CELL_PX: u32 = 64;

/// Where a picture lies on a surface, px.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PictureRect {
    pub x: f64,
    pub y: f64,
    pub width: f64,
    pub height: f64,
}

impl PictureRect {
    /// The whole of a surface, px.
    pub fn filling(width: u32, height: u32) -> Self {
        Self { x: 0.0, y: 0.0, width: f64::from(width), height: f64::from(height) }
    }
}

/// Paints drawings over a picture, the first one lowest; nothing outside the picture is touched.
pub fn paint_drawings<'a>(
    context: &Context,
    picture: PictureRect,
    drawings: impl IntoIterator<Item = &'a Drawing>,
) -> Result<(), Error> {
    context.save()?;
    context.rectangle(picture.x, picture.y, picture.width, picture.height);
    context.clip();
    context.translate(picture.x, picture.y);
    for drawing in drawings {
        draw(context, drawing, (picture.width, picture.height))?;
    }
    Ok(context.restore()?)
}

/// One drawing as tiles over a surface of a size in pixels that holds the picture, or a part of it: squares that cover
/// the drawing and hardly more.
pub fn drawing_tiles(drawing: &Drawing, picture: PictureRect, surface: (u32, u32)) -> Result<Vec<Tile>, Error> {
    let Some(place) = place_of(drawing, picture, surface)? else { return Ok(Vec::new()) };
    let in_tile = PictureRect { x: picture.x - f64::from(place.x), y: picture.y - f64::from(place.y), ..picture };
    let whole = paint(place, 1, |context| paint_drawings(context, in_tile, [drawing]))?;
    Ok(cells(&whole))
}

/// What the drawing covers of the surface, with even edges; `None` where that is nothing.
fn place_of(drawing: &Drawing, picture: PictureRect, (width, height): (u32, u32)) -> Result<Option<Place>, Error> {
    let recorded = RecordingSurface::create(Content::ColorAlpha, None)?;
    draw(&Context::new(&recorded)?, drawing, (picture.width, picture.height))?;
    let (left, top, across, down) = recorded.ink_extents();
    let (x, y) = (left + picture.x, top + picture.y);
    // Two pixels more on each side, for letters that are rounded differently once they are painted.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within the picture; casts saturate")]
    let edge = |at: f64, most: u32| ((at / 2.0).clamp(0.0, f64::from(most / 2)) as u32) * 2;
    let (left, top) = (edge(x - 2.0, width), edge(y - 2.0, height));
    let (right, bottom) = (edge(x + across + 4.0, width), edge(y + down + 4.0, height));
    let is_empty = across <= 0.0 || down <= 0.0 || right <= left || bottom <= top;
    Ok((!is_empty).then(|| Place { x: left, y: top, width: right - left, height: bottom - top }))
}

/// Cuts a tile into squares and drops the clear ones.
fn cells(whole: &Tile) -> Vec<Tile> {
    let cell = CELL_PX as usize;
    let corners = (0..whole.height).step_by(cell).flat_map(|y| (0..whole.width).step_by(cell).map(move |x| (x, y)));
    corners.map(|(x, y)| part(whole, x, y)).filter(|it| it.argb.iter().any(|byte| *byte != 0)).collect()
}

/// The square of a tile that begins at a place in it.
fn part(whole: &Tile, x: u32, y: u32) -> Tile {
    let (width, height) = (CELL_PX.min(whole.width - x), CELL_PX.min(whole.height - y));
    let rows = whole.argb.chunks_exact(4 * whole.width as usize).skip(y as usize).take(height as usize);
    let from = 4 * x as usize;
    let argb = rows.flat_map(|row| &row[from..from + 4 * width as usize]).copied().collect();
    Tile { x: whole.x + x, y: whole.y + y, width, height, argb, version: whole.version }
}

fn draw(context: &Context, drawing: &Drawing, size: (f64, f64)) -> Result<(), Error> {
    let core = colour(drawing.colour);
    let rim = rim_of(drawing.colour);
    if let Shape::Text { at, size: height, text } = &drawing.shape {
        let height_px = height * size.1;
        let block = Block { text, height_px, colour: core, rim, rim_px: height_px * TEXT_OUTLINE_SHARE };
        return block.draw(context, to_px(*at, size), size);
    }
    let width_px = (drawing.width * size.1).max(WIDTH_AT_LEAST_PX);
    let rim_px = (width_px * OUTLINE_SHARE).max(OUTLINE_AT_LEAST_PX);
    context.new_path();
    match &drawing.shape {
        Shape::Circle(circle) => circle_path(context, *circle, size),
        Shape::Arrow { from, to } => arrow_path(context, to_px(*from, size), to_px(*to, size), width_px),
        Shape::Line { from, to } => line_path(context, &[*from, *to], size),
        Shape::Freehand(points) => line_path(context, points, size),
        Shape::Text { .. } => {}
    }
    context.set_line_cap(cairo::LineCap::Round);
    context.set_line_join(cairo::LineJoin::Round);
    rim.set(context, 1.0);
    context.set_line_width(width_px + 2.0 * rim_px);
    context.stroke_preserve()?;
    core.set(context, 1.0);
    context.set_line_width(width_px);
    Ok(context.stroke()?)
}

fn circle_path(context: &Context, circle: Circle, size: (f64, f64)) {
    let (x, y) = to_px(circle.centre, size);
    context.arc(x, y, circle.radius * size.1, 0.0, std::f64::consts::TAU);
    context.close_path();
}

fn line_path(context: &Context, points: &[Share], size: (f64, f64)) {
    for point in points {
        let (x, y) = to_px(*point, size);
        context.line_to(x, y);
    }
}

/// A shaft with an open head; without length it is a dot.
fn arrow_path(context: &Context, from: (f64, f64), to: (f64, f64), width_px: f64) {
    context.move_to(from.0, from.1);
    context.line_to(to.0, to.1);
    let (along, down) = (from.0 - to.0, from.1 - to.1);
    let length_px = along.hypot(down);
    let head_px = (HEAD_WIDTHS * width_px).min(HEAD_AT_MOST * length_px);
    let back_rad = down.atan2(along);
    let side = |turn_rad: f64| {
        let (sin, cos) = (back_rad + turn_rad).sin_cos();
        (to.0 + cos * head_px, to.1 + sin * head_px)
    };
    let (left, right) = (side(HEAD_ANGLE_RAD), side(-HEAD_ANGLE_RAD));
    context.move_to(left.0, left.1);
    context.line_to(to.0, to.1);
    context.line_to(right.0, right.1);
}

fn to_px(share: Share, size: (f64, f64)) -> (f64, f64) {
    (share.x * size.0, share.y * size.1)
}

fn colour(plain: PlainColour) -> Colour {
    Colour(f64::from(plain.red) / 255.0, f64::from(plain.green) / 255.0, f64::from(plain.blue) / 255.0)
}

/// Dark around a light colour, light around a dark one.
fn rim_of(core: PlainColour) -> Colour {
    let (dark, light) = (PlainColour::hex(0x0b_0f14), PlainColour::hex(0xff_ffff));
    if core.contrast(dark) >= core.contrast(light) { GROUND } else { BRIGHT }
}

#[cfg(test)]
mod tests;
