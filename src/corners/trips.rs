//! Every trip of every lap through every corner, and where on it the kart turned in and was straight again.

use crate::corners::find::Span;
use crate::corners::marks::{
    CORNER_SPREAD_SHARE, Halves, Measurements, Shaped, USUAL_RAMP, Window, by_positions, by_yaw_rate, halves, learned,
};
use crate::corners::repeat::moved_together;
use crate::corners::shape_fit::Expected;
use crate::corners::slip::turned_rad;
use crate::corners::timeline::Timeline;
use crate::corners::{Direction, MarkKind, Unclear};
use crate::job;
use crate::session::{Estimate, NORMAL_CI95};
use crate::track::{Lap, LapKind};

/// Log time, s, at which a person has put a mark of (lap, corner), if any.
pub type Edits<'a> = &'a (dyn Fn(u32, u32, MarkKind) -> Option<f64> + Sync);

/// A pass's largest bend is sought this far beyond the corner's feet, m, and as a share of the way to the neighbours.
const CORE_MARGIN_M: f64 = 15.0;
const CORE_MARGIN_SHARE: f64 = 0.4;
/// A mark put by a person is as exact as the frame it was put on: half of a 30th of a second.
pub(super) const EDIT_CI95_S: f64 = 0.5 / 30.0;

/// A pass with its marks, before the gates that need all passes.
#[derive(Debug, Clone)]
pub(super) struct Marked {
    pub(super) lap: u32,
    pub(super) timed: bool,
    pub(super) corner: usize,
    pub(super) window: Window,
    pub(super) turn_in: Option<Estimate>,
    pub(super) exit: Option<Estimate>,
    pub(super) edited: Vec<MarkKind>,
    pub(super) unclear: Vec<Unclear>,
}

/// A lap's trip through a corner (by index).
pub(super) type Trip<'a> = (&'a Lap, usize, Window);

pub(super) fn sign_of(direction: Direction) -> f64 {
    match direction {
        Direction::Left => 1.0,
        Direction::Right => -1.0,
    }
}

/// Every whole trip through a corner, in order of time.
pub(super) fn trips<'a>(laps: &'a [Lap], length_m: f64, spans: &[Span], timeline: &Timeline) -> Vec<Trip<'a>> {
    let mut trips = Vec::new();
    for lap in laps {
        let base_m = f64::from(lap.number) * length_m;
        for (index, span) in spans.iter().enumerate() {
            let (before, after) = neighbours(spans, index, length_m);
            let margin = |gap_m: f64| CORE_MARGIN_M.min(CORE_MARGIN_SHARE * gap_m.max(0.0));
            let core_m = (span.start_m - margin(span.start_m - before.1), span.end_m + margin(after.0 - span.end_m));
            let core = (timeline.time_at(base_m + core_m.0), timeline.time_at(base_m + core_m.1));
            let (Some(core_from_s), Some(core_to_s)) = core else { continue };
            let reach = |middle_m: f64, otherwise_s: f64| timeline.time_at(base_m + middle_m).unwrap_or(otherwise_s);
            let Some(middle_s) = timeline.time_at(base_m + span.middle_m) else { continue };
            let window = Window {
                middle_s,
                from_s: reach(before.2, core_from_s - 3.0),
                core_s: (core_from_s, core_to_s),
                to_s: reach(after.2, core_to_s + 3.0),
                sign: sign_of(span.direction),
                two_apexes: span.dip_share > TWO_APEX_DIP,
            };
            trips.push((lap, index, window));
        }
    }
    trips
}

/// (start, end, middle) of the corners before and after, unrolled about this one.
fn neighbours(spans: &[Span], index: usize, length_m: f64) -> ((f64, f64, f64), (f64, f64, f64)) {
    let count = spans.len();
    let moved = |span: &Span, by_m: f64| (span.start_m + by_m, span.end_m + by_m, span.middle_m + by_m);
    let before = if index == 0 { moved(&spans[count - 1], -length_m) } else { moved(&spans[index - 1], 0.0) };
    let after = if index + 1 == count { moved(&spans[0], length_m) } else { moved(&spans[index + 1], 0.0) };
    (before, after)
}

/// Turn-in and exit of a pass, as far as they can be told.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Marks {
    pub(super) at: [Option<Estimate>; 2],
    /// Why neither can be told, where there is more to say than that they are missing.
    pub(super) unclear: Option<Unclear>,
}

/// A corner whose line eases by this share between two arcs has two apexes; less is a sag like any other.
const TWO_APEX_DIP: f64 = 0.33;
/// A pass that turns by this much more or less than the corner's others, rad, is a spin.
const SPUN_RAD: f64 = 2.0;

/// Places turn-in and exit of every pass. From positions it takes two rounds: the first teaches how long this driver
/// takes to steer in and out at each corner, the second uses it.
pub(super) fn locate_all(
    measured: &Measurements<'_>,
    trips: &[Trip<'_>],
    corners: usize,
    context: &job::Context,
) -> Result<Vec<Marks>, job::Cancelled> {
    let seen = job::map_parallel(
        trips,
        |(_, _, window)| {
            if context.is_cancelled() { [None; 2] } else { halves(measured, window) }
        },
    );
    context.check()?;
    let usual: Vec<Halves> =
        (0..corners).map(|corner| [0, 1].map(|end| median_of(trips, corner, |index| seen[index][end]))).collect();
    if measured.has_yaw_rate() {
        let marks = job::map_parallel(trips, |(_, corner, window)| {
            if context.is_cancelled() { [None; 2] } else { by_yaw_rate(measured, window, usual[*corner]) }
        });
        context.check()?;
        let spun = spun(measured, trips, corners);
        return Ok(marks.into_iter().zip(spun).map(|(at, spun)| Marks::unless_spun(at, spun)).collect());
    }
    let round = |ramps: &[[Expected; 2]]| {
        let shaped = job::map_parallel(trips, |(_, corner, window)| {
            if context.is_cancelled() { None } else { by_positions(measured, window, ramps[*corner], usual[*corner]) }
        });
        context.check().map(|()| shaped)
    };
    let first = round(&vec![[USUAL_RAMP; 2]; corners])?;
    let shaped = round(&steering_of(&first, trips, corners))?;
    let at = |it: Option<Shaped>| it.map_or([None; 2], |it| [Some(it.turn_in), Some(it.exit)]);
    Ok(shaped.into_iter().map(|it| Marks { at: at(it), unclear: None }).collect())
}

impl Marks {
    /// The yaw rate of a spin says nothing of where the wheel was turned.
    fn unless_spun(at: [Option<Estimate>; 2], spun: bool) -> Self {
        if spun { Self { at: [None; 2], unclear: Some(Unclear::Spun) } } else { Self { at, unclear: None } }
    }
}

/// Which passes turn otherwise than the corner's others by more than any line can.
fn spun(measured: &Measurements<'_>, trips: &[Trip<'_>], corners: usize) -> Vec<bool> {
    let turned: Vec<Option<f64>> =
        trips.iter().map(|(_, _, window)| turned_rad(measured.yaw_rate?, window.core_s.0, window.core_s.1)).collect();
    let usual: Vec<Option<f64>> = (0..corners).map(|corner| median_of(trips, corner, |index| turned[index])).collect();
    let differs = |(now, (_, corner, _)): (&Option<f64>, &Trip<'_>)| {
        now.zip(usual[*corner]).is_some_and(|(now, usual)| (now - usual).abs() > SPUN_RAD)
    };
    turned.iter().zip(trips).map(differs).collect()
}

/// The median over a corner's trips of a figure by the trip's index; `None` where no trip has it.
fn median_of(trips: &[Trip<'_>], corner: usize, figure: impl Fn(usize) -> Option<f64>) -> Option<f64> {
    let of_corner = trips.iter().enumerate().filter(|(_, it)| it.1 == corner);
    let mut values: Vec<f64> = of_corner.filter_map(|(index, _)| figure(index)).collect();
    let half = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(half, f64::total_cmp).1)
}

/// What all laps' fits at one corner have in common – the same model for the same steering – does not average out, s.
/// Chosen on the sample's shapes (docs/methods.md#intervals).
const SHARED_ERROR_S: f64 = 0.025;

/// Lets the laps of one corner speak for each other where a single fit is less sure than the driver is steady.
pub(super) fn move_together(
    marks: &mut [Marks],
    trips: &[Trip<'_>],
    corners: usize,
    timeline: &Timeline,
    length_m: f64,
) {
    for corner in 0..corners {
        for slot in [0, 1] {
            let mut laps = Vec::new();
            for (index, (lap, at, _)) in trips.iter().enumerate() {
                let base_m = f64::from(lap.number) * length_m;
                let Some(t_s) = marks[index].at[slot].filter(|_| *at == corner && lap.kind == LapKind::Timed) else {
                    continue;
                };
                let pace = timeline.pace_at(t_s.value);
                if let Some((place_m, pace)) = timeline.distance_at(t_s.value).zip(pace) {
                    laps.push((index, base_m, pace, Estimate { value: place_m - base_m, ci95: t_s.ci95 * pace }));
                }
            }
            let places: Vec<Estimate> = laps.iter().map(|it| it.3).collect();
            for ((index, base_m, pace, _), moved) in laps.iter().zip(moved_together(&places)) {
                if let Some(t_s) = timeline.time_at(base_m + moved.value) {
                    marks[*index].at[slot] =
                        Some(Estimate { value: t_s, ci95: (moved.ci95 / pace).hypot(NORMAL_CI95 * SHARED_ERROR_S) });
                }
            }
        }
    }
}

/// A mark that may lie farther than this to either side, s, is not told: corners last two to four seconds.
const MOST_UNSURE_S: f64 = 2.0;

/// Takes away the marks that say no more than that there is a corner.
pub(super) fn drop_unsure(marks: &mut [Marks]) {
    for mark in marks.iter_mut().flat_map(|it| &mut it.at) {
        *mark = mark.filter(|it| it.ci95 <= MOST_UNSURE_S);
    }
}

/// How long the ramps up and down are at each corner, in units of the usual ones, from the first round.
fn steering_of(first: &[Option<Shaped>], trips: &[Trip<'_>], corners: usize) -> Vec<[Expected; 2]> {
    let ramps_of = |corner: Option<usize>, down: bool| -> Vec<(f64, f64)> {
        let wanted = trips.iter().zip(first).filter(|((_, at, _), _)| corner.is_none_or(|it| it == *at));
        wanted
            .filter_map(|(_, shaped)| {
                let shaped = shaped.as_ref()?;
                let (length_m, variance_m2) = shaped.shape.ramp(down);
                let usual_m = shaped.usual_m[usize::from(down)];
                (variance_m2 > 0.0).then_some((length_m / usual_m, variance_m2 / (usual_m * usual_m)))
            })
            .collect()
    };
    let usual = [false, true].map(|down| {
        let all = learned(&ramps_of(None, down), USUAL_RAMP, USUAL_RAMP);
        Expected { mean: all.mean, sigma: CORNER_SPREAD_SHARE * all.mean }
    });
    (0..corners)
        .map(|corner| {
            [false, true].map(|down| learned(&ramps_of(Some(corner), down), USUAL_RAMP, usual[usize::from(down)]))
        })
        .collect()
}

/// A person's correction outranks the fit; what is missing has its reason.
pub(super) fn corrected(marks: Marks, edits: Edits<'_>, lap: &Lap, corner: usize, window: &Window) -> Marked {
    let mut marked = Marked {
        lap: lap.number,
        timed: lap.kind == LapKind::Timed,
        corner,
        window: *window,
        turn_in: marks.at[0],
        exit: marks.at[1],
        edited: Vec::new(),
        unclear: marks.unclear.into_iter().collect(),
    };
    let number = corner_number(corner);
    for (kind, slot) in [(MarkKind::TurnIn, &mut marked.turn_in), (MarkKind::Exit, &mut marked.exit)] {
        match edits(lap.number, number, kind) {
            Some(t_s) if t_s >= window.from_s && t_s <= window.to_s => {
                *slot = Some(Estimate { value: t_s, ci95: EDIT_CI95_S });
                marked.edited.push(kind);
            }
            Some(_) => marked.unclear.push(Unclear::EditOutside),
            None => {}
        }
    }
    if let (Some(turn_in), Some(exit)) = (marked.turn_in, marked.exit)
        && exit.value <= turn_in.value
    {
        let dropped = if turn_in.ci95 <= exit.ci95 { &mut marked.exit } else { &mut marked.turn_in };
        *dropped = None;
        marked.unclear.push(Unclear::MarksCross);
        let kept = if marked.exit.is_none() { MarkKind::TurnIn } else { MarkKind::Exit };
        marked.edited.retain(|it| *it == kept);
        return marked;
    }
    if marks.unclear.is_some() {
        return marked;
    }
    if marked.turn_in.is_none() {
        marked.unclear.push(Unclear::NoTurnIn);
    }
    if marked.exit.is_none() {
        marked.unclear.push(Unclear::NoExit);
    }
    marked
}

#[allow(clippy::cast_possible_truncation, reason = "a circuit has tens of corners")]
pub(super) fn corner_number(index: usize) -> u32 {
    index as u32 + 1
}
