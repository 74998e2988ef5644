//! The reel that a person has put together: which passes in which order, from when until when, and with which words.

use crate::book::Refused;
use crate::book::refused::{verify_corner, verify_name, verify_text};

/// Longest time before a pass and behind it, s.
const MOST_S: f64 = 60.0;
/// More passes than this are no reel.
const MOST_CUTS: usize = 500;

/// The cut list of a book.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Reel {
    /// On the title card; `None` for no title card.
    pub title: Option<String>,
    /// In the order shown. A pass may be there twice.
    pub cuts: Vec<ReelCut>,
}

/// One pass of a reel. What is `None` is as in the rest of the reel.
#[derive(Debug, Clone, PartialEq)]
pub struct ReelCut {
    pub lap: u32,
    pub corner: u32,
    /// Shown before turn-in and after exit, s.
    pub lead_s: Option<f64>,
    pub tail_s: Option<f64>,
    /// On its card, in the place of the program's own words.
    pub words: Option<String>,
}

impl ReelCut {
    /// A pass as in the rest of the reel.
    pub fn of(lap: u32, corner: u32) -> Self {
        Self { lap, corner, lead_s: None, tail_s: None, words: None }
    }
}

impl Reel {
    /// With the cut at `from` moved to where `to` is now; the same where either is not there.
    #[must_use]
    pub fn with_moved(&self, from: usize, to: usize) -> Self {
        let mut cuts = self.cuts.clone();
        if from < cuts.len() && to < cuts.len() {
            let cut = cuts.remove(from);
            cuts.insert(to, cut);
        }
        Self { title: self.title.clone(), cuts }
    }

    /// Without the cut at `index`, where there is one.
    #[must_use]
    pub fn without(&self, index: usize) -> Self {
        let others = self.cuts.iter().enumerate().filter(|it| it.0 != index);
        Self { title: self.title.clone(), cuts: others.map(|it| it.1.clone()).collect() }
    }

    /// With the cut at `index` changed, where there is one.
    #[must_use]
    pub fn with_changed(&self, index: usize, change: impl FnOnce(&mut ReelCut)) -> Self {
        let mut reel = self.clone();
        if let Some(cut) = reel.cuts.get_mut(index) {
            change(cut);
        }
        reel
    }

    pub(super) fn verify_invariants(&self) -> Result<(), Refused> {
        if let Some(title) = &self.title {
            verify_name("the reel", title)?;
        }
        if self.cuts.len() > MOST_CUTS {
            return Err(Refused::LongReel { cuts: self.cuts.len(), most: MOST_CUTS });
        }
        for (index, cut) in self.cuts.iter().enumerate() {
            verify_corner(cut.corner)?;
            let is_in_range = |it: Option<f64>| it.is_none_or(|it| (0.0..=MOST_S).contains(&it));
            if !is_in_range(cut.lead_s) || !is_in_range(cut.tail_s) {
                return Err(Refused::BadCut { number: index + 1, most_s: MOST_S });
            }
            if let Some(words) = &cut.words {
                verify_text(words, || format!("clip {} of the reel", index + 1))?;
            }
        }
        Ok(())
    }
}
