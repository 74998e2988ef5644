//! Maps: the circuit with numbered corners, and one corner with the lines of two passes. North is up.

use maud::{Markup, html};

use crate::geom::Point;
use crate::report::svg::{Size, disc, line_path, picture, px, sign};
use crate::strip::{Bounds, CornerPlot, MapCorner, MapPicture, MapView, PlotLine, Trace, nice_length};

/// Free around a map, px; enough for the discs beside the track.
const BORDER: f64 = 40.0;
const CORNER_BORDER: f64 = 22.0;
/// A disc stands so far from the middle of its corner, px.
const DISC_AWAY: f64 = 24.0;
/// Two discs are so far apart that neither touches the other, px.
const DISCS_APART: f64 = 22.0;
/// Points of lines on a map are so far apart, px.
const STEP_PX: f64 = 1.5;

/// The circuit, its best lap, and `weight`s (0 to 1) by corner: how broad the corner's stretch is drawn.
pub(in crate::report) fn circuit_map(
    size: Size,
    map: &MapPicture,
    stretches: &[(Vec<Point>, f64)],
    name: &str,
) -> Option<Markup> {
    let view = MapView::fit(map.bounds?, size.width, size.height, BORDER);
    let centre = (0.5 * size.width, 0.5 * size.height);
    let inside = |(x, y): (f64, f64)| (x.clamp(12.0, size.width - 12.0), y.clamp(12.0, size.height - 12.0));
    let away = |it: &MapCorner, by: f64| {
        let (x, y) = view.to_px(it.middle);
        inside((x + it.outside.x_m * by, y - it.outside.y_m * by))
    };
    let discs = apart(&map.corners, away);
    let broad = |weight: f64| format!("stroke-width:{}px", px(3.0 + 9.0 * weight.clamp(0.0, 1.0)));
    Some(picture(
        "map",
        size,
        name,
        &html! {
            (ground(map, &view))
            @for (points, weight) in stretches {
                path.gain style=(broad(*weight)) d=(thinned(points.iter().copied(), &view)) {}
            }
            @if let Some(line) = &map.this {
                @for part in parts(&line.trace) {
                    path.best.thin d=(thinned(part, &view)) {}
                }
            }
            @for (it, at) in map.corners.iter().zip(discs) {
                path.lead d=(line_path([view.to_px(it.middle), at])) {}
                (disc(at, it.number))
            }
            (compass(&view, centre))
        },
    ))
}

/// Where the discs stand: outside of their corners, or where another stands there, inside or farther away.
fn apart(corners: &[MapCorner], away: impl Fn(&MapCorner, f64) -> (f64, f64)) -> Vec<(f64, f64)> {
    let mut placed: Vec<(f64, f64)> = Vec::with_capacity(corners.len());
    for corner in corners {
        let places = [1.0, -1.0, 1.9, -1.9].map(|it| away(corner, it * DISC_AWAY));
        let is_free = |at: &&(f64, f64)| placed.iter().all(|it| (it.0 - at.0).hypot(it.1 - at.1) >= DISCS_APART);
        placed.push(*places.iter().find(is_free).unwrap_or(&places[0]));
    }
    placed
}

/// One corner with the best pass and, where there is one, another.
pub(in crate::report) fn corner_map(
    size: Size,
    map: &MapPicture,
    corner: u32,
    plot: &CornerPlot,
    name: &str,
) -> Option<Markup> {
    let bounds: Bounds = map.corner(corner)?.bounds;
    let view = MapView::fit(bounds, size.width, size.height, CORNER_BORDER);
    let classed = plot.lines.iter().zip(["best", "typical"]);
    Some(picture(
        "map",
        size,
        name,
        &html! {
            (ground(map, &view))
            @for (line, class) in classed.clone().rev() {
                @for part in parts(&line.trace) {
                    path class=(class) d=(thinned(part, &view)) {}
                }
            }
            @for (line, class) in classed.rev() {
                @for (at, kind) in marks(line, &view) {
                    (sign(kind, at, class))
                }
            }
            (compass(&view, (0.5 * size.width, 0.5 * size.height)))
        },
    ))
}

/// The track between its edges; without edges, the reference line.
fn ground(map: &MapPicture, view: &MapView) -> Markup {
    let closed = |points: &[Point]| format!("{}Z", thinned(points.iter().copied(), view));
    let edge = |(points, is_closed): &(Vec<Point>, bool)| {
        if *is_closed { closed(points) } else { thinned(points.iter().copied(), view) }
    };
    let is_band = map.edges.len() == 2 && map.edges.iter().all(|it| it.1);
    let gate = map.gate.map(|ends| line_path(ends.map(|it| view.to_px(it))));
    html! {
        @if is_band {
            path.track d=(map.edges.iter().map(edge).collect::<String>()) {}
        }
        @for it in &map.edges {
            path.edge d=(edge(it)) {}
        }
        @if map.edges.is_empty() {
            path.reference d=(closed(&map.reference)) {}
        }
        @if let Some(gate) = gate {
            path.start d=(gate) {}
        }
    }
}

/// A scale bar and where north is.
fn compass(view: &MapView, (middle, _): (f64, f64)) -> Markup {
    let length_m = nice_length(view.px_per_m, 0.3 * view.width_px);
    let (length, y) = (length_m * view.px_per_m, view.height_px - 8.0);
    let right = 2.0 * middle - 14.0;
    let bar = line_path([(10.0, y - 5.0), (10.0, y), (10.0 + length, y), (10.0 + length, y - 5.0)]);
    html! {
        g.scale {
            path.halo d=(bar) {}
            path d=(bar) {}
            text x=(px(16.0 + length)) y=(px(y + 1.0)) { (px(length_m)) " m" }
            path.north d=(format!("{}Z", line_path([(right, 8.0), (right + 5.0, 22.0), (right - 5.0, 22.0)]))) {}
            text x=(px(right)) y="35" text-anchor="middle" { "N" }
        }
    }
}

/// The positions of a trace, in parts without gaps.
fn parts(trace: &Trace) -> Vec<Vec<Point>> {
    let mut parts: Vec<Vec<Point>> = Vec::new();
    for point in &trace.points {
        if point.is_after_gap || parts.is_empty() {
            parts.push(Vec::new());
        }
        parts.last_mut().expect("a part was begun above").push(point.position);
    }
    parts
}

fn marks(line: &PlotLine, view: &MapView) -> Vec<((f64, f64), crate::corners::MarkKind)> {
    let placed = line.marks.iter().filter_map(|it| Some((view.to_px(line.trace.position_at(it.along)?), it.kind)));
    placed.collect()
}

/// A line in pixels with no two points closer than a step; its last point stays.
fn thinned(points: impl IntoIterator<Item = Point>, view: &MapView) -> String {
    let mut kept: Vec<(f64, f64)> = Vec::new();
    let mut points = points.into_iter().map(|it| view.to_px(it)).peekable();
    while let Some((x, y)) = points.next() {
        let is_far = kept.last().is_none_or(|last| (last.0 - x).hypot(last.1 - y) >= STEP_PX);
        if is_far || points.peek().is_none() {
            kept.push((x, y));
        }
    }
    line_path(kept)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn discs_do_not_lie_over_each_other() {
        let corner = |number, x_m| MapCorner {
            number,
            name: String::new(),
            middle: Point::new(x_m, 0.0),
            outside: Point::new(0.0, 1.0),
            bounds: Bounds { low: Point::default(), high: Point::default() },
        };
        let corners = [corner(1, 0.0), corner(2, 5.0), corner(3, 100.0)];
        let away = |it: &MapCorner, by: f64| (it.middle.x_m, by * it.outside.y_m);
        assert_eq!(apart(&corners, away), [(0.0, 24.0), (5.0, -24.0), (100.0, 24.0)]);
    }

    #[test]
    fn a_line_keeps_its_last_point() {
        let view = MapView { centre: Point::default(), px_per_m: 1.0, width_px: 100.0, height_px: 100.0 };
        let points = [0.0, 0.5, 1.0, 2.0, 2.2].map(|x_m| Point::new(x_m, 0.0));
        assert_eq!(thinned(points, &view), "M50 50L52 50L52.2 50");
    }
}
