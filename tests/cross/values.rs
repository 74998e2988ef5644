//! Inputs and what the program makes of them, written to target/cross/ for the Python side to recompute.

use std::f64::consts::TAU;
use std::fs;
use std::path::Path;

use cornerbook::geom::plane::Plane;
use cornerbook::present::timecode::{FrameRate, TimeCode};
use cornerbook::signal::savgol::{self, Settings};
use serde_json::{Value, json};

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
            "bounded": savgol::filter_bounded(&values, Settings { window, order, derivative, step }).unwrap(),
        }));
    }
    write("savgol", &json!({ "values": values, "cases": cases }));
}
