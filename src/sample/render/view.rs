//! One picture from the kart: a perspective view of the scenery, pixel by pixel.

#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "pixel positions and colours are brought inside their range before each cast"
)]

use crate::geom::Point;
use crate::sample::footage::{Facing, Look};
use crate::sample::motion::State;
use crate::sample::render::scenery::{Colour, Ground, Kind, Scenery, Thing, mixed, scaled};

/// Horizontal angle of view, °, the camera's height, m, and how far it looks down, °.
const VIEW_DEG: f64 = 75.0;
const HEIGHT_M: f64 = 0.62;
const LOOK_DOWN_DEG: f64 = 8.0;
/// How far a kart leans out of a corner, ° per m/s² to the side. It has no springs: 165 kg, 0.3 m above the ground, press
/// 1 m/s² sideways on four tyres of 100 N/mm, 0.55 m from the middle (common practice), which is 50 Nm on 120 kNm/rad.
const LEAN_DEG_PER_MPS2: f64 = 0.025;
/// Ground beyond this is the panorama's, m.
const GROUND_ENDS_M: f64 = 700.0;
/// Things nearer or farther are not drawn, m.
const THINGS_M: (f64, f64) = (0.8, 160.0);
/// The shutter is open this long, s.
const EXPOSURE_S: f64 = 0.03;
const KERB_WIDTH_M: f64 = 0.8;
const EDGE_LINE_M: f64 = 0.14;

const ASPHALT: Colour = [98.0, 99.0, 103.0];
const GRASS: Colour = [92.0, 128.0, 66.0];
const DUST: Colour = [158.0, 144.0, 112.0];
const EDGE_LINE: Colour = [228.0, 228.0, 222.0];
const KERB_LIGHT: Colour = [214.0, 192.0, 146.0];
const KERB_DARK: Colour = [58.0, 92.0, 142.0];
const HAZE: Colour = [186.0, 200.0, 206.0];

/// A picture of three bytes per pixel, rows without gaps.
#[derive(Debug)]
pub(crate) struct Picture {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) rgb: Vec<u8>,
}

impl Picture {
    fn set(&mut self, x: usize, y: usize, colour: Colour) {
        let at = 3 * (y * self.width + x);
        self.rgb[at..at + 3].copy_from_slice(&colour.map(|channel| channel.clamp(0.0, 255.0) as u8));
    }
}

/// Where the camera is and looks: unit vectors ahead, to the right and up in (x, y, z).
struct Eye {
    position: Point,
    height_m: f64,
    ahead: [f64; 3],
    right: [f64; 3],
    up: [f64; 3],
    focal_px: f64,
}

impl Eye {
    fn new(state: &State, width: usize, shake: Shake, looks_back: bool) -> Self {
        let nod_deg = 0.09 * state.acceleration_mps2 * if looks_back { -1.0 } else { 1.0 };
        let pitch_rad = (-LOOK_DOWN_DEG + nod_deg + shake.pitch_deg).to_radians();
        // Seen backwards, the same lean turns the picture the other way.
        let lean_deg = LEAN_DEG_PER_MPS2 * state.speed_mps * state.yaw_rate_radps * if looks_back { -1.0 } else { 1.0 };
        let roll_rad = (lean_deg + shake.roll_deg).to_radians();
        let back_rad = if looks_back { std::f64::consts::PI } else { 0.0 };
        let (sin_h, cos_h) = (state.heading_rad + back_rad + shake.yaw_deg.to_radians()).sin_cos();
        let (sin_p, cos_p) = pitch_rad.sin_cos();
        let ahead = [cos_h * cos_p, sin_h * cos_p, sin_p];
        let level_right = [sin_h, -cos_h, 0.0];
        let level_up = [-cos_h * sin_p, -sin_h * sin_p, cos_p];
        let (sin_r, cos_r) = roll_rad.sin_cos();
        let turn = |a: f64, b: f64| move |axis: usize| a * level_right[axis] + b * level_up[axis];
        Self {
            position: state.position(),
            height_m: HEIGHT_M + shake.height_m,
            ahead,
            right: std::array::from_fn(turn(cos_r, -sin_r)),
            up: std::array::from_fn(turn(sin_r, cos_r)),
            focal_px: 0.5 * width as f64 / (0.5 * VIEW_DEG).to_radians().tan(),
        }
    }
}

/// Vibration of the camera.
#[derive(Debug, Clone, Copy)]
struct Shake {
    pitch_deg: f64,
    roll_deg: f64,
    yaw_deg: f64,
    height_m: f64,
}

impl Shake {
    /// `times`: how many times the usual.
    fn at(state: &State, scenery: &Scenery, times: f64) -> Self {
        let strength = times * (state.speed_mps / 25.0).min(1.0);
        let wobble = |rate_hz: f64, line: f64| strength * scenery.noise.at(rate_hz * state.t_s, line);
        Self {
            pitch_deg: 0.16 * wobble(19.0, 1.5),
            roll_deg: 0.2 * wobble(13.0, 5.5),
            yaw_deg: 0.05 * wobble(11.0, 8.5),
            height_m: 0.008 * wobble(16.0, 12.5),
        }
    }
}

/// The view without the kart itself.
pub(crate) fn look(scenery: &Scenery, state: &State, look: Look, width: usize, height: usize) -> Picture {
    let shake = Shake::at(state, scenery, if look.shaking { 4.0 } else { 1.0 });
    let eye = Eye::new(state, width, shake, look.facing == Facing::Back);
    let mut picture = Picture { width, height, rgb: vec![0; 3 * width * height] };
    let (center_x, center_y) = (0.5 * (width as f64 - 1.0), 0.5 * (height as f64 - 1.0));
    // Distances from the centre line in the row above and in the pixel before: their differences say how much ground
    // a pixel covers, and edges are softened by as much.
    let mut above_m = vec![f64::NAN; width];
    for y in 0..height {
        let up = (center_y - y as f64) / eye.focal_px;
        let mut before_m = f64::NAN;
        for (x, above_m) in above_m.iter_mut().enumerate() {
            let right = (x as f64 - center_x) / eye.focal_px;
            let [dx, dy, dz] =
                std::array::from_fn(|axis| eye.ahead[axis] + right * eye.right[axis] + up * eye.up[axis]);
            let reach = if dz < -1e-6 { eye.height_m / -dz } else { f64::INFINITY };
            if reach > GROUND_ENDS_M {
                // The first terms of the arc tangent: the sky may be a little steep, as long as it turns rightly.
                let slope = dz / (dx * dx + dy * dy).sqrt();
                let elevation_rad = slope * (1.0 - slope * slope * (1.0 / 3.0 - slope * slope / 5.0));
                picture.set(x, y, scenery.sky(dy.atan2(dx), elevation_rad.to_degrees()));
                continue;
            }
            let (x_m, y_m) = (eye.position.x_m + reach * dx, eye.position.y_m + reach * dy);
            let ground = scenery.ground(x_m, y_m);
            let step_m = |other: f64| if other.is_nan() { 0.0 } else { (ground.distance_m - other).abs() };
            let soft_m = step_m(before_m).max(step_m(*above_m)).max(0.004);
            before_m = ground.distance_m;
            *above_m = ground.distance_m;
            let footprint_m = reach * reach / (eye.height_m * eye.focal_px);
            let colour =
                ground_colour(scenery, &ground, (x_m, y_m), soft_m, footprint_m.max(EXPOSURE_S * state.speed_mps));
            picture.set(x, y, mixed(colour, HAZE, haze(reach)));
        }
    }
    draw_things(scenery, &eye, &mut picture);
    picture
}

/// Share of haze over a distance in metres: half of it at the distance given here.
fn haze(distance_m: f64) -> f64 {
    const HALF_HAZE_M: f64 = 460.0;
    distance_m / (distance_m + HALF_HAZE_M)
}

/// `soft_m`: over how much of the distance from the centre line a pixel reaches; `blur_m`: over how much ground it
/// smears, by size and by motion. Texture finer than that is left out, as in a real exposure.
fn ground_colour(scenery: &Scenery, ground: &Ground, (x_m, y_m): (f64, f64), soft_m: f64, blur_m: f64) -> Colour {
    let texture = |size_m: f64, line: f64| {
        let seen = (size_m / blur_m).clamp(0.0, 1.0);
        if seen < 0.3 { 0.0 } else { seen * scenery.noise.at(x_m / size_m + line, y_m / size_m) }
    };
    let within = |limit_m: f64| (0.5 + (limit_m - ground.distance_m) / soft_m).clamp(0.0, 1.0);
    let half_m = scenery.half_width_m;
    let on_track = within(half_m);
    let mut colour = GRASS;
    if on_track < 1.0 {
        colour = scaled(GRASS, 1.0 + 0.10 * texture(7.0, 0.3) + 0.10 * texture(1.8, 40.0) + 0.07 * texture(0.5, 80.0));
        let worn = within(half_m + 1.6 + 0.8 * texture(5.0, 17.0));
        colour = mixed(colour, DUST, 0.75 * worn);
        if ground.kerb {
            let stripe_soft_m = blur_m.min(1.0);
            // A square wave of 1.2 m per stripe, softened.
            let wave =
                ((ground.station_m / 1.2 * std::f64::consts::PI).sin() * 1.2 / stripe_soft_m.max(0.1)).clamp(-1.0, 1.0);
            let kerb = mixed(KERB_DARK, KERB_LIGHT, 0.5 + 0.5 * wave);
            colour = mixed(colour, kerb, within(half_m + KERB_WIDTH_M));
        }
    }
    if on_track > 0.0 {
        let rubber = if ground.rubber_m < 2.5 { 0.26 * (-(ground.rubber_m / 0.8).powi(2)).exp() } else { 0.0 };
        let grain = 1.0 + 0.05 * texture(3.5, 11.0) + 0.05 * texture(0.9, 23.0) + 0.05 * texture(0.25, 51.0);
        let mut asphalt = scaled(ASPHALT, grain - rubber);
        asphalt = mixed(EDGE_LINE, asphalt, within(half_m - EDGE_LINE_M));
        asphalt = start_line(scenery, asphalt, Point::new(x_m, y_m), blur_m);
        colour = mixed(colour, asphalt, on_track);
    }
    colour
}

/// Two rows of squares across the track at the start/finish gate.
fn start_line(scenery: &Scenery, under: Colour, point: Point, blur_m: f64) -> Colour {
    const SQUARE_M: f64 = 0.5;
    let along = Point::unit(scenery.gate_heading_rad);
    let (ahead_m, left_m) = ((point - scenery.gate).dot(along), (point - scenery.gate).dot(along.left()));
    if ahead_m.abs() > SQUARE_M || left_m.abs() > scenery.half_width_m {
        return under;
    }
    let odd = ((ahead_m / SQUARE_M).floor() + (left_m / SQUARE_M).floor()).rem_euclid(2.0);
    let contrast = (SQUARE_M / blur_m).clamp(0.0, 1.0);
    mixed(under, if odd > 0.5 { [235.0; 3] } else { [28.0; 3] }, 0.5 + 0.5 * contrast)
}

/// Far things first, so that near ones hide them.
fn draw_things(scenery: &Scenery, eye: &Eye, picture: &mut Picture) {
    let mut seen: Vec<(f64, &Thing)> = scenery
        .things
        .iter()
        .map(|thing| {
            let to = thing.position - eye.position;
            (to.x_m * eye.ahead[0] + to.y_m * eye.ahead[1], thing)
        })
        .filter(|(depth_m, _)| (THINGS_M.0..THINGS_M.1).contains(depth_m))
        .collect();
    seen.sort_by(|a, b| b.0.total_cmp(&a.0));
    for (_, thing) in seen {
        draw_thing(thing, eye, picture);
    }
}

fn draw_thing(thing: &Thing, eye: &Eye, picture: &mut Picture) {
    let (width_m, height_m) = thing.size_m();
    let project = |z_m: f64| {
        let to = thing.position - eye.position;
        let to = [to.x_m, to.y_m, z_m - eye.height_m];
        let dot = |axis: &[f64; 3]| to[0] * axis[0] + to[1] * axis[1] + to[2] * axis[2];
        let depth_m = dot(&eye.ahead).max(0.1);
        let x = 0.5 * picture.width as f64 + dot(&eye.right) / depth_m * eye.focal_px;
        let y = 0.5 * picture.height as f64 - dot(&eye.up) / depth_m * eye.focal_px;
        (x, y, depth_m)
    };
    let ((foot_x, foot_y, depth_m), (head_x, head_y, _)) = (project(0.0), project(height_m));
    let half_px = 0.5 * width_m / depth_m * eye.focal_px;
    let haze = haze(depth_m);
    let rows = head_y.floor().max(0.0) as usize..(foot_y.ceil().max(0.0) as usize).min(picture.height);
    for y in rows {
        let v = ((foot_y - y as f64 - 0.5) / (foot_y - head_y)).clamp(0.0, 1.0);
        let center_x = foot_x + v * (head_x - foot_x);
        let from = (center_x - half_px).floor().max(0.0) as usize;
        let to = ((center_x + half_px).ceil().max(0.0) as usize).min(picture.width);
        for x in from..to {
            let u = (x as f64 + 0.5 - center_x) / half_px;
            if let Some(colour) = thing_colour(thing.kind, u, v, thing.position) {
                picture.set(x, y, mixed(colour, HAZE, haze));
            }
        }
    }
}

/// Colour at u from −1 (left) to 1 and v from 0 (foot) to 1; `None` where the thing is not.
fn thing_colour(kind: Kind, u: f64, v: f64, position: Point) -> Option<Colour> {
    let round = 1.0 - 0.45 * u * u;
    match kind {
        _ if u.abs() > 1.0 => None,
        Kind::TyreStack => {
            let layer = (v * 4.0).floor();
            let groove = ((v * 4.0).fract() - 0.5).abs() * 2.0;
            if u.abs() > 1.0 - 0.12 * groove * groove {
                return None;
            }
            let blue = ((position.x_m + position.y_m) * 0.4).floor().rem_euclid(2.0) > 0.5;
            let tyre = match (layer > 2.5, blue) {
                (true, true) => [74.0, 112.0, 164.0],
                (true, false) => [222.0, 216.0, 204.0],
                _ => [46.0, 46.0, 50.0],
            };
            Some(scaled(tyre, round * (1.0 - 0.35 * groove * groove)))
        }
        Kind::Board(number) => board_colour(number, u, v),
        Kind::Cone => (u.abs() < 1.0 - 0.82 * v || v < 0.08).then(|| {
            let band = (0.42..0.66).contains(&v);
            scaled(if band { [232.0; 3] } else { [214.0, 140.0, 62.0] }, round)
        }),
        Kind::Bush(_) => {
            let lumps = 0.1 * (7.0 * u + position.x_m).sin() + 0.07 * (13.0 * u + position.y_m).sin();
            (v < (1.0 - u * u).sqrt() * (0.86 + lumps))
                .then(|| scaled([66.0, 98.0, 52.0], 0.62 + 0.5 * v + 0.12 * (9.0 * u + 5.0 * v + position.y_m).sin()))
        }
    }
}

/// A white board with a dark rim on two posts, the digit in dots of five by seven.
fn board_colour(number: u32, u: f64, v: f64) -> Option<Colour> {
    const FROM: f64 = 0.42;
    if v < FROM {
        return ((u.abs() - 0.7).abs() < 0.08).then_some([96.0, 92.0, 86.0]);
    }
    let w = (v - FROM) / (1.0 - FROM);
    if u.abs() > 0.9 || !(0.06..0.94).contains(&w) {
        return Some([40.0, 62.0, 98.0]);
    }
    let (column, row) = ((u / 0.5 + 1.0) * 2.5, (0.86 - w) / 0.72 * 7.0);
    let inked = (0.0..5.0).contains(&column)
        && (0.0..7.0).contains(&row)
        && DIGITS[number as usize % 10][row as usize] >> (4 - column as usize) & 1 == 1;
    Some(if inked { [34.0, 40.0, 52.0] } else { [238.0, 236.0, 228.0] })
}

/// Digits in dots: seven rows of five bits, the left dot highest.
const DIGITS: [[u8; 7]; 10] = [
    [14, 17, 19, 21, 25, 17, 14],
    [4, 12, 4, 4, 4, 4, 14],
    [14, 17, 1, 2, 4, 8, 31],
    [31, 2, 4, 2, 1, 17, 14],
    [2, 6, 10, 18, 31, 2, 2],
    [31, 16, 30, 1, 1, 17, 14],
    [6, 8, 16, 30, 17, 17, 14],
    [31, 1, 2, 4, 8, 8, 8],
    [14, 17, 17, 14, 17, 17, 14],
    [14, 17, 17, 15, 1, 2, 12],
];
