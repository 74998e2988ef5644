//! One footage file being read: a pipeline that ends in our hands, sample by sample.
//!
//! ```text
//! filesrc ─ parsebin ─┬ first video stream ─ [what the caller wants of it] ─ appsink
//!                     └ first audio stream ─ (the same; only one of the two is ever linked)
//! ```
//!
//! Threads: GStreamer's streaming threads fill the appsink, the caller's thread empties it; nothing else is shared.

use std::path::{Path, PathBuf};
use std::sync::mpsc;

use gstreamer as gst;
use gstreamer::prelude::*;
use gstreamer_app as gst_app;
use gstreamer_pbutils as gst_pbutils;

use crate::files;
use crate::media::encoders::element;
use crate::media::error::Error;

/// How long one wait for a sample lasts before the bus is looked at, so that an error never hangs.
const PATIENCE: gst::ClockTime = gst::ClockTime::from_mseconds(20);
/// Longest silence of a pipeline that is neither at its end nor in error, in waits of [`PATIENCE`].
const WAITS_AT_MOST: u32 = 500;
/// Samples that may lie decoded in the appsink before the pipeline waits for us.
const SAMPLES_AHEAD: u32 = 4;

/// Which stream of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Which {
    Video,
    Audio,
}

impl Which {
    fn caps_prefix(self) -> &'static str {
        match self {
            Self::Video => "video/",
            Self::Audio => "audio/",
        }
    }
}

/// One stream that the file was found to hold.
#[derive(Debug, Clone)]
pub(crate) struct Stream {
    pad: gst::Pad,
    pub(crate) caps: gst::Caps,
}

impl Stream {
    fn of(pad: &gst::Pad) -> Self {
        Self { pad: pad.clone(), caps: pad.current_caps().unwrap_or_else(|| pad.query_caps(None)) }
    }

    /// The tags that have come down the stream by now: all of the container's, once the file is open.
    pub(crate) fn tags(&self) -> gst::TagList {
        let mut tags = gst::TagList::new();
        for index in 0.. {
            let Some(event) = self.pad.sticky_event::<gst::event::Tag>(index) else { break };
            tags = tags.merge(event.tag(), gst::TagMergeMode::Append);
        }
        tags
    }

    /// The stream's kind as people know it, such as "H.264".
    pub(crate) fn codec(&self) -> String {
        gst_pbutils::pb_utils_get_codec_description(&self.caps).to_string()
    }

    pub(crate) fn is(&self, which: Which) -> bool {
        self.caps.structure(0).is_some_and(|it| it.name().starts_with(which.caps_prefix()))
    }
}

/// A stream that opening has found, and how linking it went where it is the one to be delivered.
type Exposed = (Stream, Option<Result<(), Error>>);

/// An open file, delivering samples of one stream in the order the pipeline gives them.
#[derive(Debug)]
pub(crate) struct Source {
    path: PathBuf,
    pipeline: gst::Pipeline,
    sink: gst_app::AppSink,
    pub(crate) streams: Vec<Stream>,
}

/// Builds what stands between the stream and the appsink, given the stream: elements in the order to link them.
pub(crate) type Chain = Box<dyn Fn(&Stream) -> Result<Vec<gst::Element>, Error> + Send + Sync>;

impl Source {
    /// Opens `path` at its beginning, paused with the first sample ready. The first stream of the kind is delivered.
    pub(crate) fn open(path: &Path, which: Which, chain: Chain) -> Result<Self, Error> {
        crate::media::init()?;
        refuse_unreadable(path)?;
        let pipeline = gst::Pipeline::new();
        let filesrc = element("filesrc", "libgstreamer1.0-0")?;
        filesrc.set_property("location", path);
        let parsebin = element("parsebin", "gstreamer1.0-plugins-base")?;
        let sink = gst_app::AppSink::builder().sync(false).max_buffers(SAMPLES_AHEAD).wait_on_eos(false).build();
        pipeline
            .add_many([&filesrc, &parsebin])
            .and_then(|()| filesrc.link(&parsebin))
            .expect("a file source fits a parser of anything");

        let (tell, exposed) = mpsc::channel();
        let (weak_pipeline, weak_sink) = (pipeline.downgrade(), sink.downgrade());
        let path_for_errors = path.to_owned();
        parsebin.connect_pad_added(move |_, pad| {
            let (Some(pipeline), Some(sink)) = (weak_pipeline.upgrade(), weak_sink.upgrade()) else { return };
            let stream = Stream::of(pad);
            let is_wanted = stream.is(which) && sink.parent().is_none();
            let linked = is_wanted.then(|| {
                let elements = chain(&stream)?;
                attach(&pipeline, pad, &elements, &sink, &path_for_errors)
            });
            // The receiver is gone only when opening has been given up.
            let _ = tell.send((stream, linked));
        });

        let mut source = Self { path: path.to_owned(), pipeline, sink, streams: Vec::new() };
        source.start(&exposed, which)?;
        Ok(source)
    }

    fn start(&mut self, exposed: &mpsc::Receiver<Exposed>, which: Which) -> Result<(), Error> {
        // A refusal here leaves its reason on the bus, which is looked at below.
        let _ = self.pipeline.set_state(gst::State::Paused);
        for _ in 0..WAITS_AT_MOST {
            if self.stream(which).is_none() {
                if let Ok((stream, linked)) = exposed.recv_timeout(PATIENCE.into()) {
                    linked.transpose()?;
                    self.streams.push(stream);
                    continue;
                }
            } else if self.is_prerolled() {
                // Nothing flows before every stream is exposed, so the first sample, gap or end completes the list.
                self.streams.extend(exposed.try_iter().map(|(stream, _)| stream));
                return self.play(which);
            }
            if self.trouble().is_some() {
                break;
            }
        }
        // On a busy machine a stream may be told of after the trouble.
        self.streams.extend(exposed.recv_timeout(PATIENCE.into()).ok().into_iter().map(|(stream, _)| stream));
        self.streams.extend(exposed.try_iter().map(|(stream, _)| stream));
        Err(match self.stream(which) {
            // With nothing linked the pipeline stops too; what it found is the better story.
            None if !self.streams.is_empty() => self.stream_missing(which),
            _ => self.refusal(which),
        })
    }

    fn is_prerolled(&self) -> bool {
        matches!(self.pipeline.state(PATIENCE), (Ok(gst::StateChangeSuccess::Success), gst::State::Paused, _))
    }

    fn play(&self, which: Which) -> Result<(), Error> {
        self.pipeline.set_state(gst::State::Playing).map(|_| ()).map_err(|_| self.refusal(which))
    }

    /// The first stream of the kind, which is the one delivered.
    pub(crate) fn stream(&self, which: Which) -> Option<&Stream> {
        self.streams.iter().find(|it| it.is(which))
    }

    /// What the container says its length is, in nanoseconds of stream time. It may lie.
    pub(crate) fn declared_end_ns(&self) -> Option<i64> {
        let duration = self.pipeline.query_duration::<gst::ClockTime>()?;
        i64::try_from(duration.nseconds()).ok()
    }

    /// The next sample; `None` at the end of the stream.
    pub(crate) fn pull(&self) -> Result<Option<gst::Sample>, Error> {
        for _ in 0..WAITS_AT_MOST {
            if let Some(sample) = self.sink.try_pull_sample(PATIENCE) {
                return Ok(Some(sample));
            }
            if let Some(trouble) = self.trouble() {
                return Err(self.damaged(trouble));
            }
            if self.sink.is_eos() {
                return Ok(None);
            }
        }
        Err(self.damaged("no picture comes any more".to_owned()))
    }

    /// The next sample, if it lies ready. Tells nothing of errors.
    pub(crate) fn pull_ready(&self) -> Option<gst::Sample> {
        self.sink.try_pull_sample(gst::ClockTime::ZERO)
    }

    /// Goes to the last key frame at or before a stream time (nanoseconds); samples follow from there.
    pub(crate) fn seek(&self, stream_ns: i64) -> Result<(), Error> {
        let flags = gst::SeekFlags::FLUSH | gst::SeekFlags::KEY_UNIT | gst::SeekFlags::SNAP_BEFORE;
        let to = gst::ClockTime::from_nseconds(u64::try_from(stream_ns).unwrap_or(0));
        self.pipeline.seek_simple(flags, to).map_err(|_| self.damaged("it cannot be searched".to_owned()))
    }

    /// The first error on the bus, in the words of GStreamer.
    fn trouble(&self) -> Option<String> {
        first_error(&self.pipeline, gst::ClockTime::ZERO)
    }

    fn damaged(&self, cause: String) -> Error {
        let at = self.pipeline.query_position::<gst::ClockTime>().unwrap_or_default();
        Error::Damaged { path: self.path.clone(), at_s: at.nseconds() as f64 * 1e-9, cause }
    }

    fn stream_missing(&self, which: Which) -> Error {
        let found: Vec<String> = self.streams.iter().map(Stream::codec).collect();
        let (path, found) = (self.path.clone(), found.join(" and "));
        match which {
            Which::Video => Error::NoVideoStream { path, found },
            Which::Audio => Error::NoSoundStream { path, found },
        }
    }

    /// Why a file could not even be opened: a movie file without its index was cut off, anything else is none at all.
    fn refusal(&self, which: Which) -> Error {
        let path = self.path.clone();
        let head = files::read_head(&path, 12).unwrap_or_default();
        let is_movie = matches!(head.get(4..8), Some(b"ftyp" | b"moov" | b"mdat" | b"wide" | b"free"));
        let is_matroska = head.starts_with(&[0x1a, 0x45, 0xdf, 0xa3]);
        match which {
            _ if is_movie || is_matroska => Error::CutOff { path },
            Which::Video => Error::NotVideo { path },
            Which::Audio => Error::NotSound { path },
        }
    }
}

impl Drop for Source {
    fn drop(&mut self) {
        // Joins the streaming threads; there is nobody left to tell of a failure.
        let _ = self.pipeline.set_state(gst::State::Null);
    }
}

fn refuse_unreadable(path: &Path) -> Result<(), Error> {
    if files::read_head(path, 1)?.is_empty() {
        return Err(Error::Empty { path: path.to_owned() });
    }
    Ok(())
}

/// Adds the elements to the running pipeline and links pad → elements → sink.
fn attach(
    pipeline: &gst::Pipeline,
    pad: &gst::Pad,
    elements: &[gst::Element],
    sink: &gst_app::AppSink,
    path: &Path,
) -> Result<(), Error> {
    let chain: Vec<&gst::Element> = elements.iter().chain(std::iter::once(sink.upcast_ref())).collect();
    let refused = |_| Error::Damaged {
        path: path.to_owned(),
        at_s: 0.0,
        cause: "its pictures are of a form that no installed element takes".to_owned(),
    };
    pipeline.add_many(&chain).map_err(refused)?;
    gst::Element::link_many(&chain).map_err(refused)?;
    let first = chain[0].static_pad("sink").expect("every element that takes a stream has a sink pad");
    pad.link(&first).map_err(|_| refused(gst::glib::bool_error!("pad")))?;
    // From the end to the beginning, so that data never meets an element that is not ready.
    for element in chain.iter().rev() {
        element.sync_state_with_parent().map_err(refused)?;
    }
    Ok(())
}

/// The first error on a pipeline's bus, in the words of GStreamer. Waits at most that long for a message, and passes over all others.
pub(crate) fn first_error(pipeline: &gst::Pipeline, wait: gst::ClockTime) -> Option<String> {
    let bus = pipeline.bus()?;
    let mut message = bus.timed_pop(wait)?;
    loop {
        match message.view() {
            gst::MessageView::Error(error) => return Some(plain_words(&error.error().to_string())),
            _ => message = bus.pop()?,
        }
    }
}

/// The first error or warning on a pipeline's bus, in the words of GStreamer; all other messages are passed over.
pub(crate) fn first_trouble(pipeline: &gst::Pipeline) -> Option<String> {
    let bus = pipeline.bus()?;
    let words = std::iter::from_fn(|| bus.pop()).find_map(|message| match message.view() {
        gst::MessageView::Error(error) => Some(error.error().to_string()),
        gst::MessageView::Warning(warning) => Some(warning.error().to_string()),
        _ => None,
    });
    words.map(|it| plain_words(&it))
}

/// GStreamer ends its sentences with a full stop; ours go on.
pub(crate) fn plain_words(message: &str) -> String {
    message.trim().trim_end_matches('.').to_lowercase()
}
