//! The sound of a film: the footage's own, cut and slowed like its pictures, as loud in one clip as in the next, and
//! giving way to a narration. Takes a plan; gives samples that lie in the film to the sample, without drift.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::job::Context;
use crate::media::error::Error;
use crate::media::probe::Footage;
use crate::media::sound::{self, CHANNELS, frames_of};
use crate::media::stretch::slower;
use crate::reel::{ClipPlan, Cut, Piece, SoundPlan};
use crate::session::VideoTime;

/// Loudness that clips are brought to, as the root mean square of full scale: -20 dB, the usual alignment level
/// (common practice, no source).
const LEVEL: f32 = 0.1;
/// No clip is made louder or softer than by this factor, 12 dB: silence stays silence (trial).
const GAIN_AT_MOST: f32 = 4.0;
/// What the footage's sound is turned down to under speech: -14 dB (trial).
const UNDER_SPEECH: f32 = 0.2;
/// Speech is where the narration's root mean square over a window is above this: -46 dB (trial).
const SPEECH: f32 = 0.005;
const WINDOW_S: f64 = 0.02;
/// Speech begins for the footage's sound this much earlier and ends this much later, s, so that neither the first
/// syllable is lost nor the sound pumps between words (trial).
const BEFORE_SPEECH_S: f64 = 0.25;
const AFTER_SPEECH_S: f64 = 0.6;
/// The sound is turned down and up over this time, s (trial).
const TURN_S: f64 = 0.2;
/// Louder than this is bent, never cut off: full scale is reached at no input.
const KNEE: f32 = 0.8;

/// The sound of consecutive pieces that begin at `begin_s` of the film: sample frame of the film, and interleaved values.
pub(crate) fn part_sound(
    plan: &SoundPlan,
    begin_s: f64,
    pieces: &[Piece],
    footage: &BTreeMap<PathBuf, Footage>,
    context: &Context,
) -> Result<(usize, Vec<f32>), Error> {
    let first_frame = frames_of(begin_s);
    let mut values = Vec::new();
    let mut at_s = begin_s;
    for piece in pieces {
        let mut of_piece = match piece {
            Piece::Clip(clip) if !plan.is_muted => clip_sound(&clip.plan, at_s, footage, context)?,
            Piece::Clip(_) | Piece::Card(_) => Vec::new(),
        };
        if plan.is_level {
            level(&mut of_piece);
        }
        values.extend(of_piece);
        at_s += piece.film_s();
        values.resize(CHANNELS * (frames_of(at_s) - first_frame), 0.0);
    }
    if let Some(narration) = &plan.narration {
        speak_over(&mut values, narration, begin_s, at_s)?;
    }
    Ok((first_frame, values))
}

/// The sound of one clip that begins at `begin_s` of the film.
fn clip_sound(
    plan: &ClipPlan,
    mut begin_s: f64,
    footage: &BTreeMap<PathBuf, Footage>,
    context: &Context,
) -> Result<Vec<f32>, Error> {
    let mut sound = Vec::new();
    for (index, cut) in plan.cuts.iter().enumerate() {
        context.check()?;
        let (at_frame, end_frame) = (frames_of(begin_s), frames_of(begin_s + cut.film_s()));
        let file = &plan.chapters[cut.chapter()].file;
        let has_sound = footage.get(file).is_some_and(|it| it.audio.is_some());
        let mut values = match *cut {
            Cut::Run { from, until, pace, .. } if has_sound => {
                let mut values = slower(sound::read(file, from, until)?, pace);
                let goes_on = |other: Option<&Cut>| matches!(other, Some(Cut::Run { pace: 1.0, .. })) && pace >= 1.0;
                let before = index.checked_sub(1).and_then(|it| plan.cuts.get(it));
                sound::fade(&mut values, !goes_on(before), !goes_on(plan.cuts.get(index + 1)));
                values
            }
            _ => Vec::new(),
        };
        values.resize(CHANNELS * (end_frame - at_frame), 0.0);
        sound.extend(values);
        begin_s += cut.film_s();
    }
    Ok(sound)
}

/// Brings a clip to [`LEVEL`], measured where it is not silent.
fn level(sound: &mut [f32]) {
    let window = CHANNELS * frames_of(WINDOW_S);
    let powers: Vec<f32> = sound.chunks(window).map(mean_square).filter(|it| *it > SPEECH * SPEECH).collect();
    if powers.is_empty() {
        return;
    }
    let rms = (powers.iter().sum::<f32>() / powers.len() as f32).sqrt();
    let gain = (LEVEL / rms).clamp(1.0 / GAIN_AT_MOST, GAIN_AT_MOST);
    sound.iter_mut().for_each(|it| *it = bent(*it * gain));
}

fn mean_square(values: &[f32]) -> f32 {
    values.iter().map(|it| it * it).sum::<f32>() / values.len().max(1) as f32
}

/// As it is up to the knee, and ever flatter above it, never reaching 1.
fn bent(value: f32) -> f32 {
    let over = value.abs() - KNEE;
    if over <= 0.0 {
        return value;
    }
    let room = 1.0 - KNEE;
    (KNEE + room * over / (over + room)).copysign(value)
}

/// Lays the narration over the film's sound from `begin_s` to `end_s`.
fn speak_over(values: &mut [f32], narration: &Path, begin_s: f64, end_s: f64) -> Result<(), Error> {
    // What is said just before and just behind counts too: parts of a film join without a step.
    let margin_s = BEFORE_SPEECH_S + AFTER_SPEECH_S + TURN_S;
    let from_s = (begin_s - margin_s).max(0.0);
    let (from, until) = (VideoTime::from_seconds(from_s), VideoTime::from_seconds(end_s + margin_s));
    let spoken = sound::read(narration, from, until)?;
    let gains = gains_under(&spoken);
    let skipped = frames_of(begin_s) - frames_of(from_s);
    for (index, frame) in values.chunks_exact_mut(CHANNELS).enumerate() {
        let at = skipped + index;
        let gain = gains.get(at).copied().unwrap_or(1.0);
        for (channel, value) in frame.iter_mut().enumerate() {
            let speech = spoken.get(CHANNELS * at + channel).copied().unwrap_or(0.0);
            *value = bent(*value * gain + speech);
        }
    }
    Ok(())
}

/// What the footage's sound is multiplied by under this narration, one a sample frame.
fn gains_under(spoken: &[f32]) -> Vec<f32> {
    let window = frames_of(WINDOW_S);
    let is_speech: Vec<bool> = spoken.chunks(CHANNELS * window).map(|it| mean_square(it) > SPEECH * SPEECH).collect();
    let windows = |seconds: f64| frames_of(seconds) / window;
    let mut is_under = vec![false; is_speech.len()];
    for index in (0..is_speech.len()).filter(|it| is_speech[*it]) {
        let end = (index + windows(AFTER_SPEECH_S) + 1).min(is_under.len());
        is_under[index.saturating_sub(windows(BEFORE_SPEECH_S))..end].fill(true);
    }
    let step = (1.0 - UNDER_SPEECH) / frames_of(TURN_S) as f32;
    let target = |at: usize| if is_under.get(at / window).copied().unwrap_or(false) { UNDER_SPEECH } else { 1.0 };
    let mut gain = target(0);
    (0..spoken.len() / CHANNELS)
        .map(|at| {
            gain += (target(at) - gain).clamp(-step, step);
            gain
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(amplitude: f32, seconds: f64) -> Vec<f32> {
        let value = |index: usize| if index % 96 < 48 { amplitude } else { -amplitude };
        (0..frames_of(seconds)).flat_map(|index| [value(index); CHANNELS]).collect()
    }

    #[test]
    fn clips_become_alike_and_silence_stays() {
        for amplitude in [0.05, 0.1, 0.3] {
            let mut sound = tone(amplitude, 0.5);
            sound.extend(vec![0.0; CHANNELS * frames_of(2.0)]);
            level(&mut sound);
            assert!((sound[0] - LEVEL).abs() < 1e-3, "{amplitude} became {}", sound[0]);
        }
        let mut faint = tone(0.001, 0.5);
        level(&mut faint);
        assert!((faint[0] - 0.001).abs() < 1e-6);
        let mut quiet = tone(0.01, 0.5);
        level(&mut quiet);
        assert!((quiet[0] - 0.04).abs() < 1e-4, "no more than {GAIN_AT_MOST} times");
    }

    #[test]
    fn what_is_too_loud_is_bent() {
        assert!((bent(0.5) - 0.5).abs() < 1e-6 && bent(3.0) < 1.0 && bent(-3.0) > -1.0 && bent(1.2) > bent(0.9));
    }

    #[test]
    fn the_sound_gives_way_before_speech_and_comes_back_after() {
        let mut spoken = vec![0.0; CHANNELS * frames_of(2.0)];
        spoken.extend(tone(0.2, 1.0));
        spoken.extend(vec![0.0; CHANNELS * frames_of(2.0)]);
        let gains = gains_under(&spoken);
        let at = |seconds: f64| gains[frames_of(seconds)];
        assert!((at(1.5) - 1.0).abs() < 1e-6 && (at(2.0) - UNDER_SPEECH).abs() < 0.01, "{} {}", at(1.5), at(2.0));
        assert!((at(3.4) - UNDER_SPEECH).abs() < 1e-3 && (at(4.0) - 1.0).abs() < 1e-3);
        assert!(gains.windows(2).all(|it| (it[1] - it[0]).abs() < 2e-4), "no step is heard");
    }
}
