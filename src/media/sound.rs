//! Sound of a stretch of footage, as 48 kHz stereo samples that begin and end with the stretch to the sample.

use std::path::Path;

use gstreamer as gst;

use crate::media::encoders::element;
use crate::media::error::Error;
use crate::media::reader::decoder;
use crate::media::source::{Source, Stream, Which};
use crate::media::times::Timed;
use crate::session::VideoTime;

/// Samples per second and channel.
pub(crate) const RATE_HZ: u32 = 48_000;
pub(crate) const CHANNELS: usize = 2;
/// Read before the stretch, so that a decoder has started up when it begins, ns.
const RUN_UP_NS: i64 = 150_000_000;
/// A buffer whose stamp is this close to the end of the one before follows it: stamps are rounded to a clock tick.
const TICK_FRAMES: i64 = 96;
/// Sound fades over this time where it is cut, s: short enough not to be heard as a fade, long enough not to click
/// (common practice, no source).
const FADE_S: f64 = 0.008;

/// Reads the sound of `from..until`; where the file has none, silence. Interleaved, 2 values a frame.
pub(crate) fn read(path: &Path, from: VideoTime, until: VideoTime) -> Result<Vec<f32>, Error> {
    let mut sound = vec![0.0; CHANNELS * frames_of((until.0 - from.0) as f64 * 1e-9)];
    let path_for_errors = path.to_owned();
    let chain = move |stream: &Stream| sound_chain(&path_for_errors, stream);
    let source = Source::open(path, Which::Audio, Box::new(chain))?;
    source.seek((from.0 - RUN_UP_NS).max(0))?;
    let mut follows: Option<i64> = None;
    while let Some(sample) = source.pull()? {
        let (Some(timed), Some(buffer)) = (Timed::of(&sample), sample.buffer()) else { continue };
        let Ok(bytes) = buffer.map_readable() else { continue };
        let frame_bytes = 4 * CHANNELS;
        let stamped = frame_index(timed.stream_ns() - from.0);
        let begin = follows.filter(|it| (it - stamped).abs() <= TICK_FRAMES).unwrap_or(stamped);
        for (index, frame) in bytes.chunks_exact(frame_bytes).enumerate() {
            let Ok(at) = usize::try_from(begin + i64::try_from(index).unwrap_or(i64::MAX)) else { continue };
            let Some(target) = sound.get_mut(CHANNELS * at..CHANNELS * (at + 1)) else { break };
            for (value, bytes) in target.iter_mut().zip(frame.chunks_exact(4)) {
                *value = f32::from_le_bytes(bytes.try_into().expect("chunks of four bytes"));
            }
        }
        let end = begin + i64::try_from(bytes.len() / frame_bytes).unwrap_or(0);
        follows = Some(end);
        if end >= i64::try_from(sound.len() / CHANNELS).unwrap_or(i64::MAX) {
            break;
        }
    }
    Ok(sound)
}

/// Sample frames in a length of time, to the nearest.
pub(crate) fn frames_of(seconds: f64) -> usize {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped at 0; casts saturate")]
    {
        (seconds.max(0.0) * f64::from(RATE_HZ)).round() as usize
    }
}

fn frame_index(ns: i64) -> i64 {
    #[allow(clippy::cast_possible_truncation, reason = "rounded; casts saturate")]
    {
        (ns as f64 * 1e-9 * f64::from(RATE_HZ)).round() as i64
    }
}

fn sound_chain(path: &Path, stream: &Stream) -> Result<Vec<gst::Element>, Error> {
    use gst::prelude::*;
    let base = "gstreamer1.0-plugins-base";
    let is_raw = stream.caps.structure(0).is_some_and(|it| it.name() == "audio/x-raw");
    let mut chain = if is_raw { Vec::new() } else { vec![decoder(path, stream)?] };
    chain.extend([element("audioconvert", base)?, element("audioresample", base)?]);
    let filter = element("capsfilter", "libgstreamer1.0-0")?;
    let caps = gst::Caps::builder("audio/x-raw")
        .field("format", "F32LE")
        .field("layout", "interleaved")
        .field("rate", i32::try_from(RATE_HZ).expect("48000 fits"))
        .field("channels", i32::try_from(CHANNELS).expect("2 fits"))
        .build();
    filter.set_property("caps", caps);
    chain.push(filter);
    Ok(chain)
}

/// Fades the cut ends of a stretch in place.
pub(crate) fn fade(sound: &mut [f32], at_begin: bool, at_end: bool) {
    let frames = sound.len() / CHANNELS;
    let fade = frames_of(FADE_S).min(frames / 2);
    for index in 0..fade {
        #[allow(clippy::cast_possible_truncation, reason = "a share between 0 and 1")]
        let share = ((index as f64 + 0.5) / fade as f64) as f32;
        for channel in 0..CHANNELS {
            if at_begin {
                sound[CHANNELS * index + channel] *= share;
            }
            if at_end {
                sound[CHANNELS * (frames - 1 - index) + channel] *= share;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fades_touch_only_the_cut_ends() {
        let mut sound = vec![1.0f32; CHANNELS * 4800];
        fade(&mut sound, true, false);
        assert!(sound[0] < 0.01 && sound[CHANNELS * 400 - 1] <= 1.0);
        assert!(sound[CHANNELS * 400..].iter().all(|it| (*it - 1.0).abs() < f32::EPSILON));
        fade(&mut [], true, true);
    }

    #[test]
    fn lengths_are_whole_samples() {
        assert_eq!(frames_of(1.0), 48_000);
        assert_eq!(frames_of(-1.0), 0);
        assert_eq!(frames_of(1.0 / 30.0), 1600);
    }
}
