//! Clock by motion: what is seen to turn, laid over logs whose true offset is known; the right lap, the wrong session,
//! and real recordings. Motion that is made from the truth here; films in the part that needs footage.

#[cfg(feature = "media")]
mod films;

use chrono::{DateTime, TimeDelta, Utc};
use cornerbook::analysis::turning_of;
use cornerbook::clock::motion::{MotionFit, SeenFrame, SeenYaw, Turning, combine, fit, from_motion};
use cornerbook::clock::{Chapter, FootageClock, LogSpan, Method, from_stamps};
use cornerbook::job::Context;
use cornerbook::sample::{Circuit, Driver, LoggerNoise, Scenario, log_samples, simulate};
use cornerbook::session::{Channel, ChannelKind, ClockMap, MotionDoubt, NoteKind, Samples};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::support::shared_data;

/// Shares of a picture's width a radian: a camera that sees 75° across.
const WIDTHS_A_RADIAN: f64 = 0.67;

/// What a camera with this clock would see of a run: two far bands that turn, three that do not help.
fn seen(scenario: &Scenario, clock: ClockMap, (from_s, to_s): (f64, f64), seed: u64) -> Vec<SeenFrame> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let heading = |at_s: f64| {
        let t_s = clock.log_t_s_at_zero + at_s * (1.0 + clock.rate_ppm * 1e-6);
        scenario.truth.state_at(t_s.clamp(0.0, scenario.truth.duration_s())).unwrap().heading_rad
    };
    let mut noise = |size: f64| size * (rng.random_range(-1.0..1.0) + rng.random_range(-1.0..1.0));
    let step_s = 1.0 / 30.0;
    (0..((to_s - from_s) / step_s) as u32)
        .map(|index| {
            let (a_s, b_s) = (from_s + f64::from(index) * step_s, from_s + f64::from(index + 1) * step_s);
            let turned = WIDTHS_A_RADIAN * (heading(b_s) - heading(a_s));
            let bands = vec![
                (turned + noise(0.001), 0.7),
                (turned + noise(0.001), 0.7),
                (noise(0.02), 0.3),
                (noise(0.001), 0.4),
                (0.0, 0.95),
            ];
            SeenFrame { from_s: a_s, to_s: b_s, bands, spread: None }
        })
        .collect()
}

fn turning(samples: &Samples) -> Turning {
    turning_of(samples, &Context::new()).unwrap()
}

fn circuits() -> [Circuit; 3] {
    [Circuit::saltpan(), Circuit::windgap(), Circuit::cellar()]
}

/// How far the clock is off at worst over the footage, s.
fn miss_s(found: &MotionFit, truth: ClockMap, (from_s, to_s): (f64, f64)) -> f64 {
    let at = |map: ClockMap, at_s: f64| map.log_t_s_at_zero + at_s * (1.0 + map.rate_ppm * 1e-6);
    [from_s, to_s].map(|it| (at(found.map, it) - at(truth, it)).abs()).into_iter().fold(0.0, f64::max)
}

/// With a gyro, and with positions alone: 12 recordings over three circuits. What is believed is right.
#[test]
fn offset_and_rate_are_found_from_gyro_and_from_positions() {
    let mut misses = Vec::new();
    for (circuit, seed) in circuits().iter().zip(1_u64..) {
        for (driver, rate_ppm) in [(Driver::a(), 80.0), (Driver::b(), -60.0)] {
            let scenario = simulate(circuit, &driver, 6, seed);
            let start_s = if rate_ppm > 0.0 { -40.0 } else { 33.3 };
            let clock = ClockMap { log_t_s_at_zero: start_s, rate_ppm };
            let span = (0.0, scenario.truth.duration_s() - start_s - 20.0);
            let seen = combine(&seen(&scenario, clock, span, seed));
            for noise in [LoggerNoise::default(), LoggerNoise::position_only()] {
                let found = fit(&turning(&log_samples(&scenario, &noise, seed)), &seen).unwrap();
                let miss_s = miss_s(&found, clock, (span.0.max(-start_s), span.1));
                println!(
                    "{} gyro {}: {miss_s:.4} s, confidence {:.2}, wander {:.4}",
                    circuit.name, noise.with_yaw, found.confidence, found.wander_s
                );
                let is_sure = found.confidence > 0.5;
                // From positions alone the turning is smoothed, and which lap it is may stay open.
                assert!(is_sure || !noise.with_yaw, "{:?} {:?}", found.map, found.confidence);
                assert!(miss_s < 0.3 || found.confidence < 0.2, "{miss_s} {:?} {:?}", found.map, found.confidence);
                if is_sure {
                    assert!(miss_s < 0.02, "{miss_s} {:?}", found.map);
                    misses.push(miss_s);
                }
            }
        }
    }
    let rms_s = (misses.iter().map(|it| it * it).sum::<f64>() / misses.len() as f64).sqrt();
    println!("worst end of {} recordings: RMS {rms_s:.4} s", misses.len());
    assert!(misses.len() >= 10, "{} of 12 recordings are believed", misses.len());
    assert!(rms_s < 0.01, "{misses:?}");
}

/// Parts of a recording from 6 s to two laps long against their own log and another session's: what is confident is
/// right, and what is of another session is not confident.
#[test]
fn no_wrong_lap_and_no_other_session_is_believed() {
    let (mut believed, mut tried, mut strangers) = (0, 0, Vec::new());
    for (circuit, seed) in circuits().iter().zip(11_u64..) {
        let own = simulate(circuit, &Driver::a(), 8, seed);
        let other = simulate(circuit, &Driver::a(), 8, seed + 100);
        let third = simulate(circuit, &Driver::b(), 8, seed + 200);
        let noise = LoggerNoise { yaw_rate_hz: 20.0, ..LoggerNoise::default() };
        let logs = [&own, &other, &third].map(|it| turning(&log_samples(it, &noise, seed)));
        for length_s in [6.0, 12.0, 25.0, 45.0, 90.0] {
            for part in 0..4 {
                let start_s = 40.0 + 37.0 * f64::from(part);
                let clock = ClockMap { log_t_s_at_zero: start_s, rate_ppm: 20.0 };
                let seen = combine(&seen(&own, clock, (0.0, length_s), seed + u64::from(part as u32)));
                tried += 1;
                if let Ok(found) = fit(&logs[0], &seen)
                    && found.confidence > 0.5
                {
                    believed += 1;
                    assert!(miss_s(&found, clock, (0.0, length_s)) < 0.3, "{length_s} s at {start_s}: {:?}", found.map);
                }
                for log in &logs[1..] {
                    strangers.extend(fit(log, &seen).ok().map(|it| (length_s, it.confidence)));
                }
            }
        }
    }
    let wrong: Vec<_> = strangers.iter().filter(|it| it.1 >= 0.2).collect();
    println!("{believed} of {tried} parts believed; strangers at 0.2 and above: {wrong:?} of {}", strangers.len());
    assert!(believed * 3 >= tried, "{believed} of {tried}");
    assert!(wrong.is_empty(), "{wrong:?}");
}

fn chapters(lengths_s: &[f64], created: Option<DateTime<Utc>>) -> Vec<Chapter> {
    lengths_s.iter().map(|duration_s| Chapter { duration_s: *duration_s, created }).collect()
}

/// The whole verdict on a recording whose camera's clock is off by so many seconds.
fn verdict(scenario: &Scenario, frames: &[SeenFrame], lengths_s: &[f64], stamp_s: Option<f64>) -> Vec<FootageClock> {
    let samples = log_samples(scenario, &LoggerNoise::default(), 3);
    let created = stamp_s.map(|it| scenario.start_utc + TimeDelta::milliseconds((it * 1000.0) as i64));
    let chapters = chapters(lengths_s, created);
    let log = LogSpan { start_utc: samples.start_utc(), duration_s: samples.duration_s() };
    from_motion(&turning(&samples), &combine(frames), &chapters, from_stamps(log, &chapters)).0
}

#[test]
fn a_time_zone_and_a_wrong_clock_are_named() {
    let scenario = simulate(&Circuit::saltpan(), &Driver::a(), 5, 2);
    let clock = ClockMap { log_t_s_at_zero: 30.0, rate_ppm: 0.0 };
    let frames = seen(&scenario, clock, (0.0, 120.0), 5);
    let kinds = |stamp_s: f64| -> Vec<NoteKind> {
        let clocks = verdict(&scenario, &frames, &[120.0], Some(stamp_s));
        assert_eq!(clocks[0].method, Method::Motion);
        assert!((clocks[0].map.unwrap().log_t_s_at_zero - 30.0).abs() < 0.02, "{clocks:?}");
        clocks[0].notes.iter().map(|it| it.kind.clone()).collect()
    };
    assert_eq!(kinds(33.0), []);
    assert_eq!(kinds(30.0 + 7204.0), [NoteKind::ZoneShift { hours: 2.0 }]);
    assert_eq!(kinds(30.0 - 3600.0 + 10.0), [NoteKind::ZoneShift { hours: -1.0 }]);
    assert!(matches!(kinds(30.0 - 700.0)[..], [NoteKind::CameraClockWrong { .. }]) || kinds(30.0 - 700.0).is_empty());
}

/// Two chapters with 70 s missing between them, and the same without a gap.
#[test]
fn a_missing_chapter_is_noticed() {
    let scenario = simulate(&Circuit::windgap(), &Driver::a(), 8, 4);
    let first = seen(&scenario, ClockMap { log_t_s_at_zero: 20.0, rate_ppm: 0.0 }, (0.0, 100.0), 1);
    let later = |log_t_s: f64| seen(&scenario, ClockMap { log_t_s_at_zero: log_t_s, rate_ppm: 0.0 }, (100.0, 200.0), 2);
    let whole = verdict(&scenario, &[first.clone(), later(20.0)].concat(), &[100.0, 100.0], None);
    let starts: Vec<f64> = whole.iter().filter_map(|it| Some(it.map?.log_t_s_at_zero)).collect();
    assert!((starts[0] - 20.0).abs() < 0.02 && (starts[1] - 120.0).abs() < 0.02, "{starts:?}");
    assert!(whole[1].notes.is_empty());
    let broken = verdict(&scenario, &[first, later(90.0)].concat(), &[100.0, 100.0], None);
    let starts: Vec<f64> = broken.iter().filter_map(|it| Some(it.map?.log_t_s_at_zero)).collect();
    assert!((starts[0] - 20.0).abs() < 0.02 && (starts[1] - 190.0).abs() < 0.02, "{broken:?}");
    let gap = broken[1].notes.iter().find_map(|it| match it.kind {
        NoteKind::ChapterGap { chapter, seconds } => Some((chapter, seconds)),
        _ => None,
    });
    assert!(gap.is_some_and(|(chapter, seconds)| chapter == 2 && (seconds - 70.0).abs() < 0.05), "{gap:?}");
}

/// A stamp near the truth tells laps apart that look alike, but never makes sure.
#[test]
fn a_stamp_decides_between_laps_and_no_more() {
    let scenario = simulate(&Circuit::cellar(), &Driver::a(), 8, 6);
    let clock = ClockMap { log_t_s_at_zero: 70.0, rate_ppm: 0.0 };
    let frames = seen(&scenario, clock, (0.0, 7.0), 5);
    let without = &verdict(&scenario, &frames, &[7.0], None)[0];
    let with = &verdict(&scenario, &frames, &[7.0], Some(66.0))[0];
    if without.method != Method::Motion {
        assert!(matches!(without.notes.last().unwrap().kind, NoteKind::MotionNotUsed { .. }), "{without:?}");
        assert!(with.confidence <= 0.5, "{with:?}");
    }
    assert!((with.map.unwrap().log_t_s_at_zero - 70.0).abs() < 8.0, "{with:?}");
}

#[test]
fn what_tells_nothing_says_why() {
    let scenario = simulate(&Circuit::saltpan(), &Driver::a(), 3, 2);
    let log = turning(&log_samples(&scenario, &LoggerNoise::default(), 1));
    let clock = ClockMap { log_t_s_at_zero: 30.0, rate_ppm: 0.0 };
    let frames = seen(&scenario, clock, (0.0, 60.0), 5);
    let still: Vec<SeenFrame> =
        frames.iter().map(|it| SeenFrame { bands: vec![(0.0, 1.0); 5], ..it.clone() }).collect();
    assert!(fit(&log, &combine(&still)).is_err());
    assert_eq!(fit(&log, &SeenYaw::default()), Err(MotionDoubt::StillPicture));
    let straight = Channel { t_s: (0..900).map(|i| 0.1 * f64::from(i)).collect(), value: vec![0.002; 900] };
    assert_eq!(fit(&Turning::from_yaw_rate(&straight), &combine(&frames)), Err(MotionDoubt::LogStraight));
    assert_eq!(fit(&Turning::default(), &combine(&frames)), Err(MotionDoubt::LogStraight));
}

/// A recording that cannot be placed: its name, the log, what is seen, and which reason is right.
type Hopeless<'a> = (&'static str, &'a Turning, Vec<SeenFrame>, fn(&MotionDoubt) -> bool);

/// What the motion cannot place keeps its stamp's place, or has none, and says why.
#[test]
fn bad_input_is_never_placed_by_motion() {
    let scenario = simulate(&Circuit::saltpan(), &Driver::a(), 5, 2);
    let clock = ClockMap { log_t_s_at_zero: 70.0, rate_ppm: 0.0 };
    let log = turning(&log_samples(&scenario, &LoggerNoise::default(), 3));
    let frames = seen(&scenario, clock, (0.0, 100.0), 5);
    let with = |band: (f64, f64)| -> Vec<SeenFrame> {
        frames.iter().map(|it| SeenFrame { bands: vec![band; 5], ..it.clone() }).collect()
    };
    let elsewhere = simulate(&Circuit::windgap(), &Driver::b(), 5, 9);
    let straight = Channel { t_s: (0..3000).map(|i| 0.1 * f64::from(i)).collect(), value: vec![0.002; 3000] };
    let straight = Turning::from_yaw_rate(&straight);
    let still: fn(&MotionDoubt) -> bool = |it| *it == MotionDoubt::StillPicture;
    let alike: fn(&MotionDoubt) -> bool = |it| matches!(it, MotionDoubt::PlacesAlike { .. } | MotionDoubt::Weak { .. });
    let cases: [Hopeless<'_>; 5] = [
        ("a still camera", &log, with((0.0, 1.0)), |it| {
            matches!(it, MotionDoubt::StillPicture | MotionDoubt::FootageStraight)
        }),
        ("a black recording", &log, with((0.0, 0.0)), still),
        ("shorter than a lap", &log, frames[..180].to_vec(), alike),
        ("no overlap with the log", &log, seen(&elsewhere, clock, (0.0, 100.0), 6), alike),
        ("no turning in the log", &straight, frames.clone(), |it| *it == MotionDoubt::LogStraight),
    ];
    let span = LogSpan { start_utc: Some(scenario.start_utc), duration_s: 280.0 };
    for (name, log, frames, is_reason) in cases {
        for (created, method) in
            [(None, Method::None), (Some(scenario.start_utc + TimeDelta::seconds(20)), Method::Clock)]
        {
            let chapters = chapters(&[100.0], created);
            let clock = from_motion(log, &combine(&frames), &chapters, from_stamps(span, &chapters)).0.remove(0);
            assert!(clock.method == method && clock.confidence <= 0.5, "{name}: {clock:?}");
            let reason = clock.notes.iter().find_map(|it| match &it.kind {
                NoteKind::MotionNotUsed { doubt } => Some(*doubt),
                _ => None,
            });
            assert!(reason.as_ref().is_some_and(is_reason), "{name}: {clock:?}");
        }
    }
}

fn real(relative: &str) -> Option<Samples> {
    let path = shared_data(relative)?;
    Some(cornerbook::log::read(relative, &std::fs::read(path).unwrap(), None).unwrap())
}

/// Columns of a shared table by their header, as numbers.
fn columns(relative: &str, names: &[&str]) -> Option<Vec<Vec<f64>>> {
    let mut table = csv::Reader::from_path(shared_data(relative)?).unwrap();
    let headers = table.headers().unwrap().clone();
    let at: Vec<usize> = names.iter().map(|name| headers.iter().position(|it| it == *name).unwrap()).collect();
    let mut columns = vec![Vec::new(); names.len()];
    for row in table.records() {
        let row = row.unwrap();
        for (column, index) in columns.iter_mut().zip(&at) {
            column.push(row[*index].parse().unwrap_or(f64::NAN));
        }
    }
    Some(columns)
}

/// A heading or its rate as a camera would have seen it.
fn as_seen(t_s: &[f64], turned_rad: impl Fn(usize) -> f64) -> SeenYaw {
    let frame = |index: usize| {
        let turned = WIDTHS_A_RADIAN * turned_rad(index);
        SeenFrame { from_s: t_s[index], to_s: t_s[index + 1], bands: vec![(turned, 0.8)], spread: None }
    };
    combine(&(0..t_s.len() - 1).map(frame).collect::<Vec<_>>())
}

/// SOURCES.md: gyro against course, "GNSS late by 0.26 s" (worked out there with scipy); its fixes come once a second.
#[test]
fn a_drives_gyro_and_course_differ_by_the_stated_delay() {
    let Some(gyro) = columns("drive-gyro-gnss/gyro_10hz.csv", &["t_s", "yaw_rate_dps"]) else { return };
    let gnss = columns("drive-gyro-gnss/gnss_1hz.csv", &["t_s", "speed_mps", "course_deg"]).unwrap();
    let moving: Vec<usize> = (0..gnss[0].len()).filter(|index| gnss[1][*index] > 3.0).collect();
    let t_s: Vec<f64> = moving.iter().map(|index| gnss[0][*index]).collect();
    let heading: Vec<f64> = moving.iter().map(|index| (90.0 - gnss[2][*index]).to_radians()).collect();
    let log = Turning::from_heading(&t_s, &heading);
    let seen = as_seen(&gyro[0], |index| gyro[1][index].to_radians() * (gyro[0][index + 1] - gyro[0][index]));
    let found = fit(&log, &seen).unwrap();
    println!("{:?} confidence {} r {}", found.map, found.confidence, found.correlation);
    // A heading a second, and steps of a tenth between: a tenth of a second is what can be told.
    let at_centre_s = found.map.log_t_s_at_zero + found.centre_s * found.map.rate_ppm * 1e-6;
    assert!((at_centre_s - 0.26).abs() < 0.1, "{found:?}");
}

/// SOURCES.md: yaw never exceeds 1.6 °/s, so that an offset from it "must be rejected".
#[test]
fn a_motorways_course_is_called_weak() {
    let Some(samples) = real("drive-phone-can/gnss_10hz.csv") else { return };
    let pose = columns("drive-phone-can/camera_pose_20hz.csv", &["t_s", "q_w", "q_x", "q_y", "q_z"]).unwrap();
    // Any angle about an axis of the earth will do: the motorway's own turning is what is too small.
    let yaw: Vec<f64> = (0..pose[0].len()).map(|i| 2.0 * pose[4][i].atan2(pose[1][i])).collect();
    let seen = as_seen(&pose[0], |index| yaw[index + 1] - yaw[index]);
    match fit(&turning(&samples), &seen) {
        Ok(found) => assert!(found.confidence < 0.2, "{found:?}"),
        Err(doubt) => println!("{doubt:?}"),
    }
    assert!(samples.channel(ChannelKind::Speed).is_some());
}
