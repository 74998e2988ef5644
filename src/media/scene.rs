//! What a film shows of one clip: one picture, or two with the strip below, at any moment of the cut list. Gives whole
//! pictures of the film's size.

use std::collections::BTreeMap;
use std::path::PathBuf;

use gstreamer as gst;
use gstreamer_video as gst_video;
use gstreamer_video::prelude::*;

use crate::draw::{Arrangement, Blocks, StripPainter};
use crate::media::blend::{Matrix, Sticker};
use crate::media::error::Error;
use crate::media::probe::Footage;
use crate::media::show::{Fill, Show, Showing};
use crate::reel::{Beside, BesideLayout, ClipPlan, Cut};
use crate::session::VideoTime;

/// Luma and colour differences of the ground between pictures: black in the usual range of video.
const BLACK: [u8; 3] = [16, 128, 128];

/// The rim of an inset is two of this part of its width.
const RIM_SHARE: u32 = 240;

/// One clip in the making.
#[derive(Debug)]
pub(crate) struct Scene<'a> {
    plan: &'a ClipPlan,
    show: Show<'a>,
    second: Option<Second<'a>>,
}

#[derive(Debug)]
struct Second<'a> {
    beside: &'a Beside,
    arrangement: Arrangement,
    show: Show<'a>,
    strip: StripPainter,
    sticker: Option<Sticker>,
}

impl<'a> Scene<'a> {
    /// `fill`: of the film. `arrangement`: of a film that shows two pictures; a clip without a second fills it alone.
    pub(crate) fn new(
        plan: &'a ClipPlan,
        fill: Fill,
        arrangement: Option<Arrangement>,
        footage: &BTreeMap<PathBuf, Footage>,
    ) -> Self {
        let of = |plan: &'a ClipPlan, side: (u32, u32, u32, u32), blocks: Blocks| {
            Show::new(plan, Fill { size_px: (side.2, side.3), ..fill }, blocks, &footage_of(plan, footage))
        };
        let Some((beside, arrangement)) = plan.beside.as_deref().zip(arrangement) else {
            return Self { plan, show: Show::new(plan, fill, Blocks::All, &footage_of(plan, footage)), second: None };
        };
        let strip = StripPainter::new(&arrangement);
        // The strip tells laps and speeds; an inset is too small for more.
        let (first, second) = match beside.layout {
            BesideLayout::Inset => (Blocks::All, Blocks::None),
            BesideLayout::Beside | BesideLayout::Stacked => (Blocks::WithoutCaption, Blocks::WithoutCaption),
        };
        let show = of(&beside.plan, arrangement.second, second);
        let second = Second { beside, arrangement, show, strip, sticker: None };
        Self { plan, show: of(plan, arrangement.first, first), second: Some(second) }
    }

    pub(crate) fn go_to(&mut self, chapter: usize, at: VideoTime) -> Result<&mut Showing, Error> {
        self.show.go_to(chapter, at)
    }

    pub(crate) fn step(&mut self) -> Result<(), Error> {
        self.show.step()
    }

    pub(crate) fn go_on_to(&mut self, at: VideoTime) {
        self.show.go_on_to(at);
    }

    /// The form of its pictures.
    pub(crate) fn form(&mut self) -> Result<gst_video::VideoInfo, Error> {
        let first = self.plan.cuts[0];
        let info = self.show.go_to(first.chapter(), first.from())?.frame.info.clone();
        match &self.second {
            None => Ok(info),
            Some(second) => second.form(&info).map_err(|cause| self.failed(&cause)),
        }
    }

    /// The picture on show.
    pub(crate) fn picture(&mut self) -> Result<gst::Buffer, Error> {
        let (first, info) = self.show.picture()?;
        let Some(second) = &mut self.second else { return Ok(first) };
        let here_s = self.show.log_time_s();
        let (chapter, at) = second.beside.frame_at(here_s);
        second.show.go_to(chapter, at)?;
        let (other, other_info) = second.show.picture()?;
        let composed = second.compose((&first, &info), (&other, &other_info), here_s);
        composed.map_err(|trouble| match trouble {
            Trouble::Frame(cause) => self.failed(&cause),
            Trouble::Draw(error) => error.into(),
        })
    }

    fn failed(&self, cause: &gst::glib::BoolError) -> Error {
        Error::Render { path: self.plan.chapters[0].file.clone(), cause: cause.to_string() }
    }
}

/// Why two pictures could not be put together.
enum Trouble {
    Frame(gst::glib::BoolError),
    Draw(crate::draw::Error),
}

impl From<gst::glib::BoolError> for Trouble {
    fn from(cause: gst::glib::BoolError) -> Self {
        Self::Frame(cause)
    }
}

impl From<crate::draw::Error> for Trouble {
    fn from(error: crate::draw::Error) -> Self {
        Self::Draw(error)
    }
}

impl Second<'_> {
    fn form(&self, info: &gst_video::VideoInfo) -> Result<gst_video::VideoInfo, gst::glib::BoolError> {
        let (width, height) = self.arrangement.size_px;
        let form = gst_video::VideoInfo::builder(info.format(), width, height);
        form.par(info.par()).fps(info.fps()).colorimetry(&info.colorimetry()).chroma_site(info.chroma_site()).build()
    }

    fn compose(
        &mut self,
        first: (&gst::Buffer, &gst_video::VideoInfo),
        other: (&gst::Buffer, &gst_video::VideoInfo),
        here_s: f64,
    ) -> Result<gst::Buffer, Trouble> {
        let form = self.form(first.1)?;
        let mut buffer = gst::Buffer::with_size(form.size())?;
        let writable = buffer.get_mut().expect("a buffer just made has one owner");
        let mut picture = gst_video::VideoFrameRef::from_buffer_ref_writable(writable, &form)?;
        for (plane, value) in (0..).zip(BLACK) {
            picture.plane_data_mut(plane)?.fill(value);
        }
        for ((buffer, info), place, is_framed) in [
            (first, self.arrangement.first, false),
            (other, self.arrangement.second, self.beside.layout == BesideLayout::Inset),
        ] {
            let source = gst_video::VideoFrameRef::from_buffer_ref_readable(buffer, info)?;
            if is_framed {
                frame(&mut picture, place)?;
            }
            copy(&source, &mut picture, (place.0 as usize, place.1 as usize))?;
        }
        let matrix = Matrix::of(&form);
        let tile = self.strip.tile(self.beside.words(here_s))?;
        if !self.sticker.as_ref().is_some_and(|it| it.is_of(tile)) {
            self.sticker = Some(Sticker::new(tile, matrix));
        }
        if let Some(sticker) = &self.sticker {
            sticker.blend(&mut picture);
        }
        drop(picture);
        Ok(buffer)
    }
}

/// Darkens a place and a rim around it, so that a picture laid there stands out from what is alike around it.
fn frame(
    target: &mut gst_video::VideoFrameRef<&mut gst::BufferRef>,
    (left, top, width, height): (u32, u32, u32, u32),
) -> Result<(), gst::glib::BoolError> {
    let rim = (width / RIM_SHARE * 2).max(2);
    for (plane, shift, value) in [(0, 0, BLACK[0]), (1, 1, BLACK[1]), (2, 1, BLACK[2])] {
        let stride = usize::try_from(target.plane_stride()[plane]).unwrap_or(0).max(1);
        let of = |side: u32| (side >> shift) as usize;
        let (from, until) = (of(left.saturating_sub(rim)), of(left + width + rim));
        let index = u32::try_from(plane).expect("an index below three");
        let rows = target.plane_data_mut(index)?.chunks_mut(stride).skip(of(top.saturating_sub(rim)));
        for row in rows.take(of(height + rim + top.min(rim))) {
            if let Some(row) = row.get_mut(from..until) {
                row.fill(value);
            }
        }
    }
    Ok(())
}

/// Copies an I420 picture to an even place in a larger one.
fn copy(
    source: &gst_video::VideoFrameRef<&gst::BufferRef>,
    target: &mut gst_video::VideoFrameRef<&mut gst::BufferRef>,
    (left, top): (usize, usize),
) -> Result<(), gst::glib::BoolError> {
    for (plane, shift) in [(0, 0), (1, 1), (2, 1)] {
        let (width, height) = (source.width() as usize >> shift, source.height() as usize >> shift);
        let stride = |it: i32| usize::try_from(it).unwrap_or(0);
        let (from_stride, to_stride) = (stride(source.plane_stride()[plane]), stride(target.plane_stride()[plane]));
        let index = u32::try_from(plane).expect("an index below three");
        let from = source.plane_data(index)?;
        let to = target.plane_data_mut(index)?;
        let begin = (top >> shift) * to_stride + (left >> shift);
        let (Some(to), true) = (to.get_mut(begin..), from_stride > 0 && to_stride > 0) else { continue };
        for (from, to) in from.chunks(from_stride).zip(to.chunks_mut(to_stride)).take(height) {
            if let (Some(from), Some(to)) = (from.get(..width), to.get_mut(..width)) {
                to.copy_from_slice(from);
            }
        }
    }
    Ok(())
}

/// What each chapter of a clip that the film uses is, by its index.
fn footage_of<'f>(plan: &ClipPlan, footage: &'f BTreeMap<PathBuf, Footage>) -> BTreeMap<usize, &'f Footage> {
    let chapters = plan.cuts.iter().map(Cut::chapter);
    chapters.filter_map(|it| Some((it, footage.get(&plan.chapters[it].file)?))).collect()
}
