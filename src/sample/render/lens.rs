//! What lies between the scene and the file: drops on the lens, too little light, a camera hung upside down.
//! Changes a finished picture, by chance that depends on the frame's number alone.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::sample::footage::{Facing, Look};
use crate::sample::render::view::Picture;

/// Drops on the lens, which stay where they are, and their largest radius as a share of the picture's height.
const DROPS: u32 = 26;
const LARGEST_DROP: f64 = 0.06;
/// Grey of spray, and how much of it lies over everything.
const SPRAY: f64 = 168.0;
const SPRAY_SHARE: f64 = 0.35;
/// Light that is left in the dark, and the noise of a pixel, of 255.
const LIGHT: f64 = 0.2;
const NOISE: f64 = 9.0;

/// Applies a look to frame `number`.
pub(crate) fn spoil(picture: &mut Picture, look: Look, number: u32) {
    if look.wet {
        wet(picture);
    }
    if look.dark {
        dark(picture, number);
    }
    match look.facing {
        Facing::Ahead | Facing::Back => {}
        Facing::Mirrored => picture.rgb.chunks_exact_mut(3 * picture.width).for_each(mirror),
        // Both ways at once: the whole list of pixels backwards.
        Facing::UpsideDown => mirror(&mut picture.rgb),
    }
}

/// Pixels of three bytes in the opposite order.
fn mirror(pixels: &mut [u8]) {
    pixels.reverse();
    // Each pixel's own bytes have been turned round, too.
    pixels.chunks_exact_mut(3).for_each(<[u8]>::reverse);
}

fn wet(picture: &mut Picture) {
    for byte in &mut picture.rgb {
        *byte = to_byte(f64::from(*byte) * (1.0 - SPRAY_SHARE) + SPRAY * SPRAY_SHARE);
    }
    let mut rng = ChaCha8Rng::seed_from_u64(29);
    let (width, height) = (picture.width as f64, picture.height as f64);
    for _ in 0..DROPS {
        let (x, y) = (rng.random_range(0.0..width), rng.random_range(0.0..height));
        let radius = rng.random_range(0.3..1.0) * LARGEST_DROP * height;
        drop_on(picture, (x, y), radius);
    }
}

/// A drop shows one colour, that of the scene behind it, brighter above than below.
fn drop_on(picture: &mut Picture, (x, y): (f64, f64), radius: f64) {
    let at = |x: f64, limit: usize| index(x).min(limit - 1);
    let middle = 3 * (at(y, picture.height) * picture.width + at(x, picture.width));
    let colour: [f64; 3] = std::array::from_fn(|channel| f64::from(picture.rgb[middle + channel]));
    for row in at(y - radius, picture.height)..=at(y + radius, picture.height) {
        for column in at(x - radius, picture.width)..=at(x + radius, picture.width) {
            let (dx, dy) = ((column as f64 - x) / radius, (row as f64 - y) / radius);
            let inside = 1.0 - (dx * dx + dy * dy);
            if inside <= 0.0 {
                continue;
            }
            let share = (3.0 * inside).min(1.0);
            let pixel = 3 * (row * picture.width + column);
            for (channel, colour) in colour.iter().enumerate() {
                let under = f64::from(picture.rgb[pixel + channel]);
                picture.rgb[pixel + channel] = to_byte(under + share * (colour * (1.1 - 0.3 * dy) - under));
            }
        }
    }
}

fn dark(picture: &mut Picture, number: u32) {
    let mut rng = ChaCha8Rng::seed_from_u64(u64::from(number));
    for pixel in picture.rgb.chunks_exact_mut(3) {
        // Two even chances make a triangle, near enough to a sensor's noise.
        let noise = NOISE * (rng.random_range(-1.0..1.0) + rng.random_range(-1.0..1.0));
        for byte in pixel {
            *byte = to_byte(f64::from(*byte) * LIGHT + noise);
        }
    }
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "brought inside the range first")]
fn to_byte(value: f64) -> u8 {
    value.clamp(0.0, 255.0) as u8
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "brought above zero first, and cut by its user"
)]
fn index(value: f64) -> usize {
    value.max(0.0) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp() -> Picture {
        #[allow(clippy::cast_possible_truncation, reason = "chosen below 256")]
        let rgb = (0..40 * 20).flat_map(|it: u32| [(it % 40 * 6) as u8, (it / 40 * 12) as u8, 200]).collect();
        Picture { width: 40, height: 20, rgb }
    }

    #[test]
    fn a_picture_turns_as_it_should() {
        let at = |picture: &Picture, x: usize, y: usize| {
            let from = 3 * (y * 40 + x);
            picture.rgb[from..from + 3].to_vec()
        };
        let spoilt = |facing| {
            let mut picture = ramp();
            spoil(&mut picture, Look { facing, ..Look::default() }, 0);
            picture
        };
        assert_eq!(at(&spoilt(Facing::Ahead), 3, 4), [18, 48, 200]);
        assert_eq!(at(&spoilt(Facing::Mirrored), 36, 4), [18, 48, 200]);
        assert_eq!(at(&spoilt(Facing::UpsideDown), 36, 15), [18, 48, 200]);
    }

    #[test]
    fn dark_is_dark_and_new_each_frame() {
        let dark = |number| {
            let mut picture = ramp();
            spoil(&mut picture, Look { dark: true, wet: true, ..Look::default() }, number);
            picture.rgb
        };
        let mean = |rgb: &[u8]| rgb.iter().map(|it| f64::from(*it)).sum::<f64>() / rgb.len() as f64;
        assert!(mean(&dark(0)) < 0.4 * mean(&ramp().rgb));
        assert!(dark(0) != dark(1) && dark(1) == dark(1));
    }
}
