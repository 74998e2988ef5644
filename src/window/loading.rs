//! Opening a book for review, on a worker: files to a session, its analysis, its footage on the log's clock.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::analysis::Analysis;
use crate::book::file::{self, refer_to};
use crate::book::store::Store;
use crate::clock::FootageClock;
use crate::job::{self, Cancelled, Context};
use crate::load::{self, Error, Reading, Session};
use crate::media::Viewer;
use crate::present;
use crate::session::{ClockMap, VideoTime};

/// A book that is ready for review.
#[derive(Debug)]
pub(crate) struct Loaded {
    pub(crate) path: PathBuf,
    pub(crate) store: Store,
    pub(crate) session: Arc<Session>,
    pub(crate) analysis: Arc<Analysis>,
    pub(crate) footage: Footage,
    /// What was set aside, assumed or found odd, in words.
    pub(crate) sentences: Vec<String>,
}

/// The footage of a book.
#[derive(Debug, Clone, Default)]
pub(crate) struct Footage {
    /// In order; those that cannot be looked into are left out and told.
    pub(crate) chapters: Vec<Chapter>,
    /// How it was put on the log's clock, in words.
    pub(crate) clock: String,
    /// The file that the book names and that is nowhere to be found; then there are no chapters.
    pub(crate) missing: Option<PathBuf>,
}

#[derive(Debug, Clone)]
pub(crate) struct Chapter {
    pub(crate) path: PathBuf,
    /// `None` where nothing tells where it lies on the log.
    pub(crate) clock: Option<ClockMap>,
    pub(crate) start: VideoTime,
    pub(crate) end: VideoTime,
}

/// Opens a book to review and change it. Footage that cannot be used does not keep the log from being reviewed.
pub(crate) fn load(path: &Path, context: &Context) -> anyhow::Result<Loaded> {
    load_store(path, Store::open(path)?, context)
}

/// Opens a book to look at it, whoever else has it open.
pub(crate) fn load_to_read(path: &Path, context: &Context) -> anyhow::Result<Loaded> {
    load_store(path, Store::open_to_read(path)?, context)
}

/// Says in the book that a file it misses is now elsewhere, and opens it.
///
/// # Errors
/// The book names no such file, or what [`load`] may say.
pub(crate) fn load_with_found(path: &Path, missing: &Path, found: &Path, context: &Context) -> anyhow::Result<Loaded> {
    let mut store = Store::open(path)?;
    let op = store.book().moved(missing, refer_to(found)?);
    store.apply(op.ok_or_else(|| anyhow::anyhow!("{}: the book names no such file", missing.display()))?)?;
    load_store(path, store, context)
}

fn load_store(path: &Path, store: Store, context: &Context) -> anyhow::Result<Loaded> {
    let session = load::with_book(path, store.book().clone(), &Reading::default(), context)?;
    let (analysis, footage, mut sentences) = analysed(&session, context)?;
    if let Some(why) = store.keeper().read_only() {
        sentences.insert(0, format!("{}: can only be read here ({why})", path.display()));
    }
    let (session, analysis) = (Arc::new(session), Arc::new(analysis));
    Ok(Loaded { path: path.to_owned(), store, session, analysis, footage, sentences })
}

/// The analysis of a session and its footage, and in words what was set aside, assumed or found odd: of the footage
/// first. Both are worked on at once, for neither needs the other.
pub(crate) fn analysed(session: &Session, context: &Context) -> Result<(Analysis, Footage, Vec<String>), Cancelled> {
    let (analysis, footage) =
        job::side_by_side(|| load::analyse(session, context), || footage_or_none(session, context));
    let (analysis, (footage, mut sentences)) = (analysis?, footage?);
    sentences.extend(analysis.notes.iter().map(present::note));
    Ok((analysis, footage, sentences))
}

/// The footage of a session with what is to be said of it; none where it cannot be used, and why.
pub(crate) fn footage_or_none(session: &Session, context: &Context) -> Result<(Footage, Vec<String>), Cancelled> {
    match footage_of(session, context) {
        Ok((footage, sentences)) => {
            footage.chapters.iter().take(1).for_each(|it| Viewer::warm_up(&it.path));
            Ok((footage, sentences))
        }
        Err(Error::Cancelled(cancelled)) => Err(cancelled),
        Err(Error::NoFootage) => Ok((Footage::default(), Vec::new())),
        Err(error) => {
            let missing = match &error {
                Error::Book(file::Error::Missing { path, .. }) => Some(path.clone()),
                _ => None,
            };
            Ok((Footage { missing, ..Footage::default() }, vec![error.to_string()]))
        }
    }
}

fn footage_of(session: &Session, context: &Context) -> Result<(Footage, Vec<String>), Error> {
    let aligned = load::align(session, &[], None, context)?;
    let notes = aligned.notes.iter().chain(aligned.footage.iter().flat_map(|it| &it.notes));
    let sentences = notes.map(present::note).collect();
    let clock = aligned.clocks.first().map(clock_in_words).unwrap_or_default();
    let chapter = |(footage, clock): (&load::footage::Footage, &FootageClock)| Chapter {
        path: footage.path.clone(),
        clock: clock.map,
        start: footage.shown.0,
        end: footage.shown.1,
    };
    let chapters = aligned.footage.iter().zip(&aligned.clocks).map(chapter).collect();
    Ok((Footage { chapters, clock, missing: None }, sentences))
}

fn clock_in_words(clock: &FootageClock) -> String {
    let notes: Vec<String> = clock.notes.iter().map(present::note).collect();
    match (clock.map, clock.ci95_s) {
        (Some(_), Some(ci95_s)) if ci95_s > 0.0 => {
            format!("on the log's clock to ±{} s; {}", present::fixed(ci95_s, 2), notes.join("; "))
        }
        (Some(_), _) => "on the log's clock by hand".to_owned(),
        (None, _) => format!("not on the log's clock: {}", notes.join("; ")),
    }
}
