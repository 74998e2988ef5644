//! The two streams, the progress bar, and the ways in which a command can stop.

use std::io::{self, Write};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::job::{self, Cancelled, Context};
use crate::present;
use crate::session::{Note, NoteKind};

/// How often a progress bar is drawn anew.
const PROGRESS_PERIOD: Duration = Duration::from_millis(100);
/// Steps of a progress bar.
const PROGRESS_STEPS: u64 = 1000;

/// Why a command ends before its end.
#[derive(Debug)]
pub(super) enum Stop {
    /// An input cannot be used, or an output cannot be made: one sentence.
    Failed(anyhow::Error),
    /// The arguments do not go together: one sentence.
    Usage(String),
    Cancelled,
    /// The reader of standard output has gone.
    PipeClosed,
}

impl From<anyhow::Error> for Stop {
    fn from(error: anyhow::Error) -> Self {
        Self::Failed(error)
    }
}

impl From<Cancelled> for Stop {
    fn from(_: Cancelled) -> Self {
        Self::Cancelled
    }
}

impl From<crate::files::Error> for Stop {
    fn from(error: crate::files::Error) -> Self {
        Self::Failed(error.into())
    }
}

impl From<crate::book::file::Error> for Stop {
    fn from(error: crate::book::file::Error) -> Self {
        Self::Failed(error.into())
    }
}

impl From<crate::book::store::NotWritten> for Stop {
    fn from(error: crate::book::store::NotWritten) -> Self {
        Self::Failed(error.into())
    }
}

impl From<crate::handout::Error> for Stop {
    fn from(error: crate::handout::Error) -> Self {
        match error {
            crate::handout::Error::Cancelled(cancelled) => cancelled.into(),
            other => Self::Failed(other.into()),
        }
    }
}

impl From<crate::load::Error> for Stop {
    fn from(error: crate::load::Error) -> Self {
        match error {
            crate::load::Error::Cancelled(_) => Self::Cancelled,
            crate::load::Error::NoFootage => Self::Usage(error.to_string()),
            other => Self::Failed(other.into()),
        }
    }
}

#[cfg(feature = "media")]
impl From<crate::media::Error> for Stop {
    fn from(error: crate::media::Error) -> Self {
        match error {
            crate::media::Error::Cancelled(_) => Self::Cancelled,
            other => Self::Failed(other.into()),
        }
    }
}

/// Where a command writes.
pub(super) struct Console<'a> {
    out: &'a mut dyn Write,
    err: &'a mut dyn Write,
}

impl<'a> Console<'a> {
    pub(super) fn new(out: &'a mut dyn Write, err: &'a mut dyn Write) -> Self {
        Self { out, err }
    }

    /// The result, as it is.
    pub(super) fn result(&mut self, text: &str) -> Result<(), Stop> {
        let written = self.out.write_all(text.as_bytes()).and_then(|()| self.out.flush());
        written.map_err(|error| match error.kind() {
            io::ErrorKind::BrokenPipe => Stop::PipeClosed,
            _ => Stop::Failed(anyhow::anyhow!("standard output: cannot be written ({error})")),
        })
    }

    /// One error, on one line.
    pub(super) fn error(&mut self, sentence: &str) {
        self.say(&format!("error: {}", present::one_line(sentence)));
    }

    /// One warning, on one line.
    pub(super) fn warn(&mut self, sentence: &str) {
        self.say(&format!("warning: {}", present::one_line(sentence)));
    }

    pub(super) fn notes(&mut self, notes: &[Note]) {
        // Rows between two fixes are usual; `check` tells of them.
        for note in notes.iter().filter(|it| !matches!(it.kind, NoteKind::FixesRepeated { .. })) {
            self.warn(&present::note(note));
        }
    }

    /// Plain text on standard error.
    pub(super) fn say(&mut self, text: &str) {
        // Where standard error is closed there is no one left to tell.
        let _ = writeln!(self.err, "{text}");
    }
}

/// Does `work` while a bar shows its progress, if standard error is a terminal.
pub(super) fn with_progress<R>(what: &'static str, context: &Context, work: impl FnOnce() -> R) -> R {
    let bar = ProgressBar::with_draw_target(Some(PROGRESS_STEPS), ProgressDrawTarget::stderr());
    if bar.is_hidden() {
        return work();
    }
    let style = ProgressStyle::with_template("{msg} {wide_bar} {percent:>3} % {eta:>4}")
        .expect("the template is a constant of known fields");
    bar.set_style(style);
    bar.set_message(what);
    let result = job::watch(context, PROGRESS_PERIOD, |share| bar.set_position(steps(share)), work);
    bar.finish_and_clear();
    result
}

fn steps(share: f64) -> u64 {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share is 0 to 1")]
    let steps = (share * PROGRESS_STEPS as f64) as u64;
    steps
}
