//! A second pass beside the first, locked by place on the track: where the other kart is while this one is where it is,
//! and what sets them apart there. Takes two passes, of one session or of two on one circuit; gives plain data.

use crate::analysis::Analysis;
use crate::corners::Pass;
use crate::present::{self, BesideWords, PassHere};
use crate::reel::plan::{ClipPlan, PlanError};
use crate::session::VideoTime;
use crate::strip::{at_place, same_place_elsewhere_s, same_place_s};
use crate::units::SpeedUnit;

/// How two pictures share a film.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum BesideLayout {
    /// Compared by side.
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
    /// The best of the passes that a reel chooses from and that footage shows; it stands alone itself.
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

/// One of two passes that are shown together.
#[derive(Debug, Clone, Copy)]
pub struct Compared<'a> {
    pub analysis: &'a Analysis,
    /// Said where the two are of different sessions.
    pub driver: Option<&'a str>,
    pub lap: u32,
    pub corner: u32,
}

impl<'a> Compared<'a> {
    fn pass(&self) -> Option<&'a Pass> {
        self.analysis.pass(self.lap, self.corner)
    }

    fn is_of_one_session(&self, other: &Self) -> bool {
        std::ptr::eq(self.analysis, other.analysis)
    }
}

impl ClipPlan {
    /// Shows another pass as well: `second`, the plan of `there`, beside this one, which is of `here`.
    pub fn with_beside(
        mut self,
        second: Self,
        here: Compared<'_>,
        there: Compared<'_>,
        layout: BesideLayout,
        unit: SpeedUnit,
    ) -> Result<Self, PlanError> {
        let lock = lock(here, there, self.shown_s());
        let Some((first_pass, second_pass)) = here.pass().zip(there.pass()).filter(|_| lock.len() >= 2) else {
            return Err(PlanError::NoSamePlace { lap: here.lap, other_lap: there.lap, corner: here.corner });
        };
        let names = names(here, there);
        let words = |&(here_s, there_s): &(f64, f64)| {
            let of = |name, side: Compared<'_>, pass, t_s| {
                let at = at_place(side.analysis, t_s, Some(pass));
                PassHere { name, speed_mps: at.speed_mps, since_gate_s: at.since_gate_s }
            };
            let (first, second) = (of(&names.0, here, first_pass, here_s), of(&names.1, there, second_pass, there_s));
            (here_s, present::beside_words(first, second, unit))
        };
        let words = lock.iter().map(words).collect();
        self.beside = Some(Box::new(Beside { plan: second, layout, lock, words }));
        Ok(self)
    }
}

/// How the two are called: by their laps, of two sessions also by who drove.
fn names(here: Compared<'_>, there: Compared<'_>) -> (String, String) {
    if here.is_of_one_session(&there) {
        return (present::lap_of(None, here.lap), present::lap_of(None, there.lap));
    }
    let other = there.driver.unwrap_or(present::OTHER_SESSION);
    (present::lap_of(here.driver, here.lap), present::lap_of(Some(other), there.lap))
}

/// Pairs of log times at the same places, one for each state of the path that is shown. The lap may begin or end in the
/// clip: then the other one does so too.
fn lock(here: Compared<'_>, there: Compared<'_>, (from_s, until_s): (f64, f64)) -> Vec<(f64, f64)> {
    let states = &here.analysis.path.states;
    let begin = states.partition_point(|it| it.t_s < from_s).saturating_sub(1);
    let shown = states[begin..].iter().take_while(|it| it.t_s <= until_s).map(|it| it.t_s);
    let same_place_s = |here_s: f64, lap: u32| {
        if here.is_of_one_session(&there) {
            same_place_s(here.analysis, here_s, lap)
        } else {
            same_place_elsewhere_s(here.analysis, here_s, there.analysis, lap)
        }
    };
    let pair = |here_s: f64| {
        let place = here.analysis.place_at(here_s)?;
        let other_lap = (place.lap + there.lap).checked_sub(here.lap)?;
        Some((here_s, same_place_s(here_s, other_lap)?))
    };
    let mut pairs: Vec<(f64, f64)> = Vec::new();
    for pair in shown.filter_map(pair) {
        if pairs.last().is_none_or(|it| pair.0 > it.0 && pair.1 > it.1) {
            pairs.push(pair);
        }
    }
    pairs
}
