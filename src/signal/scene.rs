//! The sideways motion of a filmed scene, from one small grey picture to the next. Takes pictures of one size, gives
//! shifts of horizontal bands; knows nothing of time, cameras or karts.
//!
//! A picture is cut into bands that overlap by half. The band in which the far part of the scene lies moves as one when
//! the camera turns; the ground streams apart, and what is fixed to the camera stands still. Which band is which is not
//! decided here. What does not move although the rest does (a nose, a steering column, words laid over the picture) is
//! masked: its detail is as sharp in the mean of all pictures as in each.

use crate::signal::phase::{Phase, Spectrum};

/// Height of a band, and from one to the next, pixels.
const BAND_PX: usize = 30;
const STEP_PX: usize = 15;
/// Pictures before the mask is trusted, and from one mask to the next (trial: ten seconds at 13 pictures a second).
const MASK_FROM: u32 = 125;
const MASK_EVERY: u32 = 50;
/// How sharp detail is in the mean picture, as a share of its sharpness in each: a scene that moves stays below the
/// first, what is fixed above the second (trial: 0.78 and 0.93 in made and in real footage).
const MOVES: f32 = 0.82;
const FIXED: f32 = 0.92;
/// How far from a fixed edge is taken as fixed, pixels, and how many times over: a single edge through the
/// neighbourhood fills a ninth of it and is to close half of it.
const FILL_PX: usize = 4;
const FILL_GAIN: f32 = 4.5;
/// Steps of brightness from pixel to pixel below this say nothing, of 255.
const DETAIL: f32 = 1.5;
/// Mean change of brightness of a pixel below which two pictures are one and the same, of 255: a repeated frame changes
/// by its coding alone.
const SAME: f32 = 0.08;
/// Peaks below this are chance.
const CHANCE: f32 = 0.15;

/// The shift of one band.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct BandShift {
    /// Of the scene, to the right, pixels.
    pub right_px: f32,
    /// 0 to 1: how alike the two are when shifted.
    pub peak: f32,
}

/// From one picture to the next.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SceneShift {
    /// From top to bottom.
    pub bands: Vec<BandShift>,
    /// How much farther the right half moves to the right than the left half does, pixels: above 0 where the scene
    /// streams apart, below where it closes. `None` where it was not measured, or nothing was seen.
    pub spread_px: Option<f32>,
}

/// Follows one scene.
#[derive(Debug)]
pub struct Scene {
    width: usize,
    height: usize,
    band: Bands,
    /// For the left and the right half.
    halves: Bands,
    mask: Mask,
    previous: Vec<f32>,
    spectra: Option<Vec<Spectrum>>,
    pictures: u32,
}

impl Scene {
    /// Every how many pictures the halves are measured: they tell a direction, not a course.
    const HALVES_EVERY: u32 = 2;

    /// For pictures of `width` by `height` pixels.
    pub fn new(width: usize, height: usize) -> Self {
        Self {
            width,
            height,
            band: Bands::new(width, height),
            halves: Bands::new(width / 2, height),
            mask: Mask::new(width, height),
            previous: Vec::new(),
            spectra: None,
            pictures: 0,
        }
    }

    /// How many bands there are.
    pub fn bands(&self) -> usize {
        self.band.starts.len()
    }

    /// The next picture does not follow the one before. The mask stays.
    pub fn cut(&mut self) {
        self.previous.clear();
        self.spectra = None;
    }

    /// Takes a picture into account for what does not move with the scene; before it is given to [`Scene::next`].
    pub fn learn(&mut self, grey: &[u8]) {
        if grey.len() == self.width * self.height && self.mask.learn(grey) {
            self.spectra = None;
        }
    }

    /// Whether enough pictures were learnt from to tell what does not move with the scene.
    pub fn knows_what_is_fixed(&self) -> bool {
        self.mask.pictures >= MASK_FROM
    }

    /// How the scene has moved since the picture before. `None` for the first picture, one that repeats the one before,
    /// or one of another size.
    pub fn next(&mut self, grey: &[u8]) -> Option<SceneShift> {
        if grey.len() != self.width * self.height {
            return None;
        }
        let picture: Vec<f32> = grey.iter().map(|it| f32::from(*it)).collect();
        if self.previous.is_empty() {
            self.previous = picture;
            return None;
        }
        if mean_change(&self.previous, &picture) < SAME {
            return None;
        }
        self.pictures += 1;
        let whole = |bands: &mut Bands, mask: &Mask, picture: &[f32]| bands.spectra(picture, mask, self.width, 0);
        let before = match self.spectra.take() {
            Some(spectra) => spectra,
            None => whole(&mut self.band, &self.mask, &self.previous),
        };
        let after = whole(&mut self.band, &self.mask, &picture);
        let bands = self.band.shifts(&before, &after);
        let spread_px = if self.pictures.is_multiple_of(Self::HALVES_EVERY) { self.spread_px(&picture) } else { None };
        self.spectra = Some(after);
        self.previous = picture;
        Some(SceneShift { bands, spread_px })
    }

    /// The mean over the bands, weighted by how sure both halves are.
    fn spread_px(&mut self, picture: &[f32]) -> Option<f32> {
        let mut half = |from: usize| {
            let before = self.halves.spectra(&self.previous, &self.mask, self.width, from);
            let after = self.halves.spectra(picture, &self.mask, self.width, from);
            self.halves.shifts(&before, &after)
        };
        let (left, right) = (half(0), half(self.width - self.width / 2));
        let (mut sum, mut weights) = (0.0, 0.0);
        for (left, right) in left.iter().zip(&right) {
            let weight = (left.peak.min(right.peak) - CHANCE).max(0.0);
            // What stands still in both halves is the camera's own mount.
            let moves = left.right_px.abs().max(right.right_px.abs()) > 0.05;
            if moves {
                sum += weight * (right.right_px - left.right_px);
                weights += weight;
            }
        }
        (weights > 0.0).then(|| sum / weights)
    }
}

fn mean_change(a: &[f32], b: &[f32]) -> f32 {
    a.iter().zip(b).map(|(a, b)| (a - b).abs()).sum::<f32>() / a.len().max(1) as f32
}

/// The bands of a picture, or of a part of its width.
#[derive(Debug)]
struct Bands {
    width: usize,
    height: usize,
    starts: Vec<usize>,
    phase: Phase,
    /// Falls off to the edges, so that they are no detail.
    window: Vec<f32>,
    buffer: Vec<f32>,
}

impl Bands {
    fn new(width: usize, picture_height: usize) -> Self {
        let height = BAND_PX.min(picture_height);
        let steps = (picture_height - height) / STEP_PX;
        let starts = (0..=steps).map(|step| step * (picture_height - height) / steps.max(1)).collect();
        let fall = |at: usize, count: usize| {
            let turn = std::f32::consts::TAU * (at as f32 + 0.5) / count as f32;
            0.5 - 0.5 * turn.cos()
        };
        // Twice along the row: towards the sides things rush past, straight ahead they only turn.
        let along_row = |x: usize| fall(x, width).powi(2);
        let window = (0..height).flat_map(|y| (0..width).map(move |x| fall(y, height) * along_row(x))).collect();
        let phase = Phase::new(width, height);
        Self { width, height, starts, phase, window, buffer: vec![0.0; width * height] }
    }

    /// Of the columns from `from` on, of a picture that is `stride` wide.
    fn spectra(&mut self, picture: &[f32], mask: &Mask, stride: usize, from: usize) -> Vec<Spectrum> {
        let mut spectra = Vec::with_capacity(self.starts.len());
        for start in &self.starts {
            let row = |y: usize| {
                let at = (start + y) * stride + from;
                at..at + self.width
            };
            let (mut sum, mut weights) = (0.0, 0.0);
            for y in 0..self.height {
                let window = &self.window[y * self.width..(y + 1) * self.width];
                let target = &mut self.buffer[y * self.width..(y + 1) * self.width];
                let seen = picture[row(y)].iter().zip(&mask.weight[row(y)]);
                for ((target, window), (pixel, mask)) in target.iter_mut().zip(window).zip(seen) {
                    let weight = window * mask;
                    sum += weight * pixel;
                    weights += weight;
                    *target = weight;
                }
            }
            let mean = if weights > 0.0 { sum / weights } else { 0.0 };
            for y in 0..self.height {
                let target = &mut self.buffer[y * self.width..(y + 1) * self.width];
                for (target, pixel) in target.iter_mut().zip(&picture[row(y)]) {
                    *target *= pixel - mean;
                }
            }
            spectra.push(self.phase.spectrum(&self.buffer));
        }
        spectra
    }

    fn shifts(&mut self, before: &[Spectrum], after: &[Spectrum]) -> Vec<BandShift> {
        let shift = |(before, after): (&Spectrum, &Spectrum)| {
            let shift = self.phase.shift(before, after);
            BandShift { right_px: shift.right_px, peak: shift.peak }
        };
        before.iter().zip(after).map(shift).collect()
    }
}

/// What does not move with the scene.
#[derive(Debug)]
struct Mask {
    width: usize,
    pictures: u32,
    /// Sum of the pictures, and of the steps of brightness along their rows.
    sum: Vec<f32>,
    steps: Vec<f32>,
    last: Vec<u8>,
    /// 1 where the scene is seen, 0 where something is fixed.
    weight: Vec<f32>,
}

impl Mask {
    fn new(width: usize, height: usize) -> Self {
        let count = width * height;
        Self {
            width,
            pictures: 0,
            sum: vec![0.0; count],
            steps: vec![0.0; count],
            last: Vec::new(),
            weight: vec![1.0; count],
        }
    }

    /// Whether there is a new mask now. A picture that repeats the one before tells nothing.
    fn learn(&mut self, grey: &[u8]) -> bool {
        let change: u32 = self.last.iter().zip(grey).map(|(a, b)| u32::from(a.abs_diff(*b))).sum();
        if self.last.len() == grey.len() && (change as f32) < SAME * grey.len() as f32 {
            return false;
        }
        self.last.clear();
        self.last.extend_from_slice(grey);
        self.pictures += 1;
        for (sum, pixel) in self.sum.iter_mut().zip(grey) {
            *sum += f32::from(*pixel);
        }
        for (steps, pair) in self.steps.iter_mut().zip(grey.windows(2)) {
            *steps += f32::from(pair[1].abs_diff(pair[0]));
        }
        let due = self.pictures >= MASK_FROM && (self.pictures - MASK_FROM).is_multiple_of(MASK_EVERY);
        if due {
            self.weight = self.fresh();
        }
        due
    }

    fn fresh(&self) -> Vec<f32> {
        let count = self.pictures as f32;
        let fixed = |at: usize| -> f32 {
            let Some(next) = self.sum.get(at + 1).filter(|_| !(at + 1).is_multiple_of(self.width)) else { return 0.0 };
            let (each, mean) = (self.steps[at] / count, (next - self.sum[at]).abs() / count);
            if each < DETAIL { 0.0 } else { ((mean / each - MOVES) / (FIXED - MOVES)).clamp(0.0, 1.0) }
        };
        let fixed: Vec<f32> = (0..self.sum.len()).map(fixed).collect();
        // Edges alone show that something is fixed: what lies between them is, too, and ends softly.
        let near = |at: usize| -> f32 {
            let (x, y) = (at % self.width, at / self.width);
            let rows = y.saturating_sub(FILL_PX)..(y + FILL_PX + 1).min(fixed.len() / self.width);
            let columns = x.saturating_sub(FILL_PX)..(x + FILL_PX + 1).min(self.width);
            let count = (rows.len() * columns.len()) as f32;
            let sum: f32 = rows.flat_map(|y| &fixed[y * self.width..][columns.clone()]).sum();
            (1.0 - FILL_GAIN * sum / count).clamp(0.0, 1.0)
        };
        (0..fixed.len()).map(near).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WIDTH: usize = 160;
    const HEIGHT: usize = 90;

    /// Brightness of a wall of soft blots, three pixels each.
    fn wall(x: f32, y: f32) -> f32 {
        let blot = |i: f32, j: f32| {
            let hash = (i * 127.1 + j * 311.7).sin() * 43_758.547;
            30.0 + 190.0 * (hash - hash.floor())
        };
        let (u, v) = (x / 3.0, y / 3.0);
        let (i, j) = (u.floor(), v.floor());
        let soft = |share: f32| share * share * (3.0 - 2.0 * share);
        let (u, v) = (soft(u - i), soft(v - j));
        let row = |j: f32| blot(i, j) + u * (blot(i + 1.0, j) - blot(i, j));
        row(j) + v * (row(j + 1.0) - row(j))
    }

    /// The wall moved to the right by `at` pixels, with a fixed board in the middle.
    fn picture(at: f32, board: bool) -> Vec<u8> {
        let mut grey = Vec::new();
        for y in 0..HEIGHT {
            for x in 0..WIDTH {
                let on_board = board && (60..100).contains(&x) && (20..60).contains(&y);
                let chequered = if (x / 6 + y / 6) % 2 == 0 { 230.0 } else { 20.0 };
                let value = if on_board { chequered } else { wall(x as f32 - at, y as f32) };
                #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
                grey.push(value as u8);
            }
        }
        grey
    }

    /// Where frame `i` has been moved to: to and fro, so that the mean blurs the wall.
    fn at(i: u32) -> f32 {
        20.0 * (0.11 * i as f32).sin() + 0.7 * i as f32
    }

    #[test]
    fn a_wall_moves_as_a_whole() {
        let mut scene = Scene::new(WIDTH, HEIGHT);
        assert_eq!(scene.next(&picture(at(0), false)), None);
        for i in 1..20 {
            let shift = scene.next(&picture(at(i), false)).unwrap();
            assert_eq!(shift.bands.len(), scene.bands());
            for band in &shift.bands {
                // Brightness in whole steps, and what enters at the sides: a twentieth of a pixel, and of the way.
                let expected = at(i) - at(i - 1);
                let off = (band.right_px - expected).abs();
                assert!(off < 0.05 + 0.05 * expected.abs() && band.peak > 0.3, "{band:?} for {expected}");
            }
        }
    }

    #[test]
    fn what_is_fixed_is_masked_after_a_while() {
        let mut scene = Scene::new(WIDTH, HEIGHT);
        let off = |scene: &mut Scene, from: u32| {
            let misses = (from..from + 40).filter_map(|i| {
                scene.learn(&picture(at(i), true));
                let shift = scene.next(&picture(at(i), true))?;
                Some((shift.bands[1].right_px - (at(i) - at(i - 1))).abs())
            });
            misses.sum::<f32>() / 40.0
        };
        let before = off(&mut scene, 0);
        assert!(!scene.knows_what_is_fixed());
        for i in 40..300 {
            scene.learn(&picture(at(i), true));
        }
        assert!(scene.knows_what_is_fixed());
        scene.cut();
        let after = off(&mut scene, 300);
        // A quarter of the row and half of the weight are the board.
        assert!(after < 0.6 * before, "{before} {after}");
    }

    #[test]
    fn repeated_and_foreign_pictures_are_passed_over() {
        let mut scene = Scene::new(WIDTH, HEIGHT);
        let first = picture(0.0, false);
        assert!(scene.next(&first).is_none() && scene.next(&first).is_none() && scene.next(&first[1..]).is_none());
        assert!(scene.next(&picture(1.0, false)).is_some());
        scene.cut();
        assert!(scene.next(&picture(2.0, false)).is_none());
        let mut dark = Scene::new(WIDTH, HEIGHT);
        dark.next(&vec![0; WIDTH * HEIGHT]);
        assert!(dark.next(&vec![0; WIDTH * HEIGHT]).is_none());
    }
}
