//! Corners of the reference line and the passes through them: turn-in, apex, exit, speeds, each with its interval.

mod apex;
pub mod by_time;
mod extremum;
pub mod figure;
pub mod find;
mod known;
mod marks;
pub mod passes;
mod profile;
mod repeat;
mod rise_fit;
mod shape_fit;
mod slip;
pub mod timeline;
mod trips;

pub use crate::corners::known::{KnownMoment, KnownPlace, known_moment_near, known_moments};
pub use crate::session::MarkKind;

use crate::session::Estimate;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    Left,
    Right,
}

/// One corner of the circuit, from the reference line.
#[derive(Debug, Clone, PartialEq)]
pub struct Corner {
    /// From 1, in the order met after the gate.
    pub number: u32,
    /// "T1" and so on, until a person names it.
    pub name: String,
    pub direction: Direction,
    /// Degrees turned, positive.
    pub angle_deg: f64,
    pub min_radius_m: Option<f64>,
    /// Distances along the reference line from the gate, m; `None` without a position. The exit gate of a corner that
    /// spans the start/finish gate has the smaller distance.
    pub entry_gate_m: Option<f64>,
    pub middle_m: Option<f64>,
    pub exit_gate_m: Option<f64>,
    /// Where half of the heading change is done, WGS 84 degrees.
    pub latitude_deg: Option<f64>,
    pub longitude_deg: Option<f64>,
}

impl Corner {
    /// What the program calls a corner: "T1" and so on.
    pub fn own_name(number: u32) -> String {
        format!("T{number}")
    }
}

/// How the apex was found (design: edge, envelope, curvature).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ApexBy {
    Edge,
    Envelope,
    Curvature,
}

/// Turn-in, apex or exit of one pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// Log time, s.
    pub t_s: Estimate,
    pub latitude_deg: Option<f64>,
    pub longitude_deg: Option<f64>,
    /// Along the reference line from the gate, m.
    pub distance_m: Option<f64>,
    pub speed_mps: Option<Estimate>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Apex {
    pub mark: Mark,
    pub by: ApexBy,
    /// From the inside edge (given or estimated), m.
    pub gap_m: Option<Estimate>,
}

/// One trip of one lap through one corner. What cannot be told is `None`, with the reason in `unclear`.
#[derive(Debug, Clone, PartialEq)]
pub struct Pass {
    pub lap: u32,
    pub corner: u32,
    pub direction: Direction,
    pub turn_in: Option<Mark>,
    pub apex: Option<Apex>,
    pub exit: Option<Mark>,
    pub approach_speed_mps: Option<Estimate>,
    pub entry_speed_mps: Option<Estimate>,
    pub min_speed_mps: Option<Estimate>,
    /// Log time of the lowest speed, s.
    pub min_speed_t_s: Option<Estimate>,
    pub exit_speed_mps: Option<Estimate>,
    pub entry_gate_speed_mps: Option<Estimate>,
    pub exit_gate_speed_mps: Option<Estimate>,
    /// Entry gate to exit gate, s.
    pub time_s: Option<Estimate>,
    /// Metres driven from entry gate to exit gate.
    pub path_m: Option<Estimate>,
    /// Exit gate to the next corner's entry gate, less the best pass's, s.
    pub exit_cost_s: Option<Estimate>,
    /// Log times at which this lap crosses the corner's entry gate and exit gate, s.
    pub entry_gate_t_s: Option<f64>,
    pub exit_gate_t_s: Option<f64>,
    /// Marks a person has moved.
    pub edited: Vec<MarkKind>,
    /// Why something is missing.
    pub unclear: Vec<Unclear>,
}

impl Pass {
    pub fn mark(&self, kind: MarkKind) -> Option<Mark> {
        match kind {
            MarkKind::TurnIn => self.turn_in,
            MarkKind::Apex => self.apex.map(|it| it.mark),
            MarkKind::Exit => self.exit,
        }
    }

    /// Log times of turn-in and exit, s, or of the gates in their place; `None` where neither is known.
    pub fn times_s(&self) -> Option<(f64, f64)> {
        let begin_s = self.turn_in.map(|it| it.t_s.value).or(self.entry_gate_t_s)?;
        let finish_s = self.exit.map(|it| it.t_s.value).or(self.exit_gate_t_s)?;
        (finish_s > begin_s).then_some((begin_s, finish_s))
    }

    /// A pass of which nothing is known.
    #[cfg(test)]
    pub(crate) fn nothing_known(lap: u32, corner: u32, direction: Direction) -> Self {
        Self {
            lap,
            corner,
            direction,
            turn_in: None,
            apex: None,
            exit: None,
            approach_speed_mps: None,
            entry_speed_mps: None,
            min_speed_mps: None,
            min_speed_t_s: None,
            exit_speed_mps: None,
            entry_gate_speed_mps: None,
            exit_gate_speed_mps: None,
            time_s: None,
            path_m: None,
            exit_cost_s: None,
            entry_gate_t_s: None,
            exit_gate_t_s: None,
            edited: Vec::new(),
            unclear: Vec::new(),
        }
    }
}

/// Reasons why a figure of a pass is missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unclear {
    NoTurnIn,
    NoExit,
    NoInside,
    NoPosition,
    NoSpeed,
    GapInLog,
    /// The lap ends or begins inside the corner.
    OpenLap,
    /// The turn-in lies after the exit: the surer of the two stands, a person's before the fit's.
    MarksCross,
    /// A mark moved by a person lies outside the pass.
    EditOutside,
    /// The kart turned far more, or less, than on the other laps.
    Spun,
}
