//! Traffic: what a pass with another kart beside it cost, and two karts of one race on one clock. Takes prepared
//! sessions; gives times in seconds.

use crate::findings::stats::{median, pooled};
use crate::findings::view::Session;
use crate::session::Estimate;

/// What a pass in traffic cost against the driver's clean passes through that corner.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrafficCost {
    pub lap: u32,
    pub corner: u32,
    /// Exit gate of the corner before to the entry gate of the next, s: an attack begins on the straight.
    pub cost_s: Estimate,
    /// Of that, from entry gate to exit gate.
    pub in_corner_s: Estimate,
    /// Clean passes that it is held against.
    pub against: usize,
}

/// The costs of the passes named. `aside`: (lap, corner) of all passes that are not clean, the named ones among them.
/// A pass is left out where the lap has no time there or fewer than two clean passes are left.
pub(super) fn costs(session: &Session<'_>, named: &[(u32, u32)], aside: &[(u32, u32)]) -> Vec<TrafficCost> {
    named.iter().filter_map(|at| cost(session, *at, aside)).collect()
}

fn cost(session: &Session<'_>, (lap, number): (u32, u32), aside: &[(u32, u32)]) -> Option<TrafficCost> {
    let corner = session.view.corners.iter().position(|it| it.number == number)?;
    let whole = against_clean(session, (lap, corner), aside, &|lap| session.with_approach(lap, corner))?;
    let inside = against_clean(session, (lap, corner), aside, &|lap| session.pass(lap, number)?.time_s)?;
    Some(TrafficCost { lap, corner: number, cost_s: whole.0, in_corner_s: inside.0, against: whole.1 })
}

type TimeOf<'a> = &'a dyn Fn(u32) -> Option<Estimate>;

/// A time of one lap less what the clean laps take there.
fn against_clean(
    session: &Session<'_>,
    (lap, corner): (u32, usize),
    aside: &[(u32, u32)],
    time_of: TimeOf<'_>,
) -> Option<(Estimate, usize)> {
    let own = time_of(lap)?;
    let clean = clean_times(session, lap, corner, aside, time_of);
    let usual = pooled(&clean).filter(|it| it.count >= 2)?;
    // One more pass differs from the mean by the spread besides what the mean is unsure by.
    let spread_ci95 = 1.96 * usual.spread;
    let ci95 = own.ci95.hypot(usual.mean.ci95).hypot(spread_ci95);
    Some((Estimate { value: own.value - usual.mean.value, ci95 }, usual.count))
}

fn clean_times(
    session: &Session<'_>,
    lap: u32,
    corner: usize,
    aside: &[(u32, u32)],
    time_of: TimeOf<'_>,
) -> Vec<Estimate> {
    let number = session.view.corners[corner].number;
    let others = session.timed_laps().map(|it| it.number).filter(|it| *it != lap && !aside.contains(&(*it, number)));
    let times: Vec<Estimate> = others.filter_map(time_of).collect();
    // Passes with troubles of their own are not clean, tagged or not.
    let Some(usual_s) = median(times.iter().map(|it| it.value)) else { return times };
    times.into_iter().filter(|it| it.value < usual_s + NOT_CLEAN_S).collect()
}

/// A pass slower than the median by this, s, is not clean (trial).
const NOT_CLEAN_S: f64 = 0.3;
