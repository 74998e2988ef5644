//! A report with its pictures, written into a folder. Takes a session that is analysed and its footage on the log's clock;
//! command line and window share it. Reads no log and shows nothing.

#[cfg(feature = "media")]
mod pictures;
mod traffic;

use std::path::Path;

use crate::analysis::Analysis;
use crate::book::Book;
use crate::files::{self, PendingFolder};
use crate::findings::{self, Findings};
use crate::job::{Cancelled, Context};
#[cfg(feature = "media")]
use crate::media;
use crate::present;
use crate::reel::Chapter;
use crate::report::{Pictures, ReportView, report_files};
use crate::session::Samples;
use crate::track::file::TrackFile;
use crate::units::SpeedUnit;

#[cfg(feature = "media")]
pub use pictures::{cut_clips, take_stills};

/// What is handed over.
#[derive(Debug, Clone, Copy)]
pub struct Subject<'a> {
    pub samples: &'a Samples,
    pub analysis: &'a Analysis,
    pub track: Option<&'a TrackFile>,
    /// The book and where it is.
    pub book: Option<(&'a Path, &'a Book)>,
    pub unit: SpeedUnit,
    /// The footage that is on the log's clock, in the order of the recording; empty where there is none.
    pub chapters: &'a [Chapter],
}

/// Why there is no report.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    #[error(transparent)]
    File(#[from] files::Error),
    #[cfg(feature = "media")]
    #[error(transparent)]
    Media(media::Error),
    #[cfg(feature = "media")]
    #[error("{file}: the picture cannot be encoded ({cause})")]
    Picture { file: String, cause: image::ImageError },
}

#[cfg(feature = "media")]
impl From<media::Error> for Error {
    fn from(error: media::Error) -> Self {
        match error {
            media::Error::Cancelled(cancelled) => Self::Cancelled(cancelled),
            other => Self::Media(other),
        }
    }
}

/// What is found in a session; nothing without a circuit.
///
/// # Errors
/// Cancelled.
pub fn find(analysis: &Analysis, book: Option<&Book>, context: &Context) -> Result<Findings, Cancelled> {
    let Some(view) = analysis.view() else { return Ok(Findings::default()) };
    let (traffic, aside) = book.map(|book| traffic::tagged(book, analysis)).unwrap_or_default();
    findings::find(&view, &traffic, &aside, context)
}

/// The pages and tables of a report, into its folder; its pictures are there before.
///
/// # Errors
/// Cancelled, or a file that cannot be written.
pub fn write_pages(
    name: &str,
    subject: &Subject<'_>,
    found: &Findings,
    pictures: &Pictures,
    folder: &PendingFolder,
    context: &Context,
) -> Result<(), Error> {
    let Subject { samples, analysis, track, unit, chapters, .. } = *subject;
    let book = subject.book.map(|it| it.1);
    let view = ReportView { name, samples, analysis, track, found, book, unit, chapters, pictures };
    for (name, bytes) in report_files(&view, context)? {
        context.check()?;
        folder.write(name, &bytes)?;
    }
    Ok(())
}

/// A report is called as its book or log is.
pub fn name_of(input: &Path) -> String {
    let name = input.file_stem().unwrap_or(input.as_os_str());
    present::one_line(&name.to_string_lossy())
}
