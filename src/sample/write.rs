//! Writes a whole invented session into a folder: logs, track file, footage, truth.

use std::path::{Path, PathBuf};

use chrono::{SecondsFormat, TimeDelta};
use serde_json::json;

use crate::book::{self, Book, Pin, Recording, file::refer_to};
use crate::files::{self, Overwrite};
use crate::job;
use crate::sample::circuit::Circuit;
use crate::sample::driver::{Driver, Habit};
use crate::sample::footage::{Camera, FootageOptions};
use crate::sample::logger::{LoggerNoise, log_samples};
use crate::sample::scenario::{Scenario, simulate};
use crate::sample::writers::{CsvStyle, TimeStyle, csv_log, gpx_log, nmea_log};
use crate::session::{ClockMap, Samples, SamplesParts, VideoTime};

/// The other drivers go out this much later, min.
const NEXT_DRIVER_AFTER_MIN: i64 = 25;
/// The camera is switched on this long before the first filmed lap begins and off this long after the last, s.
const FILMED_BEFORE_S: f64 = 6.37;
const FILMED_AFTER_S: f64 = 4.0;
/// The camera shows the time of a zone two hours east as if it were UTC, and goes 8.6 s fast.
const STAMP_ERROR_S: f64 = 7208.6;
const CAMERA_RATE_PPM: f64 = 35.0;
const TRACK: &str = "track.geojson";
const TRUTH: &str = "truth.json";
const FOOTAGE: &str = "driver-a.mp4";

/// Why a sample could not be written.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error(transparent)]
    File(#[from] files::Error),
    #[error(transparent)]
    Cancelled(#[from] job::Cancelled),
    #[error("GStreamer cannot start ({cause}); install gstreamer1.0-plugins-base")]
    Start { cause: String },
    #[error("GStreamer has no {element}; install {package}")]
    MissingElement { element: String, package: String },
    #[error("{}: the footage cannot be made ({cause}); check the free space and try again", path.display())]
    Footage { path: PathBuf, cause: String },
}

/// What to write.
#[derive(Debug, Clone, PartialEq)]
pub struct SampleOptions {
    /// Timed laps of each driver.
    pub laps: u32,
    pub seed: u64,
    /// `None`: no footage. Built without the feature `media` there is none either.
    pub footage: Option<FootageOptions>,
    /// First and last lap of driver A in the footage.
    pub filmed_laps: (u32, u32),
    /// Also short parts of driver A's log as NMEA, GPX and yaw rate alone.
    pub other_formats: bool,
    pub overwrite: Overwrite,
}

impl Default for SampleOptions {
    fn default() -> Self {
        Self {
            laps: 7,
            seed: 1,
            footage: Some(FootageOptions::default()),
            filmed_laps: (1, 2),
            other_formats: false,
            overwrite: Overwrite::Refuse,
        }
    }
}

/// The files written; logs in the order of the drivers, driver A's first.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct WrittenSample {
    pub logs: Vec<PathBuf>,
    /// Parts of driver A's log in other formats, where asked for.
    pub other_logs: Vec<PathBuf>,
    pub track: PathBuf,
    /// Driver A's.
    pub footage: Vec<PathBuf>,
    /// Where the footage truly begins on driver A's log, s: its own stamp is wrong by design. `None` without footage.
    pub footage_begins_s: Option<f64>,
    pub truth: PathBuf,
}

/// Writes the sample into `folder`, which is made if need be. The same options give the same logs and truth.
///
/// # Errors
/// An existing file that may not be replaced, a folder that cannot be written, a missing encoder, or cancelled.
pub fn write_sample(folder: &Path, options: &SampleOptions, context: &job::Context) -> Result<WrittenSample, Error> {
    files::make_folder(folder)?;
    let mut written =
        WrittenSample { track: folder.join(TRACK), truth: folder.join(TRUTH), ..WrittenSample::default() };
    let write = |path: &Path, text: &str| files::write(path, text.as_bytes(), options.overwrite);
    let circuit = Circuit::saltpan();
    write(&written.track, &circuit.geojson())?;
    let mut drivers = Vec::new();
    let scenarios = runs(&circuit, options);
    for (scenario, seed) in scenarios.iter().zip(options.seed..) {
        context.check()?;
        let samples = log_samples(scenario, &LoggerNoise { yaw_rate_hz: 20.0, ..LoggerNoise::default() }, seed);
        let path = folder.join(log_name(&scenario.driver));
        write(&path, &csv_log(&samples, CsvStyle::default()))?;
        drivers.push(driver_truth(scenario, &path));
        written.logs.push(path);
    }
    if options.other_formats {
        for (name, text) in other_formats(&scenarios[0], options.seed) {
            let path = folder.join(name);
            write(&path, &text)?;
            written.other_logs.push(path);
        }
    }
    let mut footage = Vec::new();
    if let Some(how) = &options.footage {
        let camera = camera(&scenarios[0], options.filmed_laps);
        let path = folder.join(FOOTAGE);
        if film(&path, options.overwrite, &scenarios[0], &camera, how, context)? {
            footage.push(footage_truth(&scenarios[0], &camera, how, &path));
            written.footage_begins_s = Some(camera.clock.log_t_s_at_zero);
            written.footage.push(path);
        }
    }
    let truth = json!({
        "format": "cornerbook.truth", "version": 1,
        "circuit": {"name": circuit.name, "width_m": circuit.width_m, "corners": circuit.bends.len(),
                    "clockwise": circuit.is_clockwise(),
                    "plane_latitude_deg": circuit.latitude_deg, "plane_longitude_deg": circuit.longitude_deg},
        "drivers": drivers, "footage": footage,
    });
    write(&written.truth, &format!("{truth:#}\n"))?;
    context.set_progress(1.0);
    Ok(written)
}

impl WrittenSample {
    /// A book of driver A's log with the track and the footage, whose clock is still to be set.
    ///
    /// # Errors
    /// A file that was written is there no more.
    pub fn book(&self) -> Result<Book, book::file::Error> {
        let logs = self.logs.iter().take(1).map(|it| refer_to(it)).collect::<Result<_, _>>()?;
        Ok(Book {
            recording: Recording {
                chapters: self.footage.iter().map(|it| refer_to(it)).collect::<Result<_, _>>()?,
                pins: Vec::new(),
            },
            track: Some(refer_to(&self.track)?),
            driver: Some("Driver A".to_owned()),
            ..Book::new(logs)
        })
    }

    /// The footage with its clock set by hand, as a user would who knows when it begins.
    pub fn pinned(&self, recording: &Recording) -> Recording {
        let pin = |log_t_s| Pin { chapter: 0, footage: VideoTime(0), log_t_s };
        Recording { pins: self.footage_begins_s.map(pin).into_iter().collect(), ..recording.clone() }
    }
}

/// The names of the files that [`write_sample`] writes with default options.
pub fn file_names() -> Vec<String> {
    let logs = [Driver::a(), Driver::b(), Driver::c()].map(|it| log_name(&it));
    logs.into_iter().chain([TRACK, TRUTH, FOOTAGE].map(str::to_owned)).collect()
}

fn log_name(driver: &Driver) -> String {
    format!("{}.csv", driver.name.to_lowercase().replace(' ', "-"))
}

/// Drivers A, B and C, one after the other. Driver A meets traffic once, in a lap that is filmed.
fn runs(circuit: &Circuit, options: &SampleOptions) -> Vec<Scenario> {
    let traffic = Habit::Traffic { lap: 2, corner: 3, grip: 0.7 };
    let drivers: Vec<(Driver, u64)> =
        [Driver::a().with(traffic), Driver::b(), Driver::c()].into_iter().zip(options.seed..).collect();
    let mut scenarios = job::map_parallel(&drivers, |(driver, seed)| simulate(circuit, driver, options.laps, *seed));
    for (scenario, turn) in scenarios.iter_mut().zip(0..) {
        scenario.start_utc += TimeDelta::minutes(turn * NEXT_DRIVER_AFTER_MIN);
    }
    scenarios
}

fn driver_truth(scenario: &Scenario, log: &Path) -> serde_json::Value {
    json!({
        "driver": scenario.driver.name, "log": file_name(log),
        "start_utc": scenario.start_utc.to_rfc3339_opts(SecondsFormat::Millis, true),
        "laps": scenario.truth.laps, "passes": scenario.truth.passes,
    })
}

/// Laps 1 and 2 as NMEA and as GPX, and the yaw rate alone from the start to the end of lap 3 without a date.
fn other_formats(scenario: &Scenario, seed: u64) -> Vec<(&'static str, String)> {
    let noise = LoggerNoise { with_course: true, yaw_rate_hz: 20.0, ..LoggerNoise::default() };
    let samples = log_samples(scenario, &noise, seed);
    let lap_end_s = |lap: usize| scenario.truth.laps.get(lap).map_or(f64::INFINITY, |it| it.end_t_s);
    let two_laps = until(&samples, lap_end_s(2) + 3.0, false);
    let yaw_rate = until(&samples, lap_end_s(3) + 3.0, true);
    let from_start = CsvStyle { time: TimeStyle::FromStart, ..CsvStyle::default() };
    vec![
        ("driver-a-short.nmea", nmea_log(&two_laps)),
        ("driver-a-short.gpx", gpx_log(&two_laps)),
        ("driver-a-yaw-rate.csv", csv_log(&yaw_rate, from_start)),
    ]
}

/// The log up to a time; with `yaw_rate_only`, that channel and no position.
fn until(samples: &Samples, end_s: f64, yaw_rate_only: bool) -> Samples {
    let mut parts = SamplesParts { start_utc: samples.start_utc(), ..SamplesParts::default() };
    if !yaw_rate_only {
        parts.fixes = samples.fixes().iter().copied().filter(|fix| fix.t_s <= end_s).collect();
    }
    for (kind, channel) in samples.channels() {
        let is_yaw_rate = *kind == crate::session::ChannelKind::YawRate;
        if is_yaw_rate == yaw_rate_only {
            let kept = channel.iter().filter(|(t_s, _)| *t_s <= end_s);
            let (t_s, value) = kept.unzip();
            parts.channels.insert(*kind, crate::session::Channel { t_s, value });
        }
    }
    Samples::new(parts)
}

fn camera(scenario: &Scenario, (first, last): (u32, u32)) -> Camera {
    let laps = &scenario.truth.laps;
    let lap = |number: u32| laps.get(number as usize).unwrap_or(&laps[0]);
    let start_s = (lap(first).start_t_s - FILMED_BEFORE_S).max(0.0);
    let end_s = (lap(last).end_t_s + FILMED_AFTER_S).min(scenario.truth.duration_s());
    // Not on a whole frame nor on a sample of the log.
    let log_t_s_at_zero = ((start_s * 1000.0).round() + 0.4) / 1000.0;
    let clock = ClockMap { log_t_s_at_zero, rate_ppm: CAMERA_RATE_PPM };
    Camera { clock, duration_s: end_s - log_t_s_at_zero, stamp_error_s: STAMP_ERROR_S }
}

fn footage_truth(scenario: &Scenario, camera: &Camera, how: &FootageOptions, path: &Path) -> serde_json::Value {
    let creation = camera.creation_time(scenario.start_utc);
    json!({
        "file": file_name(path), "driver": scenario.driver.name,
        "log_t_s_at_zero": camera.clock.log_t_s_at_zero, "rate_ppm": camera.clock.rate_ppm,
        "frames": how.frame_times_ns(camera.duration_s).len() - 1,
        "creation_time": creation.to_rfc3339_opts(SecondsFormat::Secs, true),
        "true_utc_at_zero": (scenario.start_utc
            + TimeDelta::microseconds(microseconds(camera.clock.log_t_s_at_zero)))
            .to_rfc3339_opts(SecondsFormat::Micros, true),
    })
}

fn microseconds(t_s: f64) -> i64 {
    #[allow(clippy::cast_possible_truncation, reason = "a session lasts minutes")]
    let us = (t_s * 1e6).round() as i64;
    us
}

fn file_name(path: &Path) -> String {
    path.file_name().map(|it| it.to_string_lossy().into_owned()).unwrap_or_default()
}

/// Whether there is footage now.
#[cfg(feature = "media")]
fn film(
    path: &Path,
    overwrite: Overwrite,
    scenario: &Scenario,
    camera: &Camera,
    how: &FootageOptions,
    context: &job::Context,
) -> Result<bool, Error> {
    crate::sample::render::write_footage(path, overwrite, scenario, camera, how, context)?;
    Ok(true)
}

#[cfg(not(feature = "media"))]
fn film(_: &Path, _: Overwrite, _: &Scenario, _: &Camera, _: &FootageOptions, _: &job::Context) -> Result<bool, Error> {
    Ok(false)
}
