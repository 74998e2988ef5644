//! `cornerbook reel`: chosen passes as one film, as films of their own, or as a list.

use std::path::{Path, PathBuf};

use crate::analysis::Analysis;
use crate::book::FootageRef;
use crate::cli::args::ReelArgs;
use crate::cli::clip::{chapters, footage_in_book, warn_of_rough_clocks};
use crate::cli::console::{Console, Stop, with_progress};
use crate::cli::{plan, session};
use crate::files;
use crate::job::Context;
use crate::load::{self, Session};
use crate::media::{self, Target};
use crate::present;
use crate::reel::{
    self, Chapter, ChoiceError, Chosen, ClipPiece, FilmPlan, PlanError, ReelItem, ReelOptions, SoundPlan, Source,
};
use crate::strip;

/// One book with its footage on the log's clock.
struct Loaded {
    path: PathBuf,
    session: Session,
    analysis: Analysis,
    chapters: Vec<Chapter>,
    footage: Vec<Option<FootageRef>>,
}

impl Loaded {
    fn source(&self) -> Source<'_> {
        Source {
            analysis: &self.analysis,
            book: self.session.book.as_ref().map(|it| &it.1),
            chapters: &self.chapters,
            footage: &self.footage,
        }
    }

    /// Everything that is read and may not be written over.
    fn inputs(&self) -> impl Iterator<Item = &Path> {
        let files = self.session.files.iter().chain([&self.path]).map(PathBuf::as_path);
        files.chain(self.chapters.iter().map(|it| it.file.as_path()))
    }
}

pub(super) fn run(args: &ReelArgs, console: &mut Console<'_>, context: &Context) -> Result<u8, Stop> {
    refuse_mixed_inputs(args)?;
    let overwrite = plan::overwrite(args.force);
    let subtitles = args.out.as_deref().filter(|_| args.subtitles).map(|it| it.with_extension("vtt"));
    let outputs: Vec<&Path> = args.out.as_deref().into_iter().chain(subtitles.as_deref()).collect();
    if !args.list {
        outputs.iter().try_for_each(|it| files::refuse_existing(it, overwrite))?;
    }
    let loaded: Vec<Loaded> = args.books.iter().map(|it| open(it, args, console, context)).collect::<Result<_, _>>()?;
    let inputs = || loaded.iter().flat_map(Loaded::inputs).chain(args.narration.as_deref());
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

fn open(path: &Path, args: &ReelArgs, console: &mut Console<'_>, context: &Context) -> Result<Loaded, Stop> {
    let session = load::open(path, &plan::reading(&args.log_args), context)?;
    let analysis = session::analyse(&session, console, context)?;
    let aligned = session::align(&session, &args.video, &args.clock, console, context)?;
    warn_of_rough_clocks(&aligned, console);
    let chapters = chapters(&aligned)?;
    let footage = footage_in_book(&session, &chapters);
    Ok(Loaded { path: path.to_owned(), session, analysis, chapters, footage })
}

/// Chooses the passes and plans their film; says which of them cannot be shown.
fn plan_film(args: &ReelArgs, loaded: &[Loaded], console: &mut Console<'_>) -> Result<FilmPlan, Stop> {
    let sources: Vec<Source<'_>> = loaded.iter().map(Loaded::source).collect();
    let chosen =
        reel::choose(&sources, &plan::choice(&args.choice), |source, corner| same_corner(loaded, source, corner));
    let chosen = chosen.map_err(|error: ChoiceError| Stop::Failed(error.into()))?;
    let options = ReelOptions {
        clip: plan::clip_options(&args.shown, args.unit.speed_unit),
        title: args.title.clone(),
        card_s: args.card,
        sound: SoundPlan { is_muted: args.mute, is_level: true, narration: args.narration.clone() },
        shape: plan::shape(&args.film),
        beside: args.beside.map(|it| (it, plan::layout(args.film.layout))),
        ..ReelOptions::default()
    };
    if chosen.without_footage > 0 {
        console.warn(&present::without_footage(chosen.without_footage));
    }
    let items: Vec<ReelItem> = chosen.passes.into_iter().map(ReelItem::from).collect();
    let (film, left_out) = reel::reel_plan(&sources, &items, &options).map_err(|error| match error {
        PlanError::Option { .. } => Stop::Usage(error.to_string()),
        other => Stop::Failed(other.into()),
    })?;
    left_out.iter().for_each(|it: &(Chosen, PlanError)| console.warn(&format!("left out: {}", it.1)));
    Ok(film)
}

/// The corner of another session that is this one of the first; where that cannot be told, the one of the same number.
fn same_corner(loaded: &[Loaded], source: usize, number: u32) -> Option<u32> {
    let (first, other) = (&loaded[0].analysis, &loaded[source].analysis);
    if first.plane.is_none() || other.plane.is_none() {
        return Some(number);
    }
    let corner = first.corners.iter().find(|it| it.number == number)?;
    strip::same_corner(corner, first, other).map(|it| it.number)
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
    files::make_folder(folder)?;
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
