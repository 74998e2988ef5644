//! Laps for other programs: a table (CSV, RFC 4180), lines (GeoJSON, RFC 7946) and tracks (GPX 1.1, its schema
//! topografix.com/GPX/1/1). Takes an analysis; positions are WGS 84 degrees to seven decimals, a centimetre.

use std::fmt::Write as _;

use chrono::{DateTime, Utc};
use geojson::{Feature, FeatureCollection, Geometry, JsonObject, Value};
use quick_xml::escape::escape;
use serde_json::json;

use crate::analysis::Analysis;
use crate::geom::Point;
use crate::geom::plane::Plane;
use crate::present;
use crate::report::round;
use crate::session::Samples;
use crate::track::Lap;

/// One state of the path as other programs want it.
#[derive(Debug, Clone, Copy)]
struct Place {
    latitude_deg: f64,
    longitude_deg: f64,
    t_s: f64,
}

/// A lap's way; a new part begins after each gap of the log. No parts without positions.
#[derive(Debug)]
pub(super) struct LapWay<'a> {
    lap: &'a Lap,
    parts: Vec<Vec<Place>>,
}

/// The ways of all laps.
pub(super) fn lap_ways(analysis: &Analysis) -> Vec<LapWay<'_>> {
    let Some(plane) = &analysis.plane else { return Vec::new() };
    analysis.laps.iter().map(|lap| LapWay { lap, parts: parts(analysis, plane, lap) }).collect()
}

fn parts(analysis: &Analysis, plane: &Plane, lap: &Lap) -> Vec<Vec<Place>> {
    let states = &analysis.path.states;
    let first = states.partition_point(|it| it.t_s < lap.start_t_s);
    let gaps = &analysis.path.gaps;
    let mut parts: Vec<Vec<Place>> = Vec::new();
    let mut gaps_before = None;
    for state in states[first..].iter().take_while(|it| it.t_s <= lap.end_t_s) {
        let passed = gaps.partition_point(|gap| gap.1 <= state.t_s);
        if gaps.get(passed).is_some_and(|gap| gap.0 < state.t_s) {
            continue;
        }
        if gaps_before != Some(passed) {
            parts.push(Vec::new());
            gaps_before = Some(passed);
        }
        let (latitude_deg, longitude_deg) = degrees(plane, Point::new(state.x_m, state.y_m));
        let place = Place { latitude_deg, longitude_deg, t_s: state.t_s };
        parts.last_mut().expect("a part was begun above").push(place);
    }
    parts
}

fn degrees(plane: &Plane, point: Point) -> (f64, f64) {
    let seven = |it: f64| (it * 1e7).round() / 1e7;
    let (latitude_deg, longitude_deg) = plane.to_degrees(point);
    (seven(latitude_deg), seven(longitude_deg))
}

/// One row a lap, SI units.
pub(super) fn laps_csv(analysis: &Analysis, samples: &Samples) -> String {
    let best_s = best_time_s(analysis);
    let number = |it: Option<f64>| it.map(|it| it.to_string()).unwrap_or_default();
    let mut text = String::from("lap,kind,start_t_s,start_utc,time_s,time_s_ci95,behind_best_s\r\n");
    for lap in &analysis.laps {
        let (time_s, ci95) = round::pair(lap.time_s, round::seconds);
        let behind_s = lap.time_s.zip(best_s).and_then(|(time, best_s)| round::seconds(time.value - best_s));
        let utc = samples.utc_at(lap.start_t_s).map(present::utc).unwrap_or_default();
        let cells = [
            lap.number.to_string(),
            present::lap_kind(lap.kind).to_owned(),
            number(round::seconds(lap.start_t_s)),
            utc,
            number(time_s),
            number(ci95),
            number(behind_s),
        ];
        // No cell holds a comma, a quote or a line break.
        let _ = write!(text, "{}\r\n", cells.join(","));
    }
    text
}

fn best_time_s(analysis: &Analysis) -> Option<f64> {
    let timed = analysis.laps.iter().filter(|it| it.kind == crate::track::LapKind::Timed);
    timed.filter_map(|it| Some(it.time_s?.value)).min_by(f64::total_cmp)
}

/// The reference line, the laps, the corners and the marks; an empty collection without positions.
pub(super) fn lines_geojson(analysis: &Analysis, ways: &[LapWay<'_>]) -> String {
    let mut features = Vec::new();
    features.extend(reference(analysis));
    features.extend(ways.iter().filter_map(way));
    features.extend(analysis.corners.iter().filter_map(|it| {
        let properties = json!({
            "role": "corner", "corner": it.number, "name": it.name, "direction": present::direction(it.direction),
            "angle_deg": round::angle_deg(it.angle_deg),
        });
        Some(point(it.longitude_deg?, it.latitude_deg?, properties))
    }));
    features.extend(analysis.passes.iter().flat_map(|pass| {
        crate::report::MARKS.into_iter().filter_map(|kind| {
            let mark = pass.mark(kind)?;
            let properties = json!({
                "role": crate::report::mark_name(kind), "lap": pass.lap, "corner": pass.corner,
                "t_s": round::seconds(mark.t_s.value),
                "speed_mps": mark.speed_mps.and_then(|it| round::speed(it.value)),
            });
            Some(point(mark.longitude_deg?, mark.latitude_deg?, properties))
        })
    }));
    let collection = FeatureCollection { bbox: None, features, foreign_members: None };
    let mut text = collection.to_string();
    text.push('\n');
    text
}

fn feature(value: Value, properties: serde_json::Value) -> Feature {
    let properties: Option<JsonObject> = properties.as_object().cloned();
    Feature { bbox: None, geometry: Some(Geometry::new(value)), id: None, properties, foreign_members: None }
}

fn point(longitude_deg: f64, latitude_deg: f64, properties: serde_json::Value) -> Feature {
    let seven = |it: f64| (it * 1e7).round() / 1e7;
    feature(Value::Point(vec![seven(longitude_deg), seven(latitude_deg)]), properties)
}

fn reference(analysis: &Analysis) -> Option<Feature> {
    let (line, plane) = analysis.reference.as_ref().zip(analysis.plane.as_ref())?;
    let closed = line.points.iter().chain(line.points.first());
    let positions: Vec<Vec<f64>> = closed
        .map(|it| {
            let (latitude_deg, longitude_deg) = degrees(plane, it.position);
            vec![longitude_deg, latitude_deg]
        })
        .collect();
    let properties = json!({"role": "reference_line", "length_m": round::metres(line.length_m)});
    // A line has two positions at least (RFC 7946, 3.1.4).
    (positions.len() >= 2).then(|| feature(Value::LineString(positions), properties))
}

fn way(it: &LapWay<'_>) -> Option<Feature> {
    let position = |it: &Place| vec![it.longitude_deg, it.latitude_deg];
    let lines = it.parts.iter().filter(|it| it.len() >= 2).map(|part| part.iter().map(position).collect());
    let lines: Vec<Vec<Vec<f64>>> = lines.collect();
    let (time_s, ci95) = round::pair(it.lap.time_s, round::seconds);
    let properties = json!({
        "role": "lap", "lap": it.lap.number, "kind": present::lap_kind(it.lap.kind), "time_s": time_s,
        "time_s_ci95": ci95,
    });
    (!lines.is_empty()).then(|| feature(Value::MultiLineString(lines), properties))
}

/// One track a lap, one segment for each part without a gap; times where the log has a date.
pub(super) fn laps_gpx(name: &str, samples: &Samples, ways: &[LapWay<'_>]) -> String {
    let mut text = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <gpx xmlns=\"http://www.topografix.com/GPX/1/1\" version=\"1.1\" creator=\"cornerbook\">\n",
    );
    let time = |at: DateTime<Utc>| format!("<time>{}</time>", present::utc(at));
    let since = samples.start_utc().map(time).unwrap_or_default();
    let _ = writeln!(text, "<metadata><name>{}</name>{since}</metadata>", xml(name));
    for way in ways.iter().filter(|it| !it.parts.is_empty()) {
        let lap = way.lap;
        let timed = lap.time_s.map(|it| format!(", {}", present::lap_time(it))).unwrap_or_default();
        let _ = writeln!(
            text,
            "<trk><name>Lap {}{timed}</name><number>{}</number><type>{}</type>",
            lap.number,
            lap.number,
            present::lap_kind(lap.kind)
        );
        for part in &way.parts {
            text.push_str("<trkseg>\n");
            for place in part {
                let at = samples.utc_at(place.t_s).map(time).unwrap_or_default();
                let _ = writeln!(
                    text,
                    "<trkpt lat=\"{:.7}\" lon=\"{:.7}\">{at}</trkpt>",
                    place.latitude_deg, place.longitude_deg
                );
            }
            text.push_str("</trkseg>\n");
        }
        text.push_str("</trk>\n");
    }
    text.push_str("</gpx>\n");
    text
}

/// Text from outside as XML content: letters that XML 1.0 (2.2) does not know are left out.
fn xml(text: &str) -> String {
    let is_known = |it: &char| !it.is_control() && !matches!(it, '\u{fffe}' | '\u{ffff}');
    escape(text.chars().filter(is_known).collect::<String>()).into_owned()
}
