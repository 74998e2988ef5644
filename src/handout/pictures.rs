//! The stills and clips of a report: which moments of the footage it shows, taken into its folder.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use image::{ExtendedColorType, ImageEncoder};

use crate::analysis::Analysis;
use crate::book::{self, Circled, Colour, Drawing, FootageRef, Shape};
use crate::corners::figure::Figure;
use crate::files::{Overwrite, PendingFolder};
use crate::findings::Findings;
use crate::handout::{Error, Subject};
use crate::job::{self, Context};
use crate::media::{self, JPEG_QUALITY, Still};
use crate::present;
use crate::reel::{self, Choice, ClipOptions, ClipPlan, Source};
use crate::report::{CLIPS, ClipFile, MARKS, STILLS, Shows, StillFile, chosen_passes};
use crate::session::VideoTime;
use crate::track::LapKind;

/// Wide enough for half a page at the resolution of print (trial).
const WIDTH_PX: u32 = 960;
/// So many findings have a still, the dearest first.
const FINDINGS: usize = 12;
/// The circle around a reference point: seen on grass, tarmac and sky (trial).
const CIRCLE_RGB: u32 = 0xff_d34d;
const CIRCLE_WIDTH: f64 = 0.008;

/// What to take: what it shows, its name without folder and ending, and where it comes from.
struct Wanted {
    shows: Shows,
    name: String,
    from: From,
}

enum From {
    Pass { plan: Box<ClipPlan>, chapter: usize, at: VideoTime },
    File { path: PathBuf, at: VideoTime, circle: Box<Drawing> },
}

/// Footage on the log's clock with what is needed to show it.
struct Shown<'a> {
    source: Source<'a>,
    /// Where the book is: what it names is looked for from there.
    path: Option<&'a Path>,
    options: ClipOptions,
}

/// The stills of a report in its folder, and why some are left out: a frame that cannot be read is no reason to have no
/// report.
///
/// # Errors
/// Cancelled, or a picture that cannot be written.
pub fn take_stills(
    subject: &Subject<'_>,
    found: &Findings,
    folder: &PendingFolder,
    context: &Context,
) -> Result<(Vec<StillFile>, Vec<media::Error>), Error> {
    let footage = footage_in_book(subject);
    let shown = shown(subject, &footage);
    let (mut stills, mut left_out) = (Vec::new(), Vec::new());
    for still in take_all(&wanted(&shown, found), folder, context)? {
        match still {
            Ok(still) => stills.push(still),
            Err(error) => left_out.push(error),
        }
    }
    Ok((stills, left_out))
}

/// The best and the slowest pass of each corner that the footage shows, as films in the folder of a report, and the
/// passes that are left out, for the footage does not show them whole.
///
/// # Errors
/// Cancelled, or a film that cannot be written.
pub fn cut_clips(
    subject: &Subject<'_>,
    folder: &PendingFolder,
    context: &Context,
) -> Result<(Vec<ClipFile>, Vec<LapCorner>), Error> {
    let footage = footage_in_book(subject);
    let shown = shown(subject, &footage);
    let (mut clips, mut left_out) = (Vec::new(), Vec::new());
    for (lap, corner) in passes_of_clips(&shown) {
        match clip(&shown, lap, corner, folder, context)? {
            Some(clip) => clips.push(clip),
            None => left_out.push((lap, corner)),
        }
    }
    Ok((clips, left_out))
}

fn shown<'a>(subject: &Subject<'a>, footage: &'a [Option<FootageRef>]) -> Shown<'a> {
    let book = subject.book.map(|it| it.1);
    Shown {
        source: Source { analysis: subject.analysis, book, chapters: subject.chapters, footage },
        path: subject.book.map(|it| it.0),
        options: ClipOptions { speed_unit: subject.unit, ..ClipOptions::default() },
    }
}

/// Which file of the book each chapter is.
fn footage_in_book(subject: &Subject<'_>) -> Vec<Option<FootageRef>> {
    let of = |file: &Path| subject.book.and_then(|(_, book)| book::file::footage_of(book, file));
    subject.chapters.iter().map(|it| of(&it.file)).collect()
}

fn wanted(shown: &Shown<'_>, found: &Findings) -> Vec<Wanted> {
    let analysis = shown.source.analysis;
    let choices = chosen_passes(analysis, shown.source.book);
    let mut wanted: Vec<Wanted> = Vec::new();
    for choice in &choices {
        let best = choice.best.and_then(|lap| marks_of(shown, vec![lap], choice.corner));
        // Where the footage does not show the best pass, the quickest that it shows.
        wanted.extend(best.or_else(|| marks_of(shown, timed_laps(analysis), choice.corner)).into_iter().flatten());
    }
    for (index, finding) in found.findings.iter().take(FINDINGS).enumerate() {
        let (lap, corner) = (finding.seen_on_lap, finding.corner);
        let Some(plan) = clip_plan(shown, lap, corner) else { continue };
        let (chapter, at) = plan.nearest_frame(finding.seen_at_s);
        wanted.push(Wanted {
            shows: Shows::Finding(index),
            name: format!("finding-{}", index + 1),
            from: From::Pass { plan: Box::new(plan), chapter, at },
        });
    }
    wanted.extend(reference_points(shown));
    wanted
}

fn timed_laps(analysis: &Analysis) -> Vec<u32> {
    analysis.laps.iter().filter(|it| it.kind == LapKind::Timed).map(|it| it.number).collect()
}

/// The quickest clean pass of these laps that the footage shows, at its marks.
fn marks_of(shown: &Shown<'_>, laps: Vec<u32>, corner: u32) -> Option<Vec<Wanted>> {
    let choice = Choice { laps, corners: vec![corner], best: 1, by: Figure::Time, ..Choice::default() };
    let chosen = reel::choose(&[shown.source], &choice, |_, it| Some(it)).ok()?;
    let (rows, _) = reel::still_rows(&shown.source, &chosen.passes, &shown.options).ok()?;
    let row = rows.into_iter().next()?;
    let lap = row.lap;
    let placed = MARKS.into_iter().zip(row.at).filter_map(|(mark, at)| {
        let (chapter, at) = at?;
        Some(Wanted {
            shows: Shows::Mark { lap, corner, mark },
            name: format!("corner-{corner}-lap-{lap}-{}", present::mark(mark)),
            from: From::Pass { plan: Box::new(row.plan.clone()), chapter, at },
        })
    });
    Some(placed.collect())
}

fn clip_plan(shown: &Shown<'_>, lap: u32, corner: u32) -> Option<ClipPlan> {
    let Source { analysis, book, chapters, footage } = shown.source;
    let plan = reel::clip_plan(analysis, lap, corner, chapters, &shown.options).ok()?;
    Some(match book {
        Some(book) => plan.with_drawings(book, footage),
        None => plan,
    })
}

/// Where the reference points can be seen, each in its circle.
fn reference_points(shown: &Shown<'_>) -> Vec<Wanted> {
    let Some((path, book)) = shown.path.zip(shown.source.book) else { return Vec::new() };
    let point = |(id, it): (&book::Id, &book::ReferencePoint)| {
        let Circled { on, circle } = it.circled?;
        let file = match on.footage {
            FootageRef::Chapter(index) => &book.recording.chapters.get(index)?,
            FootageRef::Trackside(id) => &&book.trackside.get(&id)?.file,
        };
        let (file, _) = book::file::locate(file, path).ok()?;
        let colour = Colour::hex(CIRCLE_RGB);
        let circle = Drawing { on, stays_s: 0.0, colour, width: CIRCLE_WIDTH, shape: Shape::Circle(circle) };
        Some(Wanted {
            shows: Shows::ReferencePoint(*id),
            name: format!("reference-point-{id}"),
            from: From::File { path: file, at: on.at, circle: Box::new(circle) },
        })
    };
    book.reference_points.iter().filter_map(point).collect()
}

/// In the order wanted. A frame that cannot be read is left out with its reason.
fn take_all(
    wanted: &[Wanted],
    folder: &PendingFolder,
    context: &Context,
) -> Result<Vec<Result<StillFile, media::Error>>, Error> {
    let done = AtomicUsize::new(0);
    let taken = job::map_parallel(wanted, |it| {
        context.check()?;
        let still = match &it.from {
            From::Pass { plan, chapter, at } => media::still(plan, *chapter, *at),
            From::File { path, at, circle } => media::still_of(path, *at, std::slice::from_ref(circle)),
        };
        let still = match still {
            Ok(still) => still.smaller(WIDTH_PX),
            Err(media::Error::Cancelled(cancelled)) => return Err(cancelled.into()),
            Err(error) => return Ok(Err(error)),
        };
        let file = write_still(&it.name, &still, folder)?;
        let count = done.fetch_add(1, Ordering::Relaxed) + 1;
        context.set_progress(count as f64 / wanted.len() as f64);
        Ok(Ok(StillFile { shows: it.shows, file, width: still.width, height: still.height }))
    });
    taken.into_iter().collect()
}

fn write_still(name: &str, still: &Still, folder: &PendingFolder) -> Result<String, Error> {
    let file = format!("{STILLS}/{name}.jpg");
    let mut bytes = Vec::new();
    let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, JPEG_QUALITY);
    let encoded = encoder.write_image(&still.rgb, still.width, still.height, ExtendedColorType::Rgb8);
    encoded.map_err(|cause| Error::Picture { file: file.clone(), cause })?;
    folder.write(&file, &bytes)?;
    Ok(file)
}

/// A pass by its lap and corner.
type LapCorner = (u32, u32);

/// The best and the slowest pass of each corner that the footage shows: lap and corner.
fn passes_of_clips(shown: &Shown<'_>) -> Vec<(u32, u32)> {
    let laps = timed_laps(shown.source.analysis);
    let choice = Choice { laps, best: 1, worst: 1, by: Figure::Time, ..Choice::default() };
    let chosen = reel::choose(&[shown.source], &choice, |_, it| Some(it));
    chosen.map(|it| it.passes.iter().map(|it| (it.lap, it.corner)).collect()).unwrap_or_default()
}

/// The film of one pass; none where the footage does not show it.
fn clip(
    shown: &Shown<'_>,
    lap: u32,
    corner: u32,
    folder: &PendingFolder,
    context: &Context,
) -> Result<Option<ClipFile>, Error> {
    let Some(plan) = clip_plan(shown, lap, corner) else { return Ok(None) };
    let file = format!("{CLIPS}/corner-{corner}-lap-{lap}.mp4");
    media::render_clip(&plan, &folder.path(&file)?, Overwrite::Refuse, context)?;
    let pass = shown.source.analysis.pass(lap, corner);
    let marks_s = MARKS.map(|it| plan.film_time_s(pass?.mark(it)?.t_s.value));
    Ok(Some(ClipFile { lap, corner, file, marks_s }))
}
