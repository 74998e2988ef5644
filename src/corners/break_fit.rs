//! The break where a rise begins: a continuous piecewise-linear fit – level, ramp, level – to what was measured of the
//! curvature along the way.
//!
//! Yaw rate over speed measures the curvature itself, a course its integral, a position its double integral; all three
//! enter one weighted least-squares problem. For each pair of break points the rest of the model is linear, so only
//! the two break points are searched (variable projection), and the covariance comes from the full Jacobian.

use nalgebra::{DMatrix, DVector};

/// One measurement at a place along the way: value and standard deviation.
#[derive(Debug, Clone, Copy)]
pub(super) struct Measured {
    pub(super) s: f64,
    pub(super) value: f64,
    pub(super) sigma: f64,
}

/// The path that courses and positions are measured against, at even steps along the way.
#[derive(Debug, Clone, Copy)]
pub(super) struct Along {
    pub(super) s: f64,
    /// Heading, rad.
    pub(super) heading_rad: f64,
    /// Curvature, 1/m.
    pub(super) curvature: f64,
}

/// Everything known of one rise, turned so that it goes forward and upward.
#[derive(Debug, Clone, Default)]
pub(super) struct Evidence {
    /// Curvature samples (or yaw rate against time), any unit.
    pub(super) curvature: Vec<Measured>,
    /// Measured course less the path's, rad.
    pub(super) heading: Vec<Measured>,
    /// Measured position less the path's, to the left, m.
    pub(super) position: Vec<Measured>,
    /// Needed for heading and position; even steps from before the first sample to past the last.
    pub(super) along: Vec<Along>,
    /// Variance that the position error gains per unit of `s`, m²: a random walk beside the white part.
    pub(super) wander: f64,
    /// Expected level before the rise is 0 with this standard deviation.
    pub(super) level_sigma: f64,
}

/// Where the rise begins and ends, with the variance of its beginning, in the unit of `s`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Break {
    pub(super) s: f64,
    pub(super) variance: f64,
    pub(super) top_s: f64,
    pub(super) level: f64,
}

/// Modes of the random walk that are fitted beside the line (Karhunen–Loève expansion of a Wiener process).
const WANDER_MODES: usize = 3;

impl Evidence {
    fn uses_path(&self) -> bool {
        !(self.heading.is_empty() && self.position.is_empty()) && self.along.len() > 2
    }

    fn columns(&self) -> usize {
        if self.uses_path() { 2 + 2 + WANDER_MODES } else { 2 }
    }

    fn span(&self) -> (f64, f64) {
        let all = self.curvature.iter().chain(&self.heading).chain(&self.position).map(|it| it.s);
        all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), s| (low.min(s), high.max(s)))
    }
}

/// The ramp from 0 at `from` to 1 at `to`.
fn ramp(s: f64, from: f64, to: f64) -> f64 {
    ((s - from) / (to - from)).clamp(0.0, 1.0)
}

/// One weighted linear system for given break points: rows, right side; solved by normal equations.
struct Linear {
    normal: DMatrix<f64>,
    right: DVector<f64>,
    square_sum: f64,
    rows: usize,
}

impl Linear {
    fn new(columns: usize) -> Self {
        Self { normal: DMatrix::zeros(columns, columns), right: DVector::zeros(columns), square_sum: 0.0, rows: 0 }
    }

    fn add(&mut self, row: &[f64], value: f64, sigma: f64) {
        let weight = 1.0 / (sigma * sigma);
        for (i, a) in row.iter().enumerate() {
            self.right[i] += weight * a * value;
            for (j, b) in row.iter().enumerate() {
                self.normal[(i, j)] += weight * a * b;
            }
        }
        self.square_sum += weight * value * value;
        self.rows += 1;
    }

    /// Solution and the weighted sum of squared residuals.
    fn solve(&self) -> Option<(DVector<f64>, f64)> {
        let solution = self.normal.clone().cholesky()?.solve(&self.right);
        let squares = self.square_sum - solution.dot(&self.right);
        Some((solution, squares.max(0.0)))
    }
}

/// Courses and positions that a curvature of given shape leads to, along the path: running integrals.
struct Led {
    heading: Vec<f64>,
    x: Vec<f64>,
    y: Vec<f64>,
}

impl Led {
    fn by(along: &[Along], curvature: impl Fn(&Along) -> f64) -> Self {
        let mut led = Self { heading: vec![0.0], x: vec![0.0], y: vec![0.0] };
        let (mut heading, mut x, mut y) = (0.0, 0.0, 0.0);
        for pair in along.windows(2) {
            let step = pair[1].s - pair[0].s;
            let next = heading + 0.5 * step * (curvature(&pair[0]) + curvature(&pair[1]));
            let middle = 0.5 * (heading + next);
            let (sin, cos) = (0.5 * (pair[0].heading_rad + pair[1].heading_rad)).sin_cos();
            x -= step * middle * sin;
            y += step * middle * cos;
            heading = next;
            led.heading.push(heading);
            led.x.push(x);
            led.y.push(y);
        }
        led
    }

    fn heading_at(&self, place: Place) -> f64 {
        place.mix(&self.heading)
    }

    fn left_at(&self, place: Place, heading_rad: f64) -> f64 {
        let (sin, cos) = heading_rad.sin_cos();
        -sin * place.mix(&self.x) + cos * place.mix(&self.y)
    }
}

/// A place between two steps of the path.
#[derive(Debug, Clone, Copy)]
struct Place {
    index: usize,
    share: f64,
}

impl Place {
    fn find(along: &[Along], s: f64) -> Self {
        let (first, step) = (along[0].s, along[1].s - along[0].s);
        let exact = ((s - first) / step).clamp(0.0, (along.len() - 1) as f64);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the list")]
        let index = (exact as usize).min(along.len() - 2);
        Self { index, share: exact - index as f64 }
    }

    fn mix(self, values: &[f64]) -> f64 {
        values[self.index] + self.share * (values[self.index + 1] - values[self.index])
    }
}

/// What does not depend on the break points, worked out once.
struct Fixed<'a> {
    evidence: &'a Evidence,
    level: Option<Led>,
    path: Option<Led>,
    span: (f64, f64),
}

impl<'a> Fixed<'a> {
    fn new(evidence: &'a Evidence) -> Self {
        let uses_path = evidence.uses_path();
        Self {
            evidence,
            level: uses_path.then(|| Led::by(&evidence.along, |_| 1.0)),
            path: uses_path.then(|| Led::by(&evidence.along, |it| it.curvature)),
            span: evidence.span(),
        }
    }

    /// The linear problem for given break points. `extra` adds columns for the Jacobian: derivatives of the ramp.
    fn linear(&self, from: f64, to: f64) -> Linear {
        let evidence = self.evidence;
        let columns = evidence.columns();
        let mut linear = Linear::new(columns);
        let mut row = vec![0.0; columns];
        for it in &evidence.curvature {
            row.fill(0.0);
            row[0] = 1.0;
            row[1] = ramp(it.s, from, to);
            linear.add(&row, it.value, it.sigma);
        }
        if let (Some(level), Some(path)) = (&self.level, &self.path) {
            let risen = Led::by(&evidence.along, |it| ramp(it.s, from, to));
            self.add_courses(&mut linear, level, path, &risen);
            self.add_positions(&mut linear, level, path, &risen);
        }
        row.fill(0.0);
        row[0] = 1.0;
        linear.add(&row, 0.0, evidence.level_sigma);
        linear
    }

    fn add_courses(&self, linear: &mut Linear, level: &Led, path: &Led, risen: &Led) {
        let mut row = vec![0.0; self.evidence.columns()];
        for it in &self.evidence.heading {
            let place = Place::find(&self.evidence.along, it.s);
            row.fill(0.0);
            row[0] = level.heading_at(place);
            row[1] = risen.heading_at(place);
            row[2] = 1.0;
            linear.add(&row, it.value + path.heading_at(place), it.sigma);
        }
    }

    fn add_positions(&self, linear: &mut Linear, level: &Led, path: &Led, risen: &Led) {
        let columns = self.evidence.columns();
        let along = &self.evidence.along;
        let mut row = vec![0.0; columns];
        let length = (self.span.1 - self.span.0).max(1e-6);
        let start_heading = along[0].heading_rad;
        for it in &self.evidence.position {
            let place = Place::find(along, it.s);
            let heading_rad = along[place.index].heading_rad
                + place.share * (along[place.index + 1].heading_rad - along[place.index].heading_rad);
            row.fill(0.0);
            row[0] = level.left_at(place, heading_rad);
            row[1] = risen.left_at(place, heading_rad);
            // A heading error at the start swings the whole path about it.
            row[2] = Led::left_of_swing(along, place, heading_rad);
            row[3] = (heading_rad - start_heading).cos();
            for mode in 0..WANDER_MODES {
                let frequency = (mode as f64 + 0.5) * std::f64::consts::PI;
                row[4 + mode] = (frequency * (it.s - self.span.0) / length).sin();
            }
            linear.add(&row, it.value + path.left_at(place, heading_rad), it.sigma);
        }
        for mode in 0..WANDER_MODES {
            let frequency = (mode as f64 + 0.5) * std::f64::consts::PI;
            row.fill(0.0);
            row[4 + mode] = 1.0;
            linear.add(&row, 0.0, (2.0 * self.evidence.wander * length).sqrt() / frequency);
        }
        if self.evidence.position.is_empty() {
            row.fill(0.0);
            row[3] = 1.0;
            linear.add(&row, 0.0, 1.0);
        }
    }

    fn squares(&self, from: f64, to: f64) -> f64 {
        self.linear(from, to).solve().map_or(f64::INFINITY, |it| it.1)
    }
}

impl Led {
    /// How far to the left a place of the path moves per radian of swing about the path's start.
    fn left_of_swing(along: &[Along], place: Place, heading_rad: f64) -> f64 {
        let (mut x, mut y) = (0.0, 0.0);
        for pair in along[..=place.index].windows(2) {
            let step = pair[1].s - pair[0].s;
            let (sin, cos) = (0.5 * (pair[0].heading_rad + pair[1].heading_rad)).sin_cos();
            x -= step * sin;
            y += step * cos;
        }
        let rest = place.share * (along[place.index + 1].s - along[place.index].s);
        let (sin, cos) = along[place.index].heading_rad.sin_cos();
        let (out_sin, out_cos) = heading_rad.sin_cos();
        -out_sin * (x - rest * sin) + out_cos * (y + rest * cos)
    }
}

/// Fits the rise. `from` and `to` are first guesses of its beginning and end; the beginning is sought within
/// `low..guess of the end`. `None` where the evidence cannot place it (too few samples, or no rise).
pub(super) fn fit_rise(evidence: &Evidence, guess: (f64, f64), low: f64, high: f64) -> Option<Break> {
    if evidence.curvature.len() + evidence.heading.len() + evidence.position.len() < 5 {
        return None;
    }
    let fixed = Fixed::new(evidence);
    let shortest = ((guess.1 - guess.0) * 0.15).max((high - low) * 1e-3);
    let (from, to, squares) = search(&fixed, guess, low, high, shortest)?;
    let (solution, _) = fixed.linear(from, to).solve()?;
    if solution[1] <= 0.0 {
        return None;
    }
    let variance = variance_of_beginning(&fixed, from, to, shortest)?;
    let free = fixed.linear(from, to).rows as f64 - evidence.columns() as f64 - 2.0;
    let misfit = if free > 1.0 { (squares / free).max(1.0) } else { 1.0 };
    Some(Break { s: from, variance: variance * misfit, top_s: to, level: solution[0] })
}

/// Compass search over the two break points, from several first lengths of the rise, with a shrinking step.
fn search(fixed: &Fixed<'_>, guess: (f64, f64), low: f64, high: f64, shortest: f64) -> Option<(f64, f64, f64)> {
    let mut best = (guess.0, guess.1.max(guess.0 + shortest), f64::INFINITY);
    best.2 = fixed.squares(best.0, best.1);
    let mut step = 0.5 * (guess.1 - guess.0).max(shortest);
    let smallest = (high - low) * 2e-4;
    while step > smallest {
        let tried = [(-step, 0.0), (step, 0.0), (0.0, -step), (0.0, step), (step, step), (-step, -step)]
            .into_iter()
            .map(|(a, b)| (best.0 + a, best.1 + b))
            .filter(|(from, to)| *from >= low && *to <= high && to - from >= shortest)
            .map(|(from, to)| (from, to, fixed.squares(from, to)))
            .min_by(|a, b| a.2.total_cmp(&b.2));
        match tried {
            Some(better) if better.2 < best.2 => best = better,
            _ => step *= 0.5,
        }
    }
    best.2.is_finite().then_some(best)
}

/// Variance of the beginning of the rise: half the inverse Hessian of the profiled sum of squares, by differences
/// wide enough that samples lie on both sides of each break point.
fn variance_of_beginning(fixed: &Fixed<'_>, from: f64, to: f64, shortest: f64) -> Option<f64> {
    let step = (0.25 * (to - from)).max(0.5 * shortest);
    let at = |a: f64, b: f64| fixed.squares(from + a * step, (to + b * step).max(from + a * step + 0.3 * shortest));
    let centre = at(0.0, 0.0);
    let aa = (at(1.0, 0.0) - 2.0 * centre + at(-1.0, 0.0)) / (step * step);
    let bb = (at(0.0, 1.0) - 2.0 * centre + at(0.0, -1.0)) / (step * step);
    let ab = (at(1.0, 1.0) - at(1.0, -1.0) - at(-1.0, 1.0) + at(-1.0, -1.0)) / (4.0 * step * step);
    let determinant = aa * bb - ab * ab;
    if aa <= 0.0 {
        return None;
    }
    // Where the top of the rise is not seen, the beginning is judged alone.
    Some(if determinant > 1e-6 * aa * bb && bb > 0.0 { 2.0 * bb / determinant } else { 2.0 / aa })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn even_ramp(noise: impl Fn(usize) -> f64) -> Evidence {
        let curvature = (0..60)
            .map(|i| {
                let s = i as f64 * 0.5;
                Measured { s, value: 0.08 * ramp(s, 12.3, 20.7) + noise(i), sigma: 0.001 }
            })
            .collect();
        Evidence { curvature, level_sigma: 0.02, ..Evidence::default() }
    }

    #[test]
    fn a_ramp_without_noise_is_found_exactly() {
        let found = fit_rise(&even_ramp(|_| 0.0), (10.0, 22.0), 0.0, 29.0).unwrap();
        assert!((found.s - 12.3).abs() < 0.02 && (found.top_s - 20.7).abs() < 0.02, "{found:?}");
    }

    #[test]
    fn positions_alone_place_the_break() {
        // Straight on, then a clothoid, then an arc of 12.5 m: positions by fine integration, path = straight line.
        let step = 0.01;
        let (mut x, mut y, mut heading) = (0.0_f64, 0.0_f64, 0.0_f64);
        let mut truth = vec![(0.0, x, y, heading)];
        for i in 0..2600 {
            let s = (f64::from(i) + 0.5) * step;
            let curvature = 0.08 * ramp(s, 12.3, 20.7);
            heading += curvature * step;
            x += step * (heading - 0.5 * curvature * step).cos();
            y += step * (heading - 0.5 * curvature * step).sin();
            truth.push((f64::from(i + 1) * step, x, y, heading));
        }
        // The path it is measured against: the same with its break half a metre late.
        let mut path = vec![(0.0, 0.0_f64, 0.0_f64, 0.0_f64, 0.0)];
        let (mut px, mut py, mut ph) = (0.0_f64, 0.0_f64, 0.0_f64);
        for i in 0..2600 {
            let s = (f64::from(i) + 0.5) * step;
            let curvature = 0.08 * ramp(s, 12.8, 20.7);
            ph += curvature * step;
            px += step * (ph - 0.5 * curvature * step).cos();
            py += step * (ph - 0.5 * curvature * step).sin();
            path.push((f64::from(i + 1) * step, px, py, ph, 0.08 * ramp(f64::from(i + 1) * step, 12.8, 20.7)));
        }
        let along = path.iter().step_by(25).map(|it| Along { s: it.0, heading_rad: it.3, curvature: it.4 }).collect();
        let position = (0..=25)
            .map(|metre| {
                let (t, p) = (truth[metre * 100], path[metre * 100]);
                let value = -p.3.sin() * (t.1 - p.1) + p.3.cos() * (t.2 - p.2);
                Measured { s: metre as f64, value, sigma: 0.01 }
            })
            .collect();
        let evidence = Evidence { position, along, wander: 1e-8, level_sigma: 0.02, ..Evidence::default() };
        let found = fit_rise(&evidence, (12.8, 20.7), 0.0, 25.0).unwrap();
        assert!((found.s - 12.3).abs() < 0.15, "{found:?}");
    }

    /// A standard normal variable from a counter: splitmix64 bits, Box–Muller.
    fn normal(counter: u64) -> f64 {
        let uniform = |seed: u64| {
            let mut z = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15);
            z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
        };
        (-2.0 * uniform(2 * counter + 1).max(1e-12).ln()).sqrt()
            * (std::f64::consts::TAU * uniform(2 * counter + 2)).cos()
    }

    #[test]
    fn the_stated_variance_is_the_scatter() {
        let found: Vec<Break> = (0..200_u64)
            .map(|seed| {
                let noisy = even_ramp(|i| 0.001 * normal(seed * 1000 + i as u64));
                fit_rise(&noisy, (10.0, 22.0), 0.0, 29.0).unwrap()
            })
            .collect();
        let scatter = found.iter().map(|it| (it.s - 12.3).powi(2)).sum::<f64>() / 200.0;
        let stated = found.iter().map(|it| it.variance).sum::<f64>() / 200.0;
        assert!((0.6..1.6).contains(&(scatter / stated)), "scatter {scatter}, stated {stated}");
    }
}
