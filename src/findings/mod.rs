//! From figures to findings: what a session loses where, which line is taken, how laps, sessions and drivers compare.
//! Takes the values of an analysis as a [`View`]; gives findings with their evidence and intervals, as plain data.
//! Never speaks: wording is made in `present`; never advises more than the session itself has shown to hold.

mod compare;
mod curve;
pub mod geometry;
mod limits;
mod line;
mod model;
mod other;
mod rules;
mod shortest;
pub mod stats;
pub mod suggest;
mod traffic;
mod view;

pub use compare::{Behind, Steadiness, TheoreticalBest, ToGain};
pub use curve::InsideArc;
pub use limits::Limits;
pub use line::{
    EARLY_OR_LATE_SHARE, INSIDE_ENTRY_WIDTH, KindCost, Line, LineKind, TIGHT_ENTRY_WIDTH, Widest, line_kind,
};
pub use other::{CornerBeside, Other, PlaceChange, QuickestBeside, RaceCorner};
pub use traffic::TrafficCost;
pub use view::View;

use crate::geom::plane::Plane;
use crate::job;
use crate::session::Estimate;

/// What is found of the passes of one corner.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FindingKind {
    EarlyTurnIn,
    /// Turned in so early that the apex lies early too.
    EarlyApex,
    LateTurnIn,
    MissedApex,
    EntryWidthLeft,
    ExitWidthLeft,
    /// The grip is used up to the apex and not behind it.
    EntryTooFast,
    /// The grip is not used before the apex, but behind it.
    EntryTooSlow,
    /// Less grip is used than elsewhere, all through the hold.
    SlowInTheMiddle,
    LateOnThePower,
    /// Steered twice where the other passes steer once.
    TwoBites,
    /// Single passes far slower than the others: traffic, a slide, a mistake.
    LostTime,
}

impl FindingKind {
    /// The name in files and of suggestions in books.
    pub fn code(self) -> &'static str {
        match self {
            Self::EarlyTurnIn => "early_turn_in",
            Self::EarlyApex => "early_apex",
            Self::LateTurnIn => "late_turn_in",
            Self::MissedApex => "missed_apex",
            Self::EntryWidthLeft => "entry_width_left",
            Self::ExitWidthLeft => "exit_width_left",
            Self::EntryTooFast => "entry_too_fast",
            Self::EntryTooSlow => "entry_too_slow",
            Self::SlowInTheMiddle => "slow_at_the_slowest",
            Self::LateOnThePower => "late_on_the_power",
            Self::TwoBites => "two_bites",
            Self::LostTime => "lost_time",
        }
    }
}

/// What a figure of the evidence is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Measure {
    /// By how much the rise of the curvature is longer than its fall, as a share of the curve.
    RiseOverFall,
    ApexGapM,
    /// Nearest to the outside edge before and behind the apex, m.
    EntryMarginM,
    ExitMarginM,
    /// Share of the grip held sideways elsewhere, before and behind the middle of the hold.
    GripBefore,
    GripBehind,
    /// Share of the usual drive between hold and exit.
    Drive,
    /// How far the curvature falls between two peaks, as a share.
    Dip,
    /// Entry gate to the next entry gate, s.
    StretchS,
    /// The same from the exit gate of the corner before, s.
    WithApproachS,
    /// Where the speed is lowest, metres behind the apex.
    SlowestBehindApexM,
    /// Where along the inside edge's turning the apex lies, as a share: negative is before the middle.
    ApexTurned,
    /// What of the cost is lost on the straight behind the corner, s.
    ExitCostS,
}

/// One figure against what is usual for this driver.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    pub measure: Measure,
    pub value: Estimate,
    pub usual: f64,
}

/// Something that is lost again and again, or once.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    pub kind: FindingKind,
    pub corner: u32,
    /// The laps that have it, and how many passes were looked at.
    pub laps: Vec<u32>,
    pub of: usize,
    /// What it costs a pass that has it, s, from this corner to the next; may be level with nothing.
    pub size_s: Estimate,
    pub evidence: Vec<Evidence>,
    /// The pass that shows it best, and the log time to look at, s.
    pub seen_on_lap: u32,
    pub seen_at_s: f64,
}

impl Finding {
    /// What it costs a lap on average, s.
    pub fn per_lap_s(&self) -> f64 {
        self.size_s.value * self.laps.len() as f64 / self.of.max(1) as f64
    }
}

/// What was driven at the limit of this session.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GripUsed {
    pub lap: u32,
    pub corner: u32,
    /// Mean share of the session's envelope used between turn-in and exit, sideways and braking together.
    pub share: f64,
}

/// All that was found of one session.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Findings {
    /// The dearest first.
    pub findings: Vec<Finding>,
    /// `None` where the log has no positions or too few passes.
    pub limits: Option<Limits>,
    pub grip_used: Vec<GripUsed>,
    /// In the order of the passes.
    pub lines: Vec<Line>,
    pub widest: Vec<Widest>,
    pub kind_costs: Vec<KindCost>,
    pub best_of_corners: Option<TheoreticalBest>,
    pub best_of_sectors: Option<TheoreticalBest>,
    pub to_gain: Vec<ToGain>,
    pub steadiness: Vec<Steadiness>,
    pub traffic: Vec<TrafficCost>,
}

/// A pass that a person has tagged: (lap, corner).
pub type Tagged = (u32, u32);

/// Finds in one session. `traffic`: passes tagged as overtakes or defences, whose cost is told; `aside`: passes that are
/// not clean for other reasons. Neither says anything of the driver's habits.
pub fn find(
    view: &View<'_>,
    traffic: &[Tagged],
    aside: &[Tagged],
    context: &job::Context,
) -> Result<Findings, job::Cancelled> {
    let session = view::Session::new(view);
    let aside: Vec<Tagged> = traffic.iter().chain(aside).copied().collect();
    let sorted = rules::sort_out(&session, &aside);
    let mut found = rules::find(&session, &sorted, context)?;
    context.check()?;
    found.lines = line::lines(&session);
    found.widest = line::widest(&session);
    found.kind_costs = line::kind_costs(&session, &found.lines);
    context.check()?;
    found.best_of_corners = compare::best_of_corners(&session);
    found.best_of_sectors = compare::best_of_sectors(&session);
    found.to_gain = compare::to_gain(&session, &sorted);
    found.steadiness = compare::steadiness(&session);
    found.traffic = traffic::costs(&session, traffic, &aside);
    Ok(found)
}

/// The time difference of one lap to another along the lap, every few metres.
pub fn behind(view: &View<'_>, lap: u32, other: u32) -> Vec<Behind> {
    compare::behind(&view::Session::new(view), lap, other)
}

/// Two sessions on one circuit, corners matched by place.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Beside {
    pub corners: Vec<CornerBeside>,
    pub quickest: Option<QuickestBeside>,
    /// Empty without a common clock, or where the karts never were near each other.
    pub race: Vec<RaceCorner>,
    pub changes: Vec<PlaceChange>,
}

/// Holds a second session against the first, whose plane is `plane`. Both must have the same start/finish gate.
pub fn beside(view: &View<'_>, plane: &Plane, other: &Other<'_>) -> Beside {
    let session = view::Session::new(view);
    let both = other::Beside::new(&session, plane, other);
    let race = both.race();
    Beside { corners: both.corners(), quickest: both.quickest(), changes: both.changes(&race), race }
}
