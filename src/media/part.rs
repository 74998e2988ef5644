//! A part of a film being encoded: raw pictures in, encoded packets out, so that several parts can be made at once and
//! joined without encoding anything twice.
//!
//! ```text
//! appsrc ─ [encoder of the profile] ─ appsink
//! ```
//!
//! Threads: GStreamer's own. We wait only in [`PartEncoder::picture`] and [`PartEncoder::finish`], and both look at the
//! cancel token and at the bus meanwhile.

use std::path::{Path, PathBuf};

use gstreamer as gst;
use gstreamer::prelude::*;
use gstreamer_app as gst_app;
use gstreamer_video as gst_video;

use crate::job::Context;
use crate::media::encoders::Profile;
use crate::media::error::Error;
use crate::media::source::first_error;
use crate::media::writer::feed;

/// Pictures that may wait for the encoder; each 1080p one is 3 MB.
const PICTURES_WAITING: u64 = 4;
/// Between two looks at the bus and the cancel token.
const PATIENCE: gst::ClockTime = gst::ClockTime::from_mseconds(2);

/// Takes packets as they come.
pub(crate) type Give<'a> = &'a mut dyn FnMut(gst::Sample) -> Result<(), Error>;

#[derive(Debug)]
pub(crate) struct PartEncoder {
    out: PathBuf,
    pipeline: gst::Pipeline,
    pictures: gst_app::AppSrc,
    packets: gst_app::AppSink,
}

impl PartEncoder {
    /// `info` and `rate`: of the pictures, I420. `others`: how many parts are encoded at the same time, this one
    /// included. `out` is the film's name, for people.
    pub(crate) fn new(
        profile: Profile,
        info: &gst_video::VideoInfo,
        rate: gst::Fraction,
        parts_at_once: usize,
        out: &Path,
    ) -> Result<Self, Error> {
        let refused = |_| Error::Render { path: out.to_owned(), cause: "its parts do not fit together".to_owned() };
        let mut caps = info.to_caps().map_err(refused)?;
        caps.make_mut().set("framerate", rate);
        let pictures = feed(Some(&caps));
        let packets = gst_app::AppSink::builder().sync(false).max_buffers(0).build();
        let mut chain: Vec<gst::Element> = vec![pictures.clone().upcast()];
        chain.extend(profile.video_elements(parts_at_once)?);
        chain.push(packets.clone().upcast());
        let pipeline = gst::Pipeline::new();
        pipeline.add_many(&chain).and_then(|()| gst::Element::link_many(&chain)).map_err(refused)?;
        let encoder = Self { out: out.to_owned(), pipeline, pictures, packets };
        encoder.pipeline.set_state(gst::State::Playing).map_err(|_| encoder.stopped())?;
        Ok(encoder)
    }

    /// Hands over one picture with its time and duration in the film, waiting until there is room.
    pub(crate) fn picture(
        &self,
        mut buffer: gst::Buffer,
        at_ns: u64,
        duration_ns: u64,
        context: &Context,
        give: Give<'_>,
    ) -> Result<(), Error> {
        loop {
            context.check()?;
            let is_full = self.pictures.current_level_buffers() >= PICTURES_WAITING;
            self.give_ready(if is_full { PATIENCE } else { gst::ClockTime::ZERO }, give)?;
            if let Some(error) = self.trouble() {
                return Err(error);
            }
            if !is_full {
                break;
            }
        }
        {
            let buffer = buffer.make_mut();
            buffer.set_pts(gst::ClockTime::from_nseconds(at_ns));
            buffer.set_dts(gst::ClockTime::NONE);
            buffer.set_duration(gst::ClockTime::from_nseconds(duration_ns));
            buffer.unset_flags(gst::BufferFlags::DISCONT);
        }
        self.pictures.push_buffer(buffer).map(|_| ()).map_err(|_| self.stopped())
    }

    /// Gives what is left.
    pub(crate) fn finish(self, context: &Context, give: Give<'_>) -> Result<(), Error> {
        self.pictures.end_of_stream().map_err(|_| self.stopped())?;
        while !self.packets.is_eos() {
            context.check()?;
            self.give_ready(PATIENCE, give)?;
            if let Some(error) = self.trouble() {
                return Err(error);
            }
        }
        Ok(())
    }

    /// Gives the packets that are there, waiting for the first one at most that long.
    fn give_ready(&self, mut wait: gst::ClockTime, give: Give<'_>) -> Result<(), Error> {
        while let Some(sample) = self.packets.try_pull_sample(wait) {
            give(sample)?;
            wait = gst::ClockTime::ZERO;
        }
        Ok(())
    }

    fn stopped(&self) -> Error {
        self.trouble().unwrap_or_else(|| self.failed("the encoder has stopped".to_owned()))
    }

    fn trouble(&self) -> Option<Error> {
        first_error(&self.pipeline, gst::ClockTime::ZERO).map(|cause| self.failed(cause))
    }

    fn failed(&self, cause: String) -> Error {
        Error::Render { path: self.out.clone(), cause }
    }
}

impl Drop for PartEncoder {
    fn drop(&mut self) {
        // Joins the streaming threads; there is nobody left to tell of a failure.
        let _ = self.pipeline.set_state(gst::State::Null);
    }
}
