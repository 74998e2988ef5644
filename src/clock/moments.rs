//! Moments that a log tells apart and that a person sees in footage too, away from the places of a lap: the kart sets
//! off, or is jolted, as by a kerb.

use std::cmp::Ordering;

use crate::session::Channel;

/// Slower than this the kart stands, faster it moves, m/s (trial): between the two the receiver wanders.
const STANDS_MPS: f64 = 0.5;
const MOVES_MPS: f64 = 1.5;
/// A stand is at least this long, s.
const LEAST_STAND_S: f64 = 2.0;
/// A jolt stands out of the mean of so much around it, s, by so many standard deviations of what usually does, and by so
/// much at least, m/s² (trial).
const AROUND_S: f64 = 0.5;
const JOLT_SIGMAS: f64 = 6.0;
const LEAST_JOLT_MPS2: f64 = 4.0;
/// Jolts closer than this are one, s.
const APART_S: f64 = 1.0;
const MOST_JOLTS: usize = 24;
/// From the median of absolute deviations to a standard deviation, for the normal distribution.
const MAD_TO_SIGMA: f64 = 1.4826;

/// Log times at which the kart, having stood, begins to move, s. Takes time in s, rising, and speed in m/s; speeds that
/// are not finite are passed over.
pub fn sets_off_s(speeds: impl IntoIterator<Item = (f64, f64)>) -> Vec<f64> {
    let mut found = Vec::new();
    // First and last moment of the present stand.
    let mut stand: Option<(f64, f64)> = None;
    for (t_s, speed_mps) in speeds.into_iter().filter(|it| it.1.is_finite()) {
        if speed_mps < STANDS_MPS {
            stand = Some((stand.map_or(t_s, |it| it.0), t_s));
        } else if speed_mps > MOVES_MPS {
            let ended = stand.take().filter(|(from_s, until_s)| until_s - from_s >= LEAST_STAND_S);
            found.extend(ended.map(|it| it.1));
        }
    }
    found
}

/// Log times at which an acceleration in m/s² jumps out of what is around it, s, rising; the strongest where there are
/// many.
pub fn jolts_s(acceleration: &Channel) -> Vec<f64> {
    let out = deviations(acceleration);
    let mut sizes: Vec<f64> = out.iter().map(|it| it.abs()).collect();
    if sizes.is_empty() {
        return Vec::new();
    }
    let middle = sizes.len() / 2;
    let usual = *sizes.select_nth_unstable_by(middle, f64::total_cmp).1 * MAD_TO_SIGMA;
    let least = (JOLT_SIGMAS * usual).max(LEAST_JOLT_MPS2);
    let mut strong: Vec<(f64, f64)> =
        acceleration.t_s.iter().zip(&out).map(|(t_s, it)| (*t_s, it.abs())).filter(|it| it.1 > least).collect();
    strong.sort_by(|a, b| b.1.total_cmp(&a.1).then(Ordering::Equal));
    let mut found: Vec<f64> = Vec::new();
    for (t_s, _) in strong {
        if found.len() < MOST_JOLTS && found.iter().all(|it| (it - t_s).abs() >= APART_S) {
            found.push(t_s);
        }
    }
    found.sort_by(f64::total_cmp);
    found
}

/// Each value less the mean of those around it, itself left out.
fn deviations(channel: &Channel) -> Vec<f64> {
    let (t_s, value) = (&channel.t_s, &channel.value);
    let mut sum = 0.0;
    let (mut from, mut to) = (0, 0);
    let mut deviations = Vec::with_capacity(value.len());
    for (index, at_s) in t_s.iter().enumerate() {
        while to < value.len() && t_s[to] <= at_s + 0.5 * AROUND_S {
            sum += value[to];
            to += 1;
        }
        while t_s[from] < at_s - 0.5 * AROUND_S {
            sum -= value[from];
            from += 1;
        }
        let others = (to - from - 1) as f64;
        deviations.push(if others > 0.0 { value[index] - (sum - value[index]) / others } else { 0.0 });
    }
    deviations
}

#[cfg(test)]
mod tests {
    use super::*;

    fn every_tenth(count: u32, value: impl Fn(f64) -> f64) -> Channel {
        let t_s: Vec<f64> = (0..count).map(|it| f64::from(it) * 0.1).collect();
        Channel { value: t_s.iter().map(|it| value(*it)).collect(), t_s }
    }

    #[test]
    fn the_kart_sets_off_where_it_stood_last() {
        // Stands to 5 s, drives, stops for a second only, drives on, and stands again to 40 s.
        let speed = every_tenth(500, |t_s| match t_s {
            t if t < 5.0 => 0.2,
            t if t < 20.0 => 2.0 * (t - 5.0).min(5.0),
            t if t < 21.0 => 0.1,
            t if t < 30.0 => 8.0,
            t if t < 40.05 => 0.0,
            t => 3.0 * (t - 40.0),
        });
        let found = sets_off_s(speed.iter());
        assert_eq!(found.len(), 2, "{found:?}");
        // At 5.2 s it goes 0.4 m/s, which is still standing.
        assert!((found[0] - 5.2).abs() < 1e-6 && (found[1] - 40.1).abs() < 0.11, "{found:?}");
        assert!(sets_off_s([(0.0, f64::NAN)]).is_empty());
    }

    #[test]
    fn a_jolt_stands_out_of_the_cornering_around_it() {
        let corner = |t_s: f64| 12.0 * (0.8 * t_s).sin() + 0.3 * (31.0 * t_s).sin();
        let jolted = every_tenth(600, |t_s| corner(t_s) + if (t_s - 33.3).abs() < 0.01 { 9.0 } else { 0.0 });
        let found = jolts_s(&jolted);
        assert_eq!(found.len(), 1, "{found:?}");
        assert!((found[0] - 33.3).abs() < 0.051, "{found:?}");
        assert!(jolts_s(&every_tenth(600, corner)).is_empty());
        assert!(jolts_s(&Channel::default()).is_empty());
    }
}
