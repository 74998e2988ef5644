//! Kinds of lines, and the cost of traffic, on circuits, corners and seeds that no limit was tuned on.

use std::collections::BTreeMap;

use cornerbook::analysis::Analysis;
use cornerbook::findings::LineKind;
use cornerbook::geom::Point;
use cornerbook::job;
use cornerbook::sample::{Circuit, Driver, Habit, PlannedLine, Scenario, State, simulate};
use cornerbook::session::Estimate;

use crate::findings::{LAPS, analysed, found, found_with, true_kind, true_line};

fn is_slow() -> bool {
    std::env::var_os("RUN_SLOW_TESTS").is_some()
}

const LINES: [Option<PlannedLine>; 5] = [
    None,
    Some(PlannedLine::LateApex),
    Some(PlannedLine::EarlyApex),
    Some(PlannedLine::TightEntry),
    Some(PlannedLine::InsideEntry),
];

/// Each pass of one corner, driven as planned: what it truly is and what was found.
fn kinds(
    circuit: &Circuit,
    corner: u32,
    planned: Option<PlannedLine>,
    seed: u64,
) -> Vec<(LineKind, Option<LineKind>, String)> {
    let habits = planned.map(|line| Habit::Line { corner, laps: None, line });
    let scenario = simulate(circuit, &habits.into_iter().fold(Driver::a(), Driver::with), LAPS, seed);
    let all = found(&scenario, seed);
    let own = all.lines.iter().filter(|it| it.corner == corner && (1..=LAPS).contains(&it.lap));
    own.map(|line| {
        let pass = scenario.truth.passes.iter().find(|it| (it.lap, it.corner) == (line.lap, corner)).unwrap();
        let place = format!(
            "{} {corner} {planned:?} seed {seed} lap {}: {:?} {:?}, truly {:?}",
            circuit.name,
            line.lap,
            line.entry_width,
            line.apex_turned,
            true_line(&scenario, pass)
        );
        (true_kind(&scenario, pass), line.kind, place)
    })
    .collect()
}

#[test]
fn kinds_of_lines_hold_where_nothing_was_tuned() {
    let mut cases: Vec<(Circuit, u32, Option<PlannedLine>, u64)> = Vec::new();
    let seeds = if is_slow() { 11..15 } else { 11..12 };
    for seed in seeds {
        for planned in LINES {
            cases.extend([7, 8].map(|corner| (Circuit::windgap(), corner, planned, seed)));
            cases.push((Circuit::saltpan(), 7, planned, seed));
            cases.push((Circuit::cellar(), 1, planned, seed));
        }
    }
    let told = job::map_parallel(&cases, |(circuit, corner, planned, seed)| kinds(circuit, *corner, *planned, *seed));
    let all: Vec<_> = told.into_iter().flatten().collect();
    let mut right = BTreeMap::<LineKind, u32>::new();
    for it in all.iter().filter(|it| it.1 == Some(it.0)) {
        *right.entry(it.0).or_default() += 1;
    }
    let wrong: Vec<_> = all.iter().filter(|it| it.1 != Some(it.0)).collect();
    println!("kinds told right: {right:?}, wrong: {wrong:#?}");
    let share = 1.0 - wrong.len() as f64 / all.len() as f64;
    assert!(share >= 0.95 && all.len() >= 150 && right.len() == 5, "{share} {right:?}: {wrong:#?}");
}

/// When the truth first crosses the normal of the reference line at a place, from a log time on, s.
fn passed_s(scenario: &Scenario, analysis: &Analysis, distance_m: f64, from_s: f64) -> f64 {
    let place = analysis.reference.as_ref().unwrap().at(distance_m).unwrap();
    let (latitude_deg, longitude_deg) = analysis.plane.as_ref().unwrap().to_degrees(place.position);
    let at = scenario.circuit.plane().to_plane(latitude_deg, longitude_deg);
    let before_m = |it: &State| (it.position() - at).dot(Point::unit(place.heading_rad));
    let states = scenario.truth.states.iter().skip_while(|it| it.t_s < from_s);
    let near = |it: &&State| it.position().distance_m(at) < 15.0 && before_m(it) >= 0.0;
    states.into_iter().find(near).unwrap().t_s
}

/// True time from the exit gate of the corner before to the entry gate of the next one, s.
fn stretch_s(scenario: &Scenario, analysis: &Analysis, (lap, corner): (u32, u32)) -> f64 {
    let passes = &scenario.truth.passes;
    let at = passes.iter().position(|it| (it.lap, it.corner) == (lap, corner)).unwrap();
    let gates = |number: u32| analysis.corners.iter().find(|it| it.number == number).unwrap();
    let exit_m = gates(passes[at - 1].corner).exit_gate_m.unwrap();
    let entry_m = gates(passes[at + 1].corner).entry_gate_m.unwrap();
    passed_s(scenario, analysis, entry_m, passes[at].apex.t_s)
        - passed_s(scenario, analysis, exit_m, passes[at - 1].apex.t_s)
}

/// What the traffic cost against the driver's clean passes, s: truly, and as found with its interval; and what the same
/// lap without it would have saved.
fn traffic(circuit: &Circuit, (lap, corner): (u32, u32), seed: u64) -> (f64, Estimate, f64) {
    let habit = Habit::Traffic { lap, corner, grip: 0.62 };
    let with = simulate(circuit, &Driver::a().with(habit), LAPS, seed);
    let without = simulate(circuit, &Driver::a(), LAPS, seed);
    let analysis = analysed(&with, 100 + seed);
    let cost = found_with(&analysis, &[(lap, corner)]).traffic[0];
    let own_s = stretch_s(&with, &analysis, (lap, corner));
    let clean_s: Vec<f64> =
        (1..=LAPS).filter(|it| *it != lap).map(|it| stretch_s(&with, &analysis, (it, corner))).collect();
    let saved_s = own_s - stretch_s(&without, &analysis, (lap, corner));
    (own_s - clean_s.iter().sum::<f64>() / clean_s.len() as f64, cost.cost_s, saved_s)
}

#[test]
fn traffic_costs_the_same_on_every_circuit() {
    let seeds = if is_slow() { 3..9 } else { 3..5 };
    let mut cases = Vec::new();
    for seed in seeds {
        cases.extend([
            (Circuit::windgap(), (4, 7), seed),
            (Circuit::windgap(), (5, 3), seed),
            (Circuit::saltpan(), (3, 2), seed),
            (Circuit::cellar(), (6, 5), seed),
        ]);
    }
    let told = job::map_parallel(&cases, |(circuit, at, seed)| traffic(circuit, *at, *seed));
    for ((circuit, at, seed), it) in cases.iter().zip(&told) {
        println!("{} {at:?} seed {seed}: truth {:.3} s, {:.3} s without, found {:?}", circuit.name, it.0, it.2, it.1);
    }
    assert!(told.iter().all(|it| (it.1.value - it.0).abs() <= 0.05), "{told:?}");
    let inside = told.iter().filter(|it| (it.1.value - it.2).abs() <= it.1.ci95).count();
    assert!(inside as f64 >= 0.85 * told.len() as f64, "{inside} of {}: {told:?}", told.len());
}
