//! Distances between fixes for screening, and which fixes no kart can have made.

use crate::log::order::median;
use crate::session::Fix;

/// Mean radius of the Earth in metres (IUGG, as in NGA.STND.0036).
const EARTH_RADIUS_M: f64 = 6_371_008.8;
/// No kart, and no car on a circuit, is faster.
const FASTEST_MPS: f64 = 100.0;
/// What two fixes of a standing receiver may differ by.
const RECEIVER_NOISE_M: f64 = 8.0;
/// About four times the acceleration of free fall: more than tyres give.
const HARDEST_MPS2: f64 = 40.0;
/// A spike goes there and back: the detour is at least this share of its size. A lasting shift makes none.
const SPIKE_DETOUR: f64 = 0.3;
/// A piece of path that cannot be reached from the rest is kept from this many fixes on.
const SHORTEST_PIECE: usize = 5;
/// Pieces followed at one time.
const OPEN_PIECES: usize = 16;

/// Distance in metres on a sphere, as if flat: within 0.6 % below 100 km, enough to tell jumps from driving.
pub(crate) fn separation_m(a: &Fix, b: &Fix) -> f64 {
    let [x_m, y_m] = offset_m(a, b);
    x_m.hypot(y_m)
}

/// East and north of `b` from `a` in metres, as [`separation_m`]; the shorter way round over the date line.
pub(crate) fn offset_m(a: &Fix, b: &Fix) -> [f64; 2] {
    let east_deg = (b.longitude_deg - a.longitude_deg + 540.0).rem_euclid(360.0) - 180.0;
    let middle_rad = (0.5 * (a.latitude_deg + b.latitude_deg)).to_radians();
    [
        EARTH_RADIUS_M * east_deg.to_radians() * middle_rad.cos(),
        EARTH_RADIUS_M * (b.latitude_deg - a.latitude_deg).to_radians(),
    ]
}

/// Indexes of the fixes that a kart can have made, in order. Times must rise.
pub(crate) fn without_jumps(fixes: &[Fix]) -> Vec<usize> {
    without_spikes(fixes, &reachable(fixes))
}

/// A piece of path whose fixes follow each other below [`FASTEST_MPS`].
#[derive(Debug, Clone, Copy)]
struct Piece {
    number: usize,
    first: usize,
    last: usize,
    count: usize,
}

/// Sorts fixes into pieces; keeps the one with most fixes and all longer ones that do not run beside it.
fn reachable(fixes: &[Fix]) -> Vec<usize> {
    let mut piece_of: Vec<usize> = Vec::with_capacity(fixes.len());
    let (mut open, mut closed): (Vec<Piece>, Vec<Piece>) = (Vec::new(), Vec::new());
    for (index, fix) in fixes.iter().enumerate() {
        let can_reach = |piece: &&mut Piece| {
            let from = &fixes[piece.last];
            separation_m(from, fix) <= RECEIVER_NOISE_M + FASTEST_MPS * (fix.t_s - from.t_s)
        };
        if let Some(piece) = open.iter_mut().filter(can_reach).max_by_key(|piece| piece.count) {
            (piece.last, piece.count) = (index, piece.count + 1);
            piece_of.push(piece.number);
            continue;
        }
        let number = open.len() + closed.len();
        open.push(Piece { number, first: index, last: index, count: 1 });
        piece_of.push(number);
        if open.len() > OPEN_PIECES
            && let Some(smallest) = (0..open.len() - 1).min_by_key(|it| open[*it].count)
        {
            closed.push(open.remove(smallest));
        }
    }
    closed.append(&mut open);
    closed.sort_by_key(|piece| std::cmp::Reverse(piece.count));
    let mut kept: Vec<Piece> = Vec::new();
    for piece in closed {
        let is_apart = kept.iter().all(|it| piece.last < it.first || piece.first > it.last);
        if kept.is_empty() || (piece.count >= SHORTEST_PIECE && is_apart) {
            kept.push(piece);
        }
    }
    let mut numbers: Vec<usize> = kept.iter().map(|it| it.number).collect();
    numbers.sort_unstable();
    (0..fixes.len()).filter(|index| numbers.binary_search(&piece_of[*index]).is_ok()).collect()
}

/// Drops single fixes that lie far from both neighbours: farther than the hardest acceleration bends a path.
fn without_spikes(fixes: &[Fix], kept: &[usize]) -> Vec<usize> {
    let excess_m = |at: usize| -> f64 {
        let (Some(before), Some(after)) = (at.checked_sub(1).and_then(|it| kept.get(it)), kept.get(at + 1)) else {
            return 0.0;
        };
        let (a, b, c) = (&fixes[*before], &fixes[kept[at]], &fixes[*after]);
        let (first_s, second_s) = (b.t_s - a.t_s, c.t_s - b.t_s);
        let share = first_s / (first_s + second_s);
        let ([bx, by], [cx, cy]) = (offset_m(a, b), offset_m(a, c));
        let off_m = (bx - share * cx).hypot(by - share * cy);
        let detour_m = bx.hypot(by) + (cx - bx).hypot(cy - by) - cx.hypot(cy);
        let limit_m = RECEIVER_NOISE_M + 0.5 * HARDEST_MPS2 * first_s * second_s;
        if detour_m > SPIKE_DETOUR * off_m { off_m - limit_m } else { 0.0 }
    };
    // The neighbours of a spike look bent too, half as much: only the worst of three goes.
    let is_spike = |at: usize| {
        let own_m = excess_m(at);
        own_m > 0.0 && own_m > at.checked_sub(1).map_or(0.0, excess_m) && own_m >= excess_m(at + 1)
    };
    (0..kept.len()).filter(|at| !is_spike(*at)).map(|at| kept[at]).collect()
}

/// Median interval of the fixes in seconds; 0 below two.
pub(crate) fn median_interval_s(t_s: &[f64]) -> f64 {
    median(t_s.windows(2).map(|pair| pair[1] - pair[0]).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Eastwards along 47° N at a steady speed; 1° of longitude is 75.8 km there.
    fn drive(speed_mps: f64, step_s: f64, count: u32) -> Vec<Fix> {
        let degrees_per_m = 1.0 / (EARTH_RADIUS_M.to_radians() * 47_f64.to_radians().cos());
        let at = |number: u32| f64::from(number) * step_s;
        (0..count)
            .map(|it| Fix { t_s: at(it), latitude_deg: 47.0, longitude_deg: 8.0 + at(it) * speed_mps * degrees_per_m })
            .collect()
    }

    #[test]
    fn steady_driving_keeps_every_fix() {
        for (speed_mps, step_s) in [(30.0, 0.04), (60.0, 1.0), (1.3, 5.0)] {
            assert_eq!(without_jumps(&drive(speed_mps, step_s, 100)).len(), 100);
        }
    }

    #[test]
    fn a_spike_goes_alone_and_a_lasting_shift_stays() {
        let mut fixes = drive(20.0, 0.1, 100);
        fixes[40].latitude_deg += 0.001;
        fixes[70].latitude_deg += 0.000_12;
        let kept = without_jumps(&fixes);
        assert_eq!(kept.len(), 98);
        assert!(!kept.contains(&40) && !kept.contains(&70));
        let mut shifted = drive(20.0, 0.1, 100);
        shifted.iter_mut().skip(50).for_each(|fix| fix.latitude_deg += 0.001);
        assert_eq!(without_jumps(&shifted).len(), 100);
    }

    #[test]
    fn a_stale_first_fix_does_not_take_the_log_with_it() {
        let mut fixes = drive(20.0, 0.1, 100);
        fixes[0].latitude_deg = 50.0;
        assert_eq!(without_jumps(&fixes), (1..100).collect::<Vec<_>>());
    }
}
