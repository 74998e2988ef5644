//! Inputs and what the program makes of them, written to target/cross/ for the Python side to recompute.

use std::collections::BTreeMap;
use std::f64::consts::TAU;
use std::fs;
use std::path::Path;

use cornerbook::findings::stats;
use cornerbook::geom::Point;
use cornerbook::geom::plane::Plane;
use cornerbook::job::Context;
use cornerbook::present::timecode::{FrameRate, TimeCode};
use cornerbook::session::{Channel, ChannelKind, Estimate, Fix, Samples, SamplesParts};
use cornerbook::signal::savgol;
use cornerbook::smooth::smooth;
use cornerbook::track::reference::with_shape;
use serde_json::{Value, json};

use crate::support::shared_data;

/// Writes `target/cross/NAME.json`.
fn write(name: &str, value: &Value) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/cross");
    fs::create_dir_all(&folder).unwrap();
    fs::write(folder.join(name).with_extension("json"), serde_json::to_vec_pretty(value).unwrap()).unwrap();
}

/// A grid of places around origins in all quarters of the globe, the poles' neighbourhood and the date line included.
#[test]
fn plane_points() {
    let mut cases = Vec::new();
    for (latitude, longitude, height) in
        [(47.31, 8.27, 0.0), (-33.9, 151.2, 0.0), (1.2, -77.8, 0.0), (64.1, 179.999, 0.0), (-78.5, -13.0, 0.0)]
    {
        let plane = Plane::new(latitude, longitude, height);
        for (north, east) in [(0.0, 0.01), (0.004, -0.007), (-0.02, 0.03), (0.0001, 0.0)] {
            let point_deg = (latitude + north, longitude + east);
            let point = plane.to_plane(point_deg.0, point_deg.1);
            let back = plane.to_degrees(point);
            cases.push(json!({
                "origin_deg": [latitude, longitude], "point_deg": [point_deg.0, point_deg.1],
                "plane_m": [point.x_m, point.y_m], "back_deg": [back.0, back.1],
            }));
        }
    }
    let epsg = Plane::new(55.0, 5.0, 200.0);
    let [latitude, longitude] = [53.0 + 48.0 / 60.0 + 33.82 / 3600.0, 2.0 + 7.0 / 60.0 + 46.38 / 3600.0];
    write(
        "plane",
        &json!({
            "points": cases,
            "topocentric": {
                "origin": [55.0, 5.0, 200.0], "point": [latitude, longitude, 73.0],
                "enu_m": epsg.topocentric_m(latitude, longitude, 73.0),
            },
        }),
    );
}

#[test]
fn time_codes() {
    let mut cases = Vec::new();
    for (name, numerator, denominator) in
        [("29.97", 30_000, 1001), ("59.94", 60_000, 1001), ("24", 24, 1), ("25", 25, 1), ("30", 30, 1), ("50", 50, 1)]
    {
        let rate = FrameRate::new(numerator, denominator).unwrap();
        // A stride that is prime to every period in the count, over two hours.
        let codes: Vec<_> =
            (0..430_000).step_by(997).map(|it| json!([it, TimeCode::of_frame(it, rate).to_string()])).collect();
        cases.push(json!({ "rate": name, "codes": codes }));
    }
    write("timecode", &json!(cases));
}

#[test]
fn filters() {
    // A wave with a step and a spike: nothing that a polynomial would follow by luck.
    let values: Vec<f64> = (0..60)
        .map(|it| {
            let x = f64::from(it) / 60.0;
            (TAU * 2.0 * x).sin() + if it > 35 { 0.7 } else { 0.0 } + if it == 12 { 1.5 } else { 0.0 }
        })
        .collect();
    let mut cases = Vec::new();
    for (window, order, derivative, step) in
        [(5, 2, 0, 1.0), (7, 3, 1, 0.2), (11, 4, 2, 0.5), (21, 5, 1, 2.0), (9, 2, 0, 0.1), (31, 3, 2, 1.5)]
    {
        let weights = savgol::coefficients(window, order, derivative, step).unwrap();
        cases.push(json!({
            "window": window, "order": order, "derivative": derivative, "step": step,
            "periodic": savgol::filter_periodic(&values, &weights), "coefficients": weights,
        }));
    }
    write("savgol", &json!({ "values": values, "cases": cases }));
}

/// Soft pictures moved by known amounts, and two series against each other.
#[test]
fn shifts_and_correlations() {
    use cornerbook::signal::{correlate, phase::Phase};
    let (width, height) = (64_usize, 32_usize);
    // Waves that close round the picture, so that any shift is exact.
    let picture = |right: f64, down: f64| -> Vec<f64> {
        let pixel = |index: usize| {
            let u = ((index % width) as f64 - right) / width as f64;
            let v = ((index / width) as f64 - down) / height as f64;
            let wave = |i: u32| (TAU * (f64::from(i % 12) * u + (f64::from(i * 5 % 9) - 4.0) * v) + spread(i)).cos();
            (0..80).map(wave).sum()
        };
        (0..width * height).map(pixel).collect()
    };
    let mut phase = Phase::new(width, height);
    let mut single = |picture: &[f64]| phase.spectrum(&picture.iter().map(|it| *it as f32).collect::<Vec<_>>());
    let still = picture(0.0, 0.0);
    let mut shifts = Vec::new();
    for (right, down) in [(0.0, 0.0), (5.0, -3.0), (0.5, 0.25), (-2.3, 1.8), (11.7, -0.4)] {
        let moved = picture(right, down);
        let spectra = (single(&still), single(&moved));
        shifts.push((right, down, moved, spectra));
    }
    let shifts: Vec<Value> = shifts
        .iter()
        .map(|(right, down, moved, (before, after))| {
            let found = phase.shift(before, after);
            json!({
                "width": width, "height": height, "before": still, "after": moved, "right": right, "down": down,
                "found_right": found.right_px, "found_down": found.down_px,
            })
        })
        .collect();
    let a: Vec<f64> = (0..37).map(|i| spread(i) + f64::from(i) * 0.01).collect();
    let b: Vec<f64> = (0..90).map(|i| spread(3 * i + 7)).collect();
    let all = |value: &[f64]| correlate::Weighted { value: value.to_vec(), weight: vec![1.0; value.len()] };
    let found = correlate::likeness(&all(&a), &all(&b));
    let likeness: Vec<(i64, f64)> =
        found.iter().filter(|it| it.overlap > 9.5).map(|it| (it.lag, it.correlation)).collect();
    write(
        "motion",
        &json!({
            "shifts": shifts,
            "products": {"a": a, "b": b, "found": correlate::products(&a, &b)},
            "likeness": {"a": a, "b": b, "found": likeness},
        }),
    );
}

/// Due east along the equator: heading and the place across stay exactly 0 there, and what is left of the filter –
/// place, speed and acceleration along – is linear.
#[test]
fn a_straight_drive_smoothed() {
    let plane = Plane::new(0.0, 0.0, 0.0);
    let speed_at = |t_s: f64| 20.0 + 6.0 * (0.4 * t_s).sin() + 2.0 * (1.7 * t_s).cos();
    let place_at = |t_s: f64| 20.0 * t_s - 15.0 * (0.4 * t_s).cos() + 2.0 / 1.7 * (1.7 * t_s).sin();
    let (mut fixes, mut speed, mut place_m) = (Vec::new(), Channel::default(), Vec::new());
    for index in 0..600_u32 {
        // Not quite even in time, as real logs are.
        let t_s = f64::from(index) * 0.1 + 0.01 * spread(7 * index);
        let (latitude_deg, longitude_deg) =
            plane.to_degrees(Point::new(place_at(t_s) + 0.3 * spread(3 * index + 1), 0.0));
        fixes.push(Fix { t_s, latitude_deg, longitude_deg });
        place_m.push(plane.to_plane(latitude_deg, longitude_deg).x_m);
        speed.t_s.push(t_s);
        speed.value.push(speed_at(t_s) + 0.15 * spread(5 * index + 2));
    }
    let samples = Samples::new(SamplesParts {
        fixes: fixes.clone(),
        channels: BTreeMap::from([(ChannelKind::Speed, speed.clone())]),
        ..SamplesParts::default()
    });
    let smoothed = smooth(&samples, &plane, &Context::new()).unwrap();
    assert!(smoothed.notes.is_empty() && smoothed.path.states.len() == fixes.len(), "{:?}", smoothed.notes);
    assert!(smoothed.path.states.iter().all(|it| it.y_m == 0.0 && it.heading_rad == 0.0));
    let states: Vec<_> = smoothed
        .path
        .states
        .iter()
        .map(|it| {
            json!([
                it.x_m,
                it.speed_mps,
                it.acceleration_mps2,
                it.along_variance_m2,
                it.speed_variance / cornerbook::smooth::SPEED_MODEL_FACTOR
            ])
        })
        .collect();
    let noise = smoothed.noise;
    write(
        "smooth",
        &json!({
            "t_s": speed.t_s, "place_m": place_m, "speed_mps": speed.value, "states": states,
            "noise": { "position_m": noise.position_m, "speed_mps": noise.speed_mps, "jerk": noise.jerk },
        }),
    );
}

/// Noise without a generator: even over −1..1, the same every time.
fn spread(counter: u32) -> f64 {
    let mixed = (counter.wrapping_add(1)).wrapping_mul(2_654_435_761);
    let mixed = (mixed ^ (mixed >> 15)).wrapping_mul(2_246_822_519);
    f64::from(mixed ^ (mixed >> 13)) / f64::from(u32::MAX) * 2.0 - 1.0
}

/// A closed line with left and right bends of 20 m radius and more, driven both ways.
#[test]
fn closed_lines() {
    let at = |turn: f64| {
        let radius_m = 90.0 + 25.0 * (3.0 * turn).cos();
        Point::unit(turn).scaled(radius_m)
    };
    let fine: Vec<Point> = (0..200_000).map(|it| at(f64::from(it) / 200_000.0 * TAU)).collect();
    let mut cases = Vec::new();
    for backwards in [false, true] {
        let mut points = every_metre(&fine);
        if backwards {
            points.reverse();
        }
        let line = with_shape(&points);
        let shape: Vec<_> = line.points.iter().map(|it| json!([it.heading_rad, it.curvature_per_m])).collect();
        let points: Vec<_> = points.iter().map(|it| json!([it.x_m, it.y_m])).collect();
        cases.push(json!({ "points_m": points, "shape": shape, "length_m": line.length_m }));
    }
    write("closed_line", &json!(cases));
}

/// Points a metre apart along a closed polyline that is far finer; the step is stretched so that the last gap fits.
fn every_metre(fine: &[Point]) -> Vec<Point> {
    let next = |index: usize| fine[(index + 1) % fine.len()];
    let total_m: f64 = (0..fine.len()).map(|it| fine[it].distance_m(next(it))).sum();
    let step_m = total_m / total_m.round();
    let mut points = Vec::new();
    let mut passed_m = 0.0;
    for (index, point) in fine.iter().enumerate() {
        let length_m = point.distance_m(next(index));
        let wanted_m = step_m * points.len() as f64;
        if wanted_m < passed_m + length_m {
            points.push(*point + (next(index) - *point).scaled((wanted_m - passed_m) / length_m));
        }
        passed_m += length_m;
    }
    points
}

/// A receiver's text with what real ones have: two talkers, midnight, a void fix, a damaged line; then real drives.
#[test]
fn nmea_logs() {
    let mut text = String::from("# receiver restarted\r\n");
    for second in 0..60_u32 {
        // From 23:59:40 on 31 December 2025 over midnight, 5 sentences a second of two kinds.
        let of_day = (86_380 + second) % 86_400;
        let (h, m, s) = (of_day / 3600, of_day / 60 % 60, of_day % 60);
        let date = if second < 20 { "311225" } else { "010126" };
        let minutes = 18.4 + f64::from(second) * 0.0061;
        let status = if second == 30 { "V" } else { "A" };
        let quality = if second == 30 { 0 } else { 1 };
        for body in [
            format!(
                "GNRMC,{h:02}{m:02}{s:02}.00,{status},4718.{:05},N,00816.2,W,{:.2},84.4,{date},,",
                (minutes.fract() * 1e5).round(),
                21.0 + 0.1 * f64::from(second)
            ),
            format!(
                "GPGGA,{h:02}{m:02}{s:02}.00,4718.{:05},N,00816.2,W,{quality},08,0.9,545.4,M,46.9,M,,",
                (minutes.fract() * 1e5).round()
            ),
        ] {
            let sum = cornerbook::log::nmea::checksum(body.as_bytes()) ^ u8::from(second == 45);
            text.push_str(&format!("${body}*{sum:02X}\r\n"));
        }
    }
    let mut cases = vec![log_case("text", &text, text.as_bytes())];
    for file in [
        "drive-nmea/switzerland_20100403.nmea",
        "drive-nmea/regensburg_20100411.nmea",
        "drive-nmea/munich_20090401.nmea",
        "nmea-misc/flight_dual_constellation.nmea",
        "nmea-misc/rtk_10hz.nmea",
    ] {
        if let Some(path) = shared_data(file) {
            cases.push(log_case("path", &path.to_string_lossy(), &fs::read(&path).unwrap()));
        }
    }
    write("nmea", &json!(cases));
}

#[test]
fn gpx_logs() {
    let points: String = (0..50)
        .map(|it| {
            let (latitude, longitude) = (47.31 + 3e-5 * f64::from(it), 8.27 - 2.5e-5 * f64::from(it));
            let minute = 30 + it / 20;
            format!(
                "<trkpt lat=\"{latitude:.7}\" lon=\"{longitude:.7}\"><ele>410.2</ele>\
                 <time>2026-05-03T12:{minute}:{:02}.{}+02:00</time></trkpt>\n",
                it % 20 * 3 + 1,
                it % 10
            )
        })
        .collect();
    let text = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<gpx version=\"1.1\" creator=\"check &amp; test\" \
         xmlns=\"http://www.topografix.com/GPX/1/1\"><trk><name>A &lt; B</name><trkseg>\n{points}</trkseg></trk></gpx>\n"
    );
    let mut cases = vec![log_case("text", &text, text.as_bytes())];
    for file in ["runs-laps/street_loop.gpx", "runs-laps/out_and_back_a.gpx", "runs-laps/park_laps.gpx"] {
        if let Some(path) = shared_data(file) {
            cases.push(log_case("path", &path.to_string_lossy(), &fs::read(&path).unwrap()));
        }
    }
    write("gpx", &json!(cases));
}

/// A log (its text, or the path of a file) with the fixes that we read from it: microseconds since 1970 and degrees.
fn log_case(key: &str, source: &str, bytes: &[u8]) -> Value {
    let samples = cornerbook::log::read(source, bytes, None).unwrap();
    let at = |t_s: f64| samples.utc_at(t_s).unwrap().timestamp_micros();
    let fixes: Vec<_> =
        samples.fixes().iter().map(|it| json!([at(it.t_s), it.latitude_deg, it.longitude_deg])).collect();
    let speed: Vec<_> = samples
        .channel(ChannelKind::Speed)
        .iter()
        .flat_map(|it| it.iter())
        .map(|(t_s, speed_mps)| json!([at(t_s), speed_mps]))
        .collect();
    let counts = cornerbook::log::nmea::statistics(bytes);
    json!({
        key: source, "fixes": fixes, "speed": speed,
        "checksums_right": counts.checksums_right, "checksums_wrong": counts.checksums_wrong,
        "rmc_valid": counts.rmc_valid, "rmc_void": counts.rmc_void, "rmc_length_m": counts.rmc_length_m,
    })
}

/// Means over few unsure values, Student's interval, quantiles.
#[test]
fn statistics() {
    let cases: [&[(f64, f64)]; 3] = [
        &[(3.42, 0.02), (3.47, 0.03), (3.40, 0.02), (3.55, 0.05)],
        &[(1.0, 0.4), (1.1, 0.4), (0.9, 0.3)],
        &[(-0.2, 0.1), (0.5, 0.2), (0.1, 0.1), (0.9, 0.3), (0.3, 0.05), (0.2, 0.6)],
    ];
    let pooled = cases.map(|values| {
        let estimates: Vec<Estimate> =
            values.iter().map(|(value, ci95)| Estimate { value: *value, ci95: *ci95 }).collect();
        let pooled = stats::pooled(&estimates).unwrap();
        json!({"values": values, "mean": pooled.mean.value, "ci95": pooled.mean.ci95,
            "spread": pooled.spread, "least_shown": pooled.least_shown})
    });
    let student: Vec<_> = (1..=60).map(|it| json!([it, stats::student_ci95(it)])).collect();
    let values: Vec<f64> = (0..37).map(|it| (f64::from(it) * 1.7).sin()).collect();
    let quantiles: Vec<_> = (0..=20)
        .map(|it| f64::from(it) / 20.0)
        .map(|share| json!([share, stats::quantile(values.iter().copied(), share)]))
        .collect();
    write("statistics", &json!({"pooled": pooled, "student": student, "values": values, "quantiles": quantiles}));
}
