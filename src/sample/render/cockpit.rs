//! The kart itself in the foreground: nose, front wheels, steering wheel and gloves, drawn over the view. It stays
//! still in the picture while the scene turns; only wheels and hands follow the steering.

#![allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "colours are 0 to 255, sizes are pixels")]

use std::f64::consts::{PI, TAU};

use cairo::{Context, Format, ImageSurface};

use crate::sample::motion::State;
use crate::sample::render::view::Picture;

/// Radians of the steering wheel per 1/m of curvature, and its stop: a kart's steering is direct, and it slides a bit.
const WHEEL_PER_CURVATURE: f64 = 8.5;
const WHEEL_STOP_RAD: f64 = 1.2;
/// Radians of the front wheels per radian of the steering wheel.
const FRONT_WHEEL_SHARE: f64 = 0.35;

/// Draws the kart over the picture.
pub(crate) fn draw(picture: &mut Picture, state: &State) -> Result<(), cairo::Error> {
    let (width, height) = (picture.width as i32, picture.height as i32);
    let top = height * 45 / 100;
    let mut surface = ImageSurface::create(Format::ARgb32, width, height - top)?;
    {
        let context = Context::new(&surface)?;
        // One unit is the picture's height; (0, 0) is the middle of its lower edge, y upwards.
        context.translate(f64::from(width) / 2.0, f64::from(height - top));
        context.scale(f64::from(height), -f64::from(height));
        let wheel_rad = (WHEEL_PER_CURVATURE * state.curvature_per_m).clamp(-WHEEL_STOP_RAD, WHEEL_STOP_RAD);
        front_wheel(&context, -0.62, wheel_rad * FRONT_WHEEL_SHARE)?;
        front_wheel(&context, 0.62, wheel_rad * FRONT_WHEEL_SHARE)?;
        nose(&context)?;
        steering(&context, wheel_rad)?;
    }
    surface.flush();
    let stride = surface.stride() as usize;
    let drawn = surface.data().map_err(|_| cairo::Error::SurfaceTypeMismatch)?;
    lay_over(picture, &drawn, stride, top as usize);
    Ok(())
}

/// Premultiplied BGRA (cairo's ARGB32 on little-endian machines) over RGB.
fn lay_over(picture: &mut Picture, drawn: &[u8], stride: usize, top: usize) {
    for (row, line) in drawn.chunks_exact(stride).enumerate() {
        for x in 0..picture.width {
            let argb = u32::from_ne_bytes([line[4 * x], line[4 * x + 1], line[4 * x + 2], line[4 * x + 3]]);
            let alpha = argb >> 24;
            if alpha == 0 {
                continue;
            }
            let at = 3 * ((row + top) * picture.width + x);
            for (channel, shift) in [(0, 16), (1, 8), (2, 0)] {
                let under = u32::from(picture.rgb[at + channel]);
                picture.rgb[at + channel] = ((argb >> shift & 255) + under * (255 - alpha) / 255).min(255) as u8;
            }
        }
    }
}

fn fill(context: &Context, (red, green, blue): (f64, f64, f64)) -> Result<(), cairo::Error> {
    context.set_source_rgb(red, green, blue);
    context.fill()
}

fn polygon(context: &Context, points: &[(f64, f64)]) {
    for (index, (x, y)) in points.iter().enumerate() {
        if index == 0 { context.move_to(*x, *y) } else { context.line_to(*x, *y) }
    }
    context.close_path();
}

/// A tyre seen from behind and above, turned about its upright axis.
fn front_wheel(context: &Context, x: f64, turned_rad: f64) -> Result<(), cairo::Error> {
    context.save()?;
    context.translate(x, 0.14);
    // Turned wheels lean in the picture and show more of their side.
    let shear = -0.55 * turned_rad;
    context.transform(cairo::Matrix::new(1.0, 0.0, shear, 1.0, 0.0, 0.0));
    let (half_width, half_height) = (0.062 + 0.05 * turned_rad.abs(), 0.105);
    rounded(context, (-half_width, -half_height), (half_width, half_height), 0.045);
    fill(context, (0.10, 0.10, 0.11))?;
    for groove in [-0.5, 0.0, 0.5] {
        rounded(
            context,
            (groove * half_width - 0.006, -half_height * 0.92),
            (groove * half_width + 0.006, half_height * 0.92),
            0.005,
        );
        fill(context, (0.16, 0.16, 0.17))?;
    }
    // The stub axle towards the middle.
    let inwards = -x.signum();
    polygon(context, &[(0.0, 0.012), (inwards * 0.3, -0.012), (inwards * 0.3, -0.04), (0.0, -0.016)]);
    fill(context, (0.42, 0.43, 0.45))?;
    context.restore()
}

/// The front panel between the wheels and the nose before it.
fn nose(context: &Context) -> Result<(), cairo::Error> {
    polygon(context, &[(-0.5, 0.0), (-0.36, 0.20), (-0.24, 0.225), (0.24, 0.225), (0.36, 0.20), (0.5, 0.0)]);
    fill(context, (0.16, 0.33, 0.36))?;
    polygon(context, &[(-0.36, 0.20), (-0.24, 0.225), (0.24, 0.225), (0.36, 0.20), (0.33, 0.185), (-0.33, 0.185)]);
    fill(context, (0.24, 0.46, 0.48))?;
    polygon(context, &[(-0.16, 0.0), (-0.115, 0.255), (0.115, 0.255), (0.16, 0.0)]);
    fill(context, (0.84, 0.80, 0.70))?;
    polygon(context, &[(-0.115, 0.255), (0.115, 0.255), (0.12, 0.232), (-0.12, 0.232)]);
    fill(context, (0.93, 0.90, 0.82))
}

/// Wheel, spokes and gloves about a hub near the lower edge; the forearms come from where the shoulders would be.
fn steering(context: &Context, turned_rad: f64) -> Result<(), cairo::Error> {
    const RADIUS: f64 = 0.205;
    /// The wheel leans back: a circle seen flatter.
    const FLATTER: f64 = 0.8;
    context.save()?;
    context.translate(0.0, 0.03);
    let hand = |side: f64| {
        let angle_rad = turned_rad + if side > 0.0 { 0.12 * PI } else { 0.88 * PI };
        (RADIUS * angle_rad.cos(), FLATTER * RADIUS * angle_rad.sin())
    };
    context.save()?;
    context.scale(1.0, FLATTER);
    context.rotate(turned_rad);
    for spoke_rad in [0.12 * PI, 0.88 * PI, 1.5 * PI] {
        context.move_to(0.0, 0.0);
        context.line_to(RADIUS * spoke_rad.cos(), RADIUS * spoke_rad.sin());
        context.set_line_width(0.032);
        context.set_source_rgb(0.30, 0.31, 0.33);
        context.stroke()?;
    }
    context.arc(0.0, 0.0, 0.055, 0.0, TAU);
    fill(context, (0.22, 0.23, 0.25))?;
    context.arc(0.0, 0.0, RADIUS, 0.0, TAU);
    context.set_line_width(0.034);
    context.set_source_rgb(0.07, 0.07, 0.08);
    context.stroke()?;
    context.arc(0.0, 0.0, RADIUS + 0.006, 0.15 * PI, 0.85 * PI);
    context.set_line_width(0.006);
    context.set_source_rgb(0.2, 0.2, 0.21);
    context.stroke()?;
    context.restore()?;
    for side in [-1.0, 1.0] {
        forearm(context, side, hand(side))?;
    }
    for side in [-1.0, 1.0] {
        glove(context, hand(side), turned_rad - side * 0.45)?;
    }
    context.restore()
}

/// From below the picture's edge to the hand; `side` is −1 left, +1 right.
fn forearm(context: &Context, side: f64, (x, y): (f64, f64)) -> Result<(), cairo::Error> {
    let elbow = (side * 0.36, -0.22);
    polygon(
        context,
        &[(x - 0.036, y - 0.01), (x + 0.036, y - 0.01), (elbow.0 + 0.07, elbow.1), (elbow.0 - 0.07, elbow.1)],
    );
    fill(context, (0.27, 0.31, 0.39))?;
    polygon(
        context,
        &[(x - 0.036, y - 0.01), (x - 0.012, y - 0.01), (elbow.0 - 0.02, elbow.1), (elbow.0 - 0.07, elbow.1)],
    );
    fill(context, (0.33, 0.37, 0.45))
}

/// A closed hand on the rim.
fn glove(context: &Context, (x, y): (f64, f64), turned_rad: f64) -> Result<(), cairo::Error> {
    context.save()?;
    context.translate(x, y);
    context.rotate(turned_rad);
    rounded(context, (-0.047, -0.055), (0.047, 0.055), 0.032);
    fill(context, (0.13, 0.15, 0.20))?;
    for finger in 0..4 {
        let low = -0.042 + 0.024 * f64::from(finger);
        rounded(context, (-0.05, low), (0.05, low + 0.019), 0.009);
        fill(context, if finger % 2 == 0 { (0.20, 0.24, 0.32) } else { (0.24, 0.28, 0.36) })?;
    }
    context.restore()
}

fn rounded(context: &Context, (left, low): (f64, f64), (right, high): (f64, f64), radius: f64) {
    let radius = radius.min((right - left) / 2.0).min((high - low) / 2.0);
    context.new_sub_path();
    context.arc(right - radius, high - radius, radius, 0.0, PI / 2.0);
    context.arc(left + radius, high - radius, radius, PI / 2.0, PI);
    context.arc(left + radius, low + radius, radius, PI, 1.5 * PI);
    context.arc(right - radius, low + radius, radius, 1.5 * PI, TAU);
    context.close_path();
}
