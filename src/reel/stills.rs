//! Which frames of a corner's passes are shown as stills: at turn-in, apex and exit, the passes sorted by their exit.
//! Takes an analysis and footage with clocks; gives plain data.

use crate::analysis::Analysis;
use crate::book::Book;
use crate::corners::MarkKind;
use crate::corners::figure::Figure;
use crate::present;
use crate::reel::choose::Chosen;
use crate::reel::plan::{ClipOptions, ClipPlan, PlanError, clip_plan};
use crate::reel::source::Source;
use crate::session::VideoTime;

/// The marks in the order they are driven.
const MARKS: [MarkKind; 3] = [MarkKind::TurnIn, MarkKind::Apex, MarkKind::Exit];
/// What is told of a pass beside its stills.
const FIGURES: [Figure; 3] = [Figure::EntrySpeed, Figure::MinSpeed, Figure::ExitGateSpeed];

/// The stills of one pass.
#[derive(Debug, Clone, PartialEq)]
pub struct StillRow {
    pub lap: u32,
    pub corner: u32,
    /// "Hairpin · Lap 5".
    pub name: String,
    /// Figures in words, one a line.
    pub lines: Vec<String>,
    /// Footage, overlay and drawings.
    pub plan: ClipPlan,
    /// Turn-in, apex, exit: chapter and presentation time; `None` for a mark that is not known.
    pub at: [Option<(usize, VideoTime)>; 3],
}

/// The stills of chosen passes, in their order; passes without footage are left out and given back with the reason.
///
/// # Errors
/// Not one pass that can be shown.
pub fn still_rows(
    source: &Source<'_>,
    chosen: &[Chosen],
    options: &ClipOptions,
) -> Result<(Vec<StillRow>, Vec<PlanError>), PlanError> {
    let mut left_out = Vec::new();
    let mut rows = Vec::new();
    for it in chosen {
        match row(source, it, options) {
            Ok(row) => rows.push(row),
            Err(error) => left_out.push(error),
        }
    }
    if rows.is_empty() {
        return Err(left_out.into_iter().next().unwrap_or(PlanError::Empty));
    }
    Ok((rows, left_out))
}

fn row(source: &Source<'_>, chosen: &Chosen, options: &ClipOptions) -> Result<StillRow, PlanError> {
    let (lap, corner) = (chosen.lap, chosen.corner);
    let options = ClipOptions { lead_s: 0.0, tail_s: 0.0, hold_s: 0.0, slow: 1.0, ..*options };
    let mut plan = clip_plan(source.analysis, lap, corner, source.chapters, &options)?;
    let pass = source.analysis.pass(lap, corner).ok_or(PlanError::NoPass { lap, corner })?;
    let at = MARKS.map(|it| pass.mark(it).map(|mark| plan.nearest_frame(mark.t_s.value)));
    if let Some(book) = source.book {
        plan = with_drawings_at(plan, book, source, &at);
    }
    Ok(StillRow {
        lap,
        corner,
        name: present::clip_name(plan.overlay.corner(), lap, None),
        lines: lines(source.analysis, chosen, options.speed_unit),
        plan,
        at,
    })
}

/// A still at the very end of the pass shows drawings too, though no cut runs over it.
fn with_drawings_at(
    mut plan: ClipPlan,
    book: &Book,
    source: &Source<'_>,
    at: &[Option<(usize, VideoTime)>; 3],
) -> ClipPlan {
    let holds =
        at.iter().flatten().map(|(chapter, at)| crate::reel::Cut::Hold { chapter: *chapter, at: *at, seconds: 0.0 });
    plan.cuts.extend(holds);
    plan.with_drawings(book, source.footage)
}

fn lines(analysis: &Analysis, chosen: &Chosen, unit: crate::units::SpeedUnit) -> Vec<String> {
    let length_m = analysis.reference.as_ref().map(|it| it.length_m);
    let pass = analysis.pass(chosen.lap, chosen.corner);
    let corner = analysis.corners.iter().find(|it| it.number == chosen.corner);
    let Some((pass, corner)) = pass.zip(corner) else { return Vec::new() };
    let best = chosen.best_pass.filter(|_| !chosen.is_best()).and_then(|it| analysis.pass(it.1, it.2));
    let line = |of: Figure| {
        let value = of.of(pass, corner, length_m)?;
        let apart = best.and_then(|it| of.of(it, corner, length_m));
        let apart = present::figure_apart(of, Some(value), apart, unit);
        // Not to be broken: the interval belongs to its figure.
        let apart = if apart.is_empty() { apart } else { format!(" ({})", apart.replace(' ', "\u{a0}")) };
        Some(format!("{} {}{apart}", present::figure_short(of), present::figure_with_unit(of, Some(value), unit)))
    };
    let rank = Some(present::rank(chosen.rank, chosen.of)).filter(|it| !it.is_empty());
    rank.into_iter().chain(FIGURES.into_iter().filter_map(line)).collect()
}
