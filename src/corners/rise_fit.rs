//! Where the curvature leaves the approach, from samples of the curvature itself: level, ramp, hold – a continuous line
//! of three pieces whose hold may slope, so that no share of a plateau has to say where the rise ends.

use nalgebra::{SMatrix, SVector};

/// One sample: place along the way, value, standard deviation of the value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Measured {
    pub(super) s: f64,
    pub(super) value: f64,
    pub(super) sigma: f64,
}

/// What is known before the fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Guess {
    /// The break lies between these two.
    pub(super) low: f64,
    pub(super) half: f64,
    /// Where the samples end, in the hold.
    pub(super) far: f64,
    pub(super) plateau: f64,
    /// The level before is expected to be 0 with this standard deviation.
    pub(super) level_sigma: f64,
}

/// The fitted rise: from and to where the ramp goes, and the variance of its beginning, in the unit of `s`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rise {
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) variance: f64,
}

/// Level, height of the ramp, slope of the hold; then the two breaks.
const UNKNOWNS: usize = 5;
type Unknowns = SVector<f64, UNKNOWNS>;
type Normal = SMatrix<f64, UNKNOWNS, UNKNOWNS>;

/// First breaks tried before and behind half height.
const TRIED: usize = 8;
/// The hold may slope by this share of the plateau over its fitted part (standard deviation).
const HOLD_SLOPE_SHARE: f64 = 0.10;
const MOST_ROUNDS: usize = 30;
/// No ramp is shorter than this share of the window.
const SHORTEST_SHARE: f64 = 0.02;

/// Degenerate: fewer than six samples, or a ramp that does not rise, give `None`.
pub(super) fn fit_rise(samples: &[Measured], guess: &Guess) -> Option<Rise> {
    if samples.len() < 6 || !(guess.low < guess.half && guess.half < guess.far) {
        return None;
    }
    let problem = Problem { samples, guess: *guess };
    let mut unknowns = problem.coarse()?;
    let mut damping = 1e-3;
    let (mut normal, mut right, mut squares) = problem.linearised(&unknowns);
    for _ in 0..MOST_ROUNDS {
        let mut damped = normal;
        for index in 0..UNKNOWNS {
            damped[(index, index)] *= 1.0 + damping;
        }
        let step = damped.cholesky()?.solve(&right);
        let candidate = unknowns + step;
        if problem.allows(&candidate) {
            let (next_normal, next_right, next_squares) = problem.linearised(&candidate);
            if next_squares <= squares {
                let gained = squares - next_squares;
                (unknowns, normal, right, squares) = (candidate, next_normal, next_right, next_squares);
                damping = (damping * 0.2).max(1e-9);
                if gained < 1e-4 {
                    break;
                }
                continue;
            }
        }
        damping = damping.max(1e-6) * 6.0;
        if damping > 1e6 {
            break;
        }
    }
    if unknowns[1] <= 0.0 {
        return None;
    }
    let free = samples.len() as f64 - UNKNOWNS as f64;
    let misfit = if free > 0.0 { (squares / free).max(1.0) } else { 1.0 };
    let variance = normal.try_inverse()?[(3, 3)];
    (variance > 0.0).then_some(Rise { from: unknowns[3], to: unknowns[4], variance: variance * misfit })
}

struct Problem<'a> {
    samples: &'a [Measured],
    guess: Guess,
}

impl Problem<'_> {
    fn slope_sigma(&self) -> f64 {
        HOLD_SLOPE_SHARE * self.guess.plateau / (self.guess.far - self.guess.half)
    }

    fn allows(&self, unknowns: &Unknowns) -> bool {
        let (from, to) = (unknowns[3], unknowns[4]);
        let shortest = SHORTEST_SHARE * (self.guess.far - self.guess.low);
        from >= self.guess.low && to <= self.guess.far && to - from >= shortest
    }

    /// The best of a grid of breaks about half height, its linear unknowns solved outright.
    fn coarse(&self) -> Option<Unknowns> {
        let Guess { low, half, far, .. } = self.guess;
        let reach = (half - low).min(far - half).max(0.5 * (far - half)).min(half - low);
        let mut best: Option<(f64, Unknowns)> = None;
        for before in 1..=TRIED {
            for behind in 1..=TRIED {
                let from = half - reach * before as f64 / TRIED as f64;
                let to = half + (far - half) * behind as f64 / TRIED as f64;
                let Some(found) = self.solved(from, to) else { continue };
                if best.is_none_or(|it| found.0 < it.0) {
                    best = Some(found);
                }
            }
        }
        best.map(|it| it.1)
    }

    fn solved(&self, from: f64, to: f64) -> Option<(f64, Unknowns)> {
        let mut normal = SMatrix::<f64, 3, 3>::zeros();
        let mut right = SVector::<f64, 3>::zeros();
        let mut total = 0.0;
        normal[(0, 0)] = self.guess.level_sigma.powi(-2);
        normal[(2, 2)] = self.slope_sigma().powi(-2);
        for it in self.samples {
            let weight = 1.0 / (it.sigma * it.sigma);
            let row = SVector::<f64, 3>::new(1.0, ((it.s - from) / (to - from)).clamp(0.0, 1.0), (it.s - to).max(0.0));
            normal += row * row.transpose() * weight;
            right += row * (it.value * weight);
            total += weight * it.value * it.value;
        }
        let linear = normal.cholesky()?.solve(&right);
        Some((total - linear.dot(&right), Unknowns::from([linear[0], linear[1], linear[2], from, to])))
    }

    fn linearised(&self, unknowns: &Unknowns) -> (Normal, Unknowns, f64) {
        let [level, height, slope, from, to] = unknowns.data.0[0];
        let mut normal = Normal::zeros();
        let mut right = Unknowns::zeros();
        let mut squares = 0.0;
        let mut add = |row: Unknowns, residual: f64, sigma: f64| {
            let weight = 1.0 / (sigma * sigma);
            normal += row * row.transpose() * weight;
            right += row * (residual * weight);
            squares += weight * residual * residual;
        };
        for it in self.samples {
            let ramp = ((it.s - from) / (to - from)).clamp(0.0, 1.0);
            let beyond = (it.s - to).max(0.0);
            let inside = if it.s > from && it.s < to { height / (to - from) } else { 0.0 };
            let to_moves = if it.s >= to { -slope } else { -ramp * inside };
            let row = Unknowns::from([1.0, ramp, beyond, -(1.0 - ramp) * inside, to_moves]);
            add(row, it.value - level - height * ramp - slope * beyond, it.sigma);
        }
        add(Unknowns::from([1.0, 0.0, 0.0, 0.0, 0.0]), -level, self.guess.level_sigma);
        add(Unknowns::from([0.0, 0.0, 1.0, 0.0, 0.0]), -slope, self.slope_sigma());
        // Weak: a ramp without a hold behind it has an end somewhere about the last sample.
        add(Unknowns::from([0.0, 0.0, 0.0, 0.0, 1.0]), self.guess.far - to, self.guess.far - self.guess.low);
        (normal, right, squares)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIGMA: f64 = 0.001;
    const TRUE_BREAK: f64 = 22.3;
    const PLATEAU: f64 = 0.06;
    const GUESS: Guess = Guess { low: 0.0, half: 26.0, far: 44.0, plateau: 0.066, level_sigma: 0.01 };

    /// A straight, a ramp of seven metres and a hold as given over its share, every half metre.
    fn samples(hold: impl Fn(f64) -> f64, noise: impl Fn(usize) -> f64) -> Vec<Measured> {
        (0..88)
            .map(|index| {
                let s = index as f64 * 0.5;
                let ramp = ((s - TRUE_BREAK) / 7.0).clamp(0.0, 1.0);
                let held = hold(((s - TRUE_BREAK - 7.0) / 14.0).max(0.0));
                Measured { s, value: PLATEAU * ramp * held + noise(index), sigma: SIGMA }
            })
            .collect()
    }

    /// A standard normal variable from a counter: splitmix64 bits, Box–Muller.
    fn normal(counter: u64) -> f64 {
        let uniform = |seed: u64| {
            let mut z = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15);
            z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
        };
        let radius = (-2.0 * uniform(2 * counter + 1).max(1e-12).ln()).sqrt();
        radius * (std::f64::consts::TAU * uniform(2 * counter + 2)).cos()
    }

    #[test]
    fn a_sloping_hold_does_not_move_the_break() {
        for slope in [-0.12, 0.0, 0.12] {
            let found = fit_rise(&samples(|share| 1.0 + slope * share, |_| 0.0), &GUESS).unwrap();
            assert!((found.from - TRUE_BREAK).abs() < 0.05, "slope {slope}: {found:?}");
        }
    }

    /// A sag is no straight line: what is left moves the break by centimetres, a thousandth of the way.
    #[test]
    fn a_sagging_hold_moves_the_break_by_centimetres() {
        let sag = |share: f64| 1.0 - 0.06 * (std::f64::consts::PI * share).sin();
        let found = fit_rise(&samples(sag, |_| 0.0), &GUESS).unwrap();
        assert!((found.from - TRUE_BREAK).abs() < 0.15, "{found:?}");
    }

    /// A correction of a twentieth of the plateau over ten metres, gone before the turn-in.
    #[test]
    fn a_small_correction_before_the_corner_is_not_the_turn_in() {
        let corrected: Vec<Measured> = samples(|_| 1.0, |_| 0.0)
            .into_iter()
            .map(|it| {
                let u = ((it.s - 9.0) / 10.0).clamp(0.0, 1.0);
                let wave = (std::f64::consts::TAU * u).sin() * (std::f64::consts::PI * u).sin();
                Measured { value: it.value + 0.05 * PLATEAU * wave, ..it }
            })
            .collect();
        let found = fit_rise(&corrected, &GUESS).unwrap();
        assert!((found.from - TRUE_BREAK).abs() < 0.25, "{found:?}");
    }

    #[test]
    fn the_stated_variance_is_the_scatter() {
        let found: Vec<Rise> = (0..300_u64)
            .map(|seed| fit_rise(&samples(|_| 1.0, |i| SIGMA * normal(seed * 1000 + i as u64)), &GUESS).unwrap())
            .collect();
        let scatter = found.iter().map(|it| (it.from - TRUE_BREAK).powi(2)).sum::<f64>() / 300.0;
        let stated = found.iter().map(|it| it.variance).sum::<f64>() / 300.0;
        assert!((0.7..1.4).contains(&(scatter / stated)), "scatter {scatter}, stated {stated}");
    }

    #[test]
    fn a_ramp_without_a_hold_behind_it_has_its_break() {
        let rising: Vec<Measured> = samples(|_| 1.0, |_| 0.0).into_iter().filter(|it| it.s < 28.0).collect();
        let found = fit_rise(&rising, &Guess { far: 28.0, ..GUESS }).unwrap();
        assert!((found.from - TRUE_BREAK).abs() < 0.1, "{found:?}");
    }

    #[test]
    fn what_does_not_rise_has_no_break() {
        let level: Vec<Measured> =
            (0..88).map(|i| Measured { s: f64::from(i) * 0.5, value: 0.0, sigma: SIGMA }).collect();
        assert_eq!(fit_rise(&level, &GUESS), None);
        assert_eq!(fit_rise(&level[..3], &GUESS), None);
    }
}
