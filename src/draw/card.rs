//! A card of a film: a heading, a line under it and figures on a plain ground. Takes plain data; text of users is set as
//! text, never as markup.

use cairo::Context;

use crate::draw::layout::Place;
use crate::draw::overlay::{Tile, paint};
use crate::draw::text::{Align, Paragraph, Style, line};
use crate::draw::{BRIGHT, Error, GROUND, QUIET};
use crate::reel::Card;

/// Height of a row's text, as a share of the picture's shorter side, and its least, px.
const TEXT_SHARE: f64 = 0.045;
const TEXT_AT_LEAST_PX: f64 = 14.0;
/// Free border, as a share of the width.
const BORDER_SHARE: f64 = 0.08;
/// Sizes in heights of a row's text.
const HEADING: f64 = 1.9;
const UNDER: f64 = 1.1;
const ROW_STEP: f64 = 1.9;
const GAP: f64 = 1.1;
/// Where the columns of the figures begin, as shares of the width between the borders.
const COLUMNS: [f64; 2] = [0.38, 0.70];
/// A row's text may be so wide, in heights, that three columns hold it; in a narrower picture it is smaller.
const ROW_UNITS: f64 = 28.0;
/// Most of the height between the borders that the heading may take.
const HEADING_AT_MOST: f64 = 0.5;

/// The whole picture of a card, opaque. Sizes are even, px.
pub fn card_tile(card: &Card, width: u32, height: u32) -> Result<Tile, Error> {
    let size = (f64::from(width), f64::from(height));
    paint(Place { x: 0, y: 0, width, height }, 1, |context| draw(context, card, size))
}

fn draw(context: &Context, card: &Card, (width, height): (f64, f64)) -> Result<(), Error> {
    GROUND.set(context, 1.0);
    context.paint()?;
    let border = (width * BORDER_SHARE).round();
    let across = width - 2.0 * border;
    let unit = (width.min(height) * TEXT_SHARE).max(TEXT_AT_LEAST_PX).min(across / ROW_UNITS);
    let most = ((height - 2.0 * border.min(height * BORDER_SHARE)) * HEADING_AT_MOST).max(unit * HEADING);
    let heading = Paragraph::new(context, &card.heading, unit * HEADING, true, (across, most));
    let under = Paragraph::new(context, &card.under, unit * UNDER, false, (across, unit * UNDER * 3.0));
    let under_height = if card.under.is_empty() { 0.0 } else { under.height() + 0.4 * unit };
    let rows_height = if card.rows.is_empty() { 0.0 } else { GAP * unit + card.rows.len() as f64 * ROW_STEP * unit };
    let mut y = ((height - heading.height() - under_height - rows_height) / 2.0).max(unit);
    heading.show(context, (border, y), BRIGHT);
    y += heading.height() + 0.4 * unit;
    if !card.under.is_empty() {
        under.show(context, (border, y), QUIET);
        y += under.height();
    }
    y += GAP * unit;
    for row in &card.rows {
        QUIET.set(context, 0.35);
        context.rectangle(border, y.round(), across, (unit * 0.06).max(1.0).round());
        context.fill()?;
        let baseline = y + ROW_STEP * unit * 0.66;
        let starts = [0.0, COLUMNS[0], COLUMNS[1], 1.0].map(|it| border + it * across);
        let cells = [(&row.name, QUIET, false), (&row.value, BRIGHT, true), (&row.apart, BRIGHT, false)];
        for (column, (text, colour, bold)) in cells.into_iter().enumerate() {
            let max_width = starts[column + 1] - starts[column] - unit * 0.5;
            line(context, text, starts[column], baseline, Align::Left, Style { size: unit, bold, colour, max_width });
        }
        y += ROW_STEP * unit;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reel::CardRow;

    #[test]
    fn any_text_fits_any_picture() {
        let long = "long ".repeat(2000);
        let headings =
            ["", "T3 · Lap 5", "<b>\"bold\"</b> & 'co'", "🏁🏎️", "كارتينغ في الماء", "\u{202e}turned", "\u{0}\u{1b}"];
        let row = |text: &str| CardRow { name: text.to_owned(), value: text.to_owned(), apart: text.to_owned() };
        for heading in headings.iter().copied().chain([long.as_str()]) {
            let card = Card {
                heading: heading.to_owned(),
                under: heading.to_owned(),
                rows: vec![row(heading), row("x")],
                seconds: 1.0,
            };
            for (width, height) in [(640, 360), (202, 360), (64, 36), (2, 2)] {
                let tile = card_tile(&card, width, height).unwrap();
                assert_eq!(tile.argb.len(), 4 * (width * height) as usize);
                assert!(
                    tile.argb.chunks_exact(4).all(|it| u32::from_ne_bytes([it[0], it[1], it[2], it[3]]) >> 24 == 255)
                );
            }
        }
    }

    #[test]
    fn a_heading_is_seen_and_stays_inside_the_border() {
        let card = Card { heading: "M".repeat(400), seconds: 1.0, ..Card::default() };
        let tile = card_tile(&card, 640, 360).unwrap();
        let is_bright = |x: u32, y: u32| tile.argb[4 * (y * 640 + x) as usize + 1] > 128;
        let bright: Vec<u32> = (0..360).flat_map(|y| (0..640).filter(move |x| is_bright(*x, y))).collect();
        assert!(bright.len() > 500);
        assert!(bright.iter().all(|x| (40..=600).contains(x)), "{:?}", bright.iter().max());
    }
}
