//! A film being written: encoded pictures and raw sound in, one file out.
//!
//! ```text
//! appsrc ──────────────────────────── muxer ─ filesink
//! appsrc ─ audioconvert ─ [encoder] ──┘
//! ```
//!
//! Threads: GStreamer's own. We wait only in [`FilmWriter::packet`] and [`FilmWriter::finish`], and both look at the
//! cancel token and at the bus meanwhile. Dropped early, the pipeline stops and its owner's file is thrown away.

use std::path::{Path, PathBuf};

use gstreamer as gst;
use gstreamer::prelude::*;
use gstreamer_app as gst_app;
use gstreamer_audio as gst_audio;

use crate::job::Context;
use crate::media::encoders::{Profile, element};
use crate::media::error::Error;
use crate::media::sound::{CHANNELS, RATE_HZ};
use crate::media::source::{first_error, plain_words};
use crate::reel::FilmChapter;
use crate::session::VideoTime;

/// Encoded bytes that may wait for the disk.
const BYTES_WAITING: u64 = 8 << 20;
/// Letters of a title at most.
const TITLE_AT_MOST: usize = 500;
/// Between two looks at the bus and the cancel token.
const PATIENCE: gst::ClockTime = gst::ClockTime::from_mseconds(2);

#[derive(Debug)]
pub(crate) struct FilmWriter {
    out: PathBuf,
    pipeline: gst::Pipeline,
    pictures: gst_app::AppSrc,
    /// Form of the packets, from the first one on.
    packets: Option<gst::Caps>,
    sound: Option<gst_app::AppSrc>,
    /// Sample frames by which the encoder will bring sound too late: as many are left out at the beginning.
    sound_delay: usize,
}

/// What a film is made of.
#[derive(Debug)]
pub(crate) struct Film<'a> {
    pub(crate) profile: Profile,
    pub(crate) has_sound: bool,
    pub(crate) title: &'a str,
    pub(crate) chapters: &'a [FilmChapter],
}

impl FilmWriter {
    /// `path` is where the bytes go; `out` is the name for people.
    pub(crate) fn new(path: &Path, out: &Path, film: &Film<'_>) -> Result<Self, Error> {
        let pipeline = gst::Pipeline::new();
        let muxer = film.profile.muxer()?;
        let sink = element("filesink", "libgstreamer1.0-0")?;
        sink.set_property("location", path);
        let refused = |_| Error::Render { path: out.to_owned(), cause: "its parts do not fit together".to_owned() };
        pipeline.add_many([&muxer, &sink]).and_then(|()| muxer.link(&sink)).map_err(refused)?;
        if let Some(setter) = muxer.dynamic_cast_ref::<gst::TagSetter>() {
            setter.add_tag::<gst::tags::Title>(&plain(film.title).as_str(), gst::TagMergeMode::Replace);
        }

        set_chapters(&muxer, film.chapters);
        let pictures = feed(None);
        let video_pad = branch(&pipeline, &pictures, Vec::new(), &muxer, "video_%u").map_err(refused)?;
        film.profile.set_up_video_pad(&video_pad);

        let mut sound = None;
        if film.has_sound {
            let info = gst_audio::AudioInfo::builder(
                gst_audio::AudioFormat::F32le,
                RATE_HZ,
                u32::try_from(CHANNELS).expect("2 fits"),
            );
            let caps = info.build().and_then(|it| it.to_caps()).map_err(refused)?;
            let source = feed(Some(&caps));
            let mut chain = vec![element("audioconvert", "gstreamer1.0-plugins-base")?];
            chain.extend(film.profile.audio_elements()?);
            branch(&pipeline, &source, chain, &muxer, "audio_%u").map_err(refused)?;
            sound = Some(source);
        }
        let sound_delay = film.profile.audio.delay_samples;
        let writer = Self { out: out.to_owned(), pipeline, pictures, packets: None, sound, sound_delay };
        writer.pipeline.set_state(gst::State::Playing).map_err(|_| {
            writer
                .trouble(gst::ClockTime::ZERO)
                .unwrap_or_else(|| writer.failed("the pipeline does not start".to_owned()))
        })?;
        Ok(writer)
    }

    /// Hands over one encoded picture, waiting until there is room; gives its time in the film, ns. Packets of different
    /// encoders follow each other only where their form is the same.
    pub(crate) fn packet(&mut self, sample: &gst::Sample, context: &Context) -> Result<u64, Error> {
        self.make_room(context)?;
        let (Some(caps), Some(buffer)) = (sample.caps(), sample.buffer_owned()) else { return Ok(0) };
        match &self.packets {
            Some(first) if first.as_ref() == caps => {}
            Some(_) => return Err(self.failed("the clips' pictures are of different kinds".to_owned())),
            None => {
                self.pictures.set_caps(Some(&caps.to_owned()));
                self.packets = Some(caps.to_owned());
            }
        }
        let buffer = in_film_time(buffer, sample);
        let at_ns = buffer.pts().map_or(0, gst::ClockTime::nseconds);
        self.pictures.push_buffer(buffer).map(|_| at_ns).map_err(|_| self.stopped())
    }

    /// Hands over sound: interleaved values from sample frame `at_frame` of the film. Never waits.
    pub(crate) fn sound(&self, values: &[f32], at_frame: usize) -> Result<(), Error> {
        let Some(source) = &self.sound else { return Ok(()) };
        let left_out = self.sound_delay.saturating_sub(at_frame).min(values.len() / CHANNELS);
        let values = &values[CHANNELS * left_out..];
        let at_frame = (at_frame + left_out).saturating_sub(self.sound_delay);
        let bytes: Vec<u8> = values.iter().flat_map(|it| it.to_le_bytes()).collect();
        let mut buffer = gst::Buffer::from_slice(bytes);
        {
            let ns = |frames: usize| gst::ClockTime::from_nseconds(frames as u64 * 1_000_000_000 / u64::from(RATE_HZ));
            let buffer = buffer.get_mut().expect("a buffer just made has one owner");
            buffer.set_pts(ns(at_frame));
            let frames = values.len() / CHANNELS;
            buffer.set_duration(ns(at_frame + frames) - ns(at_frame));
        }
        source.push_buffer(buffer).map(|_| ()).map_err(|_| self.stopped())
    }

    /// Waits until everything is in the file.
    pub(crate) fn finish(self, context: &Context) -> Result<(), Error> {
        let ended =
            self.pictures.end_of_stream().is_ok() && self.sound.as_ref().is_none_or(|it| it.end_of_stream().is_ok());
        if !ended {
            return Err(self.stopped());
        }
        let bus = self.pipeline.bus().expect("every pipeline has a bus");
        loop {
            context.check()?;
            let Some(message) = bus.timed_pop(PATIENCE) else { continue };
            match message.view() {
                gst::MessageView::Eos(_) => return Ok(()),
                gst::MessageView::Error(it) => return Err(self.failed(plain_words(&it.error().to_string()))),
                _ => {}
            }
        }
    }

    fn make_room(&self, context: &Context) -> Result<(), Error> {
        loop {
            context.check()?;
            let is_full = self.pictures.current_level_bytes() >= BYTES_WAITING;
            if let Some(error) = self.trouble(if is_full { PATIENCE } else { gst::ClockTime::ZERO }) {
                return Err(error);
            }
            if !is_full {
                return Ok(());
            }
        }
    }

    fn stopped(&self) -> Error {
        self.trouble(gst::ClockTime::ZERO).unwrap_or_else(|| self.failed("the encoder has stopped".to_owned()))
    }

    /// The first error on the bus, waiting for one at most that long.
    fn trouble(&self, wait: gst::ClockTime) -> Option<Error> {
        first_error(&self.pipeline, wait).map(|cause| self.failed(cause))
    }

    fn failed(&self, cause: String) -> Error {
        Error::Render { path: self.out.clone(), cause }
    }
}

impl Drop for FilmWriter {
    fn drop(&mut self) {
        // Joins the streaming threads; there is nobody left to tell of a failure.
        let _ = self.pipeline.set_state(gst::State::Null);
    }
}

/// An encoder may count from a time of its own; what its segment says is the film's.
fn in_film_time(mut buffer: gst::Buffer, sample: &gst::Sample) -> gst::Buffer {
    let Some(segment) = sample.segment().and_then(|it| it.downcast_ref::<gst::ClockTime>()) else { return buffer };
    let (pts, dts) = (segment.to_running_time(buffer.pts()), segment.to_running_time(buffer.dts()));
    let stamped = buffer.make_mut();
    stamped.set_pts(pts);
    stamped.set_dts(dts.or(pts));
    buffer
}

/// A title without the letters that containers and their players stumble over; line breaks become spaces.
pub(crate) fn plain(title: &str) -> String {
    let spaced = title.chars().map(|it| if it.is_whitespace() { ' ' } else { it });
    spaced.filter(|it| !it.is_control()).take(TITLE_AT_MOST).collect()
}

/// Chapters of a container whose muxer has them.
fn set_chapters(muxer: &gst::Element, chapters: &[FilmChapter]) {
    let Some(setter) = muxer.dynamic_cast_ref::<gst::TocSetter>().filter(|_| !chapters.is_empty()) else { return };
    let mut toc = gst::Toc::new(gst::TocScope::Global);
    let mut edition = gst::TocEntry::new(gst::TocEntryType::Edition, "edition");
    for (index, chapter) in chapters.iter().enumerate() {
        let mut entry = gst::TocEntry::new(gst::TocEntryType::Chapter, &format!("chapter{index}"));
        let mut tags = gst::TagList::new();
        let (from, until) = (VideoTime::from_seconds(chapter.from_s).0, VideoTime::from_seconds(chapter.until_s).0);
        if let (Some(entry), Some(tags)) = (entry.get_mut(), tags.get_mut()) {
            tags.add::<gst::tags::Title>(&plain(&chapter.title).as_str(), gst::TagMergeMode::Replace);
            entry.set_start_stop_times(from, until);
            entry.set_tags(tags.to_owned());
        }
        if let Some(edition) = edition.get_mut() {
            edition.append_sub_entry(entry);
        }
    }
    if let Some(toc) = toc.get_mut() {
        toc.append_entry(edition);
    }
    setter.set_toc(Some(&toc));
}

/// An appsrc that never blocks its caller, who looks after how much waits.
pub(crate) fn feed(caps: Option<&gst::Caps>) -> gst_app::AppSrc {
    let source = gst_app::AppSrc::builder().format(gst::Format::Time).block(false).max_bytes(0).build();
    source.set_caps(caps);
    source
}

/// Adds source ─ elements ─ muxer; gives the muxer's pad.
fn branch(
    pipeline: &gst::Pipeline,
    source: &gst_app::AppSrc,
    elements: Vec<gst::Element>,
    muxer: &gst::Element,
    pad_template: &str,
) -> Result<gst::Pad, gst::glib::BoolError> {
    let mut chain: Vec<gst::Element> = vec![source.clone().upcast()];
    chain.extend(elements);
    pipeline.add_many(&chain)?;
    gst::Element::link_many(&chain)?;
    let pad = muxer
        .request_pad_simple(pad_template)
        .ok_or_else(|| gst::glib::bool_error!("the muxer has no pad {}", pad_template))?;
    let last =
        chain.last().and_then(|it| it.static_pad("src")).ok_or_else(|| gst::glib::bool_error!("no source pad"))?;
    last.link(&pad).map_err(|_| gst::glib::bool_error!("the muxer does not take this stream"))?;
    Ok(pad)
}
