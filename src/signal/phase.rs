//! Phase correlation: how far one picture is shifted against another, to a fraction of a pixel. Takes grey pictures as
//! rows of numbers, knows nothing of frames or cameras.
//!
//! The spectra of both pictures are multiplied (one of them conjugated) and brought to unit modulus, so that only the
//! phase, that is the shift, is left, and less where a line does not stand out from the noise (as Wiener's filter); a Gaussian low-pass keeps what sampling noise does not reach and makes the peak a
//! Gaussian, whose top lies where a parabola through the logarithms has its own.
//!
//! Source: C. D. Kuglin, D. C. Hines, "The phase correlation image alignment method", Proc. Int. Conf. on Cybernetics
//! and Society (1975) 163–165. The Gaussian peak: closed form (the transform of a Gaussian is a Gaussian).

use std::fmt;
use std::sync::Arc;

use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use rustfft::{Fft, FftPlanner, num_complex::Complex32};

/// Standard deviation of the low-pass, cycles per pixel (trial: sharper follows noise, softer loses fine detail).
const LOW_PASS: f64 = 0.15;
/// Spectral lines weaker than this share of the mean carry no phase that can be told from rounding.
const FAINT: f32 = 1e-3;
/// Lines finer than this, cycles per pixel, hold next to nothing but a sensor's noise, which is the same at all lines:
/// those no stronger than so many times that count less (trial).
const FINE: f64 = 0.42;
const NOISE_GAIN: f32 = 1.0;

/// The spectrum of one picture.
#[derive(Debug, Clone, Default)]
pub struct Spectrum(Vec<Complex32>);

/// How far the second picture is shifted.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Shift {
    pub right_px: f32,
    pub down_px: f32,
    /// 1 for one and the same picture moved round; near 0 where the two have nothing in common.
    pub peak: f32,
}

/// Works on pictures of one size. Holds the plans and the buffers of its transforms.
pub struct Phase {
    width: usize,
    height: usize,
    rows: Arc<dyn RealToComplex<f32>>,
    rows_back: Arc<dyn ComplexToReal<f32>>,
    columns: Arc<dyn Fft<f32>>,
    columns_back: Arc<dyn Fft<f32>>,
    /// Of the low-pass, column after column.
    weights: Vec<f32>,
    /// 1 for lines finer than [`FINE`], else 0; and how many there are, at least 1.
    fine: Vec<f32>,
    fine_count: f32,
    line: Vec<f32>,
    half_line: Vec<Complex32>,
    product: Vec<Complex32>,
    surface: Vec<f32>,
    scratch: Vec<Complex32>,
}

impl fmt::Debug for Phase {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Phase").field("width", &self.width).field("height", &self.height).finish_non_exhaustive()
    }
}

impl Phase {
    /// For pictures of `width` by `height` pixels; sides below 4 are taken as 4.
    pub fn new(width: usize, height: usize) -> Self {
        let (width, height) = (width.max(4), height.max(4));
        let mut real = RealFftPlanner::new();
        let mut complex = FftPlanner::new();
        let half = width / 2 + 1;
        let mut weights = Vec::with_capacity(half * height);
        let mut fine = Vec::with_capacity(half * height);
        for column in 0..half {
            for row in 0..height {
                let (x, y) = (frequency(column, width), frequency(row, height));
                let weight = (-0.5 * (x * x + y * y) / (LOW_PASS * LOW_PASS)).exp();
                fine.push(if x.hypot(y) > FINE { 1.0 } else { 0.0 });
                #[allow(clippy::cast_possible_truncation, reason = "weights are 0 to 1")]
                weights.push(weight as f32);
            }
        }
        let columns = complex.plan_fft_forward(height);
        let columns_back = complex.plan_fft_inverse(height);
        let scratch = columns.get_inplace_scratch_len().max(columns_back.get_inplace_scratch_len());
        let fine_count = fine.iter().sum::<f32>().max(1.0);
        Self {
            width,
            height,
            rows: real.plan_fft_forward(width),
            rows_back: real.plan_fft_inverse(width),
            columns,
            columns_back,
            weights,
            fine,
            fine_count,
            line: vec![0.0; width],
            half_line: vec![Complex32::default(); half],
            product: vec![Complex32::default(); half * height],
            surface: vec![0.0; width * height],
            scratch: vec![Complex32::default(); scratch],
        }
    }

    /// The spectrum of a picture, row after row; what is missing counts as 0. To be windowed and rid of its mean before.
    pub fn spectrum(&mut self, picture: &[f32]) -> Spectrum {
        let mut spectrum = vec![Complex32::default(); self.product.len()];
        for row in 0..self.height {
            let pixels = picture.get(row * self.width..).unwrap_or(&[]);
            let pixels = &pixels[..pixels.len().min(self.width)];
            self.line[..pixels.len()].copy_from_slice(pixels);
            self.line[pixels.len()..].fill(0.0);
            self.rows.process(&mut self.line, &mut self.half_line).expect("the buffers have the plan's lengths");
            for (column, value) in self.half_line.iter().enumerate() {
                spectrum[column * self.height + row] = *value;
            }
        }
        self.columns.process_with_scratch(&mut spectrum, &mut self.scratch);
        Spectrum(spectrum)
    }

    /// How far `after` is shifted against `before`: up to half a picture each way.
    ///
    /// Degenerate: pictures without any detail, or a spectrum of another size, give a peak of 0.
    pub fn shift(&mut self, before: &Spectrum, after: &Spectrum) -> Shift {
        if before.0.len() != self.product.len() || after.0.len() != self.product.len() {
            return Shift::default();
        }
        let (mut sum, mut fine_sum) = (0.0, 0.0);
        for (((product, fine), a), b) in self.product.iter_mut().zip(&self.fine).zip(&before.0).zip(&after.0) {
            *product = b * a.conj();
            let norm = product.norm();
            sum += norm;
            fine_sum += fine * norm;
        }
        let usual = sum / self.product.len() as f32;
        let noise = NOISE_GAIN * fine_sum / self.fine_count;
        let faint = FAINT * usual + noise;
        if usual.is_nan() || faint <= f32::MIN_POSITIVE {
            return Shift::default();
        }
        let mut full = 0.0;
        let columns = self.product.chunks_exact_mut(self.height).zip(self.weights.chunks_exact(self.height));
        for (column, (products, weights)) in columns.enumerate() {
            let times = times(column, self.width);
            for (product, weight) in products.iter_mut().zip(weights) {
                let norm = product.norm();
                let share = weight / (norm + faint);
                full += times * share * norm;
                *product *= share;
            }
        }
        self.columns_back.process_with_scratch(&mut self.product, &mut self.scratch);
        for row in 0..self.height {
            for (column, value) in self.half_line.iter_mut().enumerate() {
                *value = self.product[column * self.height + row];
            }
            // By symmetry these are real; rounding has left a trace.
            self.half_line[0].im = 0.0;
            if self.width.is_multiple_of(2) {
                self.half_line[self.width / 2].im = 0.0;
            }
            let target = &mut self.surface[row * self.width..(row + 1) * self.width];
            self.rows_back.process(&mut self.half_line, target).expect("the buffers have the plan's lengths");
        }
        self.top(full)
    }

    /// The highest place of the surface, between the pixels. `full` is what it reaches where every line agrees.
    fn top(&self, full: f32) -> Shift {
        let highest = self.surface.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1));
        let (at, height) = highest.map_or((0, 0.0), |(at, height)| (at, *height));
        let (column, row) = (at % self.width, at / self.width);
        let value = |x: usize, y: usize| self.surface[(y % self.height) * self.width + x % self.width];
        let x = column as f32 + between(value(column + self.width - 1, row), height, value(column + 1, row));
        let y = row as f32 + between(value(column, row + self.height - 1), height, value(column, row + 1));
        Shift {
            right_px: signed(x, self.width),
            down_px: signed(y, self.height),
            peak: if full > 0.0 { (height / full).clamp(0.0, 1.0) } else { 0.0 },
        }
    }
}

/// How many lines one of this column stands for: all but the first and, of an even width, the last column stand for their
/// mirror images too.
fn times(column: usize, width: usize) -> f32 {
    if column == 0 || 2 * column == width { 1.0 } else { 2.0 }
}

/// Cycles per pixel of a line of the spectrum, without sign.
fn frequency(index: usize, count: usize) -> f64 {
    index.min(count - index) as f64 / count as f64
}

/// Where the top of a Gaussian lies, −½ to ½, by its height one before, at, and one after the highest sample.
fn between(before: f32, at: f32, after: f32) -> f32 {
    let log = |value: f32| value.max(at * 1e-6).max(f32::MIN_POSITIVE).ln();
    let (a, b, c) = (log(before), log(at), log(after));
    let bend = a - 2.0 * b + c;
    if bend < 0.0 { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) } else { 0.0 }
}

fn signed(at: f32, count: usize) -> f32 {
    if at > count as f32 / 2.0 { at - count as f32 } else { at }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WIDTH: usize = 48;
    const HEIGHT: usize = 20;

    /// A sum of waves that close round the picture, moved by any amount exactly.
    fn waves(right: f64, down: f64) -> Vec<f32> {
        let mut picture = Vec::new();
        for y in 0..HEIGHT {
            for x in 0..WIDTH {
                let (u, v) = ((x as f64 - right) / WIDTH as f64, (y as f64 - down) / HEIGHT as f64);
                let wave = |i: i32| {
                    let (a, b) = (f64::from(i * 7 % 11), f64::from(i * 5 % 7 - 3));
                    (std::f64::consts::TAU * (a * u + b * v) + f64::from(i)).cos() / (1.0 + 0.1 * f64::from(i))
                };
                #[allow(clippy::cast_possible_truncation)]
                picture.push((0..60).map(wave).sum::<f64>() as f32);
            }
        }
        picture
    }

    /// The waves are known exactly: the answer may be off by what a few missing lines of the spectrum leave.
    #[test]
    fn a_shift_is_found_to_a_fraction_of_a_pixel() {
        let mut phase = Phase::new(WIDTH, HEIGHT);
        let still = phase.spectrum(&waves(0.0, 0.0));
        for (right, down) in [(0.0, 0.0), (3.0, -2.0), (0.25, 0.5), (-7.4, 1.7), (-0.1, 0.0)] {
            let moved = phase.spectrum(&waves(right, down));
            let shift = phase.shift(&still, &moved);
            let off = (f64::from(shift.right_px) - right).hypot(f64::from(shift.down_px) - down);
            assert!(off < 0.1, "{shift:?} for {right} {down}");
        }
        let same = phase.shift(&still, &still);
        assert!(same.right_px.abs() < 0.01 && same.peak > 0.3, "{same:?}");
    }

    /// Noise as strong as the waves at every pixel, another in each picture: what is told is right to a third of a pixel.
    #[test]
    fn noise_counts_less_than_what_stands_out_of_it() {
        let mut phase = Phase::new(WIDTH, HEIGHT);
        let mut state = 9_u64;
        let mut noisy = |right: f64| -> Vec<f32> {
            let mut noise = || {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 40) as f32 / (1_u32 << 24) as f32 - 0.5
            };
            waves(right, 0.0).iter().map(|it| it + 8.0 * noise()).collect()
        };
        for right in [2.0, -4.5, 0.4] {
            let (before, after) = (phase.spectrum(&noisy(0.0)), phase.spectrum(&noisy(right)));
            let shift = phase.shift(&before, &after);
            assert!((f64::from(shift.right_px) - right).abs() < 0.33, "{shift:?} for {right}");
        }
    }

    #[test]
    fn nothing_to_see_has_no_peak() {
        let mut phase = Phase::new(WIDTH, HEIGHT);
        let (black, waves) = (phase.spectrum(&[]), phase.spectrum(&waves(1.0, 1.0)));
        assert_eq!(phase.shift(&black, &black), Shift::default());
        assert_eq!(phase.shift(&black, &waves), Shift::default());
        let other = Phase::new(8, 8).spectrum(&[1.0]);
        assert_eq!(phase.shift(&waves, &other), Shift::default());
    }
}
