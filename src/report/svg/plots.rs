//! Plots over distance: what one lap loses on another, and the speeds of two passes through a corner.

use maud::{Markup, html};

use crate::corners::Corner;
use crate::findings::Behind;
use crate::present;
use crate::report::svg::{Axes, Size, disc, line_path, picture, sign};
use crate::strip::{AxisKind, CornerPlot, PlotLine, Stretch, Trace};
use crate::units::SpeedUnit;

/// A plot of differences spans this much at least, s: less is noise drawn large.
const LEAST_SPAN_S: f64 = 0.2;
/// Steps of the speed plot, m: a pixel is no finer.
const STEP: f64 = 1.0;

/// How far behind a lap is along the way, with its interval, and where the corners are. `None` below two places.
pub(in crate::report) fn time_difference(
    size: Size,
    behind: &[Behind],
    corners: &[Corner],
    name: &str,
) -> Option<Markup> {
    let edges = |it: &Behind| [it.behind_s.value - it.behind_s.ci95, it.behind_s.value + it.behind_s.ci95];
    let all = behind.iter().flat_map(edges).filter(|it| it.is_finite());
    let (low, high) = all.fold((0.0_f64, 0.0_f64), |(low, high), it| (low.min(it), high.max(it)));
    let spare = (LEAST_SPAN_S - (high - low)).max(0.0) / 2.0;
    let x = Stretch { from: behind.first()?.distance_m, to: behind.last()?.distance_m };
    let axes = Axes::new(size, x, Stretch { from: low - spare, to: high + spare })?;
    let upper = behind.iter().map(|it| axes.point(it.distance_m, edges(it)[1]));
    let lower = behind.iter().rev().map(|it| axes.point(it.distance_m, edges(it)[0]));
    let middle = behind.iter().map(|it| axes.point(it.distance_m, it.behind_s.value));
    let stretches = corners.iter().flat_map(|it| shown_stretches(it, x));
    let mut taken = f64::NEG_INFINITY;
    Some(picture(
        "plot",
        size,
        name,
        &html! {
            @for (corner, stretch) in stretches {
                path.corner d=(band(&axes, stretch)) {}
                @let at = axes.x(0.5 * (stretch.from + stretch.to));
                // Discs that would lie over each other are left out, not pushed to where they are not.
                @if at >= taken + 21.0 {
                    (disc((at, 22.0), corner.number))
                    @let () = taken = at;
                }
            }
            (axes.grid("m from the start", "s behind"))
            path.interval d=(format!("{}Z", line_path(upper.chain(lower)))) {}
            path.zero d=(line_path([axes.point(x.from, 0.0), axes.point(x.to, 0.0)])) {}
            path.typical d=(line_path(middle)) {}
        },
    ))
}

/// Where a corner lies in what is shown; in two pieces where it spans the start.
fn shown_stretches(corner: &Corner, shown: Stretch) -> Vec<(&Corner, Stretch)> {
    let Some((from, to)) = corner.entry_gate_m.zip(corner.exit_gate_m) else { return Vec::new() };
    let pieces = if from <= to { vec![(from, to)] } else { vec![(shown.from, to), (from, shown.to)] };
    let inside = pieces.into_iter().map(|(from, to)| Stretch { from: from.max(shown.from), to: to.min(shown.to) });
    inside.filter(|it| it.length() > 0.0).map(|it| (corner, it)).collect()
}

fn band(axes: &Axes, stretch: Stretch) -> String {
    let (low, high) = (axes.y(axes.y.from), axes.y(axes.y.to));
    let (left, right) = (axes.x(stretch.from), axes.x(stretch.to));
    format!("{}Z", line_path([(left, low), (left, high), (right, high), (right, low)]))
}

/// The speeds of the best pass and, where there is one, of another. `None` where no speed is known.
pub(in crate::report) fn corner_speeds(size: Size, plot: &CornerPlot, unit: SpeedUnit, name: &str) -> Option<Markup> {
    let (low, high) = plot.speed_range_mps()?;
    let (low, high) = (unit.from_mps(low), unit.from_mps(high));
    let axes = Axes::new(size, plot.whole, Stretch { from: low - 2.0, to: high + 2.0 })?;
    let x_name = if plot.axis == AxisKind::Distance { "m from the entry gate" } else { "s from the turn-in" };
    let gates = [Some(0.0).filter(|_| plot.exit_gate.is_some()), plot.exit_gate].into_iter().flatten();
    let classed = plot.lines.iter().zip(["best", "typical"]);
    Some(picture(
        "plot",
        size,
        name,
        &html! {
            @if let Some(to) = plot.exit_gate {
                path.corner d=(band(&axes, Stretch { from: 0.0, to })) {}
            }
            (axes.grid(x_name, unit.symbol()))
            @for gate in gates {
                path.gate d=(axes.upright(gate)) {}
            }
            @for (line, class) in classed.clone().rev() {
                @for part in speed_parts(&axes, &line.trace, unit) {
                    path class=(class) d=(part) {}
                }
            }
            @for (line, class) in classed.rev() {
                @for (at, kind) in marks(&axes, line, unit) {
                    (sign(kind, at, class))
                }
            }
        },
    ))
}

/// One line for each part without a gap.
fn speed_parts(axes: &Axes, trace: &Trace, unit: SpeedUnit) -> Vec<String> {
    let mut parts: Vec<Vec<(f64, f64)>> = Vec::new();
    let mut last = f64::NEG_INFINITY;
    let step = if trace.axis == AxisKind::Distance { STEP } else { 0.0 };
    for point in &trace.points {
        let Some(speed_mps) = point.speed_mps else { continue };
        if point.is_after_gap || parts.is_empty() {
            parts.push(Vec::new());
        } else if point.along < last + step {
            continue;
        }
        last = point.along;
        let at = axes.point(point.along, unit.from_mps(speed_mps));
        parts.last_mut().expect("a part was begun above").push(at);
    }
    parts.into_iter().map(line_path).collect()
}

fn marks(axes: &Axes, line: &PlotLine, unit: SpeedUnit) -> Vec<((f64, f64), crate::corners::MarkKind)> {
    let placed = line.marks.iter().filter_map(|it| {
        let speed_mps = line.trace.speed_at(it.along)?;
        Some((axes.point(it.along, unit.from_mps(speed_mps)), it.kind))
    });
    placed.collect()
}

/// What the plot of a difference says, for those who cannot see it.
pub(in crate::report) fn difference_in_words(behind: &[Behind], lap: u32, best: u32) -> String {
    let at_end =
        behind.last().map_or_else(String::new, |it| format!(", at the end {} s", present::interval(it.behind_s)));
    format!("How far lap {lap} is behind lap {best} along the lap{at_end}")
}
