//! Another book's session beside this one: read to look at, never to change.

use std::path::Path;
use std::sync::Arc;

use crate::analysis::Analysis;
use crate::book::Book;
use crate::job::Context;
use crate::load::{self, Reading};
use crate::present;
use crate::track::Lap;
use crate::window::loading::{Footage, analysed};
use crate::window::review::timeline::{Position, Timeline};

/// A session that can be looked at beside the one under review.
#[derive(Debug, Clone)]
pub(super) struct Guest {
    /// Its driver, else its file's name.
    pub(super) name: String,
    pub(super) analysis: Arc<Analysis>,
    pub(super) footage: Footage,
    pub(super) timeline: Timeline,
    pub(super) book: Book,
    /// The laps to choose from.
    pub(super) laps: Vec<u32>,
    /// Index into `laps` of the quickest whole lap, of those that can be seen where there are any; else of the first.
    pub(super) quickest: usize,
}

/// Reads and analyses a book. Footage that cannot be used does not keep its figures from being compared: `sentences`.
pub(super) fn read(path: &Path, context: &Context) -> anyhow::Result<(Guest, Vec<String>)> {
    let session = load::open(path, &Reading::default(), context)?;
    let (analysis, footage, sentences) = analysed(&session, context)?;
    let book = session.book.map(|it| it.1).unwrap_or_default();
    let file = || path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let name = present::one_line(&book.driver.clone().unwrap_or_else(file));
    let laps: Vec<u32> = analysis.laps.iter().map(|it| it.number).collect();
    let timeline = Timeline::new(footage.chapters.clone(), session.samples.duration_s());
    let is_seen = |t_s| matches!(timeline.at(t_s), Position::Frame { .. });
    let quickest = quickest(&analysis.laps, |it| is_seen(it.start_t_s) && is_seen(it.end_t_s));
    Ok((Guest { name, analysis: Arc::new(analysis), footage, timeline, book, laps, quickest }, sentences))
}

/// Index of the quickest timed lap, of those that are seen where there are any; 0 where no lap is timed.
fn quickest(laps: &[Lap], is_seen: impl Fn(&Lap) -> bool) -> usize {
    let timed = |(index, lap): (usize, &Lap)| Some((index, lap.time_s?.value, !is_seen(lap)));
    let timed = laps.iter().enumerate().filter_map(timed);
    timed.min_by(|a, b| a.2.cmp(&b.2).then(a.1.total_cmp(&b.1))).map_or(0, |it| it.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::Estimate;
    use crate::track::LapKind;

    #[test]
    fn a_lap_that_can_be_seen_goes_before_a_quicker_one() {
        let lap = |number, time_s: Option<f64>| Lap {
            number,
            kind: LapKind::Timed,
            start_t_s: 0.0,
            end_t_s: 0.0,
            time_s: time_s.map(|value| Estimate { value, ci95: 0.01 }),
        };
        let laps = [lap(0, None), lap(1, Some(41.0)), lap(2, Some(40.0)), lap(3, Some(42.0))];
        assert_eq!(quickest(&laps, |_| false), 2);
        assert_eq!(quickest(&laps, |it| it.number != 2), 1);
        assert_eq!(quickest(&laps[..1], |_| true), 0);
    }
}
