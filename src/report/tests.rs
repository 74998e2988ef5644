//! The tables on one hand-made analysis: each field is a number that is told apart from all others.

use std::collections::BTreeMap;

use expect_test::expect_file;

use super::*;
use crate::corners::{Apex, ApexBy, Direction, Mark, Unclear};
use crate::session::{Estimate, Fix, LogKind, MarkKind, Note, NoteKind, SamplesParts, Source};
use crate::track::{GateOrigin, LapKind, ReferenceLine};
use crate::units::SpeedUnit;

fn about(value: f64, ci95: f64) -> Estimate {
    Estimate { value, ci95 }
}

fn samples() -> Samples {
    let fix = |second: u32| Fix { t_s: f64::from(second), latitude_deg: 47.0, longitude_deg: 8.0 };
    Samples::new(SamplesParts {
        start_utc: "2026-05-03T10:00:00Z".parse().ok(),
        fixes: (0..200).map(fix).collect(),
        channels: BTreeMap::new(),
        sources: vec![Source {
            file: "run \"3\".csv".into(),
            kind: LogKind::Csv,
            rows: 200,
            uses: vec![],
            unused: vec![],
            own_clock_s: None,
        }],
        notes: vec![],
    })
}

fn mark(t_s: f64, speed_mps: f64) -> Mark {
    Mark {
        t_s: about(t_s, 0.031),
        latitude_deg: Some(47.123_456_789_12),
        longitude_deg: Some(8.2),
        distance_m: Some(t_s * 10.0),
        speed_mps: Some(about(speed_mps, 0.15)),
    }
}

fn pass(lap: u32, corner: u32) -> Pass {
    let at_s = 40.0 + 50.0 * f64::from(lap) + 10.0 * f64::from(corner);
    Pass {
        lap,
        corner,
        direction: Direction::Right,
        turn_in: Some(mark(at_s, 21.0)),
        apex: Some(Apex { mark: mark(at_s + 1.5, 12.5), by: ApexBy::Envelope, gap_m: Some(about(0.4567, 0.3)) }),
        exit: Some(mark(at_s + 3.0, 15.0)),
        approach_speed_mps: Some(about(25.123_456, 0.05)),
        entry_speed_mps: Some(about(21.0, 0.15)),
        min_speed_mps: Some(about(12.0, 0.05)),
        min_speed_t_s: Some(about(at_s + 1.2, 0.05)),
        exit_speed_mps: Some(about(15.0, 0.15)),
        entry_gate_speed_mps: Some(about(22.0, 0.06)),
        exit_gate_speed_mps: Some(about(16.0, 0.06)),
        time_s: Some(about(4.321, 0.02)),
        path_m: Some(about(66.6, 0.5)),
        exit_cost_s: Some(about(0.11, 0.02)),
        entry_gate_t_s: Some(at_s - 0.5),
        exit_gate_t_s: Some(at_s + 3.821),
        edited: vec![],
        unclear: vec![],
    }
}

fn analysis() -> Analysis {
    let lap = |number: u32, kind, time_s| Lap {
        number,
        kind,
        start_t_s: 40.0 + 50.0 * f64::from(number),
        end_t_s: 90.0 + 50.0 * f64::from(number),
        time_s,
    };
    let corner = |number: u32, name: &str| Corner {
        number,
        name: name.into(),
        direction: Direction::Right,
        angle_deg: 91.234,
        min_radius_m: Some(14.04),
        entry_gate_m: Some(80.0),
        middle_m: Some(101.5),
        exit_gate_m: Some(120.0),
        latitude_deg: Some(47.1),
        longitude_deg: Some(8.2),
    };
    let mut unclear = pass(2, 2);
    (unclear.turn_in, unclear.entry_speed_mps, unclear.exit_cost_s) = (None, None, None);
    unclear.unclear = vec![Unclear::NoTurnIn];
    let mut edited = pass(2, 1);
    edited.edited = vec![MarkKind::Apex];
    Analysis {
        reference: Some(ReferenceLine { points: vec![], length_m: 1023.4567 }),
        gate: Some(GateOrigin::Found),
        laps: vec![
            lap(0, LapKind::Out, None),
            lap(1, LapKind::Timed, Some(about(50.0, 0.04))),
            lap(2, LapKind::Timed, Some(about(50.03, 0.04))),
            lap(3, LapKind::In, None),
        ],
        corners: vec![corner(1, "hairpin, long\n"), corner(2, "T2")],
        passes: vec![pass(1, 1), pass(1, 2), edited, unclear],
        notes: vec![Note::new(NoteKind::GateFound)],
        ..Analysis::default()
    }
}

fn with_view(check: impl Fn(PassesView<'_>)) {
    let (samples, analysis) = (samples(), analysis());
    check(PassesView { samples: &samples, analysis: &analysis, laps: &[], corners: &[] });
}

#[test]
fn passes_as_text() {
    with_view(|view| {
        let text = passes_text(&view, SpeedUnit::KilometresPerHour);
        assert!(text.lines().all(|line| line.chars().count() <= 100), "readable at 100 columns:\n{text}");
        expect_file!["golden/passes.txt"].assert_eq(&text);
    });
}

#[test]
fn passes_as_csv() {
    with_view(|view| {
        let text = passes_csv(&view);
        expect_file!["golden/passes.csv"].assert_eq(&text);
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let headers: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
        let columns = headers.iter().collect::<std::collections::BTreeSet<_>>().len();
        assert_eq!(columns, headers.len(), "every column has its own name");
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert!(rows.len() == 4 && rows.iter().all(|row| row.len() == columns));
        assert_eq!(&rows[0][2], "hairpin, long\n");
    });
}

#[test]
fn passes_as_json() {
    with_view(|view| expect_file!["golden/passes.json"].assert_eq(&passes_json(&view)));
}

#[test]
fn only_the_wanted_laps_and_corners() {
    let (samples, analysis) = (samples(), analysis());
    let view = PassesView { samples: &samples, analysis: &analysis, laps: &[2], corners: &[1] };
    assert_eq!((view.laps().count(), view.corners().count(), view.passes().count()), (1, 1, 1));
    assert_eq!(passes_csv(&view).lines().count(), 3, "header, and one row with a line break in its name");
}

#[test]
fn missing_figures_are_told_once_a_reason() {
    with_view(|view| {
        assert_eq!(passes_unclear(&view), vec![format!("lap 2 T2: {}", crate::present::unclear(Unclear::NoTurnIn))]);
    });
    let (samples, mut analysis) = (samples(), analysis());
    analysis.passes = (1..10).map(|lap| Pass { unclear: vec![Unclear::GapInLog], ..pass(lap, 2) }).collect();
    let view = PassesView { samples: &samples, analysis: &analysis, laps: &[], corners: &[] };
    assert!(passes_unclear(&view)[0].contains("lap 6 T2 and 3 more: "), "{:?}", passes_unclear(&view));
}

#[test]
fn an_empty_analysis_has_tables_too() {
    let samples = Samples::new(SamplesParts::default());
    let analysis = Analysis::default();
    let view = PassesView { samples: &samples, analysis: &analysis, laps: &[], corners: &[] };
    assert_eq!(passes_text(&view, SpeedUnit::default()), "no laps\n");
    assert_eq!(passes_csv(&view).lines().count(), 1);
    assert!(passes_json(&view).contains("\"reference\": null"));
}
