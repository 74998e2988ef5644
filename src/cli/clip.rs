//! `cornerbook clip`: one annotated clip of one pass.

use std::path::{Path, PathBuf};

use crate::analysis::Analysis;
use crate::book::{self, FootageRef};
use crate::cli::args::ClipArgs;
use crate::cli::console::{Console, Stop, with_progress};
use crate::cli::{plan, session};
use crate::files::{self, Overwrite};
use crate::job::Context;
use crate::load::{self, Aligned, Session};
use crate::media::{self, Target};
use crate::present;
use crate::reel::{self, Chapter, ClipOptions, ClipPlan, FilmPlan, PlanError};
use crate::session::Note;

pub(super) fn run(args: &ClipArgs, console: &mut Console<'_>, context: &Context) -> Result<u8, Stop> {
    let overwrite = plan::overwrite(args.force);
    files::refuse_existing(&args.out, overwrite)?;
    let session = load::open(&args.book, &plan::reading(&args.log_args), context)?;
    let analysis = session::analyse(&session, console, context)?;
    let aligned = session::align(&session, &args.video, &args.clock, console, context)?;
    let footage = aligned.footage.iter().map(|it| it.path.as_path());
    files::refuse_input(
        &args.out,
        session.files.iter().map(PathBuf::as_path).chain([args.book.as_path()]).chain(footage),
    )?;
    warn_of_rough_clocks(&aligned, console);
    let options = plan::clip_options(&args.shown, args.unit.speed_unit);
    let mut plan = plan_clip(&analysis, &aligned, args.lap, args.corner, &options)?;
    if let Some(other_lap) = args.beside {
        let (pass, layout) = ((args.lap, args.corner), plan::layout(args.film.layout));
        plan = plan
            .with_beside(&analysis, pass, other_lap, layout, &chapters(&aligned)?, &options)
            .map_err(|error| Stop::Failed(error.into()))?;
    }
    let plan = with_drawings(plan, &session);
    for (what, missing_s) in [("lead", plan.lead_missing_s), ("tail", plan.tail_missing_s)] {
        if missing_s > 0.0005 {
            console
                .warn(&format!("the {what} is {} s shorter: there is no more footage", present::fixed(missing_s, 1)));
        }
    }
    let film = FilmPlan { shape: plan::shape(&args.film), ..FilmPlan::of_clip(plan) };
    let target = Target { out: &args.out, overwrite, export: args.film.profile };
    with_progress("writing the clip", context, || media::render_film(&film, target, context, &|_, _| {}))?;
    console.result(&format!("{}\n", present::one_line(&args.out.display().to_string())))?;
    Ok(0)
}

/// Above this, s, a mark may light on the wrong frame by more than the eye forgives.
const ROUGH_S: f64 = 0.1;

/// A clip is only as right as the footage's clock.
pub(super) fn warn_of_rough_clocks(aligned: &Aligned, console: &mut Console<'_>) {
    for (footage, clock) in aligned.footage.iter().zip(&aligned.clocks) {
        if let Some(ci95_s) = clock.ci95_s.filter(|it| *it > ROUGH_S && clock.map.is_some()) {
            console.warn(&format!(
                "{}: its clock is known to ±{} s only, so the marks may light on the wrong frames by as much; \
                 find one moment of the footage in the log and give --offset SECONDS or --pin FOOTAGE=LOG",
                footage.path.display(),
                present::fixed(ci95_s, 1)
            ));
        }
    }
}

/// The cut list of one pass on the footage that has a clock.
pub(super) fn plan_clip(
    analysis: &Analysis,
    aligned: &Aligned,
    lap: u32,
    corner: u32,
    options: &ClipOptions,
) -> Result<ClipPlan, Stop> {
    let chapters = chapters(aligned)?;
    reel::clip_plan(analysis, lap, corner, &chapters, options).map_err(|error| match error {
        PlanError::Option { .. } => Stop::Usage(error.to_string()),
        other => Stop::Failed(other.into()),
    })
}

/// The plan with what the book has drawn on its footage.
fn with_drawings(plan: ClipPlan, session: &Session) -> ClipPlan {
    let Some((_, book)) = &session.book else { return plan };
    let footage = footage_in_book(session, &plan.chapters);
    plan.with_drawings(book, &footage)
}

/// Which file of the book each chapter is.
pub(super) fn footage_in_book(session: &Session, chapters: &[Chapter]) -> Vec<Option<FootageRef>> {
    let of = |it: &Chapter| session.book.as_ref().and_then(|(_, book)| book::file::footage_of(book, &it.file));
    chapters.iter().map(of).collect()
}

/// The footage on the log's clock. Where none of it has a clock, the reason is the error.
pub(super) fn chapters(aligned: &Aligned) -> Result<Vec<Chapter>, Stop> {
    let with_clock = aligned.footage.iter().zip(&aligned.clocks).filter_map(|(footage, clock)| {
        let (start, end) = footage.shown;
        Some(Chapter { file: footage.path.clone(), clock: clock.map?, start, end })
    });
    let chapters: Vec<Chapter> = with_clock.collect();
    if let (true, Some(footage), Some(clock)) = (chapters.is_empty(), aligned.footage.first(), aligned.clocks.first()) {
        let reasons: Vec<String> = clock.notes.iter().map(|it: &Note| present::note(it)).collect();
        return Err(Stop::Failed(anyhow::anyhow!(
            "{}: is not on the log's clock ({}); say where it begins with --offset SECONDS",
            footage.path.display(),
            reasons.join("; ")
        )));
    }
    Ok(chapters)
}

/// Renders a plan into a file, whole or not at all.
pub(super) fn write(plan: &ClipPlan, out: &Path, overwrite: Overwrite, context: &Context) -> Result<(), Stop> {
    with_progress("writing the clip", context, || media::render_clip(plan, out, overwrite, context))?;
    Ok(())
}
