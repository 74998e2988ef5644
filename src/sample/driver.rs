//! Invented drivers: their style, their habits, and what each lap's plan makes of them.

use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use crate::sample::circuit::Circuit;
use crate::sample::shape::{Middle, Ramp, Shape};

/// Kart half width and margin to the edge that nobody goes beyond, m.
const EDGE_MARGIN_M: f64 = 0.75;
/// Where a clean line runs from the outside edge, m.
const OUTSIDE_MARGIN_M: f64 = 1.15;
/// Spread of the lateral placement on straights from lap to lap, m.
const PLACEMENT_SIGMA_M: f64 = 0.3;
/// Spread of the apex's gap to the inside edge, m, and its mean.
const APEX_GAP_SIGMA_M: f64 = 0.12;
const APEX_GAP_M: f64 = 0.95;
/// Spread of the share of a corner in which curvature rises or falls: moves the turn-in by about a metre.
const RAMP_SHARE_SIGMA: f64 = 0.025;
/// Spread of the grip level from lap to lap.
const GRIP_SIGMA: f64 = 0.01;
/// Spread of the slope and of the sag of a hold in unsteady hands, as shares of the curvature.
const LEANING_SIGMA: f64 = 0.06;
const SAGGING_SIGMA: f64 = 0.03;
/// An inside entry comes in this far on the inside of the middle, m.
const INSIDE_ENTRY_M: f64 = 2.0;
/// Straights shorter than this leave no room to go back to the outside, m; longer by the second, all of it.
const CROSSING_FROM_M: f64 = 30.0;
const CROSSING_OVER_M: f64 = 50.0;

/// What a driver keeps doing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Habit {
    /// Turns in early at this corner, by lengthening the rise.
    EarlyTurnIn {
        corner: u32,
    },
    /// Drives out of this corner with this share of the power.
    SlowExit {
        corner: u32,
        power: f64,
    },
    /// Traffic on one lap at one corner: inside line, and this share of the usual grip.
    Traffic {
        lap: u32,
        corner: u32,
        grip: f64,
    },
    /// Holds the wheel at no corner: curvature leans and sags by some hundredths while it should stay, and the straights
    /// are driven with more corrections.
    UnsteadyHands,
    /// Stays away from the inside by this much more than elsewhere, m.
    MissedApex {
        corner: u32,
        metres: f64,
    },
    /// Leaves this much more of the width before, or behind, the corner, m.
    EntryWidthLeft {
        corner: u32,
        metres: f64,
    },
    ExitWidthLeft {
        corner: u32,
        metres: f64,
    },
    /// Holds this share of the usual grip all through the corner, before its middle, or behind it.
    SlowCorner {
        corner: u32,
        grip: f64,
    },
    SlowEntry {
        corner: u32,
        grip: f64,
    },
    FastEntry {
        corner: u32,
        grip: f64,
    },
    /// Steers twice on every second lap, easing the wheel by this share between.
    TwoBites {
        corner: u32,
        depth: f64,
    },
    /// Takes another line than usual on these laps (or on all, where none is named).
    Line {
        corner: u32,
        laps: Option<[u32; 2]>,
        line: PlannedLine,
    },
}

/// The lines that a driver may mean to take.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlannedLine {
    LateApex,
    EarlyApex,
    TightEntry,
    InsideEntry,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Driver {
    pub name: &'static str,
    pub habits: Vec<Habit>,
    /// Usable grip as a share of the sample's usual grip.
    pub grip: f64,
}

impl Driver {
    /// Clean.
    pub fn a() -> Self {
        Self { name: "Driver A", habits: Vec::new(), grip: 1.0 }
    }

    /// The same driver with one more habit.
    pub fn with(mut self, habit: Habit) -> Self {
        self.habits.push(habit);
        self
    }

    /// Turns in early at corner 3; meets traffic at corner 1 of lap 3.
    pub fn b() -> Self {
        let habits = vec![Habit::EarlyTurnIn { corner: 3 }, Habit::Traffic { lap: 3, corner: 1, grip: 0.62 }];
        Self { name: "Driver B", habits, grip: 0.97 }
    }

    /// Slow on the power out of the last corner.
    pub fn c() -> Self {
        Self { name: "Driver C", habits: vec![Habit::SlowExit { corner: 8, power: 0.45 }], grip: 0.99 }
    }
}

/// What a driver intends for one pass.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PassPlan {
    pub(crate) lap: u32,
    /// Index of the bend, from 0.
    pub(crate) bend: usize,
    pub(crate) shape: Shape,
    /// To the left of the centre line, m, where the entry straight ends and the exit straight begins.
    pub(crate) entry_offset_m: f64,
    pub(crate) exit_offset_m: f64,
    /// Wanted distance of the line from the inside edge at the apex, m.
    pub(crate) apex_gap_m: f64,
    /// Share of the usual grip, and of the usual power from the middle of the corner until well after the exit.
    pub(crate) grip: f64,
    pub(crate) exit_power: f64,
    /// Share of that grip that is used before and behind the middle of the corner.
    pub(crate) held: [f64; 2],
    /// Amplitude of the slow wander on the straight after, m.
    pub(crate) wander_m: f64,
}

/// All passes of a run in the order driven: lap 0 (out), `laps` timed ones, and the lap in.
pub(crate) fn plan(circuit: &Circuit, driver: &Driver, laps: u32, rng: &mut ChaCha8Rng) -> Vec<PassPlan> {
    let mut passes = Vec::new();
    for lap in 0..laps + 2 {
        let warmth = match lap {
            0 => 0.8,
            1 => 0.97,
            _ if lap == laps + 1 => 0.7,
            _ => 1.0,
        };
        let grip = driver.grip * warmth * (1.0 + GRIP_SIGMA * normal(rng));
        for bend in 0..circuit.bends.len() {
            passes.push(plan_pass(circuit, driver, lap, bend, grip, rng));
        }
    }
    passes
}

fn plan_pass(circuit: &Circuit, driver: &Driver, lap: u32, bend: usize, grip: f64, rng: &mut ChaCha8Rng) -> PassPlan {
    let count = circuit.bends.len();
    let here = &circuit.bends[bend];
    let room_m = circuit.width_m / 2.0;
    let before_m = circuit.bends[(bend + count - 1) % count].arc_end().distance_m(here.arc_start());
    let after_m = here.arc_end().distance_m(circuit.bends[(bend + 1) % count].arc_start());
    let limit_m = room_m - EDGE_MARGIN_M;
    let mut outside = |straight_m: f64| {
        let share = ((straight_m - CROSSING_FROM_M) / CROSSING_OVER_M).clamp(-0.2, 1.0);
        let wanted_m = share * (room_m - OUTSIDE_MARGIN_M) + PLACEMENT_SIGMA_M * normal(rng);
        -here.sign() * wanted_m.clamp(-limit_m, limit_m)
    };
    let mut pass = PassPlan {
        lap,
        bend,
        entry_offset_m: outside(before_m),
        exit_offset_m: outside(after_m),
        shape: base_shape(bend),
        apex_gap_m: (APEX_GAP_M + APEX_GAP_SIGMA_M * normal(rng)).max(EDGE_MARGIN_M - 0.2),
        grip,
        exit_power: 1.0,
        held: [1.0, 1.0],
        wander_m: 0.03 * normal(rng),
    };
    pass.shape.rise_share = (pass.shape.rise_share + RAMP_SHARE_SIGMA * normal(rng)).clamp(0.15, 0.6);
    pass.shape.fall_share = (pass.shape.fall_share + RAMP_SHARE_SIGMA * normal(rng)).clamp(0.15, 0.6);
    for habit in &driver.habits {
        apply(*habit, &mut pass, here.sign());
    }
    if driver.habits.contains(&Habit::UnsteadyHands) {
        // Two apexes stay what they are.
        if !matches!(pass.shape.middle, Middle::TwoApex(_)) {
            pass.shape.middle =
                Middle::Leaning { slope: LEANING_SIGMA * normal(rng), sag: SAGGING_SIGMA * normal(rng) };
        }
        pass.wander_m *= 2.0;
    }
    pass
}

fn apply(habit: Habit, pass: &mut PassPlan, sign: f64) {
    let number = u32::try_from(pass.bend).map_or(0, |it| it + 1);
    match habit {
        Habit::EarlyTurnIn { corner } if corner == number => {
            pass.shape.rise_share += 0.22;
            pass.shape.fall_share = (pass.shape.fall_share - 0.1).max(0.15);
        }
        Habit::SlowExit { corner, power } if corner == number => pass.exit_power = power,
        Habit::Traffic { lap, corner, grip } if corner == number && lap == pass.lap => {
            pass.entry_offset_m = sign * 1.2;
            pass.grip *= grip.sqrt();
        }
        Habit::MissedApex { corner, metres } if corner == number => pass.apex_gap_m += metres,
        Habit::EntryWidthLeft { corner, metres } if corner == number => pass.entry_offset_m += sign * metres,
        Habit::ExitWidthLeft { corner, metres } if corner == number => pass.exit_offset_m += sign * metres,
        Habit::SlowCorner { corner, grip } if corner == number => pass.held = [grip; 2],
        Habit::SlowEntry { corner, grip } if corner == number => pass.held = [grip, 1.0],
        Habit::FastEntry { corner, grip } if corner == number => pass.held = [1.0, grip],
        Habit::TwoBites { corner, depth } if corner == number && pass.lap.is_multiple_of(2) => {
            pass.shape.middle = Middle::TwoApex(depth);
        }
        Habit::Line { corner, laps, line } if corner == number && laps.is_none_or(|it| it.contains(&pass.lap)) => {
            take(line, pass, sign);
        }
        _ => {}
    }
}

/// Turns a usual pass into one on another line.
fn take(line: PlannedLine, pass: &mut PassPlan, sign: f64) {
    match line {
        PlannedLine::LateApex => (pass.shape.rise_share, pass.shape.fall_share) = (0.1, 0.75),
        PlannedLine::EarlyApex => (pass.shape.rise_share, pass.shape.fall_share) = (0.75, 0.1),
        PlannedLine::TightEntry => pass.entry_offset_m = 0.0,
        PlannedLine::InsideEntry => pass.entry_offset_m = sign * INSIDE_ENTRY_M,
    }
}

/// The usual shape of each corner: another one for each, so that no single model of a corner is the truth.
fn base_shape(bend: usize) -> Shape {
    let (rise_share, fall_share, rise, fall, middle) = match bend % 8 {
        0 => (0.30, 0.34, Ramp::RaisedCosine, Ramp::RaisedCosine, Middle::Flat),
        1 => (0.32, 0.32, Ramp::Smoothstep, Ramp::Linear, Middle::Sag(0.06)),
        2 => (0.24, 0.30, Ramp::Lag(5.0), Ramp::SkewedCosine(1.25), Middle::Sag(0.10)),
        3 => (0.36, 0.36, Ramp::Linear, Ramp::RaisedCosine, Middle::Flat),
        4 => (0.34, 0.38, Ramp::SkewedCosine(0.85), Ramp::Lag(4.5), Middle::Flat),
        5 => (0.34, 0.36, Ramp::RaisedCosine, Ramp::Smoothstep, Middle::Sag(0.08)),
        6 => (0.28, 0.30, Ramp::SkewedCosine(1.2), Ramp::Smoothstep, Middle::TwoApex(0.3)),
        _ => (0.32, 0.40, Ramp::Lag(6.0), Ramp::Linear, Middle::Flat),
    };
    Shape { rise_share, fall_share, rise, fall, middle }
}

pub(crate) fn normal(rng: &mut ChaCha8Rng) -> f64 {
    rng.sample(StandardNormal)
}
