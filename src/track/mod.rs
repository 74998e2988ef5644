//! Where the path lies on the circuit: track file, start/finish gate, laps, reference line.
//! Takes GeoJSON bytes and a path; gives laps and, for every state of the path, where along the reference line it is.

pub mod drift;
pub mod file;
pub mod find;
pub mod laps;
pub mod layout;
pub mod pattern;
pub mod place;
pub mod reference;

use crate::geom::Point;
use crate::session::Estimate;

/// A gate: a directed segment across the track, crossed when the kart passes from behind it to before it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gate {
    pub left: Point,
    pub right: Point,
}

/// Whether the start/finish gate was given or found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GateOrigin {
    File,
    Found,
    /// Yaw-rate log: laps from the repeating pattern and one marked crossing.
    Marked,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LapKind {
    Timed,
    Out,
    In,
    Partial,
}

/// One lap. Lap 0 is the way to the first gate crossing; laps from 1 are complete or the last, open one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lap {
    pub number: u32,
    pub kind: LapKind,
    pub start_t_s: f64,
    pub end_t_s: f64,
    /// Time from gate to gate; `None` for a lap with an open end.
    pub time_s: Option<Estimate>,
}

/// The closed line that laps are compared along: points about a metre apart, the last joined to the first.
#[derive(Debug, Clone, Default)]
pub struct ReferenceLine {
    pub points: Vec<ReferencePoint>,
    pub length_m: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReferencePoint {
    /// Distance from the start/finish gate along the line, m; rises from 0 to below the length.
    pub distance_m: f64,
    pub position: Point,
    /// Radians counter-clockwise from east, continuous along the line.
    pub heading_rad: f64,
    /// 1/m, positive to the left.
    pub curvature_per_m: f64,
}
