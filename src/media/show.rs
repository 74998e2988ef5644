//! Goes through the footage of one clip as its cut list says: the frame on show at each moment, with overlay and drawings
//! laid over it. Gives pictures; knows no film, no sound.

use std::collections::BTreeMap;
use std::path::Path;

use gstreamer as gst;
use gstreamer_video as gst_video;

use crate::draw::{Blocks, OverlayPainter, PictureRect, drawing_tiles};
use crate::media::blend::{Matrix, Sticker};
use crate::media::error::Error;
use crate::media::probe::Footage;
use crate::media::reader::{Frame, FrameReader, Picture, Pixels};
use crate::reel::{Chapter, ClipPlan, FilmShape, OverlayState};
use crate::session::VideoTime;

/// Times closer than this are the same instant: log times are turned into nanoseconds and back.
pub(crate) const INSTANT_NS: i64 = 500;
/// Going on frame by frame is quicker than a search up to this far, ns.
const GO_ON_NS: i64 = 2_000_000_000;

/// How footage fills the pictures of a film.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Fill {
    /// Even, px.
    pub(crate) size_px: (u32, u32),
    pub(crate) shape: FilmShape,
}

/// The frame on show and what is needed to go on from it.
#[derive(Debug)]
pub(crate) struct Showing {
    chapter: usize,
    reader: FrameReader,
    pub(crate) frame: Frame,
    /// When the next frame is shown; `None` at the end of the file.
    pub(crate) next_at: Option<VideoTime>,
    /// Where in the chapter the film has come to.
    position: VideoTime,
    pub(crate) is_written: bool,
}

impl Showing {
    fn at(path: &Path, chapter: usize, mut reader: FrameReader, at: VideoTime) -> Result<Self, Error> {
        reader.seek(VideoTime(at.0 + INSTANT_NS))?;
        let frame = reader.next_frame()?.ok_or_else(|| Error::NoFrames { path: path.to_owned() })?;
        let next_at = reader.next_time()?;
        Ok(Self { chapter, reader, frame, next_at, position: at, is_written: false })
    }

    fn advance(&mut self) -> Result<(), Error> {
        if let Some(frame) = self.reader.next_frame()? {
            self.frame = frame;
            self.is_written = false;
        }
        self.next_at = self.reader.next_time()?;
        Ok(())
    }
}

/// Goes through the footage of a clip, and draws over it.
#[derive(Debug)]
pub(crate) struct Show<'a> {
    plan: &'a ClipPlan,
    fill: Fill,
    /// Where the whole of the footage's picture lies on ours, by chapter.
    pictures: BTreeMap<usize, PictureRect>,
    painter: OverlayPainter,
    stickers: Vec<Sticker>,
    /// The drawings on show, by their index in the plan.
    drawn: BTreeMap<usize, Vec<Sticker>>,
    showing: Option<Showing>,
}

impl<'a> Show<'a> {
    /// `footage`: what each chapter that the plan uses is, by its index.
    pub(crate) fn new(plan: &'a ClipPlan, fill: Fill, blocks: Blocks, footage: &BTreeMap<usize, &Footage>) -> Self {
        let map = plan.overlay.map.clone();
        let painter = OverlayPainter::with_blocks(fill.size_px.0, fill.size_px.1, map, blocks);
        let pictures = footage.iter().map(|(chapter, it)| (*chapter, picture_rect(it, fill))).collect();
        Self { plan, fill, pictures, painter, stickers: Vec::new(), drawn: BTreeMap::new(), showing: None }
    }

    fn chapter(&self, index: usize) -> &'a Chapter {
        &self.plan.chapters[index]
    }

    /// Makes the frame at an instant the one on show. Going on from where the film is costs nothing.
    pub(crate) fn go_to(&mut self, chapter: usize, at: VideoTime) -> Result<&mut Showing, Error> {
        let goes_on = |it: &Showing| {
            let ahead_ns = at.0 - it.position.0;
            it.chapter == chapter && (-INSTANT_NS..=GO_ON_NS).contains(&ahead_ns)
        };
        if !self.showing.as_ref().is_some_and(goes_on) {
            let is_cropped = self.fill.shape == FilmShape::Upright;
            let picture = Picture { pixels: Pixels::I420, size_px: Some(self.fill.size_px), is_cropped };
            let path = &self.chapter(chapter).file;
            let reader = match self.showing.take() {
                Some(showing) if showing.chapter == chapter => showing.reader,
                _ => FrameReader::open(path, picture)?,
            };
            self.showing = Some(Showing::at(path, chapter, reader, at)?);
        }
        let showing = self.showing.as_mut().expect("set above where it was not");
        while showing.next_at.is_some_and(|next| next.0 <= at.0 + INSTANT_NS) {
            showing.advance()?;
        }
        showing.position = at;
        Ok(showing)
    }

    /// Goes on to the next frame.
    pub(crate) fn step(&mut self) -> Result<(), Error> {
        if let Some(showing) = &mut self.showing {
            showing.advance()?;
            showing.position = showing.frame.at;
        }
        Ok(())
    }

    /// The film has come to `at` without a new frame: the one on show stays.
    pub(crate) fn go_on_to(&mut self, at: VideoTime) {
        if let Some(showing) = &mut self.showing {
            showing.position = at;
        }
    }

    /// Log time of the frame on show, s. [`Show::go_to`] comes first.
    pub(crate) fn log_time_s(&self) -> f64 {
        let showing = self.showing.as_ref();
        showing.map_or(0.0, |it| self.chapter(it.chapter).clock.to_log(it.frame.at).0)
    }

    /// The frame on show with its overlay and its drawings, and its form. [`Show::go_to`] comes first.
    pub(crate) fn picture(&mut self) -> Result<(gst::Buffer, gst_video::VideoInfo), Error> {
        let showing = self.showing.as_ref().expect("a picture is asked for only after going to a place");
        let chapter = self.chapter(showing.chapter);
        let log_s = |at: VideoTime| chapter.clock.to_log(at).0;
        let until = showing.next_at.unwrap_or(chapter.end);
        let state = self.plan.overlay.state(log_s(showing.frame.at), log_s(until));
        let drawings = self.plan.drawings_on_show(showing.chapter, showing.frame.at, until);
        let (mut buffer, info) = (showing.frame.buffer.clone(), showing.frame.info.clone());
        let whole = PictureRect::filling(self.fill.size_px.0, self.fill.size_px.1);
        let picture = self.pictures.get(&showing.chapter).copied().unwrap_or(whole);
        self.draw(&state, &drawings, picture, &mut buffer, &info)?;
        Ok((buffer, info))
    }

    fn draw(
        &mut self,
        state: &OverlayState,
        drawings: &[usize],
        picture: PictureRect,
        buffer: &mut gst::Buffer,
        info: &gst_video::VideoInfo,
    ) -> Result<(), Error> {
        let matrix = Matrix::of(info);
        let unmappable = |cause: gst::glib::BoolError| Error::Render {
            path: self.plan.chapters[0].file.clone(),
            cause: cause.to_string(),
        };
        let tiles = self.painter.tiles(state)?;
        self.stickers.truncate(tiles.len());
        for (index, tile) in tiles.into_iter().enumerate() {
            match self.stickers.get_mut(index) {
                Some(sticker) if sticker.is_of(tile) => {}
                Some(sticker) => *sticker = Sticker::new(tile, matrix),
                None => self.stickers.push(Sticker::new(tile, matrix)),
            }
        }
        self.take_drawings(drawings, picture, matrix)?;
        let mut frame =
            gst_video::VideoFrameRef::from_buffer_ref_writable(buffer.make_mut(), info).map_err(unmappable)?;
        // A person's drawing outranks the program's own blocks: it lies over them.
        for sticker in self.stickers.iter().chain(self.drawn.values().flatten()) {
            sticker.blend(&mut frame);
        }
        Ok(())
    }

    /// Paints the drawings that are new on show, and lets go of those that no longer are.
    fn take_drawings(&mut self, on_show: &[usize], picture: PictureRect, matrix: Matrix) -> Result<(), Error> {
        self.drawn.retain(|index, _| on_show.contains(index));
        for index in on_show.iter().filter(|it| !self.drawn.contains_key(it)).copied().collect::<Vec<_>>() {
            let tiles = drawing_tiles(&self.plan.drawings[index].drawing, picture, self.fill.size_px)?;
            self.drawn.insert(index, tiles.iter().map(|it| Sticker::new(it, matrix)).collect());
        }
        Ok(())
    }
}

/// Width to height of upright footage.
pub(crate) fn aspect(footage: &Footage) -> f64 {
    let (horizontal, vertical) = footage.pixel_aspect;
    f64::from(footage.width_px) * f64::from(horizontal) / (f64::from(footage.height_px) * f64::from(vertical))
}

/// Where the whole of the footage's picture lies: inside ours between bars, or beyond it where it is cropped.
fn picture_rect(footage: &Footage, fill: Fill) -> PictureRect {
    let (width, height) = (f64::from(fill.size_px.0), f64::from(fill.size_px.1));
    let (by_width, by_height) = (width / aspect(footage), height);
    let is_cropped = fill.shape == FilmShape::Upright;
    let scaled = if is_cropped { by_width.max(by_height) } else { by_width.min(by_height) };
    // Sizes are rounded to even pixels: what is off by no more is the whole.
    if (scaled - height).abs() <= 2.0 && (scaled * aspect(footage) - width).abs() <= 2.0 {
        return PictureRect::filling(fill.size_px.0, fill.size_px.1);
    }
    let across = scaled * aspect(footage);
    PictureRect { x: (width - across) / 2.0, y: (height - scaled) / 2.0, width: across, height: scaled }
}
