//! Loading a session with progress on the terminal and its findings as warnings.

#[cfg(feature = "media")]
use std::path::PathBuf;

use crate::analysis::Analysis;
#[cfg(feature = "media")]
use crate::cli::args::ClockArgs;
use crate::cli::console::{Console, Stop, with_progress};
#[cfg(feature = "media")]
use crate::cli::plan;
use crate::job::Context;
#[cfg(feature = "media")]
use crate::load::Aligned;
use crate::load::{self, Session};

/// Analyses the session and tells its notes.
pub(super) fn analyse(session: &Session, console: &mut Console<'_>, context: &Context) -> Result<Analysis, Stop> {
    let analysis = with_progress("finding laps and corners", context, || load::analyse(session, context))?;
    console.notes(&analysis.notes);
    Ok(analysis)
}

/// Puts the footage on the log's clock and tells what is odd about its files.
#[cfg(feature = "media")]
pub(super) fn align(
    session: &Session,
    videos: &[PathBuf],
    typed: &ClockArgs,
    console: &mut Console<'_>,
    context: &Context,
) -> Result<Aligned, Stop> {
    let pins = plan::typed_pins(typed)?;
    let aligned = if typed.no_motion {
        load::align_without_motion(session, videos, pins, context)?
    } else {
        with_progress("looking for the log's turns in the footage", context, || {
            load::align(session, videos, pins, context)
        })?
    };
    console.notes(&aligned.notes);
    aligned.footage.iter().for_each(|it| console.notes(&it.notes));
    Ok(aligned)
}
