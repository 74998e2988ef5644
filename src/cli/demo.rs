//! `cornerbook demo`: writes the sample session and does the whole job on it, as its user would, with the program's own
//! commands. Opens nothing.

use std::path::{Path, PathBuf};

use crate::analysis::Analysis;
use crate::book::{self, Book, Op, Pin, Recording, file::refer_to};
use crate::cli::align::{self, Aligned};
use crate::cli::args::{ClockArgs, DemoArgs};
use crate::cli::clip;
use crate::cli::console::{Console, Stop, with_progress};
use crate::cli::load::{self, Session};
use crate::cli::plan::{self, Reading};
use crate::corners::Pass;
use crate::files::{self, Overwrite};
use crate::job::Context;
use crate::present;
use crate::reel::{ClipOptions, ClipPlan};
use crate::report::{PassesView, passes_text};
use crate::sample::{self, SampleOptions, WrittenSample};
use crate::session::VideoTime;

/// The truth of a sample is a small file.
const LARGEST_TRUTH_BYTES: u64 = 16 << 20;

pub(super) fn run(args: &DemoArgs, console: &mut Console<'_>, context: &Context) -> Result<u8, Stop> {
    let overwrite = plan::overwrite(args.force);
    let book_path = args.out.join("demo.cornerbook");
    let clips = [args.out.join("best-exit.mp4"), args.out.join("worst-exit.mp4")];
    for path in clips.iter().chain([&book_path]) {
        files::refuse_existing(path, overwrite)?;
    }
    console.say(&format!("1. A sample session goes into {}: log, track, footage.", shown(&args.out)));
    let written = write_sample(&args.out, overwrite, context)?;
    console.say("2. A book is made of it, and its passes are found.");
    make_book(&written, &book_path, overwrite)?;
    let session = load::open(&book_path, &Reading::default(), context)?;
    let analysis = load::analyse(&session, console, context)?;
    let view = PassesView { samples: &session.samples, analysis: &analysis, laps: &[], corners: &[] };
    console.result(&passes_text(&view, args.unit.speed_unit))?;
    console.say("3. The footage is put on the log's clock.");
    set_clock(&written, &session, &book_path, console, context)?;
    console.say("4. The best and the worst exit of one corner become clips.");
    let session = load::open(&book_path, &Reading::default(), context)?;
    let aligned = align::align(&session, &[], &ClockArgs::default(), console, context)?;
    let options = ClipOptions { speed_unit: args.unit.speed_unit, ..ClipOptions::default() };
    let shown = best_and_worst_exit(&analysis, &aligned, &options).ok_or_else(|| {
        anyhow::anyhow!("the sample's footage covers no corner twice; this is a fault of the program, please report it")
    })?;
    for ((_, plan), path) in shown.iter().zip(&clips) {
        clip::write(plan, path, overwrite, context)?;
    }
    say_what_is_there(args, &analysis, shown.each_ref().map(|it| it.0), &clips, &book_path, console)
}

fn write_sample(folder: &Path, overwrite: Overwrite, context: &Context) -> Result<WrittenSample, Stop> {
    let options = SampleOptions { overwrite, ..SampleOptions::default() };
    let written = with_progress("writing the sample", context, || sample::write_sample(folder, &options, context));
    written.map_err(|error| match error {
        sample::Error::Cancelled(_) => Stop::Cancelled,
        other => Stop::Failed(other.into()),
    })
}

/// Driver A's log with the footage and the track.
fn make_book(written: &WrittenSample, path: &Path, overwrite: Overwrite) -> Result<(), Stop> {
    let chapters = written.footage.iter().map(|it| refer_to(it)).collect::<Result<_, _>>()?;
    let logs = written.logs.iter().take(1).map(|it| refer_to(it)).collect::<Result<_, _>>()?;
    let book = Book {
        recording: Recording { chapters, pins: Vec::new() },
        track: Some(refer_to(&written.track)?),
        driver: Some("Driver A".to_owned()),
        ..Book::new(logs)
    };
    Ok(book::file::save(&book, path, overwrite)?)
}

/// Shows what the camera's own clock is worth, then sets the clock by hand in the book, as its user would.
fn set_clock(
    written: &WrittenSample,
    session: &Session,
    path: &Path,
    console: &mut Console<'_>,
    context: &Context,
) -> Result<(), Stop> {
    let by_stamp = align::align(session, &[], &ClockArgs::default(), console, context)?;
    for clock in &by_stamp.clocks {
        console.say(&match (clock.map, clock.ci95_s) {
            (Some(map), Some(ci95_s)) => format!(
                "   By the camera's time stamp it begins at log time {} s, give or take {} s.",
                present::fixed(map.log_t_s_at_zero, 0),
                present::fixed(ci95_s, 0)
            ),
            _ => "   The camera's time stamp does not tell where it begins:".to_owned(),
        });
        for note in &clock.notes {
            console.say(&format!("   ({})", present::note(note)));
        }
    }
    let log_t_s = known_offset_s(&written.truth)?;
    console.say(&format!(
        "   The camera's clock is wrong by design. So the clock is set by hand, as a user would who sees the kart cross\n   \
         the line: cornerbook align {} --offset {log_t_s:.3} --out … says that the footage begins {log_t_s:.3} s into the log.",
        shown(path)
    ));
    let Some((_, book)) = &session.book else { return Ok(()) };
    let mut book = book.clone();
    let pins = vec![Pin { chapter: 0, footage: VideoTime(0), log_t_s }];
    let recording = Recording { pins, ..book.recording.clone() };
    book.apply(Op::Recording(recording)).map_err(|refused| anyhow::anyhow!("{}: {refused}", path.display()))?;
    // The book was made a moment ago by this very run.
    Ok(book::file::save(&book, path, Overwrite::Replace)?)
}

/// Where the sample's footage truly begins on the log, s: written beside the sample for tests and demo.
fn known_offset_s(truth: &Path) -> Result<f64, Stop> {
    let bytes = files::read(truth, LARGEST_TRUTH_BYTES)?;
    let json: Option<serde_json::Value> = serde_json::from_slice(&bytes).ok();
    let offset_s = json.and_then(|it| it["footage"][0]["log_t_s_at_zero"].as_f64());
    Ok(offset_s.ok_or_else(|| anyhow::anyhow!("{}: names no footage; write the sample anew", truth.display()))?)
}

/// Of the passes that the footage covers with lead and tail, those of the corner where the exit gate speeds differ
/// most: its best and its worst.
fn best_and_worst_exit<'a>(
    analysis: &'a Analysis,
    aligned: &Aligned,
    options: &ClipOptions,
) -> Option<[(&'a Pass, ClipPlan); 2]> {
    let exit_mps = |pass: &Pass| pass.exit_gate_speed_mps.map_or(f64::NAN, |it| it.value);
    let plan = |pass: &'a Pass| {
        let plan = clip::plan_clip(analysis, aligned, pass.lap, pass.corner, options).ok()?;
        (plan.lead_missing_s + plan.tail_missing_s <= 0.0).then_some((pass, plan))
    };
    let extremes = analysis.corners.iter().filter_map(|corner| {
        let passes = analysis.passes.iter().filter(|it| it.corner == corner.number && exit_mps(it).is_finite());
        let mut passes: Vec<(&Pass, ClipPlan)> = passes.filter_map(plan).collect();
        passes.sort_by(|a, b| exit_mps(b.0).total_cmp(&exit_mps(a.0)));
        let worst = passes.pop()?;
        Some([passes.into_iter().next()?, worst])
    });
    let spread_mps = |it: &[(&Pass, ClipPlan); 2]| exit_mps(it[0].0) - exit_mps(it[1].0);
    extremes.max_by(|a, b| spread_mps(a).total_cmp(&spread_mps(b)))
}

fn say_what_is_there(
    args: &DemoArgs,
    analysis: &Analysis,
    passes: [&Pass; 2],
    clips: &[PathBuf; 2],
    book: &Path,
    console: &mut Console<'_>,
) -> Result<u8, Stop> {
    let name = |pass: &Pass| {
        let corner = analysis.corners.iter().find(|it| it.number == pass.corner);
        corner.map_or_else(|| format!("T{}", pass.corner), |it| present::one_line(&it.name))
    };
    let mut text = String::from("\nWritten\n");
    for ((pass, path), which) in passes.into_iter().zip(clips).zip(["best", "worst"]) {
        let speed = pass.exit_gate_speed_mps.map(|it| present::speed(it, args.unit.speed_unit)).unwrap_or_default();
        text.push_str(&format!(
            "  {}: {which} exit of {}, lap {}, {speed} {} at the exit gate\n",
            shown(path),
            name(pass),
            pass.lap,
            args.unit.speed_unit
        ));
    }
    text.push_str(&format!("  {}: the book; see it with cornerbook passes\n", shown(book)));
    text.push_str(&format!("\n{}\n", present::CAUTION));
    console.result(&text)?;
    Ok(0)
}

fn shown(path: &Path) -> String {
    present::one_line(&path.display().to_string())
}
