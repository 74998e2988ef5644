//! A film being written: raw pictures and sound in, one file out.
//!
//! ```text
//! appsrc ─ queue ─ [encoder of the profile] ─┐
//!                                            muxer ─ filesink
//! appsrc ─ queue ─ audioconvert ─ [encoder] ─┘
//! ```
//!
//! Threads: GStreamer's own. We wait only in [`FilmWriter::make_room`] and [`FilmWriter::finish`], and both look at the
//! cancel token and at the bus meanwhile. Dropped early, the pipeline stops and its owner's file is thrown away.

use std::path::{Path, PathBuf};

use gstreamer as gst;
use gstreamer::prelude::*;
use gstreamer_app as gst_app;
use gstreamer_audio as gst_audio;
use gstreamer_video as gst_video;

use crate::job::Context;
use crate::media::encoders::{Profile, element};
use crate::media::error::Error;
use crate::media::sound::{CHANNELS, RATE_HZ};

/// Pictures that may wait for the encoder; each 1080p one is 3 MB.
const PICTURES_WAITING: u64 = 6;
/// Between two looks at the bus and the cancel token.
const PATIENCE: gst::ClockTime = gst::ClockTime::from_mseconds(2);

#[derive(Debug)]
pub(crate) struct FilmWriter {
    out: PathBuf,
    pipeline: gst::Pipeline,
    pictures: gst_app::AppSrc,
    sound: Option<gst_app::AppSrc>,
    /// Sample frames by which the encoder will bring sound too late: as many are left out at the beginning.
    sound_delay: usize,
}

/// What a film is made of.
#[derive(Debug)]
pub(crate) struct Film<'a> {
    pub(crate) profile: Profile,
    /// Form of the pictures, I420.
    pub(crate) picture: &'a gst_video::VideoInfo,
    pub(crate) rate: gst::Fraction,
    pub(crate) has_sound: bool,
    pub(crate) title: &'a str,
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
            setter.add_tag::<gst::tags::Title>(&film.title, gst::TagMergeMode::Replace);
        }

        let mut caps = film.picture.to_caps().map_err(refused)?;
        caps.make_mut().set("framerate", film.rate);
        let pictures = feed(&caps);
        let video_pad =
            branch(&pipeline, &pictures, film.profile.video_elements()?, &muxer, "video_%u").map_err(refused)?;
        film.profile.set_up_video_pad(&video_pad);

        let mut sound = None;
        if film.has_sound {
            let info = gst_audio::AudioInfo::builder(
                gst_audio::AudioFormat::F32le,
                RATE_HZ,
                u32::try_from(CHANNELS).expect("2 fits"),
            );
            let caps = info.build().and_then(|it| it.to_caps()).map_err(refused)?;
            let source = feed(&caps);
            let mut chain = vec![element("audioconvert", "gstreamer1.0-plugins-base")?];
            chain.extend(film.profile.audio_elements()?);
            branch(&pipeline, &source, chain, &muxer, "audio_%u").map_err(refused)?;
            sound = Some(source);
        }
        let writer =
            Self { out: out.to_owned(), pipeline, pictures, sound, sound_delay: film.profile.audio.delay_samples };
        writer.pipeline.set_state(gst::State::Playing).map_err(|_| {
            writer
                .trouble(gst::ClockTime::ZERO)
                .unwrap_or_else(|| writer.failed("the pipeline does not start".to_owned()))
        })?;
        Ok(writer)
    }

    /// Hands over one picture with its time and duration in the film, waiting until there is room.
    pub(crate) fn picture(
        &self,
        mut buffer: gst::Buffer,
        at_ns: u64,
        duration_ns: u64,
        context: &Context,
    ) -> Result<(), Error> {
        self.make_room(context)?;
        {
            let buffer = buffer.make_mut();
            buffer.set_pts(gst::ClockTime::from_nseconds(at_ns));
            buffer.set_dts(gst::ClockTime::NONE);
            buffer.set_duration(gst::ClockTime::from_nseconds(duration_ns));
            buffer.unset_flags(gst::BufferFlags::DISCONT);
        }
        self.pictures.push_buffer(buffer).map(|_| ()).map_err(|_| self.stopped())
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
            match bus.timed_pop_filtered(PATIENCE, &[gst::MessageType::Eos, gst::MessageType::Error]) {
                Some(message) if message.type_() == gst::MessageType::Eos => return Ok(()),
                Some(message) => return Err(self.error_of(&message)),
                None => {}
            }
        }
    }

    fn make_room(&self, context: &Context) -> Result<(), Error> {
        loop {
            context.check()?;
            let is_full = self.pictures.current_level_buffers() >= PICTURES_WAITING;
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
        let message = self.pipeline.bus()?.timed_pop_filtered(wait, &[gst::MessageType::Error])?;
        Some(self.error_of(&message))
    }

    fn error_of(&self, message: &gst::Message) -> Error {
        match message.view() {
            gst::MessageView::Error(error) => {
                self.failed(error.error().to_string().trim_end_matches('.').to_lowercase())
            }
            _ => self.failed("the encoder has stopped".to_owned()),
        }
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

/// An appsrc that never blocks its caller; how much waits is looked after by [`FilmWriter::make_room`].
fn feed(caps: &gst::Caps) -> gst_app::AppSrc {
    gst_app::AppSrc::builder().caps(caps).format(gst::Format::Time).block(false).max_bytes(0).build()
}

/// Adds source ─ queue ─ elements ─ muxer; gives the muxer's pad.
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
