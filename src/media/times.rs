//! Presentation times. Zero is where the container's own time line begins: an empty edit before the first frame counts
//! as time in which nothing is shown, frames before the beginning of an edit are not shown, and where an edit begins
//! inside a frame the first whole frame after it is shown from the edit's beginning. This is what FFmpeg's tools show.

use std::path::{Path, PathBuf};

use gstreamer as gst;

use crate::media::error::Error;
use crate::media::source::{Source, Stream, Which};
use crate::session::VideoTime;

/// Packets looked at for the first shown frame: frames are reordered over at most 16 (H.264 and H.265, `dpb` limits).
const REORDERED_AT_MOST: usize = 32;

/// One packet or frame on the container's time line, ns. Taken out of its sample at once: a sample that is held while
/// the pipeline is told to seek gets in its way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Timed {
    /// Time stamp in the stream, and where the segment (edit) that it belongs to begins.
    pts_ns: i64,
    segment_start_ns: i64,
    /// Presentation time by the container's segments, before [`Zero`] is taken off.
    stream_ns: i64,
    /// How long it is shown, as far as the container says, within its segment.
    pub(crate) duration_ns: Option<i64>,
    /// Decoded without any other frame.
    is_key: bool,
}

impl Timed {
    /// `None` without a time stamp or past the end of its segment.
    pub(crate) fn of(sample: &gst::Sample) -> Option<Self> {
        let segment = sample.segment()?.downcast_ref::<gst::ClockTime>()?;
        let buffer = sample.buffer()?;
        let ns = |time: gst::ClockTime| i64::try_from(time.nseconds()).ok();
        let pts_ns = ns(buffer.pts()?)?;
        let segment_start_ns = segment.start().and_then(ns).unwrap_or(0);
        let left_ns = segment.stop().and_then(ns).map_or(i64::MAX, |stop| stop - pts_ns);
        let time_ns = segment.time().and_then(ns).unwrap_or(0);
        (left_ns > 0).then(|| Self {
            pts_ns,
            segment_start_ns,
            stream_ns: time_ns + pts_ns - segment_start_ns,
            duration_ns: buffer.duration().and_then(ns).map(|it| it.min(left_ns)),
            is_key: !buffer.flags().contains(gst::BufferFlags::DELTA_UNIT),
        })
    }

    pub(crate) fn stream_ns(self) -> i64 {
        self.stream_ns
    }

    pub(crate) fn is_at_segment_start(self) -> bool {
        self.pts_ns == self.segment_start_ns
    }

    fn is_before_segment(self) -> bool {
        self.pts_ns < self.segment_start_ns
    }
}

/// How far the container's segments put the first shown frame too late, ns: not 0 only where an edit begins inside a
/// frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Zero(i64);

impl Zero {
    /// From the first packets of a file opened at its beginning.
    pub(crate) fn of(packets: &[Timed]) -> Self {
        let Some(edit_start_ns) = packets.iter().map(|it| it.segment_start_ns).find(|start| *start > 0) else {
            return Self(0);
        };
        let first_shown_ns = packets
            .iter()
            .filter(|it| it.segment_start_ns == edit_start_ns && !it.is_before_segment())
            .map(|it| it.pts_ns)
            .min();
        Self(first_shown_ns.map_or(0, |pts_ns| pts_ns - edit_start_ns))
    }

    /// `None` for a frame that is not shown.
    pub(crate) fn presentation(self, timed: Timed) -> Option<VideoTime> {
        let shown_ns = timed.stream_ns - self.0;
        (shown_ns >= 0 && !timed.is_before_segment()).then_some(VideoTime(shown_ns))
    }

    pub(crate) fn stream_ns(self, at: VideoTime) -> i64 {
        at.0 + self.0
    }

    /// The other way.
    pub(crate) fn of_stream(self, stream_ns: i64) -> VideoTime {
        VideoTime(stream_ns - self.0)
    }
}

/// A frame that the file shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Shown {
    pub(crate) at: VideoTime,
    pub(crate) duration_ns: Option<i64>,
    pub(crate) is_key: bool,
}

/// Opens a file for its packets alone: nothing is decoded.
pub(crate) fn open_packets(path: &Path) -> Result<Source, Error> {
    Source::open(path, Which::Video, Box::new(|_: &Stream| Ok(Vec::new())))
}

/// The first packets of a file, in the order stored.
pub(crate) fn first_packets(source: &Source) -> Result<Vec<Timed>, Error> {
    let mut packets = Vec::new();
    for _ in 0..REORDERED_AT_MOST {
        match source.pull()? {
            Some(sample) => packets.extend(Timed::of(&sample)),
            None => break,
        }
    }
    Ok(packets)
}

/// The frames among packets, in the order shown.
pub(crate) fn shown_of(packets: &[Timed], zero: Zero) -> Vec<Shown> {
    let shown =
        |it: &Timed| Some(Shown { at: zero.presentation(*it)?, duration_ns: it.duration_ns, is_key: it.is_key });
    let mut frames: Vec<Shown> = packets.iter().filter_map(shown).collect();
    frames.sort_unstable();
    frames.dedup_by_key(|it| it.at);
    frames
}

/// A file's packets being read from its beginning, some at a time.
#[derive(Debug)]
pub(crate) struct PacketReader {
    path: PathBuf,
    source: Source,
    packets: Vec<Timed>,
}

impl PacketReader {
    pub(crate) fn open(path: &Path) -> Result<Self, Error> {
        Ok(Self { path: path.to_owned(), source: open_packets(path)?, packets: Vec::new() })
    }

    /// Reads up to `count` packets; false at the end of the file.
    pub(crate) fn read(&mut self, count: usize) -> Result<bool, Error> {
        for _ in 0..count {
            match self.source.pull()? {
                Some(sample) => self.packets.extend(Timed::of(&sample)),
                None => return Ok(false),
            }
        }
        Ok(true)
    }

    /// The shown frames among what has been read, in the order shown, at least one.
    pub(crate) fn shown(&self) -> Result<Vec<Shown>, Error> {
        let first = &self.packets[..self.packets.len().min(REORDERED_AT_MOST)];
        let frames = shown_of(&self.packets, Zero::of(first));
        if frames.is_empty() { Err(Error::NoFrames { path: self.path.clone() }) } else { Ok(frames) }
    }
}

/// Every shown frame of a file in the order shown, at least one. Reads the whole file but decodes nothing.
pub(crate) fn shown_frames(path: &Path) -> Result<Vec<Shown>, Error> {
    let mut reader = PacketReader::open(path)?;
    while reader.read(usize::MAX)? {}
    reader.shown()
}

/// Presentation times of every shown frame, rising; at least one. Reads the whole file but decodes nothing.
/// A file that is cut off gives the frames that are there.
pub fn frame_times(path: &Path) -> Result<Vec<VideoTime>, Error> {
    Ok(shown_frames(path)?.into_iter().map(|it| it.at).collect())
}
