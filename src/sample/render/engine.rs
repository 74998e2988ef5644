//! What the camera hears: an engine whose pitch follows the speed, louder under power, and some wind.

#![allow(clippy::cast_possible_truncation, reason = "samples are brought inside 16 bits before the cast")]

use std::f64::consts::TAU;

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::sample::motion::State;

pub(crate) const SAMPLE_RATE_HZ: u32 = 44_100;
/// One gear and no clutch slip when driving: cycles per second per m/s, and at standstill.
const CYCLES_PER_MPS: f64 = 6.6;
const IDLE_HZ: f64 = 38.0;
/// Strength of each harmonic.
const HARMONICS: [f64; 6] = [1.0, 0.62, 0.45, 0.2, 0.16, 0.1];

/// Sound in order of time, without a break of phase from piece to piece.
#[derive(Debug)]
pub(crate) struct Engine {
    phase: f64,
    loudness: f64,
    wind: f64,
    rng: ChaCha8Rng,
}

impl Engine {
    pub(crate) fn new() -> Self {
        Self { phase: 0.0, loudness: 0.0, wind: 0.0, rng: ChaCha8Rng::seed_from_u64(23) }
    }

    /// The next `count` samples of 16 bits, little-endian; `state_at` gives the kart's state at a sample's index.
    pub(crate) fn next(&mut self, count: usize, state_at: impl Fn(usize) -> Option<State>) -> Vec<u8> {
        /// The kart's state is looked at this often, in samples.
        const BLOCK: usize = 147;
        let mut bytes = Vec::with_capacity(2 * count);
        let mut state = None;
        for index in 0..count {
            if index % BLOCK == 0 {
                state = state_at(index).or(state);
            }
            let (speed_mps, power) = state
                .as_ref()
                .map_or((0.0, 0.0), |it| (it.speed_mps, (0.3 + 0.25 * it.acceleration_mps2).clamp(0.12, 1.0)));
            self.loudness += 0.000_4 * (power - self.loudness);
            self.phase += (IDLE_HZ + CYCLES_PER_MPS * speed_mps) / f64::from(SAMPLE_RATE_HZ);
            self.phase = self.phase.fract();
            let tone: f64 = HARMONICS
                .iter()
                .zip(1..)
                .map(|(strength, order)| strength * (TAU * f64::from(order) * self.phase).sin())
                .sum();
            self.wind += 0.08 * (self.rng.random_range(-1.0..1.0) - self.wind);
            let wind = self.wind * (speed_mps / 28.0).powi(2);
            let value = 0.16 * tone * (0.25 + self.loudness) + 0.35 * wind;
            bytes.extend(((value.clamp(-0.98, 0.98) * 32_767.0) as i16).to_le_bytes());
        }
        bytes
    }
}
