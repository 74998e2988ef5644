//! Clock by motion on films: rendered recordings whose clock is known, and real ones. Everything that is decoded is
//! small, so that the suite stays quick; `RUN_SLOW_TESTS` adds the whole grid.

use std::path::{Path, PathBuf};

use cornerbook::clock::Method;
use cornerbook::files::Overwrite;
use cornerbook::job::Context;
use cornerbook::load::{self, Aligned, Reading};
use cornerbook::sample::{
    Camera, Circuit, CsvStyle, Driver, Facing, FootageOptions, FrameRate, LoggerNoise, Look, csv_log, log_samples,
    simulate, write_footage,
};
use cornerbook::session::{ClockMap, NoteKind, VideoTime};

use crate::support::shared_data;

/// One recording of the grid.
struct Case {
    name: &'static str,
    circuit: Circuit,
    look: Look,
    rate: FrameRate,
    begins_s: f64,
    rate_ppm: f64,
    filmed_s: f64,
    laps: u32,
    noise: LoggerNoise,
}

fn hz(numerator: u32, denominator: u32) -> FrameRate {
    FrameRate::Constant { numerator, denominator }
}

fn quick() -> Vec<Case> {
    let plain = Look::default();
    vec![
        Case {
            name: "plain, 25/s",
            circuit: Circuit::saltpan(),
            look: plain,
            rate: hz(25, 1),
            begins_s: 25.4,
            rate_ppm: 35.0,
            filmed_s: 60.0,
            laps: 3,
            noise: LoggerNoise::default(),
        },
        Case {
            name: "wet and shaking, variable, looking back, positions only",
            circuit: Circuit::windgap(),
            look: Look { wet: true, shaking: true, facing: Facing::Back, ..plain },
            rate: FrameRate::Variable { seed: 7 },
            begins_s: 41.17,
            rate_ppm: -80.0,
            filmed_s: 60.0,
            laps: 3,
            noise: LoggerNoise::position_only(),
        },
    ]
}

fn slow() -> Vec<Case> {
    let plain = Look::default();
    let case = |name, circuit, look, rate, begins_s, rate_ppm, filmed_s, laps| Case {
        name,
        circuit,
        look,
        rate,
        begins_s,
        rate_ppm,
        filmed_s,
        laps,
        noise: LoggerNoise::default(),
    };
    let ntsc = hz(30_000, 1001);
    vec![
        case("dark", Circuit::saltpan(), Look { dark: true, ..plain }, ntsc, 12.3, -20.0, 150.0, 5),
        case(
            "upside down, 60/s",
            Circuit::cellar(),
            Look { facing: Facing::UpsideDown, ..plain },
            hz(60, 1),
            33.0,
            80.0,
            100.0,
            5,
        ),
        case(
            "mirrored, before the log",
            Circuit::windgap(),
            Look { facing: Facing::Mirrored, ..plain },
            ntsc,
            -40.0,
            50.0,
            150.0,
            5,
        ),
        case(
            "wet and dark",
            Circuit::cellar(),
            Look { wet: true, dark: true, ..plain },
            hz(25, 1),
            20.7,
            -80.0,
            120.0,
            6,
        ),
        case(
            "two hours in, shaking",
            Circuit::saltpan(),
            Look { shaking: true, ..plain },
            ntsc,
            7200.0,
            80.0,
            120.0,
            182,
        ),
        case(
            "long, looking back",
            Circuit::windgap(),
            Look { facing: Facing::Back, ..plain },
            hz(25, 1),
            30.0,
            80.0,
            420.0,
            12,
        ),
    ]
}

fn film(folder: &Path, case: &Case) -> (PathBuf, PathBuf) {
    let scenario = simulate(&case.circuit, &Driver::a(), case.laps, 3);
    let (log, footage) = (folder.join("run.csv"), folder.join("onboard.mp4"));
    std::fs::write(&log, csv_log(&log_samples(&scenario, &case.noise, 3), CsvStyle::default())).unwrap();
    let clock = ClockMap { log_t_s_at_zero: case.begins_s, rate_ppm: case.rate_ppm };
    let camera = Camera { clock, duration_s: case.filmed_s, stamp_error_s: 7200.0 };
    let options = FootageOptions {
        width: 320,
        height: 180,
        rate: case.rate,
        video_kbps: 700,
        sound: false,
        look: case.look,
        ..FootageOptions::default()
    };
    write_footage(&footage, Overwrite::Refuse, &scenario, &camera, &options, &Context::new()).unwrap();
    (log, footage)
}

fn align(log: &Path, footage: &Path, reading: &Reading) -> Aligned {
    let context = Context::new();
    let session = load::open(log, reading, &context).unwrap();
    load::align(&session, &[footage.to_owned()], None, &context).unwrap()
}

/// The goals of docs/methods.md: 10 ms root mean square, 20 ms at worst, the rate within 10 ms over the recording.
#[test]
fn rendered_recordings_are_put_where_they_belong() {
    let mut cases = quick();
    if std::env::var_os("RUN_SLOW_TESTS").is_some() {
        cases.extend(slow());
    }
    let (mut misses, mut failures) = (Vec::new(), Vec::new());
    for case in &cases {
        let folder = tempfile::tempdir().unwrap();
        let (log, footage) = film(folder.path(), case);
        let aligned = align(&log, &footage, &Reading::default());
        let clock = &aligned.clocks[0];
        let Some(map) = clock.map.filter(|_| clock.method == Method::Motion) else {
            failures.push(format!("{}: not by motion, {clock:?}", case.name));
            continue;
        };
        let miss = |at_s: f64| {
            (map.log_t_s_at_zero + at_s * (1.0 + map.rate_ppm * 1e-6))
                - (case.begins_s + at_s * (1.0 + case.rate_ppm * 1e-6))
        };
        let (first_s, last_s) = (miss(case.begins_s.min(0.0).abs()), miss(case.filmed_s));
        println!(
            "{}: {:.1} ms at the start, {:.1} ms at the end, ±{:.1} ms, confidence {:.2}, next best {:.3}, wander {:.1} ms",
            case.name,
            1e3 * first_s,
            1e3 * last_s,
            1e3 * clock.ci95_s.unwrap(),
            clock.confidence,
            clock.next_best_ratio.unwrap(),
            1e3 * aligned.motion.as_ref().unwrap().fit.as_ref().unwrap().wander_s
        );
        if clock.confidence <= 0.5 {
            failures.push(format!("{}: {clock:?}", case.name));
        }
        if first_s.abs().max(last_s.abs()) >= 0.02 || (last_s - first_s).abs() >= 0.01 {
            failures.push(format!("{}: {first_s} {last_s}", case.name));
        }
        let has = |kind: &NoteKind| clock.notes.iter().any(|it| it.kind == *kind);
        assert!(has(&NoteKind::ZoneShift { hours: 2.0 }) || case.begins_s > 3600.0, "{}: {clock:?}", case.name);
        assert_eq!(has(&NoteKind::CameraLooksBack), case.look.facing == Facing::Back, "{}: {clock:?}", case.name);
        let turned = matches!(case.look.facing, Facing::Mirrored | Facing::UpsideDown);
        let upside_down = case.look.facing == Facing::UpsideDown;
        assert_eq!(has(&NoteKind::PictureTurnsBack { upside_down }), turned, "{}: {clock:?}", case.name);
        misses.extend([first_s, last_s]);
    }
    let rms_s = (misses.iter().map(|it| it * it).sum::<f64>() / misses.len() as f64).sqrt();
    println!("{} recordings: {:.1} ms root mean square", cases.len(), 1e3 * rms_s);
    assert!(failures.is_empty() && rms_s < 0.01, "{failures:?} {misses:?}");
}

const GYRO_X: &str =
    "[time]\ncolumn = \"t_s\"\nunit = \"s\"\n[\"yaw rate\"]\ncolumn = \"gyro_x_radps\"\nunit = \"rad/s\"\n";

/// SOURCES.md: 3.272 ± 0.010 s, one peak (optical flow and scipy, there).
#[test]
fn a_real_clip_is_found_on_its_gyro() {
    let Some(footage) = shared_data("video-incar-gyro/incar.mp4") else { return };
    let log = shared_data("video-incar-gyro/gyro_412hz.csv").unwrap();
    let folder = tempfile::tempdir().unwrap();
    let columns = folder.path().join("gyro.toml");
    std::fs::write(&columns, GYRO_X).unwrap();
    let aligned = align(&log, &footage, &Reading { columns: Some(columns), ..Reading::default() });
    let clock = &aligned.clocks[0];
    assert_eq!(clock.method, Method::Motion, "{clock:?}");
    assert!((clock.map.unwrap().log_t_s_at_zero - 3.272).abs() < 0.010, "{clock:?}");
    assert!(clock.confidence > 0.5 && clock.ci95_s.unwrap() < 0.03, "{clock:?}");
}

/// A motorway hardly turns: no log places it, not even one of a circuit.
#[test]
fn a_real_motorway_is_placed_nowhere() {
    let Some(footage) = shared_data("video-highway/solidWhiteRight.mp4") else { return };
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/driver-a.csv");
    let phone = shared_data("drive-phone-can/gnss_10hz.csv").unwrap();
    for log in [sample, phone] {
        let aligned = align(&log, &footage, &Reading::default());
        let clock = &aligned.clocks[0];
        assert!(clock.method != Method::Motion && clock.confidence < 0.2, "{clock:?}");
        assert!(clock.notes.iter().any(|it| matches!(it.kind, NoteKind::MotionNotUsed { .. })), "{clock:?}");
    }
}

/// Black, and a picture that never changes.
#[test]
fn a_still_or_black_recording_is_placed_nowhere() {
    let folder = tempfile::tempdir().unwrap();
    let log = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/driver-a.csv");
    for source in ["color=black:size=320x180:rate=25:duration=12", "smptebars=size=320x180:rate=25:duration=12"] {
        let path = folder.path().join("still.mp4");
        let made = std::process::Command::new("ffmpeg")
            .args(["-v", "error", "-y", "-f", "lavfi", "-i", source, "-pix_fmt", "yuv420p"])
            .arg(&path)
            .status()
            .unwrap();
        assert!(made.success());
        let clock = align(&log, &path, &Reading::default()).clocks.remove(0);
        let still = NoteKind::MotionNotUsed { doubt: cornerbook::session::MotionDoubt::StillPicture };
        assert!(clock.method == Method::None && clock.notes.iter().any(|it| it.kind == still), "{source}: {clock:?}");
    }
}

/// Footage without a log: corners and laps from what is seen. Three laps of a circuit with a marked gate.
#[test]
fn footage_alone_gives_corners_and_laps() {
    let scenario = simulate(&Circuit::cellar(), &Driver::a(), 4, 5);
    let folder = tempfile::tempdir().unwrap();
    let footage = folder.path().join("indoors.mp4");
    let laps = &scenario.truth.laps;
    let timed: Vec<_> = laps.iter().filter(|it| it.lap >= 1 && it.lap <= 3).collect();
    let begins_s = timed[0].start_t_s - 5.0;
    let clock = ClockMap { log_t_s_at_zero: begins_s, rate_ppm: 0.0 };
    let camera = Camera { clock, duration_s: timed[2].end_t_s + 5.0 - begins_s, stamp_error_s: 0.0 };
    let options = FootageOptions { width: 320, height: 180, sound: false, ..FootageOptions::default() };
    write_footage(&footage, Overwrite::Refuse, &scenario, &camera, &options, &Context::new()).unwrap();
    let mut book = load::book_of(std::slice::from_ref(&footage)).unwrap();
    assert!(book.logs.is_empty() && book.verify_invariants().is_ok());
    book.marked_crossing_s = Some(5.0);
    let path = folder.path().join("indoors.cornerbook");
    cornerbook::book::file::save(&book, &path, Overwrite::Refuse).unwrap();

    let context = Context::new();
    let session = load::open(&path, &Reading::default(), &context).unwrap();
    assert!(session.is_footage_alone);
    let analysis = load::analyse(&session, &context).unwrap();
    let times: Vec<f64> = analysis.laps.iter().filter_map(|it| it.time_s).map(|it| it.value).collect();
    let expected: Vec<f64> = timed.iter().map(|it| it.end_t_s - it.start_t_s).collect();
    assert_eq!(times.len(), expected.len(), "{times:?} for {expected:?}");
    for (time_s, expected_s) in times.iter().zip(&expected) {
        assert!((time_s - expected_s).abs() < 0.3, "{times:?} for {expected:?}");
    }
    let turned: f64 = analysis.corners.iter().map(|it| it.angle_deg).sum();
    println!("{} corners, {:.0}° in all", analysis.corners.len(), turned);
    assert!(analysis.corners.len() >= scenario.circuit.bends.len() - 2, "{} corners", analysis.corners.len());
    assert!(analysis.passes.iter().all(|it| it.min_speed_mps.is_none()));
    assert!(
        analysis.passes.iter().filter(|it| it.turn_in.is_some() && it.exit.is_some()).count()
            > 2 * analysis.corners.len()
    );
    let aligned = load::align(&session, &[], None, &context).unwrap();
    let map = aligned.clocks[0].map.unwrap();
    assert!((map.to_log(VideoTime::from_seconds(7.0)).0 - 7.0).abs() < 1e-9);
}
