//! The overlay's blocks as tiles of premultiplied ARGB. A block is drawn again only when what it shows has changed.

use cairo::{Context, Format, ImageSurface};

use crate::draw::layout::{Layout, MOST_TAGS, Place, TAG_LINE};
use crate::draw::marks::sign;
use crate::draw::text::{Align, Style, line};
use crate::draw::{BRIGHT, Error, QUIET, ground, map};
use crate::reel::{Caption, MapShape, MapState, MarkState, OverlayState, TagLine};

/// A drawn block and where it lies in the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Tile {
    pub x: u32,
    pub y: u32,
    pub width: u32,
    pub height: u32,
    /// Rows of native-endian 32-bit premultiplied ARGB without padding; `4 · width · height` bytes.
    pub argb: Vec<u8>,
    /// Rises with each redrawing of this block.
    pub version: u64,
}

/// A block: what its tile shows at present.
#[derive(Debug)]
pub(crate) struct Block<T> {
    place: Place,
    shown: Option<(T, Tile)>,
}

impl<T: PartialEq + Clone> Block<T> {
    pub(crate) fn new(place: Place) -> Self {
        Self { place, shown: None }
    }

    pub(crate) fn place(&self) -> Place {
        self.place
    }

    pub(crate) fn show(
        &mut self,
        wanted: &T,
        draw: impl FnOnce(&Context) -> Result<(), Error>,
    ) -> Result<&Tile, Error> {
        let version = match &self.shown {
            Some((shown, tile)) if shown == wanted => tile.version,
            Some((_, tile)) => tile.version + 1,
            None => 1,
        };
        if self.shown.as_ref().is_none_or(|(_, tile)| tile.version != version) {
            let tile = paint(self.place, version, draw)?;
            self.shown = Some((wanted.clone(), tile));
        }
        let (_, tile) = self.shown.as_ref().expect("shown was set above where it was not");
        Ok(tile)
    }
}

/// Draws into a new tile.
pub(crate) fn paint(
    place: Place,
    version: u64,
    draw: impl FnOnce(&Context) -> Result<(), Error>,
) -> Result<Tile, Error> {
    let side = |pixels: u32| i32::try_from(pixels).unwrap_or(i32::MAX);
    let mut surface = ImageSurface::create(Format::ARgb32, side(place.width), side(place.height))?;
    {
        let context = Context::new(&surface)?;
        draw(&context)?;
    }
    surface.flush();
    // ARGB32 rows are a multiple of four bytes already, so cairo adds no padding.
    let argb = surface.data().map_err(|_| cairo::Error::SurfaceFinished)?.to_vec();
    Ok(Tile { x: place.x, y: place.y, width: place.width, height: place.height, argb, version })
}

/// Which blocks of an overlay are drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Blocks {
    All,
    /// Lap and speed are told elsewhere.
    WithoutCaption,
    /// The picture is too small for any.
    None,
}

/// Draws one clip's overlay for pictures of one size.
#[derive(Debug)]
pub struct OverlayPainter {
    unit: f64,
    blocks: Blocks,
    map_shape: Option<MapShape>,
    caption: Block<Caption>,
    marks: Block<([MarkState; 3], &'static str)>,
    map: Block<MapState>,
    tags: Block<Vec<TagLine>>,
    /// Room for tags, of which the lowest lines are used.
    tags_room: Place,
}

impl OverlayPainter {
    /// `width` and `height`: of the picture, px.
    pub fn new(width: u32, height: u32, map_shape: Option<MapShape>) -> Self {
        Self::with_blocks(width, height, map_shape, Blocks::All)
    }

    /// The same with some of the blocks.
    pub fn with_blocks(width: u32, height: u32, map_shape: Option<MapShape>, blocks: Blocks) -> Self {
        let layout = Layout::new(width, height, blocks == Blocks::All);
        Self {
            unit: layout.unit,
            blocks,
            map_shape,
            caption: Block::new(layout.caption),
            marks: Block::new(layout.marks),
            map: Block::new(layout.map),
            tags: Block::new(layout.tags),
            tags_room: layout.tags,
        }
    }

    /// The tiles of one state, which do not overlap: caption, marks, and map and tags where there are any.
    pub fn tiles(&mut self, state: &OverlayState) -> Result<Vec<&Tile>, Error> {
        let unit = self.unit;
        let mut tiles = Vec::new();
        if self.blocks == Blocks::None {
            return Ok(tiles);
        }
        if self.blocks == Blocks::All {
            let size = size_of(self.caption.place);
            let draw = |context: &Context| draw_caption(context, &state.caption, size, unit);
            tiles.push(self.caption.show(&state.caption, draw)?);
        }
        let marks_place = self.marks.place;
        let wanted_marks = (state.marks.clone(), state.unit);
        let marks =
            self.marks.show(&wanted_marks, |context| draw_marks(context, &state.marks, size_of(marks_place), unit))?;
        tiles.push(marks);
        if let (Some(shape), Some(map_state)) = (&self.map_shape, state.map) {
            let side_px = size_of(self.map.place).0;
            tiles.push(self.map.show(&map_state, |context| map::draw(context, shape, map_state, side_px, unit))?);
        }
        let line_px = even(TAG_LINE * unit).min(self.tags_room.height);
        let lines = u32::try_from(state.tags.len().min(MOST_TAGS)).unwrap_or(0).min(self.tags_room.height / line_px);
        if lines > 0 {
            let (room, height) = (self.tags_room, lines * line_px);
            self.tags.place = Place { y: room.y + room.height - height, height, ..room };
            let width = f64::from(room.width);
            let wanted: Vec<TagLine> = state.tags.iter().take(lines as usize).cloned().collect();
            tiles
                .push(self.tags.show(&wanted, |context| draw_tags(context, &wanted, width, f64::from(line_px), unit))?);
        }
        Ok(tiles)
    }
}

fn size_of(place: Place) -> (f64, f64) {
    (f64::from(place.width), f64::from(place.height))
}

/// Speed and its unit on the left; corner and lap over the part of the corner on the right.
fn draw_caption(context: &Context, caption: &Caption, (width, height): (f64, f64), unit: f64) -> Result<(), Error> {
    ground(context, width, height, unit * 0.4)?;
    let speed = Style { size: unit * 2.1, bold: true, colour: BRIGHT, max_width: unit * 4.6 };
    line(context, &caption.speed, unit * 5.0, height / 2.0 + unit * 0.78, Align::Right, speed);
    let small = Style { size: unit * 0.85, bold: false, colour: QUIET, max_width: unit * 3.0 };
    line(context, caption.unit, unit * 5.25, height / 2.0 + unit * 0.78, Align::Left, small);

    QUIET.set(context, 0.35);
    context.set_line_width((unit * 0.06).max(1.0));
    context.move_to(unit * 8.0, unit * 0.6);
    context.line_to(unit * 8.0, height - unit * 0.6);
    context.stroke()?;

    let left = unit * 8.6;
    let space = width - left - unit * 0.5;
    let lap = format!("Lap {}", caption.lap);
    let lap_style = Style { size: unit, bold: false, colour: QUIET, max_width: space };
    // Room for "Lap 99" is kept, so that a long corner name never pushes the lap out.
    let name_style = Style { size: unit * 1.15, bold: true, colour: BRIGHT, max_width: space - unit * 3.9 };
    let used = line(context, &caption.corner, left, unit * 1.55, Align::Left, name_style);
    line(context, &lap, left + used + unit * 0.6, unit * 1.55, Align::Left, lap_style);
    let phase = Style { size: unit, bold: false, colour: BRIGHT, max_width: space };
    line(context, caption.phase, left, height - unit * 0.75, Align::Left, phase);
    Ok(())
}

fn even(pixels: f64) -> u32 {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a text height; casts saturate")]
    let half = (pixels.max(0.0) / 2.0) as u32;
    (2 * half).max(2)
}

/// One below the other, each with its kind's colour before it.
fn draw_tags(context: &Context, tags: &[TagLine], width: f64, line_px: f64, unit: f64) -> Result<(), Error> {
    for (index, tag) in tags.iter().enumerate() {
        let top = index as f64 * line_px;
        context.save()?;
        context.translate(0.0, top);
        ground(context, width, line_px - (unit * 0.25).round(), unit * 0.4)?;
        let middle = (line_px - unit * 0.25) / 2.0;
        if let Some(colour) = tag.colour {
            let part = |it: u8| f64::from(it) / 255.0;
            context.set_source_rgb(part(colour.red), part(colour.green), part(colour.blue));
            context.rectangle(unit * 0.5, middle - unit * 0.45, unit * 0.9, unit * 0.9);
            context.fill()?;
        }
        let left = if tag.colour.is_some() { unit * 1.9 } else { unit * 0.6 };
        let style = Style { size: unit, bold: false, colour: BRIGHT, max_width: width - left - unit * 0.5 };
        line(context, &tag.text, left, middle + unit * 0.36, Align::Left, style);
        context.restore()?;
    }
    Ok(())
}

/// Three columns: the mark's sign and name over the figure that belongs to it.
fn draw_marks(context: &Context, marks: &[MarkState; 3], (width, height): (f64, f64), unit: f64) -> Result<(), Error> {
    ground(context, width, height, unit * 0.4)?;
    let column = (width - unit) / 3.0;
    for (index, mark) in marks.iter().enumerate() {
        let left = unit * 0.7 + column * index as f64;
        let colour = if mark.is_lit { BRIGHT } else { QUIET };
        sign(context, mark.kind, mark.is_lit, left + unit * 0.45, unit * 1.17, unit * 0.45)?;
        let name = Style { size: unit, bold: mark.is_lit, colour, max_width: column - unit * 1.4 };
        line(context, mark.name, left + unit * 1.3, unit * 1.55, Align::Left, name);
        let label = Style { size: unit * 0.8, bold: false, colour: QUIET, max_width: column * 0.62 };
        let used = line(context, mark.figure_name, left, height - unit * 0.75, Align::Left, label);
        let figure = Style { size: unit * 1.05, bold: true, colour: BRIGHT, max_width: column - used - unit * 0.4 };
        line(context, &mark.figure, left + used + unit * 0.35, height - unit * 0.75, Align::Left, figure);
    }
    Ok(())
}
