//! `cornerbook passes`: laps, corners and passes of a book or a log.

use crate::cli::args::{PassesArgs, PassesFormat};
use crate::cli::console::{Console, Stop};
use crate::cli::{plan, season, session};
use crate::job::Context;
use crate::load;
use crate::reel::session_has;
use crate::report::{PassesView, passes_csv, passes_json, passes_text, passes_unclear};

pub(super) fn run(args: &PassesArgs, console: &mut Console<'_>, context: &Context) -> Result<u8, Stop> {
    season::refuse_wrong_use(args)?;
    let session = load::open(&args.input, &plan::reading(&args.log_args), context)?;
    let analysis = session::analyse(&session, console, context)?;
    let view = PassesView { samples: &session.samples, analysis: &analysis, laps: &args.lap, corners: &args.corner };
    refuse_unknown("lap", &args.lap, &analysis.laps.iter().map(|it| it.number).collect::<Vec<_>>())?;
    refuse_unknown("corner", &args.corner, &analysis.corners.iter().map(|it| it.number).collect::<Vec<_>>())?;
    for sentence in passes_unclear(&view) {
        console.warn(&sentence);
    }
    let text = match args.format {
        PassesFormat::Table => passes_text(&view, args.unit.speed_unit),
        PassesFormat::Csv => passes_csv(&view),
        PassesFormat::Json => passes_json(&view),
        PassesFormat::Parquet => season::write(args, &session, &view)?,
    };
    console.result(&text)?;
    Ok(0)
}

/// A lap or corner that was asked for must be there.
pub(super) fn refuse_unknown(what: &str, wanted: &[u32], there: &[u32]) -> Result<(), Stop> {
    match wanted.iter().find(|it| !there.contains(it)) {
        Some(missing) => Err(Stop::Failed(anyhow::anyhow!("there is no {what} {missing}; {}", session_has(there)))),
        None => Ok(()),
    }
}
