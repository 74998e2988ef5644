//! Sizes of planted habits on every circuit of the sample: the truth is the same driver simulated without the habit.
//! A few cases by default; `RUN_SLOW_TESTS` drives the whole grid.

use cornerbook::findings::FindingKind;
use cornerbook::job;
use cornerbook::sample::{Circuit, Driver, Habit, Scenario, simulate};

use crate::findings::{CLEAN_S, LAPS, found, may_be_off_s, passes_with, said, true_cost_s};

struct Case {
    circuit: fn() -> Circuit,
    habit: Habit,
    corner: u32,
    kind: FindingKind,
}

/// What became of one planted habit.
#[derive(Debug)]
#[allow(dead_code, reason = "case and words are read where a test fails")]
struct Told {
    case: String,
    kind: FindingKind,
    truth_s: f64,
    /// Size and half-width of its interval; `None` where it is not among the first three.
    size_s: Option<(f64, f64)>,
    said: Vec<String>,
}

impl Told {
    /// What costs next to nothing need not be found.
    fn is_found(&self) -> bool {
        self.size_s.is_some() || self.truth_s.abs() < CLEAN_S
    }

    fn is_right(&self) -> bool {
        self.size_s.is_none_or(|(size_s, _)| (size_s - self.truth_s).abs() <= may_be_off_s(self.kind, self.truth_s))
    }

    fn is_inside(&self) -> bool {
        self.size_s.is_none_or(|(size_s, ci95_s)| (size_s - self.truth_s).abs() <= ci95_s)
    }
}

fn cases() -> Vec<Case> {
    use FindingKind as K;
    let mut cases = Vec::new();
    let mut add = |circuit: fn() -> Circuit, habits: Vec<(Habit, u32, K)>| {
        cases.extend(habits.into_iter().map(|(habit, corner, kind)| Case { circuit, habit, corner, kind }));
    };
    let early = |corner| (Habit::EarlyTurnIn { corner }, corner, K::EarlyTurnIn);
    let exit = |corner| (Habit::SlowExit { corner, power: 0.45 }, corner, K::LateOnThePower);
    let missed = |corner, metres| (Habit::MissedApex { corner, metres }, corner, K::MissedApex);
    let out = |corner, metres| (Habit::ExitWidthLeft { corner, metres }, corner, K::ExitWidthLeft);
    let inn = |corner, metres| (Habit::EntryWidthLeft { corner, metres }, corner, K::EntryWidthLeft);
    let slow = |corner, grip| (Habit::SlowCorner { corner, grip }, corner, K::SlowInTheMiddle);
    let entry = |corner, grip| (Habit::SlowEntry { corner, grip }, corner, K::EntryTooSlow);
    let fast = |corner, grip| (Habit::FastEntry { corner, grip }, corner, K::EntryTooFast);
    let bites = |corner, depth| (Habit::TwoBites { corner, depth }, corner, K::TwoBites);
    add(
        Circuit::windgap,
        vec![
            early(3),
            early(7),
            exit(8),
            exit(2),
            missed(2, 1.5),
            missed(7, 1.5),
            out(8, 2.0),
            out(2, 2.0),
            inn(1, 2.0),
            inn(8, 2.0),
            slow(3, 0.85),
            slow(7, 0.85),
            entry(1, 0.8),
            entry(2, 0.8),
            fast(3, 0.85),
            fast(7, 0.85),
            bites(3, 0.4),
            bites(2, 0.4),
        ],
    );
    add(
        Circuit::saltpan,
        vec![
            early(1),
            exit(7),
            missed(1, 1.5),
            out(8, 2.0),
            inn(1, 2.0),
            slow(1, 0.85),
            entry(1, 0.8),
            fast(1, 0.85),
            bites(8, 0.4),
        ],
    );
    add(
        Circuit::cellar,
        vec![
            early(1),
            exit(8),
            missed(1, 1.2),
            out(8, 1.5),
            inn(1, 1.5),
            slow(5, 0.85),
            entry(1, 0.8),
            fast(8, 0.85),
            bites(8, 0.4),
        ],
    );
    cases
}

fn told(case: &Case, seed: u64) -> Told {
    let circuit = (case.circuit)();
    let clean = simulate(&circuit, &Driver::a(), LAPS, seed);
    let scenario: Scenario = simulate(&circuit, &Driver::a().with(case.habit), LAPS, seed);
    let all = found(&scenario, seed).findings;
    let hit = all.iter().take(3).find(|it| (it.kind, it.corner) == (case.kind, case.corner));
    Told {
        case: format!("{} {:?} seed {seed}", circuit.name, case.habit),
        kind: case.kind,
        truth_s: true_cost_s(&scenario, &clean, passes_with(case.habit)),
        size_s: hit.map(|it| (it.size_s.value, it.size_s.ci95)),
        said: hit.map_or_else(
            || said(&all),
            |it| {
                it.evidence
                    .iter()
                    .map(|it| format!("{:?} {:.3} usual {:.3}", it.measure, it.value.value, it.usual))
                    .collect()
            },
        ),
    }
}

#[test]
fn sizes_hold_on_every_circuit() {
    let slow = std::env::var_os("RUN_SLOW_TESTS").is_some();
    let seeds = if slow { 2..7 } else { 2..3 };
    let cases = cases();
    // Of each circuit every third case, without the slow grid.
    let some = || cases.iter().step_by(if slow { 1 } else { 3 });
    let all: Vec<(&Case, u64)> = seeds.flat_map(|seed| some().map(move |case| (case, seed))).collect();
    let told: Vec<Told> = job::map_parallel(&all, |(case, seed)| told(case, *seed));
    let missed: Vec<&Told> = told.iter().filter(|it| !it.is_found()).collect();
    assert!(missed.is_empty(), "{missed:#?}");
    let wrong: Vec<&Told> = told.iter().filter(|it| !it.is_right()).collect();
    for it in &told {
        println!("{}: {:.3} s, found {:?}", it.case, it.truth_s, it.size_s);
    }
    println!("{} of {} sizes are wrong: {wrong:#?}", wrong.len(), told.len());
    let found = told.iter().filter(|it| it.size_s.is_some()).count();
    let outside: Vec<&Told> = told.iter().filter(|it| !it.is_inside()).collect();
    println!("{} of {found} truths are outside: {outside:#?}", outside.len());
    // One size in twenty may be off by more, and its interval miss the truth; of few cases, one.
    let may = |count: usize, share: f64| (share * count as f64).max(1.0);
    assert!(wrong.len() as f64 <= may(told.len(), 0.05), "{wrong:#?}");
    assert!(outside.len() as f64 <= may(found, 0.1), "{outside:#?}");
}
