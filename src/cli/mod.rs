//! The command line: arguments to one file per command. The only room that writes to standard output and error.
//!
//! Standard output carries the result alone; progress, warnings and errors go to standard error. Exit codes: 0 done,
//! 1 an input cannot be used, 2 wrong usage, 130 stopped by the user.

#[cfg(feature = "media")]
mod align;
mod answers;
mod args;
mod check;
#[cfg(feature = "media")]
mod clip;
mod console;
#[cfg(feature = "media")]
mod demo;
#[cfg(feature = "media")]
mod film_args;
#[cfg(feature = "media")]
mod filmed;
mod findings;
mod new;
mod passes;
mod plan;
#[cfg(feature = "media")]
mod reel;
mod report;
mod season;
mod session;
#[cfg(feature = "media")]
mod stills;

use std::ffi::OsString;
use std::io::Write;

#[cfg(not(feature = "window"))]
use clap::CommandFactory;
use clap::Parser;

use crate::cli::args::{Cli, Command};
use crate::cli::console::{Console, Stop};
use crate::job::Context;
#[cfg(feature = "window")]
use crate::present;

/// Wrong usage, as shells and clap have it.
const USAGE: u8 = 2;
/// Stopped by a signal: 128 and the number of SIGINT, as shells have it.
const INTERRUPTED: u8 = 130;

/// Runs the program on `args` (the first is the program's name) and gives its exit code.
/// The context is cancelled from outside, by Ctrl-C; what was being written then leaves nothing behind.
pub fn run(
    args: impl IntoIterator<Item = OsString>,
    out: &mut dyn Write,
    err: &mut dyn Write,
    context: &Context,
) -> u8 {
    let mut console = Console::new(out, err);
    let cli = match Cli::try_parse_from(args) {
        Ok(cli) => cli,
        Err(error) => return refuse_usage(&error, &mut console),
    };
    match carry_out(cli, &mut console, context) {
        Ok(code) => code,
        Err(Stop::Failed(error)) => {
            console.error(&format!("{error:#}"));
            1
        }
        Err(Stop::Usage(sentence)) => {
            console.error(&sentence);
            USAGE
        }
        Err(Stop::Cancelled) => {
            console.say("stopped; nothing was left half done");
            INTERRUPTED
        }
        // Whoever read the result has seen enough.
        Err(Stop::PipeClosed) => 0,
    }
}

fn carry_out(cli: Cli, console: &mut Console<'_>, context: &Context) -> Result<u8, Stop> {
    match cli.command {
        Some(Command::New(args)) => new::run(&args, console, context),
        Some(Command::Check(args)) => check::run(&args, console, context),
        Some(Command::Passes(args)) => passes::run(&args, console, context),
        Some(Command::Findings(args)) => findings::run(&args, console, context),
        Some(Command::Report(args)) => report::run(&args, console, context),
        #[cfg(feature = "media")]
        Some(Command::Align(args)) => align::run(&args, console, context),
        #[cfg(feature = "media")]
        Some(Command::Clip(args)) => clip::run(&args, console, context),
        #[cfg(feature = "media")]
        Some(Command::Reel(args)) => reel::run(&args, console, context),
        #[cfg(feature = "media")]
        Some(Command::Stills(args)) => stills::run(&args, console, context),
        #[cfg(feature = "media")]
        Some(Command::Demo(args)) => demo::run(&args, console, context),
        #[cfg(not(feature = "media"))]
        Some(Command::NeedsFootage(_)) => Err(Stop::Usage(
            "this build works without footage and has no such command; build it with the feature media".to_owned(),
        )),
        #[cfg(feature = "window")]
        None => open_window(cli.book.as_deref()),
        #[cfg(not(feature = "window"))]
        None => match cli.book {
            Some(book) => Err(Stop::Usage(format!(
                "{}: this build has no window to open it in; see it with cornerbook passes BOOK, \
                 cut a clip with cornerbook clip BOOK",
                book.display()
            ))),
            None => {
                console.say(&Cli::command().render_long_help().to_string());
                Ok(USAGE)
            }
        },
    }
}

/// Opens the window and comes back when it is closed.
#[cfg(feature = "window")]
fn open_window(book: Option<&std::path::Path>) -> Result<u8, Stop> {
    if !crate::window::has_display() {
        // A mistyped command above all.
        if let Some(missing) = book.filter(|it| !it.exists()) {
            return Err(Stop::Usage(format!(
                "{}: is neither a file nor a command; cornerbook help lists the commands",
                present::one_line(&missing.display().to_string())
            )));
        }
        return Err(Stop::Failed(anyhow::anyhow!(
            "there is no display to open a window on; cornerbook help lists what works without one"
        )));
    }
    Ok(crate::window::run(book.map(std::path::Path::to_owned).as_slice()))
}

/// Help and version are results; everything else is an error.
fn refuse_usage(error: &clap::Error, console: &mut Console<'_>) -> u8 {
    let text = error.render().to_string();
    if error.use_stderr() {
        console.say(text.trim_end());
        return USAGE;
    }
    match console.result(&text) {
        Ok(()) | Err(Stop::PipeClosed) => 0,
        Err(_) => 1,
    }
}
