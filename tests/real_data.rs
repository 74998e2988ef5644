//! Real data that nobody here made (../shared/data, its SOURCES.md); skipped aloud where it is absent.
//! Truth figures were worked out there with other tools (numpy, scipy, geographiclib), not with this program.

use std::path::Path;
use std::sync::Arc;

use cornerbook::analysis::{self, Analysis, Inputs};
use cornerbook::corners::{Corner, Direction};
use cornerbook::geom::Point;
use cornerbook::job;
use cornerbook::log;
use cornerbook::session::Samples;
use cornerbook::track::LapKind;
use cornerbook::track::file::TrackFile;

use crate::support::shared_data;

fn read(path: &Path) -> Samples {
    log::read(&path.display().to_string(), &std::fs::read(path).unwrap(), None).unwrap()
}

/// Analysis of one of the shared logs, with a start/finish line given as (latitude, longitude) of its two ends.
fn analyse(relative: &str, line: Option<[(f64, f64); 2]>) -> Option<Analysis> {
    let samples = read(&shared_data(relative)?);
    Some(analyse_samples(samples, line))
}

fn analyse_samples(samples: Samples, line: Option<[(f64, f64); 2]>) -> Analysis {
    let start_finish = line.map(|ends| ends.map(|(latitude, longitude)| [longitude, latitude]));
    let track = start_finish.map(|ends| TrackFile { start_finish: Some(ends), ..TrackFile::default() });
    let inputs = Inputs { samples: Arc::new(samples), track, marked_crossing_s: None, edits: Vec::new() };
    analysis::run(&inputs, &job::Context::new()).unwrap()
}

fn lap_times(analysis: &Analysis) -> Vec<f64> {
    analysis.laps.iter().filter_map(|it| it.time_s).map(|it| it.value).collect()
}

fn assert_times(found: &[f64], truth: &[f64], tolerance_s: f64) {
    assert_eq!(found.len(), truth.len(), "{found:?} for {truth:?}");
    for (found_s, truth_s) in found.iter().zip(truth) {
        assert!((found_s - truth_s).abs() <= tolerance_s, "{found_s} for {truth_s}: {found:?}");
    }
}

const RACECAR: &str = "racecar-yaw/derived_positions_10hz.csv";
const RACECAR_LINE: [(f64, f64); 2] = [(26.922_502_5, -80.305_951_7), (26.922_502_5, -80.305_448_3)];
const RACECAR_LAPS_S: [f64; 5] = [98.83, 96.14, 101.13, 95.66, 94.67];

#[test]
fn a_racing_cars_laps_take_their_times() {
    let Some(analysis) = analyse(RACECAR, Some(RACECAR_LINE)) else { return };
    assert_times(&lap_times(&analysis), &RACECAR_LAPS_S, 0.2);
    let length_m = analysis.reference.as_ref().unwrap().length_m;
    assert!((length_m - 3100.0).abs() < 10.0, "{length_m}");
}

#[test]
fn the_same_laps_are_found_without_a_line() {
    let Some(analysis) = analyse(RACECAR, None) else { return };
    let timed = analysis.laps.iter().filter(|it| it.kind == LapKind::Timed).count();
    assert!((4..=5).contains(&timed), "{:?}", analysis.laps);
    for time_s in lap_times(&analysis) {
        assert!((94.0..102.0).contains(&time_s), "{time_s}");
    }
}

/// The seven corners that turn more than 40° on a radius of 60 m or less, in the order after the line (an eighth, of
/// 106 m, turns about 40°: on which side of that it lies hangs on the smoothing).
fn main_corners(analysis: &Analysis) -> Vec<&Corner> {
    analysis.corners.iter().filter(|it| it.angle_deg > 40.0 && it.min_radius_m.unwrap() < 75.0).collect()
}

#[test]
fn a_racing_cars_corners_turn_as_stated() {
    let Some(analysis) = analyse(RACECAR, Some(RACECAR_LINE)) else { return };
    let truth = [
        (Direction::Right, 214.0),
        (Direction::Left, 45.0),
        (Direction::Right, 77.0),
        (Direction::Left, 200.0),
        (Direction::Right, 160.0),
        (Direction::Right, 87.0),
        (Direction::Right, 107.0),
    ];
    let found: Vec<(Direction, f64)> = main_corners(&analysis).iter().map(|it| (it.direction, it.angle_deg)).collect();
    assert_eq!(found.len(), truth.len(), "{found:?}");
    for ((direction, angle_deg), (true_direction, true_angle_deg)) in found.iter().zip(truth) {
        assert_eq!(*direction, true_direction, "{found:?}");
        assert!((angle_deg - true_angle_deg).abs() < 6.0, "{angle_deg} for {true_angle_deg}: {found:?}");
    }
}

#[test]
fn a_racing_cars_minimum_speeds_are_within_a_metre_per_second() {
    let Some(analysis) = analyse(RACECAR, Some(RACECAR_LINE)) else { return };
    // Rows corners 1 to 7, columns laps 1 to 5, m/s.
    let truth = [
        [18.7, 19.1, 16.5, 19.7, 19.1],
        [20.8, 22.0, 23.2, 22.6, 23.8],
        [20.6, 21.5, 21.0, 22.2, 22.3],
        [18.5, 19.2, 19.7, 18.8, 18.7],
        [23.5, 23.8, 22.8, 24.1, 22.9],
        [21.9, 22.5, 21.6, 23.0, 22.0],
        [22.1, 23.0, 22.7, 24.0, 24.0],
    ];
    for (corner, row) in main_corners(&analysis).iter().zip(truth) {
        for (lap, truth_mps) in (1..).zip(row) {
            let pass = analysis.passes.iter().find(|it| it.lap == lap && it.corner == corner.number).unwrap();
            let found_mps = pass.min_speed_mps.unwrap().value;
            assert!((found_mps - truth_mps).abs() < 1.0, "lap {lap} {}: {found_mps} for {truth_mps}", corner.name);
        }
    }
}

#[test]
fn a_line_exactly_through_samples_counts_each_crossing_once() {
    let line = [(26.9216, -80.305_951_7), (26.9216, -80.305_0)];
    let Some(analysis) = analyse(RACECAR, Some(line)) else { return };
    let times = lap_times(&analysis);
    assert!(times.iter().all(|it| (90.0..105.0).contains(it)), "{times:?}");
    assert!((4..=5).contains(&times.len()), "{times:?}");
}

/// The same car's 100 Hz log without positions: laps from the repeating yaw rate and one marked crossing.
#[test]
fn a_racing_cars_laps_are_found_without_positions() {
    let Some(placed) = analyse(RACECAR, Some(RACECAR_LINE)) else { return };
    let Some(path) = shared_data("racecar-yaw/racecar_100hz.csv") else { return };
    let inputs = Inputs {
        samples: Arc::new(read(&path)),
        track: None,
        marked_crossing_s: Some(placed.laps[2].start_t_s),
        edits: Vec::new(),
    };
    let analysis = analysis::run(&inputs, &job::Context::new()).unwrap();
    assert_times(&lap_times(&analysis), &RACECAR_LAPS_S, 0.2);
    let turns = |analysis: &Analysis| main_corners(analysis).iter().map(|it| it.direction).collect::<Vec<_>>();
    assert_eq!(turns(&analysis), turns(&placed));
    for (corner, there) in main_corners(&analysis).iter().zip(main_corners(&placed)) {
        assert!((corner.angle_deg - there.angle_deg).abs() < 8.0, "{corner:?} {there:?}");
        for lap in 1..=5 {
            let pass = |analysis: &Analysis, number: u32| {
                analysis.passes.iter().find(|it| it.lap == lap && it.corner == number).unwrap().clone()
            };
            let (pass, known) = (pass(&analysis, corner.number), pass(&placed, there.number));
            let (found, truth) = (pass.min_speed_mps.unwrap().value, known.min_speed_mps.unwrap().value);
            assert!((found - truth).abs() < 0.5, "lap {lap} {}: {found} for {truth}", corner.name);
            assert!(pass.turn_in.unwrap().latitude_deg.is_none() && pass.entry_gate_speed_mps.is_none());
        }
    }
}

#[test]
fn nine_laps_of_a_park_with_pauses_and_rows_without_position() {
    let line = [(-8.036_816_6, -34.904_034_1), (-8.036_492_9, -34.903_642_2)];
    let truth = [565.9, 372.5, 358.4, 846.0, 363.1, 364.1, 360.1, 411.9, 334.4];
    for file in ["runs-laps/park_laps.csv", "runs-laps/park_laps.gpx"] {
        let Some(analysis) = analyse(file, Some(line)) else { return };
        // Fixes come every two to six seconds at 2.7 m/s: a crossing is known to about a second.
        assert_times(&lap_times(&analysis), &truth, 2.0);
        let length_m = analysis.reference.as_ref().unwrap().length_m;
        assert!((980.0 - 15.0..1005.0 + 15.0).contains(&length_m), "{length_m}");
        // Fixes ten metres apart show no corner for sure; that the way closes, they do.
        let line = analysis.reference.as_ref().unwrap();
        let turned: f64 =
            line.points.iter().map(|it| it.curvature_per_m).sum::<f64>() * line.length_m / line.points.len() as f64;
        assert!((turned.to_degrees().abs() - 360.0).abs() < 2.0, "{}", turned.to_degrees());
    }
}

#[test]
fn a_way_out_and_back_is_no_circuit() {
    for file in
        ["out_and_back_a.gpx", "out_and_back_b.gpx", "out_and_back_b.csv", "shuttle_strides.gpx", "shuttle_strides.csv"]
    {
        let Some(analysis) = analyse(&format!("runs-laps/{file}"), None) else { return };
        assert!(analysis.reference.is_none() && analysis.laps.is_empty(), "{file}: {:?}", analysis.laps);
    }
}

#[test]
fn a_street_loop_has_the_two_laps_its_line_gives() {
    let line = [(35.947_914_7, -79.094_849_8), (35.948_275_2, -79.094_849_8)];
    let Some(analysis) = analyse("runs-laps/street_loop.csv", Some(line)) else { return };
    assert_times(&lap_times(&analysis), &[530.4, 838.8], 2.0);
}

/// A point driven round a published line at 20 m/s, seen at 10 Hz without noise; three laps and a bit.
fn driven(points: &[Point]) -> Samples {
    use cornerbook::geom::plane::Plane;
    use cornerbook::session::{Fix, SamplesParts};
    let plane = Plane::new(48.0, 11.0, 0.0);
    let mut at_m = vec![0.0];
    for (index, point) in points.iter().enumerate() {
        at_m.push(at_m[index] + point.distance_m(points[(index + 1) % points.len()]));
    }
    let length_m = at_m[points.len()];
    let mut fixes = Vec::new();
    let mut segment = 0;
    for index in 0_u32.. {
        let t_s = f64::from(index) * 0.1;
        let driven_m = t_s * 20.0 + 0.3 * length_m;
        if driven_m > 3.6 * length_m {
            break;
        }
        let along_m = driven_m.rem_euclid(length_m);
        if along_m < at_m[segment] {
            segment = 0;
        }
        while at_m[segment + 1] < along_m {
            segment += 1;
        }
        let (a, b) = (points[segment], points[(segment + 1) % points.len()]);
        let point = a + (b - a).scaled((along_m - at_m[segment]) / (at_m[segment + 1] - at_m[segment]));
        let (latitude_deg, longitude_deg) = plane.to_degrees(point);
        fixes.push(Fix { t_s, latitude_deg, longitude_deg });
    }
    Samples::new(SamplesParts { fixes, ..SamplesParts::default() })
}

fn table(path: &Path) -> Vec<Vec<f64>> {
    let text = std::fs::read_to_string(path).unwrap();
    text.lines()
        .filter(|line| !line.starts_with('#'))
        .map(|line| line.split(',').map(|it| it.trim().parse().unwrap()).collect())
        .collect()
}

/// Published centre lines (TUMFTM racetrack-database), lengths as computed in SOURCES.md, m; the sense of the whole.
const CIRCUITS: [(&str, f64, f64); 10] = [
    ("Monza", 5790.2, -360.0),
    ("Spa", 7000.1, -360.0),
    ("Silverstone", 5886.8, -360.0),
    ("Austin", 5507.5, 360.0),
    ("Hockenheim", 4569.2, -360.0),
    ("Nuerburgring", 5144.1, -360.0),
    ("Norisring", 2295.8, 360.0),
    ("IMS", 4022.3, 360.0),
    ("Spielberg", 4315.4, -360.0),
    ("Budapest", 4376.9, -360.0),
];

#[test]
fn ten_real_circuits_have_their_laps_lengths_and_turning() {
    for (name, length_m, turning_deg) in CIRCUITS {
        let Some(path) = shared_data(&format!("tracks-tum/tracks/{name}.csv")) else { return };
        let points: Vec<Point> = table(&path).iter().map(|row| Point::new(row[0], row[1])).collect();
        let analysis = analyse_samples(driven(&points), None);
        let line = analysis.reference.as_ref().unwrap_or_else(|| panic!("{name}: no circuit"));
        assert!((line.length_m / length_m - 1.0).abs() < 2e-3, "{name}: {} for {length_m}", line.length_m);
        let timed: Vec<f64> = lap_times(&analysis);
        assert!(timed.len() >= 2, "{name}: {:?}", analysis.laps);
        for time_s in &timed {
            assert!((time_s - length_m / 20.0).abs() < 0.1, "{name}: {time_s} for {}", length_m / 20.0);
        }
        let turned: f64 =
            line.points.iter().map(|it| it.curvature_per_m).sum::<f64>() * line.length_m / line.points.len() as f64;
        assert!((turned.to_degrees() - turning_deg).abs() < 1.0, "{name}: {}", turned.to_degrees());
        if name == "IMS" {
            assert!(analysis.corners.is_empty(), "{name}: radius 189 m or more everywhere, {:?}", analysis.corners);
        }
        // Left and right are never swapped: on a line driven exactly, each corner's own heading change has its sign.
        for corner in &analysis.corners {
            let middle = line.at(corner.middle_m.unwrap()).unwrap();
            let left = middle.curvature_per_m > 0.0;
            assert_eq!(left, corner.direction == Direction::Left, "{name} {}", corner.name);
        }
    }
}

#[test]
fn a_test_circuits_corners_come_in_their_order() {
    let Some(path) = shared_data("tracks-tum/tracks/modena_2019.csv") else { return };
    let points: Vec<Point> = table(&path).iter().map(|row| Point::new(row[0], row[1])).collect();
    let analysis = analyse_samples(driven(&points), None);
    let line = analysis.reference.as_ref().unwrap();
    assert!((line.length_m / 1988.1 - 1.0).abs() < 3e-3, "{}", line.length_m);
    let turns: String =
        analysis.corners.iter().map(|it| if it.direction == Direction::Left { 'L' } else { 'R' }).collect();
    // The same list, begun at another place of the circuit.
    let truth = "RLRRLRRRLRR";
    assert!(turns.len() == 11 && format!("{truth}{truth}").contains(&turns), "{turns}: {:?}", analysis.corners);
}

#[test]
fn four_right_angles_of_one_radius() {
    let Some(path) = shared_data("tracks-tum/tracks/rounded_rectangle.csv") else { return };
    let points: Vec<Point> = table(&path).iter().map(|row| Point::new(row[0], row[1])).collect();
    let analysis = analyse_samples(driven(&points), None);
    assert!((analysis.reference.as_ref().unwrap().length_m - 315.0).abs() < 2.0);
    assert_eq!(analysis.corners.len(), 4, "{:?}", analysis.corners);
    for corner in &analysis.corners {
        assert_eq!(corner.direction, Direction::Left);
        assert!(
            (corner.angle_deg - 90.0).abs() < 4.0 && (corner.min_radius_m.unwrap() - 12.5).abs() < 2.0,
            "{corner:?}"
        );
    }
}

/// Race lines and borders that others computed (TUMFTM racetrack-database): a kart on the race line stays between the
/// edges, comes nearer to the inside than to the outside at each apex, and uses the width before it.
#[test]
fn real_race_lines_stay_inside_and_have_their_apexes_on_the_inside() {
    use cornerbook::geom::plane::Plane;
    use cornerbook::track::file::Edge;
    for name in ["Norisring", "Spielberg", "Hockenheim"] {
        let files = ["tracks", "racelines"].map(|it| shared_data(&format!("tracks-tum/{it}/{name}.csv")));
        let [Some(track), Some(race_line)] = files else { return };
        let rows = table(&track);
        let plane = Plane::new(48.0, 11.0, 0.0);
        let edge = |side: f64, column: usize| {
            let beside = |index: usize| {
                let at = |index: usize| Point::new(rows[index % rows.len()][0], rows[index % rows.len()][1]);
                let along = at(index + 1) - at(index + rows.len() - 1);
                let left = along.left().scaled(1.0 / along.x_m.hypot(along.y_m));
                let (latitude, longitude) = plane.to_degrees(at(index) + left.scaled(side * rows[index][column]));
                [longitude, latitude]
            };
            Some(Edge { positions: (0..rows.len()).map(beside).collect(), closed: true })
        };
        let track = TrackFile { left_edge: edge(1.0, 3), right_edge: edge(-1.0, 2), ..TrackFile::default() };
        let points: Vec<Point> = table(&race_line).iter().map(|row| Point::new(row[0], row[1])).collect();
        let samples = Arc::new(driven(&points));
        let inputs = Inputs { samples, track: Some(track), marked_crossing_s: None, edits: Vec::new() };
        let analysis = analysis::run(&inputs, &job::Context::new()).unwrap();
        let found = cornerbook::findings::find(&analysis.view().unwrap(), &[], &[], &job::Context::new()).unwrap();
        let widths = found.lines.iter().flat_map(|it| [it.entry_width, it.apex_width, it.exit_width]).flatten();
        // From positions alone a hairpin is smoothed rounder by some decimetres.
        let outside: Vec<f64> = widths.clone().filter(|it| !(-0.06..=1.06).contains(it)).collect();
        assert!(outside.is_empty() && widths.count() > 20, "{name}: {outside:?}");
        let apexes: Vec<f64> = found.lines.iter().filter_map(|it| it.apex_width).collect();
        assert!(apexes.iter().all(|it| *it < 0.5), "{name}: {apexes:?}");
    }
}
