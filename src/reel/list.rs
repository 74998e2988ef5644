//! What would be cut, as a table for a terminal, before anything is rendered.

use crate::present::{self, Align, Table};
use crate::reel::film::{FilmPlan, Piece};
use crate::reel::plan::ClipPlan;
use crate::units::SpeedUnit;

/// One row a clip: where in the film, which pass, how it stands, and from where in which footage it is.
pub fn list_text(plan: &FilmPlan, unit: SpeedUnit) -> String {
    let mut table = Table::new(&[
        ("at", Align::Right),
        ("length", Align::Right),
        ("corner", Align::Left),
        ("lap", Align::Right),
        ("place", Align::Left),
        ("figure", Align::Left),
        ("against the best", Align::Left),
        ("footage", Align::Left),
    ]);
    for (at_s, piece) in plan.timed() {
        let Piece::Clip(clip) = piece else { continue };
        let mut row = vec![present::clock_time(at_s, 1), present::clock_time(piece.film_s(), 1)];
        let Some(chosen) = &clip.chosen else { continue };
        row.extend([present::one_line(clip.plan.overlay.corner()), chosen.lap.to_string()]);
        row.push(present::rank(chosen.rank, chosen.of));
        row.push(format!(
            "{} {}",
            present::figure(chosen.by),
            present::figure_with_unit(chosen.by, chosen.value, unit)
        ));
        let other = chosen.best.filter(|_| !chosen.is_best());
        row.push(present::figure_apart(chosen.by, chosen.value, other, unit));
        row.push(footage(&clip.plan));
        table.push(row);
    }
    let clips = present::clips(plan.clips().count());
    format!("{}\n{clips}, {}\n", table.to_text(), present::duration(plan.film_s()))
}

/// "a.mp4 1:02.34 to 1:09.02", and the same of each further chapter.
fn footage(plan: &ClipPlan) -> String {
    let mut stretches: Vec<(usize, f64, f64)> = Vec::new();
    for cut in &plan.cuts {
        let (from_s, until_s) = (cut.from().seconds(), cut.until().seconds());
        match stretches.last_mut() {
            Some(last) if last.0 == cut.chapter() => last.2 = until_s,
            _ => stretches.push((cut.chapter(), from_s, until_s)),
        }
    }
    let words = stretches.iter().map(|(chapter, from_s, until_s)| {
        let name = plan.chapters[*chapter].file.file_name().unwrap_or_default().to_string_lossy();
        let (from, until) = (present::clock_time(*from_s, 2), present::clock_time(*until_s, 2));
        format!("{} {from} to {until}", present::one_line(&name))
    });
    words.collect::<Vec<_>>().join(", ")
}
