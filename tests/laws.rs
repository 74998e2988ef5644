//! Laws that hold for any session (proptest): order of marks, laps apart, and what moving, mirroring or shifting the
//! session in time does to the answers.

use std::sync::Arc;

use cornerbook::analysis::{self, Analysis, Inputs};
use cornerbook::corners::Direction;
use cornerbook::job;
use cornerbook::sample::{Circuit, Driver, LoggerNoise, log_samples, simulate};
use cornerbook::session::{Channel, ChannelKind, Fix, NoteKind, Samples, SamplesParts};
use proptest::prelude::*;

fn session(circuit: usize, seed: u64, with_yaw: bool) -> Samples {
    let circuit = &Circuit::all()[circuit];
    let scenario = simulate(circuit, &Driver::b(), 4, seed);
    log_samples(&scenario, &LoggerNoise { with_yaw, ..LoggerNoise::default() }, seed)
}

fn analyse(samples: Samples) -> Analysis {
    let inputs = Inputs { samples: Arc::new(samples), track: None, marked_crossing_s: None, edits: Vec::new() };
    analysis::run(&inputs, &job::Context::new()).unwrap()
}

/// The same session with its fixes and channels changed.
fn changed(samples: &Samples, fix: impl Fn(Fix) -> Fix, channel: impl Fn(ChannelKind, &Channel) -> Channel) -> Samples {
    Samples::new(SamplesParts {
        fixes: samples.fixes().iter().map(|it| fix(*it)).collect(),
        channels: samples.channels().iter().map(|(kind, it)| (*kind, channel(*kind, it))).collect(),
        ..SamplesParts::default()
    })
}

fn turn_ins(analysis: &Analysis) -> Vec<f64> {
    analysis.passes.iter().filter_map(|it| it.turn_in).map(|it| it.t_s.value).collect()
}

/// Rounding in the last digits may move a search by a step of its own, not more.
fn assert_alike(a: &[f64], b: &[f64], by_s: f64) {
    assert_eq!(a.len(), b.len());
    let apart = a.iter().zip(b).filter(|(a, b)| (*a + by_s - *b).abs() > 5e-3).count();
    assert!(apart * 50 <= a.len(), "{apart} of {} turn-ins moved", a.len());
}

/// The same session with what was measured between two times left out.
fn without(samples: &Samples, from_s: f64, to_s: f64) -> Samples {
    let measured = |t_s: f64| t_s < from_s || t_s > to_s;
    let kept = |it: &Channel| {
        let (t_s, value) = it.iter().filter(|(t_s, _)| measured(*t_s)).unzip();
        Channel { t_s, value }
    };
    Samples::new(SamplesParts {
        fixes: samples.fixes().iter().filter(|it| measured(it.t_s)).copied().collect(),
        channels: samples.channels().iter().map(|(kind, it)| (*kind, kept(it))).collect(),
        ..SamplesParts::default()
    })
}

/// The same session, fixes alone, in which the kart stands at one place for some time before it goes on.
fn with_a_stop(samples: &Samples, at_s: f64, for_s: u32) -> Samples {
    let (before, after): (Vec<Fix>, Vec<Fix>) = samples.fixes().iter().partition(|it| it.t_s < at_s);
    let last = *before.last().unwrap();
    let standing = (1..10 * for_s).map(|tenth| Fix { t_s: last.t_s + f64::from(tenth) * 0.1, ..last });
    let later = after.into_iter().map(|it| Fix { t_s: it.t_s + f64::from(for_s), ..it });
    let fixes = before.iter().copied().chain(standing).chain(later).collect();
    Samples::new(SamplesParts { fixes, ..SamplesParts::default() })
}

#[test]
fn a_pass_that_was_not_measured_is_told_with_its_lap_and_corner() {
    let samples = session(0, 5, true);
    let whole = analyse(samples.clone());
    let told = |analysis: &Analysis| {
        analysis.notes.iter().find_map(|it| match &it.kind {
            NoteKind::PassesMissing { passes } => Some(passes.clone()),
            _ => None,
        })
    };
    assert_eq!(told(&whole), None);
    let hidden = whole.passes.iter().find(|it| (it.lap, it.corner) == (2, 3)).unwrap();
    let apex_s = hidden.apex.unwrap().mark.t_s.value;
    let broken = analyse(without(&samples, apex_s - 2.0, apex_s + 2.0));
    assert_eq!(told(&broken), Some(vec![(2, 3)]));
}

#[test]
fn a_lap_with_a_long_stop_is_told() {
    let samples = session(0, 5, false);
    let whole = analyse(samples.clone());
    let at_s = whole.laps.iter().find(|it| it.number == 2).unwrap().start_t_s + 1.0;
    let stops = |analysis: &Analysis| {
        analysis.notes.iter().any(|it| matches!(&it.kind, NoteKind::LapsWithStop { laps } if laps == &[2]))
    };
    assert!(!stops(&whole));
    let stopped = analyse(with_a_stop(&samples, at_s, 20));
    assert!(stops(&stopped), "{:?}", stopped.notes);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: if std::env::var("RUN_SLOW_TESTS").is_ok() { 64 } else { 6 }, ..ProptestConfig::default() })]

    #[test]
    fn marks_come_in_order_and_laps_do_not_overlap(circuit in 0_usize..3, seed in 0_u64..1000, with_yaw: bool) {
        let analysis = analyse(session(circuit, seed, with_yaw));
        prop_assert!(!analysis.passes.is_empty());
        for pass in &analysis.passes {
            let (Some(turn_in), Some(exit)) = (pass.turn_in, pass.exit) else { continue };
            let apex = pass.apex.unwrap();
            prop_assert!(turn_in.t_s.value <= apex.mark.t_s.value && apex.mark.t_s.value <= exit.t_s.value);
            let slowest = pass.min_speed_mps.unwrap();
            for end in [pass.entry_speed_mps.unwrap(), pass.exit_speed_mps.unwrap()] {
                prop_assert!(slowest.value <= end.value + slowest.ci95 + end.ci95);
            }
        }
        for pair in analysis.laps.windows(2) {
            prop_assert!(pair[0].end_t_s <= pair[1].start_t_s + 1e-9 && pair[0].number < pair[1].number);
        }
        prop_assert_eq!(analysis.places.len(), analysis.path.states.len());
    }

    #[test]
    fn the_same_session_elsewhere_has_the_same_marks(circuit in 0_usize..3, seed in 0_u64..1000, east_deg in -179.0..179.0_f64) {
        let here = session(circuit, seed, true);
        let there = changed(
            &here,
            |fix| Fix { longitude_deg: (fix.longitude_deg + east_deg + 540.0).rem_euclid(360.0) - 180.0, ..fix },
            |_, it| it.clone(),
        );
        assert_alike(&turn_ins(&analyse(here)), &turn_ins(&analyse(there)), 0.0);
    }

    #[test]
    fn a_mirrored_session_swaps_left_and_right(circuit in 0_usize..3, seed in 0_u64..1000) {
        let here = session(circuit, seed, true);
        let middle_deg = here.fixes()[0].longitude_deg;
        let mirrored = changed(
            &here,
            |fix| Fix { longitude_deg: 2.0 * middle_deg - fix.longitude_deg, ..fix },
            |kind, it| match kind {
                ChannelKind::YawRate => Channel { t_s: it.t_s.clone(), value: it.value.iter().map(|v| -v).collect() },
                _ => it.clone(),
            },
        );
        let (a, b) = (analyse(here), analyse(mirrored));
        let turned: Vec<Direction> = b
            .corners
            .iter()
            .map(|it| if it.direction == Direction::Left { Direction::Right } else { Direction::Left })
            .collect();
        prop_assert_eq!(a.corners.iter().map(|it| it.direction).collect::<Vec<_>>(), turned);
        assert_alike(&turn_ins(&a), &turn_ins(&b), 0.0);
    }

    #[test]
    fn a_later_session_has_later_marks(seed in 0_u64..1000, by_s in 1.0..5000.0_f64) {
        let here = session(2, seed, true);
        let later = changed(
            &here,
            |fix| Fix { t_s: fix.t_s + by_s, ..fix },
            |_, it| Channel { t_s: it.t_s.iter().map(|t| t + by_s).collect(), value: it.value.clone() },
        );
        assert_alike(&turn_ins(&analyse(here)), &turn_ins(&analyse(later)), by_s);
    }
}
