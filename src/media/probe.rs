//! What a footage file is: streams, picture, clock, true length. Reads its head and its end, never decodes, and looks
//! at no position (GPS) data.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Datelike, TimeZone, Utc};
use gstreamer as gst;

use crate::media::created::movie_creation_time;
use crate::media::error::Error;
use crate::media::source::{Source, Stream, Which};
use crate::media::times::{Shown, Timed, Zero, first_packets, open_packets, shown_frames, shown_of};
use crate::session::{Note, NoteKind, Place, VideoTime};

/// The first year that a camera's clock can mean: the epochs of 1904 and 1970 stand for "not set".
const FIRST_YEAR: i32 = 1971;
/// How far from the declared end the search for the last frame begins: more than any usual key frame distance.
const END_MARGIN_NS: i64 = 12_000_000_000;
/// A declared length may differ from the true one by this much (rounding, a longer audio track) without a word.
const LENGTH_SLACK_NS: i64 = 1_000_000_000;

/// Frame rates that cameras record with (common practice, no source; NTSC rates by SMPTE ST 12-1), 1/s.
const USUAL_RATES_HZ: [f64; 11] = [
    24_000.0 / 1001.0,
    24.0,
    25.0,
    30_000.0 / 1001.0,
    30.0,
    50.0,
    60_000.0 / 1001.0,
    60.0,
    120_000.0 / 1001.0,
    120.0,
    240.0,
];
/// Measured over the first frames, a rate may be off by this share: two millisecond ticks in a second.
const RATE_ROUNDING: f64 = 2e-3;

/// How the stored picture has to be turned to be upright: the mirror first, then the turn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Orientation {
    /// Left and right exchanged.
    pub mirrored: bool,
    /// Clockwise: 0, 90, 180 or 270.
    pub turn_deg: u32,
}

impl Orientation {
    /// From GStreamer's `image-orientation` tag; an unknown text means upright.
    fn from_tag(text: &str) -> Self {
        let (mirrored, turn) = match text.strip_prefix("flip-rotate-") {
            Some(turn) => (true, turn),
            None => (false, text.strip_prefix("rotate-").unwrap_or("0")),
        };
        let turn_deg = turn.parse().ok().filter(|it| [0, 90, 180, 270].contains(it)).unwrap_or(0);
        Self { mirrored, turn_deg }
    }

    /// The name of this orientation as a `video-direction`.
    pub(crate) fn direction(self) -> &'static str {
        match (self.mirrored, self.turn_deg) {
            (false, 90) => "90r",
            (false, 180) => "180",
            (false, 270) => "90l",
            (true, 0) => "horiz",
            (true, 90) => "ur-ll",
            (true, 180) => "vert",
            (true, 270) => "ul-lr",
            _ => "identity",
        }
    }

    fn swaps_sides(self) -> bool {
        self.turn_deg % 180 == 90
    }
}

/// One footage file.
#[derive(Debug, Clone, PartialEq)]
pub struct Footage {
    pub file: PathBuf,
    /// Such as "H.264"; with several video streams, of the first, which is the one used.
    pub codec: String,
    pub video_streams: usize,
    /// Codec of the first audio stream.
    pub audio: Option<String>,
    /// Upright, in pixels.
    pub width_px: u32,
    pub height_px: u32,
    /// Width to height of one upright pixel.
    pub pixel_aspect: (u32, u32),
    pub orientation: Orientation,
    /// Frames per second by the usual step of the first frames, else as the container has it.
    pub rate_hz: Option<f64>,
    /// From the container; `None` where not set. Often local time passed off as UTC.
    pub created: Option<DateTime<Utc>>,
    /// Presentation time of the first shown frame.
    pub start: VideoTime,
    /// Where the last shown frame ends.
    pub end: VideoTime,
    /// What is odd about the file and yet no error.
    pub notes: Vec<Note>,
}

impl Footage {
    /// From presentation time 0 to the end of the last frame, s.
    pub fn duration_s(&self) -> f64 {
        self.end.seconds()
    }
}

/// Says what a footage file holds. Errors: see [`Error`]; a file that is cut off but usable carries a note.
pub fn probe(path: &Path) -> Result<Footage, Error> {
    let source = open_packets(path)?;
    let packets = first_packets(&source)?;
    let zero = Zero::of(&packets);
    let shown = shown_of(&packets, zero);
    let no_frames = || Error::NoFrames { path: path.to_owned() };
    let start = shown.first().ok_or_else(no_frames)?.at;
    let stream = source.stream(Which::Video).ok_or_else(no_frames)?.clone();
    let rate_hz = nominal_rate_hz(&shown, declared_rate_hz(&stream));
    let end = true_end(path, &source, zero, rate_hz)?;
    let (width_px, height_px, pixel_aspect, orientation) = upright_size(&stream).ok_or_else(no_frames)?;
    Ok(Footage {
        file: path.to_owned(),
        codec: stream.codec(),
        video_streams: source.streams.iter().filter(|it| it.is(Which::Video)).count(),
        audio: source.stream(Which::Audio).map(Stream::codec),
        width_px,
        height_px,
        pixel_aspect,
        orientation,
        rate_hz,
        created: creation_time(path, &source.streams),
        start,
        end,
        notes: length_note(path, source.declared_end_ns(), end).into_iter().collect(),
    })
}

/// Where the last frame ends. The container's word is taken only as the place to look: where no frame ends near it, the
/// whole file is read.
fn true_end(path: &Path, source: &Source, zero: Zero, rate_hz: Option<f64>) -> Result<VideoTime, Error> {
    let step_ns = rate_hz.map_or(0, |rate| VideoTime::from_seconds(1.0 / rate).0);
    let end_of = |frame: &Shown| VideoTime(frame.at.0 + frame.duration_ns.unwrap_or(step_ns));
    if let Some(declared_ns) = source.declared_end_ns() {
        let near_end = last_packets(source, (declared_ns - END_MARGIN_NS).max(0));
        let end = shown_of(&near_end, zero).last().map(end_of);
        if let Some(end) = end.filter(|it| (it.0 - declared_ns).abs() <= LENGTH_SLACK_NS) {
            return Ok(end);
        }
    }
    Ok(shown_frames(path)?.last().map(end_of).expect("shown_frames gives at least one"))
}

/// The packets from a stream time to the end; what cannot be reached is left out.
fn last_packets(source: &Source, from_stream_ns: i64) -> Vec<Timed> {
    let mut packets = Vec::new();
    if source.seek(from_stream_ns).is_ok() {
        while let Ok(Some(sample)) = source.pull() {
            packets.extend(Timed::of(&sample));
        }
    }
    packets
}

fn length_note(path: &Path, declared_ns: Option<i64>, end: VideoTime) -> Option<Note> {
    let declared = VideoTime(declared_ns?);
    if (declared.0 - end.0).abs() <= LENGTH_SLACK_NS {
        return None;
    }
    let sentence = format!(
        "its index says {:.1} s but its pictures end at {:.1} s; what is there is used",
        declared.seconds(),
        end.seconds()
    );
    Some(Note::new(NoteKind::Footage { sentence }).in_file(&path.display().to_string(), Place::Whole))
}

fn declared_rate_hz(stream: &Stream) -> Option<f64> {
    let rate = stream.caps.structure(0)?.get::<gst::Fraction>("framerate").ok()?;
    (rate.numer() > 0 && rate.denom() > 0).then(|| f64::from(rate.numer()) / f64::from(rate.denom()))
}

/// The rate by the usual step between frames, made exact by what the container declares or else by what is usual:
/// recorders round their steps to a tick of their clock. `declared` alone may be an average over pauses.
fn nominal_rate_hz(shown: &[Shown], declared: Option<f64>) -> Option<f64> {
    let mut steps: Vec<i64> = shown.windows(2).map(|pair| pair[1].at.0 - pair[0].at.0).collect();
    steps.sort_unstable();
    let Some(median) = steps.get(steps.len() / 2).copied() else { return declared };
    let usual_steps: Vec<f64> =
        steps.iter().filter(|it| (**it - median).abs() * 4 < median).map(|it| *it as f64).collect();
    let rate_hz = 1e9 * usual_steps.len() as f64 / usual_steps.iter().sum::<f64>();
    let exact = declared.into_iter().chain(USUAL_RATES_HZ).find(|it| (rate_hz / it - 1.0).abs() < RATE_ROUNDING);
    Some(exact.unwrap_or(rate_hz))
}

fn upright_size(stream: &Stream) -> Option<(u32, u32, (u32, u32), Orientation)> {
    let structure = stream.caps.structure(0)?;
    let pixels = |name| structure.get::<i32>(name).ok().and_then(|it| u32::try_from(it).ok()).filter(|it| *it > 0);
    let (width, height) = (pixels("width")?, pixels("height")?);
    let aspect = structure
        .get::<gst::Fraction>("pixel-aspect-ratio")
        .ok()
        .and_then(|it| Some((u32::try_from(it.numer()).ok()?, u32::try_from(it.denom()).ok()?)))
        .filter(|(numerator, denominator)| *numerator > 0 && *denominator > 0)
        .unwrap_or((1, 1));
    let orientation = orientation_of(stream);
    Some(match orientation.swaps_sides() {
        true => (height, width, (aspect.1, aspect.0), orientation),
        false => (width, height, aspect, orientation),
    })
}

pub(crate) fn orientation_of(stream: &Stream) -> Orientation {
    stream.tags().get::<gst::tags::ImageOrientation>().map(|it| Orientation::from_tag(it.get())).unwrap_or_default()
}

/// As the movie header has it, else as GStreamer reads other containers.
fn creation_time(path: &Path, streams: &[Stream]) -> Option<DateTime<Utc>> {
    let stamp = |stream: &Stream| {
        let tags = stream.tags();
        let stamp = tags.get::<gst::tags::DateTime>()?.get();
        if !stamp.has_time() {
            return None;
        }
        let at = stamp.to_utc().ok()?;
        let field = |value: Option<i32>| u32::try_from(value.unwrap_or(0)).ok();
        let whole = Utc
            .with_ymd_and_hms(
                at.year(),
                field(at.month())?,
                field(at.day())?,
                field(at.hour())?,
                field(at.minute())?,
                field(at.second())?,
            )
            .single()?;
        let fraction = chrono::TimeDelta::microseconds(at.microsecond().unwrap_or(0).into());
        Some(whole + fraction)
    };
    movie_creation_time(path).or_else(|| streams.iter().find_map(stamp)).filter(|it| it.year() >= FIRST_YEAR)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn orientation_tags_are_read() {
        assert_eq!(Orientation::from_tag("rotate-90"), Orientation { mirrored: false, turn_deg: 90 });
        assert_eq!(Orientation::from_tag("flip-rotate-270"), Orientation { mirrored: true, turn_deg: 270 });
        assert_eq!(Orientation::from_tag("rotate-45"), Orientation::default());
        assert_eq!(Orientation::from_tag("anything"), Orientation::default());
    }
}
