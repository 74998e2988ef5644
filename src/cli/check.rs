//! `cornerbook check`: what each file is, by its content, and what is wrong with it. Goes on after a bad file; the exit
//! code tells that there was one.

use std::path::Path;

use crate::book::{self, Book, FileRef};
use crate::cli::args::{CheckArgs, Format};
use crate::cli::console::{Console, Stop};
use crate::job::Context;
use crate::load::{self, FileKind, footage};
use crate::log::ColumnMap;
use crate::present;
use crate::report::{Checked, Content, LogFound, checks_csv, checks_json, checks_text};
use crate::session::Note;
use crate::track::file::{self as track_file, TrackFile};

pub(super) fn run(args: &CheckArgs, console: &mut Console<'_>, context: &Context) -> Result<u8, Stop> {
    let columns = args.columns.as_deref().map(load::read_columns).transpose()?;
    let mut checked = Vec::with_capacity(args.files.len());
    for path in &args.files {
        context.check()?;
        checked.push(check(path, columns.as_ref())?);
    }
    let unusable: Vec<&str> = checked.iter().filter_map(trouble).collect();
    for sentence in &unusable {
        console.error(sentence);
    }
    console.result(&match args.show.format {
        Format::Table => checks_text(&checked),
        Format::Csv => checks_csv(&checked),
        Format::Json => checks_json(&checked),
    })?;
    Ok(u8::from(!unusable.is_empty()))
}

fn trouble(checked: &Checked) -> Option<&str> {
    match &checked.content {
        Content::Unusable(sentence) => Some(sentence),
        _ => None,
    }
}

/// One file. What is wrong with it is part of the answer; only a cancelled run stops.
fn check(path: &Path, columns: Option<&ColumnMap>) -> Result<Checked, Stop> {
    let mut notes = Vec::new();
    let content = match look_into(path, columns, &mut notes) {
        Ok(content) => content,
        Err(Stop::Failed(error)) => Content::Unusable(format!("{error:#}")),
        Err(stop) => return Err(stop),
    };
    let warnings = notes.iter().map(present::note).collect();
    Ok(Checked { file: path.display().to_string(), content, warnings })
}

fn look_into(path: &Path, columns: Option<&ColumnMap>, notes: &mut Vec<Note>) -> Result<Content, Stop> {
    Ok(match load::kind_of(path)? {
        FileKind::Book => Content::Book(book_lines(&book::file::open(path)?, path, notes)?),
        FileKind::Track => Content::Track(track_lines(&load::read_track(path, notes)?)),
        FileKind::Footage => {
            let footage = footage::probe(path)?.counted()?;
            notes.extend(footage.notes);
            Content::Footage(footage.found)
        }
        FileKind::Log => {
            let samples = load::read_log(path, columns)?;
            notes.extend_from_slice(samples.notes());
            Content::Log(LogFound::of(&samples))
        }
    })
}

/// What the book holds. A file that cannot be found makes the book unusable.
fn book_lines(book: &Book, path: &Path, notes: &mut Vec<Note>) -> Result<Vec<String>, Stop> {
    let mut lines = Vec::new();
    let footage = book.recording.chapters.iter().map(|it| ("footage", it));
    let logs = book.logs.iter().map(|it| ("log", it));
    let track = book.track.iter().map(|it| ("track", it));
    let columns = book.columns.iter().map(|it| ("columns", it));
    let trackside = book.trackside.values().map(|it| ("trackside footage", &it.file));
    for (what, file) in logs.chain(footage).chain(trackside).chain(track).chain(columns) {
        lines.push(file_line(what, file, path, notes)?);
    }
    lines.extend(book.driver.iter().map(|it| format!("driver: {it}")));
    lines.extend(book.grip.iter().map(|it| format!("grip: {it}")));
    lines
        .extend(book.marked_crossing_s.iter().map(|it| format!("start/finish crossing: {} s", present::fixed(*it, 3))));
    let counts = [
        ("pins", book.recording.pins.len()),
        ("moved marks", book.marks.len()),
        ("named corners", book.corner_names.len()),
        ("reference points", book.reference_points.len()),
        ("trackside pins", book.trackside.values().map(|it| it.pins.len()).sum()),
        ("tag kinds", book.tag_kinds.len()),
        ("tags", book.tags.len()),
        ("drawings", book.drawings.len()),
    ];
    lines.extend(counts.iter().filter(|it| it.1 > 0).map(|(what, count)| format!("{what}: {count}")));
    Ok(lines)
}

fn file_line(what: &str, file: &FileRef, book: &Path, notes: &mut Vec<Note>) -> Result<String, Stop> {
    let (found, note) = book::file::locate(file, book)?;
    notes.extend(note);
    Ok(format!("{what}: {} ({} bytes)", found.display(), file.length_bytes))
}

fn track_lines(track: &TrackFile) -> Vec<String> {
    let edge = |name: &str, edge: &Option<track_file::Edge>| {
        edge.as_ref().map(|it| {
            let form = if it.closed { "closed" } else { "open" };
            format!("{name}: {} positions, {form}", it.positions.len())
        })
    };
    let gate = |name: &str, there: bool| there.then(|| format!("{name}: given"));
    let mut lines: Vec<String> = [
        edge("left edge", &track.left_edge),
        edge("right edge", &track.right_edge),
        gate("start/finish gate", track.start_finish.is_some()),
        gate("pit in", track.pit_in.is_some()),
        gate("pit out", track.pit_out.is_some()),
    ]
    .into_iter()
    .flatten()
    .collect();
    if !track.sectors.is_empty() {
        let numbers: Vec<String> = track.sectors.iter().map(|it| it.0.to_string()).collect();
        lines.push(format!("sectors: {}", numbers.join(", ")));
    }
    lines
}
