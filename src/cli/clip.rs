//! `cornerbook clip`: one annotated clip of one pass.

use std::path::{Path, PathBuf};

use crate::analysis::Analysis;
use crate::book::{self, FootageRef};
use crate::cli::args::ClockArgs;
use crate::cli::console::{Console, Stop, with_progress};
use crate::cli::film_args::ClipArgs;
use crate::cli::filmed::Filmed;
use crate::cli::plan;
use crate::files::{self, Overwrite};
use crate::job::Context;
use crate::load::{Aligned, Reading, Session};
use crate::media::{self, Target};
use crate::present;
use crate::reel::{self, Chapter, ClipOptions, ClipPlan, FilmPlan, PlanError};
use crate::session::{Note, NoteKind};

pub(super) fn run(args: &ClipArgs, console: &mut Console<'_>, context: &Context) -> Result<u8, Stop> {
    let overwrite = plan::overwrite(args.force);
    files::refuse_existing(&args.out, overwrite)?;
    let filmed = Filmed::open(&args.book, &plan::reading(&args.log_args), &args.video, &args.clock, console, context)?;
    let open_other = |it: &PathBuf| Filmed::open(it, &Reading::default(), &[], &ClockArgs::default(), console, context);
    let other = args.beside_book.as_ref().map(open_other).transpose()?;
    files::refuse_input(&args.out, filmed.inputs().chain(other.iter().flat_map(Filmed::inputs)))?;
    let plan = plan_with_beside(args, &filmed, other.as_ref().unwrap_or(&filmed)).map_err(stop)?;
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
        let unlikely = clock.notes.iter().filter(|it| matches!(it.kind, NoteKind::RateUnlikely { .. }));
        let file = footage.path.display().to_string();
        unlikely.for_each(|it| console.notes(&[it.clone().in_file(&file, it.place)]));
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

/// The pass's plan, with the one that is shown as well, which is of `other`.
fn plan_with_beside(args: &ClipArgs, filmed: &Filmed, other: &Filmed) -> Result<ClipPlan, PlanError> {
    let options = plan::clip_options(&args.shown, args.unit.speed_unit);
    let plan = filmed.source().plan(args.lap, args.corner, &options)?;
    let Some(other_lap) = args.beside else { return Ok(plan) };
    let no_place = PlanError::NoSamePlace { lap: args.lap, other_lap, corner: args.corner };
    let corner = filmed.corner_in(other, args.corner).ok_or(no_place)?;
    let second = other.source().plan(other_lap, corner, &options)?;
    let (here, there) = (filmed.source().side(args.lap, args.corner), other.source().side(other_lap, corner));
    plan.with_beside(second, here, there, plan::layout(args.film.layout), options.speed_unit)
}

/// The cut list of one pass on the footage that has a clock.
pub(super) fn plan_clip(
    analysis: &Analysis,
    aligned: &Aligned,
    lap: u32,
    corner: u32,
    options: &ClipOptions,
) -> Result<ClipPlan, Stop> {
    reel::clip_plan(analysis, lap, corner, &chapters(aligned)?, options).map_err(stop)
}

fn stop(error: PlanError) -> Stop {
    match error {
        PlanError::Option { .. } => Stop::Usage(error.to_string()),
        other => Stop::Failed(other.into()),
    }
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
