//! Offset below a frame, and rate: how far the heading turns between two frames is held against how far the picture
//! does, by least squares over all frames, wrong shifts weighed down.
//!
//! Model for a pair of frames and a band at height y: turned = c · (Θ + e · y · Ω + q · Ω′) + b · time between, where Θ, Ω
//! and Ω′ are the changes of logged heading, yaw rate and its slope, at log times A + p + d · (p − centre) for presentation
//! time p. c turns radians into shares of the picture, b takes up a gyro's bias, A and d are the clock. e is what leans: a
//! camera that rolls with the side force moves the picture sideways above and below its middle, and a rolling exposure
//! takes its rows one after the other; both shift a band in time by so much a height. q is what rounds: a log smoothed
//! with standard deviation s has lost ½ s² Ω′ of each turn (the first term of Taylor's series), as headings from
//! positions have. Solved by Gauss–Newton.
//! Sources: Gauss–Newton and weights for outliers, any text on least squares (Cauchy's weights); intervals by the
//! sandwich over blocks of time, which holds for errors that last: K.-Y. Liang, S. L. Zeger, Biometrika 73 (1986) 13–22.

use nalgebra::{SMatrix, SVector};

use crate::clock::motion::search::Found;
use crate::clock::motion::seen::{SeenStep, SeenYaw};
use crate::clock::motion::turning::Turning;
use crate::clock::motion::{MotionFit, Mount};
use crate::session::ClockMap;

const ROUNDS: usize = 25;
/// One round moves the offset by at most this, s, so that it stays at the place that was found.
const LARGEST_STEP_S: f64 = 0.08;
/// Two quartz clocks differ by about this (one standard deviation), as a share: known before anything is seen.
/// Common practice, no source.
const USUAL_RATE: f64 = 50e-6;
/// Residuals at this many standard deviations count half.
const HALF_AT_SIGMAS: f64 = 2.0;
/// Stretches of one recording scatter by less than the first, the same circuit driven twice by more than the second, s
/// (trial: 0 to 19 ms against a gyro, up to 24 ms against positions alone; two drives of one invented driver, who is
/// steadier than any, from 30 ms on).
const ONE_DRIVE_S: f64 = 0.023;
const TWO_DRIVES_S: f64 = 0.030;
/// The same where a stretch's own timing is asked for.
const WILD_SIGMAS: f64 = 4.0;
/// Median of |x| of a standard normal variable.
const NORMAL_MEDIAN: f64 = 0.674_490;
/// Errors within a block of this length may go together, s.
const BLOCK_S: f64 = 2.0;
/// What no picture tells, s: whether a stamp means the beginning or the middle of the exposure, and which row of a
/// rolling one (trial: 8 ms between stamps and motion in real footage).
const EXPOSURE_SIGMA_S: f64 = 0.004;

/// A far part lower than this, on the scale of heights, is that of a picture upside down (trial).
const BELOW: f64 = 0.15;
/// How far the middle of a picture and its edge are apart in time (one standard deviation), s: more than
/// this is rather near things in the lower bands, which would be carried on to the middle of the picture (trial).
const USUAL_LEAN_S: f64 = 0.004;

/// How much a log is rounded (one standard deviation), s²: as by 0.2 s of smoothing (trial: positions alone 0.1 to 0.3 s).
const USUAL_ROUNDING_S2: f64 = 0.02;
/// The slope of the yaw rate is taken over this to both sides, s: shorter follows a gyro's noise.
const SLOPE_S: f64 = 0.1;

/// How many unknowns there are: c, b, A, d, e and q.
const COUNT: usize = 6;
type Unknowns = SVector<f64, COUNT>;
type Matrix = SMatrix<f64, COUNT, COUNT>;

/// One pair of frames in one band against the model: its Jacobian, what is left, and its weight.
struct Row {
    at_s: f64,
    slope: Unknowns,
    residual: f64,
    /// As seen, and with wrong shifts weighed down.
    seen_weight: f64,
    weight: f64,
}

pub(super) fn refine(log: &Turning, seen: &SeenYaw, found: &Found) -> MotionFit {
    let inside = |it: &&SeenStep| it.weight > 0.0 && log.at(found.log_t_s + it.from_s).is_some();
    let (mut sum_s, mut weights) = (0.0, 0.0);
    for step in seen.steps.iter().filter(inside) {
        sum_s += step.weight * step.from_s;
        weights += step.weight;
    }
    let centre_s = if weights > 0.0 { sum_s / weights } else { 0.0 };
    let scale = starting_scale(log, seen, found.log_t_s);
    let mut unknowns = Unknowns::from([scale, 0.0, found.log_t_s, 0.0, 0.0, 0.0]);
    let mut sigma = f64::INFINITY;
    let mut rows = Vec::new();
    let mut prior_sigma = 0.0;
    for _ in 0..ROUNDS {
        rows = rows_of(log, seen, centre_s, &unknowns);
        sigma = spread(&rows, sigma);
        weigh_down(&mut rows, sigma);
        // Errors that last make the frames tell less than their number: what is known beforehand then counts for more.
        prior_sigma = sigma * lasting(&rows, sigma);
        let Some(mut step) = solve(&rows, prior_sigma, &unknowns) else { break };
        step[2] = step[2].clamp(-LARGEST_STEP_S, LARGEST_STEP_S);
        unknowns += step;
        unknowns[3] = unknowns[3].clamp(-5.0 * USUAL_RATE, 5.0 * USUAL_RATE);
        if step[2].abs() < 1e-6 && step[3].abs() < 1e-9 {
            break;
        }
    }
    let wander_s = wander_s(&rows, sigma);
    let (sigma_s, sigma_rate) = spread_of_clock(&rows, prior_sigma);
    let [scale, _, offset_s, rate] = [unknowns[0], unknowns[1], unknowns[2], unknowns[3]];
    let mount = Mount { reversed: scale < 0.0, far_part_below: seen.far_part > BELOW, looks_back: seen.looks_back };
    MotionFit {
        map: ClockMap { log_t_s_at_zero: offset_s - rate * centre_s, rate_ppm: rate * 1e6 },
        sigma_s: sigma_s.hypot(EXPOSURE_SIGMA_S),
        sigma_ppm: sigma_rate * 1e6,
        centre_s,
        confidence: found.confidence * steadiness(wander_s),
        correlation: found.correlation,
        next_best_ratio: found.next_best_ratio,
        next_best_t_s: found.next_best_t_s,
        radians_per_width: if scale.abs() > 1e-9 { 1.0 / scale } else { 0.0 },
        mount,
        wander_s,
        seen_s: found.overlap_s,
        surface: found.surface.clone(),
    }
}

/// Shares of the width per radian, by the regression of what was seen on what was logged.
fn starting_scale(log: &Turning, seen: &SeenYaw, offset_s: f64) -> f64 {
    let (mut logged2, mut both) = (0.0, 0.0);
    for step in &seen.steps {
        let (Some(a), Some(b)) = (log.at(offset_s + step.from_s), log.at(offset_s + step.to_s)) else { continue };
        let turned = b.0 - a.0;
        logged2 += step.weight * turned * turned;
        both += step.weight * turned * step.turned;
    }
    if logged2 > 0.0 { both / logged2 } else { 0.0 }
}

fn rows_of(log: &Turning, seen: &SeenYaw, centre_s: f64, unknowns: &Unknowns) -> Vec<Row> {
    let [scale, bias, offset_s, rate, lean_s, rounding_s2] = (*unknowns).into();
    let log_t_s = |at_s: f64| offset_s + at_s + rate * (at_s - centre_s);
    let mut rows = Vec::new();
    for step in seen.steps.iter().filter(|it| it.weight > 0.0) {
        let (Some(from), Some(to)) = (log.at(log_t_s(step.from_s)), log.at(log_t_s(step.to_s))) else { continue };
        let (turned, change, seconds) = (to.0 - from.0, to.1 - from.1, step.to_s - step.from_s);
        let by_rate = scale * (to.1 * (step.to_s - centre_s) - from.1 * (step.from_s - centre_s));
        let bend = slope_at(log, log_t_s(step.to_s)) - slope_at(log, log_t_s(step.from_s));
        for ((seen_turn, weight), height) in step.bands.iter().zip(&seen.heights).filter(|it| it.0.1 > 0.0) {
            let logged = turned + lean_s * height * change + rounding_s2 * bend;
            let slope = [logged, seconds, scale * change, by_rate, scale * height * change, scale * bend].into();
            let residual = seen_turn - scale * logged - bias * seconds;
            rows.push(Row { at_s: step.from_s, slope, residual, seen_weight: *weight, weight: *weight });
        }
    }
    rows
}

/// How fast the yaw rate changes, rad/s²; 0 where that is not known.
fn slope_at(log: &Turning, t_s: f64) -> f64 {
    let ends = log.at(t_s - SLOPE_S).zip(log.at(t_s + SLOPE_S));
    ends.map_or(0.0, |(before, after)| (after.1 - before.1) / (2.0 * SLOPE_S))
}

/// Standard deviation of the residuals by their median, which a few wrong shifts do not move. `last` where there are none.
fn spread(rows: &[Row], last: f64) -> f64 {
    let mut sizes: Vec<f64> = rows.iter().map(|it| it.residual.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    sizes.get(sizes.len() / 2).map_or(last, |it| (it / NORMAL_MEDIAN).max(1e-7))
}

fn weigh_down(rows: &mut [Row], sigma: f64) {
    for row in rows {
        row.weight /= 1.0 + (row.residual / (HALF_AT_SIGMAS * sigma)).powi(2);
    }
}

/// Which unknowns are known beforehand, about 0, and to what.
const KNOWN: [(usize, f64); 3] = [(3, USUAL_RATE), (4, USUAL_LEAN_S), (5, USUAL_ROUNDING_S2)];

/// Weighted normal matrix, with what is known beforehand.
fn normal_matrix(rows: &[Row], sigma: f64) -> Matrix {
    let mut matrix = Matrix::zeros();
    for row in rows {
        matrix += row.weight * row.slope * row.slope.transpose();
    }
    for (at, usual) in KNOWN {
        matrix[(at, at)] += (sigma / usual).powi(2);
    }
    matrix
}

fn solve(rows: &[Row], sigma: f64, unknowns: &Unknowns) -> Option<Unknowns> {
    if rows.len() < 8 {
        return None;
    }
    let mut right = Unknowns::zeros();
    for row in rows {
        right += row.weight * row.residual * row.slope;
    }
    for (at, usual) in KNOWN {
        right[at] -= (sigma / usual).powi(2) * unknowns[at];
    }
    inverse(&normal_matrix(rows, sigma)).map(|it| it * right)
}

/// The unknowns have very different sizes: the matrix is scaled to a unit diagonal first.
fn inverse(matrix: &Matrix) -> Option<Matrix> {
    let scale = Unknowns::from_fn(|i, _| 1.0 / matrix[(i, i)].max(1e-300).sqrt());
    let scaled = Matrix::from_fn(|i, j| matrix[(i, j)] * scale[i] * scale[j]);
    let inverse = scaled.try_inverse()?;
    Some(Matrix::from_fn(|i, j| inverse[(i, j)] * scale[i] * scale[j]))
}

/// Sums over the rows of one block of time after the other.
fn blocks<T: Default>(rows: &[Row], add: impl Fn(&mut T, &Row)) -> Vec<T> {
    let mut sums = Vec::new();
    let mut begun_s = f64::NEG_INFINITY;
    for row in rows {
        if row.at_s - begun_s > BLOCK_S {
            sums.push(T::default());
            begun_s = row.at_s;
        }
        if let Some(sum) = sums.last_mut() {
            add(sum, row);
        }
    }
    sums
}

/// How many times larger the offset's standard deviation is than if all frames erred on their own; at least 1.
fn lasting(rows: &[Row], sigma: f64) -> f64 {
    let sums = blocks(rows, |sum: &mut (f64, f64), row| {
        sum.0 += row.weight * row.residual * row.slope[2];
        sum.1 += row.weight * row.slope[2].powi(2);
    });
    let (together, alone) = sums.iter().fold((0.0, 0.0), |sum, it| (sum.0 + it.0 * it.0, sum.1 + it.1 * sigma * sigma));
    if alone > 0.0 { (together / alone).sqrt().max(1.0) } else { 1.0 }
}

/// How far the offsets of single blocks scatter about the common one, s, at least, beyond what the noise of frames
/// explains: the same turns driven another time come a little early here, a little late there.
fn wander_s(rows: &[Row], sigma: f64) -> f64 {
    let sums = blocks(rows, |sum: &mut [f64; 3], row| {
        // Only wild shifts are weighed down here: what lasts for a corner is what is looked for.
        let weight = row.seen_weight / (1.0 + (row.residual / (WILD_SIGMAS * sigma)).powi(2));
        let product = weight * row.residual * row.slope[2];
        *sum = [sum[0] + product, sum[1] + product * product, sum[2] + weight * row.slope[2].powi(2)];
    });
    let (mut scatter, mut variance, mut information) = (0.0, 0.0, 0.0);
    for [product, alone, square] in sums {
        if square > 0.0 {
            // Frames that err each on its own leave the sum of the squares in the square of the sum, whose variance is
            // then twice the square of that.
            scatter += (product * product - alone) / square;
            variance += 2.0 * (alone / square).powi(2);
            information += square;
        }
    }
    let certain = (scatter - variance.sqrt()).max(0.0);
    if information > 0.0 { (certain / information).sqrt() } else { f64::INFINITY }
}

/// 1 where the stretches agree as those of one recording do, 0 where they scatter like two drives.
fn steadiness(wander_s: f64) -> f64 {
    ((TWO_DRIVES_S - wander_s) / (TWO_DRIVES_S - ONE_DRIVE_S)).clamp(0.0, 1.0)
}

/// Standard deviations of the offset at the centre (s) and of the rate (a share).
fn spread_of_clock(rows: &[Row], sigma: f64) -> (f64, f64) {
    let Some(inverse) = inverse(&normal_matrix(rows, sigma)) else { return (f64::INFINITY, USUAL_RATE) };
    let mut meat = Matrix::zeros();
    for sum in blocks(rows, |sum: &mut Unknowns, row| *sum += row.weight * row.residual * row.slope) {
        meat += sum * sum.transpose();
    }
    // What is known beforehand is as uncertain as it says.
    for (at, usual) in KNOWN {
        meat[(at, at)] += sigma.powi(4) / (usual * usual);
    }
    let covariance = inverse * meat * inverse;
    (covariance[(2, 2)].max(0.0).sqrt(), covariance[(3, 3)].max(0.0).sqrt().min(USUAL_RATE))
}
