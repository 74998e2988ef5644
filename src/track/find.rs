//! Finds a closed circuit where no gate is given: position and heading come back, lap after lap of one length.
//! A way out and back is no circuit, however often it is driven.

use crate::geom::Point;
use crate::session::{Path, PathState};
use crate::track::laps::{Crossing, crossings};
use crate::track::{Gate, ReferenceLine};
use crate::units::wrap_angle;

/// Places of the path that a gate is tried at.
const TRIED: usize = 60;
/// Half width of a gate that was found, m: a kart circuit's width and a receiver's error to both sides.
const HALF_WIDTH_M: f64 = 12.0;
/// No circuit is shorter than this, m.
const MIN_CIRCUIT_M: f64 = 80.0;
/// Laps of one circuit agree in length to this share.
const LENGTH_TOLERANCE: f64 = 0.06;
/// A single lap is taken for a circuit only where it is at least this share of all that was driven.
const SINGLE_LAP_SHARE: f64 = 0.3;
/// Opposite ways closer than this, m, are one way driven both ways; more than this share of a lap is a way back.
const RETRACE_M: f64 = 8.0;
const RETRACE_SHARE: f64 = 0.5;
/// Ways are opposite from this angle on, rad.
const OPPOSITE_RAD: f64 = 2.4;
/// Slower than this, m/s, is no driving (nor walking).
const MOVING_MPS: f64 = 0.8;
/// A place is straight below this curvature, 1/m.
const STRAIGHT_PER_M: f64 = 1.0 / 80.0;
/// The gate is laid where the line is straighter than any corner, so that none is cut by it.
const QUITE_STRAIGHT_PER_M: f64 = 1.0 / 200.0;

/// A gate somewhere on a closed circuit, `None` where the path closes none.
pub fn find_gate(path: &Path) -> Option<Gate> {
    let total_m = path.states.last()?.travelled_m;
    let mut best: Option<(usize, f64, Gate)> = None;
    for state in tried_places(&path.states) {
        let gate = Gate::across(Point::new(state.x_m, state.y_m), state.heading_rad, HALF_WIDTH_M);
        let found = crossings(path, gate);
        let laps = agreeing_laps(path, &found);
        let Some(lap) = laps.first() else { continue };
        let enough = laps.len() > 1 || lap.2 > SINGLE_LAP_SHARE * total_m;
        let better = best
            .as_ref()
            .is_none_or(|(count, speed, _)| laps.len() > *count || (laps.len() == *count && state.speed_mps > *speed));
        if enough && better && !is_retraced(path, lap.0, lap.1) {
            best = Some((laps.len(), state.speed_mps, gate));
        }
    }
    best.map(|(_, _, gate)| gate)
}

/// Fast, straight places, evenly spread over the log.
fn tried_places(states: &[PathState]) -> Vec<&PathState> {
    let mut speeds: Vec<f64> = states.iter().map(|it| it.speed_mps).filter(|it| *it > MOVING_MPS).collect();
    if speeds.is_empty() {
        return Vec::new();
    }
    let middle = speeds.len() / 2;
    let median = *speeds.select_nth_unstable_by(middle, f64::total_cmp).1;
    let straight: Vec<&PathState> = states
        .iter()
        .filter(|it| it.speed_mps >= median && it.yaw_rate_radps.abs() < STRAIGHT_PER_M * it.speed_mps)
        .collect();
    let step = straight.len().div_ceil(TRIED).max(1);
    straight.into_iter().step_by(step).collect()
}

/// Laps (from, to, length) whose lengths agree with their median.
fn agreeing_laps(path: &Path, found: &[Crossing]) -> Vec<(f64, f64, f64)> {
    let laps: Vec<(f64, f64, f64)> = found
        .windows(2)
        .filter_map(|pair| {
            let (from, to) = (path.at(pair[0].t_s)?, path.at(pair[1].t_s)?);
            Some((from.t_s, to.t_s, to.travelled_m - from.travelled_m))
        })
        .filter(|lap| lap.2 > MIN_CIRCUIT_M)
        .collect();
    let mut lengths: Vec<f64> = laps.iter().map(|it| it.2).collect();
    if lengths.is_empty() {
        return laps;
    }
    let middle = lengths.len() / 2;
    let median = *lengths.select_nth_unstable_by(middle, f64::total_cmp).1;
    laps.into_iter().filter(|lap| (lap.2 / median - 1.0).abs() < LENGTH_TOLERANCE).collect()
}

/// Whether a lap goes back along its own way.
fn is_retraced(path: &Path, from_s: f64, to_s: f64) -> bool {
    let from = path.states.partition_point(|it| it.t_s < from_s);
    let to = path.states.partition_point(|it| it.t_s < to_s);
    let mut points: Vec<&PathState> = Vec::new();
    for state in &path.states[from..to] {
        if points.last().is_none_or(|last| state.travelled_m - last.travelled_m > 3.0) {
            points.push(state);
        }
    }
    // Directions between the points themselves: a smoothed heading lags where a walker turns on the spot.
    let ways: Vec<(Point, f64)> = points
        .windows(2)
        .map(|pair| {
            let (a, b) = (Point::new(pair[0].x_m, pair[0].y_m), Point::new(pair[1].x_m, pair[1].y_m));
            (a, (b - a).y_m.atan2((b - a).x_m))
        })
        .collect();
    let judged: Vec<&(Point, f64)> = ways.iter().step_by(ways.len().div_ceil(400).max(1)).collect();
    let goes_back = |a: &(Point, f64), b: &(Point, f64)| {
        a.0.distance_m(b.0) < RETRACE_M && wrap_angle(a.1 - b.1).abs() > OPPOSITE_RAD
    };
    let retraced = judged.iter().filter(|a| ways.iter().any(|b| goes_back(a, b))).count();
    retraced as f64 > RETRACE_SHARE * judged.len() as f64
}

/// The gate in the middle of the line's fastest straight. `speeds_mps` holds the usual speed at each of its points.
pub fn gate_on_fastest_straight(line: &ReferenceLine, speeds_mps: &[f64]) -> Option<Gate> {
    let count = line.points.len();
    let limit = if line.points.iter().any(|it| it.curvature_per_m.abs() < QUITE_STRAIGHT_PER_M) {
        QUITE_STRAIGHT_PER_M
    } else {
        STRAIGHT_PER_M
    };
    let is_straight = |index: usize| line.points[index % count].curvature_per_m.abs() < limit;
    let start = (0..count).find(|index| !is_straight(*index)).unwrap_or(0);
    let mut best: Option<(f64, usize)> = None;
    let mut run_start = None;
    for index in start..=start + count {
        match (index < start + count && is_straight(index), run_start) {
            (true, None) => run_start = Some(index),
            (false, Some(from)) => {
                let fastest = (from..index).map(|it| speeds_mps[it % count]).fold(0.0, f64::max);
                if best.is_none_or(|(speed, _)| fastest > speed) {
                    best = Some((fastest, usize::midpoint(from, index)));
                }
                run_start = None;
            }
            _ => {}
        }
    }
    let middle = line.points.get(best?.1 % count)?;
    Some(Gate::across(middle.position, middle.heading_rad, HALF_WIDTH_M))
}
