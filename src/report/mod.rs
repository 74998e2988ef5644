//! Analysis to tables (JSON, CSV and aligned text) and to the pages and files of a report. The only room whose structs
//! are file formats; the names in them are a contract with other programs (docs/formats.md). Numbers are rounded to
//! fixed digits, so that the same inputs give the same text.

mod alignment;
mod check;
mod findings;
mod html;
mod laps;
mod passes_csv;
mod passes_json;
#[cfg(feature = "parquet")]
mod passes_parquet;
mod passes_text;
mod round;
mod svg;
mod tags_vtt;
mod whole;

use crate::analysis::Analysis;
use crate::corners::{Corner, Pass, Unclear};
use crate::session::{Channel, MarkKind, Samples};
use crate::track::Lap;

pub use alignment::{Alignment, FootageEntry, alignment_csv, alignment_json, alignment_text};
pub use check::{ChannelFound, Checked, Content, FootageFound, LogFound, checks_csv, checks_json, checks_text};
pub use findings::{FindingsView, findings_csv, findings_json, findings_text};
pub use passes_csv::passes_csv;
pub use passes_json::passes_json;
#[cfg(feature = "parquet")]
pub use passes_parquet::{Origin, passes_parquet};
pub use passes_text::{passes_text, passes_unclear};
pub use whole::{
    CLIPS, ClipFile, CornerChoice, Footage, PAGE, Pictures, ReportView, STILLS, Shows, StillFile, chosen_passes,
    is_of_a_report, report_files,
};

/// The marks in the order they are driven.
pub const MARKS: [MarkKind; 3] = [MarkKind::TurnIn, MarkKind::Apex, MarkKind::Exit];

/// What a table of passes is made from: a log, its analysis, and which of it is wanted.
#[derive(Debug, Clone, Copy)]
pub struct PassesView<'a> {
    pub samples: &'a Samples,
    pub analysis: &'a Analysis,
    /// Laps and corners by number; empty means all.
    pub laps: &'a [u32],
    pub corners: &'a [u32],
}

impl<'a> PassesView<'a> {
    fn laps(&self) -> impl Iterator<Item = &'a Lap> + use<'a> {
        let wanted = self.laps;
        self.analysis.laps.iter().filter(move |lap| is_wanted(wanted, lap.number))
    }

    fn corners(&self) -> impl Iterator<Item = &'a Corner> + use<'a> {
        let wanted = self.corners;
        self.analysis.corners.iter().filter(move |corner| is_wanted(wanted, corner.number))
    }

    fn passes(&self) -> impl Iterator<Item = &'a Pass> + use<'a> {
        let (laps, corners) = (self.laps, self.corners);
        self.analysis.passes.iter().filter(move |pass| is_wanted(laps, pass.lap) && is_wanted(corners, pass.corner))
    }

    /// The file the log came from, as the user named it; the first where there are several.
    fn file(&self) -> String {
        self.samples.sources().first().map(|it| it.file.clone()).unwrap_or_default()
    }

    /// How many samples the log holds: fixes, or where it has no position, the longest channel.
    fn sample_count(&self) -> usize {
        match self.samples.fixes().len() {
            0 => self.samples.channels().values().map(Channel::len).max().unwrap_or(0),
            fixes => fixes,
        }
    }
}

fn is_wanted(wanted: &[u32], number: u32) -> bool {
    wanted.is_empty() || wanted.contains(&number)
}

/// The name of a mark in files.
fn mark_name(mark: MarkKind) -> &'static str {
    match mark {
        MarkKind::TurnIn => "turn_in",
        MarkKind::Apex => "apex",
        MarkKind::Exit => "exit",
    }
}

/// The code of a reason in files.
fn unclear_code(reason: Unclear) -> &'static str {
    match reason {
        Unclear::NoTurnIn => "no_turn_in",
        Unclear::NoExit => "no_exit",
        Unclear::MarksCross => "marks_cross",
        Unclear::NoInside => "no_inside",
        Unclear::Spun => "spun",
        Unclear::NoPosition => "no_position",
        Unclear::NoSpeed => "no_speed",
        Unclear::GapInLog => "gap_in_log",
        Unclear::OpenLap => "open_lap",
        Unclear::EditOutside => "edit_outside",
    }
}

#[cfg(test)]
mod tests;
