//! One session to cut from: its analysis, its book and its footage on the log's clock.

use crate::analysis::Analysis;
use crate::book::{Book, FootageRef};
use crate::reel::{Chapter, ClipOptions, ClipPlan, Compared, PlanError, clip_plan};

#[derive(Debug, Clone, Copy)]
pub struct Source<'a> {
    pub analysis: &'a Analysis,
    /// For driver, tags, drawings and exit verdicts.
    pub book: Option<&'a Book>,
    /// Its footage on the log's clock.
    pub chapters: &'a [Chapter],
    /// Which file of the book each of the chapters is, for drawings; `None` where it is none.
    pub footage: &'a [Option<FootageRef>],
}

impl<'a> Source<'a> {
    /// The plan of a pass with what was drawn on its footage.
    pub fn plan(&self, lap: u32, corner: u32, options: &ClipOptions) -> Result<ClipPlan, PlanError> {
        let plan = clip_plan(self.analysis, lap, corner, self.chapters, options)?;
        Ok(match self.book {
            Some(book) => plan.with_drawings(book, self.footage),
            None => plan,
        })
    }

    /// A pass, to be shown with another.
    pub fn side(&self, lap: u32, corner: u32) -> Compared<'a> {
        Compared { analysis: self.analysis, driver: self.book.and_then(|it| it.driver.as_deref()), lap, corner }
    }
}
