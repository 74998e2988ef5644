//! Decoded frames by presentation time: goes to the key frame before, decodes only what is needed, gives every frame
//! with its exact time, in the order shown. Holds two frames at most, so that a cache can be put in front.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};

use gstreamer as gst;
use gstreamer::prelude::*;
use gstreamer_pbutils as gst_pbutils;
use gstreamer_video as gst_video;

use crate::media::encoders::element;
use crate::media::error::Error;
use crate::media::probe::{Orientation, orientation_of};
use crate::media::source::{Source, Stream, Which};
use crate::media::times::{Timed, Zero, first_packets, open_packets};
use crate::session::VideoTime;

/// First step back, in ns, where a search has landed behind its target; doubled until it has not.
const STEP_BACK_NS: i64 = 1_000_000_000;

/// How frames are wanted: always upright, with square pixels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Picture {
    pub pixels: Pixels,
    /// Width and height, even; `None` leaves the size of the footage.
    pub size_px: Option<(u32, u32)>,
    /// A size of another shape is filled with the middle of the picture; else the whole of it stands between bars.
    pub is_cropped: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pixels {
    /// 8-bit 4:2:0 in three planes: what encoders take.
    I420,
    /// 8-bit RGBA: what screens and pictures take.
    Rgba,
    /// Brightness in the first plane, 8 bits, whatever else there is: as the decoder gives it, where it does.
    Luma,
}

/// One decoded frame.
#[derive(Debug, Clone)]
pub struct Frame {
    pub at: VideoTime,
    pub buffer: gst::Buffer,
    pub info: gst_video::VideoInfo,
}

/// A search for the frame on show at `at` that has been sent this far before it.
#[derive(Debug, Clone, Copy)]
struct Landing {
    at: VideoTime,
    back_ns: i64,
}

impl Landing {
    fn target(self) -> VideoTime {
        VideoTime((self.at.0 - self.back_ns).max(0))
    }
}

/// Reads one file's frames in the order shown.
#[derive(Debug)]
pub struct FrameReader {
    path: PathBuf,
    source: Source,
    zero: Zero,
    ahead: VecDeque<Frame>,
    /// Out of the pipeline already, not yet looked at.
    ready: Option<gst::Sample>,
    last_at: Option<VideoTime>,
    /// What is searched for, until the first frame that comes has been looked at.
    landing: Option<Landing>,
    /// Time of the frame, if any, that lies exactly where the segment of the last search begins.
    at_segment_start: Option<VideoTime>,
}

impl FrameReader {
    /// Opens a file before its first frame.
    pub fn open(path: &Path, picture: Picture) -> Result<Self, Error> {
        let (zero, orientation) = look_ahead(path)?;
        let path_for_errors = path.to_owned();
        let chain = move |stream: &Stream| picture_chain(&path_for_errors, stream, orientation, picture);
        let source = Source::open(path, Which::Video, Box::new(chain))?;
        Ok(Self {
            path: path.to_owned(),
            source,
            zero,
            ahead: VecDeque::new(),
            ready: None,
            last_at: None,
            landing: None,
            at_segment_start: None,
        })
    }

    /// Decodes the first frame of a file and lets go of it: whatever the system has to load for it is loaded then. A file
    /// that gives none is left for whoever wants its frames to tell of.
    pub fn warm_up(path: &Path, picture: Picture) {
        if let Ok(mut reader) = Self::open(path, picture) {
            let _ = reader.next_frame();
        }
    }

    /// Goes to the frame on show at `at`: the last one whose presentation time is not after it (the first frame, where
    /// `at` lies before it). [`FrameReader::next_frame`] gives it next.
    pub fn seek(&mut self, at: VideoTime) -> Result<(), Error> {
        self.begin_search(at)?;
        while self.next_time()?.is_some_and(|next| next <= at) {
            let Some(on_show) = self.ahead.pop_front() else { break };
            if self.next_time()?.is_none_or(|next| next > at) {
                self.ahead.push_front(on_show);
                break;
            }
        }
        Ok(())
    }

    /// Sends the decoder to a frame at or before the one on show at `at`, from which that can be decoded: the key frame
    /// before, or one near it. [`FrameReader::next_frame`] gives that frame next; whoever calls this decodes the frames
    /// between one by one, and may stop at any of them.
    pub fn begin_search(&mut self, at: VideoTime) -> Result<(), Error> {
        self.search(Landing { at, back_ns: 0 })
    }

    /// Whether the next frame is coming, after a search for which the decoder has to start up. False at the end and in
    /// error, too: that only [`FrameReader::next_frame`] tells.
    pub fn is_ready(&mut self) -> bool {
        if self.ready.is_none() {
            self.ready = self.source.pull_ready();
        }
        self.ready.is_some() || !self.ahead.is_empty()
    }

    fn search(&mut self, landing: Landing) -> Result<(), Error> {
        self.ahead.clear();
        // A sample that is held while the pipeline is told to seek gets in its way.
        self.ready = None;
        self.last_at = None;
        self.source.seek(self.zero.stream_ns(landing.target()))?;
        self.landing = Some(landing);
        Ok(())
    }

    /// Looks at where a search has landed, and searches farther before where it is behind its target.
    fn land(&mut self) -> Result<(), Error> {
        while let Some(landing) = self.landing.take() {
            let is_at_beginning = landing.target().0 == 0;
            let landed = self.first_sure_frame(is_at_beginning)?;
            if is_at_beginning || landed.as_ref().is_some_and(|frame| frame.at <= landing.at) {
                self.ahead.extend(landed);
            } else {
                self.search(Landing { back_ns: (2 * landing.back_ns).max(STEP_BACK_NS), ..landing })?;
            }
        }
        Ok(())
    }

    /// The next frame; `None` after the last one.
    pub fn next_frame(&mut self) -> Result<Option<Frame>, Error> {
        self.land()?;
        match self.ahead.pop_front() {
            Some(frame) => Ok(Some(frame)),
            None => self.decode(),
        }
    }

    /// When the frame after the one given last is shown; `None` at the end.
    pub fn next_time(&mut self) -> Result<Option<VideoTime>, Error> {
        self.land()?;
        if self.ahead.is_empty() {
            let decoded = self.decode()?;
            self.ahead.extend(decoded);
        }
        Ok(self.ahead.front().map(|frame| frame.at))
    }

    /// The first frame after a search whose time is its own: at the beginning of the file every one, elsewhere none
    /// that lies exactly where the search began, for a decoder moves a frame that began earlier there.
    fn first_sure_frame(&mut self, is_at_beginning: bool) -> Result<Option<Frame>, Error> {
        self.at_segment_start = None;
        let first = self.decode()?;
        let is_doubtful = first.as_ref().is_some_and(|frame| self.at_segment_start == Some(frame.at));
        if is_doubtful && !is_at_beginning { self.decode() } else { Ok(first) }
    }

    /// The next frame out of the decoder that is shown and later than the one before.
    fn decode(&mut self) -> Result<Option<Frame>, Error> {
        while let Some(sample) = self.pull()? {
            let Some(timed) = Timed::of(&sample) else { continue };
            let Some(at) = self.zero.presentation(timed) else { continue };
            if self.last_at.is_some_and(|last| at <= last) {
                continue;
            }
            self.last_at = Some(at);
            if timed.is_at_segment_start() {
                self.at_segment_start = Some(at);
            }
            return self.frame(at, &sample).map(Some);
        }
        Ok(None)
    }

    fn pull(&mut self) -> Result<Option<gst::Sample>, Error> {
        match self.ready.take() {
            Some(sample) => Ok(Some(sample)),
            None => self.source.pull(),
        }
    }

    fn frame(&self, at: VideoTime, sample: &gst::Sample) -> Result<Frame, Error> {
        let damaged = || Error::Damaged {
            path: self.path.clone(),
            at_s: at.seconds(),
            cause: "its pictures change their form".to_owned(),
        };
        let info = sample.caps().and_then(|it| gst_video::VideoInfo::from_caps(it).ok()).ok_or_else(damaged)?;
        Ok(Frame { at, buffer: sample.buffer_owned().ok_or_else(damaged)?, info })
    }
}

/// What has to be known of a file before it can be decoded as it is shown.
fn look_ahead(path: &Path) -> Result<(Zero, Orientation), Error> {
    let source = open_packets(path)?;
    let zero = Zero::of(&first_packets(&source)?);
    Ok((zero, source.stream(Which::Video).map(orientation_of).unwrap_or_default()))
}

/// decoder ─ videoconvert ─ videoscale ─ videoflip ─ caps; a picture that is to be cropped is so once it is upright. Each
/// passes frames on untouched where there is nothing to do.
fn picture_chain(
    path: &Path,
    stream: &Stream,
    orientation: Orientation,
    picture: Picture,
) -> Result<Vec<gst::Element>, Error> {
    let base = "gstreamer1.0-plugins-base";
    let convert = element("videoconvert", base)?;
    let scale = element("videoscale", base)?;
    for threaded in [&convert, &scale] {
        if threaded.find_property("n-threads").is_some() {
            threaded.set_property("n-threads", 2u32);
        }
    }
    let mut chain = vec![decoder(path, stream)?, convert];
    let flip = if orientation == Orientation::default() {
        None
    } else {
        let flip = element("videoflip", "gstreamer1.0-plugins-good")?;
        flip.set_property_from_str("video-direction", orientation.direction());
        Some(flip)
    };
    match picture.size_px.filter(|_| picture.is_cropped) {
        Some((width, height)) => {
            let crop = element("aspectratiocrop", "gstreamer1.0-plugins-good")?;
            let side = |pixels: u32| i32::try_from(pixels).unwrap_or(i32::MAX);
            crop.set_property("aspect-ratio", gst::Fraction::new(side(width), side(height)));
            chain.extend(flip);
            chain.extend([crop, scale]);
        }
        None => {
            chain.push(scale);
            chain.extend(flip);
        }
    }
    let formats = match picture.pixels {
        Pixels::I420 => gst::List::new(["I420"]),
        Pixels::Rgba => gst::List::new(["RGBA"]),
        Pixels::Luma => gst::List::new(["I420", "YV12", "NV12", "Y42B", "Y444", "GRAY8"]),
    };
    let mut caps = gst::Caps::builder("video/x-raw")
        .field("format", formats)
        .field("pixel-aspect-ratio", gst::Fraction::new(1, 1));
    if let Some((width, height)) = picture.size_px {
        let side = |pixels: u32| i32::try_from(pixels).unwrap_or(i32::MAX);
        caps = caps.field("width", side(width)).field("height", side(height));
    }
    let filter = element("capsfilter", "libgstreamer1.0-0")?;
    filter.set_property("caps", caps.build());
    chain.push(filter);
    Ok(chain)
}

/// The best software decoder for a stream: its frames are the same on every machine, and lie in ordinary memory.
pub(crate) fn decoder(path: &Path, stream: &Stream) -> Result<gst::Element, Error> {
    let mut factories: Vec<gst::ElementFactory> =
        gst::ElementFactory::factories_with_type(gst::ElementFactoryType::DECODER, gst::Rank::MARGINAL)
            .into_iter()
            .filter(|it| it.can_sink_any_caps(&stream.caps))
            .filter(|it| !it.metadata("klass").unwrap_or_default().contains("Hardware"))
            .collect();
    // One that takes these very caps comes before one that might, such as those for pictures with transparency.
    factories.sort_by_key(|it| std::cmp::Reverse((it.can_sink_all_caps(&stream.caps), it.rank())));
    factories.iter().find_map(|it| it.create().build().ok()).ok_or_else(|| Error::NoDecoder {
        path: path.to_owned(),
        codec: gst_pbutils::pb_utils_get_codec_description(&stream.caps).to_string(),
        package: "gstreamer1.0-libav".to_owned(),
    })
}
