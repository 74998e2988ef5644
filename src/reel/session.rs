//! The overlay over any moment of a session: which pass is on or comes next, and its script.

use crate::analysis::Analysis;
use crate::corners::Pass;
use crate::reel::OverlayScript;
use crate::units::SpeedUnit;

/// An out lap or a wait in the pits is no approach: a pass is announced this long before it begins at most, s, and
/// stays on show this long after it.
const AROUND_AT_MOST_S: f64 = 12.0;

/// When one pass is what the overlay speaks of. Log times, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Index into [`Analysis::passes`].
    pub pass: usize,
    pub from_s: f64,
    pub until_s: f64,
    /// Turn-in and exit, or the gates in their place.
    pub begin_s: f64,
    pub finish_s: f64,
}

/// The stretches of all located passes, in order of time. They follow each other without overlap: one ends and the next
/// begins half-way along the straight between them.
pub fn stretches(analysis: &Analysis) -> Vec<Stretch> {
    let located = |(index, pass): (usize, &Pass)| {
        let (begin_s, finish_s) = pass.times_s()?;
        Some(Stretch { pass: index, from_s: begin_s, until_s: finish_s, begin_s, finish_s })
    };
    let mut stretches: Vec<Stretch> = analysis.passes.iter().enumerate().filter_map(located).collect();
    stretches.sort_by(|a, b| a.begin_s.total_cmp(&b.begin_s));
    let mut before_s = f64::NEG_INFINITY;
    for index in 0..stretches.len() {
        let next_begin_s = stretches.get(index + 1).map_or(f64::INFINITY, |it| it.begin_s);
        let it = &mut stretches[index];
        it.from_s = before_s.max(it.begin_s - AROUND_AT_MOST_S);
        let half_way_s = (it.finish_s + next_begin_s.max(it.finish_s)) / 2.0;
        it.until_s = half_way_s.min(it.finish_s + AROUND_AT_MOST_S);
        before_s = it.until_s;
    }
    stretches
}

/// The stretch at a log time, s; `None` between sessions of driving.
pub fn stretch_at(stretches: &[Stretch], t_s: f64) -> Option<&Stretch> {
    let next = stretches.partition_point(|it| it.from_s <= t_s);
    stretches.get(next.checked_sub(1)?).filter(|it| t_s < it.until_s)
}

/// The script of one stretch.
pub fn stretch_script(analysis: &Analysis, stretch: &Stretch, unit: SpeedUnit) -> Option<OverlayScript> {
    let pass = analysis.passes.get(stretch.pass)?;
    let corner = analysis.corners.iter().find(|it| it.number == pass.corner)?;
    let (pass_s, shown_s) = ((stretch.begin_s, stretch.finish_s), (stretch.from_s, stretch.until_s));
    Some(OverlayScript::new(analysis, corner, pass, pass_s, shown_s, unit))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::corners::Direction;

    fn pass(begin_s: f64, finish_s: f64) -> Pass {
        let mut pass = Pass::nothing_known(1, 1, Direction::Left);
        (pass.entry_gate_t_s, pass.exit_gate_t_s) = (Some(begin_s), Some(finish_s));
        pass
    }

    #[test]
    fn stretches_meet_half_way_and_leave_long_waits_free() {
        let passes = vec![pass(10.0, 14.0), pass(20.0, 22.0), pass(100.0, 104.0)];
        let analysis = Analysis { passes, ..Analysis::default() };
        let found = stretches(&analysis);
        assert_eq!(
            found.iter().map(|it| (it.from_s, it.until_s)).collect::<Vec<_>>(),
            vec![(-2.0, 17.0), (17.0, 34.0), (88.0, 116.0)]
        );
        assert_eq!(stretch_at(&found, 16.9).map(|it| it.pass), Some(0));
        assert_eq!(stretch_at(&found, 17.0).map(|it| it.pass), Some(1));
        assert_eq!(stretch_at(&found, 50.0), None);
        assert_eq!(stretch_at(&found, -3.0), None);
    }
}
