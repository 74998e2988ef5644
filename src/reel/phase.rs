//! Where in a pass a frame lies, by one rule for the picture and every line of words about it: a mark belongs to the
//! frame that is on show when it falls, and that frame is told by the mark's name.

use crate::corners::{MarkKind, Pass};

/// Log times closer than this are the same instant, s: they have been presentation times in nanoseconds on the way.
pub(super) const INSTANT_S: f64 = 0.5e-6;

/// Part of a pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    Approach,
    /// The frame that a mark falls on.
    At(MarkKind),
    /// Between turn-in and apex.
    Entry,
    /// Between apex and exit.
    Exit,
    /// Between turn-in and exit of a pass whose apex is unknown.
    Corner,
    Straight,
}

impl Phase {
    /// `marks_s`: log times of turn-in, apex and exit; `pass_s`: of turn-in and exit or what stands for them; `frame_s`:
    /// for which the frame is on show, s.
    pub fn of(marks_s: [Option<f64>; 3], pass_s: (f64, f64), frame_s: (f64, f64)) -> Self {
        let is_past = |t_s: f64| t_s + INSTANT_S < frame_s.1;
        let mut marks = KINDS.into_iter().zip(marks_s);
        if let Some((kind, _)) = marks.find(|(_, t_s)| t_s.is_some_and(|it| falls_on(it, frame_s))) {
            return Self::At(kind);
        }
        match marks_s[1] {
            _ if !is_past(pass_s.0) => Self::Approach,
            _ if is_past(pass_s.1) => Self::Straight,
            Some(apex_s) if is_past(apex_s) => Self::Exit,
            Some(_) => Self::Entry,
            None => Self::Corner,
        }
    }

    /// Of a pass; `None` where it has neither marks nor gates.
    pub fn of_pass(pass: &Pass, frame_s: (f64, f64)) -> Option<Self> {
        Some(Self::of(marks_s(pass), pass.times_s()?, frame_s))
    }

    pub fn word(self) -> &'static str {
        match self {
            Self::Approach => "Approach",
            Self::At(MarkKind::TurnIn) => "At turn-in",
            Self::Entry => "Entry",
            Self::At(MarkKind::Apex) => "At apex",
            Self::Exit => "Exit",
            Self::At(MarkKind::Exit) => "At exit",
            Self::Corner => "In the corner",
            Self::Straight => "Straight",
        }
    }
}

/// The log time that speed and place on a frame are told for, s: of a mark that falls on it, else of its beginning. So
/// the picture of a mark tells the mark's own speed.
pub(super) fn moment_s(marks_s: [Option<f64>; 3], frame_s: (f64, f64)) -> f64 {
    marks_s.into_iter().flatten().find(|it| falls_on(*it, frame_s)).unwrap_or(frame_s.0)
}

/// The same on a frame of a pass.
pub fn moment_of_pass_s(pass: &Pass, frame_s: (f64, f64)) -> f64 {
    moment_s(marks_s(pass), frame_s)
}

const KINDS: [MarkKind; 3] = [MarkKind::TurnIn, MarkKind::Apex, MarkKind::Exit];

fn marks_s(pass: &Pass) -> [Option<f64>; 3] {
    KINDS.map(|it| Some(pass.mark(it)?.t_s.value))
}

/// Whether a moment is on the frame shown for these log times, s.
fn falls_on(t_s: f64, frame_s: (f64, f64)) -> bool {
    t_s + INSTANT_S >= frame_s.0 && t_s + INSTANT_S < frame_s.1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_frame_of_a_mark_is_told_by_its_name() {
        let marks_s = [Some(1.02), Some(2.0), Some(3.0)];
        let words = |marks_s, from_s: f64| Phase::of(marks_s, (1.02, 3.0), (from_s, from_s + 0.04)).word();
        let told: Vec<_> = [0.96, 1.0, 1.04, 1.96, 2.0, 2.04, 2.96, 3.0, 3.04].map(|it| words(marks_s, it)).into();
        assert_eq!(
            told,
            ["Approach", "At turn-in", "Entry", "Entry", "At apex", "Exit", "Exit", "At exit", "Straight"]
        );
        assert_eq!(words([marks_s[0], None, marks_s[2]], 2.0), "In the corner");
        assert_eq!(words([None, marks_s[1], None], 1.0), "Entry", "a gate stands for the turn-in, but is no mark");
    }
}
