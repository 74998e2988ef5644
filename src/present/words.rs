//! The words for the values of the vocabulary.

use crate::clock::motion::MotionFit;
use crate::corners::{ApexBy, Direction, Unclear};
use crate::present::{UNKNOWN, fixed};
use crate::session::{LogKind, MarkKind};
use crate::track::{GateOrigin, LapKind};

/// How footage lies on the log by its motion, for the head of a picture.
pub fn alignment_title(fit: Option<&MotionFit>) -> String {
    match fit {
        Some(fit) => format!(
            "begins at log time {} s, rate {} ppm, correlation {}, confidence {}",
            fixed(fit.map.log_t_s_at_zero, 3),
            fixed(fit.map.rate_ppm, 0),
            fixed(fit.correlation, 3),
            fixed(fit.confidence, 2)
        ),
        None => format!("begins at log time {UNKNOWN}: nothing in the footage goes with the log"),
    }
}

/// Why a figure of a pass is missing.
pub fn unclear(reason: Unclear) -> &'static str {
    match reason {
        Unclear::NoTurnIn => "no clear turn-in: the steering does not break away from the straight at one place",
        Unclear::NoExit => "no clear exit: the steering does not come back to the straight at one place",
        Unclear::MarksCross => {
            "the turn-in lies after the exit; the surer of the two stands, a person's before the fit's"
        }
        Unclear::Spun => "the kart turned far more, or less, than on the other laps: a spin has no turn-in and no exit",
        Unclear::NoInside => "no inside edge given, and too few passes to estimate it from",
        Unclear::NoPosition => "the log has no position here",
        Unclear::NoSpeed => "the log has no speed here",
        Unclear::GapInLog => "the log has a gap in this pass",
        Unclear::OpenLap => "the lap begins or ends inside the corner",
        Unclear::EditOutside => "a mark moved by hand lies outside this pass and was left out",
    }
}

/// "left" or "right", as in files.
pub fn direction(direction: Direction) -> &'static str {
    match direction {
        Direction::Left => "left",
        Direction::Right => "right",
    }
}

/// As in files: "timed", "out", "in", "partial".
pub fn lap_kind(kind: LapKind) -> &'static str {
    match kind {
        LapKind::Timed => "timed",
        LapKind::Out => "out",
        LapKind::In => "in",
        LapKind::Partial => "partial",
    }
}

/// As in files: "file", "found", "marked".
pub fn gate_origin(origin: GateOrigin) -> &'static str {
    match origin {
        GateOrigin::File => "file",
        GateOrigin::Found => "found",
        GateOrigin::Marked => "marked",
    }
}

/// As in files: "edge", "envelope", "curvature".
pub fn apex_by(by: ApexBy) -> &'static str {
    match by {
        ApexBy::Edge => "edge",
        ApexBy::Envelope => "envelope",
        ApexBy::Curvature => "curvature",
    }
}

/// As people say it: "turn-in", "apex", "exit".
pub fn mark(mark: MarkKind) -> &'static str {
    match mark {
        MarkKind::TurnIn => "turn-in",
        MarkKind::Apex => "apex",
        MarkKind::Exit => "exit",
    }
}

pub fn log_kind(kind: LogKind) -> &'static str {
    match kind {
        LogKind::Csv => "CSV log",
        LogKind::Nmea => "NMEA 0183 log",
        LogKind::Gpx => "GPX log",
        LogKind::Footage => "footage without a log",
    }
}
