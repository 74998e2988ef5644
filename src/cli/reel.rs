//! `cornerbook reel`: chosen passes as one film, as films of their own, or as a list.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use crate::book::Reel;
use crate::cli::console::{Console, Stop, with_progress};
use crate::cli::film_args::ReelArgs;
use crate::cli::filmed::Filmed;
use crate::cli::plan;
use crate::files::{self, GrowingFolder};
use crate::job::Context;
use crate::media::{self, Target};
use crate::present;
use crate::reel::{
    self, Choice, ChoiceError, Chosen, ClipPiece, FilmPlan, Other, PlanError, ReelItem, ReelOptions, SoundPlan, Source,
};

pub(super) fn run(args: &ReelArgs, console: &mut Console<'_>, context: &Context) -> Result<u8, Stop> {
    refuse_mixed_inputs(args)?;
    let overwrite = plan::overwrite(args.force);
    let subtitles = args.out.as_deref().filter(|_| args.subtitles).map(|it| it.with_extension("vtt"));
    let outputs: Vec<&Path> = args.out.as_deref().into_iter().chain(subtitles.as_deref()).collect();
    if !args.list {
        outputs.iter().try_for_each(|it| files::refuse_existing(it, overwrite))?;
    }
    let reading = plan::reading(&args.log_args);
    let open = |it: &PathBuf| Filmed::open(it, &reading, &args.video, &args.clock, console, context);
    let loaded: Vec<Filmed> = args.books.iter().map(open).collect::<Result<_, _>>()?;
    let inputs = || loaded.iter().flat_map(Filmed::inputs).chain(args.narration.as_deref());
    outputs.iter().try_for_each(|it| files::refuse_input(it, inputs()))?;
    let film = plan_film(args, &loaded, console)?;
    if args.list {
        console.result(&reel::list_text(&film, args.unit.speed_unit))?;
        return Ok(0);
    }
    if let Some(folder) = &args.clips {
        return write_each(args, &film, folder, &inputs().collect::<Vec<_>>(), console, context);
    }
    let Some(out) = &args.out else { return Ok(0) };
    let rendered = with_progress("writing the reel", context, || {
        media::render_film(&film, target(args, out), context, &|_, _| {})
    })?;
    if !rendered.has_chapters {
        console.warn(&format!("{}: has no chapters, for this kind of file cannot hold them", out.display()));
    }
    if let Some(path) = &subtitles {
        files::write(path, reel::web_vtt(&film).as_bytes(), overwrite)?;
    }
    for path in outputs {
        console.result(&format!("{}\n", present::one_line(&path.display().to_string())))?;
    }
    Ok(0)
}

/// Footage, clock and log options speak of one session.
fn refuse_mixed_inputs(args: &ReelArgs) -> Result<(), Stop> {
    let is_given = !args.video.is_empty() || args.clock.offset.is_some() || !args.clock.pin.is_empty();
    if args.books.len() > 1 && is_given {
        return Err(Stop::Usage(
            "--video, --offset and --pin are for one session; with several books, give each its footage and pins first"
                .to_owned(),
        ));
    }
    Ok(())
}

/// Chooses the passes and plans their film; says which of them cannot be shown.
fn plan_film(args: &ReelArgs, loaded: &[Filmed], console: &mut Console<'_>) -> Result<FilmPlan, Stop> {
    let sources: Vec<Source<'_>> = loaded.iter().map(Filmed::source).collect();
    let saved = if args.saved { Some(saved_reel(args, &sources)?) } else { None };
    let title = args.title.clone().or_else(|| saved.and_then(|it| it.title.clone()));
    let options = ReelOptions {
        clip: plan::clip_options(&args.shown, args.unit.speed_unit),
        title,
        card_s: args.card,
        sound: SoundPlan { is_muted: args.mute, is_level: true, narration: args.narration.clone() },
        shape: plan::shape(&args.film),
        beside: args.beside.map(|it| (it, plan::layout(args.film.layout))),
        ..ReelOptions::default()
    };
    let items = match saved {
        Some(saved) => {
            let (items, left_out) = reel::booked_items(sources[0], saved, &options.clip).map_err(failed)?;
            for cut in left_out {
                console.warn(&present::cut_left_out(cut.lap, cut.corner));
            }
            items
        }
        None => chosen_items(args, loaded, &sources, console)?,
    };
    if args.beside == Some(Other::Best) {
        let chosen: Vec<Chosen> = items.iter().map(|it| it.chosen.clone()).collect();
        warn_of_unfilmed_best(&chosen, console);
    }
    let (film, left_out) = reel::reel_plan(&sources, &items, &options).map_err(|error| match error {
        PlanError::Option { .. } => Stop::Usage(error.to_string()),
        other => Stop::Failed(other.into()),
    })?;
    left_out.iter().for_each(|it: &(Chosen, PlanError)| console.warn(&format!("left out: {}", it.1)));
    Ok(film)
}

/// The reel of the one book that is given.
fn saved_reel<'a>(args: &ReelArgs, sources: &[Source<'a>]) -> Result<&'a Reel, Stop> {
    if plan::choice(&args.choice) != Choice::default() {
        return Err(Stop::Usage(
            "--saved takes the reel as it was put together; leave out --best, --corner and what else chooses passes"
                .to_owned(),
        ));
    }
    let [source] = sources else {
        return Err(Stop::Usage("--saved takes the reel of one book; give that book alone".to_owned()));
    };
    match source.book.map(|it| &it.reel) {
        Some(reel) if !reel.cuts.is_empty() => Ok(reel),
        _ => Err(Stop::Failed(anyhow::anyhow!(
            "the book has no reel; put one together in the window, or choose passes by --best, --corner and the like"
        ))),
    }
}

fn chosen_items(
    args: &ReelArgs,
    loaded: &[Filmed],
    sources: &[Source<'_>],
    console: &mut Console<'_>,
) -> Result<Vec<ReelItem>, Stop> {
    let chosen = reel::choose(sources, &plan::choice(&args.choice), |source, corner| {
        loaded[0].corner_in(&loaded[source], corner)
    });
    let chosen = chosen.map_err(failed)?;
    if chosen.without_footage > 0 {
        console.warn(&present::without_footage(chosen.without_footage));
    }
    Ok(chosen.passes.into_iter().map(ReelItem::from).collect())
}

fn failed(error: ChoiceError) -> Stop {
    Stop::Failed(error.into())
}

/// "best" is the best pass that is filmed: where a better one is not, that is said, once a corner.
fn warn_of_unfilmed_best(chosen: &[Chosen], console: &mut Console<'_>) {
    let mut told = BTreeSet::new();
    for (best, shown) in chosen.iter().filter_map(|it| it.best_pass.zip(it.best_shown)) {
        if best != shown && told.insert(best) {
            console.warn(&format!(
                "corner {}: the best pass, of lap {}, is not filmed; the best that is, of lap {}, is shown beside the others",
                best.2, best.1, shown.1
            ));
        }
    }
}

/// Each clip as a film of its own, one after the other: what is done stays, whatever becomes of the next.
fn write_each(
    args: &ReelArgs,
    film: &FilmPlan,
    folder: &Path,
    inputs: &[&Path],
    console: &mut Console<'_>,
    context: &Context,
) -> Result<u8, Stop> {
    let _folder = GrowingFolder::new(folder)?;
    let mut failed = None;
    for (index, clip) in film.clips().enumerate() {
        let ending = args.film.profile.map_or("mp4", |it| &it.extension);
        let out = folder.join(file_name(index + 1, clip, ending));
        let written = write_one(args, film, clip, &out, inputs, context);
        match written {
            Ok(()) => console.result(&format!("{}\n", present::one_line(&out.display().to_string())))?,
            Err(Stop::Failed(error)) => {
                console.warn(&format!("{error:#}"));
                failed.get_or_insert(index);
            }
            Err(other) => return Err(other),
        }
    }
    match failed {
        None => Ok(0),
        Some(_) => {
            Err(Stop::Failed(anyhow::anyhow!("not every clip could be written; the warnings say which and why")))
        }
    }
}

fn write_one(
    args: &ReelArgs,
    film: &FilmPlan,
    clip: &ClipPiece,
    out: &Path,
    inputs: &[&Path],
    context: &Context,
) -> Result<(), Stop> {
    files::refuse_input(out, inputs.iter().copied())?;
    let mut single = FilmPlan::of_clip(clip.plan.clone());
    (single.sound, single.shape) = (SoundPlan { narration: None, ..film.sound.clone() }, film.shape);
    with_progress("writing a clip", context, || media::render_film(&single, target(args, out), context, &|_, _| {}))?;
    Ok(())
}

fn target<'a>(args: &ReelArgs, out: &'a Path) -> Target<'a> {
    Target { out, overwrite: plan::overwrite(args.force), export: args.film.profile }
}

/// "03-corner-2-lap-5.mp4".
fn file_name(number: usize, clip: &ClipPiece, ending: &str) -> String {
    let (lap, corner) = clip.chosen.as_ref().map_or((0, 0), |it| (it.lap, it.corner));
    format!("{number:02}-corner-{corner}-lap-{lap}.{ending}")
}
