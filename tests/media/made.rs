//! Hand-made analyses and footage with known truth.

use std::path::{Path, PathBuf};

use gstreamer as gst;
use gstreamer::prelude::*;
use gstreamer_app as gst_app;
use gstreamer_audio as gst_audio;

use cornerbook::analysis::Analysis;
use cornerbook::corners::{Apex, ApexBy, Corner, Direction, Mark, Pass};
use cornerbook::geom::Point;
use cornerbook::geom::plane::Plane;
use cornerbook::media;
use cornerbook::reel::Chapter;
use cornerbook::session::{self, ClockMap, Estimate, PathState};
use cornerbook::track::{ReferenceLine, ReferencePoint};

/// A left-hand quarter circle of 20 m radius driven at 10 m/s between two straights, sampled at 25 Hz over 60 s. The
/// corner begins at `turn_in_s`; apex and exit follow at a half and the whole of its length.
pub const RADIUS_M: f64 = 20.0;
pub const SPEED_MPS: f64 = 10.0;
/// Quarter circle at the speed above, s.
pub const CORNER_S: f64 = std::f64::consts::FRAC_PI_2 * RADIUS_M / SPEED_MPS;

fn sure(value: f64) -> Estimate {
    Estimate { value, ci95: 0.01 }
}

fn state(t_s: f64, turn_in_s: f64) -> PathState {
    let into_s = t_s - turn_in_s;
    let heading_rad = (into_s / CORNER_S).clamp(0.0, 1.0) * std::f64::consts::FRAC_PI_2;
    let (x_m, y_m) = if into_s < 0.0 {
        (into_s * SPEED_MPS, 0.0)
    } else {
        let past_m = (into_s - CORNER_S).max(0.0) * SPEED_MPS;
        (RADIUS_M * heading_rad.sin(), RADIUS_M * (1.0 - heading_rad.cos()) + past_m)
    };
    PathState {
        t_s,
        x_m,
        y_m,
        // Slowest at the middle of the corner, so that the live speed is seen to move.
        speed_mps: SPEED_MPS + (into_s - CORNER_S / 2.0).abs(),
        heading_rad,
        yaw_rate_radps: 0.0,
        acceleration_mps2: 0.0,
        travelled_m: t_s * SPEED_MPS,
        across_variance_m2: 0.01,
        along_variance_m2: 0.01,
        speed_variance: 0.01,
        heading_variance: 0.01,
        yaw_rate_variance: 0.01,
    }
}

/// One lap (1) through one corner (1, "T1") with the marks at these log times.
pub fn analysis(turn_in_s: f64, apex_s: f64, exit_s: f64) -> Analysis {
    let states: Vec<PathState> = (0..1500).map(|index| state(f64::from(index) * 0.04, turn_in_s)).collect();
    let mark = |t_s: f64, speed: f64| Mark {
        t_s: sure(t_s),
        latitude_deg: None,
        longitude_deg: None,
        distance_m: Some(t_s * SPEED_MPS),
        speed_mps: Some(sure(speed)),
    };
    let points = states.iter().map(|it| ReferencePoint {
        distance_m: it.travelled_m,
        position: Point::new(it.x_m + 1.5, it.y_m + 1.0),
        heading_rad: it.heading_rad,
        curvature_per_m: 0.0,
    });
    Analysis {
        plane: Some(Plane::new(47.0, 8.0, 0.0)),
        reference: Some(ReferenceLine { points: points.collect(), length_m: 600.0 }),
        path: session::Path { states, gaps: Vec::new() },
        gate: None,
        laps: Vec::new(),
        corners: vec![Corner {
            number: 1,
            name: "T1".to_owned(),
            direction: Direction::Left,
            angle_deg: 90.0,
            min_radius_m: Some(RADIUS_M),
            entry_gate_m: Some(turn_in_s * SPEED_MPS),
            middle_m: Some((turn_in_s + CORNER_S / 2.0) * SPEED_MPS),
            exit_gate_m: Some((turn_in_s + CORNER_S) * SPEED_MPS),
            latitude_deg: None,
            longitude_deg: None,
        }],
        passes: vec![Pass {
            lap: 1,
            corner: 1,
            direction: Direction::Left,
            turn_in: Some(mark(turn_in_s, 12.0)),
            apex: Some(Apex { mark: mark(apex_s, 10.0), by: ApexBy::Edge, gap_m: None }),
            exit: Some(mark(exit_s, 13.0)),
            approach_speed_mps: Some(sure(14.0)),
            entry_speed_mps: Some(sure(12.0)),
            min_speed_mps: Some(sure(10.0)),
            min_speed_t_s: Some(sure(apex_s)),
            exit_speed_mps: Some(sure(13.0)),
            entry_gate_speed_mps: None,
            exit_gate_speed_mps: None,
            time_s: None,
            path_m: None,
            exit_cost_s: None,
            entry_gate_t_s: Some(turn_in_s),
            exit_gate_t_s: Some(exit_s),
            edited: Vec::new(),
            unclear: Vec::new(),
        }],
        places: vec![None; 1500],
        notes: Vec::new(),
        ..Analysis::default()
    }
}

/// A file on the log's clock, all of it.
pub fn chapter(path: &Path, log_t_s_at_zero: f64) -> Chapter {
    let footage = media::probe(path).unwrap();
    Chapter {
        file: PathBuf::from(path),
        clock: ClockMap { log_t_s_at_zero, rate_ppm: 0.0 },
        start: footage.start,
        end: footage.end,
    }
}

/// Pictures that carry their number: twelve blocks of 16 pixels in the top left, white for a set bit.
pub const WIDTH: usize = 640;
pub const HEIGHT: usize = 360;
const BLOCK: usize = 16;
const BITS: usize = 12;
const GREY: u8 = 90;

/// Footage to be made.
#[derive(Debug, Clone, Default)]
pub struct Recipe {
    /// Presentation time of each picture, ns, rising from 0; picture n carries the number `first_number` + n.
    pub times_ns: Vec<u64>,
    pub first_number: usize,
    /// Start and end of a 1 kHz tone in a sound track that is silent otherwise, s; `None` for no sound track.
    pub tone_s: Option<(f64, f64)>,
    pub has_location: bool,
    /// MP4 with its index before its pictures, as tools for the web write it.
    pub index_first: bool,
    /// An `image-orientation` tag.
    pub orientation: Option<&'static str>,
}

impl Recipe {
    pub fn steady(frames: usize, rate_hz: u64) -> Self {
        let times_ns = (0..frames as u64).map(|it| it * 1_000_000_000 / rate_hz).collect();
        Self { times_ns, ..Self::default() }
    }
}

fn picture(number: usize) -> Vec<u8> {
    let mut planes = vec![GREY; WIDTH * HEIGHT];
    for bit in 0..BITS {
        let value = if number >> bit & 1 == 1 { 235 } else { 16 };
        for row in 0..BLOCK {
            let begin = row * WIDTH + bit * BLOCK;
            planes[begin..begin + BLOCK].fill(value);
        }
    }
    planes.extend(vec![128; WIDTH * HEIGHT / 2]);
    planes
}

/// The number that a decoded picture carries, at any size, from its RGBA bytes.
pub fn number_of(frame: &media::Frame) -> usize {
    let (width, height) = (frame.info.width() as usize, frame.info.height() as usize);
    let map = frame.buffer.map_readable().unwrap();
    let stride = frame.info.stride()[0] as usize;
    (0..BITS)
        .filter(|bit| {
            let x = (bit * BLOCK + BLOCK / 2) * width / WIDTH;
            let y = (BLOCK / 2) * height / HEIGHT;
            map[y * stride + 4 * x] > 128
        })
        .map(|bit| 1 << bit)
        .sum()
}

/// Pixels within the lower half of an RGBA picture that are close to a colour.
pub fn pixels_like(frame: &media::Frame, colour: [u8; 3]) -> usize {
    let map = frame.buffer.map_readable().unwrap();
    let half = map.len() / 2;
    map[half..].chunks_exact(4).filter(|it| (0..3).all(|part| it[part].abs_diff(colour[part]) < 40)).count()
}

/// Whether this machine can write a file of this name; says aloud where not, and fails where CI is to try everything.
pub fn can_write(path: &Path) -> bool {
    media::init().unwrap();
    match media::encoders::for_file(path) {
        Ok(_) => true,
        Err(error) => {
            println!("SKIPPED: {error}");
            assert!(std::env::var("CI").as_deref() != Ok("true"), "{error}");
            false
        }
    }
}

/// Writes footage by a recipe with the best encoders for the file's ending.
pub fn footage(path: &Path, recipe: &Recipe) {
    media::init().unwrap();
    footage_by(media::encoders::for_file(path).unwrap(), path, recipe);
}

/// Writes footage with given encoders.
pub fn footage_by(profile: media::encoders::Profile, path: &Path, recipe: &Recipe) {
    let pipeline = gst::Pipeline::new();
    let muxer = profile.muxer().unwrap();
    let sink = gst::ElementFactory::make("filesink").property("location", path).build().unwrap();
    pipeline.add_many([&muxer, &sink]).unwrap();
    muxer.link(&sink).unwrap();
    if recipe.index_first {
        muxer.set_property("faststart", true);
    }
    let setter = muxer.dynamic_cast_ref::<gst::TagSetter>().unwrap();
    if recipe.has_location {
        setter.add_tag::<gst::tags::GeoLocationLatitude>(&47.5, gst::TagMergeMode::Replace);
        setter.add_tag::<gst::tags::GeoLocationLongitude>(&8.5, gst::TagMergeMode::Replace);
    }

    let rate_hz = 1e9 / (recipe.times_ns[1] - recipe.times_ns[0]) as f64;
    let caps = gst::Caps::builder("video/x-raw")
        .field("format", "I420")
        .field("width", WIDTH as i32)
        .field("height", HEIGHT as i32)
        .field("pixel-aspect-ratio", gst::Fraction::new(1, 1))
        .field("framerate", gst::Fraction::new(rate_hz.round() as i32, 1))
        .build();
    let pictures = gst_app::AppSrc::builder().caps(&caps).format(gst::Format::Time).max_bytes(0).build();
    let mut chain: Vec<gst::Element> = vec![pictures.clone().upcast()];
    if let Some(orientation) = recipe.orientation {
        let inject = gst::ElementFactory::make("taginject").build().unwrap();
        inject.set_property("tags", format!("image-orientation={orientation}"));
        chain.push(inject);
    }
    chain.extend(profile.video_elements(1).unwrap());
    pipeline.add_many(&chain).unwrap();
    gst::Element::link_many(&chain).unwrap();
    let pad = muxer.request_pad_simple("video_%u").unwrap();
    profile.set_up_video_pad(&pad);
    chain.last().unwrap().static_pad("src").unwrap().link(&pad).unwrap();

    let end_ns = recipe.times_ns.last().unwrap() + (recipe.times_ns[1] - recipe.times_ns[0]);
    let sound = recipe.tone_s.map(|tone_s| {
        let info = gst_audio::AudioInfo::builder(gst_audio::AudioFormat::F32le, 48_000, 2).build().unwrap();
        let source =
            gst_app::AppSrc::builder().caps(&info.to_caps().unwrap()).format(gst::Format::Time).max_bytes(0).build();
        let mut chain: Vec<gst::Element> =
            vec![source.clone().upcast(), gst::ElementFactory::make("audioconvert").build().unwrap()];
        chain.extend(profile.audio_elements().unwrap());
        pipeline.add_many(&chain).unwrap();
        gst::Element::link_many(&chain).unwrap();
        let pad = muxer.request_pad_simple("audio_%u").unwrap();
        chain.last().unwrap().static_pad("src").unwrap().link(&pad).unwrap();
        (source, tone_s)
    });

    pipeline.set_state(gst::State::Playing).unwrap();
    if let Some((source, (from_s, until_s))) = sound {
        let values: Vec<f32> = (0..(end_ns as usize * 48 / 1_000_000))
            .map(|index| index as f64 / 48_000.0)
            .map(|t_s| {
                let on = t_s >= from_s && t_s < until_s;
                if on { (0.5 * (std::f64::consts::TAU * 1000.0 * t_s).sin()) as f32 } else { 0.0 }
            })
            .collect();
        let bytes: Vec<u8> = values.iter().flat_map(|it| [it.to_le_bytes(), it.to_le_bytes()]).flatten().collect();
        let mut buffer = gst::Buffer::from_slice(bytes);
        buffer.get_mut().unwrap().set_pts(gst::ClockTime::ZERO);
        buffer.get_mut().unwrap().set_duration(gst::ClockTime::from_nseconds(end_ns));
        source.push_buffer(buffer).unwrap();
        source.end_of_stream().unwrap();
    }
    for (index, at_ns) in recipe.times_ns.iter().enumerate() {
        let mut buffer = gst::Buffer::from_slice(picture(recipe.first_number + index));
        let next_ns = recipe.times_ns.get(index + 1).copied().unwrap_or(end_ns);
        buffer.get_mut().unwrap().set_pts(gst::ClockTime::from_nseconds(*at_ns));
        buffer.get_mut().unwrap().set_duration(gst::ClockTime::from_nseconds(next_ns - at_ns));
        pictures.push_buffer(buffer).unwrap();
    }
    pictures.end_of_stream().unwrap();
    let bus = pipeline.bus().unwrap();
    let message = bus.timed_pop_filtered(None, &[gst::MessageType::Eos, gst::MessageType::Error]).unwrap();
    pipeline.set_state(gst::State::Null).unwrap();
    assert_eq!(message.type_(), gst::MessageType::Eos, "{message:?}");
}

/// Times and numbers of all pictures of a film, in the order shown.
pub fn numbers(path: &Path) -> Vec<(f64, usize)> {
    frames(path).iter().map(|it| (it.at.seconds(), number_of(it))).collect()
}

/// All pictures of a film as RGBA.
pub fn frames(path: &Path) -> Vec<media::Frame> {
    let picture = media::Picture { pixels: media::Pixels::Rgba, size_px: None, is_cropped: false };
    let mut reader = media::FrameReader::open(path, picture).unwrap();
    std::iter::from_fn(|| reader.next_frame().unwrap()).collect()
}

/// The first channel of a film's sound as (time in s, value) at 48 kHz, decoded by GStreamer's own automatic player bin.
pub fn sound(path: &Path) -> Vec<(f64, f32)> {
    media::init().unwrap();
    let pipeline = gst::Pipeline::new();
    let source = gst::ElementFactory::make("filesrc").property("location", path).build().unwrap();
    let decode = gst::ElementFactory::make("decodebin").build().unwrap();
    let convert = gst::ElementFactory::make("audioconvert").build().unwrap();
    let resample = gst::ElementFactory::make("audioresample").build().unwrap();
    let caps = gst::Caps::builder("audio/x-raw")
        .field("format", "F32LE")
        .field("rate", 48_000)
        .field("channels", 1)
        .field("layout", "interleaved")
        .build();
    let sink = gst_app::AppSink::builder().caps(&caps).sync(false).build();
    pipeline.add_many([&source, &decode, &convert, &resample, sink.upcast_ref()]).unwrap();
    source.link(&decode).unwrap();
    gst::Element::link_many([&convert, &resample, sink.upcast_ref()]).unwrap();
    let entry = convert.static_pad("sink").unwrap();
    let weak = pipeline.downgrade();
    decode.connect_pad_added(move |_, pad| {
        let kind = pad.current_caps().unwrap().structure(0).unwrap().name().to_string();
        if kind.starts_with("audio/") {
            pad.link(&entry).unwrap();
        } else {
            let pipeline = weak.upgrade().unwrap();
            let drain = gst::ElementFactory::make("fakesink").property("sync", false).build().unwrap();
            pipeline.add(&drain).unwrap();
            drain.sync_state_with_parent().unwrap();
            pad.link(&drain.static_pad("sink").unwrap()).unwrap();
        }
    });
    pipeline.set_state(gst::State::Playing).unwrap();
    let mut values = Vec::new();
    while let Ok(sample) = sink.pull_sample() {
        let segment = sample.segment().unwrap().downcast_ref::<gst::ClockTime>().unwrap().clone();
        let buffer = sample.buffer().unwrap();
        let Some(at) = segment.to_stream_time(buffer.pts().unwrap()) else { continue };
        for (index, bytes) in buffer.map_readable().unwrap().chunks_exact(4).enumerate() {
            let t_s = at.nseconds() as f64 * 1e-9 + index as f64 / 48_000.0;
            values.push((t_s, f32::from_le_bytes(bytes.try_into().unwrap())));
        }
    }
    pipeline.set_state(gst::State::Null).unwrap();
    values
}
