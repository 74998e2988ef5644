//! Single frames as pictures, with overlay and drawings. Takes a clip's plan and a place in its footage; gives RGB.

use std::path::Path;

use gstreamer_video as gst_video;
use gstreamer_video::prelude::*;

use crate::book::Drawing;
use crate::draw::{OverlayPainter, PictureRect, Tile, drawing_tiles};
use crate::media::error::Error;
use crate::media::reader::{Frame, FrameReader, Picture, Pixels};
use crate::reel::ClipPlan;
use crate::session::VideoTime;

/// JPEG quality of stills: no ringing around the letters of the overlay (tried, no source).
pub const JPEG_QUALITY: u8 = 90;

/// A picture: rows of red, green and blue without padding.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Still {
    pub width: u32,
    pub height: u32,
    pub rgb: Vec<u8>,
}

impl Still {
    /// Scaled down to this width, px; one that is no wider stays as it is.
    pub fn smaller(self, width: u32) -> Self {
        let height = (u64::from(self.height) * u64::from(width) / u64::from(self.width.max(1))).max(1);
        let Some(picture) = image::RgbImage::from_raw(self.width, self.height, self.rgb.clone()) else { return self };
        if self.width <= width {
            return self;
        }
        let height = u32::try_from(height).unwrap_or(u32::MAX);
        let small = image::imageops::resize(&picture, width, height, image::imageops::FilterType::Triangle);
        Self { width, height, rgb: small.into_raw() }
    }
}

/// The frame on show at a presentation time of one of the plan's chapters.
pub fn still(plan: &ClipPlan, chapter: usize, at: VideoTime) -> Result<Still, Error> {
    let of = &plan.chapters[chapter];
    let (mut still, frame_at, until) = picture_at(&of.file, at)?;
    let until = until.unwrap_or(of.end);
    let state = plan.overlay.state(of.clock.to_log(frame_at).0, of.clock.to_log(until).0);
    let mut painter = OverlayPainter::new(still.width, still.height, plan.overlay.map.clone());
    for tile in painter.tiles(&state)? {
        lay_over(&mut still, tile);
    }
    let drawings = plan.drawings_on_show(chapter, frame_at, until).into_iter().map(|it| &plan.drawings[it].drawing);
    draw_over(&mut still, drawings)?;
    Ok(still)
}

/// The frame on show at a presentation time of a footage file, with drawings and nothing else.
pub fn still_of(file: &Path, at: VideoTime, drawings: &[Drawing]) -> Result<Still, Error> {
    let (mut still, _, _) = picture_at(file, at)?;
    draw_over(&mut still, drawings)?;
    Ok(still)
}

/// The frame on show, its presentation time, and that of the next one.
fn picture_at(file: &Path, at: VideoTime) -> Result<(Still, VideoTime, Option<VideoTime>), Error> {
    crate::media::init()?;
    let picture = Picture { pixels: Pixels::Rgba, size_px: None, is_cropped: false };
    let mut reader = FrameReader::open(file, picture)?;
    reader.seek(at)?;
    let frame = reader.next_frame()?.ok_or_else(|| Error::NoFrames { path: file.to_owned() })?;
    let until = reader.next_time()?;
    let still = to_rgb(&frame).ok_or_else(|| Error::Damaged {
        path: file.to_owned(),
        at_s: at.seconds(),
        cause: "its picture cannot be read".to_owned(),
    })?;
    Ok((still, frame.at, until))
}

fn draw_over<'a>(still: &mut Still, drawings: impl IntoIterator<Item = &'a Drawing>) -> Result<(), Error> {
    let whole = PictureRect::filling(still.width, still.height);
    for drawing in drawings {
        for tile in drawing_tiles(drawing, whole, (still.width, still.height))? {
            lay_over(still, &tile);
        }
    }
    Ok(())
}

fn to_rgb(frame: &Frame) -> Option<Still> {
    let picture = gst_video::VideoFrameRef::from_buffer_ref_readable(&frame.buffer, &frame.info).ok()?;
    let (width, height) = (picture.width(), picture.height());
    let stride = usize::try_from(picture.plane_stride()[0]).ok()?;
    let rows = picture.plane_data(0).ok()?.chunks(stride).take(height as usize);
    let pixels = rows.flat_map(|row| row.chunks_exact(4).take(width as usize));
    let rgb: Vec<u8> = pixels.flat_map(|it| [it[0], it[1], it[2]]).collect();
    (rgb.len() == 3 * width as usize * height as usize).then_some(Still { width, height, rgb })
}

/// Lays premultiplied colours over the picture.
fn lay_over(still: &mut Still, tile: &Tile) {
    let across = still.width as usize;
    for (row, line) in tile.argb.chunks_exact(4 * tile.width as usize).enumerate() {
        let begin = 3 * ((tile.y as usize + row) * across + tile.x as usize);
        let Some(under) = still.rgb.get_mut(begin..begin + 3 * tile.width as usize) else { return };
        for (under, over) in under.chunks_exact_mut(3).zip(line.chunks_exact(4)) {
            let word = u32::from_ne_bytes(over.try_into().expect("chunks of four bytes"));
            let [blue, green, red, alpha] = word.to_le_bytes();
            for (under, over) in under.iter_mut().zip([red, green, blue]) {
                let shines = (u16::from(*under) * u16::from(255 - alpha) + 127) / 255;
                *under = u8::try_from(u16::from(over) + shines).unwrap_or(u8::MAX);
            }
        }
    }
}
