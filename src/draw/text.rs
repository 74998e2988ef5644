//! One line of plain text. Text of users is set as text, never as markup.

use cairo::Context;

use crate::draw::Colour;

/// Where a line of text sits relative to the given x.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Align {
    Left,
    Right,
}

/// How a line looks. Sizes in pixels.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Style {
    pub(crate) size: f64,
    pub(crate) bold: bool,
    pub(crate) colour: Colour,
    /// Longer text ends in an ellipsis.
    pub(crate) max_width: f64,
}

/// Draws `text` with its baseline at `baseline`; gives the width used.
pub(crate) fn line(context: &Context, text: &str, x: f64, baseline: f64, align: Align, style: Style) -> f64 {
    let layout = pangocairo::functions::create_layout(context);
    let mut font = pango::FontDescription::new();
    font.set_family("Sans");
    font.set_weight(if style.bold { pango::Weight::Bold } else { pango::Weight::Normal });
    font.set_absolute_size(style.size * f64::from(pango::SCALE));
    layout.set_font_description(Some(&font));
    layout.set_single_paragraph_mode(true);
    layout.set_ellipsize(pango::EllipsizeMode::End);
    #[allow(clippy::cast_possible_truncation, reason = "pixels of a picture, far below the limit; casts saturate")]
    layout.set_width((style.max_width * f64::from(pango::SCALE)) as i32);
    layout.set_text(text);
    let width = f64::from(layout.pixel_size().0);
    let left = match align {
        Align::Left => x,
        Align::Right => x - width,
    };
    style.colour.set(context, 1.0);
    context.move_to(left, baseline - f64::from(layout.baseline()) / f64::from(pango::SCALE));
    pangocairo::functions::show_layout(context, &layout);
    width
}
