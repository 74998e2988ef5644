//! A whole corner from positions and courses: level – ramp up – hold – ramp down – level, fitted at once.
//!
//! A course measures the integral of the curvature and a position its double integral, so the break of one ramp alone
//! is poorly determined; the straights before and after pin the whole. All unknowns – four break points, levels, the
//! pass's own heading and offset, the receiver's wander – enter one weighted least-squares problem (Gauss–Newton with
//! Levenberg's damping), measured against the smoothed path, about which positions are linear in the curvature.

use nalgebra::{DMatrix, DVector};

use crate::corners::rise_fit::Measured;

/// The path that courses and positions are measured against, at even steps along the way.
#[derive(Debug, Clone, Copy)]
pub(super) struct Along {
    pub(super) s: f64,
    /// Heading, rad; the corner bends it upward.
    pub(super) heading_rad: f64,
    /// Curvature, 1/m, positive into the corner.
    pub(super) curvature: f64,
}

/// What is expected of a ramp's length, m: mean and standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Expected {
    pub(super) mean: f64,
    pub(super) sigma: f64,
}

/// Everything known of one pass.
#[derive(Debug, Clone)]
pub(super) struct Evidence {
    /// Measured course less the path's, rad.
    pub(super) heading: Vec<Measured>,
    /// Measured position less the path's, towards the inside, m.
    pub(super) position: Vec<Measured>,
    /// Even steps from before the first sample to past the last.
    pub(super) along: Vec<Along>,
    /// Variance that the position error gains per metre driven, m²: a random walk beside the white part.
    pub(super) wander: f64,
    /// Curvature outside the corner is expected to be 0 with this standard deviation, 1/m.
    pub(super) level_sigma: f64,
    pub(super) rise: Expected,
    pub(super) fall: Expected,
    /// Where the corner has two apexes.
    pub(super) hold: Option<Hold>,
}

/// The hold between two apexes as the smoothed path has it.
#[derive(Debug, Clone)]
pub(super) struct Hold {
    /// (place, bend less the straight line from the first top's bend to the last's); 0 outside.
    pub(super) shape: Vec<(f64, f64)>,
    /// Bend of the first top and of the last.
    pub(super) before: f64,
    pub(super) after: f64,
}

/// The four break points of the shape, m along the way, rising.
pub(super) type Breaks = [f64; 4];

/// The fitted shape with the covariance of its break points, m².
#[derive(Debug, Clone)]
pub(super) struct Shape {
    pub(super) breaks: Breaks,
    pub(super) covariance: [[f64; 4]; 4],
}

impl Shape {
    /// Length of the ramp up (or down) with its variance.
    pub(super) fn ramp(&self, down: bool) -> (f64, f64) {
        let (from, to) = if down { (2, 3) } else { (0, 1) };
        let c = &self.covariance;
        (self.breaks[to] - self.breaks[from], c[from][from] + c[to][to] - 2.0 * c[from][to])
    }
}

/// Linear unknowns: level before; steps of the ramp up, of the hold's slope and of the ramp down; heading; offset;
/// sag of the hold; depth of a hold between two apexes against the smoothed path's.
const LINEAR: usize = 8;
/// Modes of the random walk fitted beside them (Karhunen–Loève expansion of a Wiener process).
const WANDER_MODES: usize = 5;
const BREAKS: usize = 4;
const UNKNOWNS: usize = LINEAR + WANDER_MODES + BREAKS;
/// The hold may slope by this share of the plateau (standard deviation).
const HOLD_SLOPE_SHARE: f64 = 0.1;
/// The hold may sag (or swell) half-way by this share of the plateau (standard deviation): two apexes, or a wheel eased.
const SAG_SHARE: f64 = 0.10;
/// Smoothing makes the dip between two apexes shallower, by an unknown share of it (standard deviation).
const DEPTH_SIGMA: f64 = 0.3;
/// No ramp and no hold is shorter than this, m.
const SHORTEST_M: f64 = 0.5;
const MOST_ROUNDS: usize = 25;

/// Fits the shape from first guesses of its break points and plateau. `None` where the evidence is too thin or the
/// search leaves the window.
pub(super) fn fit_shape(evidence: &Evidence, guess: Breaks, plateau: f64) -> Option<Shape> {
    if evidence.heading.len() + evidence.position.len() < 10 || evidence.along.len() < 4 {
        return None;
    }
    let problem = Problem::new(evidence, plateau);
    let mut unknowns = DVector::<f64>::zeros(UNKNOWNS);
    let (before, after) = problem.tops();
    unknowns[1] = before;
    unknowns[2] = after - before;
    unknowns[3] = after;
    unknowns[7] = 1.0;
    for (index, value) in guess.iter().enumerate() {
        unknowns[LINEAR + WANDER_MODES + index] = *value;
    }
    let mut damping = 1e-3;
    let (mut normal, mut right, mut squares) = problem.linearised(&unknowns);
    for _ in 0..MOST_ROUNDS {
        let mut damped = normal.clone();
        for index in 0..UNKNOWNS {
            damped[(index, index)] *= 1.0 + damping;
        }
        let step = damped.cholesky()?.solve(&right);
        let candidate = &unknowns + &step;
        let moved = step.rows(LINEAR + WANDER_MODES, BREAKS).amax();
        if problem.allows(&candidate) {
            let (next_normal, next_right, next_squares) = problem.linearised(&candidate);
            if next_squares <= squares {
                let gained = squares - next_squares;
                (unknowns, normal, right, squares) = (candidate, next_normal, next_right, next_squares);
                damping = (damping * 0.2).max(1e-9);
                if moved < 1e-3 || gained < 1e-6 {
                    break;
                }
                continue;
            }
        }
        damping = damping.max(1e-6) * 8.0;
        if damping > 1e8 {
            break;
        }
    }
    let covariance = normal.cholesky()?.inverse();
    let fitted = LINEAR + BREAKS - usize::from(evidence.hold.is_none());
    let free = (evidence.heading.len() + evidence.position.len()) as f64 - fitted as f64;
    let misfit = if free > 1.0 { (squares / free).max(1.0) } else { 1.0 };
    let at = LINEAR + WANDER_MODES;
    Some(Shape {
        breaks: std::array::from_fn(|index| unknowns[at + index]),
        covariance: std::array::from_fn(|row| {
            std::array::from_fn(|column| covariance[(at + row, at + column)] * misfit)
        }),
    })
}

/// Course and place that a curvature leads to, along the path: running integrals.
struct Led {
    heading: Vec<f64>,
    x: Vec<f64>,
    y: Vec<f64>,
}

/// A place between two steps of the path, with the direction there.
#[derive(Debug, Clone, Copy)]
struct Place {
    index: usize,
    share: f64,
    sin: f64,
    cos: f64,
}

struct Problem<'a> {
    evidence: &'a Evidence,
    plateau: f64,
    /// Sine and cosine of the heading at the middle of each step.
    directions: Vec<(f64, f64)>,
    heading_places: Vec<Place>,
    position_places: Vec<Place>,
    level: Led,
    path: Led,
    swing: Led,
    /// What the hold between two apexes leads to.
    hold: Led,
    span: (f64, f64),
}

impl<'a> Problem<'a> {
    fn new(evidence: &'a Evidence, plateau: f64) -> Self {
        let along = &evidence.along;
        let directions: Vec<(f64, f64)> =
            along.windows(2).map(|pair| (0.5 * (pair[0].heading_rad + pair[1].heading_rad)).sin_cos()).collect();
        let places = |samples: &[Measured]| samples.iter().map(|it| place(along, it.s)).collect();
        let samples = || evidence.position.iter().chain(&evidence.heading).map(|it| it.s);
        let mut problem = Self {
            evidence,
            plateau,
            directions,
            heading_places: places(&evidence.heading),
            position_places: places(&evidence.position),
            level: Led { heading: Vec::new(), x: Vec::new(), y: Vec::new() },
            path: Led { heading: Vec::new(), x: Vec::new(), y: Vec::new() },
            swing: Led { heading: Vec::new(), x: Vec::new(), y: Vec::new() },
            hold: Led { heading: Vec::new(), x: Vec::new(), y: Vec::new() },
            span: (samples().fold(f64::INFINITY, f64::min), samples().fold(f64::NEG_INFINITY, f64::max)),
        };
        problem.level = problem.led(|_| 1.0, 0.0);
        problem.path = problem.led(|index| along[index].curvature, 0.0);
        problem.swing = problem.led(|_| 0.0, 1.0);
        let shape: &[(f64, f64)] = evidence.hold.as_ref().map_or(&[], |it| &it.shape);
        problem.hold = problem.led(|index| read_off(shape, along[index].s), 0.0);
        problem
    }

    /// Bend expected at the beginning and the end of the hold.
    fn tops(&self) -> (f64, f64) {
        self.evidence.hold.as_ref().map_or((self.plateau, self.plateau), |it| (it.before, it.after))
    }

    /// Break points in order, ramps and hold of some length, all within the window.
    fn allows(&self, unknowns: &DVector<f64>) -> bool {
        let breaks = breaks_of(unknowns);
        breaks[0] >= self.span.0
            && breaks[3] <= self.span.1
            && breaks.windows(2).all(|pair| pair[1] - pair[0] >= SHORTEST_M)
    }

    fn led(&self, curvature: impl Fn(usize) -> f64, start_heading: f64) -> Led {
        let along = &self.evidence.along;
        let mut led = Led {
            heading: Vec::with_capacity(along.len()),
            x: Vec::with_capacity(along.len()),
            y: Vec::with_capacity(along.len()),
        };
        let (mut heading, mut x, mut y) = (start_heading, 0.0, 0.0);
        let mut last = curvature(0);
        led.push(heading, x, y);
        for index in 1..along.len() {
            let step = along[index].s - along[index - 1].s;
            let here = curvature(index);
            let next = heading + 0.5 * step * (last + here);
            let middle = 0.5 * (heading + next);
            let (sin, cos) = self.directions[index - 1];
            x -= step * middle * sin;
            y += step * middle * cos;
            (heading, last) = (next, here);
            led.push(heading, x, y);
        }
        led
    }

    /// The moving parts of the shape – ramp up, hold's slope, ramp down, sag – each as what it leads to.
    fn moving(&self, breaks: &Breaks) -> [Led; 4] {
        let along = &self.evidence.along;
        let ramp = |from: f64, to: f64| self.led(|index| ((along[index].s - from) / (to - from)).clamp(0.0, 1.0), 0.0);
        let sag = self.led(|index| -4.0 * hold_share(along[index].s, breaks).map_or(0.0, |it| it * (1.0 - it)), 0.0);
        [ramp(breaks[0], breaks[1]), ramp(breaks[1], breaks[2]), ramp(breaks[2], breaks[3]), sag]
    }

    /// Normal matrix, right side and weighted sum of squares of the residuals about some unknowns.
    fn linearised(&self, unknowns: &DVector<f64>) -> (DMatrix<f64>, DVector<f64>, f64) {
        let breaks = breaks_of(unknowns);
        let parts = self.moving(&breaks);
        let shifts = self.shifts(unknowns, &breaks);
        let mut system = System::new();
        for (it, place) in self.evidence.heading.iter().zip(&self.heading_places) {
            let read = |led: &Led| place.mix(&led.heading);
            let mut row = self.shared_row(read, &parts, &shifts);
            row[5] = 0.0;
            let model = self.model(unknowns, &row);
            system.add(&row, it.value + read(&self.path) - model, it.sigma);
        }
        let start = self.evidence.along[0].heading_rad;
        let length = (self.span.1 - self.span.0).max(1e-6);
        for (it, place) in self.evidence.position.iter().zip(&self.position_places) {
            let read = |led: &Led| -place.sin * place.mix(&led.x) + place.cos * place.mix(&led.y);
            let mut row = self.shared_row(read, &parts, &shifts);
            row[5] = place.cos * start.cos() + place.sin * start.sin();
            for mode in 0..WANDER_MODES {
                row[LINEAR + mode] = (frequency(mode) * (it.s - self.span.0) / length).sin();
            }
            let model = self.model(unknowns, &row);
            system.add(&row, it.value + read(&self.path) - model, it.sigma);
        }
        self.add_expectations(&mut system, unknowns, length);
        (system.normal, system.right, system.squares)
    }

    /// Columns that courses and positions have in common, read off by `read`.
    fn shared_row(&self, read: impl Fn(&Led) -> f64, parts: &[Led; 4], shifts: &[Led; 4]) -> [f64; UNKNOWNS] {
        let mut row = [0.0; UNKNOWNS];
        row[0] = read(&self.level);
        row[1] = read(&parts[0]);
        row[2] = read(&parts[1]);
        row[3] = -read(&parts[2]);
        row[4] = read(&self.swing);
        row[6] = read(&parts[3]);
        row[7] = read(&self.hold);
        for (index, shift) in shifts.iter().enumerate() {
            row[LINEAR + WANDER_MODES + index] = read(shift);
        }
        row
    }

    /// The model's value: its linear columns times the linear unknowns (the break points act through the columns).
    fn model(&self, unknowns: &DVector<f64>, row: &[f64; UNKNOWNS]) -> f64 {
        (0..LINEAR + WANDER_MODES).map(|index| row[index] * unknowns[index]).sum()
    }

    /// What moving each break point by a metre leads to. A ramp from `a` to `b` falls by the same amount all along
    /// when its beginning moves, weighted by how far its end is: d/da = −(1 − ramp)/(b − a), d/db = −ramp/(b − a).
    fn shifts(&self, unknowns: &DVector<f64>, breaks: &Breaks) -> [Led; 4] {
        let along = &self.evidence.along;
        let steps = [unknowns[1], unknowns[2], -unknowns[3]];
        let shift = |moved: usize| {
            self.led(
                |index| {
                    let s = along[index].s;
                    let sagged = hold_share(s, breaks).map_or(0.0, |share| {
                        let opening = 4.0 * unknowns[6] * (1.0 - 2.0 * share) / (breaks[2] - breaks[1]);
                        match moved {
                            1 => opening * (1.0 - share),
                            2 => opening * share,
                            _ => 0.0,
                        }
                    });
                    let ramped: f64 = (0..3)
                        .map(|part| {
                            let (from, to) = (breaks[part], breaks[part + 1]);
                            if s <= from || s >= to {
                                return 0.0;
                            }
                            let ramp = (s - from) / (to - from);
                            let slope = match moved {
                                _ if moved == part => -(1.0 - ramp) / (to - from),
                                _ if moved == part + 1 => -ramp / (to - from),
                                _ => 0.0,
                            };
                            steps[part] * slope
                        })
                        .sum();
                    ramped + sagged
                },
                0.0,
            )
        };
        [shift(0), shift(1), shift(2), shift(3)]
    }

    fn add_expectations(&self, system: &mut System, unknowns: &DVector<f64>, length: f64) {
        let mut expect = |columns: &[(usize, f64)], value: f64, sigma: f64| {
            let mut row = [0.0; UNKNOWNS];
            let mut now = 0.0;
            for (column, weight) in columns {
                row[*column] = *weight;
                now += weight * unknowns[*column];
            }
            system.add(&row, value - now, sigma);
        };
        expect(&[(0, 1.0)], 0.0, self.evidence.level_sigma);
        expect(&[(0, 1.0), (1, 1.0), (2, 1.0), (3, -1.0)], 0.0, self.evidence.level_sigma);
        let (before, after) = self.tops();
        expect(&[(2, 1.0)], after - before, HOLD_SLOPE_SHARE * self.plateau);
        expect(&[(7, 1.0)], 1.0, DEPTH_SIGMA);
        expect(&[(6, 1.0)], 0.0, SAG_SHARE * self.plateau);
        for mode in 0..WANDER_MODES {
            let sigma = (2.0 * self.evidence.wander * length).sqrt() / frequency(mode);
            expect(&[(LINEAR + mode, 1.0)], 0.0, sigma.max(1e-6));
        }
        // Weak: the path's own heading and offset are right to a radian and some metres.
        expect(&[(4, 1.0)], 0.0, 1.0);
        expect(&[(5, 1.0)], 0.0, 5.0);
        let at = LINEAR + WANDER_MODES;
        expect(&[(at + 1, 1.0), (at, -1.0)], self.evidence.rise.mean, self.evidence.rise.sigma);
        expect(&[(at + 3, 1.0), (at + 2, -1.0)], self.evidence.fall.mean, self.evidence.fall.sigma);
    }
}

impl Led {
    fn push(&mut self, heading: f64, x: f64, y: f64) {
        self.heading.push(heading);
        self.x.push(x);
        self.y.push(y);
    }
}

impl Place {
    fn mix(self, values: &[f64]) -> f64 {
        values[self.index] + self.share * (values[self.index + 1] - values[self.index])
    }
}

/// Value of rising pairs at a place, between them; 0 outside.
fn read_off(pairs: &[(f64, f64)], s: f64) -> f64 {
    let next = pairs.partition_point(|it| it.0 <= s);
    let (Some(a), Some(b)) = (next.checked_sub(1).and_then(|it| pairs.get(it)), pairs.get(next)) else { return 0.0 };
    a.1 + (b.1 - a.1) * (s - a.0) / (b.0 - a.0)
}

fn place(along: &[Along], s: f64) -> Place {
    let step = along[1].s - along[0].s;
    let exact = ((s - along[0].s) / step).clamp(0.0, (along.len() - 1) as f64);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the list")]
    let index = (exact as usize).min(along.len() - 2);
    let share = exact - index as f64;
    let heading_rad = along[index].heading_rad + share * (along[index + 1].heading_rad - along[index].heading_rad);
    let (sin, cos) = heading_rad.sin_cos();
    Place { index, share, sin, cos }
}

/// How far along the hold a place lies, 0 to 1; `None` outside it.
fn hold_share(s: f64, breaks: &Breaks) -> Option<f64> {
    (s > breaks[1] && s < breaks[2]).then(|| (s - breaks[1]) / (breaks[2] - breaks[1]))
}

fn breaks_of(unknowns: &DVector<f64>) -> Breaks {
    std::array::from_fn(|index| unknowns[LINEAR + WANDER_MODES + index])
}

fn frequency(mode: usize) -> f64 {
    (mode as f64 + 0.5) * std::f64::consts::PI
}

/// Normal equations of a weighted least-squares problem.
struct System {
    normal: DMatrix<f64>,
    right: DVector<f64>,
    squares: f64,
}

impl System {
    fn new() -> Self {
        Self { normal: DMatrix::zeros(UNKNOWNS, UNKNOWNS), right: DVector::zeros(UNKNOWNS), squares: 0.0 }
    }

    fn add(&mut self, row: &[f64; UNKNOWNS], residual: f64, sigma: f64) {
        let weight = 1.0 / (sigma * sigma);
        for (i, a) in row.iter().enumerate().filter(|(_, a)| **a != 0.0) {
            let weighted = weight * a;
            self.right[i] += weighted * residual;
            for (j, b) in row.iter().enumerate() {
                self.normal[(j, i)] += weighted * b;
            }
        }
        self.squares += weight * residual * residual;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STEP_M: f64 = 0.01;

    /// A place every centimetre: (s, x, y, heading, curvature).
    type Line = Vec<(f64, f64, f64, f64, f64)>;

    fn trapezoid(breaks: Breaks, s: f64) -> f64 {
        let ramp = |from: f64, to: f64| ((s - from) / (to - from)).clamp(0.0, 1.0);
        (ramp(breaks[0], breaks[1]) - ramp(breaks[2], breaks[3])) / 15.0
    }

    fn line(curvature: impl Fn(f64) -> f64) -> Line {
        let (mut x, mut y, mut heading) = (0.0_f64, 0.0_f64, 0.0_f64);
        (0..9000)
            .map(|index| {
                let s = f64::from(index) * STEP_M;
                let here = (s, x, y, heading, curvature(s));
                let middle = heading + 0.5 * STEP_M * curvature(s + 0.5 * STEP_M);
                x += STEP_M * middle.cos();
                y += STEP_M * middle.sin();
                heading += STEP_M * curvature(s + 0.5 * STEP_M);
                here
            })
            .collect()
    }

    fn evidence(truth: &Line, path: &Line) -> Evidence {
        let position = (0..60)
            .map(|index| {
                let (t, p) = (truth[index * 140], path[index * 140]);
                let value = -p.3.sin() * (t.1 - p.1) + p.3.cos() * (t.2 - p.2);
                Measured { s: p.0, value, sigma: 0.01 }
            })
            .collect();
        let along = path.iter().step_by(50).map(|it| Along { s: it.0, heading_rad: it.3, curvature: it.4 }).collect();
        let free = Expected { mean: 8.0, sigma: 10.0 };
        let (rise, fall) = (free, free);
        Evidence { heading: Vec::new(), position, along, wander: 1e-9, level_sigma: 0.01, rise, fall, hold: None }
    }

    fn trapezoids(truth: Breaks, path: Breaks) -> Evidence {
        evidence(&line(|s| trapezoid(truth, s)), &line(|s| trapezoid(path, s)))
    }

    /// Two arcs with a deep dip between them, which the path before the fit has shallower.
    #[test]
    fn a_dip_between_two_apexes_does_not_move_the_breaks() {
        let truth = [25.0, 32.0, 55.0, 63.0];
        let dip = |s: f64| (1.0 - ((s - 43.0) / 6.0).abs()).max(0.0);
        let with_dip = |breaks: Breaks, depth: f64| line(move |s| trapezoid(breaks, s) * (1.0 - depth * dip(s)));
        let path = with_dip([24.5, 32.5, 54.6, 63.5], 0.75);
        let mut evidence = evidence(&with_dip(truth, 0.9), &path);
        let fit = |evidence: &Evidence| fit_shape(evidence, [24.0, 33.0, 54.0, 64.0], 1.0 / 15.0);
        let off = |it: &Shape| (it.breaks[0] - truth[0]).abs().max((it.breaks[3] - truth[3]).abs());
        let without = fit(&evidence).map_or(f64::INFINITY, |it| off(&it));
        let shape = path.iter().step_by(50).filter(|it| it.0 > 33.0 && it.0 < 54.0).map(|it| (it.0, it.4 - 1.0 / 15.0));
        evidence.hold = Some(Hold { shape: shape.collect(), before: 1.0 / 15.0, after: 1.0 / 15.0 });
        let with = off(&fit(&evidence).unwrap());
        assert!(with < 0.3 && with < 0.5 * without, "{with} with the dip, {without} without");
    }

    #[test]
    fn positions_alone_place_all_four_breaks() {
        let truth = [30.0, 38.0, 47.0, 57.0];
        let found = fit_shape(&trapezoids(truth, [30.6, 38.5, 47.2, 56.4]), [29.0, 39.0, 46.0, 58.0], 0.06).unwrap();
        assert!((found.breaks[0] - truth[0]).abs() < 0.25 && (found.breaks[3] - truth[3]).abs() < 0.25, "{found:?}");
        for (found, truth) in found.breaks.iter().zip(truth) {
            // The hold may sag, so that its ends trade with the ramps; what is asked of the fit is the outer two.
            assert!((found - truth).abs() < 1.0, "{found} for {truth}");
        }
    }

    #[test]
    fn too_few_positions_place_nothing() {
        let mut thin = trapezoids([30.0, 38.0, 47.0, 57.0], [30.0, 38.0, 47.0, 57.0]);
        thin.position.truncate(9);
        assert!(fit_shape(&thin, [29.0, 39.0, 46.0, 58.0], 0.06).is_none());
    }
}
