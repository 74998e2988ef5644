//! Accuracy of the whole analysis against the sample's truth, over circuits and seeds.

use std::collections::BTreeMap;
use std::sync::Arc;

use cornerbook::analysis::{self, Analysis, Inputs};
use cornerbook::corners::{Pass, Unclear};
use cornerbook::geom::Point;
use cornerbook::job;
use cornerbook::sample::{Circuit, Driver, Habit, LoggerNoise, Scenario, TruePass, log_samples, simulate};
use cornerbook::session::{ChannelKind, Estimate, Samples, SamplesParts};
use cornerbook::track::LapKind;

/// Errors of one figure: how far off, and how often the truth lies inside the stated interval.
#[derive(Debug, Default, Clone)]
struct Errors {
    errors: Vec<f64>,
    inside: usize,
}

impl Errors {
    fn add(&mut self, found: Estimate, truth: f64) {
        let error = found.value - truth;
        self.errors.push(error);
        self.inside += usize::from(error.abs() <= found.ci95);
    }

    fn rms(&self) -> f64 {
        (self.errors.iter().map(|it| it * it).sum::<f64>() / self.errors.len().max(1) as f64).sqrt()
    }

    fn bias(&self) -> f64 {
        self.errors.iter().sum::<f64>() / self.errors.len().max(1) as f64
    }

    fn worst(&self) -> f64 {
        self.errors.iter().fold(0.0, |worst, it| if it.abs() > worst { it.abs() } else { worst })
    }

    fn inside_share(&self) -> f64 {
        self.inside as f64 / self.errors.len().max(1) as f64
    }
}

#[derive(Debug, Default)]
struct Score {
    figures: BTreeMap<&'static str, Errors>,
    passes: usize,
    missed: Vec<String>,
    invented: Vec<String>,
}

impl Score {
    fn add(&mut self, figure: &'static str, found: Option<Estimate>, truth: Option<f64>) {
        match (found, truth) {
            (Some(found), Some(truth)) => self.figures.entry(figure).or_default().add(found, truth),
            (None, Some(_)) => self.missed.push(figure.to_owned()),
            _ => {}
        }
    }

    fn print(&self, title: &str) {
        println!("{title}: {} passes, missed {:?}, invented {:?}", self.passes, self.missed, self.invented);
        for (figure, errors) in &self.figures {
            println!(
                "  {figure:<12} rms {:.4}  bias {:+.4}  worst {:.3}  inside {:.1} %  n {}",
                errors.rms(),
                errors.bias(),
                errors.worst(),
                100.0 * errors.inside_share(),
                errors.errors.len()
            );
        }
    }
}

fn analyse(scenario: &Scenario, noise: &LoggerNoise, seed: u64, edges: Edges) -> Analysis {
    let mut track = track_of(&scenario.circuit);
    if edges == Edges::Unknown {
        (track.left_edge, track.right_edge) = (None, None);
    }
    let inputs = Inputs {
        samples: Arc::new(log_samples(scenario, noise, seed)),
        track: Some(track),
        marked_crossing_s: None,
        edits: Vec::new(),
    };
    analysis::run(&inputs, &job::Context::new()).unwrap()
}

/// Whether the program is told where the track ends; the start/finish gate it always is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Edges {
    Given,
    Unknown,
}

fn track_of(circuit: &Circuit) -> cornerbook::track::file::TrackFile {
    cornerbook::track::file::parse("circuit.geojson", circuit.geojson().as_bytes()).unwrap().0
}

fn score(score: &mut Score, scenario: &Scenario, analysis: &Analysis) {
    let truth = &scenario.truth;
    for lap in truth.laps.iter().filter(|it| it.time_s.is_some()) {
        let found = analysis.laps.iter().find(|it| it.number == lap.lap).and_then(|it| it.time_s);
        score.add("lap time", found, lap.time_s);
    }
    let timed = |lap: u32| truth.laps.iter().any(|it| it.lap == lap && it.time_s.is_some());
    for true_pass in truth.passes.iter().filter(|it| timed(it.lap)) {
        score.passes += 1;
        match analysis.passes.iter().find(|it| it.lap == true_pass.lap && it.corner == true_pass.corner) {
            Some(pass) if pass.direction == true_pass.direction => {
                score_pass(score, scenario, analysis, pass, true_pass)
            }
            _ => score.missed.push(format!("lap {} corner {}", true_pass.lap, true_pass.corner)),
        }
    }
    for pass in &analysis.passes {
        if !truth.passes.iter().any(|it| it.lap == pass.lap && it.corner == pass.corner) {
            score.invented.push(format!("lap {} corner {}", pass.lap, pass.corner));
        }
    }
}

fn score_pass(score: &mut Score, scenario: &Scenario, analysis: &Analysis, pass: &Pass, truth: &TruePass) {
    score.add("turn-in", pass.turn_in.map(|it| it.t_s), Some(truth.turn_in.t_s));
    score.add("exit", pass.exit.map(|it| it.t_s), Some(truth.exit.t_s));
    score.add("apex", pass.apex.map(|it| it.mark.t_s), Some(truth.apex.t_s));
    score.add("entry speed", pass.entry_speed_mps, Some(truth.turn_in.speed_mps));
    score.add("exit speed", pass.exit_speed_mps, Some(truth.exit.speed_mps));
    score.add("min speed", pass.min_speed_mps, Some(truth.min_speed.speed_mps));
    score.add("approach", pass.approach_speed_mps, Some(truth.approach_speed_mps));
    let line = analysis.reference.as_ref().unwrap();
    let corner = &analysis.corners[pass.corner as usize - 1];
    let crossing = |gate_m: Option<f64>, crossed: fn(&Pass) -> Option<f64>| {
        let heading_rad = line.at(gate_m?)?.heading_rad;
        let gate = true_place(scenario, analysis, pass.corner, crossed)?;
        let near_lap = scenario.truth.crossing(pass.lap, gate, heading_rad, 12.0);
        near_lap.filter(|it| (it.t_s - truth.apex.t_s).abs() < 8.0)
    };
    let entry = crossing(corner.entry_gate_m, |it| it.entry_gate_t_s);
    let exit = crossing(corner.exit_gate_m, |it| it.exit_gate_t_s);
    if let Some(entry) = entry {
        score.add("gate speed", pass.entry_gate_speed_mps, Some(entry.speed_mps));
    }
    if let Some(exit) = exit {
        score.add("gate speed", pass.exit_gate_speed_mps, Some(exit.speed_mps));
    }
    if let Some((entry, exit)) = entry.zip(exit) {
        score.add("corner time", pass.time_s, Some(exit.t_s - entry.t_s));
        score.add("path", pass.path_m, Some(exit.distance_m - entry.distance_m));
    }
}

/// Where a gate really lies: the mean of the true places at which the timed laps were found to cross it. A receiver's
/// wander shifts the whole session by some decimetres against the ground; that shift is the same for gate and laps.
fn true_place(
    scenario: &Scenario,
    analysis: &Analysis,
    corner: u32,
    crossed: fn(&Pass) -> Option<f64>,
) -> Option<Point> {
    let timed = |lap: u32| analysis.laps.iter().any(|it| it.number == lap && it.kind == LapKind::Timed);
    let places: Vec<Point> = analysis
        .passes
        .iter()
        .filter(|it| it.corner == corner && timed(it.lap))
        .filter_map(|it| Some(scenario.truth.state_at(crossed(it)?)?.position()))
        .collect();
    let sum = places.iter().fold(Point::default(), |sum, it| sum + *it);
    (!places.is_empty()).then(|| sum.scaled(1.0 / places.len() as f64))
}

fn usual_drivers() -> [Driver; 3] {
    [Driver::a(), Driver::b(), Driver::c()]
}

fn run(noise: &LoggerNoise, seeds: u64) -> Score {
    run_with(&usual_drivers(), noise, seeds, Edges::Given)
}

fn run_with(drivers: &[Driver], noise: &LoggerNoise, seeds: u64, edges: Edges) -> Score {
    let mut total = Score::default();
    for circuit in Circuit::all() {
        for seed in 0..seeds {
            let driver = &drivers[usize::try_from(seed).unwrap() % drivers.len()];
            let scenario = simulate(&circuit, driver, 8, seed);
            let analysis = analyse(&scenario, noise, 100 + seed, edges);
            score(&mut total, &scenario, &analysis);
        }
    }
    total
}

/// Four seeds a circuit by default, ten in the long run.
fn seeds() -> u64 {
    if std::env::var("RUN_SLOW_TESTS").is_ok() { 10 } else { 4 }
}

/// What a figure must reach: RMS error in its unit.
type Goal = (&'static str, f64);

fn assert_reached(score: &Score, goals: &[Goal]) {
    assert!(score.missed.is_empty(), "{:?}", score.missed);
    assert!(score.invented.is_empty(), "{:?}", score.invented);
    for (figure, goal) in goals {
        let errors = &score.figures[figure];
        assert!(errors.rms() <= *goal, "{figure}: rms {} for {goal}", errors.rms());
        // The share of few laps scatters by itself; 0.90 to 0.99 is asked of the whole.
        let inside = errors.inside_share();
        assert!((0.88..=0.995).contains(&inside), "{figure}: {inside} of the truth inside the intervals");
    }
}

/// The interval of an apex at a given edge allows for a session shifted against the ground for longer than the sample's
/// receiver wanders: it may be wide, but not narrow.
fn assert_apex_reached(score: &Score) {
    let apex = &score.figures["apex"];
    assert!(apex.rms() <= 0.05 && apex.bias().abs() <= 0.01, "apex: rms {} bias {}", apex.rms(), apex.bias());
    assert!(apex.inside_share() >= 0.90, "apex: {} of the truth inside the intervals", apex.inside_share());
}

#[test]
fn with_a_yaw_rate_the_figures_reach_their_accuracy() {
    let score = run(&LoggerNoise::default(), seeds());
    score.print("with yaw rate");
    assert_reached(
        &score,
        &[
            ("turn-in", 0.03),
            ("exit", 0.03),
            ("min speed", 0.05),
            ("gate speed", 0.06),
            ("entry speed", 0.15),
            ("exit speed", 0.15),
            ("lap time", 0.012),
            ("corner time", 0.012),
        ],
    );
    assert_apex_reached(&score);
}

#[test]
fn without_a_yaw_rate_the_figures_reach_their_accuracy() {
    let score = run(&LoggerNoise::without_yaw(), seeds());
    score.print("without yaw rate");
    assert_reached(
        &score,
        &[
            ("turn-in", 0.05),
            ("exit", 0.05),
            ("min speed", 0.06),
            ("gate speed", 0.08),
            ("entry speed", 0.25),
            ("exit speed", 0.25),
            ("lap time", 0.012),
            ("corner time", 0.012),
        ],
    );
    assert_apex_reached(&score);
}

/// Without edges an apex is nearest to a kerb supposed in the middle of the corner. The sample's drivers choose early and
/// late apexes at real kerbs, so this says how far the supposition carries, and whether the interval admits it.
#[test]
fn without_edges_the_apex_stays_inside_its_interval() {
    for (title, noise) in [("with yaw rate", LoggerNoise::default()), ("without", LoggerNoise::without_yaw())] {
        let score = run_with(&usual_drivers(), &noise, seeds(), Edges::Unknown);
        score.print(&format!("no edges, {title}"));
        let apex = &score.figures["apex"];
        assert!(score.missed.is_empty() && apex.rms() <= APEX_WITHOUT_EDGES_S, "{title}: rms {}", apex.rms());
        assert!(apex.inside_share() >= 0.90, "{title}: {} of the truth inside", apex.inside_share());
    }
}

/// A corner of the sample takes two to three seconds.
const APEX_WITHOUT_EDGES_S: f64 = 0.12;

/// Nobody holds the wheel quite still: holds that slope and sag, and corrections before the corner, must not move the
/// marks.
#[test]
fn unsteady_hands_do_not_move_the_marks() {
    let drivers = [Driver::a().with(Habit::UnsteadyHands)];
    let score = run_with(&drivers, &LoggerNoise::default(), 2, Edges::Given);
    score.print("unsteady hands, with yaw rate");
    assert_reached(&score, &[("turn-in", 0.03), ("exit", 0.03)]);
    assert!(score.figures["exit"].worst() < 0.2, "{}", score.figures["exit"].worst());
    let score = run_with(&drivers, &LoggerNoise::without_yaw(), 2, Edges::Given);
    score.print("unsteady hands, without");
    for figure in ["turn-in", "exit"] {
        // More than is asked of the clean drivers: the main circuit's fast bend, steered into over 30 m, is most of it.
        assert!(score.figures[figure].rms() <= 0.065, "{figure}: {}", score.figures[figure].rms());
        assert!(score.figures[figure].inside_share() >= 0.88, "{figure}: {}", score.figures[figure].inside_share());
    }
}

/// A whole turn more than on the other laps: the yaw rate tells nothing of the steering, and the pass says so.
#[test]
fn a_spin_has_no_marks_and_says_why() {
    let scenario = simulate(&Circuit::saltpan(), &Driver::a(), 6, 1);
    let samples = log_samples(&scenario, &LoggerNoise::default(), 7);
    let spun = scenario.truth.passes.iter().find(|it| it.lap == 3 && it.corner == 3).unwrap();
    let mut yaw_rate = samples.channel(ChannelKind::YawRate).unwrap().clone();
    for (t_s, value) in yaw_rate.t_s.iter().zip(&mut yaw_rate.value) {
        if (t_s - spun.apex.t_s).abs() < 0.5 {
            *value += std::f64::consts::TAU;
        }
    }
    let parts = SamplesParts {
        fixes: samples.fixes().to_vec(),
        channels: BTreeMap::from([
            (ChannelKind::YawRate, yaw_rate),
            (ChannelKind::Speed, samples.channel(ChannelKind::Speed).unwrap().clone()),
        ]),
        ..SamplesParts::default()
    };
    let inputs = Inputs {
        samples: Arc::new(Samples::new(parts)),
        track: Some(track_of(&scenario.circuit)),
        marked_crossing_s: None,
        edits: Vec::new(),
    };
    let analysis = analysis::run(&inputs, &job::Context::new()).unwrap();
    let said: Vec<(u32, u32)> = analysis
        .passes
        .iter()
        .filter(|it| it.unclear.contains(&Unclear::Spun))
        .inspect(|it| assert!(it.turn_in.is_none() && it.exit.is_none()))
        .map(|it| (it.lap, it.corner))
        .collect();
    assert_eq!(said, [(3, 3)]);
}

/// Positions alone have no goal of their own: what is reached is printed, and the intervals must stay honest.
#[test]
fn with_positions_alone_the_intervals_stay_honest() {
    let score = run(&LoggerNoise::position_only(), 2);
    score.print("positions alone");
    for figure in ["turn-in", "exit", "min speed", "gate speed", "lap time"] {
        let inside = score.figures[figure].inside_share();
        assert!(inside >= 0.80, "{figure}: {inside} of the truth inside the intervals");
    }
}

/// Indoors: a yaw rate alone. Turn-in and exit are told in time; speeds and places are not.
#[test]
fn with_a_yaw_rate_alone_the_marks_are_still_placed() {
    let (mut turn_in, mut exit) = (Errors::default(), Errors::default());
    for circuit in Circuit::all() {
        let scenario = simulate(&circuit, &Driver::a(), 8, 3);
        let samples = log_samples(&scenario, &LoggerNoise::default(), 7);
        let yaw_rate = samples.channel(ChannelKind::YawRate).unwrap().clone();
        let alone = Samples::new(SamplesParts {
            channels: BTreeMap::from([(ChannelKind::YawRate, yaw_rate)]),
            ..SamplesParts::default()
        });
        let crossing_s = scenario.truth.laps.iter().find(|it| it.lap == 3).unwrap().start_t_s;
        let inputs =
            Inputs { samples: Arc::new(alone), track: None, marked_crossing_s: Some(crossing_s), edits: Vec::new() };
        let analysis = analysis::run(&inputs, &job::Context::new()).unwrap();
        assert_eq!(analysis.corners.len(), circuit.bends.len(), "{}: {:?}", circuit.name, analysis.corners);
        for lap in scenario.truth.laps.iter().filter(|it| it.time_s.is_some()) {
            // The numbering begins with the first lap that the pattern shows: times are compared, not numbers.
            let near = analysis.laps.iter().any(|it| (it.start_t_s - lap.start_t_s).abs() < 0.3);
            assert!(near || lap.lap == 1, "{}: lap {} begins at {}", circuit.name, lap.lap, lap.start_t_s);
        }
        for truth in scenario.truth.passes.iter().filter(|it| (2..=8).contains(&it.lap)) {
            let nearest = analysis
                .passes
                .iter()
                .filter(|it| it.corner == truth.corner)
                .filter_map(|it| Some((it.turn_in?.t_s, it.exit?.t_s, it)))
                .min_by(|a, b| (a.0.value - truth.turn_in.t_s).abs().total_cmp(&(b.0.value - truth.turn_in.t_s).abs()))
                .unwrap();
            assert!(nearest.2.min_speed_mps.is_none() && nearest.2.direction == truth.direction);
            turn_in.add(nearest.0, truth.turn_in.t_s);
            exit.add(nearest.1, truth.exit.t_s);
        }
    }
    println!("yaw rate alone: turn-in rms {:.4} exit rms {:.4}", turn_in.rms(), exit.rms());
    // Against time a braking kart's curvature rises otherwise than against distance: a few hundredths more.
    assert!(turn_in.rms() < 0.08 && exit.rms() < 0.08, "{} {}", turn_in.rms(), exit.rms());
}
