//! Published or independently recomputed tables. Each check names its source.

use cornerbook::findings::geometry;
use cornerbook::log;
use cornerbook::present::timecode::{FrameRate, TimeCode};
use cornerbook::session::{ChannelKind, NoteKind};
use cornerbook::signal::savgol;
use geo::line_measures::{Bearing, Destination, Distance, Geodesic};
use geo::point;

/// Source: GeographicLib 2.0 test cases (tests/reference/README.md).
#[test]
fn geodesics_agree_with_the_published_cases() {
    let cases = include_str!("../reference/geodesic-cases.csv");
    let mut count = 0;
    for line in cases.lines().skip(1) {
        let cells: Vec<f64> = line.split(',').map(|it| it.parse().unwrap()).collect();
        let [lat1, lon1, azimuth1, lat2, lon2, _azimuth2, length_m] = cells[..] else { panic!("{line}") };
        let (from, to) = (point!(x: lon1, y: lat1), point!(x: lon2, y: lat2));
        let miss_m = Geodesic.distance(Geodesic.destination(from, azimuth1, length_m), to);
        assert!((Geodesic.distance(from, to) - length_m).abs() < 1e-8, "{line}");
        assert!(miss_m < 1e-8, "{line}: {miss_m} m away");
        let turned = (Geodesic.bearing(from, to) - azimuth1).rem_euclid(360.0);
        assert!(turned.min(360.0 - turned) < 1e-9, "{line}");
        count += 1;
    }
    assert_eq!(count, 20);
}

/// Source: ../shared/data/reference/numbers.md, derived and checked numerically there: turning (degrees), inside and outside
/// radius, widest radius, where it begins before the arc, m.
#[test]
fn widest_lines() {
    for (turning_deg, inside_m, outside_m, radius_m, before_m) in [
        (30.0, 100.0, 112.0, 452.1729, 91.1490),
        (45.0, 80.0, 92.0, 237.6449, 60.3281),
        (60.0, 40.0, 52.0, 129.5692, 44.7846),
        (90.0, 20.0, 30.0, 54.1421, 24.1421),
        (90.0, 50.0, 62.0, 90.9706, 28.9706),
        (120.0, 15.0, 27.0, 39.0, 20.7846),
        (150.0, 12.0, 24.0, 28.1904, 15.6387),
        (180.0, 10.0, 20.0, 20.0, 10.0),
    ] {
        let angle_rad = f64::to_radians(turning_deg);
        let found_m = geometry::widest_radius_m(inside_m, outside_m - inside_m, angle_rad);
        assert!((found_m - radius_m).abs() < 1e-4, "{turning_deg}: {found_m}");
        let begins_m = geometry::begins_before_m(inside_m, outside_m - inside_m, angle_rad);
        assert!((begins_m - before_m).abs() < 1e-4, "{turning_deg}: {begins_m}");
    }
    // At equal grip v² = a R: the speeds on 54.1421 m and on the centre line of 25 m.
    let grip_mps2 = 16.0_f64;
    let ratio = (grip_mps2 * 54.1421).sqrt() / (grip_mps2 * 25.0).sqrt();
    assert!((geometry::speed_ratio(54.1421, 25.0) - ratio).abs() < 1e-12);
}

/// Source: SMPTE ST 12-1, from memory; recomputed with the PyPI package `timecode`.
#[test]
fn drop_frame_counts() {
    let ntsc = FrameRate::new(30_000, 1001).unwrap();
    let double = FrameRate::new(60_000, 1001).unwrap();
    for (rate, frame, code) in [
        (ntsc, 0, "00:00:00;00"),
        (ntsc, 1799, "00:00:59;29"),
        (ntsc, 1800, "00:01:00;02"),
        (ntsc, 17_981, "00:09:59;29"),
        (ntsc, 17_982, "00:10:00;00"),
        (ntsc, 107_892, "01:00:00;00"),
        (ntsc, 2_589_407, "23:59:59;29"),
        (ntsc, 2_589_408, "00:00:00;00"),
        (double, 3600, "00:01:00;04"),
        (double, 35_964, "00:10:00;00"),
        (double, 215_784, "01:00:00;00"),
        (double, 5_178_816, "00:00:00;00"),
    ] {
        assert_eq!(TimeCode::of_frame(frame, rate).to_string(), code, "frame {frame}");
    }
    let film = FrameRate::new(24, 1).unwrap();
    assert_eq!(TimeCode::of_frame(24 * 60, film).to_string(), "00:01:00:00");
}

/// Source: the tables of Savitzky and Golay (1964, as corrected by Steinier, Termonia and Deltour, 1972), from memory;
/// recomputed with scipy.signal.savgol_coeffs.
#[test]
fn savitzky_golay_tables() {
    let tables: [(usize, usize, usize, f64, &[i32]); 11] = [
        (5, 2, 0, 35.0, &[-3, 12, 17, 12, -3]),
        (7, 3, 0, 21.0, &[-2, 3, 6, 7, 6, 3, -2]),
        (9, 2, 0, 231.0, &[-21, 14, 39, 54, 59, 54, 39, 14, -21]),
        (11, 3, 0, 429.0, &[-36, 9, 44, 69, 84, 89, 84, 69, 44, 9, -36]),
        (5, 2, 1, 10.0, &[-2, -1, 0, 1, 2]),
        (7, 1, 1, 28.0, &[-3, -2, -1, 0, 1, 2, 3]),
        (5, 3, 1, 12.0, &[1, -8, 0, 8, -1]),
        (7, 4, 1, 252.0, &[22, -67, -58, 0, 58, 67, -22]),
        (9, 4, 1, 1188.0, &[86, -142, -193, -126, 0, 126, 193, 142, -86]),
        (5, 2, 2, 7.0, &[2, -1, -2, -1, 2]),
        (7, 3, 2, 42.0, &[5, 0, -3, -4, -3, 0, 5]),
    ];
    for (window, order, derivative, divisor, numerators) in tables {
        for step in [1.0, 0.25] {
            let found = savgol::coefficients(window, order, derivative, step).unwrap();
            assert_eq!(found.len(), window);
            for (weight, numerator) in found.iter().zip(numerators) {
                let per_step = (0..derivative).fold(1.0, |power, _| power * step);
                let expected = f64::from(*numerator) / divisor / per_step;
                assert!((weight - expected).abs() < 1e-12 / per_step, "window {window}, order {order}: {found:?}");
            }
        }
    }
}

/// Sentences with their checksums (NMEA 0183), from memory; recomputed independently.
const SENTENCES: [&str; 5] = [
    "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
    "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
    "$GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1*39",
    "$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48",
    "$GPGLL,4916.45,N,12311.12,W,225444,A*31",
];

#[test]
fn nmea_checksums() {
    for sentence in SENTENCES {
        let (body, stated) = sentence.trim_start_matches('$').split_once('*').unwrap();
        assert_eq!(format!("{:02X}", log::nmea::checksum(body.as_bytes())), stated, "{sentence}");
    }
    let right = SENTENCES.join("\r\n");
    assert_eq!(log::nmea::statistics(right.as_bytes()).checksums_right, 5);
    // The digit before the checksum's star is changed in each.
    let wrong = SENTENCES.map(|it| it.replace(",*", ",1*").replace("W*", "E*").replace(".1*", ".2*"));
    let wrong = wrong.map(|it| it.replace("K*", "N*").replace("A*", "V*")).join("\r\n");
    let counts = log::nmea::statistics(wrong.as_bytes());
    assert_eq!((counts.checksums_right, counts.checksums_wrong), (0, 5));
}

/// The first two sentences and the same a second later: 48.1173 N, 11.516667 E, 22.4 kn = 11.5236 m/s,
/// 23 March 1994.
#[test]
fn nmea_fields() {
    let later = "GPRMC,123520,A,4807.040,N,01131.003,E,022.4,084.4,230394,003.1,W";
    let later = format!("${later}*{:02X}", log::nmea::checksum(later.as_bytes()));
    let text = [SENTENCES[0], SENTENCES[1], &later].join("\r\n");
    let samples = log::read("two.nmea", text.as_bytes(), None).unwrap();
    assert!(!samples.notes().iter().any(|it| matches!(it.kind, NoteKind::ChecksumsWrong { .. })));
    assert_eq!(samples.start_utc().unwrap().to_rfc3339(), "1994-03-23T12:35:19+00:00");
    let fix = samples.fixes()[0];
    assert!((fix.latitude_deg - 48.1173).abs() < 1e-9 && (fix.longitude_deg - 11.516_667).abs() < 1e-6);
    let speed = samples.channel(ChannelKind::Speed).unwrap();
    assert!((speed.value[0] - 11.5236).abs() < 1e-4, "{:?}", speed.value);
}
