//! The drawings of a book that fall into a clip, as plain data.

use crate::book::{Book, Drawing, FootageRef};
use crate::reel::plan::{ClipPlan, Cut};
use crate::session::VideoTime;

/// The frame on show where a cut begins may be this much older, ns: footage has at least one frame a second.
const FRAME_AT_MOST_NS: i64 = 1_000_000_000;

/// A drawing over one of the clip's chapters.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipDrawing {
    /// Indexes [`ClipPlan::chapters`].
    pub chapter: usize,
    pub drawing: Drawing,
}

impl ClipPlan {
    /// Adds the book's drawings that fall into the cuts. `footage`: which file of the book each of the plan's chapters is,
    /// `None` where it is none of them; in the order of the chapters.
    #[must_use]
    pub fn with_drawings(mut self, book: &Book, footage: &[Option<FootageRef>]) -> Self {
        for drawing in book.drawings.values() {
            let chapters = (0..self.chapters.len()).zip(footage).filter(|(_, it)| **it == Some(drawing.on.footage));
            for (chapter, _) in chapters {
                if self.cuts.iter().any(|cut| falls_into(drawing, chapter, cut)) {
                    self.drawings.push(ClipDrawing { chapter, drawing: drawing.clone() });
                }
            }
        }
        self
    }

    /// Which of [`ClipPlan::drawings`] lie over a frame of a chapter that is on show for the presentation times
    /// `from..until`; rising.
    pub fn drawings_on_show(&self, chapter: usize, from: VideoTime, until: VideoTime) -> Vec<usize> {
        let is_on_show = |it: &ClipDrawing| it.chapter == chapter && it.drawing.is_on_show(from, until);
        self.drawings.iter().enumerate().filter(|(_, it)| is_on_show(it)).map(|(index, _)| index).collect()
    }
}

fn falls_into(drawing: &Drawing, chapter: usize, cut: &Cut) -> bool {
    let earlier = VideoTime(cut.from().0.saturating_sub(FRAME_AT_MOST_NS));
    cut.chapter() == chapter && drawing.is_on_show(earlier, cut.until())
}
