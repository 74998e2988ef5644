//! A second pass beside the first, locked by place on the track: where the other kart is while this one is where it is,
//! and what sets them apart there. Takes an `Analysis` and two laps; gives plain data.

use crate::analysis::Analysis;
use crate::corners::Pass;
use crate::present::{self, BesideWords, PassHere};
use crate::reel::plan::{Chapter, ClipOptions, ClipPlan, PlanError, clip_plan};
use crate::session::VideoTime;
use crate::strip::{at_place, same_place_s};
use crate::units::SpeedUnit;

/// How two pictures share a film.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum BesideLayout {
    /// Side by side.
    #[default]
    Beside,
    /// One above the other.
    Stacked,
    /// The second small in a corner of the first.
    Inset,
}

/// Which lap is shown as well.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Other {
    Lap(u32),
    /// The best of the passes that a reel chooses from; it stands alone itself.
    Best,
}

/// The other pass.
#[derive(Debug, Clone, PartialEq)]
pub struct Beside {
    /// Its footage, overlay and drawings; what is shown when is decided by the lock, not by its cuts.
    pub plan: ClipPlan,
    pub layout: BesideLayout,
    /// Log times of the first and of the second pass at the same places, s; both rise; at least two.
    lock: Vec<(f64, f64)>,
    /// By log time of the first pass, s; at least one.
    words: Vec<(f64, BesideWords)>,
}

impl Beside {
    /// Log time of the second pass where the first is at `here_s`, s. Beyond what is known the two go on alike.
    pub fn there_s(&self, here_s: f64) -> f64 {
        let next = self.lock.partition_point(|it| it.0 <= here_s).clamp(1, self.lock.len() - 1);
        let ((here_a, there_a), (here_b, there_b)) = (self.lock[next - 1], self.lock[next]);
        if here_s < here_a {
            return there_a + here_s - here_a;
        }
        if here_s > here_b {
            return there_b + here_s - here_b;
        }
        there_a + (there_b - there_a) * (here_s - here_a) / (here_b - here_a)
    }

    /// The second pass's frame: its chapter and presentation time. Where there is no footage, the nearest frame.
    pub fn frame_at(&self, here_s: f64) -> (usize, VideoTime) {
        self.plan.nearest_frame(self.there_s(here_s))
    }

    /// What is written below the pictures.
    pub fn words(&self, here_s: f64) -> &BesideWords {
        let next = self.words.partition_point(|it| it.0 <= here_s);
        &self.words[next.saturating_sub(1)].1
    }
}

impl ClipPlan {
    /// Shows another lap through the same corner as well. `drawings` of it are added by
    /// [`ClipPlan::with_drawings`], which comes after this.
    pub fn with_beside(
        mut self,
        analysis: &Analysis,
        (lap, corner): (u32, u32),
        other_lap: u32,
        layout: BesideLayout,
        chapters: &[Chapter],
        options: &ClipOptions,
    ) -> Result<Self, PlanError> {
        let plan = clip_plan(analysis, other_lap, corner, chapters, options)?;
        let shown_s = self.shown_s();
        let lock = lock(analysis, (lap, other_lap), shown_s);
        let passes = analysis.pass(lap, corner).zip(analysis.pass(other_lap, corner));
        let Some((first, second)) = passes.filter(|_| lock.len() >= 2) else {
            return Err(PlanError::NoSamePlace { lap, other_lap, corner });
        };
        let words = lock.iter().map(|it| (it.0, words(analysis, first, second, *it, options.speed_unit))).collect();
        self.beside = Some(Box::new(Beside { plan, layout, lock, words }));
        Ok(self)
    }
}

/// Pairs of log times at the same places, one for each state of the path that is shown. The lap may begin or end in the
/// clip: then the other one does so too.
fn lock(analysis: &Analysis, (lap, other_lap): (u32, u32), (from_s, until_s): (f64, f64)) -> Vec<(f64, f64)> {
    let states = &analysis.path.states;
    let begin = states.partition_point(|it| it.t_s < from_s).saturating_sub(1);
    let shown = states[begin..].iter().take_while(|it| it.t_s <= until_s).map(|it| it.t_s);
    let pair = |here_s: f64| {
        let place = analysis.place_at(here_s)?;
        let there = (place.lap + other_lap).checked_sub(lap)?;
        Some((here_s, same_place_s(analysis, here_s, there)?))
    };
    let mut pairs: Vec<(f64, f64)> = Vec::new();
    for pair in shown.filter_map(pair) {
        if pairs.last().is_none_or(|it| pair.0 > it.0 && pair.1 > it.1) {
            pairs.push(pair);
        }
    }
    pairs
}

fn words(
    analysis: &Analysis,
    first: &Pass,
    second: &Pass,
    (here_s, there_s): (f64, f64),
    unit: SpeedUnit,
) -> BesideWords {
    let names = [first, second].map(|it| present::lap_name(Some(it.lap)));
    let here = [(first, here_s), (second, there_s)].map(|(pass, t_s)| at_place(analysis, t_s, Some(pass)));
    let of = |index: usize| PassHere {
        name: &names[index],
        speed_mps: here[index].speed_mps,
        since_gate_s: here[index].since_gate_s,
    };
    present::beside_words(of(0), of(1), unit)
}
