//! The signs of the three marks: each its own shape and its own colour, so that neither is needed alone.

use cairo::Context;

use crate::corners::MarkKind;
use crate::draw::{Colour, Error, GROUND, QUIET};

/// Colours that stay apart for the usual kinds of colour blindness (Okabe and Ito, "Color Universal Design", 2008),
/// the last one lightened for a dark ground.
fn colour(kind: MarkKind) -> Colour {
    match kind {
        MarkKind::TurnIn => Colour::hex(0x56_b4e9),
        MarkKind::Apex => Colour::hex(0xf0_e442),
        MarkKind::Exit => Colour::hex(0xf0_7f45),
    }
}

/// Draws the sign of a mark around a point: diamond, triangle or square; filled where lit, an outline where not.
pub(crate) fn sign(context: &Context, kind: MarkKind, is_lit: bool, x: f64, y: f64, radius: f64) -> Result<(), Error> {
    context.new_path();
    for (dx, dy) in outline(kind) {
        context.line_to(x + dx * radius, y + dy * radius);
    }
    context.close_path();
    context.set_line_join(cairo::LineJoin::Round);
    if is_lit {
        // A dark rim keeps the sign apart from a line of the same brightness under it.
        GROUND.set(context, 1.0);
        context.set_line_width(radius * 0.5);
        context.stroke_preserve()?;
        colour(kind).set(context, 1.0);
        Ok(context.fill()?)
    } else {
        QUIET.set(context, 1.0);
        context.set_line_width((radius * 0.22).max(1.2));
        Ok(context.stroke()?)
    }
}

/// Corners of the sign for a radius of 1; the areas are about equal.
fn outline(kind: MarkKind) -> &'static [(f64, f64)] {
    match kind {
        MarkKind::TurnIn => &[(0.0, -1.05), (1.05, 0.0), (0.0, 1.05), (-1.05, 0.0)],
        MarkKind::Apex => &[(0.0, -1.1), (1.05, 0.8), (-1.05, 0.8)],
        MarkKind::Exit => &[(-0.8, -0.8), (0.8, -0.8), (0.8, 0.8), (-0.8, 0.8)],
    }
}
