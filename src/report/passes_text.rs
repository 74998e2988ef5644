//! `passes` for people: laps, corners, then passes, as aligned text not wider than 100 columns.

use std::collections::BTreeMap;

use crate::corners::{Mark, Pass};
use crate::present::{self, Align, Table, UNKNOWN};
use crate::report::PassesView;
use crate::session::{Estimate, MarkKind};
use crate::track::{Lap, LapKind};
use crate::units::SpeedUnit;

/// How many passes one line on missing figures names before it counts the rest.
const MOST_NAMED: usize = 6;

/// The three tables. Times of passes count from the start of their lap; under the passes stands the median 95 %
/// half-width of each column. Marks that a person has moved carry a star.
pub fn passes_text(view: &PassesView<'_>, unit: SpeedUnit) -> String {
    let mut parts = vec![laps_text(view), corners_text(view)];
    let passes = passes_table(view, unit);
    if !passes.is_empty() {
        parts.push(format!(
            "Passes (seconds from the lap's start; speeds in {unit}, in and out at the corner's gates)\n{}",
            passes.to_text()
        ));
    }
    if view.passes().any(|pass| !pass.edited.is_empty()) {
        parts.push("* moved by hand\n".to_owned());
    }
    parts.retain(|it| !it.is_empty());
    parts.join("\n")
}

/// Why figures are missing, one line a reason, for standard error.
pub fn passes_unclear(view: &PassesView<'_>) -> Vec<String> {
    let mut by_reason: BTreeMap<&'static str, Vec<String>> = BTreeMap::new();
    for pass in view.passes() {
        for reason in &pass.unclear {
            let place = format!("lap {} {}", pass.lap, corner_label(view, pass));
            by_reason.entry(present::unclear(*reason)).or_default().push(place);
        }
    }
    by_reason
        .into_iter()
        .map(|(reason, places)| {
            let more = places.len().saturating_sub(MOST_NAMED);
            let named = places[..places.len() - more].join(", ");
            if more == 0 { format!("{named}: {reason}") } else { format!("{named} and {more} more: {reason}") }
        })
        .collect()
}

fn laps_text(view: &PassesView<'_>) -> String {
    let mut table = Table::new(&[
        ("lap", Align::Right),
        ("kind", Align::Left),
        ("starts at", Align::Right),
        ("time", Align::Right),
        ("", Align::Left),
        ("to best", Align::Right),
    ]);
    let timed = |lap: &&Lap| lap.kind == LapKind::Timed;
    let best =
        view.analysis.laps.iter().filter(timed).filter_map(|lap| lap.time_s).min_by(|a, b| a.value.total_cmp(&b.value));
    for lap in view.laps() {
        table.push(vec![
            lap.number.to_string(),
            present::lap_kind(lap.kind).to_owned(),
            present::clock_time(lap.start_t_s, 1),
            lap.time_s.map_or_else(|| UNKNOWN.to_owned(), present::lap_time),
            lap.time_s.map_or_else(String::new, |it| half_width(it.ci95)),
            to_best(lap, best),
        ]);
    }
    if table.is_empty() { "no laps\n".to_owned() } else { format!("Laps\n{}", table.to_text()) }
}

fn to_best(lap: &Lap, best: Option<Estimate>) -> String {
    match (lap.kind, lap.time_s, best) {
        (LapKind::Timed, Some(time_s), Some(best)) if time_s == best => "best".to_owned(),
        (LapKind::Timed, Some(time_s), Some(best)) => present::difference(time_s, best),
        _ => String::new(),
    }
}

fn corners_text(view: &PassesView<'_>) -> String {
    let mut table = Table::new(&[
        ("corner", Align::Right),
        ("name", Align::Left),
        ("way", Align::Left),
        ("turns", Align::Right),
        ("radius", Align::Right),
        ("entry gate", Align::Right),
        ("middle", Align::Right),
        ("exit gate", Align::Right),
    ]);
    let metres =
        |value: Option<f64>| value.map_or_else(|| UNKNOWN.to_owned(), |it| format!("{} m", present::fixed(it, 0)));
    for corner in view.corners() {
        table.push(vec![
            corner.number.to_string(),
            present::one_line(&corner.name),
            present::direction(corner.direction).to_owned(),
            format!("{}°", present::fixed(corner.angle_deg, 0)),
            metres(corner.min_radius_m),
            metres(corner.entry_gate_m),
            metres(corner.middle_m),
            metres(corner.exit_gate_m),
        ]);
    }
    if table.is_empty() {
        return String::new();
    }
    let line = match &view.analysis.reference {
        Some(line) => {
            format!(" (metres along the reference line of {} m, from the gate)", present::fixed(line.length_m, 0))
        }
        None => String::new(),
    };
    format!("Corners{line}\n{}", table.to_text())
}

fn passes_table(view: &PassesView<'_>, unit: SpeedUnit) -> Table {
    let columns = [
        ("lap", Align::Right),
        ("corner", Align::Left),
        ("turn-in", Align::Point),
        ("apex", Align::Point),
        ("exit", Align::Point),
        ("appr.", Align::Point),
        ("entry", Align::Point),
        ("min", Align::Point),
        ("exit", Align::Point),
        ("in", Align::Point),
        ("out", Align::Point),
        ("time", Align::Point),
        ("exit cost", Align::Point),
    ];
    let mut table = Table::new(&columns);
    let mut half_widths: Vec<Vec<f64>> = vec![Vec::new(); columns.len()];
    for pass in view.passes() {
        let figures = figures(view, pass, unit);
        let mut row = vec![pass.lap.to_string(), corner_label(view, pass)];
        for (column, (figure, moved)) in figures.iter().enumerate() {
            half_widths[column + 2].extend(figure.map(|it| it.ci95).filter(|it| it.is_finite()));
            let text =
                figure.map_or_else(|| UNKNOWN.to_owned(), |it| present::fixed(it.value, present::decimals(it.ci95)));
            row.push(if *moved { format!("{text}*") } else { text });
        }
        table.push(row);
    }
    if !table.is_empty() {
        let medians = half_widths.into_iter().skip(2).map(|it| median(it).map_or_else(String::new, half_width));
        table.push([String::new(), "typically".to_owned()].into_iter().chain(medians).collect());
    }
    table
}

/// The eleven figures of a row, speeds in the reader's unit, each with whether a person has moved its mark.
fn figures(view: &PassesView<'_>, pass: &Pass, unit: SpeedUnit) -> [(Option<Estimate>, bool); 11] {
    let lap_start_s = view.analysis.laps.iter().find(|it| it.number == pass.lap).map_or(0.0, |it| it.start_t_s);
    let time = |mark: Option<&Mark>, kind: MarkKind| {
        let in_lap = mark.map(|it| Estimate { value: it.t_s.value - lap_start_s, ci95: it.t_s.ci95 });
        (in_lap, pass.edited.contains(&kind))
    };
    let speed = |speed_mps: Option<Estimate>| {
        let shown = speed_mps.map(|it| Estimate { value: unit.from_mps(it.value), ci95: unit.from_mps(it.ci95) });
        (shown, false)
    };
    [
        time(pass.turn_in.as_ref(), MarkKind::TurnIn),
        time(pass.apex.as_ref().map(|it| &it.mark), MarkKind::Apex),
        time(pass.exit.as_ref(), MarkKind::Exit),
        speed(pass.approach_speed_mps),
        speed(pass.entry_speed_mps),
        speed(pass.min_speed_mps),
        speed(pass.exit_speed_mps),
        speed(pass.entry_gate_speed_mps),
        speed(pass.exit_gate_speed_mps),
        (pass.time_s, false),
        (pass.exit_cost_s, false),
    ]
}

/// "T1 left", or the corner's own name.
fn corner_label(view: &PassesView<'_>, pass: &Pass) -> String {
    present::one_line(&view.analysis.corner_name(pass.corner))
}

fn half_width(ci95: f64) -> String {
    format!("±{}", present::fixed(ci95, present::decimals(ci95)))
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let middle = values.len() / 2;
    Some(*values.select_nth_unstable_by(middle, f64::total_cmp).1)
}
