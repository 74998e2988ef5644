//! Clock by motion: the turning seen in the footage laid over the turning in the log.
//!
//! Takes shifts of horizontal bands from frame to frame and the log's heading, gives offset, rate, an interval and how
//! sure it is that this is the right place at all. Reads no file, sees no picture.

mod fit;
mod search;
mod seen;
mod turning;
mod verdict;

use crate::clock::Chapter;
use crate::session::{ClockMap, MotionDoubt};

pub use seen::{SeenFrame, SeenYaw, combine};
pub use turning::Turning;
pub use verdict::from_motion;

/// An assumed angle of view, °: turns shares of a picture's width into degrees where only the size of things matters
/// (common practice: action cameras see 60° to 120° across).
pub const ASSUMED_VIEW_DEG: f64 = 75.0;
/// Below this the seen motion is not taken.
pub const LEAST_CONFIDENCE: f64 = 0.3;

/// How the camera is mounted, as far as its picture's motion tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Mount {
    /// The picture turns against the log.
    pub reversed: bool,
    /// What turns as one lies in the lower half of the picture.
    pub far_part_below: bool,
    /// The scene closes instead of streaming apart; `None` where neither can be told.
    pub looks_back: Option<bool>,
}

/// The recording on the log's clock by what is seen.
#[derive(Debug, Clone, PartialEq)]
pub struct MotionFit {
    /// Of recording time 0.
    pub map: ClockMap,
    /// Standard deviations of the offset at `centre_s` and of the rate there, s and ppm.
    pub sigma_s: f64,
    pub sigma_ppm: f64,
    /// Recording time at which the offset is known best, s.
    pub centre_s: f64,
    /// 0 to 1.
    pub confidence: f64,
    /// Correlation of seen and logged turning at the best place, −1 to 1, and of the next best over it, 0 to 1.
    pub correlation: f64,
    pub next_best_ratio: f64,
    /// Log time at recording time 0 of the next best place, s.
    pub next_best_t_s: Option<f64>,
    /// Radians of turning per share of the picture's width, with the sign of the mount.
    pub radians_per_width: f64,
    pub mount: Mount,
    /// How far single stretches scatter about the offset, s: beyond the noise, by their own timing.
    pub wander_s: f64,
    /// Seconds of footage that were seen inside the log.
    pub seen_s: f64,
    /// Correlation by log time at recording time 0, for a picture of how it fits.
    pub surface: Vec<(f64, f64)>,
}

/// Lays what was seen over the log. `seen` in order of time.
///
/// # Errors
/// Why the motion tells nothing: nothing moves, nothing turns, or no place stands out.
pub fn fit(log: &Turning, seen: &SeenYaw) -> Result<MotionFit, MotionDoubt> {
    fit_near(log, seen, None)
}

/// Like [`fit`], but looks only within so many seconds of a log time at recording time 0.
fn fit_near(log: &Turning, seen: &SeenYaw, near: Option<(f64, f64)>) -> Result<MotionFit, MotionDoubt> {
    if !seen.sees_anything() {
        return Err(MotionDoubt::StillPicture);
    }
    if !log.turns() {
        return Err(MotionDoubt::LogStraight);
    }
    if !seen.turns() {
        return Err(MotionDoubt::FootageStraight);
    }
    let found = search::search(log, seen, near).ok_or(MotionDoubt::NothingAlike)?;
    Ok(fit::refine(log, seen, &found))
}

/// Whether one clock runs through all chapters: each is laid over the log by itself. Gives the gap before each chapter
/// that lies elsewhere than right after the one before, s (index from 1); empty where all is well or cannot be told.
pub fn gaps_between(log: &Turning, seen: &SeenYaw, chapters: &[Chapter], starts_s: &[f64]) -> Vec<(usize, f64)> {
    let alone: Vec<Option<MotionFit>> = chapters
        .iter()
        .zip(starts_s)
        .map(|(chapter, start_s)| {
            let part = seen.between(*start_s, start_s + chapter.duration_s);
            fit(log, &part).ok().filter(|it| it.confidence >= SURE_OF_A_CHAPTER)
        })
        .collect();
    let offset = |index: usize| alone.get(index)?.as_ref().map(|it| it.map.log_t_s_at_zero);
    (1..chapters.len())
        .filter_map(|index| {
            let gap_s = offset(index)? - offset(index - 1)?;
            (gap_s.abs() > GAPLESS_S).then_some((index, gap_s))
        })
        .collect()
}

/// A chapter by itself must be at least this sure to say that something is missing before it.
const SURE_OF_A_CHAPTER: f64 = 0.6;
/// Chapters of one recording follow each other within this, s (common practice: cameras lose a few frames at most).
const GAPLESS_S: f64 = 0.5;
