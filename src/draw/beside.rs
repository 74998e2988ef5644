//! Two pictures in one film: where they lie, and the strip below them that says what sets the two passes apart. Takes
//! plain data and sizes in pixels; gives places and tiles.

use cairo::Context;

use crate::draw::layout::{Place, place};
use crate::draw::overlay::{Block, Tile};
use crate::draw::text::{Align, Style, line};
use crate::draw::{BRIGHT, Error, GROUND, QUIET};
use crate::present::BesideWords;
use crate::reel::BesideLayout;

/// Text height as a share of a picture's shorter side, and its least, px.
const TEXT_SHARE: f64 = 0.045;
const TEXT_AT_LEAST_PX: f64 = 14.0;
/// Height of the strip, in text heights.
const STRIP: f64 = 4.0;
/// Width of an inset as a share of the picture's, and its border.
const INSET_SHARE: f64 = 0.34;
const BORDER_SHARE: f64 = 0.035;

/// Where two pictures and the strip lie on a film's picture. Everything is even, px.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Arrangement {
    pub size_px: (u32, u32),
    /// Left, top, width, height.
    pub first: (u32, u32, u32, u32),
    pub second: (u32, u32, u32, u32),
    pub strip: (u32, u32, u32, u32),
}

impl Arrangement {
    /// For pictures that would be `width` by `height` px alone.
    pub fn new(layout: BesideLayout, width: u32, height: u32) -> Self {
        let (across, down) = (f64::from(width), f64::from(height));
        let strip_of = |side: f64| (side * TEXT_SHARE).max(TEXT_AT_LEAST_PX) * STRIP;
        let (first, second, strip) = match layout {
            BesideLayout::Beside => {
                let first = place(0.0, 0.0, across / 2.0, down / 2.0);
                let (w, h) = (f64::from(first.width), f64::from(first.height));
                (first, place(w, 0.0, w, h), place(0.0, h, 2.0 * w, strip_of(w.min(h))))
            }
            BesideLayout::Stacked => {
                let strip = strip_of(across.min(down) / 2.0);
                let share = (down - strip) / (2.0 * down);
                let first = place(0.0, 0.0, across * share, down * share);
                let (w, h) = (f64::from(first.width), f64::from(first.height));
                (first, place(0.0, h, w, h), place(0.0, 2.0 * h, w, strip))
            }
            BesideLayout::Inset => {
                let border = across.min(down) * BORDER_SHARE;
                let second = place(border, border, across * INSET_SHARE, down * INSET_SHARE);
                let (x, y) = (f64::from(second.x), f64::from(second.y));
                let (w, h) = (f64::from(second.width), f64::from(second.height));
                (place(0.0, 0.0, across, down), second, place(x, y + h, w, strip_of(w.min(h) * 0.8)))
            }
        };
        let end = |of: [Place; 3], side: fn(&Place) -> u32| of.iter().map(side).max().unwrap_or(2);
        let all = [first, second, strip];
        let size_px = (end(all, |it| it.x + it.width), end(all, |it| it.y + it.height));
        let sides = |it: Place| (it.x, it.y, it.width, it.height);
        Self { size_px, first: sides(first), second: sides(second), strip: sides(strip) }
    }
}

/// Draws the strip; again only when its words change.
#[derive(Debug)]
pub struct StripPainter {
    block: Block<BesideWords>,
}

impl StripPainter {
    pub fn new(arrangement: &Arrangement) -> Self {
        let (x, y, width, height) = arrangement.strip;
        Self { block: Block::new(Place { x, y, width, height }) }
    }

    /// Opaque.
    pub fn tile(&mut self, words: &BesideWords) -> Result<&Tile, Error> {
        let place = self.block.place();
        let size = (f64::from(place.width), f64::from(place.height));
        self.block.show(words, |context| draw(context, words, size))
    }
}

/// The first on the left, the second on the right, and between them how much later and how much faster the second is.
fn draw(context: &Context, words: &BesideWords, (width, height): (f64, f64)) -> Result<(), Error> {
    GROUND.set(context, 1.0);
    context.paint()?;
    let unit = (height / STRIP).min(width / 26.0);
    let (upper, lower) = (height / 2.0 - unit * 0.35, height / 2.0 + unit * 1.15);
    let margin = unit * 0.9;
    let side = width * 0.3;
    let style = |size: f64, bold: bool, colour| Style { size: unit * size, bold, colour, max_width: side };
    let columns = [(&words.first, margin, Align::Left), (&words.second, width - margin, Align::Right)];
    for ([name, speed], x, align) in columns {
        line(context, name, x, upper, align, style(1.0, false, QUIET));
        line(context, speed, x, lower, align, style(1.25, true, BRIGHT));
    }
    line(context, &words.later, width / 2.0, upper + unit * 0.15, Align::Middle, style(1.45, true, BRIGHT));
    line(context, &words.faster, width / 2.0, lower, Align::Middle, style(1.1, false, BRIGHT));
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pictures_lie_apart_and_inside_at_every_usual_size() {
        for layout in [BesideLayout::Beside, BesideLayout::Stacked, BesideLayout::Inset] {
            for (width, height) in [(1920, 1080), (640, 360), (320, 180), (608, 1080), (640, 640)] {
                let it = Arrangement::new(layout, width, height);
                for (x, y, w, h) in [it.first, it.second, it.strip] {
                    assert!([x, y, w, h].iter().all(|side| side % 2 == 0) && w > 0 && h > 0, "{layout:?} {it:?}");
                    assert!(x + w <= it.size_px.0 && y + h <= it.size_px.1, "{layout:?} {it:?}");
                }
                let apart = |a: (u32, u32, u32, u32), b: (u32, u32, u32, u32)| {
                    a.0 + a.2 <= b.0 || b.0 + b.2 <= a.0 || a.1 + a.3 <= b.1 || b.1 + b.3 <= a.1
                };
                assert!(apart(it.second, it.strip), "{layout:?} {it:?}");
                let is_inset = layout == BesideLayout::Inset;
                assert!(is_inset || (apart(it.first, it.second) && apart(it.first, it.strip)), "{layout:?} {it:?}");
                let shape = |it: (u32, u32, u32, u32)| f64::from(it.2) / f64::from(it.3);
                let wanted = f64::from(width) / f64::from(height);
                assert!((shape(it.second) / wanted - 1.0).abs() < 0.05, "{layout:?} {it:?}");
            }
        }
    }
}
