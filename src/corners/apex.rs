//! The apex: where a pass comes nearest to the inside edge – the given one, one estimated from the innermost of all
//! passes, or, where neither can be had, the curvature-weighted middle.

use crate::corners::find::Span;
use crate::corners::{ApexBy, Direction};
use crate::geom::Point;
use crate::session::{Estimate, NORMAL_CI95, Path, PathState};
use crate::signal::quantile::quantile;
use crate::track::drift::Drift;
use crate::track::{ReferenceLine, ReferencePoint};

/// The inside of one corner.
#[derive(Debug, Clone)]
pub(super) enum Inside {
    /// Part of the given edge near the corner: segments.
    Edge(Vec<(Point, Point)>),
    /// A circle that touches the innermost places of the passes in the middle of the corner.
    Envelope(Kerb),
    Unknown,
}

/// What is taken for the inside edge where none is given.
#[derive(Debug, Clone, Copy)]
pub(super) struct Kerb {
    centre: Point,
    radius_m: f64,
    /// Heading of the reference line where the kerb touches.
    heading_rad: f64,
    /// Standard deviation of where along the corner it touches, m.
    along_sigma_m: f64,
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
/// An inside edge is tighter than the line round it: its radius as a share of the line's, and how much of an apex's way
/// from the middle the unknown tightness leaves uncertain (standard deviation; trial, docs/methods.md#apex).
const KERB_SHARE: f64 = 0.5;
const TIGHTNESS_SHARE: f64 = 0.35;
/// Where along the corner the edge comes closest is not known better than this share of the spread of the turning
/// (standard deviation; trial, likewise).
const MIDDLE_SHARE: f64 = 0.35;
/// An apex lies inside the corner: this share of the turning comes before it, and as much after.
const LEAST_TURNED_SHARE: f64 = 0.10;
/// Steps along the pass when the nearest place is sought, s.
const STEP_S: f64 = 0.02;
/// Edge segments farther from the corner than this, m, belong to another part of the circuit.
const EDGE_NEAR_M: f64 = 30.0;

impl Inside {
    /// The segments of an edge that lie along the corner, each turned so that the track lies to its left.
    pub(super) fn from_edge(edge: &[Point], closed: bool, line: &ReferenceLine, span: &Span) -> Self {
        let along: Vec<ReferencePoint> = stations(span).filter_map(|at_m| line.at(at_m)).collect();
        let nearest = |point: Point| {
            let by_distance = |a: &&ReferencePoint, b: &&ReferencePoint| {
                a.position.distance_m(point).total_cmp(&b.position.distance_m(point))
            };
            along.iter().min_by(by_distance).filter(|it| it.position.distance_m(point) < EDGE_NEAR_M)
        };
        let closing = edge.last().zip(edge.first()).filter(|_| closed);
        let segments: Vec<(Point, Point)> = edge
            .windows(2)
            .map(|pair| (pair[0], pair[1]))
            .chain(closing.map(|(last, first)| (*last, *first)))
            .filter_map(|(a, b)| {
                let beside = nearest(a).or_else(|| nearest(b))?;
                // Files draw an edge either way; the kart goes along a right corner's with the track to its left.
                let forwards = (b - a).dot(Point::unit(beside.heading_rad)) >= 0.0;
                Some(if forwards == (span.direction == Direction::Right) { (a, b) } else { (b, a) })
            })
            .collect();
        if segments.is_empty() { Self::Unknown } else { Self::Edge(segments) }
    }

    /// A kerb that touches the innermost 5 % of the passes in the middle of the corner. That it lies there and how
    /// tight it is cannot be seen in lines that run alike; that lines which come in wide leave late can.
    /// `offset_m` gives each pass's offset to the left at an unrolled distance.
    pub(super) fn from_passes(
        line: &ReferenceLine,
        span: &Span,
        sign: f64,
        passes: usize,
        offset_m: impl Fn(usize, f64) -> Option<f64>,
    ) -> Self {
        let mut offsets: Vec<f64> =
            (0..passes).filter_map(|pass| offset_m(pass, span.middle_m)).map(|it| sign * it).collect();
        let Some(place) = line.at(span.middle_m).filter(|_| offsets.len() >= ENVELOPE_PASSES) else {
            return Self::Unknown;
        };
        offsets.sort_unstable_by(|a, b| b.total_cmp(a));
        let innermost_m = quantile(&offsets, INNERMOST_SHARE);
        let radius_m = KERB_SHARE * span.length_m() / span.angle_rad.max(1e-3);
        let inwards = Point::unit(place.heading_rad).left().scaled(sign);
        Self::Envelope(Kerb {
            centre: place.position + inwards.scaled(innermost_m + radius_m),
            radius_m,
            heading_rad: place.heading_rad,
            along_sigma_m: MIDDLE_SHARE * turning_spread_m(line, span),
        })
    }

    pub(super) fn by(&self) -> ApexBy {
        match self {
            Self::Edge(_) => ApexBy::Edge,
            Self::Envelope(_) => ApexBy::Envelope,
            Self::Unknown => ApexBy::Curvature,
        }
    }

    /// From the inside to a place, m; negative beyond it.
    fn gap_m(&self, point: Point) -> f64 {
        match self {
            Self::Edge(segments) => segments
                .iter()
                .map(|(a, b)| signed_distance_m(point, *a, *b))
                .min_by(|a, b| a.abs().total_cmp(&b.abs()))
                .unwrap_or(f64::NAN),
            Self::Envelope(kerb) => point.distance_m(kerb.centre) - kerb.radius_m,
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

/// Distance from a segment, m, negative to its right.
fn signed_distance_m(point: Point, a: Point, b: Point) -> f64 {
    let along = b - a;
    let share = ((point - a).dot(along) / along.dot(along).max(1e-12)).clamp(0.0, 1.0);
    point.distance_m(a + along.scaled(share)).copysign(along.cross(point - a))
}

/// Standard deviation of the places along a corner, each weighted by how much the line turns there, m.
fn turning_spread_m(line: &ReferenceLine, span: &Span) -> f64 {
    let (mut weight, mut moment, mut square) = (0.0, 0.0, 0.0);
    for at_m in stations(span) {
        let turning = line.at(at_m).map_or(0.0, |it| it.curvature_per_m.abs());
        let along_m = at_m - span.middle_m;
        weight += turning;
        moment += turning * along_m;
        square += turning * along_m * along_m;
    }
    let mean_m = moment / weight.max(1e-12);
    (square / weight.max(1e-12) - mean_m * mean_m).max(0.0).sqrt()
}

/// The apex of a pass between two log times. `None` where the path does not reach over them.
pub(super) fn apex(
    path: &Path,
    inside: &Inside,
    (from_s, to_s): (f64, f64),
    drift: &Drift,
    session_shift_m2: f64,
) -> Option<Nearest> {
    if to_s <= from_s {
        return None;
    }
    if matches!(inside, Inside::Unknown) {
        return curvature_middle(path, from_s, to_s);
    }
    let (from_s, to_s) = turning(path, from_s, to_s)?;
    let gap_at = |t_s: f64| path.at(t_s).map(|it| inside.gap_m(Point::new(it.x_m, it.y_m)));
    let (gap_m, t_s) = lowest(&gap_at, (from_s, to_s))?;
    let state = path.at(t_s)?;
    // An edge stands on the ground: what the whole session is shifted against it counts too.
    let shift_m2 = if matches!(inside, Inside::Edge(_)) { session_shift_m2 } else { 0.0 };
    let widest_s = 0.5 * (to_s - from_s);
    let along_m2 = drift.along_m2((&state).into()) + shift_m2;
    let nearest_s = nearest_ci95_s(&gap_at, (gap_m, t_s), &state, widest_s, along_m2);
    let ci95 = nearest_s.hypot(NORMAL_CI95 * inside.sigma_s(&state)).min(widest_s);
    let across_m2 = state.across_variance_m2 + drift.across_m2((&state).into()) + shift_m2;
    Some(Nearest { t_s: Estimate { value: t_s, ci95 }, gap_m: Some(Estimate::from_variance(gap_m, across_m2)) })
}

/// The stretch of a pass in which an apex may lie: the turning less a share at both ends. The whole pass where that is
/// nothing. `None` where the path does not reach over it.
fn turning(path: &Path, from_s: f64, to_s: f64) -> Option<(f64, f64)> {
    let (first, last) = (path.at(from_s)?.heading_rad, path.at(to_s)?.heading_rad);
    let turned = |t_s: f64| path.at(t_s).map_or(0.0, |it| (it.heading_rad - first) / (last - first));
    let steps = (to_s - from_s) / STEP_S;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a pass is seconds")]
    let mut times = (0..=steps.ceil() as usize).map(|step| from_s + STEP_S * step as f64);
    let begins_s = times.find(|t_s| turned(*t_s) >= LEAST_TURNED_SHARE)?;
    let ends_s = times.find(|t_s| turned(*t_s) >= 1.0 - LEAST_TURNED_SHARE)?;
    Some(if ends_s > begins_s { (begins_s, ends_s) } else { (from_s, to_s) })
}

/// The lowest gap and when it was: of the places where it is lower than to both sides, or else at an end.
fn lowest(gap_at: &impl Fn(f64) -> Option<f64>, (from_s, to_s): (f64, f64)) -> Option<(f64, f64)> {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a pass is seconds")]
    let steps = ((to_s - from_s) / STEP_S).ceil() as usize;
    let times = (0..=steps).map(|step| from_s + (to_s - from_s) * step as f64 / steps.max(1) as f64);
    let gaps: Vec<(f64, f64)> = times.map(|t_s| gap_at(t_s).map(|gap_m| (gap_m, t_s))).collect::<Option<_>>()?;
    let between = gaps.windows(3).filter(|it| it[1].0 <= it[0].0 && it[1].0 <= it[2].0).map(|it| it[1]);
    let least = |a: &(f64, f64), b: &(f64, f64)| a.0.total_cmp(&b.0);
    between.min_by(least).or_else(|| gaps.iter().copied().min_by(least))
}

impl Inside {
    /// What an inside that was not given leaves uncertain of an apex, s (standard deviation): where it comes closest,
    /// and how tight it is there.
    fn sigma_s(&self, at: &PathState) -> f64 {
        let Self::Envelope(kerb) = self else { return 0.0 };
        let seen = Point::new(at.x_m, at.y_m) - kerb.centre;
        // The kart's bearing from the kerb's centre against that of the middle; the kerb is as tight as the share says.
        let middle = Point::unit(kerb.heading_rad);
        let from_middle_rad = seen.dot(middle).atan2(seen.cross(middle).abs());
        let from_middle_m = from_middle_rad * kerb.radius_m / KERB_SHARE;
        kerb.along_sigma_m.hypot(TIGHTNESS_SHARE * from_middle_m) / at.speed_mps.max(1.0)
    }
}

/// The nearest place is where the path runs parallel to the edge: it shifts by the heading's error, and by what the
/// edge turns over the error along the path, over the relative curvature of the two – seen in how the gap opens.
/// Where the two run side by side for long, the noise decides where the gap is least: the slowest opening counts.
fn nearest_ci95_s(
    gap_at: &impl Fn(f64) -> Option<f64>,
    (gap_m, t_s): (f64, f64),
    state: &PathState,
    widest_s: f64,
    along_m2: f64,
) -> f64 {
    let opening = OPENING_SHARES
        .iter()
        .filter_map(|share| {
            let reach_s = (share * widest_s).clamp(0.05, 0.4);
            Some((gap_at(t_s - reach_s)? + gap_at(t_s + reach_s)? - 2.0 * gap_m) / (reach_s * reach_s))
        })
        .fold(f64::INFINITY, f64::min);
    if opening <= 0.0 {
        return widest_s;
    }
    let pace = state.speed_mps.max(1.0);
    let edge_per_m = (state.yaw_rate_radps.abs() + opening / pace) / pace;
    let slope_variance = pace * pace * (state.heading_variance + edge_per_m * edge_per_m * along_m2);
    (NORMAL_CI95 * slope_variance.sqrt() / opening + STEP_S).min(widest_s)
}

/// How far to both sides the opening of the gap is looked at, as shares of half the turning.
const OPENING_SHARES: [f64; 2] = [0.35, 0.7];

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

    /// Straight on to the east, then a left quarter of a circle of 20 m about (0, 20), then to the north.
    fn quarter() -> (ReferenceLine, Span, Path) {
        let place = |s_m: f64| {
            let turned = ((s_m - 30.0) / 20.0).clamp(0.0, std::f64::consts::FRAC_PI_2);
            let (before_m, after_m) = ((s_m - 30.0).min(0.0), (s_m - 30.0 - 20.0 * turned).max(0.0));
            let on_arc = Point::new(20.0 * turned.sin(), 20.0 - 20.0 * turned.cos());
            (on_arc + Point::new(before_m, after_m), turned)
        };
        let bend = |s_m: f64| if (30.0..61.4).contains(&s_m) { 0.05 } else { 0.0 };
        let points = (0..90).map(|index| {
            let s_m = f64::from(index);
            let (position, heading_rad) = place(s_m);
            ReferencePoint { distance_m: s_m, position, heading_rad, curvature_per_m: bend(s_m) }
        });
        let line = ReferenceLine { points: points.collect(), length_m: 90.0 };
        let span = Span {
            direction: Direction::Left,
            start_m: 30.0,
            middle_m: 45.7,
            end_m: 61.4,
            angle_rad: std::f64::consts::FRAC_PI_2,
            peak_curvature_per_m: 0.05,
            dip_share: 0.0,
        };
        let states = (0..900).map(|index| {
            let s_m = f64::from(index) * 0.1;
            let (position, heading_rad) = place(s_m);
            PathState {
                t_s: 0.1 * s_m,
                x_m: position.x_m,
                y_m: position.y_m,
                speed_mps: 10.0,
                heading_rad,
                yaw_rate_radps: 10.0 * bend(s_m),
                heading_variance: 1e-5,
                ..PathState::default()
            }
        });
        (line, span, Path { states: states.collect(), gaps: Vec::new() })
    }

    fn steady() -> Drift {
        Drift::unseen(crate::track::drift::Wander::from_walk(0.0))
    }

    #[test]
    fn without_an_edge_passes_that_run_alike_have_their_apex_in_the_middle_and_say_how_little_that_is() {
        let (line, span, path) = quarter();
        let inside = Inside::from_passes(&line, &span, 1.0, 6, |_, _| Some(0.0));
        let nearest = apex(&path, &inside, (3.0, 6.14), &steady(), 0.0).unwrap();
        assert!((nearest.t_s.value - 4.57).abs() < 0.05, "{nearest:?}");
        assert!(nearest.t_s.ci95 > 0.4 && nearest.gap_m.unwrap().value.abs() < 0.05, "{nearest:?}");
        assert!(matches!(Inside::from_passes(&line, &span, 1.0, 4, |_, _| Some(0.0)), Inside::Unknown));
    }

    #[test]
    fn a_pass_beyond_the_edge_has_one_apex_whichever_way_the_edge_is_drawn() {
        let (line, span, path) = quarter();
        // A kerb of 10 m radius that the path overruns by half a metre at its middle.
        let middle = Point::new(0.0, 20.0) + Point::unit(-std::f64::consts::FRAC_PI_4).scaled(9.5);
        let mut edge: Vec<Point> = (0..60)
            .map(|index| middle + Point::unit(-std::f64::consts::FRAC_PI_2 + f64::from(index) / 38.0).scaled(11.0))
            .collect();
        for _ in 0..2 {
            let inside = Inside::from_edge(&edge, false, &line, &span);
            let nearest = apex(&path, &inside, (3.0, 6.14), &steady(), 0.0).unwrap();
            let gap_m = nearest.gap_m.unwrap().value;
            assert!((nearest.t_s.value - 4.57).abs() < 0.05 && (gap_m + 0.5).abs() < 0.05, "{nearest:?}");
            edge.reverse();
        }
    }

    #[test]
    fn beside_a_parallel_edge_the_interval_is_as_wide_as_the_turning() {
        let (line, span, path) = quarter();
        let beside: Vec<Point> = (0..60)
            .map(|index| Point::new(0.0, 20.0) + Point::unit(-2.0 + f64::from(index) * 0.05).scaled(18.0))
            .collect();
        let nearest = apex(&path, &Inside::from_edge(&beside, false, &line, &span), (3.0, 6.14), &steady(), 0.0);
        assert!(nearest.unwrap().t_s.ci95 > 0.8, "{nearest:?}");
    }
}
