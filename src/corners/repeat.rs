//! Places of one mark over many laps: where a single lap's fit is less sure than the driver is steady, the other laps
//! say most of where the mark was.
//!
//! Each place is taken as the driver's usual place plus that lap's own deviation plus the fit's error (random-effects
//! model; DerSimonian and Laird 1986 for the spread of the deviations), and moved to its expectation.

use crate::session::Estimate;
use crate::signal::random_effects::variance_between;

/// A driver is at least this unsteady, m.
const LEAST_SPREAD_M: f64 = 1.0;
/// Fewer laps than this say nothing of each other.
const LEAST_LAPS: usize = 4;
/// A place this many standard deviations from the usual one was another intention (traffic, a mistake): it stays.
const OTHER_INTENTION_SIGMAS: f64 = 3.5;

/// Places, m along the line, with their intervals, moved towards what they have in common. Same order and length.
/// Degenerate: fewer than four places come back as they are.
pub(super) fn moved_together(places_m: &[Estimate]) -> Vec<Estimate> {
    if places_m.len() < LEAST_LAPS {
        return places_m.to_vec();
    }
    let variance = |it: &Estimate| it.sigma().powi(2).max(1e-6);
    let middle = {
        let mut values: Vec<f64> = places_m.iter().map(|it| it.value).collect();
        let half = values.len() / 2;
        *values.select_nth_unstable_by(half, f64::total_cmp).1
    };
    // The usual intention: what lies near the median, given how unsure each is.
    let usual: Vec<&Estimate> = places_m
        .iter()
        .filter(|it| {
            (it.value - middle).abs() <= OTHER_INTENTION_SIGMAS * (variance(it) + 4.0 * LEAST_SPREAD_M.powi(2)).sqrt()
        })
        .collect();
    if usual.len() < LEAST_LAPS {
        return places_m.to_vec();
    }
    let spread = spread_m2(&usual);
    let weight = |it: &Estimate| 1.0 / (variance(it) + spread);
    let total: f64 = usual.iter().map(|it| weight(it)).sum();
    let mean = usual.iter().map(|it| weight(it) * it.value).sum::<f64>() / total;
    places_m
        .iter()
        .map(|it| {
            let own = variance(it);
            if (it.value - mean).powi(2) > OTHER_INTENTION_SIGMAS.powi(2) * (own + spread) {
                return *it;
            }
            let share = spread / (own + spread);
            let left = own * share + (1.0 - share).powi(2) / total;
            Estimate::from_variance(mean + share * (it.value - mean), left)
        })
        .collect()
}

/// Spread of the deviations, m²: what the places differ by more than their own errors.
fn spread_m2(places: &[&Estimate]) -> f64 {
    let places: Vec<(f64, f64)> = places.iter().map(|it| (it.value, it.sigma().powi(2).max(1e-6))).collect();
    variance_between(&places).max(LEAST_SPREAD_M * LEAST_SPREAD_M)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(value: f64, ci95: f64) -> Estimate {
        Estimate { value, ci95 }
    }

    #[test]
    fn unsure_places_move_to_the_sure_ones() {
        let moved = moved_together(&[place(100.0, 1.0), place(100.4, 1.0), place(99.8, 1.0), place(106.0, 9.0)]);
        assert!((moved[3].value - 100.2).abs() < 0.8 && moved[3].ci95 < 2.5, "{moved:?}");
        assert!((moved[0].value - 100.0).abs() < 0.15);
    }

    #[test]
    fn a_lap_driven_otherwise_stays_where_it_was() {
        let moved = moved_together(&[
            place(100.0, 0.5),
            place(100.4, 0.5),
            place(99.8, 0.5),
            place(100.1, 0.5),
            place(90.0, 0.5),
        ]);
        assert!((moved[4].value - 90.0).abs() < 1e-9);
    }

    #[test]
    fn few_places_stay() {
        let places = [place(100.0, 9.0), place(120.0, 9.0)];
        assert_eq!(moved_together(&places), places.to_vec());
    }
}
