//! The invented sessions hold what they promise: the truth that everything else is measured against.

use std::f64::consts::TAU;

use cornerbook::geom::Point;
use cornerbook::job::{Context, map_parallel};
use cornerbook::sample::{
    Between, Circuit, CsvStyle, Driver, LoggerNoise, SampleOptions, Scenario, TimeStyle, csv_log, gpx_log, log_samples,
    nmea_log, simulate, write_sample,
};
use cornerbook::session::{ChannelKind, Samples};
use cornerbook::units::SpeedUnit;

const LAPS: u32 = 8;

/// Every circuit with every driver, made once.
fn scenarios() -> &'static [Scenario] {
    static RUNS: std::sync::LazyLock<Vec<Scenario>> = std::sync::LazyLock::new(all_runs);
    &RUNS
}

fn all_runs() -> Vec<Scenario> {
    let runs: Vec<(Circuit, Driver, u64)> = Circuit::all()
        .into_iter()
        .flat_map(|circuit| {
            [Driver::a(), Driver::b(), Driver::c()]
                .into_iter()
                .zip(1..)
                .map(move |(driver, seed)| (circuit.clone(), driver, seed))
        })
        .collect();
    map_parallel(&runs, |(circuit, driver, seed)| simulate(circuit, driver, LAPS, *seed))
}

fn gap_m(edge: &[Point], point: Point) -> f64 {
    (0..edge.len())
        .map(|index| {
            let (a, b) = (edge[index], edge[(index + 1) % edge.len()]);
            let share = ((point - a).dot(b - a) / (b - a).dot(b - a)).clamp(0.0, 1.0);
            point.distance_m(a + (b - a).scaled(share))
        })
        .fold(f64::INFINITY, f64::min)
}

#[test]
fn every_lap_passes_every_corner_in_order_and_turns_once_round() {
    for scenario in scenarios() {
        let (truth, count) = (&scenario.truth, scenario.circuit.bends.len());
        assert_eq!(truth.laps.len(), LAPS as usize + 2);
        assert_eq!(truth.passes.len(), (LAPS as usize + 2) * count);
        for (index, pass) in truth.passes.iter().enumerate() {
            assert_eq!((pass.lap as usize, pass.corner as usize), (index / count, index % count + 1));
            assert!(pass.turn_in.t_s < pass.apex.t_s && pass.apex.t_s < pass.exit.t_s, "{pass:?}");
            assert!(pass.turn_in.t_s <= pass.min_speed.t_s + 0.002 && pass.min_speed.t_s <= pass.exit.t_s + 0.002);
            assert!(pass.angle_deg >= 20.0, "{pass:?}");
            let lap = truth.laps[pass.lap as usize];
            assert!(lap.start_t_s < pass.turn_in.t_s && pass.exit.t_s < lap.end_t_s);
        }
        assert!(truth.passes.windows(2).all(|pair| pair[0].exit.t_s < pair[1].turn_in.t_s));
        let turn_rad = if scenario.circuit.is_clockwise() { -TAU } else { TAU };
        for lap in truth.laps.iter().filter(|lap| lap.time_s.is_some()) {
            let (start, end) = (truth.state_at(lap.start_t_s).unwrap(), truth.state_at(lap.end_t_s).unwrap());
            // The straight is crossed at a slightly different angle every lap: up to 6 m over 100 m.
            assert!((end.heading_rad - start.heading_rad - turn_rad).abs() < 0.06);
            assert!(start.position().distance_m(end.position()) < 3.0);
        }
    }
}

/// States are one consistent motion: speed is the derivative of the place, yaw rate that of the heading.
#[test]
fn place_heading_and_speed_belong_together() {
    for scenario in scenarios() {
        let states = &scenario.truth.states;
        let mut heading_rad = states[0].heading_rad;
        for triple in states.windows(3) {
            let [a, b, c] = triple else { unreachable!() };
            let span_s = c.t_s - a.t_s;
            let speed_mps = a.position().distance_m(c.position()) / span_s;
            assert!((speed_mps - b.speed_mps).abs() < 2e-3, "{speed_mps} {b:?}");
            let way = (c.position() - a.position()).scaled(1.0 / span_s);
            assert!(way.cross(Point::unit(b.heading_rad)).abs() < 2e-3);
            heading_rad += 0.5 * (a.yaw_rate_radps + b.yaw_rate_radps) * (b.t_s - a.t_s);
        }
        let last = states[states.len() - 2];
        assert!((heading_rad - last.heading_rad).abs() < 1e-3, "{heading_rad} {}", last.heading_rad);
    }
}

#[test]
fn the_line_stays_between_the_edges_and_speeds_are_a_karts() {
    for scenario in scenarios() {
        let (left, right) = scenario.circuit.edges();
        let width_m = scenario.circuit.width_m;
        for state in scenario.truth.states.iter().step_by(100) {
            let (to_left_m, to_right_m) = (gap_m(&left, state.position()), gap_m(&right, state.position()));
            assert!(to_left_m.min(to_right_m) > 0.4, "{} {} {state:?}", scenario.circuit.name, scenario.driver.name);
            assert!(to_left_m.max(to_right_m) < width_m, "outside at {state:?}");
        }
        let timed = &scenario.truth.laps[2];
        for state in scenario.truth.states.iter().filter(|it| it.t_s > timed.start_t_s && it.t_s < timed.end_t_s) {
            assert!((9.0..30.0).contains(&state.speed_mps), "{state:?}");
            assert!((-7.5..3.6).contains(&state.acceleration_mps2), "{state:?}");
        }
    }
}

#[test]
fn a_gate_is_crossed_once_a_lap_where_the_path_says() {
    let scenario = simulate(&Circuit::saltpan(), &Driver::a(), 3, 5);
    let truth = &scenario.truth;
    for pass in &truth.passes {
        let at = truth.state_at(pass.apex.t_s).unwrap();
        let crossed = truth.crossing(pass.lap, at.position(), at.heading_rad, 8.0).unwrap();
        assert!((crossed.t_s - pass.apex.t_s).abs() < 1e-6);
        let against = truth.crossing(pass.lap, at.position(), at.heading_rad + TAU / 2.0, 8.0);
        assert!(against.is_none());
    }
}

#[test]
fn the_same_seed_gives_the_same_run_and_log() {
    let run = |seed| simulate(&Circuit::cellar(), &Driver::b(), 2, seed);
    let (first, again, other) = (run(3), run(3), run(4));
    assert_eq!(first.truth.states, again.truth.states);
    assert_ne!(first.truth.laps, other.truth.laps);
    let log = |seed| log_samples(&first, &LoggerNoise::default(), seed);
    assert_eq!(log(1).fixes(), log(1).fixes());
    assert_ne!(log(1).fixes(), log(2).fixes());
    // Leaving the yaw rate out changes nothing else.
    let without = log_samples(&first, &LoggerNoise::without_yaw(), 1);
    assert_eq!(log(1).fixes(), without.fixes());
    assert_eq!(log(1).channel(ChannelKind::Speed), without.channel(ChannelKind::Speed));
}

#[test]
fn the_log_errs_as_much_as_it_says() {
    let scenario = simulate(&Circuit::saltpan(), &Driver::a(), LAPS, 1);
    let noise = LoggerNoise::default();
    let samples = log_samples(&scenario, &noise, 7);
    let rms = |errors: &[f64]| (errors.iter().map(|it| it * it).sum::<f64>() / errors.len() as f64).sqrt();
    let speed_errors: Vec<f64> = samples
        .channel(ChannelKind::Speed)
        .unwrap()
        .iter()
        .filter_map(|(t_s, value)| {
            scenario.truth.state_at(t_s).filter(|it| it.speed_mps > 1.0).map(|it| value - it.speed_mps)
        })
        .collect();
    assert!((rms(&speed_errors) - noise.speed_mps).abs() < 0.005);
    let yaw_errors: Vec<f64> = samples
        .channel(ChannelKind::YawRate)
        .unwrap()
        .iter()
        .filter_map(|(t_s, value)| scenario.truth.state_at(t_s).map(|it| (value - it.yaw_rate_radps).to_degrees()))
        .collect();
    assert!((rms(&yaw_errors) - noise.yaw_rate_dps.hypot(noise.yaw_rate_bias_dps)).abs() < 0.03);
    // The wander is one draw of a slow process; over many seeds its mean square is what was asked for.
    let plane = scenario.circuit.plane();
    let squares: Vec<f64> = (0..40)
        .map(|seed| {
            let fix = log_samples(&scenario, &noise, seed).fixes()[500];
            let place = plane.to_plane(fix.latitude_deg, fix.longitude_deg);
            place.distance_m(scenario.truth.state_at(fix.t_s).unwrap().position())
        })
        .collect();
    // 0.6 m wander and 0.06 m per axis; forty draws of two axes give the root mean square to about 8 %.
    assert!((rms(&squares) - 0.606).abs() < 0.15, "{}", rms(&squares));
}

/// What the writers write, the readers read: the same fixes and channels to the digits written.
#[test]
fn written_logs_read_back() {
    let scenario = simulate(&Circuit::windgap(), &Driver::a(), 1, 2);
    let noise = LoggerNoise { with_course: true, yaw_rate_hz: 20.0, ..LoggerNoise::default() };
    let samples = log_samples(&scenario, &noise, 1);
    let read = |file: &str, text: String| cornerbook::log::read(file, text.as_bytes(), None).unwrap();
    let speeds_differ_m = |a: &Samples, b: &Samples| {
        let (a, b) = (a.channel(ChannelKind::Speed).unwrap(), b.channel(ChannelKind::Speed).unwrap());
        assert_eq!(a.len(), b.len());
        a.value.iter().zip(&b.value).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
    };
    let same_fixes = |name: &str, back: &Samples| {
        assert_eq!(back.fixes().len(), samples.fixes().len(), "{name}");
        for (fix, original) in back.fixes().iter().zip(samples.fixes()) {
            assert!((fix.t_s - original.t_s).abs() < 6e-4, "{name}: {fix:?} {original:?}");
            assert!((fix.latitude_deg - original.latitude_deg).abs() < 1e-8, "{name}: {fix:?} {original:?}");
            assert!((fix.longitude_deg - original.longitude_deg).abs() < 1e-8, "{name}: {fix:?} {original:?}");
        }
    };
    let usual = CsvStyle { between: Between::Empty, ..CsvStyle::default() };
    let styles = [
        ("rfc3339.csv", usual),
        ("epoch.csv", CsvStyle { time: TimeStyle::EpochSeconds, speed: SpeedUnit::MilesPerHour, ..usual }),
        ("ms.csv", CsvStyle { time: TimeStyle::EpochMilliseconds, speed: SpeedUnit::MetresPerSecond, ..usual }),
        ("start.csv", CsvStyle { time: TimeStyle::FromStart, delimiter: ';', decimal_comma: true, ..usual }),
    ];
    for (name, style) in styles {
        let back = read(name, csv_log(&samples, style));
        same_fixes(name, &back);
        // Three decimals of km/h are 0.14 mm/s, of m/s half a millimetre a second.
        assert!(speeds_differ_m(&back, &samples) < 6e-4, "{name}");
        let yaw_rate = back.channel(ChannelKind::YawRate).unwrap();
        assert_eq!(yaw_rate.len(), samples.channel(ChannelKind::YawRate).unwrap().len(), "{name}");
    }
    let nmea = read("log.nmea", nmea_log(&samples));
    same_fixes("log.nmea", &nmea);
    assert_eq!(nmea.start_utc(), samples.start_utc());
    assert!(speeds_differ_m(&nmea, &samples) < 6e-4);
    same_fixes("log.gpx", &read("log.gpx", gpx_log(&samples)));
}

#[test]
fn the_whole_sample_is_written_and_read() {
    let folder = tempfile::tempdir().unwrap();
    let options = SampleOptions { laps: 2, footage: None, other_formats: true, ..SampleOptions::default() };
    let written = write_sample(folder.path(), &options, &Context::new()).unwrap();
    assert_eq!((written.logs.len(), written.other_logs.len(), written.footage.len()), (3, 3, 0));
    for log in written.logs.iter().chain(&written.other_logs) {
        let name = log.file_name().unwrap().to_str().unwrap();
        let samples = cornerbook::log::read(name, &std::fs::read(log).unwrap(), None).unwrap();
        assert!(samples.duration_s() > 100.0, "{name}");
        assert_eq!(samples.fixes().is_empty(), name.contains("yaw-rate"), "{name}");
    }
    let (track, notes) = cornerbook::track::file::parse("track", &std::fs::read(&written.track).unwrap()).unwrap();
    assert!(track.left_edge.unwrap().closed && track.right_edge.unwrap().closed && track.start_finish.is_some());
    assert!(notes.is_empty(), "{notes:?}");
    let again = write_sample(folder.path(), &options, &Context::new()).unwrap_err().to_string();
    assert!(again.ends_with("is there already; give another name, or --force to write over it"), "{again}");
}

/// `sample-data/` is what this program writes today, and its README has a row for every file.
#[test]
fn the_committed_sample_is_up_to_date() {
    let committed = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data");
    let readme = std::fs::read_to_string(committed.join("README.md")).unwrap();
    let mut total = 0;
    for entry in std::fs::read_dir(&committed).unwrap().map(Result::unwrap) {
        let (name, bytes) = (entry.file_name().into_string().unwrap(), entry.metadata().unwrap().len());
        total += bytes;
        let row = readme.lines().find(|line| line.starts_with(&format!("| `{name}` |")));
        assert!(name == "README.md" || row.is_some_and(|it| it.contains(&format!("| {bytes} |"))), "{name}");
    }
    assert!(total < 6_000_000, "{total} bytes");
    let folder = tempfile::tempdir().unwrap();
    let options = SampleOptions { footage: None, other_formats: true, ..SampleOptions::default() };
    let written = write_sample(folder.path(), &options, &Context::new()).unwrap();
    for path in written.logs.iter().chain(&written.other_logs).chain([&written.track]) {
        let old = std::fs::read_to_string(committed.join(path.file_name().unwrap())).unwrap();
        let new = std::fs::read_to_string(path).unwrap();
        // The mathematics library of another system may round the last digit written differently.
        let differ = old.lines().zip(new.lines()).filter(|(old, new)| old != new).count();
        assert_eq!(old.lines().count(), new.lines().count(), "{path:?}");
        assert!(differ * 100 <= new.lines().count(), "{path:?}: {differ} lines differ; run make_sample_data again");
    }
}

#[cfg(feature = "media")]
mod footage {
    use cornerbook::files::Overwrite;
    use cornerbook::job::Context;
    use cornerbook::sample::{
        Camera, Circuit, Driver, Error, FootageOptions, FrameRate, read_frame_code, simulate, write_footage,
    };
    use cornerbook::session::ClockMap;
    use gstreamer::prelude::*;
    use gstreamer_app::AppSink;

    const CAMERA: Camera =
        Camera { clock: ClockMap { log_t_s_at_zero: 20.25, rate_ppm: 50.0 }, duration_s: 1.7, stamp_error_s: -3593.0 };

    /// Presentation time in seconds and code of every frame, in presentation order.
    fn codes(path: &std::path::Path) -> Vec<(f64, Option<u32>)> {
        let pipeline = gstreamer::parse::launch(
            "filesrc name=file ! decodebin ! videoconvert ! video/x-raw,format=GRAY8 ! appsink name=frames sync=false",
        )
        .unwrap()
        .downcast::<gstreamer::Pipeline>()
        .unwrap();
        pipeline.by_name("file").unwrap().set_property("location", path.to_str().unwrap());
        let frames = pipeline.by_name("frames").unwrap().downcast::<AppSink>().unwrap();
        pipeline.set_state(gstreamer::State::Playing).unwrap();
        let mut seen = Vec::new();
        while let Ok(sample) = frames.pull_sample() {
            let info = gstreamer_video::VideoInfo::from_caps(sample.caps().unwrap()).unwrap();
            let buffer = sample.buffer().unwrap();
            let segment = sample.segment().unwrap().downcast_ref::<gstreamer::ClockTime>().unwrap();
            let at = segment.to_running_time(buffer.pts()).unwrap();
            let bytes = buffer.map_readable().unwrap();
            let (width, height) = (info.width() as usize, info.height() as usize);
            let stride = usize::try_from(info.stride()[0]).unwrap();
            seen.push((at.nseconds() as f64 * 1e-9, read_frame_code(&bytes, width, height, stride, 1)));
        }
        pipeline.set_state(gstreamer::State::Null).unwrap();
        seen
    }

    #[test]
    fn every_frame_says_its_number_at_its_time() {
        let scenario = simulate(&Circuit::cellar(), &Driver::a(), 1, 1);
        let folder = tempfile::tempdir().unwrap();
        let constant = |numerator, denominator| FrameRate::Constant { numerator, denominator };
        let usual = FootageOptions::default();
        let cases = [
            ("25.mp4", usual),
            ("small.mp4", FootageOptions { small: true, video_kbps: 200, gop: 125, ..usual }),
            ("ntsc.mp4", FootageOptions { rate: constant(30_000, 1001), b_frames: 2, gop: 12, sound: false, ..usual }),
            ("variable.mp4", FootageOptions { rate: FrameRate::Variable { seed: 5 }, ..usual }),
            ("60.mp4", FootageOptions { rate: constant(60, 1), width: 1280, height: 720, video_kbps: 4000, ..usual }),
        ];
        for (name, options) in cases {
            let path = folder.path().join(name);
            write_footage(&path, Overwrite::Refuse, &scenario, &CAMERA, &options, &Context::new()).unwrap();
            let (seen, times_ns) = (codes(&path), options.frame_times_ns(CAMERA.duration_s));
            assert_eq!(seen.len() + 1, times_ns.len(), "{name}");
            for (index, (at_s, code)) in seen.iter().enumerate() {
                assert_eq!(*code, u32::try_from(index).ok(), "{name}: frame {index}");
                // The container counts time in ticks of its own; 90 000 a second, and nanoseconds are cut.
                let miss_s = at_s - times_ns[index] as f64 * 1e-9;
                assert!(miss_s.abs() < 2e-5, "{name}: frame {index} is {miss_s} s off");
            }
        }
    }

    /// ISO/IEC 14496-12, 8.2.2: a version 0 movie header has its creation time, in seconds since 1904, 12 bytes after
    /// the start of the box.
    #[test]
    fn the_container_carries_the_wrong_clock() {
        let scenario = simulate(&Circuit::cellar(), &Driver::a(), 1, 1);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("stamp.mp4");
        let camera = Camera { duration_s: 0.2, ..CAMERA };
        write_footage(&path, Overwrite::Refuse, &scenario, &camera, &FootageOptions::default(), &Context::new())
            .unwrap();
        let bytes = std::fs::read(&path).unwrap();
        let header = bytes.windows(4).position(|it| it == b"mvhd").unwrap() - 4;
        let seconds = u32::from_be_bytes(bytes[header + 12..header + 16].try_into().unwrap());
        let stamp_s = i64::from(seconds) - 2_082_844_800;
        // 20.25 s into the log, less 3593 s, in whole seconds.
        assert_eq!(stamp_s - scenario.start_utc.timestamp(), -3573);
    }

    #[test]
    fn a_cancelled_film_leaves_nothing() {
        let scenario = simulate(&Circuit::cellar(), &Driver::a(), 1, 1);
        let folder = tempfile::tempdir().unwrap();
        let context = Context::new();
        context.cancel();
        let path = folder.path().join("none.mp4");
        let outcome = write_footage(&path, Overwrite::Refuse, &scenario, &CAMERA, &FootageOptions::default(), &context);
        assert!(matches!(outcome, Err(Error::Cancelled(_))), "{outcome:?}");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    }
}
