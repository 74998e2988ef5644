//! The three marks of a pass by name, and a mark that a person has put somewhere else.

/// The names of the three marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum MarkKind {
    TurnIn,
    Apex,
    Exit,
}

/// A mark that a person has put somewhere else.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MarkEdit {
    pub lap: u32,
    pub corner: u32,
    pub mark: MarkKind,
    /// Log time, s.
    pub t_s: f64,
}
