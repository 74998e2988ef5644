//! Another session on the same circuit beside this one: drivers and sessions against each other, and where both were
//! driven on one clock, who was ahead. Takes two views and what joins their planes and clocks; gives plain data.

use crate::corners::figure::Figure;
use crate::corners::timeline::Timeline;
use crate::corners::{Corner, Pass};
use crate::findings::compare::{Behind, along, least_sure_s, since_start};
use crate::findings::stats::{Pooled, pooled};
use crate::findings::view::{Session, View};
use crate::geom::Point;
use crate::geom::plane::Plane;
use crate::session::{Estimate, PathState};
use crate::track::place::follow;
use crate::track::{Lap, LapKind};

/// A second session.
#[derive(Debug, Clone)]
pub struct Other<'a> {
    pub view: &'a View<'a>,
    pub plane: &'a Plane,
    /// Log time of this session at the other's log time 0, s; `None` where the two have no common clock.
    pub shift_s: Option<f64>,
}

/// One figure of one corner in both sessions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CornerBeside {
    /// The corner's number here and there.
    pub corner: u32,
    pub other_corner: u32,
    /// Entry gate to the next entry gate, at this session's gates, s.
    pub stretch_s: (Pooled, Pooled),
    /// This session's less the other's, s: positive is slower.
    pub behind_s: Estimate,
    pub min_speed_mps: Option<(Pooled, Pooled)>,
    pub exit_speed_mps: Option<(Pooled, Pooled)>,
}

/// Both karts at the gates of one corner. Positive gaps: the other kart is behind, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RaceCorner {
    pub lap: u32,
    pub corner: u32,
    pub entry_gap_s: Estimate,
    pub exit_gap_s: Estimate,
    pub next_gap_s: Estimate,
}

/// A change of places between two gates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaceChange {
    pub lap: u32,
    pub corner: u32,
    /// Between entry and exit gate, or on the straight behind.
    pub in_corner: bool,
    pub gained: bool,
    /// Log time at which this kart is at the gate behind the change, s.
    pub t_s: f64,
}

/// The quickest timed laps of both sessions along this session's reference line.
#[derive(Debug, Clone, PartialEq)]
pub struct QuickestBeside {
    pub lap: u32,
    pub other_lap: u32,
    pub along: Vec<Behind>,
}

/// Corners whose middles lie this near, m, and that turn the same way are the same.
const SAME_PLACE_M: f64 = 25.0;
/// Karts farther apart than this, s, are in no race with each other.
const TOGETHER_S: f64 = 5.0;

/// The other session on this one's reference line.
#[derive(Debug)]
pub(super) struct Beside<'a> {
    session: &'a Session<'a>,
    plane: &'a Plane,
    other: &'a Other<'a>,
    states: Vec<PathState>,
    timeline: Timeline,
}

impl<'a> Beside<'a> {
    pub(super) fn new(session: &'a Session<'a>, plane: &'a Plane, other: &'a Other<'a>) -> Self {
        let moved = |state: &PathState| {
            let (latitude_deg, longitude_deg) = other.plane.to_degrees(Point::new(state.x_m, state.y_m));
            let point = plane.to_plane(latitude_deg, longitude_deg);
            PathState { x_m: point.x_m, y_m: point.y_m, ..*state }
        };
        let states: Vec<PathState> = other.view.path.states.iter().map(moved).collect();
        let places = follow(session.view.line, &states, other.view.laps);
        let timeline = Timeline::new(other.view.path, &places);
        Self { session, plane, other, states, timeline }
    }

    /// Log time of the other session at which its lap is at a distance along this line.
    fn time_at(&self, lap: u32, distance_m: f64) -> Option<Estimate> {
        let t_s = self.timeline.time_at(f64::from(lap) * self.session.length_m() + distance_m)?;
        let state = &self.states[self.other.view.path.index_at(t_s)?];
        Some(Estimate::from_variance(t_s, state.along_variance_m2 / state.speed_mps.max(1.0).powi(2)))
    }

    /// `None` where either session has no timed lap.
    pub(super) fn quickest(&self) -> Option<QuickestBeside> {
        let (lap, other_lap) = (quickest(self.session.view.laps)?, quickest(self.other.view.laps)?);
        let no_surer = least_sure_s(self.other.view.passes, other_lap);
        let start = self.time_at(other_lap, 0.0)?;
        let there = |distance_m: f64| {
            let at = self.time_at(other_lap, distance_m)?;
            let own_ci95 = if distance_m <= 0.0 { 0.0 } else { at.ci95.hypot(start.ci95).max(no_surer) };
            Some(Estimate { value: at.value - start.value, ci95: own_ci95 })
        };
        let along = along(self.session.length_m(), since_start(self.session, lap), there);
        Some(QuickestBeside { lap, other_lap, along })
    }

    pub(super) fn corners(&self) -> Vec<CornerBeside> {
        (0..self.session.view.corners.len()).filter_map(|corner| self.corner(corner)).collect()
    }

    fn corner(&self, corner: usize) -> Option<CornerBeside> {
        let here = &self.session.view.corners[corner];
        let there = self.same_corner(here)?;
        let (from_m, to_m) = (self.session.entry_m(corner)?, self.session.entry_m(corner + 1)?);
        let own: Vec<Estimate> =
            self.session.timed_laps().filter_map(|lap| self.session.stretch(lap.number, corner)).collect();
        let timed = || self.other.view.laps.iter().filter(|it| it.kind == LapKind::Timed);
        let others = timed().filter_map(|lap| {
            let (from, to) = (self.time_at(lap.number, from_m)?, self.time_at(lap.number, to_m)?);
            Some(Estimate { value: to.value - from.value, ci95: from.ci95.hypot(to.ci95) })
        });
        let stretch_s = (pooled(&own)?, pooled(&others.collect::<Vec<_>>())?);
        let speeds = |figure: Figure| {
            let of = |passes: &[Pass], corner: &Corner, laps: &[u32]| {
                let passes = passes.iter().filter(|it| it.corner == corner.number && laps.contains(&it.lap));
                pooled(&passes.filter_map(|it| figure.of(it, corner, None)).collect::<Vec<_>>())
            };
            let own_laps: Vec<u32> = self.session.timed_laps().map(|it| it.number).collect();
            let other_laps: Vec<u32> = timed().map(|it| it.number).collect();
            of(self.session.view.passes, here, &own_laps).zip(of(self.other.view.passes, there, &other_laps))
        };
        Some(CornerBeside {
            corner: here.number,
            other_corner: there.number,
            stretch_s,
            behind_s: Estimate {
                value: stretch_s.0.mean.value - stretch_s.1.mean.value,
                ci95: stretch_s.0.mean.ci95.hypot(stretch_s.1.mean.ci95),
            },
            min_speed_mps: speeds(Figure::MinSpeed),
            exit_speed_mps: speeds(Figure::ExitSpeed),
        })
    }

    /// The other session's corner at the same place.
    fn same_corner(&self, here: &Corner) -> Option<&'a Corner> {
        let middle = self.session.view.line.at(here.middle_m?)?.position;
        let away_m = |it: &Corner| {
            let there = self.other.view.line.at(it.middle_m?)?.position;
            let (latitude_deg, longitude_deg) = self.other.plane.to_degrees(there);
            Some(self.plane.to_plane(latitude_deg, longitude_deg).distance_m(middle))
        };
        let alike = self.other.view.corners.iter().filter(|it| it.direction == here.direction);
        let near = alike.filter_map(|it| Some((it, away_m(it)?))).filter(|it| it.1 < SAME_PLACE_M);
        near.min_by(|a, b| a.1.total_cmp(&b.1)).map(|it| it.0)
    }

    /// The gaps at all gates where both karts were near each other, in order of time; empty without a common clock.
    pub(super) fn race(&self) -> Vec<RaceCorner> {
        let count = self.session.view.corners.len();
        let passes = self.session.view.laps.iter().flat_map(|lap| (0..count).map(move |corner| (lap.number, corner)));
        let of = |(lap, corner): (u32, usize)| {
            let gap = |distance_m: f64| self.gap_s(lap, distance_m);
            let entry_gap_s = gap(self.session.entry_m(corner)?)?;
            let exit_gap_s = gap(self.session.exit_m(corner)?)?;
            let next_gap_s = gap(self.session.entry_m(corner + 1)?)?;
            let near = [entry_gap_s, exit_gap_s, next_gap_s].iter().all(|it| it.value.abs() < TOGETHER_S);
            let corner = self.session.view.corners[corner].number;
            near.then_some(RaceCorner { lap, corner, entry_gap_s, exit_gap_s, next_gap_s })
        };
        passes.filter_map(of).collect()
    }

    /// How much later than this kart the other is at a place, the nearest of its laps in time.
    fn gap_s(&self, lap: u32, distance_m: f64) -> Option<Estimate> {
        let own = self.session.state_at(lap, distance_m)?;
        let shift_s = self.other.shift_s?;
        let own_ci95 = Estimate::from_variance(0.0, own.along_variance_m2 / own.speed_mps.max(1.0).powi(2)).ci95;
        let crossings = self.other.view.laps.iter().filter_map(|it| self.time_at(it.number, distance_m));
        let gaps = crossings.map(|it| Estimate { value: it.value + shift_s - own.t_s, ci95: it.ci95.hypot(own_ci95) });
        gaps.min_by(|a, b| a.value.abs().total_cmp(&b.value.abs()))
    }

    /// Where the order changes for certain: both gaps differ from nothing, and in sign.
    pub(super) fn changes(&self, race: &[RaceCorner]) -> Vec<PlaceChange> {
        let mut changes = Vec::new();
        let certain = |it: Estimate| it.value.abs() > it.ci95;
        for at in race {
            let Some(corner) = self.session.view.corners.iter().position(|it| it.number == at.corner) else { continue };
            let steps = [
                (at.entry_gap_s, at.exit_gap_s, true, self.session.exit_m(corner)),
                (at.exit_gap_s, at.next_gap_s, false, self.session.entry_m(corner + 1)),
            ];
            for (before, behind, in_corner, gate_m) in steps {
                let t_s = gate_m.and_then(|it| self.session.time_at(at.lap, it));
                let changed = before.value * behind.value < 0.0 && certain(before) && certain(behind);
                let Some(t_s) = t_s.filter(|_| changed) else { continue };
                let gained = behind.value > 0.0;
                changes.push(PlaceChange { lap: at.lap, corner: at.corner, in_corner, gained, t_s });
            }
        }
        changes
    }
}

fn quickest(laps: &[Lap]) -> Option<u32> {
    let timed = laps.iter().filter(|it| it.kind == LapKind::Timed).filter_map(|it| Some((it.number, it.time_s?.value)));
    timed.min_by(|a, b| a.1.total_cmp(&b.1)).map(|it| it.0)
}
