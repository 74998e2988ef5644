//! `passes --format csv`: one row a pass, SI units, named as in the JSON, fields of a mark with a dot.

use crate::corners::{Mark, Pass};
use crate::present;
use crate::report::{PassesView, mark_name, round, unclear_code};
use crate::session::{Estimate, Samples};

/// The fields of one mark, after its name.
const MARK_FIELDS: [&str; 8] =
    ["t_s", "t_s_ci95", "utc", "latitude", "longitude", "distance_m", "speed_mps", "speed_mps_ci95"];

/// RFC 4180 with a header; what cannot be told is an empty cell, lists are joined by spaces.
pub fn passes_csv(view: &PassesView<'_>) -> String {
    let mut table = csv::Writer::from_writer(Vec::new());
    let rows = std::iter::once(header()).chain(view.passes().map(|pass| row(view, pass)));
    for row in rows {
        table.write_record(row).expect("memory takes every row, and all rows are as long as the header");
    }
    let bytes = table.into_inner().expect("memory takes every byte");
    String::from_utf8(bytes).expect("all cells are text")
}

fn header() -> Vec<String> {
    let marks = |name: &str| MARK_FIELDS.map(|field| format!("{name}.{field}")).to_vec();
    let mut cells = vec!["lap".to_owned(), "corner".to_owned(), "name".to_owned(), "direction".to_owned()];
    cells.extend(marks("turn_in"));
    cells.extend(marks("apex"));
    cells.extend(["apex.by", "apex.gap_m", "apex.gap_m_ci95"].map(str::to_owned));
    cells.extend(marks("exit"));
    for (name, _, _) in FIGURES {
        cells.extend([name.to_owned(), format!("{name}_ci95")]);
    }
    cells.extend(["edited", "unclear"].map(str::to_owned));
    cells
}

pub(super) type Figure = (&'static str, fn(&Pass) -> Option<Estimate>, fn(f64) -> Option<f64>);

pub(super) const FIGURES: [Figure; 10] = [
    ("approach_speed_mps", |it| it.approach_speed_mps, round::speed),
    ("entry_speed_mps", |it| it.entry_speed_mps, round::speed),
    ("min_speed_mps", |it| it.min_speed_mps, round::speed),
    ("min_speed_t_s", |it| it.min_speed_t_s, round::seconds),
    ("exit_speed_mps", |it| it.exit_speed_mps, round::speed),
    ("entry_gate_speed_mps", |it| it.entry_gate_speed_mps, round::speed),
    ("exit_gate_speed_mps", |it| it.exit_gate_speed_mps, round::speed),
    ("time_s", |it| it.time_s, round::seconds),
    ("path_m", |it| it.path_m, round::metres),
    ("exit_cost_s", |it| it.exit_cost_s, round::seconds),
];

fn row(view: &PassesView<'_>, pass: &Pass) -> Vec<String> {
    let name = view.analysis.corners.iter().find(|it| it.number == pass.corner).map(|it| it.name.clone());
    let mut cells = vec![
        pass.lap.to_string(),
        pass.corner.to_string(),
        name.unwrap_or_default(),
        present::direction(pass.direction).to_owned(),
    ];
    cells.extend(mark_cells(pass.turn_in.as_ref(), view.samples));
    cells.extend(mark_cells(pass.apex.as_ref().map(|it| &it.mark), view.samples));
    cells.push(pass.apex.map(|it| present::apex_by(it.by).to_owned()).unwrap_or_default());
    cells.extend(estimate_cells(pass.apex.and_then(|it| it.gap_m), round::metres));
    cells.extend(mark_cells(pass.exit.as_ref(), view.samples));
    for (_, figure, round) in FIGURES {
        cells.extend(estimate_cells(figure(pass), round));
    }
    cells.push(pass.edited.iter().map(|it| mark_name(*it)).collect::<Vec<_>>().join(" "));
    cells.push(pass.unclear.iter().map(|it| unclear_code(*it)).collect::<Vec<_>>().join(" "));
    cells
}

fn mark_cells(mark: Option<&Mark>, samples: &Samples) -> Vec<String> {
    let Some(mark) = mark else { return vec![String::new(); MARK_FIELDS.len()] };
    let mut cells = estimate_cells(Some(mark.t_s), round::seconds).to_vec();
    cells.push(samples.utc_at(mark.t_s.value).map(present::utc).unwrap_or_default());
    cells.push(number(mark.latitude_deg.and_then(round::position_deg)));
    cells.push(number(mark.longitude_deg.and_then(round::position_deg)));
    cells.push(number(mark.distance_m.and_then(round::metres)));
    cells.extend(estimate_cells(mark.speed_mps, round::speed));
    cells
}

fn estimate_cells(estimate: Option<Estimate>, round: fn(f64) -> Option<f64>) -> [String; 2] {
    let (value, ci95) = round::pair(estimate, round);
    [number(value), number(ci95)]
}

fn number(value: Option<f64>) -> String {
    value.map(|it| it.to_string()).unwrap_or_default()
}
