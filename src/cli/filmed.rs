//! A session whose footage is on the log's clock: what films and stills are cut from.

use std::path::{Path, PathBuf};

use crate::analysis::Analysis;
use crate::book::FootageRef;
use crate::cli::args::ClockArgs;
use crate::cli::clip::{chapters, footage_in_book, warn_of_rough_clocks};
use crate::cli::console::{Console, Stop};
use crate::cli::session;
use crate::job::Context;
use crate::load::{self, Reading, Session};
use crate::reel::{Chapter, Source};
use crate::strip;

pub(super) struct Filmed {
    path: PathBuf,
    pub(super) session: Session,
    pub(super) analysis: Analysis,
    chapters: Vec<Chapter>,
    footage: Vec<Option<FootageRef>>,
    /// All footage files, those without a clock too.
    films: Vec<PathBuf>,
}

impl Filmed {
    /// Opens a book or a log. `videos` instead of the book's footage, where there are any.
    pub(super) fn open(
        path: &Path,
        reading: &Reading,
        videos: &[PathBuf],
        clock: &ClockArgs,
        console: &mut Console<'_>,
        context: &Context,
    ) -> Result<Self, Stop> {
        let session = load::open(path, reading, context)?;
        let analysis = session::analyse(&session, console, context)?;
        let aligned = session::align(&session, videos, clock, console, context)?;
        warn_of_rough_clocks(&aligned, console);
        let chapters = chapters(&aligned)?;
        let footage = footage_in_book(&session, &chapters);
        let films = aligned.footage.into_iter().map(|it| it.path).collect();
        Ok(Self { path: path.to_owned(), session, analysis, chapters, footage, films })
    }

    pub(super) fn source(&self) -> Source<'_> {
        Source {
            analysis: &self.analysis,
            book: self.session.book.as_ref().map(|it| &it.1),
            chapters: &self.chapters,
            footage: &self.footage,
        }
    }

    /// Everything that is read and may not be written over.
    pub(super) fn inputs(&self) -> impl Iterator<Item = &Path> {
        self.session.files.iter().chain([&self.path]).chain(&self.films).map(PathBuf::as_path)
    }

    /// The corner of `other` that is this one here; where that cannot be told, the one of the same number.
    pub(super) fn corner_in(&self, other: &Self, number: u32) -> Option<u32> {
        let (here, there) = (&self.analysis, &other.analysis);
        if std::ptr::eq(self, other) || here.plane.is_none() || there.plane.is_none() {
            return Some(number);
        }
        let corner = here.corners.iter().find(|it| it.number == number)?;
        strip::same_corner(corner, here, there).map(|it| it.number)
    }
}
