//! The apex: where a pass comes nearest to the inside edge – the given one, one estimated from the innermost of all
//! passes, or, where neither can be had, the curvature-weighted middle.

use crate::corners::ApexBy;
use crate::corners::find::Span;
use crate::geom::Point;
use crate::session::{Estimate, NORMAL_CI95, Path, PathState};
use crate::track::ReferenceLine;
use crate::track::drift::Wander;

/// The inside of one corner.
#[derive(Debug, Clone)]
pub(super) enum Inside {
    /// Part of the given edge near the corner: segments.
    Edge(Vec<(Point, Point)>),
    /// A circle through the innermost places of the passes.
    Envelope {
        centre: Point,
        radius_m: f64,
    },
    Unknown,
}

/// Place of the apex: time and gap.
#[derive(Debug, Clone, Copy)]
pub(super) struct Nearest {
    pub(super) t_s: Estimate,
    pub(super) gap_m: Option<Estimate>,
}

/// An envelope needs this many passes (design: the marks of a pass).
pub(super) const ENVELOPE_PASSES: usize = 5;
/// The share of passes that lies inside the envelope.
const INNERMOST_SHARE: f64 = 0.05;
/// Steps along the pass when the nearest place is sought, s.
const STEP_S: f64 = 0.02;
/// Edge segments farther from the corner than this, m, belong to another part of the circuit.
const EDGE_NEAR_M: f64 = 30.0;

impl Inside {
    /// The segments of an edge that lie along the corner.
    pub(super) fn from_edge(edge: &[Point], closed: bool, line: &ReferenceLine, span: &Span) -> Self {
        let along: Vec<Point> = stations(span).filter_map(|at_m| line.at(at_m).map(|it| it.position)).collect();
        let near = |point: Point| along.iter().any(|it| it.distance_m(point) < EDGE_NEAR_M);
        let mut segments: Vec<(Point, Point)> =
            edge.windows(2).map(|pair| (pair[0], pair[1])).filter(|(a, b)| near(*a) || near(*b)).collect();
        if let (true, [first, .., last]) = (closed, edge)
            && (near(*first) || near(*last))
        {
            segments.push((*last, *first));
        }
        if segments.is_empty() { Self::Unknown } else { Self::Edge(segments) }
    }

    /// A circle through the innermost 5 % of the passes' offsets over the middle half of the corner.
    /// `offsets_m` gives each pass's offset to the left at an unrolled distance.
    pub(super) fn from_passes(
        line: &ReferenceLine,
        span: &Span,
        sign: f64,
        passes: usize,
        offset_m: impl Fn(usize, f64) -> Option<f64>,
    ) -> Self {
        if passes < ENVELOPE_PASSES {
            return Self::Unknown;
        }
        let mut points = Vec::new();
        let quarter_m = 0.25 * span.length_m();
        for at_m in stations(span).filter(|it| (it - span.middle_m).abs() <= quarter_m.max(4.0)) {
            let mut offsets: Vec<f64> =
                (0..passes).filter_map(|pass| offset_m(pass, at_m)).map(|it| sign * it).collect();
            let Some(place) = line.at(at_m).filter(|_| offsets.len() >= ENVELOPE_PASSES) else { continue };
            offsets.sort_unstable_by(|a, b| b.total_cmp(a));
            let innermost = quantile(&offsets, INNERMOST_SHARE);
            points.push(place.position + Point::unit(place.heading_rad).left().scaled(sign * innermost));
        }
        match circle_through(&points) {
            Some((centre, radius_m)) if radius_m < 300.0 => Self::Envelope { centre, radius_m },
            _ => Self::Unknown,
        }
    }

    pub(super) fn by(&self) -> ApexBy {
        match self {
            Self::Edge(_) => ApexBy::Edge,
            Self::Envelope { .. } => ApexBy::Envelope,
            Self::Unknown => ApexBy::Curvature,
        }
    }

    fn gap_m(&self, point: Point) -> f64 {
        match self {
            Self::Edge(segments) => {
                segments.iter().map(|(a, b)| distance_to_segment_m(point, *a, *b)).fold(f64::INFINITY, f64::min)
            }
            Self::Envelope { centre, radius_m } => point.distance_m(*centre) - radius_m,
            Self::Unknown => f64::NAN,
        }
    }
}

/// Metres along the corner, at whole steps from its start to its end.
fn stations(span: &Span) -> impl Iterator<Item = f64> {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a corner is below a lap")]
    let count = span.length_m().ceil() as usize;
    let start_m = span.start_m;
    (0..=count).map(move |step| start_m + step as f64)
}

/// Value at a share of a sorted list, between its entries.
pub(super) fn quantile(sorted: &[f64], share: f64) -> f64 {
    let place = share * (sorted.len().saturating_sub(1)) as f64;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within the list")]
    let index = place.floor() as usize;
    let (a, b) = (sorted[index], sorted[(index + 1).min(sorted.len() - 1)]);
    a + (place - index as f64) * (b - a)
}

fn distance_to_segment_m(point: Point, a: Point, b: Point) -> f64 {
    let along = b - a;
    let share = ((point - a).dot(along) / along.dot(along).max(1e-12)).clamp(0.0, 1.0);
    point.distance_m(a + along.scaled(share))
}

/// Least-squares circle (Kåsa 1976: linear in centre and r² − |c|²). `None` for fewer than three points or a line.
fn circle_through(points: &[Point]) -> Option<(Point, f64)> {
    if points.len() < 3 {
        return None;
    }
    let origin = points[points.len() / 2];
    let (mut normal, mut right) = (nalgebra::Matrix3::<f64>::zeros(), nalgebra::Vector3::<f64>::zeros());
    for point in points {
        let p = *point - origin;
        let row = nalgebra::Vector3::new(2.0 * p.x_m, 2.0 * p.y_m, 1.0);
        normal += row * row.transpose();
        right += row * p.dot(p);
    }
    let solution = normal.lu().solve(&right)?;
    let radius_m = (solution[2] + solution[0] * solution[0] + solution[1] * solution[1]).sqrt();
    radius_m.is_finite().then(|| (origin + Point::new(solution[0], solution[1]), radius_m))
}

/// The apex of a pass between two log times. `None` where the path does not reach over them.
pub(super) fn apex(
    path: &Path,
    inside: &Inside,
    (from_s, to_s): (f64, f64),
    wander: Wander,
    session_shift_m2: f64,
) -> Option<Nearest> {
    if to_s <= from_s {
        return None;
    }
    if matches!(inside, Inside::Unknown) {
        return curvature_middle(path, from_s, to_s);
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a pass is seconds")]
    let steps = ((to_s - from_s) / STEP_S).ceil() as usize;
    let gap_at = |t_s: f64| path.at(t_s).map(|it| inside.gap_m(Point::new(it.x_m, it.y_m)));
    let mut best = (f64::INFINITY, from_s);
    for step in 0..=steps {
        let t_s = from_s + (to_s - from_s) * step as f64 / steps as f64;
        let gap_m = gap_at(t_s)?;
        if gap_m < best.0 {
            best = (gap_m, t_s);
        }
    }
    let state = path.at(best.1)?;
    let place_m2 = match inside {
        // An edge stands on the ground: what the whole session is shifted against it counts too.
        Inside::Edge(_) => wander.variance_m2 + session_shift_m2,
        Inside::Envelope { .. } | Inside::Unknown => wander.variance_m2,
    };
    Some(Nearest {
        t_s: Estimate { value: best.1, ci95: nearest_ci95_s(&gap_at, best, &state, (from_s, to_s), place_m2) },
        gap_m: Some(Estimate::from_variance(best.0, state.across_variance_m2 + place_m2)),
    })
}

/// The nearest place is where the path runs parallel to the edge: it shifts by the heading's error, and by what the
/// edge turns over the error along the path, over the relative curvature of the two – seen in how the gap opens.
fn nearest_ci95_s(
    gap_at: &impl Fn(f64) -> Option<f64>,
    (gap_m, t_s): (f64, f64),
    state: &PathState,
    (from_s, to_s): (f64, f64),
    place_m2: f64,
) -> f64 {
    let reach_s = (0.25 * (to_s - from_s)).clamp(0.05, 0.4);
    let widest_s = 0.5 * (to_s - from_s);
    let (Some(before), Some(after)) = (gap_at(t_s - reach_s), gap_at(t_s + reach_s)) else { return widest_s };
    let opening = (before + after - 2.0 * gap_m) / (reach_s * reach_s);
    if opening <= 0.0 {
        return widest_s;
    }
    let pace = state.speed_mps.max(1.0);
    let edge_per_m = (state.yaw_rate_radps.abs() + opening / pace) / pace;
    let slope_variance = pace * pace * (state.heading_variance + edge_per_m * edge_per_m * place_m2);
    (NORMAL_CI95 * slope_variance.sqrt() / opening + STEP_S).min(widest_s)
}

/// Middle of the corner weighted by curvature.
pub(super) fn curvature_middle(path: &Path, from_s: f64, to_s: f64) -> Option<Nearest> {
    let first = path.states.partition_point(|it| it.t_s < from_s);
    let last = path.states.partition_point(|it| it.t_s <= to_s);
    let (mut weight, mut moment, mut spread) = (0.0, 0.0, 0.0);
    for pair in path.states[first..last].windows(2) {
        let turned = (0.5 * (pair[0].yaw_rate_radps + pair[1].yaw_rate_radps) * (pair[1].t_s - pair[0].t_s)).abs();
        let middle_s = 0.5 * (pair[0].t_s + pair[1].t_s);
        weight += turned;
        moment += turned * middle_s;
        spread += turned * middle_s * middle_s;
    }
    if weight <= 0.0 {
        return None;
    }
    let mean_s = moment / weight;
    // Not the place nearest the edge but a stand-in for it: as wide as the turning itself is spread.
    let sigma_s = (spread / weight - mean_s * mean_s).max(0.0).sqrt();
    Some(Nearest { t_s: Estimate { value: mean_s, ci95: sigma_s }, gap_m: None })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_circle_through_its_own_points_is_found() {
        let points: Vec<Point> =
            (0..9).map(|i| Point::new(500.0, -300.0) + Point::unit(f64::from(i) * 0.1).scaled(12.0)).collect();
        let (centre, radius_m) = circle_through(&points).unwrap();
        assert!(centre.distance_m(Point::new(500.0, -300.0)) < 1e-6 && (radius_m - 12.0).abs() < 1e-6);
        assert!(circle_through(&points[..2]).is_none());
    }

    #[test]
    fn quantiles_lie_between_the_entries() {
        assert!((quantile(&[1.0, 2.0, 3.0, 4.0, 5.0], 0.1) - 1.4).abs() < 1e-12);
        assert!((quantile(&[7.0], 0.9) - 7.0).abs() < 1e-12);
    }
}
