//! What a person has answered to what the program suggested. The suggestions themselves are computed and not kept.

use std::collections::BTreeMap;
use std::fmt;

use crate::book::Refused;
use crate::book::refused::verify_corner;

/// Which suggestion: a finding by its code, at a corner; for what happened once, on its lap.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Suggestion {
    /// Lower-case letters, digits and `_`.
    pub finding: String,
    pub corner: u32,
    pub lap: Option<u32>,
}

/// What a person made of a suggestion.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    Taken,
    Declined,
}

/// Longest code of a finding, characters.
const CODE_MOST_CHARS: usize = 40;

pub(super) fn verify_suggestions(answers: &BTreeMap<Suggestion, Answer>) -> Result<(), Refused> {
    answers.keys().try_for_each(|it| {
        verify_corner(it.corner)?;
        let is_plain = |it: char| it.is_ascii_lowercase() || it.is_ascii_digit() || it == '_';
        if it.finding.is_empty() || it.finding.len() > CODE_MOST_CHARS || !it.finding.chars().all(is_plain) {
            return Err(Refused::BadSuggestion { finding: it.finding.clone() });
        }
        Ok(())
    })
}

/// As it is typed and listed: `early_turn_in:3`, or with its lap `lost_time:1:4`.
impl fmt::Display for Suggestion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.finding, self.corner)?;
        self.lap.map_or(Ok(()), |lap| write!(f, ":{lap}"))
    }
}

impl Answer {
    /// The word in files and tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::Taken => "taken",
            Self::Declined => "declined",
        }
    }
}
