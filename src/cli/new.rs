//! `cornerbook new`: what a person gives becomes a book. Everything is read once, so that a book that is made can be
//! used.

use std::path::PathBuf;

use crate::book::{self, Book, Op, Recording, Trackside, file::refer_to};
use crate::cli::args::NewArgs;
use crate::cli::console::{Console, Stop, with_progress};
use crate::cli::plan;
use crate::clock::{self, LogSpan, chapter_starts_s};
use crate::files;
use crate::job::Context;
use crate::load::{self, footage, footage::Footage};
use crate::present;
use crate::session::Samples;

pub(super) fn run(args: &NewArgs, console: &mut Console<'_>, context: &Context) -> Result<u8, Stop> {
    let path = book::file::with_ending(&args.book);
    files::refuse_existing(&path, plan::overwrite(args.force))?;
    let given = [args.log_args.track.as_deref(), args.log_args.columns.as_deref()];
    let given = args
        .log
        .iter()
        .chain(&args.video)
        .chain(&args.trackside)
        .map(PathBuf::as_path)
        .chain(given.into_iter().flatten());
    files::refuse_input(&path, given)?;
    let samples = read_session(args, context)?;
    console.notes(samples.notes());
    if let Some(track) = &args.log_args.track {
        let mut notes = Vec::new();
        load::read_track(track, &mut notes)?;
        console.notes(&notes);
    }
    let mut book = Book {
        recording: recording(args, &samples, console, context)?,
        track: args.log_args.track.as_deref().map(refer_to).transpose()?,
        columns: args.log_args.columns.as_deref().map(refer_to).transpose()?,
        driver: args.driver.clone(),
        grip: args.grip.map(plan::grip),
        marked_crossing_s: args.log_args.crossing,
        ..Book::new(references(&args.log)?)
    };
    book.verify_invariants().map_err(|refused| Stop::Usage(refused.to_string()))?;
    add_trackside(&mut book, args, console, context)?;
    context.check()?;
    book::store::write(&book, &path, plan::overwrite(args.force))?;
    console.result(&format!("{}\n", present::one_line(&path.display().to_string())))?;
    Ok(0)
}

/// The footage, each file looked into, with the offset or the pins that were typed.
fn recording(
    args: &NewArgs,
    samples: &Samples,
    console: &mut Console<'_>,
    context: &Context,
) -> Result<Recording, Stop> {
    let footage = probe_all(args, console, context)?;
    let chapters = footage::clock_chapters(&footage);
    let pins = match plan::typed_pins(&args.clock)? {
        Some(pins) => plan::book_pins(&pins, &chapter_starts_s(&chapters))?,
        None => {
            warn_without_clock(args, samples, &footage, console, context)?;
            Vec::new()
        }
    };
    Ok(Recording { chapters: references(&args.video)?, pins })
}

fn probe_all(args: &NewArgs, console: &mut Console<'_>, context: &Context) -> Result<Vec<Footage>, Stop> {
    let footage = footage::probe_all(&args.video, context)?;
    footage.iter().for_each(|it| console.notes(&it.notes));
    Ok(footage)
}

/// The trackside footage, each file looked into, and not pinned yet.
fn add_trackside(book: &mut Book, args: &NewArgs, console: &mut Console<'_>, context: &Context) -> Result<(), Stop> {
    for footage in footage::probe_all(&args.trackside, context)? {
        console.notes(&footage.notes);
        let trackside = Trackside::unpinned(refer_to(&footage.path)?);
        let added = book.apply(Op::Trackside(book.next_id, Some(trackside)));
        added.map_err(|refused| Stop::Usage(refused.to_string()))?;
    }
    Ok(())
}

/// A book is made all the same, but footage that is not on the log's clock is of no use until it is. What is seen to
/// move is kept outside the book, so that opening it does not look again.
fn warn_without_clock(
    args: &NewArgs,
    samples: &Samples,
    footage: &[Footage],
    console: &mut Console<'_>,
    context: &Context,
) -> Result<(), Stop> {
    if args.log.is_empty() {
        return Ok(());
    }
    let log = LogSpan { start_utc: samples.start_utc(), duration_s: samples.duration_s() };
    let mut clocks = clock::from_stamps(log, &footage::clock_chapters(footage));
    if !args.clock.no_motion && !footage.is_empty() {
        clocks = with_progress("looking for the log's turns in the footage", context, || {
            load::motion::clocks_by_motion(samples, footage, clocks, context)
        })?
        .0;
    }
    if let Some((path, clock)) = args.video.iter().zip(&clocks).find(|(_, clock)| clock.map.is_none()) {
        let reasons: Vec<String> = clock.notes.iter().map(present::note).collect();
        console.warn(&format!(
            "{}: is not on the log's clock ({}); give --offset SECONDS or --pin FOOTAGE=LOG",
            path.display(),
            reasons.join("; ")
        ));
    }
    Ok(())
}

/// The logs, or where there are none, what is seen in the footage.
fn read_session(args: &NewArgs, context: &Context) -> Result<Samples, Stop> {
    Ok(match args.log.as_slice() {
        [] => with_progress("looking for laps in the footage", context, || {
            load::samples_of_footage(&args.video, context)
        })?,
        logs => load::read_logs(logs, args.log_args.columns.as_deref(), context)?,
    })
}

fn references(paths: &[PathBuf]) -> Result<Vec<book::FileRef>, Stop> {
    paths.iter().map(|it| Ok(refer_to(it)?)).collect()
}
