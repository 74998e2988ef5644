//! What can be typed to the commands that cut footage: films and stills.

use std::num::NonZeroUsize;
use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::cli::args::{ClockArgs, LogArgs, UnitArgs, seconds};
use crate::media::encoders::{self, Export};
use crate::reel::Other;

/// What of a pass is shown, and at what pace.
#[derive(Debug, Args)]
pub(super) struct ShownArgs {
    /// Seconds before turn-in, 0 to 600
    #[arg(long, value_name = "SECONDS", default_value = "2", value_parser = seconds, allow_negative_numbers = true)]
    pub(super) lead: f64,
    /// Seconds after exit, 0 to 600
    #[arg(long, value_name = "SECONDS", default_value = "2", value_parser = seconds, allow_negative_numbers = true)]
    pub(super) tail: f64,
    /// Speed of play from turn-in to exit, 0.1 to 1: 0.5 is half speed
    #[arg(long, value_name = "SHARE", default_value = "1", allow_negative_numbers = true)]
    pub(super) slow: f64,
    /// Seconds that the picture stands still at each mark, or at the one of --hold-at, 0 to 60
    #[arg(long, value_name = "SECONDS", default_value = "0", value_parser = seconds, allow_negative_numbers = true)]
    pub(super) hold: f64,
    /// The mark where the picture stands still
    #[arg(long, value_enum, value_name = "MARK")]
    pub(super) hold_at: Option<MarkArg>,
}

/// What becomes of the pictures.
#[derive(Debug, Args)]
pub(super) struct FilmArgs {
    /// How the two pictures of --beside share the film
    #[arg(long, value_enum, default_value_t = LayoutArg::Beside)]
    pub(super) layout: LayoutArg,
    /// What the film is for; by the file's ending where not given
    #[arg(long, value_name = "PROFILE", value_parser = export)]
    pub(super) profile: Option<&'static Export>,
    /// The middle of the picture, 9 wide and 16 high
    #[arg(long)]
    pub(super) upright: bool,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
pub(super) enum LayoutArg {
    Beside,
    Stacked,
    Inset,
}

/// One of the export profiles.
fn export(name: &str) -> Result<&'static Export, String> {
    let all = encoders::exports();
    all.iter().find(|it| it.name == name).ok_or_else(|| {
        let names: Vec<String> = all.iter().map(|it| format!("{} ({})", it.name, it.about)).collect();
        format!("there is no profile {name:?}; there are {}", names.join(", "))
    })
}

/// A lap, or the best.
fn other_lap(text: &str) -> Result<Other, String> {
    match text {
        "best" => Ok(Other::Best),
        number => number.parse().map(Other::Lap).map_err(|_| format!("{text:?} is neither a lap nor \"best\"")),
    }
}

#[derive(Debug, Clone, Copy, ValueEnum)]
pub(super) enum MarkArg {
    TurnIn,
    Apex,
    Exit,
}

#[derive(Debug, Args)]
pub(super) struct ClipArgs {
    /// The book, or a log with --video
    pub(super) book: PathBuf,
    /// Footage instead of the book's; several files in order are chapters of one recording
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub(super) video: Vec<PathBuf>,
    /// The lap of the pass
    #[arg(long, value_name = "N")]
    pub(super) lap: u32,
    /// The corner of the pass
    #[arg(long, value_name = "N")]
    pub(super) corner: u32,
    /// The clip to write: .mp4 or .webm
    #[arg(long, value_name = "FILE")]
    pub(super) out: PathBuf,
    #[command(flatten)]
    pub(super) shown: ShownArgs,
    /// Show the same corner of another lap as well, both always at the same place on the track
    #[arg(long, value_name = "LAP")]
    pub(super) beside: Option<u32>,
    /// The lap of --beside is of this book, of another session on the same circuit
    #[arg(long, value_name = "BOOK", requires = "beside")]
    pub(super) beside_book: Option<PathBuf>,
    #[command(flatten)]
    pub(super) film: FilmArgs,
    #[command(flatten)]
    pub(super) clock: ClockArgs,
    #[command(flatten)]
    pub(super) log_args: LogArgs,
    #[command(flatten)]
    pub(super) unit: UnitArgs,
    /// Write over a file that is there
    #[arg(long)]
    pub(super) force: bool,
}

#[derive(Debug, Args)]
pub(super) struct ReelArgs {
    /// Books of sessions on one circuit, or a log with --video; corners are numbered as in the first
    #[arg(required = true, value_name = "BOOK")]
    pub(super) books: Vec<PathBuf>,
    /// The film to write: .mp4 or .webm
    #[arg(long, value_name = "FILE", required_unless_present_any = ["list", "clips"])]
    pub(super) out: Option<PathBuf>,
    /// A folder for each clip as a film of its own, instead of one film
    #[arg(long, value_name = "DIR", conflicts_with = "out")]
    pub(super) clips: Option<PathBuf>,
    /// Only show what would be cut
    #[arg(long)]
    pub(super) list: bool,
    /// The reel that was put together in the window, as the book has it, instead of a choice
    #[arg(long)]
    pub(super) saved: bool,
    #[command(flatten)]
    pub(super) choice: ChoiceArgs,
    /// The text of a title card at the beginning
    #[arg(long, value_name = "TEXT")]
    pub(super) title: Option<String>,
    /// Seconds that the card before each clip stands, 0 to 60; 0 for none
    #[arg(long, value_name = "SECONDS", default_value = "2.5", value_parser = seconds, allow_negative_numbers = true)]
    pub(super) card: f64,
    #[command(flatten)]
    pub(super) shown: ShownArgs,
    /// Show another lap beside each clip, both always at the same place on the track: its number, or "best" for the best
    /// that is filmed
    #[arg(long, value_name = "LAP|best", value_parser = other_lap)]
    pub(super) beside: Option<Other>,
    #[command(flatten)]
    pub(super) film: FilmArgs,
    /// Also write cards and tags as subtitles (WebVTT) beside the film
    #[arg(long)]
    pub(super) subtitles: bool,
    /// Leave the footage's sound out
    #[arg(long)]
    pub(super) mute: bool,
    /// A file that is spoken over the film from its beginning; the footage's sound gives way to it
    #[arg(long, value_name = "FILE")]
    pub(super) narration: Option<PathBuf>,
    /// Footage instead of the book's; several files in order are chapters of one recording
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub(super) video: Vec<PathBuf>,
    #[command(flatten)]
    pub(super) clock: ClockArgs,
    #[command(flatten)]
    pub(super) log_args: LogArgs,
    #[command(flatten)]
    pub(super) unit: UnitArgs,
    /// Write over files that are there
    #[arg(long)]
    pub(super) force: bool,
}

#[derive(Debug, Args)]
pub(super) struct StillsArgs {
    /// The book, or a log with --video
    pub(super) book: PathBuf,
    /// The corner
    #[arg(long, value_name = "N")]
    pub(super) corner: u32,
    /// The folder to write into
    #[arg(long, value_name = "DIR")]
    pub(super) out: PathBuf,
    /// Only these laps, as in 1,2
    #[arg(long, value_name = "N", value_delimiter = ',')]
    pub(super) lap: Vec<u32>,
    /// Passes with traffic, mistakes or gaps and those of out and in laps, too
    #[arg(long)]
    pub(super) all: bool,
    /// The form of the pictures
    #[arg(long, value_enum, default_value_t = PictureFormat::Png)]
    pub(super) format: PictureFormat,
    /// Footage instead of the book's; several files in order are chapters of one recording
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub(super) video: Vec<PathBuf>,
    #[command(flatten)]
    pub(super) clock: ClockArgs,
    #[command(flatten)]
    pub(super) log_args: LogArgs,
    #[command(flatten)]
    pub(super) unit: UnitArgs,
    /// Write over files that are there
    #[arg(long)]
    pub(super) force: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum PictureFormat {
    Png,
    Jpeg,
}

/// Which passes a reel shows.
#[derive(Debug, Args)]
pub(super) struct ChoiceArgs {
    /// Only these laps, as in 1,2
    #[arg(long, value_name = "N", value_delimiter = ',')]
    pub(super) lap: Vec<u32>,
    /// Only these corners, as in 1,3
    #[arg(long, value_name = "N", value_delimiter = ',')]
    pub(super) corner: Vec<u32>,
    /// Only passes of this driver; again for another
    #[arg(long, value_name = "NAME")]
    pub(super) driver: Vec<String>,
    /// Only passes with this tag, as in "slide" or "overtake"; again for another
    #[arg(long, value_name = "NAME")]
    pub(super) tag: Vec<String>,
    /// Only passes whose exit a person called so
    #[arg(long, value_enum)]
    pub(super) exit: Option<ExitArg>,
    /// So many of the best of each corner
    #[arg(long, value_name = "N")]
    pub(super) best: Option<NonZeroUsize>,
    /// So many of the worst of each corner
    #[arg(long, value_name = "N")]
    pub(super) worst: Option<NonZeroUsize>,
    /// The figure that decides; of apex places the earliest stands for the best
    #[arg(long, value_enum, default_value_t = FigureArg::ExitGate)]
    pub(super) by: FigureArg,
    /// The order of the clips
    #[arg(long, value_enum, default_value_t = OrderArg::BestFirst)]
    pub(super) order: OrderArg,
    /// Passes with traffic, mistakes or gaps and those of out and in laps, too
    #[arg(long)]
    pub(super) all: bool,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
pub(super) enum ExitArg {
    Good,
    Bad,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
pub(super) enum FigureArg {
    ExitGate,
    Time,
    ExitCost,
    ApexPlace,
    EntryGate,
    MinSpeed,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
pub(super) enum OrderArg {
    BestFirst,
    Alternate,
    Driven,
}
