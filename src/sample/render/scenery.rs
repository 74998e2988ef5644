//! What there is to see around an invented circuit: the ground as fields over a grid, a panorama at infinity, and
//! things that stand upright. Made once per film from the circuit and one driven lap; the same circuit looks the same.

#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "grid and colour indices are brought inside their range before each cast"
)]

use std::f64::consts::TAU;

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::geom::Point;
use crate::job::map_parallel;
use crate::sample::circuit::{Bend, Circuit};

/// Side of a grid cell, m; fields between cells are interpolated.
const CELL_M: f64 = 0.5;
/// The grid reaches this far beyond the circuit's vertices, m.
const MARGIN_M: f64 = 45.0;
/// Fields are exact up to this distance, m; beyond it the ground is all grass.
const REACH_M: f64 = 14.0;
/// Panorama: columns round the compass per column of the picture, which shows 75° of it, columns per row, and the
/// elevations of the lowest and highest row, °.
const PANORAMA_COLUMNS: usize = 5;
const PANORAMA_COLUMNS_PER_ROW: usize = 14;
const ELEVATIONS_DEG: (f64, f64) = (-2.0, 26.0);

pub(crate) type Colour = [f64; 3];

/// One cell of the ground. f32: a field of a square kilometre should stay in the processor's cache.
#[derive(Debug, Clone, Copy)]
struct Cell {
    /// Distance from the centre line, m, without sign.
    distance_m: f32,
    /// Along the centre line, m.
    station_m: f32,
    /// +1 left of the centre line, −1 right.
    side: f32,
    /// Distance from a driven line, m.
    rubber_m: f32,
}

const FAR: Cell = Cell { distance_m: 60.0, station_m: 0.0, side: 1.0, rubber_m: 60.0 };

/// The ground under one point.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Ground {
    pub(crate) distance_m: f64,
    pub(crate) station_m: f64,
    pub(crate) rubber_m: f64,
    /// A kerb lies along the edge here.
    pub(crate) kerb: bool,
}

/// What stands upright.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Kind {
    TyreStack,
    /// A board with the corner's number.
    Board(u32),
    Cone,
    Bush(f64),
}

#[derive(Debug, Clone, Copy)]
pub(crate) struct Thing {
    pub(crate) kind: Kind,
    pub(crate) position: Point,
}

impl Thing {
    /// Width and height, m.
    pub(crate) fn size_m(&self) -> (f64, f64) {
        match self.kind {
            Kind::TyreStack => (0.66, 0.9),
            Kind::Board(_) => (0.9, 1.7),
            Kind::Cone => (0.34, 0.45),
            Kind::Bush(height_m) => (1.5 * height_m, height_m),
        }
    }
}

/// A square of smooth noise that repeats, for texture anywhere.
#[derive(Debug)]
pub(crate) struct Noise {
    values: Vec<f32>,
}

const NOISE_SIDE: usize = 256;

impl Noise {
    fn new(seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        Self { values: (0..NOISE_SIDE * NOISE_SIDE).map(|_| rng.random_range(-1.0..1.0)).collect() }
    }

    /// −1 to 1, one hill or hollow per unit of `x` and `y`.
    pub(crate) fn at(&self, x: f64, y: f64) -> f64 {
        // Rounding down by hand: the library's floor is a call per pixel where the processor's own is not assumed.
        let down = |value: f64| value as i64 - i64::from(value < 0.0);
        let (ix, iy) = (down(x), down(y));
        let (u, v) = (x - ix as f64, y - iy as f64);
        let (u, v) = (u * u * (3.0 - 2.0 * u), v * v * (3.0 - 2.0 * v));
        let mask = NOISE_SIDE as i64 - 1;
        let value = |dx: i64, dy: i64| {
            f64::from(self.values[((iy + dy) & mask) as usize * NOISE_SIDE + ((ix + dx) & mask) as usize])
        };
        let top = value(0, 0) + u * (value(1, 0) - value(0, 0));
        let bottom = value(0, 1) + u * (value(1, 1) - value(0, 1));
        top + v * (bottom - top)
    }
}

#[derive(Debug)]
pub(crate) struct Scenery {
    cells: Vec<Cell>,
    columns: usize,
    rows: usize,
    corner: Point,
    /// Per metre of station: a kerb on the left, on the right.
    kerbs: Vec<(bool, bool)>,
    panorama: Vec<[u8; 3]>,
    /// Columns and rows of the panorama.
    panorama_size: (usize, usize),
    pub(crate) noise: Noise,
    pub(crate) things: Vec<Thing>,
    pub(crate) half_width_m: f64,
    pub(crate) gate: Point,
    pub(crate) gate_heading_rad: f64,
}

impl Scenery {
    /// `driven` is one lap's line, points about a metre apart: where the rubber lies. `width` is the picture's, pixels.
    pub(crate) fn new(circuit: &Circuit, driven: &[Point], width: usize) -> Self {
        let vertices = || circuit.bends.iter().map(|bend| bend.vertex);
        let corner = Point::new(
            vertices().map(|it| it.x_m).fold(f64::INFINITY, f64::min) - MARGIN_M,
            vertices().map(|it| it.y_m).fold(f64::INFINITY, f64::min) - MARGIN_M,
        );
        let far = Point::new(
            vertices().map(|it| it.x_m).fold(f64::NEG_INFINITY, f64::max) + MARGIN_M,
            vertices().map(|it| it.y_m).fold(f64::NEG_INFINITY, f64::max) + MARGIN_M,
        );
        let columns = ((far.x_m - corner.x_m) / CELL_M).ceil() as usize;
        let rows = ((far.y_m - corner.y_m) / CELL_M).ceil() as usize;
        let noise = Noise::new(11);
        let panorama_columns = PANORAMA_COLUMNS * width.max(PANORAMA_COLUMNS_PER_ROW);
        let panorama_size = (panorama_columns, panorama_columns / PANORAMA_COLUMNS_PER_ROW);
        let panorama = panorama(panorama_size, &noise);
        let mut scenery = Self {
            cells: vec![FAR; columns * rows],
            columns,
            rows,
            corner,
            kerbs: vec![(false, false); circuit.length_m().ceil() as usize + 2],
            panorama,
            panorama_size,
            noise,
            things: things(circuit),
            half_width_m: circuit.width_m / 2.0,
            gate: circuit.gate,
            gate_heading_rad: circuit.gate_heading_rad(),
        };
        scenery.lay_centre_line(circuit);
        scenery.lay_rubber(driven);
        scenery
    }

    fn lay_centre_line(&mut self, circuit: &Circuit) {
        let line = circuit.offset_line(0.0);
        let mut station_m = 0.0;
        let mut stations = Vec::new();
        for (a, b) in line.iter().zip(line.iter().cycle().skip(1)) {
            stations.push(station_m);
            let from_m = station_m;
            self.near_segment(*a, *b, |cell, distance_m, along_m, side| {
                if distance_m < f64::from(cell.distance_m) {
                    cell.distance_m = distance_m as f32;
                    cell.station_m = (from_m + along_m) as f32;
                    cell.side = side as f32;
                }
            });
            station_m += a.distance_m(*b);
        }
        for bend in &circuit.bends {
            let station_of = |point: Point| {
                let nearest =
                    line.iter().zip(&stations).min_by(|a, b| a.0.distance_m(point).total_cmp(&b.0.distance_m(point)));
                nearest.map_or(0.0, |(_, station)| *station)
            };
            self.lay_kerbs(bend, station_of(bend.arc_start()), station_of(bend.arc_end()), station_m);
        }
    }

    /// Inside along the corner, outside before it and after it.
    fn lay_kerbs(&mut self, bend: &Bend, start_m: f64, end_m: f64, length_m: f64) {
        let end_m = if end_m < start_m { end_m + length_m } else { end_m };
        let left_inside = bend.sign() > 0.0;
        let mut lay = |from_m: f64, to_m: f64, left: bool| {
            let mut at_m = from_m;
            while at_m < to_m {
                let index = at_m.rem_euclid(length_m) as usize;
                let (on_left, on_right) = &mut self.kerbs[index];
                *(if left { on_left } else { on_right }) = true;
                at_m += 1.0;
            }
        };
        lay(start_m - 3.0, end_m + 4.0, left_inside);
        lay(start_m - 22.0, start_m - 10.0, !left_inside);
        lay(end_m + 2.0, end_m + 24.0, !left_inside);
    }

    fn lay_rubber(&mut self, driven: &[Point]) {
        for pair in driven.windows(2) {
            self.near_segment(pair[0], pair[1], |cell, distance_m, _, _| {
                cell.rubber_m = cell.rubber_m.min(distance_m as f32);
            });
        }
    }

    /// Calls `touch` with each cell near the segment: distance, place along it, and side.
    fn near_segment(&mut self, a: Point, b: Point, touch: impl Fn(&mut Cell, f64, f64, f64)) {
        let length_m = a.distance_m(b);
        if length_m <= 0.0 {
            return;
        }
        let along = (b - a).scaled(1.0 / length_m);
        let index = |low: f64, high: f64, origin: f64, count: usize| {
            let from = ((low - REACH_M - origin) / CELL_M).floor().max(0.0) as usize;
            let to = ((high + REACH_M - origin) / CELL_M).ceil().max(0.0) as usize;
            from..to.min(count)
        };
        for row in index(a.y_m.min(b.y_m), a.y_m.max(b.y_m), self.corner.y_m, self.rows) {
            for column in index(a.x_m.min(b.x_m), a.x_m.max(b.x_m), self.corner.x_m, self.columns) {
                let point = self.corner + Point::new(column as f64 * CELL_M, row as f64 * CELL_M);
                let along_m = (point - a).dot(along).clamp(0.0, length_m);
                let distance_m = point.distance_m(a + along.scaled(along_m));
                if distance_m <= REACH_M {
                    let side = along.cross(point - a).signum();
                    touch(&mut self.cells[row * self.columns + column], distance_m, along_m, side);
                }
            }
        }
    }

    /// The ground at a point; beyond the grid it is far from everything.
    pub(crate) fn ground(&self, x_m: f64, y_m: f64) -> Ground {
        let (u, v) = ((x_m - self.corner.x_m) / CELL_M, (y_m - self.corner.y_m) / CELL_M);
        if u < 0.0 || v < 0.0 || u >= (self.columns - 1) as f64 || v >= (self.rows - 1) as f64 {
            return Ground { distance_m: 60.0, station_m: 0.0, rubber_m: 60.0, kerb: false };
        }
        let (column, row) = (u as usize, v as usize);
        let (u, v) = (u - column as f64, v - row as f64);
        let at = row * self.columns + column;
        let four =
            [self.cells[at], self.cells[at + 1], self.cells[at + self.columns], self.cells[at + self.columns + 1]];
        let weights = [(1.0 - u) * (1.0 - v), u * (1.0 - v), (1.0 - u) * v, u * v];
        let mix = |field: fn(&Cell) -> f32| {
            four.iter().zip(weights).map(|(cell, weight)| f64::from(field(cell)) * weight).sum::<f64>()
        };
        let nearest = four[usize::from(u > 0.5) + 2 * usize::from(v > 0.5)];
        // Stations jump where the lap closes and half-way between two parts of the track: no mixing across.
        let together = four.iter().all(|cell| (cell.station_m - nearest.station_m).abs() < 3.0);
        let station_m = if together { mix(|cell| cell.station_m) } else { f64::from(nearest.station_m) };
        let (left, right) = self.kerbs[(station_m.max(0.0) as usize).min(self.kerbs.len() - 1)];
        Ground {
            distance_m: mix(|cell| cell.distance_m),
            station_m,
            rubber_m: mix(|cell| cell.rubber_m),
            kerb: if nearest.side > 0.0 { left } else { right },
        }
    }

    /// The colour of what is far away, in a direction; elevations beyond the panorama are brought to its ends.
    pub(crate) fn sky(&self, azimuth_rad: f64, elevation_deg: f64) -> Colour {
        let (columns, rows) = self.panorama_size;
        let x = (azimuth_rad / TAU).rem_euclid(1.0) * columns as f64;
        let (low, high) = ELEVATIONS_DEG;
        let y = ((elevation_deg - low) / (high - low) * (rows - 1) as f64).clamp(0.0, (rows - 2) as f64);
        let (column, row) = (x as usize % columns, y as usize);
        let (u, v) = (x.fract(), y - row as f64);
        let next = (column + 1) % columns;
        let pixel = |column: usize, row: usize| self.panorama[row * columns + column];
        let (a, b, c, d) = (pixel(column, row), pixel(next, row), pixel(column, row + 1), pixel(next, row + 1));
        std::array::from_fn(|channel| {
            let mix = |p: [u8; 3], q: [u8; 3]| f64::from(p[channel]) * (1.0 - u) + f64::from(q[channel]) * u;
            mix(a, b) * (1.0 - v) + mix(c, d) * v
        })
    }
}

/// Tyre stacks outside the corners, a numbered board before each, cones inside, bushes all around.
fn things(circuit: &Circuit) -> Vec<Thing> {
    let mut rng = ChaCha8Rng::seed_from_u64(17);
    let mut things = Vec::new();
    let edge_m = circuit.width_m / 2.0;
    let count = circuit.bends.len();
    for (bend, number) in circuit.bends.iter().zip(1..) {
        let outward = |heading_rad: f64| Point::unit(heading_rad).left().scaled(-bend.sign());
        let ahead = Point::unit(bend.heading_out_rad());
        let after_m = bend.arc_end().distance_m(circuit.bends[number as usize % count].arc_start());
        let mut along_m = -2.0;
        while along_m < (0.5 * after_m).min(16.0) {
            let jitter_m = rng.random_range(-0.15..0.15);
            let position = bend.arc_end()
                + ahead.scaled(along_m)
                + outward(bend.heading_out_rad()).scaled(edge_m + 4.2 + jitter_m);
            things.push(Thing { kind: Kind::TyreStack, position });
            along_m += 0.8;
        }
        let before = bend.arc_start() - Point::unit(bend.heading_in_rad).scaled(14.0);
        let board = before + outward(bend.heading_in_rad).scaled(edge_m + 2.6);
        things.push(Thing { kind: Kind::Board(number), position: board });
        let apex_heading_rad = bend.heading_in_rad + 0.5 * bend.angle_rad;
        for turn in [-0.25, 0.0, 0.25] {
            let towards = outward(apex_heading_rad + turn * bend.angle_rad);
            let position = bend.arc_center + towards.scaled((bend.inside_radius_m - 1.7).max(0.5));
            things.push(Thing { kind: Kind::Cone, position });
        }
    }
    let line = circuit.offset_line(0.0);
    for _ in 0..420 {
        let near = line[rng.random_range(0..line.len())];
        let position = near + Point::new(rng.random_range(-70.0..70.0), rng.random_range(-70.0..70.0));
        let clear_m = line
            .iter()
            .zip(line.iter().cycle().skip(1))
            .map(|(a, b)| {
                let along = *b - *a;
                let share = ((position - *a).dot(along) / along.dot(along).max(1e-9)).clamp(0.0, 1.0);
                position.distance_m(*a + along.scaled(share))
            })
            .fold(f64::INFINITY, f64::min);
        if clear_m > edge_m + 9.0 {
            things.push(Thing { kind: Kind::Bush(rng.random_range(0.5..1.6)), position });
        }
    }
    things
}

/// Sky with clouds, two ranges of hills, a line of trees and a few barns, all the way round.
fn panorama((columns, rows): (usize, usize), noise: &Noise) -> Vec<[u8; 3]> {
    let (low, high) = ELEVATIONS_DEG;
    let all_rows: Vec<usize> = (0..rows).collect();
    let skyline: Vec<Skyline> = (0..columns).map(|column| Skyline::at(column as f64 / columns as f64, noise)).collect();
    map_parallel(&all_rows, |row| {
        let elevation_deg = low + (high - low) * *row as f64 / (rows - 1) as f64;
        (0..columns)
            .map(|column| skyline[column].colour(column as f64 / columns as f64, elevation_deg, noise))
            .collect::<Vec<_>>()
    })
    .concat()
}

/// How high what stands at one azimuth reaches, °.
struct Skyline {
    far_hills_deg: f64,
    near_hills_deg: f64,
    trees_deg: f64,
    tree_shade: f64,
    barn: Option<(f64, f64)>,
}

/// Barns as share of the compass, width, height in ° and brightness.
const BARNS: [(f64, f64, f64, f64); 5] = [
    (0.07, 0.010, 1.0, 0.9),
    (0.31, 0.006, 1.3, 0.7),
    (0.52, 0.012, 0.9, 1.0),
    (0.71, 0.005, 1.5, 0.8),
    (0.9, 0.008, 1.1, 0.6),
];

impl Skyline {
    fn at(turn: f64, noise: &Noise) -> Self {
        let wave = |times: f64, phase: f64| (TAU * times * turn + phase).sin();
        // Noise repeats every 256 units: whole multiples of 256 units round the compass close without a seam.
        let grain = |per_turn: f64, line: f64| noise.at(per_turn * turn, line);
        let far_hills_deg = 2.4 + 0.9 * wave(3.0, 0.4) + 0.6 * wave(7.0, 2.0) + 0.3 * wave(17.0, 1.0);
        let near_hills_deg =
            1.1 + 0.5 * wave(5.0, 1.3) + 0.35 * wave(11.0, 0.2) + 0.25 * grain(256.0, 3.5) + 0.08 * grain(1024.0, 9.5);
        let wood = (grain(256.0, 20.5) + 0.6 * wave(4.0, 0.9)).clamp(-0.2, 1.0) + 0.2;
        let trees_deg = 0.35
            + wood * (0.9 + 0.35 * grain(512.0, 40.5))
            + 0.25 * grain(1024.0, 60.5).abs()
            + 0.15 * grain(2560.0, 80.5).abs();
        let barn = BARNS
            .iter()
            .find(|(at, width, _, _)| (turn - at).abs() < 0.5 * width)
            .map(|(_, _, height_deg, brightness)| (*height_deg, *brightness));
        Self { far_hills_deg, near_hills_deg, trees_deg, tree_shade: grain(1536.0, 99.5), barn }
    }

    fn colour(&self, turn: f64, elevation_deg: f64, noise: &Noise) -> [u8; 3] {
        let fleck = noise.at(2560.0 * turn, elevation_deg * 9.0);
        let colour = match self.barn {
            Some((height_deg, brightness)) if elevation_deg > -0.3 && elevation_deg < height_deg => {
                let roof = elevation_deg > 0.6 * height_deg;
                scaled(if roof { [128.0, 92.0, 78.0] } else { [198.0, 190.0, 172.0] }, brightness)
            }
            _ if elevation_deg < -0.1 => [118.0, 142.0, 92.0],
            _ if elevation_deg < self.trees_deg => {
                let light = 1.0 + 0.16 * self.tree_shade + 0.14 * fleck + 0.1 * elevation_deg;
                scaled([58.0, 82.0, 52.0], light)
            }
            _ if elevation_deg < self.near_hills_deg => scaled([112.0, 138.0, 104.0], 1.0 + 0.05 * fleck),
            _ if elevation_deg < self.far_hills_deg => scaled([142.0, 162.0, 172.0], 1.0 + 0.02 * fleck),
            _ => sky(turn, elevation_deg, noise),
        };
        colour.map(|channel| channel.clamp(0.0, 255.0) as u8)
    }
}

fn sky(turn: f64, elevation_deg: f64, noise: &Noise) -> Colour {
    let height = (elevation_deg / 26.0).clamp(0.0, 1.0);
    let clear = mixed([206.0, 222.0, 234.0], [112.0, 162.0, 214.0], height.sqrt());
    // Clouds lie on a level sheet: seen lower, they are farther and flatter. This also closes the circle seamlessly.
    let far = 1.0 / (elevation_deg + 3.0).to_radians().tan().max(0.05);
    let (x, y) = ((TAU * turn).cos() * far, (TAU * turn).sin() * far);
    let cloud = noise.at(0.7 * x, 0.7 * y)
        + 0.5 * noise.at(1.7 * x + 31.0, 1.7 * y)
        + 0.25 * noise.at(4.1 * x, 4.1 * y + 67.0)
        + 0.12 * noise.at(9.3 * x + 11.0, 9.3 * y);
    mixed(clear, [240.0, 243.0, 246.0], (1.1 * cloud - 0.1).clamp(0.0, 0.8))
}

pub(crate) fn mixed(a: Colour, b: Colour, share: f64) -> Colour {
    std::array::from_fn(|channel| a[channel] + (b[channel] - a[channel]) * share)
}

pub(crate) fn scaled(colour: Colour, by: f64) -> Colour {
    colour.map(|channel| channel * by)
}
