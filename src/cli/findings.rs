//! `cornerbook findings`: what a session loses where, which lines it takes, and how it stands against another.

use crate::analysis::Analysis;
use crate::book::Grip;
use crate::cli::args::{FindingsArgs, Format};
use crate::cli::console::{Console, Stop};
use crate::cli::{answers, plan, session};
use crate::findings::{self, Beside, Other};
use crate::handout;
use crate::job::Context;
use crate::load::{self, Session};
use crate::report::{FindingsView, findings_csv, findings_json, findings_text};

pub(super) fn run(args: &FindingsArgs, console: &mut Console<'_>, context: &Context) -> Result<u8, Stop> {
    let reading = plan::reading(&args.log_args);
    let session = load::open(&args.input, &reading, context)?;
    let analysis = session::analyse(&session, console, context)?;
    let book = session.book.as_ref().map(|it| &it.1);
    let found = handout::find(&analysis, book, context)?;
    let answered = answers::answered(args, &session, &found.findings)?;
    let other = args.against.as_ref().map(|path| -> Result<_, Stop> {
        let other = on_the_same_track(load::open(path, &reading, context)?, &session);
        let other_analysis = load::analyse(&other, context)?;
        Ok((path.display().to_string(), beside(&session, &analysis, &other, &other_analysis)))
    });
    let other = other.transpose()?;
    let view = FindingsView {
        file: &args.input.display().to_string(),
        analysis: &analysis,
        found: &found,
        grip: book.and_then(|it| it.grip).map(Grip::word),
        answers: answered.as_ref().map(|it| &it.suggestions),
        beside: other.as_ref().map(|(file, beside)| (file.as_str(), beside)),
    };
    console.result(&match args.show.format {
        Format::Table => findings_text(&view),
        Format::Csv => findings_csv(&view),
        Format::Json => findings_json(&view),
    })?;
    Ok(0)
}

/// A session without a track of its own is taken round this one's: laps are compared from one gate.
fn on_the_same_track(mut other: Session, session: &Session) -> Session {
    if other.inputs.track.is_none() {
        other.inputs.track.clone_from(&session.inputs.track);
    }
    other
}

/// Two sessions: nothing where either has no circuit.
fn beside(session: &Session, analysis: &Analysis, other: &Session, other_analysis: &Analysis) -> Beside {
    let views = analysis.view().zip(other_analysis.view());
    let planes = analysis.plane.as_ref().zip(other_analysis.plane.as_ref());
    let Some(((view, other_view), (plane, other_plane))) = views.zip(planes) else { return Beside::default() };
    let starts = session.samples.start_utc().zip(other.samples.start_utc());
    let shift_s = starts.and_then(|(here, there)| (there - here).num_microseconds()).map(|it| it as f64 / 1e6);
    findings::beside(&view, plane, &Other { view: &other_view, plane: other_plane, shift_s })
}
