//! What the drawn widgets share: colours of the theme, plain text, a layer that is drawn once and shown often.
//! Takes a widget for its style; knows nothing of what is drawn. Text is set as text, never as markup.

use std::cell::RefCell;
use std::rc::Rc;

use gtk::cairo::{Context, Error, Format, ImageSurface};
use gtk::gdk::RGBA;
use gtk::pango;
use gtk::prelude::*;
use gtk4 as gtk;

/// Text beside the figures, against the widget's own font.
const SMALL: f64 = 0.85;
/// Viridis (S. van der Walt and N. Smith, 2015; values of crate `colorous`) from end to end would fade into a light
/// ground at its yellow end and into a dark one at its violet end: that end is left out.
const ON_LIGHT: (f64, f64) = (0.0, 0.86);
const ON_DARK: (f64, f64) = (0.22, 1.0);

/// Draws `parts` whenever `area` is to be drawn, and draws anew where the focus comes or goes.
pub(super) fn connect_drawing<P: 'static>(
    area: &gtk::DrawingArea,
    parts: &Rc<P>,
    draw: impl Fn(&P, &Context) -> Result<(), Error> + 'static,
) {
    let weak = Rc::downgrade(parts);
    area.set_draw_func(move |_, context, _, _| {
        if let Some(parts) = weak.upgrade() {
            // A surface that cairo refuses leaves the widget empty until the next frame: nothing else can be done here.
            let _ = draw(&parts, context);
        }
    });
    area.connect_has_focus_notify(|area| area.queue_draw());
}

/// An opaque colour, parts 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ink(pub(super) f64, pub(super) f64, pub(super) f64);

impl Ink {
    /// 0xRRGGBB.
    pub(super) fn hex(rgb: u32) -> Self {
        let part = |shift: u32| f64::from((rgb >> shift) & 255) / 255.0;
        Self(part(16), part(8), part(0))
    }

    pub(super) fn set(self, context: &Context, opacity: f64) {
        context.set_source_rgba(self.0, self.1, self.2, opacity);
    }

    /// Relative luminance (WCAG 2.2), 0 to 1.
    fn luminance(self) -> f64 {
        let linear = |it: f64| if it <= 0.04045 { it / 12.92 } else { ((it + 0.055) / 1.055).powf(2.4) };
        0.2126 * linear(self.0) + 0.7152 * linear(self.1) + 0.0722 * linear(self.2)
    }

    /// Black or white, whichever reads better on this colour.
    pub(super) fn text_on(self) -> Self {
        if self.luminance() > 0.18 { Self(0.0, 0.0, 0.0) } else { Self(1.0, 1.0, 1.0) }
    }
}

/// The theme's text colour, and pairs chosen for a light and a dark ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Palette {
    pub(super) ink: Ink,
    pub(super) is_dark: bool,
}

impl Palette {
    pub(super) fn of(widget: &impl IsA<gtk::Widget>) -> Self {
        let colour: RGBA = widget.style_context().color();
        let ink = Ink(f64::from(colour.red()), f64::from(colour.green()), f64::from(colour.blue()));
        Self { ink, is_dark: ink.luminance() > 0.4 }
    }

    /// The ground that the ink is read on, for rims around signs and lines.
    pub(super) fn ground(self) -> Ink {
        if self.is_dark { Ink::hex(0x1c_1f24) } else { Ink::hex(0xff_ffff) }
    }

    /// Lines of laps, this lap first: blue, orange and on (Okabe and Ito, "Color Universal Design", 2008), each in a
    /// shade that stands out on its ground.
    pub(super) fn lap(self, index: usize) -> Ink {
        let shades = if self.is_dark {
            [0x56_b4e9, 0xe6_9f00, 0x2f_d3a5, 0xe3_9cc6]
        } else {
            [0x00_72b2, 0xb9_4f00, 0x00_7d5b, 0xa8_4f87]
        };
        Ink::hex(shades[index % shades.len()])
    }

    /// The playhead: the theme's own red of neither marks nor laps.
    pub(super) fn playhead(self) -> Ink {
        if self.is_dark { Ink::hex(0xff_6b81) } else { Ink::hex(0xc0_1048) }
    }

    /// Colour of a speed at a share of the range, 0 to 1.
    pub(super) fn speed(self, share: f64) -> Ink {
        let (from, to) = if self.is_dark { ON_DARK } else { ON_LIGHT };
        let colour = colorous::VIRIDIS.eval_continuous(from + (to - from) * share.clamp(0.0, 1.0));
        Ink(f64::from(colour.r) / 255.0, f64::from(colour.g) / 255.0, f64::from(colour.b) / 255.0)
    }
}

/// One line of text, laid out in the widget's font.
pub(super) struct Text {
    layout: pango::Layout,
    pub(super) width: f64,
    pub(super) height: f64,
}

impl Text {
    pub(super) fn new(widget: &impl IsA<gtk::Widget>, text: &str) -> Self {
        Self::at_most(widget, text, f64::INFINITY)
    }

    /// Longer text ends in an ellipsis.
    pub(super) fn at_most(widget: &impl IsA<gtk::Widget>, text: &str, width_px: f64) -> Self {
        let layout = widget.create_pango_layout(Some(text));
        let attributes = pango::AttrList::new();
        attributes.insert(pango::AttrFloat::new_scale(SMALL));
        attributes.insert(pango::AttrFontFeatures::new("tnum"));
        layout.set_attributes(Some(&attributes));
        layout.set_single_paragraph_mode(true);
        if width_px.is_finite() {
            layout.set_ellipsize(pango::EllipsizeMode::End);
            #[allow(clippy::cast_possible_truncation, reason = "pixels of a widget; casts saturate")]
            layout.set_width((width_px.max(1.0) * f64::from(pango::SCALE)) as i32);
        }
        let (width, height) = layout.pixel_size();
        Self { layout, width: f64::from(width), height: f64::from(height) }
    }

    /// With its top left corner at a point.
    pub(super) fn draw(&self, context: &Context, x: f64, y: f64) {
        context.move_to(x.round(), y.round());
        pangocairo::functions::show_layout(context, &self.layout);
    }

    /// With a rim of the ground's colour, so that it reads over lines.
    pub(super) fn draw_rimmed(&self, context: &Context, x: f64, y: f64, palette: Palette) -> Result<(), Error> {
        context.move_to(x.round(), y.round());
        pangocairo::functions::layout_path(context, &self.layout);
        palette.ground().set(context, 0.85);
        context.set_line_width(3.0);
        context.set_line_join(gtk::cairo::LineJoin::Round);
        context.stroke()?;
        palette.ink.set(context, 1.0);
        self.draw(context, x, y);
        Ok(())
    }
}

/// What a layer depends on. `version` counts whatever the widget itself draws from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LayerKey {
    pub(super) width: i32,
    pub(super) height: i32,
    pub(super) scale: i32,
    pub(super) palette: Palette,
    pub(super) version: u64,
}

/// The part of a drawing that stays while the playhead moves.
#[derive(Default)]
pub(super) struct Layer(RefCell<Option<(LayerKey, ImageSurface)>>);

impl Layer {
    /// Shows the layer, drawing it first where its key has changed.
    pub(super) fn paint(
        &self,
        context: &Context,
        key: LayerKey,
        draw: impl FnOnce(&Context) -> Result<(), Error>,
    ) -> Result<(), Error> {
        let mut shown = self.0.borrow_mut();
        if shown.as_ref().is_none_or(|it| it.0 != key) {
            let surface = ImageSurface::create(
                Format::ARgb32,
                key.width.max(1).saturating_mul(key.scale),
                key.height.max(1).saturating_mul(key.scale),
            )?;
            surface.set_device_scale(f64::from(key.scale), f64::from(key.scale));
            draw(&Context::new(&surface)?)?;
            *shown = Some((key, surface));
        }
        if let Some((_, surface)) = shown.as_ref() {
            context.set_source_surface(surface, 0.0, 0.0)?;
            context.paint()?;
        }
        Ok(())
    }
}

/// A ring of the theme's focus around a drawn widget that has the keyboard.
pub(super) fn focus_ring(context: &Context, palette: Palette, width: f64, height: f64) -> Result<(), Error> {
    palette.lap(0).set(context, 0.9);
    context.set_line_width(2.0);
    context.rectangle(1.0, 1.0, width - 2.0, height - 2.0);
    context.stroke()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// WCAG 2.2, 1.4.11: what is needed to understand a picture has a contrast of 3 to 1 with what lies beside it.
    #[test]
    fn lines_and_speeds_stand_out_on_their_ground() {
        for is_dark in [false, true] {
            let palette = Palette { ink: Ink(0.5, 0.5, 0.5), is_dark };
            let ground = palette.ground().luminance();
            let contrast = |ink: Ink| {
                let (a, b) = (ink.luminance().max(ground), ink.luminance().min(ground));
                (a + 0.05) / (b + 0.05)
            };
            let laps = (0..4).map(|it| palette.lap(it)).chain([palette.playhead()]);
            assert!(laps.map(contrast).all(|it| it >= 3.0), "dark: {is_dark}");
            // The scale must also rise in brightness all along; its far end keeps half of that contrast, with a rim.
            let speeds: Vec<Ink> = (0..=20).map(|it| palette.speed(f64::from(it) / 20.0)).collect();
            assert!(speeds.windows(2).all(|it| it[1].luminance() > it[0].luminance()), "dark: {is_dark}");
            assert!(speeds.iter().map(|it| contrast(*it)).all(|it| it >= 1.5), "dark: {is_dark}");
        }
    }

    #[test]
    fn text_on_a_tag_reads() {
        assert_eq!(Ink::hex(0xff_ffff).text_on(), Ink(0.0, 0.0, 0.0));
        assert_eq!(Ink::hex(0x10_2040).text_on(), Ink(1.0, 1.0, 1.0));
    }
}
