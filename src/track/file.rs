//! The track file: GeoJSON (RFC 7946) bytes to edges and gates in WGS 84 degrees.
//! Says what is wrong with a feature by its number in the file; whether the edges suit a log is not decided here.

use geojson::{Feature, JsonValue, Value};

use crate::session::{Note, NoteKind, Place};

/// A position as (longitude, latitude) in degrees, the order of RFC 7946 section 3.1.1.
pub type Position = [f64; 2];

/// The roles a feature can have, as sentences name them.
const ROLES: &str = "left_edge, right_edge, start_finish, sector, pit_in, pit_out";

/// What a track file holds. Every part is optional.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TrackFile {
    /// Seen in the direction of travel.
    pub left_edge: Option<Edge>,
    pub right_edge: Option<Edge>,
    /// Two positions across the track.
    pub start_finish: Option<[Position; 2]>,
    /// By number.
    pub sectors: Vec<(u32, [Position; 2])>,
    pub pit_in: Option<[Position; 2]>,
    pub pit_out: Option<[Position; 2]>,
}

/// One edge of the track; `closed` where the file repeats the first position (which is not kept twice).
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Edge {
    pub positions: Vec<Position>,
    pub closed: bool,
}

/// Why a track file cannot be used. Features count from 1 in the order of the file.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error("{file}: is empty; a track file is a GeoJSON FeatureCollection (RFC 7946)")]
    Empty { file: String },
    #[error("{file}, line {line}, column {column}: is no JSON ({cause}); a track file is GeoJSON (RFC 7946)")]
    NotJson { file: String, line: usize, column: usize, cause: String },
    #[error("{file}: is JSON, but no FeatureCollection (its type is {found}); wrap the lines of the track in one")]
    NotACollection { file: String, found: String },
    #[error("{file}: has no list of features; a FeatureCollection holds them under \"features\"")]
    NoFeatures { file: String },
    #[error("{file}, feature {feature}: is no GeoJSON feature ({cause}); see RFC 7946 section 3.2")]
    BadFeature { file: String, feature: usize, cause: String },
    #[error("{file}: no feature has a known role; give each line a property \"role\", one of {ROLES}")]
    NoRole { file: String },
    #[error("{file}, feature {feature}: {role} is a {found}; it must be a LineString")]
    WrongGeometry { file: String, feature: usize, role: String, found: String },
    #[error(
        "{file}, feature {feature}: {role} has {} at position {position}, which is no latitude (±90°) and \
         longitude (±180°); GeoJSON puts the longitude first", pair(*.longitude_deg, *.latitude_deg)
    )]
    OutOfRange { file: String, feature: usize, role: String, position: usize, longitude_deg: f64, latitude_deg: f64 },
    #[error("{file}, feature {feature}: {role} has {found} different positions; an edge needs at least {needed}")]
    ShortEdge { file: String, feature: usize, role: String, found: usize, needed: usize },
    #[error("{file}, feature {feature}: {role} has {found} positions; a gate is two different ones, across the track")]
    NotAGate { file: String, feature: usize, role: String, found: usize },
    #[error("{file}, feature {feature}: the sector has no \"number\"; number the sectors 1, 2, 3 …")]
    SectorWithoutNumber { file: String, feature: usize },
    #[error("{file}, feature {feature}: {role} is there twice; keep one")]
    Twice { file: String, feature: usize, role: String },
}

/// Reads a track file. `file` is its name for messages.
///
/// Notes: features without a known role are passed over and counted.
/// Errors: no JSON, no FeatureCollection, no known role at all, or a feature with a known role that breaks its rule.
/// Source: RFC 7946, sections 3.1.1 (positions), 3.1.4 (LineString), 3.2 and 3.3.
pub fn parse(file: &str, bytes: &[u8]) -> Result<(TrackFile, Vec<Note>), Error> {
    let mut track = TrackFile::default();
    let mut notes = Vec::new();
    let mut known = 0;
    for (index, value) in features(file, bytes)?.into_iter().enumerate() {
        let at = FeaturePlace { file, number: index + 1 };
        let feature = Feature::from_json_value(value).map_err(|cause| Error::BadFeature {
            file: file.to_owned(),
            feature: at.number,
            cause: shortened(&cause.to_string()),
        })?;
        match feature.property("role").and_then(JsonValue::as_str) {
            Some(role) if ROLES.split(", ").any(|it| it == role) => {
                at.put(&mut track, role, &feature)?;
                known += 1;
            }
            role => notes.push(
                Note::new(NoteKind::TrackFeatureUnknown { feature: at.number, role: role.map(shortened) })
                    .in_file(file, Place::Whole),
            ),
        }
    }
    if known == 0 {
        return Err(Error::NoRole { file: file.to_owned() });
    }
    track.sectors.sort_by_key(|(number, _)| *number);
    Ok((track, notes))
}

/// Whether bytes look like a GeoJSON collection, to tell a track file by its content.
/// A JSON object with both words near its beginning is taken for one; `parse` decides.
pub fn recognise(head: &[u8]) -> bool {
    let text = String::from_utf8_lossy(head);
    text.trim_start_matches('\u{feff}').trim_start().starts_with('{')
        && (text.contains("\"FeatureCollection\"") || text.contains("\"Feature\"") || text.contains("\"coordinates\""))
}

fn features(file: &str, bytes: &[u8]) -> Result<Vec<JsonValue>, Error> {
    // RFC 8259 section 8.1 lets a reader ignore a byte order mark.
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    if bytes.iter().all(u8::is_ascii_whitespace) {
        return Err(Error::Empty { file: file.to_owned() });
    }
    let mut root: JsonValue = serde_json::from_slice(bytes).map_err(|cause| Error::NotJson {
        file: file.to_owned(),
        line: cause.line(),
        column: cause.column(),
        cause: without_place(&cause),
    })?;
    match root.get("type").and_then(JsonValue::as_str) {
        Some("FeatureCollection") => {}
        found => {
            let found = found.map_or_else(|| "missing".to_owned(), |it| format!("{:?}", shortened(it)));
            return Err(Error::NotACollection { file: file.to_owned(), found });
        }
    }
    match root.get_mut("features").map(JsonValue::take) {
        Some(JsonValue::Array(features)) => Ok(features),
        _ => Err(Error::NoFeatures { file: file.to_owned() }),
    }
}

/// serde_json ends its sentences with the place, which ours begin with.
fn without_place(cause: &serde_json::Error) -> String {
    let text = cause.to_string();
    text.split(" at line ").next().unwrap_or(&text).to_owned()
}

/// Foreign text inside a sentence: not longer than a reader wants.
fn shortened(text: &str) -> String {
    const LONGEST: usize = 60;
    if text.chars().count() <= LONGEST {
        return text.to_owned();
    }
    text.chars().take(LONGEST).chain(['…']).collect()
}

fn pair(longitude_deg: f64, latitude_deg: f64) -> String {
    format!("[{longitude_deg}, {latitude_deg}]")
}

/// Which feature a sentence is about.
struct FeaturePlace<'a> {
    file: &'a str,
    number: usize,
}

impl FeaturePlace<'_> {
    /// Adds one feature of a known role to the track.
    fn put(&self, track: &mut TrackFile, role: &str, feature: &Feature) -> Result<(), Error> {
        let positions = self.positions(role, feature)?;
        let (slot_is_full, label) = match role {
            "left_edge" => (set(&mut track.left_edge, self.edge(role, positions)?), role.to_owned()),
            "right_edge" => (set(&mut track.right_edge, self.edge(role, positions)?), role.to_owned()),
            "start_finish" => (set(&mut track.start_finish, self.gate(role, &positions)?), role.to_owned()),
            "pit_in" => (set(&mut track.pit_in, self.gate(role, &positions)?), role.to_owned()),
            "pit_out" => (set(&mut track.pit_out, self.gate(role, &positions)?), role.to_owned()),
            _ => {
                let number = self.sector_number(feature)?;
                let full = track.sectors.iter().any(|(it, _)| *it == number);
                track.sectors.push((number, self.gate(role, &positions)?));
                (full, format!("sector {number}"))
            }
        };
        if slot_is_full {
            return Err(Error::Twice { file: self.file.to_owned(), feature: self.number, role: label });
        }
        Ok(())
    }

    /// The positions of a LineString, all in range; a third element (height) is not needed.
    fn positions(&self, role: &str, feature: &Feature) -> Result<Vec<Position>, Error> {
        let found = match feature.geometry.as_ref().map(|it| &it.value) {
            Some(Value::LineString(line)) => {
                return line.iter().enumerate().map(|(index, it)| self.position(role, index + 1, it)).collect();
            }
            Some(other) => other.type_name(),
            None => "feature without geometry",
        };
        Err(Error::WrongGeometry {
            file: self.file.to_owned(),
            feature: self.number,
            role: role.to_owned(),
            found: found.to_owned(),
        })
    }

    fn position(&self, role: &str, number: usize, elements: &[f64]) -> Result<Position, Error> {
        let longitude_deg = elements.first().copied().unwrap_or(f64::NAN);
        let latitude_deg = elements.get(1).copied().unwrap_or(f64::NAN);
        if longitude_deg.abs() <= 180.0 && latitude_deg.abs() <= 90.0 {
            return Ok([longitude_deg, latitude_deg]);
        }
        Err(Error::OutOfRange {
            file: self.file.to_owned(),
            feature: self.number,
            role: role.to_owned(),
            position: number,
            longitude_deg,
            latitude_deg,
        })
    }

    /// Repeated neighbours count once; a closed edge needs three corners, an open one two ends.
    fn edge(&self, role: &str, mut positions: Vec<Position>) -> Result<Edge, Error> {
        positions.dedup();
        let closed = positions.len() > 1 && positions.first() == positions.last();
        if closed {
            positions.pop();
        }
        let needed = if closed { 3 } else { 2 };
        if positions.len() < needed {
            return Err(Error::ShortEdge {
                file: self.file.to_owned(),
                feature: self.number,
                role: role.to_owned(),
                found: positions.len(),
                needed,
            });
        }
        Ok(Edge { positions, closed })
    }

    #[allow(clippy::float_cmp, reason = "the very same position twice spans no gate; a near one does")]
    fn gate(&self, role: &str, positions: &[Position]) -> Result<[Position; 2], Error> {
        match positions {
            [from, to] if from != to => Ok([*from, *to]),
            _ => Err(Error::NotAGate {
                file: self.file.to_owned(),
                feature: self.number,
                role: role.to_owned(),
                found: positions.len(),
            }),
        }
    }

    /// A whole number from 1; "2" in quotes is taken too, as some editors write every property as text.
    fn sector_number(&self, feature: &Feature) -> Result<u32, Error> {
        feature
            .property("number")
            .and_then(|it| it.as_u64().or_else(|| it.as_str()?.trim().parse().ok()))
            .and_then(|it| u32::try_from(it).ok())
            .filter(|it| *it >= 1)
            .ok_or_else(|| Error::SectorWithoutNumber { file: self.file.to_owned(), feature: self.number })
    }
}

/// Fills a slot and says whether something was in it.
fn set<T>(slot: &mut Option<T>, value: T) -> bool {
    slot.replace(value).is_some()
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};

    use super::*;

    const GATE: &str = r#"{"type":"Feature","properties":{"role":"start_finish"},
        "geometry":{"type":"LineString","coordinates":[[8.1,47.2],[8.1001,47.2]]}}"#;

    fn collection(features: &str) -> String {
        format!(r#"{{"type":"FeatureCollection","features":[{features}]}}"#)
    }

    fn line(properties: &str, coordinates: &str) -> String {
        collection(&format!(
            r#"{{"type":"Feature","properties":{{{properties}}},
                "geometry":{{"type":"LineString","coordinates":{coordinates}}}}}"#
        ))
    }

    fn refuses(text: &str, expected: Expect) {
        expected.assert_eq(&parse("track.geojson", text.as_bytes()).unwrap_err().to_string());
    }

    #[test]
    fn every_role_is_read() {
        let text = collection(
            &[
                r#"{"type":"Feature","properties":{"role":"left_edge"},"geometry":{"type":"LineString",
                    "coordinates":[[0,0,412],[0,1,412],[1,1,412],[0,0,412]]}}"#,
                r#"{"type":"Feature","properties":{"role":"right_edge"},"geometry":{"type":"LineString",
                    "coordinates":[[0,0],[0,1],[0,1],[1,1]]}}"#,
                GATE,
                r#"{"type":"Feature","properties":{"role":"sector","number":2},"geometry":{"type":"LineString",
                    "coordinates":[[0,0],[0,1]]}}"#,
                r#"{"type":"Feature","properties":{"role":"sector","number":"1"},"geometry":{"type":"LineString",
                    "coordinates":[[2,0],[2,1]]}}"#,
                r#"{"type":"Feature","properties":{"role":"pit_in"},"geometry":{"type":"LineString",
                    "coordinates":[[3,0],[3,1]]}}"#,
                r#"{"type":"Feature","properties":{"role":"pit_out"},"geometry":{"type":"LineString",
                    "coordinates":[[4,0],[4,1]]}}"#,
            ]
            .join(","),
        );
        let (track, notes) = parse("t", text.as_bytes()).unwrap();
        let closed = Edge { positions: vec![[0.0, 0.0], [0.0, 1.0], [1.0, 1.0]], closed: true };
        assert_eq!(track.left_edge, Some(closed.clone()));
        assert_eq!(track.right_edge, Some(Edge { closed: false, ..closed }));
        assert_eq!(track.start_finish, Some([[8.1, 47.2], [8.1001, 47.2]]));
        assert_eq!(track.sectors, vec![(1, [[2.0, 0.0], [2.0, 1.0]]), (2, [[0.0, 0.0], [0.0, 1.0]])]);
        assert_eq!(track.pit_in, Some([[3.0, 0.0], [3.0, 1.0]]));
        assert_eq!(track.pit_out, Some([[4.0, 0.0], [4.0, 1.0]]));
        assert!(notes.is_empty());
    }

    #[test]
    fn unknown_roles_are_noted_and_the_rest_is_used() {
        let hut = r#"{"type":"Feature","properties":{"role":"hut"},"geometry":{"type":"Point","coordinates":[0,0]}}"#;
        let bare = r#"{"type":"Feature","properties":null,"geometry":null}"#;
        let text = format!("\u{feff}{}", collection(&format!("{hut},{bare},{GATE}")));
        let (track, notes) = parse("t", text.as_bytes()).unwrap();
        assert!(track.start_finish.is_some());
        let kinds: Vec<NoteKind> = notes.into_iter().map(|it| it.kind).collect();
        assert_eq!(
            kinds,
            vec![
                NoteKind::TrackFeatureUnknown { feature: 1, role: Some("hut".to_owned()) },
                NoteKind::TrackFeatureUnknown { feature: 2, role: None },
            ]
        );
    }

    #[test]
    fn what_is_no_track_file_is_one_sentence() {
        refuses(" \n", expect!["track.geojson: is empty; a track file is a GeoJSON FeatureCollection (RFC 7946)"]);
        refuses(
            "Time,Lat\n1,2",
            expect!["track.geojson, line 1, column 1: is no JSON (expected value); a track file is GeoJSON (RFC 7946)"],
        );
        refuses(
            "{\"type\":\"FeatureCollection\",",
            expect![
                "track.geojson, line 1, column 28: is no JSON (EOF while parsing a value); a track file is GeoJSON (RFC 7946)"
            ],
        );
        refuses(
            "[1]",
            expect![
                "track.geojson: is JSON, but no FeatureCollection (its type is missing); wrap the lines of the track in one"
            ],
        );
        refuses(
            GATE,
            expect![[
                r#"track.geojson: is JSON, but no FeatureCollection (its type is "Feature"); wrap the lines of the track in one"#
            ]],
        );
        refuses(
            r#"{"type":"FeatureCollection","features":3}"#,
            expect![[r#"track.geojson: has no list of features; a FeatureCollection holds them under "features""#]],
        );
        refuses(
            &collection(""),
            expect![[
                r#"track.geojson: no feature has a known role; give each line a property "role", one of left_edge, right_edge, start_finish, sector, pit_in, pit_out"#
            ]],
        );
        refuses(
            &collection("7"),
            expect![
                "track.geojson, feature 1: is no GeoJSON feature (Encountered a non-object type for GeoJSON: `7`); see RFC 7946 section 3.2"
            ],
        );
        refuses(
            &line(r#""role":"kerb""#, "[[0,0],[1,1]]"),
            expect![[
                r#"track.geojson: no feature has a known role; give each line a property "role", one of left_edge, right_edge, start_finish, sector, pit_in, pit_out"#
            ]],
        );
    }

    #[test]
    fn a_feature_that_breaks_its_rule_is_one_sentence() {
        let edge = r#""role":"left_edge""#;
        refuses(
            &line(edge, "[[0,0]]"),
            expect!["track.geojson, feature 1: left_edge has 1 different positions; an edge needs at least 2"],
        );
        refuses(
            &line(edge, "[[0,0],[0,0]]"),
            expect!["track.geojson, feature 1: left_edge has 1 different positions; an edge needs at least 2"],
        );
        refuses(
            &line(edge, "[[0,0],[0,1],[0,0]]"),
            expect!["track.geojson, feature 1: left_edge has 2 different positions; an edge needs at least 3"],
        );
        refuses(
            &line(edge, "[[0,0],[3]]"),
            expect![
                "track.geojson, feature 1: is no GeoJSON feature (A position must contain two or more elements, but got `1`); see RFC 7946 section 3.2"
            ],
        );
        refuses(
            &line(edge, "[[0,0],[0,\"1\"]]"),
            expect![
                "track.geojson, feature 1: is no GeoJSON feature (Expected a floating-point value, but got None); see RFC 7946 section 3.2"
            ],
        );
        refuses(
            &line(edge, "[[47.2,108.1],[47.2,108.2]]"),
            expect![
                "track.geojson, feature 1: left_edge has [47.2, 108.1] at position 1, which is no latitude (±90°) and longitude (±180°); GeoJSON puts the longitude first"
            ],
        );
        refuses(
            &line(edge, "[[0,0],[1e999,0]]"),
            expect![
                "track.geojson, line 2, column 75: is no JSON (number out of range); a track file is GeoJSON (RFC 7946)"
            ],
        );
        refuses(
            &line(r#""role":"start_finish""#, "[[0,0],[0,1],[0,2]]"),
            expect![
                "track.geojson, feature 1: start_finish has 3 positions; a gate is two different ones, across the track"
            ],
        );
        refuses(
            &line(r#""role":"pit_in""#, "[[0,0],[0,0]]"),
            expect!["track.geojson, feature 1: pit_in has 2 positions; a gate is two different ones, across the track"],
        );
        refuses(
            &line(r#""role":"sector""#, "[[0,0],[0,1]]"),
            expect![[r#"track.geojson, feature 1: the sector has no "number"; number the sectors 1, 2, 3 …"#]],
        );
        refuses(
            &line(r#""role":"sector","number":0"#, "[[0,0],[0,1]]"),
            expect![[r#"track.geojson, feature 1: the sector has no "number"; number the sectors 1, 2, 3 …"#]],
        );
        refuses(
            &collection(&format!("{GATE},{GATE}")),
            expect!["track.geojson, feature 2: start_finish is there twice; keep one"],
        );
        let polygon = r#"{"type":"Feature","properties":{"role":"left_edge"},
            "geometry":{"type":"Polygon","coordinates":[[[0,0],[0,1],[1,1],[0,0]]]}}"#;
        refuses(
            &collection(polygon),
            expect!["track.geojson, feature 1: left_edge is a Polygon; it must be a LineString"],
        );
        let bare = r#"{"type":"Feature","properties":{"role":"left_edge"},"geometry":null}"#;
        refuses(
            &collection(bare),
            expect!["track.geojson, feature 1: left_edge is a feature without geometry; it must be a LineString"],
        );
    }

    proptest::proptest! {
        /// Any damage of a good file is read or refused, never a panic.
        #[test]
        fn a_damaged_file_never_panics(at in 0_usize..400, cut in 0_usize..40, put in ".{0,8}") {
            let mut bytes = collection(GATE).into_bytes();
            let from = at.min(bytes.len());
            let to = (from + cut).min(bytes.len());
            bytes.splice(from..to, put.bytes());
            let _ = parse("t", &bytes);
        }
    }

    #[test]
    fn a_track_file_is_told_by_its_content() {
        assert!(recognise(collection(GATE).as_bytes()));
        assert!(!recognise(b"{\"format\":\"cornerbook.book\"}"));
        assert!(!recognise(b"Time,Lat,Lon\n"));
    }
}
