//! Corners of the circuit, from the reference line's curvature.

use crate::corners::Direction;
use crate::track::ReferenceLine;

/// What counts as a corner.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CornerParams {
    /// A bend wider than this radius, m, is a straight. Default 150: wider than any bend a kart slows for
    /// (common practice, no source).
    pub max_radius_m: f64,
    /// A bend that turns less than this, degrees, is no corner. Default 20 (design: words).
    pub min_angle_deg: f64,
    /// Two same-way bends closer than this, m, between which the line never straightens, are one corner.
    pub merge_within_m: f64,
}

impl Default for CornerParams {
    fn default() -> Self {
        Self { max_radius_m: 150.0, min_angle_deg: 20.0, merge_within_m: 15.0 }
    }
}

/// One corner of the reference line. Distances are unrolled: `start_m` may lie before the gate (negative) and `end_m`
/// beyond a full lap; `middle_m` lies within the lap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    pub direction: Direction,
    pub start_m: f64,
    pub middle_m: f64,
    pub end_m: f64,
    /// Radians turned, positive.
    pub angle_rad: f64,
    /// 1/m, positive.
    pub peak_curvature_per_m: f64,
    /// How far the curvature dips between two arcs of the corner, as a share of the weaker one's peak; 0 where it has
    /// one arc.
    pub dip_share: f64,
}

impl Span {
    pub fn length_m(&self) -> f64 {
        self.end_m - self.start_m
    }
}

/// Between same-way bends the line straightens where its curvature falls below this share of the weaker one's.
const STRAIGHTENS_SHARE: f64 = 0.15;
/// A corner reaches out to where its curvature is this share of its peak.
const FOOT_SHARE: f64 = 0.3;

/// A run of points on one side of the threshold: [from, to) unrolled, with the sign of the bend.
#[derive(Debug, Clone, Copy)]
struct Run {
    from: usize,
    to: usize,
    sign: f64,
}

/// The corners in the order met after the gate.
/// Degenerate: an empty line, or one that never bends below the radius limit, gives none.
pub fn corners(line: &ReferenceLine, params: &CornerParams) -> Vec<Span> {
    let count = line.points.len();
    if count < 10 {
        return Vec::new();
    }
    let curvature: Vec<f64> = line.points.iter().map(|it| it.curvature_per_m).collect();
    let spacing_m = line.length_m / count as f64;
    let runs = merged(&runs(&curvature, 1.0 / params.max_radius_m), &curvature, params.merge_within_m / spacing_m);
    let mut spans: Vec<Span> = runs
        .iter()
        .enumerate()
        .map(|(index, run)| {
            let before = &runs[(index + runs.len() - 1) % runs.len()];
            let after = &runs[(index + 1) % runs.len()];
            // How far the feet may reach: half-way to the neighbours, unrolled.
            let reach_back = (run.from + count - before.to % count) % count / 2;
            let reach_on = (after.from + count - run.to % count) % count / 2;
            span(run, reach_back, reach_on, &curvature, spacing_m)
        })
        .filter(|span| span.angle_rad >= params.min_angle_deg.to_radians())
        .map(|span| within_lap(span, line.length_m))
        .collect();
    spans.sort_by(|a, b| a.middle_m.total_cmp(&b.middle_m));
    spans
}

fn runs(curvature: &[f64], threshold: f64) -> Vec<Run> {
    let count = curvature.len();
    let side = |index: usize| {
        let value = curvature[index % count];
        if value.abs() < threshold { 0.0 } else { value.signum() }
    };
    // Begin between two runs, so that none is cut by the start of the list.
    let Some(start) = (0..count).find(|index| (side(*index) - side(index + count - 1)).abs() > 0.5) else {
        // One sign all round (a circle): one run.
        return if side(0).abs() > 0.5 { vec![Run { from: 0, to: count, sign: side(0) }] } else { Vec::new() };
    };
    let mut runs: Vec<Run> = Vec::new();
    for index in start..start + count {
        let sign = side(index);
        if sign.abs() < 0.5 {
            continue;
        }
        match runs.last_mut() {
            Some(run) if run.to == index && (run.sign - sign).abs() < 0.5 => run.to += 1,
            _ => runs.push(Run { from: index, to: index + 1, sign }),
        }
    }
    runs
}

/// Joins same-way neighbours that the line never straightens between.
fn merged(runs: &[Run], curvature: &[f64], within: f64) -> Vec<Run> {
    let count = curvature.len();
    let peak = |run: &Run| (run.from..run.to).map(|it| curvature[it % count].abs()).fold(0.0, f64::max);
    let joins = |a: &Run, b: &Run, gap_from: usize, gap_to: usize| {
        let weaker = peak(a).min(peak(b));
        (a.sign - b.sign).abs() < 0.5
            && ((gap_to - gap_from) as f64) < within
            && (gap_from..gap_to).all(|it| curvature[it % count] * a.sign > STRAIGHTENS_SHARE * weaker)
    };
    let mut merged: Vec<Run> = Vec::new();
    for run in runs {
        match merged.last_mut() {
            Some(last) if joins(last, run, last.to, run.from) => last.to = run.to,
            _ => merged.push(*run),
        }
    }
    if let [first, .., last] = merged.as_slice()
        && joins(last, first, last.to, first.from + count)
    {
        let joined = Run { from: last.from, to: first.to + count, sign: last.sign };
        merged.pop();
        merged[0] = joined;
    }
    merged
}

fn span(run: &Run, reach_back: usize, reach_on: usize, curvature: &[f64], spacing_m: f64) -> Span {
    let count = curvature.len();
    let at = |index: usize| curvature[index % count] * run.sign;
    let peak = (run.from..run.to).map(at).fold(0.0, f64::max);
    // Unrolled once more, so that walking back from the first point stays positive.
    let (mut from, mut to) = (run.from + count, run.to + count);
    let (lowest, highest) = (from - reach_back.min(count / 2), to + reach_on.min(count / 2));
    while from > lowest && at(from - 1) > FOOT_SHARE * peak {
        from -= 1;
    }
    while to < highest && at(to) > FOOT_SHARE * peak {
        to += 1;
    }
    let angle_rad: f64 = (from..to).map(|index| at(index) * spacing_m).sum();
    let mut turned_rad = 0.0;
    let mut middle = from;
    while middle < to && turned_rad + at(middle) * spacing_m < 0.5 * angle_rad {
        turned_rad += at(middle) * spacing_m;
        middle += 1;
    }
    Span {
        direction: if run.sign > 0.0 { Direction::Left } else { Direction::Right },
        start_m: from as f64 * spacing_m,
        middle_m: middle as f64 * spacing_m,
        end_m: to as f64 * spacing_m,
        angle_rad,
        peak_curvature_per_m: peak,
        dip_share: dip_share(&(from..to).map(at).collect::<Vec<f64>>()),
    }
}

/// The deepest dip of a bend, as a share of the lower of the two peaks that it lies between.
fn dip_share(bend: &[f64]) -> f64 {
    let mut before = vec![0.0_f64; bend.len()];
    let mut peak = 0.0_f64;
    for (here, bend) in before.iter_mut().zip(bend) {
        peak = peak.max(*bend);
        *here = peak;
    }
    let (mut after, mut deepest) = (0.0_f64, 0.0_f64);
    for (here, before) in bend.iter().zip(&before).rev() {
        after = after.max(*here);
        let lower = after.min(*before);
        if lower > 0.0 {
            deepest = deepest.max(1.0 - here / lower);
        }
    }
    deepest
}

/// Moves a span by whole laps so that its middle lies within 0..length.
fn within_lap(span: Span, length_m: f64) -> Span {
    let shift_m = (span.middle_m / length_m).floor() * length_m;
    Span { start_m: span.start_m - shift_m, middle_m: span.middle_m - shift_m, end_m: span.end_m - shift_m, ..span }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dip_is_measured_against_the_lower_of_its_two_peaks() {
        assert!((dip_share(&[0.0, 0.5, 1.0, 0.2, 0.4, 0.8, 0.1]) - 0.75).abs() < 1e-12);
        assert!(dip_share(&[0.0, 0.6, 1.0, 0.9, 0.3]).abs() < 1e-12);
        assert!(dip_share(&[]).abs() < 1e-12);
    }
}
