//! Where in the log the footage lies: seen and logged turning are correlated at every lag, and the best place is held
//! against the next best.

use crate::clock::motion::seen::SeenYaw;
use crate::clock::motion::turning::Turning;
use crate::signal::correlate::{Likeness, Weighted, likeness};

/// Samples a second of the search: karts turn slower than this by far.
pub(super) const GRID_HZ: f64 = 25.0;
/// Both series are smoothed over about this, s: vibration and the noise of single frames go, corners stay.
const SMOOTH_S: f64 = 0.36;
/// At most this long from the best place counts as the same place, s.
const SAME_PLACE_S: f64 = 2.0;
/// How much of what was seen must lie inside the log: this share, or this many seconds where that is more.
const LEAST_SHARE: f64 = 0.15;
const LEAST_S: f64 = 15.0;
/// Where the overlap turns this much less than the whole, likeness is chance (shares of the variance).
const LEAST_VARIANCE: f64 = 0.15;
/// A place where the misfit is this share of the next best's is certain, one where it is the second is none (trial: right
/// places 0.15 to 0.6, wrong laps 0.86 and above).
const CERTAIN_MISFIT: f64 = 0.2;
const DOUBTFUL_MISFIT: f64 = 0.8;
/// No confidence is higher: a session driven twice alike cannot be told.
const MOST_CONFIDENCE: f64 = 0.99;
/// Of a log that goes round, less than the first many laps tell nothing, for any session has such; the second are
/// enough.
const PART_LAPS: f64 = 0.8;
const FULL_LAPS: f64 = 1.1;
/// A log goes round if it is like itself by this after a lap; a lap lasts at least so long, s. As `track::pattern`.
const LAPS_ALIKE: f64 = 0.5;
const SHORTEST_LAP_S: f64 = 10.0;
const LONGEST_LAP_S: f64 = 400.0;
/// Of several likely lap times the shortest is taken that is nearly as likely as the best.
const NEARLY: f64 = 0.85;
/// Longest series searched, samples: 50 hours.
const LONGEST: usize = 4_500_000;

/// The place that fits best.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Found {
    /// Log time at recording time 0, s, to a grid step.
    pub(super) log_t_s: f64,
    pub(super) correlation: f64,
    pub(super) next_best_ratio: f64,
    pub(super) next_best_t_s: Option<f64>,
    pub(super) confidence: f64,
    pub(super) overlap_s: f64,
    /// Correlation by log time at recording time 0.
    pub(super) surface: Vec<(f64, f64)>,
}

/// `None` where both never overlap enough, or nothing fits at all. `near`: log time at recording time 0 and how far from
/// it to look, s.
pub(super) fn search(log: &Turning, seen: &SeenYaw, near: Option<(f64, f64)>) -> Option<Found> {
    let (log_from_s, log_to_s) = log.span_s()?;
    let seen_from_s = seen.steps.first()?.from_s;
    let logged = logged_on_grid(log, log_from_s, log_to_s)?;
    let seen_grid = seen_on_grid(seen, seen_from_s)?;
    let mut places = likeness(&seen_grid, &logged);
    if let Some((at_s, reach_s)) = near {
        let lag = (at_s + seen_from_s - log_from_s) * GRID_HZ;
        places.retain(|it| (it.lag as f64 - lag).abs() <= reach_s * GRID_HZ);
    }
    let seen_s = seen_grid.weight.iter().sum::<f64>() / GRID_HZ;
    let counting = Counting::new(&places, seen_s);
    let evidence = |place: &Likeness| counting.evidence(place);
    let best = places.iter().max_by(|a, b| evidence(a).total_cmp(&evidence(b))).filter(|it| evidence(it) > 0.0)?;
    let same_place = (SAME_PLACE_S.min(seen_s / 3.0) * GRID_HZ).max(1.0);
    let elsewhere = places.iter().filter(|it| (it.lag - best.lag).abs() as f64 > same_place);
    let next = elsewhere.max_by(|a, b| evidence(a).total_cmp(&evidence(b))).filter(|it| evidence(it) > 0.0);
    let lead = evidence(best) - next.map_or(0.0, evidence);
    let overlap_s = best.overlap / GRID_HZ;
    // By the likelihood of a line with normal errors: what is left unexplained here, as a share of there.
    let misfit = (-2.0 * lead / overlap_s).exp();
    let standing_out = ((DOUBTFUL_MISFIT - misfit) / (DOUBTFUL_MISFIT - CERTAIN_MISFIT)).clamp(0.0, 1.0);
    let tried = places.iter().filter(|it| evidence(it) > 0.0).count() as f64;
    let common_s = common_time_s(&seen_grid, &logged);
    let chance = by_chance(best.correlation, overlap_s / common_s, tried / (GRID_HZ * common_s));
    let covering =
        lap_s(&logged).map_or(1.0, |lap_s| ((overlap_s / lap_s - PART_LAPS) / (FULL_LAPS - PART_LAPS)).clamp(0.0, 1.0));
    let log_t_s = |place: &Likeness| log_from_s + place.lag as f64 / GRID_HZ - seen_from_s;
    let ratio = |it: &Likeness| (it.correlation / best.correlation).abs().min(1.0);
    Some(Found {
        log_t_s: log_t_s(best),
        correlation: best.correlation,
        next_best_ratio: next.map_or(0.0, ratio),
        next_best_t_s: next.map(log_t_s),
        confidence: MOST_CONFIDENCE * standing_out * (1.0 - chance) * covering,
        overlap_s,
        surface: places.iter().filter(|it| counting.counts(it)).map(|it| (log_t_s(it), it.correlation)).collect(),
    })
}

/// Which places count, and for how much.
struct Counting {
    least_overlap: f64,
    least_variance: (f64, f64),
}

impl Counting {
    fn new(places: &[Likeness], seen_s: f64) -> Self {
        let least_s = (LEAST_SHARE * seen_s).max(LEAST_S.min(0.8 * seen_s));
        let largest = |value: fn(&Likeness) -> f64| places.iter().map(value).fold(0.0, f64::max);
        let least_overlap = (least_s * GRID_HZ).min(0.9 * largest(|it| it.overlap));
        let mut long: Vec<&Likeness> = places.iter().filter(|it| it.overlap >= least_overlap).collect();
        let mut usual = |value: fn(&Likeness) -> f64| {
            long.sort_by(|a, b| value(a).total_cmp(&value(b)));
            long.get(long.len() / 2).map_or(0.0, |it| value(it))
        };
        let least_variance = (LEAST_VARIANCE * usual(|it| it.variance.0), LEAST_VARIANCE * usual(|it| it.variance.1));
        Self { least_overlap, least_variance }
    }

    fn counts(&self, place: &Likeness) -> bool {
        place.overlap >= self.least_overlap
            && place.variance.0 > self.least_variance.0
            && place.variance.1 > self.least_variance.1
    }

    /// Logarithm of the likelihood ratio against "not alike", for one independent sample a second.
    fn evidence(&self, place: &Likeness) -> f64 {
        if !self.counts(place) {
            return 0.0;
        }
        -0.5 * place.overlap / GRID_HZ * (1.0 - place.correlation.powi(2)).max(1e-9).ln()
    }
}

/// How likely the best of `tried` independent places is as good as this without any connection.
/// Source: the likelihood ratio of a correlation coefficient over `independent` pairs, and Bonferroni's bound.
fn by_chance(correlation: f64, independent: f64, tried: f64) -> f64 {
    let freedom = (independent - 2.0).max(0.0);
    (tried.max(1.0) * (1.0 - correlation.powi(2)).max(0.0).powf(0.5 * freedom)).clamp(0.0, 1.0)
}

/// Time between independent pairs of samples of two series, s.
/// Source: M. S. Bartlett, J. Royal Statistical Society 98 (1935) 536–543: the sum of the products of both
/// autocorrelations.
fn common_time_s(a: &Weighted, b: &Weighted) -> f64 {
    let steps = 4.0 * GRID_HZ;
    let own = |series: &Weighted| -> Vec<f64> {
        let all = likeness(series, series);
        let near = all.iter().filter(|it| it.lag >= 0 && (it.lag as f64) < steps);
        near.map(|it| it.correlation).collect()
    };
    let products: f64 = own(a).iter().zip(own(b)).map(|(a, b)| a * b).skip(1).sum();
    ((1.0 + 2.0 * products) / GRID_HZ).max(1.0 / GRID_HZ)
}

/// The usual time of a lap by when the log is like itself again, s; `None` where it does not go round.
fn lap_s(logged: &Weighted) -> Option<f64> {
    let length_s = logged.value.len() as f64 / GRID_HZ;
    let later = |it: &Likeness| it.lag as f64 / GRID_HZ;
    let near = |it: &&Likeness| (SHORTEST_LAP_S..LONGEST_LAP_S.min(0.67 * length_s)).contains(&later(it));
    let all = likeness(logged, logged);
    let places: Vec<&Likeness> = all.iter().filter(near).collect();
    let best = places.iter().map(|it| it.correlation).fold(0.0, f64::max);
    if best < LAPS_ALIKE {
        return None;
    }
    // The first hill that is high enough, and its top.
    let from = places.iter().position(|it| it.correlation >= NEARLY * best)?;
    let hill = places[from..].iter().take_while(|it| it.correlation >= NEARLY * best);
    hill.max_by(|a, b| a.correlation.total_cmp(&b.correlation)).map(|it| later(it))
}

fn logged_on_grid(log: &Turning, from_s: f64, to_s: f64) -> Option<Weighted> {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked against the longest")]
    let count = ((to_s - from_s) * GRID_HZ) as usize;
    if !(3..=LONGEST).contains(&count) {
        return None;
    }
    // Headings at the grid's ends make rates that leave out nothing in between.
    let headings: Vec<Option<f64>> =
        (0..=count).map(|index| log.at(from_s + index as f64 / GRID_HZ).map(|it| it.0)).collect();
    let mut grid = Weighted::default();
    for pair in headings.windows(2) {
        let rate = pair[0].zip(pair[1]).map(|(a, b)| (b - a) * GRID_HZ);
        grid.value.push(rate.unwrap_or(0.0));
        grid.weight.push(f64::from(u8::from(rate.is_some())));
    }
    Some(smoothed(&grid))
}

/// Steps are spread over the cells that they cover.
fn seen_on_grid(seen: &SeenYaw, from_s: f64) -> Option<Weighted> {
    let end_s = seen.steps.last()?.to_s;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked against the longest")]
    let count = ((end_s - from_s) * GRID_HZ) as usize + 1;
    if count > LONGEST {
        return None;
    }
    let mut grid = Weighted { value: vec![0.0; count], weight: vec![0.0; count] };
    for step in seen.steps.iter().filter(|it| it.weight > 0.0) {
        let (from, to) = ((step.from_s - from_s) * GRID_HZ, (step.to_s - from_s) * GRID_HZ);
        let rate = step.rate();
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "steps lie on the grid")]
        for cell in from.max(0.0) as usize..=(to as usize).min(count - 1) {
            let covered = (to.min(cell as f64 + 1.0) - from.max(cell as f64)).max(0.0) * step.weight.min(1.0);
            grid.value[cell] += covered * rate;
            grid.weight[cell] += covered;
        }
    }
    for (value, weight) in grid.value.iter_mut().zip(&grid.weight) {
        if *weight > 0.0 {
            *value /= weight;
        }
    }
    Some(smoothed(&grid))
}

/// By a raised cosine over what is there; holes stay holes.
fn smoothed(grid: &Weighted) -> Weighted {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a handful of samples")]
    let half = (0.5 * SMOOTH_S * GRID_HZ) as usize;
    let kernel: Vec<f64> = (0..=2 * half)
        .map(|it| 1.0 - (std::f64::consts::TAU * (it + 1) as f64 / (2 * half + 2) as f64).cos())
        .collect();
    let at = |middle: usize| {
        let (mut sum, mut weights) = (0.0, 0.0);
        for (offset, share) in kernel.iter().enumerate() {
            let Some(index) = (middle + offset).checked_sub(half).filter(|it| *it < grid.value.len()) else { continue };
            sum += share * grid.weight[index] * grid.value[index];
            weights += share * grid.weight[index];
        }
        if weights > 0.0 { sum / weights } else { 0.0 }
    };
    Weighted { value: (0..grid.value.len()).map(at).collect(), weight: grid.weight.clone() }
}
