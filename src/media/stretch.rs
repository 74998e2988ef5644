//! Slower sound at the same pitch: overlapping grains of the original, each taken from where it continues the one before
//! best (waveform-similarity overlap-add; Verhelst and Roelands, ICASSP 1993).

use crate::media::sound::{CHANNELS, frames_of};

/// Half of a grain, and the step between grains in the result, s.
const STEP_S: f64 = 0.020;
/// How far a grain may be moved to fit, s: more than half a period of 100 Hz.
const SEARCH_S: f64 = 0.006;
/// Offsets and samples are compared in steps of this many frames: enough for a rough fit, 16 times cheaper.
const COARSE: usize = 4;

/// Stretches interleaved `sound` to `1 / pace` of its length, to the sample. `pace` within 0.1 to 1; at 1 it is returned
/// as it is.
pub(crate) fn slower(sound: Vec<f32>, pace: f64) -> Vec<f32> {
    let frames = sound.len() / CHANNELS;
    if pace >= 1.0 || frames == 0 {
        return sound;
    }
    let rate = frames_of(1.0) as f64;
    let result_frames = frames_of(frames as f64 / rate / pace);
    let (step, search) = (frames_of(STEP_S), frames_of(SEARCH_S));
    let mono: Vec<f32> = sound.chunks_exact(CHANNELS).map(|it| it.iter().sum()).collect();
    let mut result = vec![0.0f32; CHANNELS * (result_frames + 2 * step)];
    let mut begin = 0;
    for grain in 0..=result_frames / step {
        add_grain(&sound, begin, &mut result, grain * step, step, grain == 0);
        // What would follow naturally, and where the pace wants the next grain to come from.
        let natural = begin + step;
        let wanted = frames_of((grain + 1) as f64 * step as f64 * pace / rate);
        begin = best_match(&mono, natural, wanted, search, step);
    }
    result.truncate(CHANNELS * result_frames);
    result
}

/// Adds two steps of `sound` from frame `begin` to `result` at `at`, rising over the first and falling over the second.
fn add_grain(sound: &[f32], begin: usize, result: &mut [f32], at: usize, step: usize, is_first: bool) {
    for index in 0..2 * step {
        #[allow(clippy::cast_possible_truncation, reason = "a share between 0 and 1")]
        let weight = match index {
            _ if is_first && index < step => 1.0,
            _ => (0.5 - 0.5 * (std::f64::consts::PI * (index as f64 + 0.5) / step as f64).cos()) as f32,
        };
        for channel in 0..CHANNELS {
            let from = CHANNELS * (begin + index) + channel;
            let to = CHANNELS * (at + index) + channel;
            if let (Some(value), Some(target)) = (sound.get(from), result.get_mut(to)) {
                *target += weight * value;
            }
        }
    }
}

/// The frame within `search` of `wanted` from which the sound is most like what follows `natural`.
fn best_match(mono: &[f32], natural: usize, wanted: usize, search: usize, step: usize) -> usize {
    let from = wanted.saturating_sub(search);
    let until = (wanted + search).min(mono.len().saturating_sub(step));
    let Some(template) = mono.get(natural..natural + step) else { return wanted.min(mono.len()) };
    let likeness = |begin: usize| {
        let other = &mono[begin..begin + step];
        let pairs = template.iter().zip(other).step_by(COARSE);
        let (product, power) =
            pairs.fold((0.0f32, 1e-9f32), |(product, power), (a, b)| (product + a * b, power + b * b));
        product / power.sqrt()
    };
    (from..until).step_by(COARSE).max_by(|a, b| likeness(*a).total_cmp(&likeness(*b))).unwrap_or(wanted.min(mono.len()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(hz: f64, seconds: f64) -> Vec<f32> {
        let rate = frames_of(1.0) as f64;
        (0..frames_of(seconds))
            .flat_map(|index| {
                #[allow(clippy::cast_possible_truncation, reason = "a sine lies within ±1")]
                let value = (std::f64::consts::TAU * hz * index as f64 / rate).sin() as f32;
                [value; CHANNELS]
            })
            .collect()
    }

    /// Rising zero crossings a second, of the first channel.
    fn pitch_hz(sound: &[f32]) -> f64 {
        let first: Vec<f32> = sound.iter().copied().step_by(CHANNELS).collect();
        let rises = first.windows(2).filter(|pair| pair[0] < 0.0 && pair[1] >= 0.0).count();
        rises as f64 / (first.len() as f64 / frames_of(1.0) as f64)
    }

    #[test]
    fn half_the_pace_is_twice_as_long_at_the_same_pitch_and_loudness() {
        for (hz, pace) in [(220.0, 0.5), (440.0, 0.25), (1000.0, 0.8)] {
            let slow = slower(tone(hz, 1.0), pace);
            assert_eq!(slow.len(), CHANNELS * frames_of(1.0 / pace));
            assert!((pitch_hz(&slow) - hz).abs() < 0.01 * hz, "{hz} became {}", pitch_hz(&slow));
            let middle = &slow[slow.len() / 4..slow.len() / 2];
            let loudness = (middle.iter().map(|it| f64::from(it * it)).sum::<f64>() / middle.len() as f64).sqrt();
            assert!((loudness - 0.5f64.sqrt()).abs() < 0.06, "{hz} Hz at {pace}: {loudness}");
        }
    }

    #[test]
    fn nothing_and_full_pace_stay_as_they_are() {
        assert!(slower(Vec::new(), 0.5).is_empty());
        assert_eq!(slower(tone(100.0, 0.1), 1.0), tone(100.0, 0.1));
        assert_eq!(slower(vec![0.1; CHANNELS * 10], 0.5).len(), CHANNELS * 20);
    }
}
