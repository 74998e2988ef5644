//! From a path to laps on a circuit: the gate given or found, the laps, the reference line, every state's place.

use crate::geom::Point;
use crate::geom::plane::Plane;
use crate::session::{Note, NoteKind, Path};
use crate::track::drift::{Drift, Wander, find_drift};
use crate::track::file::TrackFile;
use crate::track::find::{find_gate, gate_on_fastest_straight};
use crate::track::laps::{Crossing, crossings, directed, laps};
use crate::track::place::{Unrolled, follow};
use crate::track::reference::reference_line;
use crate::track::{Gate, GateOrigin, Lap, LapKind, ReferenceLine};

/// The circuit as this session drove it.
#[derive(Debug, Clone)]
pub struct Layout {
    /// The path with the receiver's wander taken out, as far as the laps show it.
    pub path: Path,
    /// The wander, taken out as far as it was found, and what is left of it.
    pub drift: Drift,
    /// Variance of what the whole session is shifted by against the ground, along one axis, m².
    pub session_shift_m2: f64,
    pub gate: Option<(Gate, GateOrigin)>,
    pub laps: Vec<Lap>,
    pub line: ReferenceLine,
    /// Same length as the path's states.
    pub places: Vec<Option<Unrolled>>,
    pub notes: Vec<Note>,
}

/// A lap this much longer or shorter than the median left the circuit.
const LENGTH_TOLERANCE: f64 = 0.10;
/// Slower than this, m/s, a kart stands; for so long, s, it was no mishap of driving (common practice, no source).
const STANDING_MPS: f64 = 1.0;
const LONG_STOP_S: f64 = 5.0;
/// A reference line from fewer laps than this is said to be so, and shows no wander.
const FEW_LAPS: usize = 3;

/// Lays the circuit out. Never fails: what is missing is said in the notes. `walk_m2ps` is what the position error's
/// variance gains per second, along one axis.
pub fn lay_out(path: Path, track: Option<&TrackFile>, plane: &Plane, walk_m2ps: f64) -> Layout {
    let given = track.and_then(|it| it.start_finish).map(|ends| {
        let [left, right] = ends.map(|[longitude, latitude]| plane.to_plane(latitude, longitude));
        directed(&path, Gate { left, right })
    });
    let gate = match given {
        Some(gate) => Some((gate, GateOrigin::File)),
        None => found_gate(&path).map(|gate| (gate, GateOrigin::Found)),
    };
    let session_s = path.states.last().zip(path.states.first()).map_or(0.0, |(last, first)| last.t_s - first.t_s);
    let wander = Wander::from_walk(walk_m2ps);
    let mut layout = Layout {
        places: vec![None; path.states.len()],
        path,
        drift: Drift::unseen(wander),
        session_shift_m2: wander.of_mean_m2(session_s),
        gate,
        laps: Vec::new(),
        line: ReferenceLine::default(),
        notes: Vec::new(),
    };
    let Some((gate, origin)) = gate else {
        layout.notes.push(Note::new(NoteKind::NoCircuit));
        return layout;
    };
    if origin == GateOrigin::Found {
        layout.notes.push(Note::new(NoteKind::GateFound));
    }
    let timed = layout.drive_laps(gate);
    if timed >= FEW_LAPS {
        layout.drift = find_drift(&layout.path, &layout.places, &layout.line, wander);
    }
    if !layout.drift.is_empty() {
        layout.drift.take_out(&mut layout.path);
        layout.drive_laps(gate);
    }
    layout.note_laps();
    layout
}

impl Layout {
    /// Laps, line and places for the path as it is; gives the number of timed laps.
    fn drive_laps(&mut self, gate: Gate) -> usize {
        let path = &self.path;
        let found = crossings(path, gate);
        let timed = timed_stretches(path, &found);
        self.laps = laps(path, &found, &self.drift, |from_s, to_s| timed.contains(&(from_s, to_s)));
        if !timed.is_empty() {
            self.line = reference_line(path, &without_gaps(path, &timed));
            self.places = follow(&self.line, &path.states, &self.laps);
        }
        timed.len()
    }

    fn note_laps(&mut self) {
        let count = |kind: LapKind| self.laps.iter().filter(|it| it.kind == kind).count();
        let (timed, set_aside) = (count(LapKind::Timed), count(LapKind::Partial));
        if timed == 0 {
            self.notes.push(Note::new(NoteKind::NoLap));
        } else if timed < FEW_LAPS {
            self.notes.push(Note::new(NoteKind::ReferenceFromFewLaps { laps: timed }));
        }
        if set_aside > 0 {
            self.notes.push(Note::new(NoteKind::LapsSetAside { count: set_aside }));
        }
        let stood = |lap: &&Lap| lap.kind == LapKind::Timed && stood_s(&self.path, lap) > LONG_STOP_S;
        let laps: Vec<u32> = self.laps.iter().filter(stood).map(|it| it.number).collect();
        if !laps.is_empty() {
            self.notes.push(Note::new(NoteKind::LapsWithStop { laps }));
        }
    }
}

/// How long a lap stood still, s.
fn stood_s(path: &Path, lap: &Lap) -> f64 {
    let from = path.states.partition_point(|it| it.t_s < lap.start_t_s);
    let to = path.states.partition_point(|it| it.t_s < lap.end_t_s);
    let pairs = path.states[from..to].windows(2);
    let standing = pairs.filter(|pair| pair.iter().all(|it| it.speed_mps.abs() < STANDING_MPS));
    standing.map(|pair| pair[1].t_s - pair[0].t_s).sum()
}

/// A gate somewhere first, then the middle of the fastest straight of the line that it gave.
fn found_gate(path: &Path) -> Option<Gate> {
    let first = find_gate(path)?;
    let timed = timed_stretches(path, &crossings(path, first));
    let line = reference_line(path, &without_gaps(path, &timed));
    let steady = Drift::unseen(Wander::from_walk(0.0));
    let laps: Vec<Lap> = laps(path, &crossings(path, first), &steady, |from_s, to_s| timed.contains(&(from_s, to_s)));
    let places = follow(&line, &path.states, &laps);
    let better = gate_on_fastest_straight(&line, &usual_speeds(path, &places, &line))?;
    let still_laps = timed_stretches(path, &crossings(path, better)).len() + 1 >= timed.len();
    Some(if still_laps { better } else { first })
}

/// Mean speed at each point of the line; a point without a state nearby takes the one before it.
fn usual_speeds(path: &Path, places: &[Option<Unrolled>], line: &ReferenceLine) -> Vec<f64> {
    let count = line.points.len();
    let mut sums = vec![(0.0, 0.0); count];
    for (state, place) in path.states.iter().zip(places) {
        if let Some(place) = place {
            let along = place.distance_m.rem_euclid(line.length_m) / line.length_m * count as f64;
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0..count after rem_euclid")]
            let index = (along as usize).min(count - 1);
            sums[index].0 += state.speed_mps;
            sums[index].1 += 1.0;
        }
    }
    let mut last = 0.0;
    sums.into_iter()
        .map(|(sum, weight)| {
            if weight > 0.0 {
                last = sum / weight;
            }
            last
        })
        .collect()
}

/// Stretches between crossings whose length agrees with their median: the laps of the circuit.
fn timed_stretches(path: &Path, found: &[Crossing]) -> Vec<(f64, f64)> {
    let stretches: Vec<(f64, f64, f64)> = found
        .windows(2)
        .filter_map(|pair| {
            let (from, to) = (path.at(pair[0].t_s)?, path.at(pair[1].t_s)?);
            Some((pair[0].t_s, pair[1].t_s, to.travelled_m - from.travelled_m))
        })
        .collect();
    let mut lengths: Vec<f64> = stretches.iter().map(|it| it.2).collect();
    if lengths.is_empty() {
        return Vec::new();
    }
    let middle = lengths.len() / 2;
    let median = *lengths.select_nth_unstable_by(middle, f64::total_cmp).1;
    let agrees = |length_m: f64| (length_m / median - 1.0).abs() < LENGTH_TOLERANCE;
    stretches.into_iter().filter(|it| agrees(it.2)).map(|(from_s, to_s, _)| (from_s, to_s)).collect()
}

/// The stretches that no gap interrupts; all of them where every one has a gap.
fn without_gaps(path: &Path, stretches: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let whole: Vec<(f64, f64)> = stretches
        .iter()
        .filter(|(from_s, to_s)| !path.gaps.iter().any(|gap| gap.1 > *from_s && gap.0 < *to_s))
        .copied()
        .collect();
    if whole.is_empty() { stretches.to_vec() } else { whole }
}

/// The plane under a session: its origin in the middle of the fixes' extent. `None` without fixes.
pub fn plane_under(fixes: &[crate::session::Fix]) -> Option<Plane> {
    let first = fixes.first()?;
    // Longitudes are taken relative to the first, so that a session on the date line stays in one piece.
    let (mut south, mut north, mut west, mut east) = (first.latitude_deg, first.latitude_deg, 0.0_f64, 0.0_f64);
    for fix in fixes {
        let relative = (fix.longitude_deg - first.longitude_deg + 540.0).rem_euclid(360.0) - 180.0;
        (south, north) = (south.min(fix.latitude_deg), north.max(fix.latitude_deg));
        (west, east) = (west.min(relative), east.max(relative));
    }
    Some(Plane::new(0.5 * (south + north), first.longitude_deg + 0.5 * (west + east), 0.0))
}

/// An edge of the track file on the plane.
pub fn edge_on_plane(edge: &crate::track::file::Edge, plane: &Plane) -> Vec<Point> {
    edge.positions.iter().map(|[longitude, latitude]| plane.to_plane(*latitude, *longitude)).collect()
}
