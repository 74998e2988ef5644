//! Plain text: one line of the overlay, or a block with an outline over a picture. Text of users is set as text, never as
//! markup.

use std::borrow::Cow;

use cairo::Context;

use crate::draw::{Colour, Error};

/// A text in a book may hold the one letter that pango cannot take.
fn without_nul(text: &str) -> Cow<'_, str> {
    if text.contains('\0') { Cow::Owned(text.replace('\0', "")) } else { Cow::Borrowed(text) }
}

/// Where a line of text sits relative to the given x.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Align {
    Left,
    Right,
    Middle,
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
    layout.set_text(&without_nul(text));
    let width = f64::from(layout.pixel_size().0);
    let left = match align {
        Align::Left => x,
        Align::Right => x - width,
        Align::Middle => x - width / 2.0,
    };
    style.colour.set(context, 1.0);
    context.move_to(left, baseline - f64::from(layout.baseline()) / f64::from(pango::SCALE));
    pangocairo::functions::show_layout(context, &layout);
    width
}

/// Lines of text in a box: broken between words, cut off with an ellipsis where they do not fit.
#[derive(Debug)]
pub(crate) struct Paragraph(pango::Layout);

impl Paragraph {
    /// `size`: height of the font, px; `room`: most width and height, px.
    pub(crate) fn new(context: &Context, text: &str, size: f64, bold: bool, room: (f64, f64)) -> Self {
        let layout = pangocairo::functions::create_layout(context);
        let mut font = pango::FontDescription::new();
        font.set_family("Sans");
        font.set_weight(if bold { pango::Weight::Bold } else { pango::Weight::Normal });
        font.set_absolute_size(size * f64::from(pango::SCALE));
        layout.set_font_description(Some(&font));
        layout.set_wrap(pango::WrapMode::WordChar);
        layout.set_ellipsize(pango::EllipsizeMode::End);
        #[allow(clippy::cast_possible_truncation, reason = "pixels of a picture, far below the limit; casts saturate")]
        let to_units = |pixels: f64| (pixels.max(1.0) * f64::from(pango::SCALE)) as i32;
        layout.set_width(to_units(room.0));
        layout.set_height(to_units(room.1));
        layout.set_text(&without_nul(text));
        Self(layout)
    }

    /// px.
    pub(crate) fn height(&self) -> f64 {
        f64::from(self.0.pixel_size().1)
    }

    pub(crate) fn show(&self, context: &Context, (x, y): (f64, f64), colour: Colour) {
        colour.set(context, 1.0);
        context.move_to(x, y);
        pangocairo::functions::show_layout(context, &self.0);
    }
}

/// Text of several lines with an outline around its letters.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Block<'a> {
    pub(crate) text: &'a str,
    /// Height of the letters' font, px.
    pub(crate) height_px: f64,
    pub(crate) colour: Colour,
    pub(crate) rim: Colour,
    pub(crate) rim_px: f64,
}

impl Block<'_> {
    /// Draws the block with its top left at a place, moved inwards and broken into lines where it would leave a picture
    /// of this size (width and height, px); what still does not fit is cut off.
    pub(crate) fn draw(self, context: &Context, at: (f64, f64), picture: (f64, f64)) -> Result<(), Error> {
        let layout = pangocairo::functions::create_layout(context);
        let mut font = pango::FontDescription::new();
        font.set_family("Sans");
        font.set_weight(pango::Weight::Bold);
        font.set_absolute_size(self.height_px * f64::from(pango::SCALE));
        layout.set_font_description(Some(&font));
        layout.set_text(&without_nul(self.text));
        let room = (picture.0 - 2.0 * self.rim_px, picture.1 - 2.0 * self.rim_px);
        if room.0 <= 0.0 || room.1 <= 0.0 {
            return Ok(());
        }
        // A width that the text needs no more than: right-to-left lines then begin at its right end, not the picture's.
        let width = f64::from(layout.pixel_size().0).min(room.0);
        #[allow(clippy::cast_possible_truncation, reason = "pixels of a picture, far below the limit; casts saturate")]
        let to_units = |pixels: f64| (pixels * f64::from(pango::SCALE)).ceil() as i32;
        layout.set_wrap(pango::WrapMode::WordChar);
        layout.set_ellipsize(pango::EllipsizeMode::End);
        layout.set_width(to_units(width));
        layout.set_height(to_units(room.1));
        let height = f64::from(layout.pixel_size().1);
        let inside = |at: f64, size: f64, picture: f64| at.min(picture - size - self.rim_px).max(self.rim_px);
        context.move_to(inside(at.0, width, picture.0), inside(at.1, height, picture.1));
        context.set_line_join(cairo::LineJoin::Round);
        context.set_line_width(2.0 * self.rim_px);
        self.rim.set(context, 1.0);
        let (x, y) = context.current_point()?;
        pangocairo::functions::layout_path(context, &layout);
        context.stroke()?;
        context.move_to(x, y);
        self.colour.set(context, 1.0);
        pangocairo::functions::show_layout(context, &layout);
        context.new_path();
        Ok(())
    }
}
