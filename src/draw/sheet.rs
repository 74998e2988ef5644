//! A contact sheet: one row a pass, one column a mark, and the pass's figures on the left. Takes pictures and words; gives
//! one picture.

use cairo::{Context, Format, ImageSurface};

use crate::draw::text::{Align, Paragraph, Style, line};
use crate::draw::{BRIGHT, Error, GROUND, QUIET};

/// Width of one picture, px, unless that made the sheet too high.
const PICTURE_PX: f64 = 480.0;
/// Cairo and JPEG take no more, px; below both.
const MOST_PX: f64 = 30_000.0;
/// Sizes in shares of a picture's width.
const WORDS: f64 = 0.62;
const BETWEEN: f64 = 0.02;
const HEAD: f64 = 0.11;
const TEXT: f64 = 0.042;

/// One pass on the sheet.
#[derive(Debug, Clone)]
pub struct SheetRow {
    pub name: String,
    pub lines: Vec<String>,
    /// One a column: width, height, rows of red, green and blue without padding.
    pub pictures: Vec<Option<(u32, u32, Vec<u8>)>>,
}

/// The sheet: width, height, rows of red, green and blue without padding. `title` stands above, `columns` over the
/// pictures. Degenerate: without rows there is the head alone.
pub fn contact_sheet(title: &str, columns: &[&str], rows: &[SheetRow]) -> Result<(u32, u32, Vec<u8>), Error> {
    let shape = rows.iter().flat_map(|it| it.pictures.iter().flatten()).next();
    let down_share = shape.map_or(9.0 / 16.0, |it| f64::from(it.1) / f64::from(it.0));
    let rows_share = rows.len() as f64 * (down_share + BETWEEN) + HEAD + BETWEEN;
    let across = PICTURE_PX.min(MOST_PX / rows_share);
    let between = (across * BETWEEN).round().max(1.0);
    let (words, head) = ((across * WORDS).round(), (across * HEAD).round());
    let down = (across * down_share).round().max(1.0);
    let width = between + words + columns.len() as f64 * (across.round() + between);
    let height = head + between + rows.len() as f64 * (down + between);
    let mut surface = ImageSurface::create(Format::Rgb24, pixels(width), pixels(height))?;
    {
        let context = Context::new(&surface)?;
        GROUND.set(&context, 1.0);
        context.paint()?;
        let text = across * TEXT;
        let column_x = |index: usize| between + words + index as f64 * (across.round() + between);
        let bold = Style { size: text * 1.25, bold: true, colour: BRIGHT, max_width: words - between };
        line(&context, title, between, head * 0.7, Align::Left, bold);
        for (index, name) in columns.iter().enumerate() {
            let style = Style { size: text * 1.1, bold: false, colour: QUIET, max_width: across };
            line(&context, name, column_x(index), head * 0.7, Align::Left, style);
        }
        for (index, row) in rows.iter().enumerate() {
            let y = head + between + index as f64 * (down + between);
            let room = (words - between, down);
            let name = Paragraph::new(&context, &row.name, text * 1.2, true, (room.0, room.1 * 0.4));
            name.show(&context, (between, y), BRIGHT);
            let mut below = y + name.height() + text * 0.5;
            for words in &row.lines {
                let words = Paragraph::new(&context, words, text, false, (room.0, (y + down - below).max(text)));
                if below + words.height() > y + down {
                    break;
                }
                words.show(&context, (between, below), QUIET);
                below += words.height() + text * 0.3;
            }
            for (column, picture) in row.pictures.iter().enumerate() {
                let place = (column_x(column), y, across.round(), down);
                match picture {
                    Some(picture) => show(&context, picture, place)?,
                    None => missing(&context, place, text)?,
                }
            }
        }
    }
    surface.flush();
    let (width, height) = (surface.width().max(0), surface.height().max(0));
    let stride = usize::try_from(surface.stride()).unwrap_or(0);
    let data = surface.data().map_err(|_| cairo::Error::SurfaceFinished)?;
    let size = |it: i32| u32::try_from(it).unwrap_or(0);
    let rows = data.chunks_exact(stride).map(|row| &row[..4 * size(width) as usize]);
    let rgb = rows.flat_map(|row| row.chunks_exact(4).flat_map(to_rgb)).collect();
    Ok((size(width), size(height), rgb))
}

fn to_rgb(word: &[u8]) -> [u8; 3] {
    let word = u32::from_ne_bytes(word.try_into().expect("a slice of four bytes"));
    let [blue, green, red, _] = word.to_le_bytes();
    [red, green, blue]
}

fn pixels(size: f64) -> i32 {
    #[allow(clippy::cast_possible_truncation, reason = "below the limit above; casts saturate")]
    let pixels = size.ceil() as i32;
    pixels.max(1)
}

/// Scaled to its place.
fn show(
    context: &Context,
    (width, height, rgb): &(u32, u32, Vec<u8>),
    (x, y, across, down): (f64, f64, f64, f64),
) -> Result<(), Error> {
    let side = |it: u32| i32::try_from(it).unwrap_or(i32::MAX);
    let mut image = ImageSurface::create(Format::Rgb24, side(*width), side(*height))?;
    let stride = usize::try_from(image.stride()).unwrap_or(0);
    {
        let mut data = image.data().map_err(|_| cairo::Error::SurfaceFinished)?;
        for (to, from) in data.chunks_exact_mut(stride).zip(rgb.chunks_exact(3 * *width as usize)) {
            for (to, from) in to.chunks_exact_mut(4).zip(from.chunks_exact(3)) {
                to.copy_from_slice(&u32::from_be_bytes([255, from[0], from[1], from[2]]).to_ne_bytes());
            }
        }
    }
    context.save()?;
    context.translate(x, y);
    context.scale(across / f64::from(*width), down / f64::from(*height));
    context.set_source_surface(&image, 0.0, 0.0)?;
    context.source().set_filter(cairo::Filter::Good);
    context.rectangle(0.0, 0.0, f64::from(*width), f64::from(*height));
    context.fill()?;
    Ok(context.restore()?)
}

/// A frame without a picture: the mark is not known.
fn missing(context: &Context, (x, y, across, down): (f64, f64, f64, f64), text: f64) -> Result<(), Error> {
    QUIET.set(context, 0.3);
    context.set_line_width(1.0);
    context.rectangle(x + 0.5, y + 0.5, across - 1.0, down - 1.0);
    context.stroke()?;
    let style = Style { size: text, bold: false, colour: QUIET, max_width: across };
    line(context, "not known", x + across / 2.0, y + down / 2.0, Align::Middle, style);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pictures_stand_in_their_columns_and_rows() {
        let plain = |rgb: [u8; 3]| Some((32, 18, rgb.repeat(32 * 18)));
        let row = |first, second| SheetRow {
            name: "<T1>".to_owned(),
            lines: vec!["a".repeat(500)],
            pictures: vec![first, second],
        };
        let rows = [row(plain([255, 0, 0]), plain([0, 255, 0])), row(plain([0, 0, 255]), None)];
        let (width, height, rgb) = contact_sheet("T1", &["turn-in", "apex"], &rows).unwrap();
        assert_eq!(rgb.len(), 3 * (width * height) as usize);
        let middle = |column: usize, row: usize| {
            let (x, y) = (10 + 298 + column * 490 + 240, 53 + 10 + row * 280 + 135);
            let at = 3 * (y * width as usize + x);
            [rgb[at], rgb[at + 1], rgb[at + 2]]
        };
        assert_eq!([middle(0, 0), middle(1, 0), middle(0, 1)], [[255, 0, 0], [0, 255, 0], [0, 0, 255]]);
    }

    #[test]
    fn a_thousand_passes_still_fit_a_picture() {
        let rows = vec![SheetRow { name: String::new(), lines: Vec::new(), pictures: vec![None; 3] }; 1000];
        let (_, height, _) = contact_sheet("T1", &["a", "b", "c"], &rows).unwrap();
        assert!(height < 32_000, "{height}");
    }
}
