//! The table of one corner's passes: every figure in words with its interval and how it stands against the best pass.

use std::cmp::Ordering;

use crate::analysis::Analysis;
use crate::corners::figure::{ApexTiming, Figure, Standing, apex_place, best_pass, standing};
use crate::corners::{Corner, MarkKind, Pass};
use crate::present::{self, UNKNOWN};
use crate::session::Estimate;
use crate::track::LapKind;
use crate::units::SpeedUnit;

/// What is known of a pass from outside the analysis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct PassGiven {
    pub lap: u32,
    /// What a person said of the exit.
    pub is_good_exit: Option<bool>,
    pub tags: usize,
}

/// One figure of one pass.
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    pub figure: Figure,
    /// m/s, s or m.
    pub estimate: Option<Estimate>,
    /// In the reader's unit, or a dash.
    pub value: String,
    /// "±0.4", or empty.
    pub half_width: String,
    pub standing: Standing,
    /// A mark that this figure hangs on was moved by a person.
    pub is_moved: bool,
}

#[derive(Debug, Clone, PartialEq)]
pub struct PassRow {
    pub lap: u32,
    pub kind: Option<LapKind>,
    /// In the order of [`Figure::ALL`].
    pub cells: [Cell; 8],
    pub apex_timing: Option<ApexTiming>,
    pub edited: Vec<MarkKind>,
    /// Why figures are missing, in words.
    pub unclear: Vec<&'static str>,
    pub is_good_exit: Option<bool>,
    pub tags: usize,
    pub is_best: bool,
}

/// All passes of one corner, by lap.
#[derive(Debug, Clone, PartialEq)]
pub struct PassRows {
    pub corner: u32,
    /// Empty where there is no such corner.
    pub corner_name: String,
    pub unit: SpeedUnit,
    pub rows: Vec<PassRow>,
}

impl PassRows {
    /// No rows where the corner is not there or nobody went through it.
    pub fn of(analysis: &Analysis, corner: u32, unit: SpeedUnit) -> Self {
        let mut table = Self { corner, corner_name: String::new(), unit, rows: Vec::new() };
        let Some(found) = analysis.corners.iter().find(|it| it.number == corner) else { return table };
        table.corner_name.clone_from(&found.name);
        let length_m = analysis.reference.as_ref().map(|it| it.length_m);
        let passes = analysis.passes.iter().filter(|it| it.corner == corner);
        let best = best_pass(passes.clone());
        table.rows = passes
            .map(|pass| {
                let kind = analysis.laps.iter().find(|it| it.number == pass.lap).map(|it| it.kind);
                row(pass, kind, found, length_m, best, unit)
            })
            .collect();
        table.rows.sort_by_key(|it| it.lap);
        table
    }

    /// Adds what is known from outside; entries for laps without a row are passed over.
    pub fn with(mut self, given: &[PassGiven]) -> Self {
        for row in &mut self.rows {
            if let Some(given) = given.iter().find(|it| it.lap == row.lap) {
                (row.is_good_exit, row.tags) = (given.is_good_exit, given.tags);
            }
        }
        self
    }
}

impl PassRow {
    /// A row in which every figure has one value, whatever its unit, and the exit is good where that is above 0.
    pub fn of_figures(lap: u32, value: f64) -> Self {
        let cell = |figure| Cell {
            figure,
            estimate: Some(Estimate { value, ci95: 0.0 }),
            value: value.to_string(),
            half_width: String::new(),
            standing: Standing::Unknown,
            is_moved: false,
        };
        Self {
            lap,
            kind: None,
            cells: Figure::ALL.map(cell),
            apex_timing: None,
            edited: Vec::new(),
            unclear: Vec::new(),
            is_good_exit: Some(value > 0.0),
            tags: usize::from(value > 0.0),
            is_best: false,
        }
    }
}

fn row(
    pass: &Pass,
    kind: Option<LapKind>,
    corner: &Corner,
    length_m: Option<f64>,
    best: Option<&Pass>,
    unit: SpeedUnit,
) -> PassRow {
    let is_best = best.is_some_and(|it| it.lap == pass.lap);
    let cell = |figure: Figure| {
        let estimate = figure.of(pass, corner, length_m).filter(|it| it.value.is_finite());
        let best = best.and_then(|it| figure.of(it, corner, length_m));
        let (value, half_width) =
            estimate.map_or_else(|| (UNKNOWN.to_owned(), String::new()), |it| present::figure_value(figure, it, unit));
        let standing = match standing(figure, estimate, best) {
            Standing::Level if is_best => Standing::Best,
            standing => standing,
        };
        let is_moved = mark_under(figure).is_some_and(|it| pass.edited.contains(&it));
        Cell { figure, estimate, value, half_width, standing, is_moved }
    };
    PassRow {
        lap: pass.lap,
        kind,
        cells: Figure::ALL.map(cell),
        apex_timing: length_m.and_then(|it| apex_place(pass, corner, it)).map(|it| it.timing()),
        edited: pass.edited.clone(),
        unclear: pass.unclear.iter().map(|it| present::unclear(*it)).collect(),
        is_good_exit: None,
        tags: 0,
        is_best,
    }
}

/// The mark whose place decides a figure; gates are no marks.
fn mark_under(figure: Figure) -> Option<MarkKind> {
    match figure {
        Figure::EntrySpeed => Some(MarkKind::TurnIn),
        Figure::ExitSpeed => Some(MarkKind::Exit),
        Figure::ApexPlace => Some(MarkKind::Apex),
        _ => None,
    }
}

/// What a table of passes can be sorted by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SortBy {
    Lap,
    Exit,
    Tags,
    Figure(Figure),
}

/// Rising: laps by number, exits from bad over unsaid to good, figures by value. What cannot be told comes last, and
/// passes that are alike keep the order of laps, both also in a list that is then turned round, where `is_falling` says
/// so.
pub fn compare(by: SortBy, is_falling: bool, a: &PassRow, b: &PassRow) -> Ordering {
    let value = |row: &PassRow, figure: Figure| {
        let cell = row.cells.iter().find(|it| it.figure == figure);
        cell.and_then(|it| it.estimate).map(|it| it.value)
    };
    let exit = |row: &PassRow| row.is_good_exit.map_or(0, |it| if it { 1 } else { -1 });
    let in_either_way = |order: Ordering| if is_falling { order.reverse() } else { order };
    let order = match by {
        SortBy::Lap => return a.lap.cmp(&b.lap),
        SortBy::Exit => exit(a).cmp(&exit(b)),
        SortBy::Tags => a.tags.cmp(&b.tags),
        SortBy::Figure(figure) => match (value(a, figure), value(b, figure)) {
            (Some(a), Some(b)) => a.total_cmp(&b),
            (a, b) => in_either_way(a.is_none().cmp(&b.is_none())),
        },
    };
    order.then_with(|| in_either_way(a.lap.cmp(&b.lap)))
}
