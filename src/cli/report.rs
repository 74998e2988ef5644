//! `cornerbook report`: a session as pages to hand over, with its tables beside them, in a folder of its own.

use crate::analysis::Analysis;
use crate::cli::args::ReportArgs;
#[cfg(feature = "media")]
use crate::cli::clip;
use crate::cli::console::{Console, Stop, with_progress};
use crate::cli::{plan, session};
use crate::files::{self, PendingFolder};
#[cfg(feature = "media")]
use crate::findings::Findings;
use crate::handout::{self, Subject};
use crate::job::Context;
use crate::load::{self, Session};
use crate::present;
use crate::reel::Chapter;
use crate::report::{Footage, PAGE, Pictures, is_of_a_report};

pub(super) fn run(args: &ReportArgs, console: &mut Console<'_>, context: &Context) -> Result<u8, Stop> {
    let folder = PendingFolder::new(&args.out, plan::overwrite(args.force), is_of_a_report)?;
    let session = load::open(&args.input, &plan::reading(&args.log_args), context)?;
    refuse_inputs(args, &session)?;
    let analysis = session::analyse(&session, console, context)?;
    let book = session.book.as_ref().map(|it| &it.1);
    let found = handout::find(&analysis, book, context)?;
    let (footage, chapters) = footage(args, &session, console, context)?;
    let subject = subject(args, &session, &analysis, &chapters);
    #[cfg(feature = "media")]
    let pictures = take_pictures(args, &subject, &found, footage, &folder, console, context)?;
    #[cfg(not(feature = "media"))]
    let pictures = Pictures { footage, ..Pictures::default() };
    with_progress("writing the report", context, || {
        handout::write_pages(&handout::name_of(&args.input), &subject, &found, &pictures, &folder, context)
    })?;
    folder.finish()?;
    console.result(&format!("{}\n", present::one_line(&args.out.join(PAGE).display().to_string())))?;
    Ok(0)
}

fn subject<'a>(
    args: &ReportArgs,
    session: &'a Session,
    analysis: &'a Analysis,
    chapters: &'a [Chapter],
) -> Subject<'a> {
    Subject {
        samples: &session.samples,
        analysis,
        track: session.inputs.track.as_ref(),
        book: session.book.as_ref().map(|(path, book)| (path.as_path(), book)),
        unit: args.unit.speed_unit,
        chapters,
    }
}

/// The footage on the log's clock. That it cannot be used is a reason to have no pictures, not an error.
#[cfg(feature = "media")]
fn footage(
    args: &ReportArgs,
    session: &Session,
    console: &mut Console<'_>,
    context: &Context,
) -> Result<(Footage, Vec<Chapter>), Stop> {
    if args.video.is_empty() && !is_filmed(session) {
        return Ok((Footage::NotGiven, Vec::new()));
    }
    let aligned = session::align(session, &args.video, &args.clock, console, context);
    let chapters = aligned.and_then(|it| {
        clip::warn_of_rough_clocks(&it, console);
        clip::chapters(&it)
    });
    match chapters {
        Ok(chapters) => Ok((Footage::Shown, chapters)),
        Err(Stop::Failed(error)) => {
            console.warn(&format!("{error:#}; the report has no stills"));
            Ok((Footage::Unusable(format!("{error:#}")), Vec::new()))
        }
        Err(stop) => Err(stop),
    }
}

#[cfg(not(feature = "media"))]
fn footage(
    _: &ReportArgs,
    session: &Session,
    _: &mut Console<'_>,
    _: &Context,
) -> Result<(Footage, Vec<Chapter>), Stop> {
    Ok((if is_filmed(session) { Footage::NotInThisBuild } else { Footage::NotGiven }, Vec::new()))
}

fn is_filmed(session: &Session) -> bool {
    session.book.as_ref().is_some_and(|(_, book)| !book.recording.chapters.is_empty())
}

/// Takes the stills, and where they are asked for, the clips.
#[cfg(feature = "media")]
fn take_pictures(
    args: &ReportArgs,
    subject: &Subject<'_>,
    found: &Findings,
    footage: Footage,
    folder: &PendingFolder,
    console: &mut Console<'_>,
    context: &Context,
) -> Result<Pictures, Stop> {
    let mut pictures = Pictures { footage, ..Pictures::default() };
    if pictures.footage != Footage::Shown {
        return Ok(pictures);
    }
    let taken = with_progress("taking the stills", context, || handout::take_stills(subject, found, folder, context));
    let (stills, left_out) = taken?;
    left_out.iter().for_each(|it| console.warn(&format!("a still is left out: {it}")));
    pictures.stills = stills;
    if args.clips {
        let cut = with_progress("writing the clips", context, || handout::cut_clips(subject, folder, context));
        let (clips, left_out) = cut?;
        for (lap, corner) in left_out {
            console.warn(&format!("lap {lap}, corner {corner}: is not in the footage, so it has no clip"));
        }
        pictures.clips = clips;
    }
    Ok(pictures)
}

/// A folder that holds what is read is no place for a report, however much its names are a report's.
fn refuse_inputs(args: &ReportArgs, session: &Session) -> Result<(), Stop> {
    let chapters = session.book.iter().flat_map(|(_, book)| book.recording.chapters.iter().map(|it| &it.path));
    #[cfg(feature = "media")]
    let chapters = chapters.chain(&args.video);
    let mut inputs = session.files.iter().chain([&args.input]).chain(chapters);
    let out = files::absolute(&args.out);
    match inputs.find(|it| files::absolute(it).starts_with(&out)) {
        Some(path) => Err(files::Error::IsInput { path: path.clone() }.into()),
        None => Ok(()),
    }
}
