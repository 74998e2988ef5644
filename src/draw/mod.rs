//! Overlay, map and the book's drawings drawn with cairo, into small surfaces that lie over a picture. Screens and films
//! share them, so what is seen is what is exported. Takes plain data of `reel` and `book`; knows no video.

mod alignment;
mod beside;
mod card;
mod drawings;
mod layout;
mod map;
mod marks;
mod overlay;
mod sheet;
mod text;

pub use alignment::{AlignmentPlot, alignment_png, paint_alignment};
pub use beside::{Arrangement, StripPainter};
pub use card::card_tile;
pub use drawings::{PictureRect, drawing_tiles, paint_drawings};
#[cfg(feature = "window")]
pub(crate) use marks::sign;
pub use overlay::{Blocks, OverlayPainter, Tile};
pub use sheet::{SheetRow, contact_sheet};

/// Why nothing could be drawn.
#[derive(Debug, thiserror::Error)]
#[error("the overlay cannot be drawn ({0}); make the film smaller")]
pub struct Error(#[from] cairo::Error);

/// An opaque colour, each part 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Colour(f64, f64, f64);

impl Colour {
    const fn hex(rgb: u32) -> Self {
        Self(((rgb >> 16) & 255) as f64 / 255.0, ((rgb >> 8) & 255) as f64 / 255.0, (rgb & 255) as f64 / 255.0)
    }

    fn set(self, context: &cairo::Context, opacity: f64) {
        context.set_source_rgba(self.0, self.1, self.2, opacity);
    }
}

/// Ground of every block: dark enough that white on it keeps a contrast of 7 to 1 over a white sky (WCAG 2.2, 1.4.6).
pub(crate) const GROUND: Colour = Colour::hex(0x0b_0f14);
pub(crate) const GROUND_OPACITY: f64 = 0.80;
pub(crate) const BRIGHT: Colour = Colour::hex(0xff_ffff);
/// For what is secondary or not yet reached.
pub(crate) const QUIET: Colour = Colour::hex(0xb4_bec8);

/// A block's ground: a rectangle with rounded corners over the whole surface.
pub(crate) fn ground(context: &cairo::Context, width: f64, height: f64, radius: f64) -> Result<(), Error> {
    use std::f64::consts::{FRAC_PI_2, PI};
    context.new_path();
    context.arc(width - radius, radius, radius, -FRAC_PI_2, 0.0);
    context.arc(width - radius, height - radius, radius, 0.0, FRAC_PI_2);
    context.arc(radius, height - radius, radius, FRAC_PI_2, PI);
    context.arc(radius, radius, radius, PI, PI + FRAC_PI_2);
    context.close_path();
    GROUND.set(context, GROUND_OPACITY);
    Ok(context.fill()?)
}
