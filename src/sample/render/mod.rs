//! The onboard view as real footage: frames drawn from the true states, encoded with the engine's sound.
//! Frames are drawn on all cores, a batch at a time, while the encoder works on the batch before.

mod cockpit;
mod engine;
mod lens;
mod scenery;
mod stamp;
mod view;

use std::path::Path;
use std::time::Duration;

use gstreamer as gst;
use gstreamer::prelude::*;
use gstreamer_app as gst_app;

use crate::files::{Overwrite, Pending};
use crate::geom::Point;
use crate::job::{self, map_parallel};
use crate::sample::code::{code_size_px, draw_frame_code};
use crate::sample::footage::{Camera, Facing, FootageOptions, FrameRate};
use crate::sample::motion::State;
use crate::sample::render::engine::{Engine, SAMPLE_RATE_HZ};
use crate::sample::render::scenery::Scenery;
use crate::sample::render::view::Picture;
use crate::sample::scenario::Scenario;
use crate::sample::write::Error;
use crate::session::VideoTime;

/// Frames drawn before they are handed on together.
const BATCH: usize = 16;
/// Frames that may wait for the encoder.
const QUEUE: u64 = 24;
/// The rate that footage of a variable rate states, Hz.
const NOMINAL_HZ: i32 = 25;
/// Ticks per second of the video track: the usual frame rates divide it, 30000/1001 too.
const TICKS_HZ: u32 = 90_000;
/// How long to sleep while it is busy, and to wait for it to finish between looks at the cancel token.
const BUSY: Duration = Duration::from_millis(3);
const FINISHING: gst::ClockTime = gst::ClockTime::from_mseconds(50);

/// Films `scenario` through `camera` into an MP4 file: H.264, with AAC sound where wanted. Every frame carries its
/// number, from 0, as `frame code` in its top left corner.
///
/// # Errors
/// A missing encoder, a file that may not be replaced or cannot be written, or cancelled; no half file is left.
pub fn write_footage(
    target: &Path,
    overwrite: Overwrite,
    scenario: &Scenario,
    camera: &Camera,
    options: &FootageOptions,
    context: &job::Context,
) -> Result<(), Error> {
    gst::init().map_err(|cause| Error::Start { cause: cause.to_string() })?;
    let pending = Pending::new(target, overwrite)?;
    let footage = Footage {
        scenario,
        camera,
        options,
        times_ns: options.frame_times_ns(camera.duration_s),
        scenery: Scenery::new(&scenario.circuit, &driven_lap(scenario), options.width as usize),
    };
    let failed = |cause: String| Error::Footage { path: target.to_owned(), cause };
    let line = Line::new(pending.path(), options)?;
    let outcome = line.run(&footage, context);
    // Whatever happened, the pipeline lets go of the file before it is renamed or removed.
    let stopped = line.pipeline.set_state(gst::State::Null);
    match outcome {
        Ok(()) => {}
        Err(Stop::Cancelled(cancelled)) => return Err(cancelled.into()),
        Err(Stop::Failed(cause)) => return Err(failed(cause)),
    }
    stopped.map_err(|error| failed(error.to_string()))?;
    stamp::set_creation_time(pending.path(), camera.creation_time(scenario.start_utc)).map_err(failed)?;
    Ok(pending.finish()?)
}

/// One lap's line, a point every metre or so.
fn driven_lap(scenario: &Scenario) -> Vec<Point> {
    let truth = &scenario.truth;
    let lap = truth.laps.get(2).or(truth.laps.first());
    let (from_s, to_s) = lap.map_or((0.0, 0.0), |it| (it.start_t_s, it.end_t_s));
    truth
        .states
        .iter()
        .filter(|state| state.t_s >= from_s && state.t_s <= to_s)
        .step_by(20)
        .map(State::position)
        .collect()
}

struct Footage<'a> {
    scenario: &'a Scenario,
    camera: &'a Camera,
    options: &'a FootageOptions,
    /// Of every frame, and the end of the last.
    times_ns: Vec<u64>,
    scenery: Scenery,
}

impl Footage<'_> {
    fn frames(&self) -> usize {
        self.times_ns.len() - 1
    }

    fn state_at(&self, presentation_s: f64) -> Option<State> {
        let truth = &self.scenario.truth;
        let t_s = self.camera.clock.to_log(VideoTime::from_seconds(presentation_s)).0;
        truth.state_at(t_s.clamp(0.0, truth.duration_s()))
    }

    /// One frame as I420 bytes.
    fn frame(&self, index: usize) -> Result<Vec<u8>, String> {
        let (width, height) = (self.options.width as usize, self.options.height as usize);
        let state =
            self.state_at(self.times_ns[index] as f64 * 1e-9).ok_or_else(|| "the run has no states".to_owned())?;
        let look = self.options.look;
        let mut picture = view::look(&self.scenery, &state, look, width, height);
        if look.facing != Facing::Back {
            cockpit::draw(&mut picture, &state).map_err(|error| error.to_string())?;
        }
        let number = u32::try_from(index).unwrap_or(u32::MAX);
        lens::spoil(&mut picture, look, number);
        Ok(to_i420(&picture, number))
    }
}

/// BT.601 limited range, colour averaged over two by two pixels, with the frame code drawn in.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "luma and chroma stay within 16 to 240")]
fn to_i420(picture: &Picture, number: u32) -> Vec<u8> {
    let (width, height) = (picture.width, picture.height);
    let mut planes = vec![0; width * height * 3 / 2];
    let (luma, chroma) = planes.split_at_mut(width * height);
    for (y, pixel) in luma.iter_mut().zip(picture.rgb.chunks_exact(3)) {
        let [red, green, blue] = [i32::from(pixel[0]), i32::from(pixel[1]), i32::from(pixel[2])];
        *y = (16 + ((66 * red + 129 * green + 25 * blue + 128) >> 8)) as u8;
    }
    draw_frame_code(luma, width, height, width, number);
    let (blues, reds) = chroma.split_at_mut(width * height / 4);
    let (code_width, code_height) = code_size_px(height);
    for row in 0..height / 2 {
        for column in 0..width / 2 {
            let mut sums = [0; 3];
            for at in [0, 1, width, width + 1].map(|step| 3 * (2 * row * width + 2 * column + step)) {
                for (channel, sum) in sums.iter_mut().enumerate() {
                    *sum += i32::from(picture.rgb[at + channel]);
                }
            }
            let [red, green, blue] = sums;
            let at = row * width / 2 + column;
            let coded = 2 * row < code_height && 2 * column < code_width;
            let grey = |value: i32| if coded { 128 } else { (128 + ((value + 512) >> 10)) as u8 };
            blues[at] = grey(-38 * red - 74 * green + 112 * blue);
            reds[at] = grey(112 * red - 94 * green - 18 * blue);
        }
    }
    planes
}

enum Stop {
    Cancelled(job::Cancelled),
    Failed(String),
}

impl From<job::Cancelled> for Stop {
    fn from(cancelled: job::Cancelled) -> Self {
        Self::Cancelled(cancelled)
    }
}

/// The pipeline: sources for pictures and sound, encoders, one file.
struct Line {
    pipeline: gst::Pipeline,
    pictures: gst_app::AppSrc,
    sound: Option<gst_app::AppSrc>,
}

impl Line {
    fn new(path: &Path, options: &FootageOptions) -> Result<Self, Error> {
        let pipeline = gst::Pipeline::new();
        let muxer = element("mp4mux", "gstreamer1.0-plugins-good")?;
        let sink = element("filesink", "libgstreamer1.0-0")?;
        sink.set_property("location", path.to_string_lossy().as_ref());
        let rate = match options.rate {
            FrameRate::Constant { numerator, denominator } => fraction(numerator, denominator),
            // Only a hint beside the time stamps; without one the encoder would drop the last frame's duration, and
            // the muxer the last frame.
            FrameRate::Variable { .. } => gst::Fraction::new(NOMINAL_HZ, 1),
        };
        let caps = gst::Caps::builder("video/x-raw")
            .field("format", "I420")
            .field("width", size(options.width))
            .field("height", size(options.height))
            .field("framerate", rate)
            .field("pixel-aspect-ratio", gst::Fraction::new(1, 1))
            .field("colorimetry", "bt601")
            .build();
        let pictures = source(caps);
        let video = [
            vec![pictures.clone().upcast()],
            video_encoder(options)?,
            vec![element("h264parse", "gstreamer1.0-plugins-bad")?, element("queue", "libgstreamer1.0-0")?],
        ]
        .concat();
        let sound = options.sound.then(|| {
            let caps = gst::Caps::builder("audio/x-raw")
                .field("format", "S16LE")
                .field("layout", "interleaved")
                .field("rate", size(SAMPLE_RATE_HZ))
                .field("channels", 1)
                .build();
            source(caps)
        });
        let audio = match &sound {
            Some(source) => [
                vec![source.clone().upcast(), element("audioconvert", "gstreamer1.0-plugins-base")?],
                vec![audio_encoder(options)?, element("aacparse", "gstreamer1.0-plugins-good")?],
                vec![element("queue", "libgstreamer1.0-0")?],
            ]
            .concat(),
            None => Vec::new(),
        };
        let link = |error: gst::glib::BoolError| Error::Footage { path: path.to_owned(), cause: error.to_string() };
        pipeline.add_many([&muxer, &sink]).map_err(link)?;
        muxer.link(&sink).map_err(link)?;
        for chain in [video, audio].iter().filter(|chain| !chain.is_empty()) {
            pipeline.add_many(chain).map_err(link)?;
            gst::Element::link_many(chain).map_err(link)?;
            chain[chain.len() - 1].link(&muxer).map_err(link)?;
        }
        // Video is linked first: its pad bears the muxer's first video name.
        if let Some(pad) = muxer.static_pad("video_0") {
            pad.set_property("trak-timescale", TICKS_HZ);
        }
        Ok(Self { pipeline, pictures, sound })
    }

    fn run(&self, footage: &Footage<'_>, context: &job::Context) -> Result<(), Stop> {
        self.pipeline.set_state(gst::State::Playing).map_err(|error| Stop::Failed(error.to_string()))?;
        let mut engine = Engine::new();
        let mut heard = 0;
        let indices: Vec<usize> = (0..footage.frames()).collect();
        for batch in indices.chunks(BATCH) {
            context.check()?;
            let frames = map_parallel(batch, |index| footage.frame(*index));
            let end_ns = footage.times_ns[batch[batch.len() - 1] + 1];
            self.send_sound(footage, &mut engine, &mut heard, end_ns)?;
            for (index, frame) in batch.iter().zip(frames) {
                self.wait_for_room(context)?;
                let (from_ns, to_ns) = (footage.times_ns[*index], footage.times_ns[*index + 1]);
                send(&self.pictures, frame.map_err(Stop::Failed)?, from_ns, to_ns)?;
            }
            context.set_progress(end_ns as f64 / footage.times_ns[footage.frames()] as f64);
        }
        for source in [Some(&self.pictures), self.sound.as_ref()].into_iter().flatten() {
            source.end_of_stream().map_err(|error| Stop::Failed(error.to_string()))?;
        }
        while !self.is_finished(Some(FINISHING))? {
            context.check()?;
        }
        Ok(())
    }

    /// Sound up to a presentation time; it goes ahead of the pictures, so that the muxer never waits for it.
    fn send_sound(&self, footage: &Footage<'_>, engine: &mut Engine, heard: &mut u64, end_ns: u64) -> Result<(), Stop> {
        let Some(source) = &self.sound else { return Ok(()) };
        let rate = u64::from(SAMPLE_RATE_HZ);
        let from = *heard;
        let to = end_ns * rate / 1_000_000_000;
        let time_ns = |sample: u64| sample * 1_000_000_000 / rate;
        let count = usize::try_from(to - from).unwrap_or(0);
        let bytes = engine.next(count, |index| footage.state_at(time_ns(from + index as u64) as f64 * 1e-9));
        *heard = to;
        if bytes.is_empty() { Ok(()) } else { send(source, bytes, time_ns(from), time_ns(to)) }
    }

    fn wait_for_room(&self, context: &job::Context) -> Result<(), Stop> {
        while self.pictures.current_level_buffers() >= QUEUE {
            context.check()?;
            self.is_finished(None)?;
            std::thread::sleep(BUSY);
        }
        Ok(())
    }

    /// Whether the file is complete; an error on the way ends the work.
    fn is_finished(&self, wait: Option<gst::ClockTime>) -> Result<bool, Stop> {
        let Some(bus) = self.pipeline.bus() else { return Ok(true) };
        let wanted = [gst::MessageType::Eos, gst::MessageType::Error];
        let message = match wait {
            Some(wait) => bus.timed_pop_filtered(Some(wait), &wanted),
            None => bus.pop_filtered(&wanted),
        };
        match message.as_ref().map(|it| it.view()) {
            Some(gst::MessageView::Error(error)) => Err(Stop::Failed(error.error().to_string())),
            Some(_) => Ok(true),
            None => Ok(false),
        }
    }
}

fn source(caps: gst::Caps) -> gst_app::AppSrc {
    let source = gst_app::AppSrc::builder().caps(&caps).format(gst::Format::Time).build();
    // The queue is bounded by whoever fills it, who can then still be cancelled.
    source.set_max_bytes(0);
    source
}

fn send(source: &gst_app::AppSrc, bytes: Vec<u8>, from_ns: u64, to_ns: u64) -> Result<(), Stop> {
    let mut buffer = gst::Buffer::from_mut_slice(bytes);
    if let Some(buffer) = buffer.get_mut() {
        buffer.set_pts(gst::ClockTime::from_nseconds(from_ns));
        buffer.set_duration(gst::ClockTime::from_nseconds(to_ns - from_ns));
    }
    source.push_buffer(buffer).map(|_| ()).map_err(|error| Stop::Failed(error.to_string()))
}

/// The best H.264 encoder installed, set up for the options.
fn video_encoder(options: &FootageOptions) -> Result<Vec<gst::Element>, Error> {
    if gst::ElementFactory::find("x264enc").is_some() {
        let encoder = element("x264enc", "gstreamer1.0-plugins-ugly")?;
        encoder.set_property("bitrate", options.video_kbps);
        encoder.set_property("key-int-max", options.gop);
        encoder.set_property("bframes", options.b_frames);
        encoder.set_property_from_str("speed-preset", if options.small { "slow" } else { "veryfast" });
        let profile = element("capsfilter", "libgstreamer1.0-0")?;
        profile.set_property("caps", gst::Caps::builder("video/x-h264").field("profile", "high").build());
        return Ok(vec![encoder, profile]);
    }
    let encoder = element("openh264enc", "gstreamer1.0-plugins-bad")?;
    encoder.set_property("bitrate", options.video_kbps.saturating_mul(1000));
    encoder.set_property("gop-size", options.gop);
    Ok(vec![encoder])
}

fn audio_encoder(options: &FootageOptions) -> Result<gst::Element, Error> {
    let bits_per_s = if options.small { 40_000 } else { 96_000 };
    let (name, package) = [
        ("avenc_aac", "gstreamer1.0-libav"),
        ("voaacenc", "gstreamer1.0-plugins-bad"),
        ("fdkaacenc", "gstreamer1.0-plugins-bad"),
    ]
    .into_iter()
    .find(|(name, _)| gst::ElementFactory::find(name).is_some())
    .unwrap_or(("avenc_aac", "gstreamer1.0-libav"));
    let encoder = element(name, package)?;
    encoder.set_property("bitrate", bits_per_s);
    Ok(encoder)
}

fn element(name: &str, package: &str) -> Result<gst::Element, Error> {
    gst::ElementFactory::make(name)
        .build()
        .map_err(|_| Error::MissingElement { element: name.to_owned(), package: package.to_owned() })
}

fn fraction(numerator: u32, denominator: u32) -> gst::Fraction {
    gst::Fraction::new(size(numerator), size(denominator))
}

fn size(value: u32) -> i32 {
    i32::try_from(value).unwrap_or(i32::MAX)
}
