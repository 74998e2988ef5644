//! What can be typed: one struct a command. What it means is decided in [`crate::cli::plan`].

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

#[cfg(feature = "media")]
use crate::cli::film_args::{ClipArgs, ReelArgs, StillsArgs};
use crate::units::SpeedUnit;

/// Corner-by-corner review of kart sessions.
///
/// A log and onboard footage in; laps, corners, turn-in, apex, exit and speeds, and annotated clips out.
#[derive(Debug, Parser)]
#[command(name = "cornerbook", version, args_conflicts_with_subcommands = true, max_term_width = 100)]
pub(super) struct Cli {
    #[command(subcommand)]
    pub(super) command: Option<Command>,
    /// A book, for the window
    #[arg(hide = true)]
    pub(super) book: Option<PathBuf>,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Write the sample session into a folder and do the whole job on it
    #[cfg(feature = "media")]
    Demo(DemoArgs),
    /// Make a book: a saved review of one session
    New(NewArgs),
    /// Say what each log, footage, track or book file holds and what is wrong with it
    Check(CheckArgs),
    /// Show laps, corners and passes of a book or a log
    Passes(PassesArgs),
    /// Say what a session loses where, which lines it takes and what they cost
    Findings(FindingsArgs),
    /// Write a report of a session: a page to read and print, with its tables beside it
    Report(ReportArgs),
    /// Put the footage on the log's clock
    #[cfg(feature = "media")]
    Align(AlignArgs),
    /// Write one annotated clip of one pass
    #[cfg(feature = "media")]
    Clip(ClipArgs),
    /// Write several clips as one film: choose the passes, see the list, cut
    #[cfg(feature = "media")]
    Reel(Box<ReelArgs>),
    /// Write the frames at turn-in, apex and exit of one corner, and one sheet of them all
    #[cfg(feature = "media")]
    Stills(StillsArgs),
    /// The commands that need footage, in a build without it: they say so, whatever follows them.
    #[cfg(not(feature = "media"))]
    #[command(hide = true, disable_help_flag = true, name = "align", aliases = ["clip", "demo", "reel", "stills"])]
    NeedsFootage(AnyArgs),
}

/// Anything at all.
#[cfg(not(feature = "media"))]
#[derive(Debug, Args)]
pub(super) struct AnyArgs {
    #[arg(hide = true, trailing_var_arg = true, allow_hyphen_values = true)]
    pub(super) rest: Vec<std::ffi::OsString>,
}

/// Options of every command that reads a log.
#[derive(Debug, Args)]
pub(super) struct LogArgs {
    /// The track: GeoJSON with edges and gates
    #[arg(long, value_name = "FILE")]
    pub(super) track: Option<PathBuf>,
    /// A column map for the CSV logs (TOML)
    #[arg(long, value_name = "FILE")]
    pub(super) columns: Option<PathBuf>,
    /// Log time in seconds of one crossing of the start/finish gate, for logs without position
    #[arg(long, value_name = "SECONDS", value_parser = seconds, allow_negative_numbers = true)]
    pub(super) crossing: Option<f64>,
}

/// How results are shown.
#[derive(Debug, Args)]
pub(super) struct ShowArgs {
    /// The form of the result
    #[arg(long, value_enum, default_value_t = Format::Table)]
    pub(super) format: Format,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum Format {
    Table,
    Csv,
    Json,
}

/// The unit of speeds in tables and pictures.
#[derive(Debug, Args)]
pub(super) struct UnitArgs {
    /// Unit of speeds in tables and pictures, one of km/h, mph, m/s; JSON and CSV are always in m/s
    #[arg(long, value_name = "UNIT", default_value = "km/h")]
    pub(super) speed_unit: SpeedUnit,
}

/// Where a person says that the footage lies on the log.
#[derive(Debug, Default, Args)]
pub(super) struct ClockArgs {
    /// Log time in seconds at the first moment of the footage
    #[arg(long, value_name = "SECONDS", value_parser = seconds, allow_negative_numbers = true, conflicts_with = "pin")]
    pub(super) offset: Option<f64>,
    /// Do not look for motion in the footage: go by its time stamps where no offset or pin is given
    #[arg(long)]
    pub(super) no_motion: bool,
    /// A moment known in both, as seconds or m:ss.mmm; footage time runs through all chapters. Two or more also give
    /// the rate
    #[arg(long, value_name = "FOOTAGE=LOG", value_parser = pin, allow_hyphen_values = true)]
    pub(super) pin: Vec<(f64, f64)>,
}

#[cfg(feature = "media")]
#[derive(Debug, Args)]
pub(super) struct DemoArgs {
    /// The folder to write into
    #[arg(long, value_name = "DIR", default_value = "cornerbook-demo")]
    pub(super) out: PathBuf,
    /// Write over files that are there
    #[arg(long)]
    pub(super) force: bool,
    #[command(flatten)]
    pub(super) unit: UnitArgs,
}

#[derive(Debug, Args)]
pub(super) struct NewArgs {
    /// The book to make; .cornerbook is added where it is missing
    pub(super) book: PathBuf,
    /// The logs of the session, in order; without one, laps and corners are those seen in the footage
    #[arg(long, value_name = "FILE", required_unless_present = "video", num_args = 1..)]
    pub(super) log: Vec<PathBuf>,
    /// The footage; several files in order are chapters of one recording
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub(super) video: Vec<PathBuf>,
    /// Footage filmed from beside the track; it is pinned to the log in the window
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub(super) trackside: Vec<PathBuf>,
    #[command(flatten)]
    pub(super) log_args: LogArgs,
    #[command(flatten)]
    pub(super) clock: ClockArgs,
    /// Who drove
    #[arg(long, value_name = "NAME")]
    pub(super) driver: Option<String>,
    /// How the track was
    #[arg(long, value_enum)]
    pub(super) grip: Option<GripArg>,
    /// Write over a book that is there
    #[arg(long)]
    pub(super) force: bool,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
pub(super) enum GripArg {
    Dry,
    Damp,
    Wet,
    Slippery,
}

#[derive(Debug, Args)]
pub(super) struct CheckArgs {
    /// Logs, footage, track files and books
    #[arg(required = true, value_name = "FILE")]
    pub(super) files: Vec<PathBuf>,
    /// A column map for the CSV logs (TOML)
    #[arg(long, value_name = "FILE")]
    pub(super) columns: Option<PathBuf>,
    #[command(flatten)]
    pub(super) show: ShowArgs,
}

#[derive(Debug, Args)]
pub(super) struct PassesArgs {
    /// A book or a log
    pub(super) input: PathBuf,
    #[command(flatten)]
    pub(super) log_args: LogArgs,
    /// Only these laps, as in 1,2
    #[arg(long, value_name = "N", value_delimiter = ',')]
    pub(super) lap: Vec<u32>,
    /// Only these corners, as in 1,3
    #[arg(long, value_name = "N", value_delimiter = ',')]
    pub(super) corner: Vec<u32>,
    /// The form of the result; parquet goes to --out
    #[arg(long, value_enum, default_value_t = PassesFormat::Table)]
    pub(super) format: PassesFormat,
    /// Where Parquet goes: a file ending in .parquet, or a folder that is divided by circuit and year
    #[arg(long, value_name = "FILE|DIR")]
    pub(super) out: Option<PathBuf>,
    /// The circuit's name in Parquet; the track file's name where not given
    #[arg(long, value_name = "NAME")]
    pub(super) circuit: Option<String>,
    /// Write over a Parquet file that is there
    #[arg(long)]
    pub(super) force: bool,
    #[command(flatten)]
    pub(super) unit: UnitArgs,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum PassesFormat {
    Table,
    Csv,
    Json,
    Parquet,
}

#[derive(Debug, Args)]
pub(super) struct FindingsArgs {
    /// A book or a log
    pub(super) input: PathBuf,
    /// Another book or log of the same circuit to hold this one against
    #[arg(long, value_name = "FILE")]
    pub(super) against: Option<PathBuf>,
    /// Tag the passes of these findings in the book, by the ids that the list shows
    #[arg(long, value_name = "ID", value_delimiter = ',')]
    pub(super) take: Vec<String>,
    /// Keep in the book that these findings are declined
    #[arg(long, value_name = "ID", value_delimiter = ',')]
    pub(super) decline: Vec<String>,
    /// Forget the answers to these findings
    #[arg(long, value_name = "ID", value_delimiter = ',')]
    pub(super) ask_again: Vec<String>,
    #[command(flatten)]
    pub(super) log_args: LogArgs,
    #[command(flatten)]
    pub(super) show: ShowArgs,
}

#[derive(Debug, Args)]
pub(super) struct ReportArgs {
    /// A book or a log
    #[arg(value_name = "BOOK")]
    pub(super) input: PathBuf,
    /// The folder to make; open index.html in it
    #[arg(long, value_name = "DIR")]
    pub(super) out: PathBuf,
    /// Also cut the best and the slowest pass of each corner as clips, and link them
    #[cfg(feature = "media")]
    #[arg(long)]
    pub(super) clips: bool,
    /// Footage instead of the book's; several files in order are chapters of one recording
    #[cfg(feature = "media")]
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub(super) video: Vec<PathBuf>,
    #[cfg(feature = "media")]
    #[command(flatten)]
    pub(super) clock: ClockArgs,
    #[command(flatten)]
    pub(super) log_args: LogArgs,
    #[command(flatten)]
    pub(super) unit: UnitArgs,
    /// Replace a report that is there
    #[arg(long)]
    pub(super) force: bool,
}

#[cfg(feature = "media")]
#[derive(Debug, Args)]
pub(super) struct AlignArgs {
    /// A book or a log
    pub(super) input: PathBuf,
    /// Footage instead of the book's; several files in order are chapters of one recording
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub(super) video: Vec<PathBuf>,
    #[command(flatten)]
    pub(super) clock: ClockArgs,
    #[command(flatten)]
    pub(super) log_args: LogArgs,
    #[command(flatten)]
    pub(super) show: ShowArgs,
    /// Draw how seen and logged turning fit into this file (PNG)
    #[arg(long, value_name = "FILE")]
    pub(super) plot: Option<PathBuf>,
    /// Also write the book with this offset or these pins
    #[arg(long, value_name = "BOOK")]
    pub(super) out: Option<PathBuf>,
    /// Write over a book that is there
    #[arg(long)]
    pub(super) force: bool,
}

/// Log times are within this, s either side of the log's first row: ten years, for logs and cameras of wrong date.
const TIME_MOST_S: f64 = 10.0 * 365.25 * 86_400.0;

/// A time: seconds, or m:ss.mmm; at most [`TIME_MOST_S`] either side of 0.
pub(super) fn seconds(text: &str) -> Result<f64, String> {
    let wrong = || format!("{text:?} is no time; write seconds (83.5) or minutes and seconds (1:23.5)");
    let (sign, plain) = text.strip_prefix('-').map_or((1.0, text), |rest| (-1.0, rest));
    let parts: Vec<f64> = plain.split(':').map(str::parse).collect::<Result<_, _>>().map_err(|_| wrong())?;
    let in_order = parts.iter().all(|it| it.is_finite() && it.is_sign_positive()) && parts.len() <= 3;
    let below_sixty = parts.iter().skip(1).all(|it| *it < 60.0);
    if !in_order || !below_sixty {
        return Err(wrong());
    }
    let seconds = parts.iter().fold(0.0, |sum, part| sum * 60.0 + part);
    if seconds > TIME_MOST_S {
        return Err(format!("{text:?} is years away from any session; give seconds from the log's first row"));
    }
    Ok(sign * seconds)
}

/// `FOOTAGE=LOG`.
fn pin(text: &str) -> Result<(f64, f64), String> {
    let (footage, log) = text.split_once('=').ok_or_else(|| format!("{text:?} is no FOOTAGE=LOG, as in 12.4=83.5"))?;
    let footage_s = seconds(footage)?;
    if footage_s < 0.0 {
        return Err(format!("the footage begins at 0, so {footage} is before it"));
    }
    Ok((footage_s, seconds(log)?))
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;

    #[test]
    fn the_definition_is_sound() {
        Cli::command().debug_assert();
    }

    #[test]
    fn times_are_seconds_or_minutes_and_seconds() {
        assert_eq!(seconds("83.5"), Ok(83.5));
        assert_eq!(seconds("1:23.5"), Ok(83.5));
        assert_eq!(seconds("-0:02"), Ok(-2.0));
        assert_eq!(seconds("1:00:00"), Ok(3600.0));
        for wrong in ["", "x", "1:60", "nan", "inf", "1:-2", "--2", "1:2:3:4", "1,5"] {
            assert!(seconds(wrong).is_err(), "{wrong}");
        }
        assert_eq!(pin("12.4=1:23.5"), Ok((12.4, 83.5)));
        assert_eq!(pin("0=-3"), Ok((0.0, -3.0)));
        assert!(pin("12").is_err() && pin("-1=4").is_err());
    }
}
