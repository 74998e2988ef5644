//! `cornerbook demo`: writes the sample session and does the whole job on it, as its user would, with the program's own
//! commands. Opens nothing.

use std::path::Path;

use crate::analysis::Analysis;
use crate::book;
use crate::cli::args::{ClockArgs, DemoArgs};
use crate::cli::console::{Console, Stop, with_progress};
use crate::cli::{clip, plan, session};
use crate::corners::Pass;
use crate::files::{self, Overwrite, PendingFiles};
use crate::job::Context;
use crate::load::{self, Aligned, Reading, Session};
use crate::present;
use crate::reel::{ClipOptions, ClipPlan};
use crate::report::{PassesView, passes_csv, passes_text};
use crate::sample::{self, SampleOptions, WrittenSample};

/// In the folder of the demo.
const BOOK: &str = "demo.cornerbook";
const TABLE: &str = "passes.csv";
const CLIPS: [&str; 2] = ["best-exit.mp4", "worst-exit.mp4"];

pub(super) fn run(args: &DemoArgs, console: &mut Console<'_>, context: &Context) -> Result<u8, Stop> {
    let sample = sample::file_names();
    let names = sample.iter().map(String::as_str).chain([BOOK, TABLE]).chain(CLIPS);
    let pending = PendingFiles::new(&args.out, plan::overwrite(args.force), names)?;
    let folder = pending.folder();
    let told = do_the_job(&folder, args, console, context).map_err(|it| told_of(&args.out, &folder, it))?;
    pending.finish()?;
    console.result(&told)?;
    Ok(0)
}

/// Does the whole job in `folder`, whose files get their place once it is done; tells what is there.
fn do_the_job(folder: &Path, args: &DemoArgs, console: &mut Console<'_>, context: &Context) -> Result<String, Stop> {
    console.say(&format!("1. A sample session goes into {}: log, track, footage.", shown(&args.out)));
    let written = write_sample(folder, context)?;
    console.say("2. A book is made of it, and its passes are found.");
    let book_path = folder.join(BOOK);
    book::file::save(&written.book()?, &book_path, Overwrite::Refuse)?;
    let session = load::open(&book_path, &Reading::default(), context)?;
    let analysis = session::analyse(&session, console, context)?;
    let view = PassesView { samples: &session.samples, analysis: &analysis, laps: &[], corners: &[] };
    files::write(&folder.join(TABLE), passes_csv(&view).as_bytes(), Overwrite::Refuse)?;
    console.result(&passes_text(&view, args.unit.speed_unit))?;
    console.say("3. The footage is put on the log's clock.");
    let aligned = show_clock(&written, &session, &args.out.join(BOOK), console, context)?;
    console.say("4. The best and the worst exit of one corner become clips.");
    let options = ClipOptions { speed_unit: args.unit.speed_unit, ..ClipOptions::default() };
    let chosen = best_and_worst_exit(&analysis, &aligned, &options).ok_or_else(|| {
        anyhow::anyhow!("the sample's footage covers no corner twice; this is a fault of the program, please report it")
    })?;
    for ((_, plan), name) in chosen.iter().zip(CLIPS) {
        clip::write(plan, &folder.join(name), Overwrite::Refuse, context)?;
    }
    Ok(what_is_there(args, &analysis, chosen.each_ref().map(|it| it.0)))
}

/// What went wrong, told of the folder that was asked for and not of the one that the work is done in.
fn told_of(out: &Path, folder: &Path, stop: Stop) -> Stop {
    match stop {
        Stop::Failed(error) => {
            let sentence = format!("{error:#}").replace(&*folder.to_string_lossy(), &out.to_string_lossy());
            Stop::Failed(anyhow::anyhow!(sentence))
        }
        other => other,
    }
}

fn write_sample(folder: &Path, context: &Context) -> Result<WrittenSample, Stop> {
    let options = SampleOptions::default();
    let written = with_progress("writing the sample", context, || sample::write_sample(folder, &options, context));
    written.map_err(|error| match error {
        sample::Error::Cancelled(_) => Stop::Cancelled,
        other => Stop::Failed(other.into()),
    })
}

/// Shows what the camera's own clock is worth, and what is seen in its footage.
fn show_clock(
    written: &WrittenSample,
    session: &Session,
    path: &Path,
    console: &mut Console<'_>,
    context: &Context,
) -> Result<Aligned, Stop> {
    for clock in &load::align_without_motion(session, &[], None, context)?.clocks {
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
    let aligned = session::align(session, &[], &ClockArgs::default(), console, context)?;
    if let Some((map, ci95_s)) = aligned.clocks.first().and_then(|it| it.map.zip(it.ci95_s)) {
        console.say(&format!(
            "   By what is seen to turn in it, it begins at {} s, give or take {} s; in truth at {} s.\n   \
             cornerbook align {} --plot fit.png draws how well the two go together.",
            present::fixed(map.log_t_s_at_zero, 3),
            present::fixed(ci95_s, 3),
            present::fixed(written.footage_begins_s.unwrap_or_default(), 3),
            shown(path)
        ));
    }
    Ok(aligned)
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

fn what_is_there(args: &DemoArgs, analysis: &Analysis, passes: [&Pass; 2]) -> String {
    let path = |name: &str| shown(&args.out.join(name));
    let mut text = String::from("\nWritten\n");
    for ((pass, file), which) in passes.into_iter().zip(CLIPS).zip(["best", "worst"]) {
        let speed = pass.exit_gate_speed_mps.map(|it| present::speed(it, args.unit.speed_unit)).unwrap_or_default();
        text.push_str(&format!(
            "  {}: {which} exit of {}, lap {}, {speed} {} at the exit gate\n",
            path(file),
            present::one_line(&analysis.corner_name(pass.corner)),
            pass.lap,
            args.unit.speed_unit
        ));
    }
    text.push_str(&format!("  {}: the table above with every figure and its interval\n", path(TABLE)));
    text.push_str(&format!("  {}: the book; open it with cornerbook {}\n", path(BOOK), path(BOOK)));
    text.push_str(&format!("\n{}\n", present::CAUTION));
    text
}

fn shown(path: &Path) -> String {
    present::one_line(&path.display().to_string())
}
