//! The plain data behind the review window, on the sample session: laws, and golden text.

use std::collections::BTreeSet;
use std::sync::{Arc, OnceLock};

use cornerbook::analysis::{self, Analysis, Inputs, MarkEdit};
use cornerbook::corners::MarkKind;
use cornerbook::corners::figure::{Figure, Standing};
use cornerbook::geom::Point;
use cornerbook::job;
use cornerbook::log;
use cornerbook::present;
use cornerbook::strip::{
    AxisKind, CornerPlot, LapElsewhere, LapStrip, MapPicture, OtherLap, PassGiven, PassRow, PassRows, SortBy, StripTag,
    compare, same_corner,
};
use cornerbook::track::file::{self, TrackFile};
use cornerbook::units::SpeedUnit;
use expect_test::expect;

const KMH: SpeedUnit = SpeedUnit::KilometresPerHour;

fn track() -> TrackFile {
    file::parse("track.geojson", include_bytes!("../sample-data/track.geojson")).unwrap().0
}

fn analysed(csv: &[u8], with_track: bool, edits: Vec<MarkEdit>) -> Analysis {
    let samples = Arc::new(log::read("driver-a.csv", csv, None).unwrap());
    let inputs = Inputs { samples, track: with_track.then(track), marked_crossing_s: None, edits };
    analysis::run(&inputs, &job::Context::new()).unwrap()
}

const CSV: &[u8] = include_bytes!("../sample-data/driver-a.csv");

fn session() -> &'static Analysis {
    static SESSION: OnceLock<Analysis> = OnceLock::new();
    SESSION.get_or_init(|| analysed(CSV, true, Vec::new()))
}

/// Without its positions: laps by the pattern of the yaw rate.
fn yaw_only() -> &'static Analysis {
    static SESSION: OnceLock<Analysis> = OnceLock::new();
    SESSION.get_or_init(|| analysed(include_bytes!("../sample-data/driver-a-yaw-rate.csv"), false, Vec::new()))
}

/// The log with nothing between two of its rows.
fn with_gap(from_row: usize, to_row: usize) -> Analysis {
    let text = std::str::from_utf8(CSV).unwrap();
    let rows: Vec<&str> =
        text.lines().enumerate().filter(|it| !(from_row..to_row).contains(&it.0)).map(|it| it.1).collect();
    analysed(rows.join("\n").as_bytes(), true, Vec::new())
}

fn mark_names(strip: &LapStrip) -> Vec<String> {
    strip.marks.iter().map(|it| format!("T{} {}", it.corner, present::mark(it.kind))).collect()
}

#[test]
fn places_rise_along_every_lap() {
    for analysis in [session(), yaw_only()] {
        for lap in &analysis.laps {
            let strip = LapStrip::of(analysis, lap.number, &[]);
            let points = &strip.trace.points;
            assert!(points.len() > 50, "lap {}: {} points", lap.number, points.len());
            assert!(points.windows(2).all(|it| it[0].along < it[1].along && it[0].t_s < it[1].t_s));
            assert!(points.iter().all(|it| strip.whole.holds(it.along)), "lap {}", lap.number);
            assert!(strip.corners.windows(2).all(|it| it[0].from < it[1].from));
        }
    }
}

#[test]
fn every_mark_of_a_lap_is_there_once_and_where_the_table_has_it() {
    for analysis in [session(), yaw_only()] {
        for lap in &analysis.laps {
            let strip = LapStrip::of(analysis, lap.number, &[]);
            let passes = || analysis.passes.iter().filter(|it| it.lap == lap.number);
            let wanted: usize = passes()
                .map(|it| {
                    [it.turn_in.is_some(), it.apex.is_some(), it.exit.is_some()].map(usize::from).iter().sum::<usize>()
                })
                .sum();
            let names: BTreeSet<String> = mark_names(&strip).into_iter().collect();
            assert_eq!((strip.marks.len(), names.len()), (wanted, wanted), "lap {}", lap.number);
            for mark in &strip.marks {
                let back_s = strip.trace.t_at(mark.along).unwrap();
                assert!((back_s - mark.t_s).abs() < 1e-6, "{mark:?} came back as {back_s}");
            }
        }
    }
}

/// The strip's distances are the table's: apexes lie where the analysis says, to a decimetre.
#[test]
fn distances_on_the_strip_are_those_of_the_marks() {
    let analysis = session();
    for lap in 1..=7 {
        let strip = LapStrip::of(analysis, lap, &[]);
        for mark in strip.marks.iter().filter(|it| it.kind == MarkKind::Apex) {
            let pass = analysis.passes.iter().find(|it| (it.lap, it.corner) == (lap, mark.corner)).unwrap();
            let wanted_m = pass.apex.unwrap().mark.distance_m.unwrap();
            assert!((mark.along - wanted_m).abs() < 0.1, "lap {lap} {mark:?}: {wanted_m}");
        }
    }
}

#[test]
fn a_lap_in_words() {
    let analysis = session();
    let tag = |id, t_s| StripTag { id, t_s, name: "<b>lift</b>".to_owned(), colour: 0xff_0000 };
    let strip = LapStrip::of(analysis, 3, &[tag(7, 150.0), tag(8, 10.0), tag(9, 140.0)]);
    assert_eq!(strip.tags.iter().map(|it| it.tag.id).collect::<Vec<_>>(), [9, 7], "tags of other laps are left out");
    let mut text = String::new();
    for corner in &strip.corners {
        let at_s = strip.trace.t_at(0.5 * (corner.from + corner.to)).unwrap();
        text.push_str(&format!("{}: {}\n", corner.name, strip.words_at(at_s, KMH)));
    }
    text.push_str(&format!("{}\n{}\n", strip.words_at(134.0, KMH), strip.words_at(5.0, KMH)));
    expect![[r#"
        T1: 127 m, 78 km/h, T1
        T2: 203 m, 73 km/h, T2
        T3: 288 m, 58 km/h, T3
        T4: 374 m, 76 km/h, T4
        T5: 428 m, 84 km/h, T5
        T6: 555 m, 96 km/h, T6
        T7: 675 m, 88 km/h, T7
        T8: 812 m, 81 km/h, T8
        6 m, 96 km/h, between corners
        not on this lap
    "#]]
    .assert_eq(&text);
}

#[test]
fn without_positions_the_axis_is_time() {
    let strip = LapStrip::of(yaw_only(), 2, &[]);
    let lap = yaw_only().laps.iter().find(|it| it.number == 2).unwrap();
    assert_eq!(strip.trace.axis, AxisKind::Time);
    assert!((strip.whole.length() - (lap.end_t_s - lap.start_t_s)).abs() < 0.1);
    assert!(strip.trace.speed_range_mps().is_none() && !strip.corners.is_empty());
    assert!(MapPicture::of(yaw_only(), None, 2, Some(OtherLap::Here(3))).bounds.is_none());
    let plot = CornerPlot::of(yaw_only(), 3, &[2, 3]);
    assert!(plot.axis == AxisKind::Time && plot.lines.len() == 2 && plot.difference.is_empty());
}

#[test]
fn a_session_without_laps_is_one_strip_by_time() {
    let analysis = with_gap(900, usize::MAX);
    assert!(analysis.laps.is_empty());
    let strip = LapStrip::of(&analysis, 1, &[]);
    assert!(strip.lap.is_none() && strip.trace.axis == AxisKind::Time && strip.trace.points.len() > 300);
    assert!(
        MapPicture::of(&analysis, Some(&track()), 1, Some(OtherLap::Here(2))).this.is_some_and(|it| it.lap.is_none())
    );
    assert!(PassRows::of(&analysis, 1, KMH).rows.is_empty() && CornerPlot::of(&analysis, 1, &[1]).lines.is_empty());
    let absent = LapStrip::of(session(), 99, &[]);
    assert!(absent.lap == Some(99) && absent.trace.points.is_empty() && absent.marks.is_empty());
}

#[test]
fn a_gap_in_the_log_is_left_open() {
    // Rows are 0.05 s apart: from 150 s to 155 s, in lap 3.
    let analysis = with_gap(3001, 3101);
    let strip = LapStrip::of(&analysis, 3, &[]);
    let gaps = strip.trace.gaps();
    assert_eq!(gaps.len(), 1);
    let (from, to) = gaps[0];
    assert!(to - from > 50.0 && strip.trace.speed_at(0.5 * (from + to)).is_none(), "{gaps:?}");
    let (from_s, to_s) = (strip.trace.t_at(from).unwrap(), strip.trace.t_at(to).unwrap());
    assert!((to_s - from_s - 5.0).abs() < 0.5, "{from_s} to {to_s}");
    let picture = MapPicture::of(&analysis, Some(&track()), 3, None);
    assert!(picture.kart_at(0.5 * (from_s + to_s)).is_none() && picture.kart_at(from_s - 1.0).is_some());
    assert!(LapStrip::of(&analysis, 4, &[]).trace.gaps().is_empty());
}

#[test]
fn a_mark_moved_by_hand_is_shown_as_such_everywhere() {
    let old = session().passes.iter().find(|it| (it.lap, it.corner) == (3, 3)).unwrap().apex.unwrap().mark.t_s.value;
    let edit = MarkEdit { lap: 3, corner: 3, mark: MarkKind::Apex, t_s: old + 0.2 };
    let analysis = analysed(CSV, true, vec![edit]);
    let moved: Vec<_> = LapStrip::of(&analysis, 3, &[]).marks.into_iter().filter(|it| it.is_moved).collect();
    assert_eq!(moved.iter().map(|it| (it.corner, it.kind)).collect::<Vec<_>>(), [(3, MarkKind::Apex)]);
    assert!((moved[0].t_s - edit.t_s).abs() < 1e-9);
    let table = PassRows::of(&analysis, 3, KMH);
    let row = table.rows.iter().find(|it| it.lap == 3).unwrap();
    assert!(row.cells.iter().all(|it| it.is_moved == (it.figure == Figure::ApexPlace)));
    let plot = CornerPlot::of(&analysis, 3, &[3]);
    assert_eq!(plot.lines[0].marks.iter().filter(|it| it.is_moved).count(), 1);
}

#[test]
fn a_lap_of_another_session_lies_where_it_was_driven() {
    // The same laps, read as another session: without the track, whose gate and numbers are then its own.
    let (here, there) = (session(), analysed(CSV, false, Vec::new()));
    for corner in &here.corners {
        let same = same_corner(corner, here, &there).unwrap();
        let entry_s = here.pass(3, corner.number).unwrap().entry_gate_t_s.unwrap();
        let away_s = |lap| Some((there.pass(lap, same.number)?.entry_gate_t_s? - entry_s).abs());
        let laps = there.laps.iter().map(|it| it.number).filter(|it| away_s(*it).is_some());
        let lap = laps.min_by(|a, b| away_s(*a).unwrap().total_cmp(&away_s(*b).unwrap())).unwrap();
        let elsewhere = LapElsewhere { session: "Kim", analysis: &there, lap };

        let plot = CornerPlot::of(here, corner.number, &[3, 4]).with_lap_elsewhere(here, corner.number, elsewhere);
        let [this, guest, other] = plot.lines.as_slice() else { panic!("three lines at {}", corner.name) };
        assert_eq!((guest.session.as_deref(), this.session.as_deref(), other.lap), (Some("Kim"), None, 4));
        // Both reference lines are means of the same laps, set off at other places.
        for point in &guest.trace.points {
            let Some(at_m) = this.trace.along_at(point.t_s) else { continue };
            assert!((at_m - point.along).abs() < 1.0, "{}: {at_m} m and {} m", corner.name, point.along);
        }
        assert!(plot.difference.iter().all(|it| it.1.abs() < 0.05), "{}: {:?}", corner.name, plot.difference);

        let picture = MapPicture::of(here, Some(&track()), 3, Some(OtherLap::Elsewhere(elsewhere)));
        let line = picture.other.unwrap();
        assert_eq!(line.session.as_deref(), Some("Kim"));
        for point in &line.trace.points {
            let Some(state) = here.path.at(point.t_s) else { continue };
            assert!(point.position.distance_m(Point::new(state.x_m, state.y_m)) < 0.3, "at {} s", point.t_s);
        }
        let nobody = LapElsewhere { session: "Kim", analysis: yaw_only(), lap };
        let plot = CornerPlot::of(here, corner.number, &[3]).with_lap_elsewhere(here, corner.number, nobody);
        assert_eq!(plot.lines.len(), 1, "a session without positions has no places");
    }
}

#[test]
fn level_means_inside_the_intervals() {
    let analysis = session();
    for corner in &analysis.corners {
        let table = PassRows::of(analysis, corner.number, KMH);
        let best = table.rows.iter().find(|it| it.is_best).unwrap();
        for (row, index) in table.rows.iter().flat_map(|row| (0..8).map(move |index| (row, index))) {
            let (cell, best_cell) = (&row.cells[index], &best.cells[index]);
            let (Some(value), Some(reference)) = (cell.estimate, best_cell.estimate) else {
                assert_eq!(cell.standing, Standing::Unknown);
                continue;
            };
            let is_inside = (value.value - reference.value).abs() <= value.ci95.hypot(reference.ci95);
            let stands_level = matches!(cell.standing, Standing::Level | Standing::Best);
            assert_eq!(stands_level, is_inside, "{} lap {} {:?}", corner.name, row.lap, cell);
            assert_eq!(cell.standing == Standing::Best, row.is_best);
        }
        // No pass is quicker than the best one to the next corner, by more than the rounding of a sum.
        let whole = |cells: &[cornerbook::strip::Cell; 8]| Some(cells[5].estimate?.value + cells[6].estimate?.value);
        let least = table.rows.iter().filter_map(|it| whole(&it.cells)).fold(f64::INFINITY, f64::min);
        assert!((whole(&best.cells).unwrap() - least).abs() < 1e-9);
    }
}

#[test]
fn sorting_is_stable_and_total() {
    let table = PassRows::of(session(), 3, KMH);
    let keys = Figure::ALL.map(SortBy::Figure).into_iter().chain([SortBy::Lap, SortBy::Exit, SortBy::Tags]);
    for key in keys {
        let sorted = |mut rows: Vec<PassRow>| {
            rows.sort_by(|a, b| compare(key, false, a, b));
            rows.into_iter().map(|it| it.lap).collect::<Vec<_>>()
        };
        let mut backwards = table.rows.clone();
        backwards.reverse();
        assert_eq!(sorted(table.rows.clone()), sorted(backwards), "{key:?}");
    }
    let given =
        [PassGiven { lap: 5, is_good_exit: Some(true), tags: 3 }, PassGiven { lap: 77, ..PassGiven::default() }];
    let mut rows = table.with(&given).rows;
    rows.sort_by(|a, b| compare(SortBy::Exit, false, a, b));
    assert_eq!((rows.last().unwrap().lap, rows.last().unwrap().tags), (5, 3));
    assert_eq!(rows[0].lap, 0, "passes that are alike keep the order of laps");
}

#[test]
fn what_cannot_be_told_comes_last_whichever_way_the_table_is_sorted() {
    let mut rows: Vec<PassRow> =
        [(1, 3.0), (2, 5.0), (3, 4.0), (4, 5.0)].map(|it| PassRow::of_figures(it.0, it.1)).into();
    rows[2].cells.iter_mut().for_each(|it| it.estimate = None);
    let by = SortBy::Figure(Figure::ExitSpeed);
    let laps = |rows: &[PassRow]| rows.iter().map(|it| it.lap).collect::<Vec<_>>();
    rows.sort_by(|a, b| compare(by, false, a, b));
    assert_eq!(laps(&rows), [1, 2, 4, 3]);
    // As a list does that turns round what it is told.
    rows.sort_by(|a, b| compare(by, true, a, b).reverse());
    assert_eq!(laps(&rows), [2, 4, 1, 3]);
}

#[test]
fn a_table_of_passes() {
    let table = PassRows::of(session(), 3, KMH);
    let mut text = String::new();
    for row in &table.rows {
        let cells =
            row.cells.iter().map(|it| format!("{}{} {}", it.value, it.half_width, present::standing(it.standing)));
        let timing = row.apex_timing.map_or("", present::apex_timing);
        text.push_str(&format!("{}: {} {timing}\n", row.lap, cells.collect::<Vec<_>>().join(", ")));
    }
    expect![[r#"
        0: 61.9±0.8 worse, 49.8±0.5 worse, 54.8±0.4 worse, 60.8±0.5 worse, 54.7±0.3 worse, 3.64±0.04 worse, 0.15±0.02 worse, +1±3 level middle
        1: 65.9±0.8 level, 55.3±0.4 worse, 58.9±0.4 worse, 65.9±0.5 worse, 59.0±0.3 worse, 3.31±0.03 worse, 0.04±0.01 worse, +1±3 level middle
        2: 59.3±0.9 worse, 47.7±0.4 worse, 51.9±0.4 worse, 63.9±0.5 worse, 52.9±0.3 worse, 3.62±0.04 worse, 0.19±0.02 worse, -2±4 level middle
        3: 67.4±0.8 level, 56.2±0.3 level, 59.6±0.4 worse, 67.4±0.5 level, 60.2±0.3 level, 3.29±0.03 worse, 0.01±0.01 level, +1±3 level middle
        4: 66.7±0.8 best pass, 56.7±0.6 best pass, 60.3±0.4 best pass, 67.7±0.5 best pass, 60.6±0.3 best pass, 3.24±0.03 best pass, 0.000 best pass, +1±3 best pass middle
        5: 65.6±0.8 worse, 55.4±0.4 worse, 59.6±0.4 worse, 67.2±0.5 level, 59.9±0.3 worse, 3.32±0.03 worse, 0.02±0.01 worse, +1±3 level middle
        6: 67.4±0.9 level, 55.2±0.4 worse, 59.3±0.4 worse, 67.4±0.5 level, 59.7±0.3 worse, 3.30±0.03 worse, 0.02±0.01 worse, +1±3 level middle
        7: 67.4±0.8 level, 55.9±0.3 worse, 60.2±0.4 level, 67.8±0.5 level, 60.0±0.3 worse, 3.29±0.03 level, 0.01±0.01 level, +1±3 level middle
        8: 56.0±0.7 worse, 46.3±0.3 worse, 51.2±0.4 worse, 55.8±0.5 worse, 51.5±0.3 worse, 3.95±0.04 worse, 0.25±0.02 worse, +1±3 level middle
    "#]].assert_eq(&text);
}

#[test]
fn the_map_holds_the_lap_between_the_edges() {
    let picture = MapPicture::of(session(), Some(&track()), 3, Some(OtherLap::Here(4)));
    let bounds = picture.bounds.unwrap();
    let inside = |it: &Point| {
        (bounds.low.x_m..=bounds.high.x_m).contains(&it.x_m) && (bounds.low.y_m..=bounds.high.y_m).contains(&it.y_m)
    };
    assert!(picture.edges.len() == 2 && picture.corners.len() == 8);
    for line in [&picture.this, &picture.other] {
        assert!(line.as_ref().unwrap().trace.points.iter().all(|it| inside(&it.position)));
    }
    // The kart crosses the gate when the lap begins.
    let [left, right] = picture.gate.unwrap();
    let start = picture.this.as_ref().unwrap().trace.points[0].position;
    assert!(start.distance_m(left) < 8.0 && start.distance_m(right) < 8.0);
    // A click beside the line means the place beside it; one in the paddock means none.
    for point in picture.this.as_ref().unwrap().trace.points.iter().step_by(100) {
        let t_s = picture.nearest_t_s(point.position + Point::new(0.1, -0.1)).unwrap();
        assert!((t_s - point.t_s).abs() < 0.1);
        assert!(picture.kart_at(t_s).unwrap().distance_m(point.position) < 1.0);
    }
    assert!(picture.nearest_t_s(bounds.low + Point::new(-100.0, -100.0)).is_none());
    let elsewhere = TrackFile { start_finish: Some([[10.0, 10.0], [10.001, 10.0]]), ..TrackFile::default() };
    let samples = Arc::new(log::read("driver-a.csv", CSV, None).unwrap());
    let inputs = Inputs { samples, track: Some(elsewhere.clone()), marked_crossing_s: None, edits: Vec::new() };
    let analysis = analysis::run(&inputs, &job::Context::new()).unwrap();
    let gate = MapPicture::of(&analysis, Some(&elsewhere), 1, None).gate;
    assert!(gate.is_none_or(|it| it[0].distance_m(Point::default()) < 1000.0), "{gate:?}");
}

/// What the plot shows of one lap against another is what the table's times say.
#[test]
fn the_difference_over_a_corner_is_that_of_its_times() {
    let analysis = session();
    for corner in &analysis.corners {
        let plot = CornerPlot::of(analysis, corner.number, &[3, 4]);
        let exit_m = plot.exit_gate.unwrap();
        let time_s = |lap| analysis.passes.iter().find(|it| (it.lap, it.corner) == (lap, corner.number))?.time_s;
        let wanted_s = time_s(4).unwrap().value - time_s(3).unwrap().value;
        let at_exit = plot.difference.iter().min_by(|a, b| (a.0 - exit_m).abs().total_cmp(&(b.0 - exit_m).abs()));
        // Half a metre at most from the gate, at differences of speed of a few per cent.
        let found_s = at_exit.unwrap().1;
        assert!((found_s - wanted_s).abs() < 0.01, "{}: {found_s} for {wanted_s}", corner.name);
        assert!(plot.lines.iter().all(|it| it.marks.len() == 3), "{}", corner.name);
        let (from, to) = plot.lines[0].trace.range().unwrap();
        assert!(from >= -30.0 && to <= exit_m + 60.0 && to - from > exit_m + 85.0);
    }
    assert!(CornerPlot::of(analysis, 3, &[3, 99]).lines.len() == 1);
}
