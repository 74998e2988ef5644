//! The track file: GeoJSON (RFC 7946) bytes to edges and gates in WGS 84 degrees.

/// A position as (longitude, latitude) in degrees, the order of RFC 7946 section 3.1.1.
pub type Position = [f64; 2];

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
