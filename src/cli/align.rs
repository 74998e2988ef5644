//! `cornerbook align`: the footage on the log's clock.

use std::path::{Path, PathBuf};

use crate::book::{self, Op, Recording, file::refer_to};
use crate::cli::args::{AlignArgs, Format};
use crate::cli::console::{Console, Stop, with_progress};
use crate::cli::{plan, session};
use crate::clock::chapter_starts_s;
use crate::draw;
use crate::files;
use crate::job::Context;
use crate::load::{self, Aligned, Session, footage};
use crate::present;
use crate::report::{Alignment, FootageEntry, alignment_csv, alignment_json, alignment_text};
use crate::session::{Note, NoteKind};

pub(super) fn run(args: &AlignArgs, console: &mut Console<'_>, context: &Context) -> Result<u8, Stop> {
    refuse_idle_out(args)?;
    let session = load::open(&args.input, &plan::reading(&args.log_args), context)?;
    console.notes(&session.notes);
    let aligned = session::align(&session, &args.video, &args.clock, console, context)?;
    if let Some(out) = &args.out {
        save_pins(args, out, &session, &aligned)?;
    }
    if let Some(plot) = &args.plot {
        write_plot(args, plot, &session, &aligned)?;
    }
    let alignment = with_progress("counting frames", context, || aligned.counted(context))?.to_report(&session);
    console.result(&match args.show.format {
        Format::Table => alignment_text(&alignment),
        Format::Csv => alignment_csv(&alignment),
        Format::Json => alignment_json(&alignment),
    })?;
    for entry in &alignment.footage {
        let notes = entry.clock.notes.iter().filter(|it| miss_s(it).is_none());
        notes.for_each(|it| console.notes(&[it.clone().in_file(&entry.file, it.place)]));
    }
    refuse_no_overlap(&alignment)?;
    Ok(0)
}

/// Seen and logged turning over each other, as the footage lies now, whatever put it there.
fn write_plot(args: &AlignArgs, path: &Path, session: &Session, aligned: &Aligned) -> Result<(), Stop> {
    let Some(motion) = &aligned.motion else {
        return Err(Stop::Usage(
            "--plot draws the motion in the footage, which pins and --no-motion leave out".to_owned(),
        ));
    };
    let inputs = session.files.iter().map(PathBuf::as_path).chain(aligned.footage.iter().map(|it| it.path.as_path()));
    files::refuse_input(path, inputs.chain([args.input.as_path()]))?;
    let png = draw::alignment_png(&motion.plot(present::alignment_title)).map_err(anyhow::Error::from)?;
    Ok(files::write(path, &png, plan::overwrite(args.force))?)
}

/// `--out` keeps what a person typed, so there must be something typed.
fn refuse_idle_out(args: &AlignArgs) -> Result<(), Stop> {
    if args.out.is_some() && plan::typed_pins(&args.clock)?.is_none() {
        return Err(Stop::Usage("--out keeps an offset or pins in a book; give --offset or --pin".to_owned()));
    }
    match &args.out {
        Some(out) => Ok(files::refuse_existing(&book::file::with_ending(out), plan::overwrite(args.force))?),
        None => Ok(()),
    }
}

fn save_pins(args: &AlignArgs, out: &Path, session: &Session, aligned: &Aligned) -> Result<(), Stop> {
    let Some((_, book)) = &session.book else {
        return Err(Stop::Usage("--out needs a book as input; make one with cornerbook new".to_owned()));
    };
    let starts_s = chapter_starts_s(&footage::clock_chapters(&aligned.footage));
    let typed = plan::typed_pins(&args.clock)?.unwrap_or_default();
    let chapters = aligned.footage.iter().map(|it| refer_to(&it.path)).collect::<Result<_, _>>()?;
    let recording = Recording { chapters, pins: plan::book_pins(&typed, &starts_s)? };
    let inputs = session.files.iter().map(PathBuf::as_path).chain(aligned.footage.iter().map(|it| it.path.as_path()));
    files::refuse_input(&book::file::with_ending(out), inputs)?;
    let mut book = book.clone();
    book.apply(Op::Recording(recording)).map_err(|refused| Stop::Usage(refused.to_string()))?;
    Ok(book::store::write(&book, &book::file::with_ending(out), plan::overwrite(args.force))?)
}

/// Footage of another time than the log is an input that cannot be used; the result has been given all the same.
fn refuse_no_overlap(alignment: &Alignment) -> Result<(), Stop> {
    let miss = |entry: &FootageEntry| entry.clock.notes.iter().find_map(miss_s);
    match alignment.footage.iter().find_map(|entry| Some((&entry.file, miss(entry)?))) {
        Some((file, seconds)) => Err(Stop::Failed(anyhow::anyhow!(
            "{file}: does not overlap {}, they miss each other by {}; give --offset, or footage and log of one session",
            alignment.log,
            present::duration(seconds)
        ))),
        None => Ok(()),
    }
}

fn miss_s(note: &Note) -> Option<f64> {
    match note.kind {
        NoteKind::NoOverlap { seconds } => Some(seconds),
        _ => None,
    }
}
