//! `cornerbook report`: a session as pages to hand over, with its tables beside them, in a folder of its own.

use std::path::Path;

use crate::cli::args::ReportArgs;
use crate::cli::console::{Console, Stop, with_progress};
#[cfg(feature = "media")]
use crate::cli::pictures;
use crate::cli::{findings, plan, session};
use crate::files::{self, PendingFolder};
use crate::job::Context;
use crate::load::{self, Session};
use crate::present;
#[cfg(not(feature = "media"))]
use crate::report::{Footage, Pictures};
use crate::report::{PAGE, ReportView, is_of_a_report, report_files};

pub(super) fn run(args: &ReportArgs, console: &mut Console<'_>, context: &Context) -> Result<u8, Stop> {
    let folder = PendingFolder::new(&args.out, plan::overwrite(args.force), is_of_a_report)?;
    let session = load::open(&args.input, &plan::reading(&args.log_args), context)?;
    refuse_inputs(args, &session)?;
    let analysis = session::analyse(&session, console, context)?;
    let found = findings::find(&session, &analysis, context)?;
    #[cfg(feature = "media")]
    let (pictures, chapters) = pictures::take(args, &session, &analysis, &found, &folder, console, context)?;
    #[cfg(not(feature = "media"))]
    let (pictures, chapters) = (without_media(&session), Vec::new());
    let view = ReportView {
        name: &name_of(&args.input),
        samples: &session.samples,
        analysis: &analysis,
        track: session.inputs.track.as_ref(),
        found: &found,
        book: session.book.as_ref().map(|it| &it.1),
        unit: args.unit.speed_unit,
        chapters: &chapters,
        pictures: &pictures,
    };
    for (name, bytes) in with_progress("writing the report", context, || report_files(&view, context))? {
        context.check()?;
        folder.write(name, &bytes)?;
    }
    folder.finish()?;
    console.result(&format!("{}\n", present::one_line(&args.out.join(PAGE).display().to_string())))?;
    Ok(0)
}

/// A report is called as its book is.
fn name_of(input: &Path) -> String {
    let name = input.file_stem().unwrap_or(input.as_os_str());
    present::one_line(&name.to_string_lossy())
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

#[cfg(not(feature = "media"))]
fn without_media(session: &Session) -> Pictures {
    let is_filmed = session.book.as_ref().is_some_and(|(_, book)| !book.recording.chapters.is_empty());
    Pictures { footage: if is_filmed { Footage::NotInThisBuild } else { Footage::NotGiven }, ..Pictures::default() }
}
