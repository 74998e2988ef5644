//! The log readers on real recordings that nobody here made (shared/data). Truth: shared/data/SOURCES.md, worked out
//! there with other tools (numpy, geographiclib); files absent are skipped aloud.

use cornerbook::log;
use cornerbook::session::{Channel, ChannelKind, NoteKind, Samples};

use crate::support::shared_data;

fn bytes_of(relative: &str) -> Option<Vec<u8>> {
    shared_data(relative).map(|path| std::fs::read(path).unwrap())
}

fn read(relative: &str) -> Option<Samples> {
    bytes_of(relative).map(|bytes| log::read(relative, &bytes, None).unwrap())
}

fn unit_of(samples: &Samples, kind: ChannelKind) -> Option<(String, String)> {
    let mut uses = samples.sources().iter().flat_map(|it| &it.uses);
    uses.find(|it| it.channel == Some(kind)).map(|it| (it.header.clone(), it.unit.clone()))
}

fn count_of(samples: &Samples, pick: impl Fn(&NoteKind) -> Option<usize>) -> usize {
    samples.notes().iter().filter_map(|note| pick(&note.kind)).sum()
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// Sentences, RMC and the geodesic length of the chain of valid RMC positions.
#[test]
fn nmea_counts_and_distances_are_as_stated() {
    for (file, right, valid, void, length_m) in [
        // 38935 stand at the start of a line, three more behind a zero byte.
        ("drive-nmea/switzerland_20100403.nmea", 38935 + 3, 10327, 85, 242_913.4),
        ("drive-nmea/regensburg_20100411.nmea", 9931, 774, 16, 18_022.0),
        ("drive-nmea/munich_20090401.nmea", 11202, 1847, 20, 12_054.1),
        ("drive-nmea/void_fixes.nmea", 1679, 0, 839, 0.0),
        ("nmea-misc/flight_dual_constellation.nmea", 14255, 993, 314, 14_415.7),
        ("nmea-misc/rtk_10hz.nmea", 244, 122, 0, 16.2),
    ] {
        let Some(bytes) = bytes_of(file) else { continue };
        let counts = log::nmea::statistics(&bytes);
        assert_eq!((counts.checksums_right, counts.checksums_wrong), (right, 0), "{file}");
        assert_eq!((counts.rmc_valid, counts.rmc_void), (valid, void), "{file}");
        // The truth has one decimal.
        assert!((counts.rmc_length_m - length_m).abs() <= 0.06, "{file}: {}", counts.rmc_length_m);
    }
}

#[test]
fn real_nmea_logs_become_fixes() {
    for (file, start, fixes, top_kn) in [
        ("drive-nmea/switzerland_20100403.nmea", "2010-04-03T11:22:25.844+00:00", 10_000..10_330, 70.07),
        ("drive-nmea/regensburg_20100411.nmea", "2010-04-11T16:57:44+00:00", 770..776, 56.40),
        ("drive-nmea/munich_20090401.nmea", "2009-04-01T12:40:22+00:00", 1800..1848, f64::NAN),
        ("nmea-misc/flight_dual_constellation.nmea", "2017-03-31T11:01:24+00:00", 990..994, 152.60),
        ("nmea-misc/rtk_10hz.nmea", "2020-03-18T13:28:19.600+00:00", 120..123, f64::NAN),
    ] {
        let Some(samples) = read(file) else { continue };
        println!("{file}: {} fixes, {} s", samples.fixes().len(), samples.duration_s());
        samples.notes().iter().for_each(|note| println!("  {note:?}"));
        assert_eq!(samples.start_utc().unwrap().to_rfc3339(), start, "{file}");
        assert!(fixes.contains(&samples.fixes().len()), "{file}: {} fixes", samples.fixes().len());
        let speed = samples.channel(ChannelKind::Speed).unwrap();
        if top_kn.is_finite() {
            let top_mps = speed.value.iter().copied().fold(0.0, f64::max);
            assert!((top_mps - top_kn * 1852.0 / 3600.0).abs() < 1e-6, "{file}: {top_mps}");
        }
    }
}

#[test]
fn void_fixes_are_refused_in_one_sentence() {
    let Some(bytes) = bytes_of("drive-nmea/void_fixes.nmea") else { return };
    let sentence = log::read("void.nmea", &bytes, None).unwrap_err().to_string();
    assert!(sentence.starts_with("void.nmea: all ") && sentence.contains("fixes are void"), "{sentence}");
}

#[test]
fn quirks_of_real_nmea_are_told() {
    if let Some(samples) = read("drive-nmea/switzerland_20100403.nmea") {
        assert!(
            count_of(&samples, |it| if let NoteKind::BytesPassedOver { count } = it { Some(*count) } else { None }) > 0
        );
        let heading = samples.channel(ChannelKind::Heading).unwrap().len();
        assert!(heading < samples.fixes().len(), "empty courses are no zeros");
    }
    if let Some(samples) = read("drive-nmea/munich_20090401.nmea") {
        assert!(
            samples
                .notes()
                .iter()
                .any(|it| matches!(it.kind, NoteKind::TimeBack { .. } | NoteKind::TimeRepeated { .. }))
        );
    }
    if let Some(samples) = read("nmea-misc/rtk_10hz.nmea") {
        let gap_s = samples.notes().iter().find_map(|it| match it.kind {
            NoteKind::Gap { seconds } => Some(seconds),
            _ => None,
        });
        assert!(gap_s.is_some_and(|it| (it - 629.9).abs() < 0.05), "{gap_s:?}");
        assert!((samples.rate_hz().unwrap() - 10.0).abs() < 0.01);
    }
}

/// The GPX files were converted from the same recordings: same fixes, same times.
#[test]
fn csv_and_gpx_of_one_run_hold_the_same_fixes() {
    for name in ["park_laps", "out_and_back_b", "shuttle_strides", "street_loop"] {
        let (csv, gpx) = (read(&format!("runs-laps/{name}.csv")), read(&format!("runs-laps/{name}.gpx")));
        let (Some(csv), Some(gpx)) = (csv, gpx) else { continue };
        assert_eq!(csv.fixes(), gpx.fixes(), "{name}");
        assert_eq!(csv.start_utc(), gpx.start_utc(), "{name}");
        // One run has an empty speed column.
        let speed = ("device_speed_mps".to_owned(), "m/s".to_owned());
        assert_eq!(unit_of(&csv, ChannelKind::Speed), (name != "street_loop").then_some(speed), "{name}");
        let set_aside = |it: &NoteKind| if let NoteKind::JumpsSetAside { count } = it { Some(*count) } else { None };
        assert_eq!(count_of(&csv, set_aside), 0, "{name}");
    }
}

#[test]
fn the_park_run_has_its_fixes_rows_and_pauses() {
    let Some(samples) = read("runs-laps/park_laps.csv") else { return };
    assert_eq!(samples.fixes().len(), 1281);
    let without = |it: &NoteKind| if let NoteKind::RowsWithoutPosition { count } = it { Some(*count) } else { None };
    assert_eq!(count_of(&samples, without), 72);
    // The rows without a position still have a speed.
    assert_eq!(samples.channel(ChannelKind::Speed).unwrap().len(), 1281 + 72);
    // A last row without a position follows 4 s later.
    assert_eq!(samples.fixes().last().unwrap().t_s, 4378.0);
}

#[test]
fn the_other_runner_s_gpx_is_read() {
    let Some(bytes) = bytes_of("runs-laps/out_and_back_a.gpx") else { return };
    let samples = log::read("a.gpx", &bytes, None).unwrap();
    let points = bytes.windows(6).filter(|it| it == b"<trkpt").count();
    assert_eq!(samples.fixes().len(), points);
    assert_eq!(samples.start_utc().unwrap().to_rfc3339(), "2020-12-26T09:03:58.328+00:00");
}

#[test]
fn the_racing_car_is_read_with_its_channels() {
    let Some(samples) = read("racecar-yaw/racecar_100hz.csv") else { return };
    let has = |kind, header: &str, unit: &str| {
        assert_eq!(unit_of(&samples, kind).unwrap(), (header.to_owned(), unit.to_owned()));
    };
    has(ChannelKind::Speed, "vx_mps", "m/s");
    has(ChannelKind::YawRate, "yaw_rate_radps", "rad/s");
    has(ChannelKind::LateralAcceleration, "ay_mps2", "m/s²");
    has(ChannelKind::LongitudinalAcceleration, "ax_mps2", "m/s²");
    assert!(samples.fixes().is_empty());
    assert!((samples.duration_s() - 550.0).abs() < 0.1);
    assert!(samples.sources()[0].unused.contains(&"vy_mps".to_owned()));
    assert!((samples.channel(ChannelKind::Speed).unwrap().value[0] - 26.0585).abs() < 1e-9);
    let Some(derived) = read("racecar-yaw/derived_positions_10hz.csv") else { return };
    assert_eq!(derived.fixes().len(), 5501);
    for kind in [ChannelKind::Speed, ChannelKind::Heading, ChannelKind::YawRate, ChannelKind::LateralAcceleration] {
        assert!(derived.channel(kind).is_some_and(|it| it.len() > 5000), "{kind:?}");
    }
}

#[test]
fn gyro_and_positions_on_one_clock_are_joined() {
    let (Some(gnss), Some(gyro)) =
        (bytes_of("drive-gyro-gnss/gnss_1hz.csv"), bytes_of("drive-gyro-gnss/gyro_10hz.csv"))
    else {
        return;
    };
    let part = |file, bytes: &[u8]| log::read_part(file, bytes, None).unwrap();
    let joined = log::join(vec![part("gnss_1hz.csv", &gnss), part("gyro_10hz.csv", &gyro)]).unwrap();
    assert_eq!(unit_of(&joined, ChannelKind::YawRate).unwrap(), ("yaw_rate_dps".to_owned(), "deg/s".to_owned()));
    // The gyro's first row is at 7.008 s, the first fix at 7.810 s.
    assert!((joined.fixes()[0].t_s - 0.802).abs() < 1e-9, "{}", joined.fixes()[0].t_s);
    assert!(joined.channel(ChannelKind::YawRate).unwrap().t_s[0] == 0.0);
    // Yaw rate against the course's rate while moving: r = 0.90 with the fixes 0.26 s late; without that shift less.
    let heading = joined.channel(ChannelKind::Heading).unwrap();
    let correlation = yaw_correlation(
        joined.channel(ChannelKind::YawRate).unwrap(),
        heading,
        joined.channel(ChannelKind::Speed).unwrap(),
    );
    assert!(correlation > 0.8, "{correlation}");
}

/// Correlation of the mean yaw rate between two courses with their rate of change, while faster than 3 m/s.
fn yaw_correlation(yaw: &Channel, heading: &Channel, speed: &Channel) -> f64 {
    let mean = |channel: &Channel, from_s: f64, to_s: f64| {
        let inside: Vec<f64> = channel.iter().filter(|(t_s, _)| (from_s..to_s).contains(t_s)).map(|it| it.1).collect();
        inside.iter().sum::<f64>() / inside.len() as f64
    };
    let courses: Vec<(f64, f64)> = heading.iter().collect();
    let pairs: Vec<(f64, f64)> = courses
        .windows(2)
        .filter(|pair| mean(speed, pair[0].0, pair[1].0 + 1e-6) > 3.0 && pair[1].0 - pair[0].0 > 0.5)
        .map(|pair| {
            let turned_rad = (pair[1].1 - pair[0].1 + std::f64::consts::PI).rem_euclid(std::f64::consts::TAU);
            let rate_radps = (turned_rad - std::f64::consts::PI) / (pair[1].0 - pair[0].0);
            (mean(yaw, pair[0].0 - 0.26, pair[1].0 - 0.26), rate_radps)
        })
        .filter(|pair| pair.0.is_finite())
        .collect();
    let count = pairs.len() as f64;
    let (mean_a, mean_b) =
        (pairs.iter().map(|it| it.0).sum::<f64>() / count, pairs.iter().map(|it| it.1).sum::<f64>() / count);
    let product = |f: fn(f64, f64) -> f64| pairs.iter().map(|(a, b)| f(a - mean_a, b - mean_b)).sum::<f64>();
    product(|a, b| a * b) / (product(|a, _| a * a) * product(|_, b| b * b)).sqrt()
}

#[test]
fn the_phone_s_files_share_one_clock() {
    let folder = "drive-phone-can";
    let files = ["gnss_10hz.csv", "can_speed.csv", "can_steering.csv", "gyro_100hz.csv"];
    let mut parts = Vec::new();
    for file in files {
        let Some(bytes) = bytes_of(&format!("{folder}/{file}")) else { return };
        // The bus measures speed better than the receiver: its file replaces the receiver's column here.
        let map = log::ColumnMap::parse("map.toml", "ignore = [\"speed_mps\"]").unwrap();
        parts.push(log::read_part(file, &bytes, (file == "gnss_10hz.csv").then_some(&map)).unwrap());
    }
    let joined = log::join(parts).unwrap();
    assert_eq!(joined.sources().len(), 4);
    assert_eq!(unit_of(&joined, ChannelKind::Steering).unwrap(), ("steering_deg".to_owned(), "deg".to_owned()));
    assert_eq!(unit_of(&joined, ChannelKind::YawRate).unwrap(), ("down_radps".to_owned(), "rad/s".to_owned()));
    assert!(
        joined.start_utc().is_some_and(|it| it.to_rfc3339().starts_with("2018-08-02T16:14:4")),
        "{:?}",
        joined.start_utc()
    );
    assert!((joined.rate_hz().unwrap() - 10.0).abs() < 0.3);
    // The bus's speed is the path's speed, up to 0.164 s of delay.
    let path_mps: Vec<f64> =
        joined.fixes().windows(11).map(|it| distance_m(it[0], it[10]) / (it[10].t_s - it[0].t_s)).collect();
    let bus = joined.channel(ChannelKind::Speed).unwrap();
    assert!((median(path_mps) - median(bus.value.clone())).abs() < 0.5);
}

fn distance_m(a: cornerbook::session::Fix, b: cornerbook::session::Fix) -> f64 {
    use geo::{Distance, Geodesic, Point};
    Geodesic.distance(Point::new(a.longitude_deg, a.latitude_deg), Point::new(b.longitude_deg, b.latitude_deg))
}

#[test]
fn a_file_without_position_and_yaw_rate_is_refused() {
    let Some(bytes) = bytes_of("drive-phone-can/camera_pose_20hz.csv") else { return };
    let sentence = log::read("pose.csv", &bytes, None).unwrap_err().to_string();
    assert!(sentence.starts_with("pose.csv, line 1: neither latitude and longitude nor a yaw rate"), "{sentence}");
}
