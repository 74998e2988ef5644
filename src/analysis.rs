//! `run`: everything computed from one session, as one immutable value. No state, no files.

use std::sync::Arc;

pub use crate::session::MarkEdit;

use crate::corners::{Corner, Pass};
use crate::geom::plane::Plane;
use crate::session::{Note, Path, Samples};
use crate::track::file::TrackFile;
use crate::track::{GateOrigin, Lap, ReferenceLine};

/// All that an analysis depends on.
#[derive(Debug, Clone)]
pub struct Inputs {
    pub samples: Arc<Samples>,
    pub track: Option<TrackFile>,
    /// Log time of one crossing of the start/finish gate, s: needed where the log has no position.
    pub marked_crossing_s: Option<f64>,
    pub edits: Vec<MarkEdit>,
}

/// The result. Fields that need a position are empty or `None` for a log without one.
#[derive(Debug, Clone)]
pub struct Analysis {
    pub plane: Option<Plane>,
    pub path: Path,
    pub reference: Option<ReferenceLine>,
    pub gate: Option<GateOrigin>,
    pub laps: Vec<Lap>,
    pub corners: Vec<Corner>,
    pub passes: Vec<Pass>,
    /// Per state of the path: where it is on the circuit. Same length as `path.states`; `None` off the laps.
    pub places: Vec<Option<TrackPlace>>,
    /// Findings of the reader and of every stage.
    pub notes: Vec<Note>,
}

/// One place on the circuit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackPlace {
    pub lap: u32,
    /// Along the reference line from the gate, m.
    pub distance_m: f64,
    /// To the left of the reference line, m.
    pub offset_m: f64,
}
