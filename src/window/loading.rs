//! Opening a book for review, on a worker: files to a session, its analysis, its footage on the log's clock.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::analysis::Analysis;
use crate::book::Recording;
use crate::book::file::{self, refer_to};
use crate::book::store::Store;
use crate::clock::{self, FootageClock, Method};
use crate::draw::AlignmentPlot;
use crate::job::{self, Cancelled, Context};
use crate::load::footage::clock_chapters;
use crate::load::{self, Aligned, Error, Reading, Session, recording_pins};
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
    /// Of the chapters: what pins become a clock by.
    lengths: Vec<clock::Chapter>,
    /// One a pin: how far it lies from the clock that fits all of them, s.
    pub(crate) residuals_s: Vec<f64>,
    /// The clock that it is on without pins, where that was looked for.
    pub(crate) by_itself: Option<Arc<ByItself>>,
}

/// The clock of footage without pins: by what is seen to move, else by its time stamps.
#[derive(Debug)]
pub(crate) struct ByItself {
    /// Same length as the chapters.
    pub(crate) clocks: Vec<FootageClock>,
    /// What is seen to move over what the log says; `None` where there is no log.
    pub(crate) plot: Option<Arc<AlignmentPlot>>,
}

impl ByItself {
    fn of(aligned: &mut Aligned) -> Self {
        let plot = aligned.motion.take().map(|it| Arc::new(it.plot(present::alignment_title)));
        Self { clocks: std::mem::take(&mut aligned.clocks), plot }
    }

    /// Whether anything tells where the footage lies on the log.
    pub(crate) fn is_known(&self) -> bool {
        self.clocks.iter().any(|it| it.map.is_some())
    }

    /// In words.
    pub(crate) fn words(&self) -> String {
        self.clocks.first().map(clock_in_words).unwrap_or_default()
    }
}

impl Footage {
    /// The same files with the pins of a recording; `None` where that is not known without looking into them.
    pub(crate) fn with_pins(&self, recording: &Recording) -> Option<Self> {
        let pins = recording_pins(recording, &clock::chapter_starts_s(&self.lengths));
        let (clocks, residuals_s) = match clock::from_pins(&self.lengths, &pins) {
            Some(fit) => (fit.clocks, fit.residuals_s),
            None => (self.by_itself.as_ref()?.clocks.clone(), Vec::new()),
        };
        let on_clock = |(chapter, clock): (&Chapter, &FootageClock)| Chapter { clock: clock.map, ..chapter.clone() };
        let chapters = self.chapters.iter().zip(&clocks).map(on_clock).collect();
        let clock = clocks.first().map(clock_in_words).unwrap_or_default();
        Some(Self { chapters, clock, residuals_s, ..self.clone() })
    }

    /// The chapters as they are looked at: where nothing tells where they lie on the log, as if both began together, so
    /// that a frame can be found and pinned.
    pub(crate) fn on_view(&self) -> Vec<Chapter> {
        if !self.is_off_clock() {
            return self.chapters.clone();
        }
        let clocks = clock::own_clock(&self.lengths);
        self.chapters.iter().zip(clocks).map(|(it, clock)| Chapter { clock: clock.map, ..it.clone() }).collect()
    }

    /// Whether there is footage, and nothing tells where it lies on the log.
    pub(crate) fn is_off_clock(&self) -> bool {
        !self.chapters.is_empty() && self.chapters.iter().all(|it| it.clock.is_none())
    }
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
    let mut aligned = load::align(session, &[], None, context)?;
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
    let is_pinned = aligned.clocks.iter().any(|it| it.method == Method::Manual);
    let lengths = clock_chapters(&aligned.footage);
    let by_itself = (!is_pinned).then(|| Arc::new(ByItself::of(&mut aligned)));
    let residuals_s = aligned.residuals_s;
    Ok((Footage { chapters, clock, missing: None, lengths, residuals_s, by_itself }, sentences))
}

/// The clock that a session's footage is on without pins.
pub(crate) fn clock_by_itself(session: &Session, context: &Context) -> Result<ByItself, Error> {
    Ok(ByItself::of(&mut load::align(session, &[], Some(Vec::new()), context)?))
}

fn clock_in_words(clock: &FootageClock) -> String {
    let notes = clock.notes.iter().map(present::note).collect::<Vec<_>>().join("; ");
    if clock.map.is_none() {
        return format!("not on the log's clock: {notes}");
    }
    let by_hand = if clock.method == Method::Manual { " by hand" } else { "" };
    let sure = clock.ci95_s.filter(|it| *it > 0.0);
    let sure = sure.map(|it| format!(" to ±{} s", present::fixed(it, 2))).unwrap_or_default();
    let more = if notes.is_empty() { notes } else { format!("; {notes}") };
    format!("on the log's clock{by_hand}{sure}{more}")
}
