//! What is made of the motion: the clocks of the chapters, or the time stamps' with the reason why the motion does not
//! count. The stamps are a prior: they decide between places that look alike, and never against what is seen.

use crate::clock::motion::turning::Turning;
use crate::clock::motion::{LEAST_CONFIDENCE, MotionFit, SeenYaw, fit, fit_near, gaps_between};
use crate::clock::{Chapter, FootageClock, Method, chapter_map, chapter_starts_s};
use crate::session::{ClockMap, MotionDoubt, NORMAL_CI95, Note, NoteKind};

/// A camera's clock is taken for right within this, s: half a minute of a clock that was set by hand.
const CLOCK_SET_S: f64 = 90.0;
/// How far about a time stamp a place is sought where several look alike, s: three standard deviations of a camera's
/// clock, and less than half of any lap.
const NEAR_STAMP_S: f64 = 15.0;
/// What a place has at most that a stamp had to choose.
const STAMP_CONFIDENCE: f64 = 0.5;
/// Correlations above this are of one circuit, if not of one lap (trial).
const ALIKE: f64 = 0.7;
const HOUR_S: f64 = 3600.0;

/// The clocks of the chapters by what was seen, where it is sure enough; else those by the time stamps, `stamps`, with a
/// note that says why. Also gives the fit itself, for a picture of it.
/// Shapes: `stamps` has one clock a chapter, and so has the answer.
pub fn from_motion(
    log: &Turning,
    seen: &SeenYaw,
    chapters: &[Chapter],
    stamps: Vec<FootageClock>,
) -> (Vec<FootageClock>, Option<MotionFit>) {
    let found = match fit(log, seen) {
        Ok(found) => found,
        Err(doubt) => return (doubted(stamps, doubt), None),
    };
    let starts_s = chapter_starts_s(chapters);
    let gaps = gaps_between(log, seen, chapters, &starts_s);
    if let Some(clocks) = apart(log, seen, chapters, &stamps, &gaps) {
        return (clocks, Some(found));
    }
    let found = match found.confidence < LEAST_CONFIDENCE {
        true => match near_stamp(log, seen, &stamps) {
            Some(near) => near,
            None => return (doubted(stamps, doubt_of(&found)), Some(found)),
        },
        false => found,
    };
    let notes = [mount_notes(&found), stamp_notes(&found.map, &stamps)].concat();
    (starts_s.iter().map(|start_s| clock(&found, *start_s, &notes)).collect(), Some(found))
}

fn doubt_of(found: &MotionFit) -> MotionDoubt {
    match found.next_best_t_s {
        Some(other_t_s) if found.correlation.abs() > ALIKE => {
            MotionDoubt::PlacesAlike { ratio: found.next_best_ratio, apart_s: other_t_s - found.map.log_t_s_at_zero }
        }
        _ => MotionDoubt::Weak { correlation: found.correlation },
    }
}

/// The best place about the one that a time stamp gives: laps look alike, but not within a fraction of a lap. Only a
/// stamp that needs no shift is asked, and it never makes sure.
fn near_stamp(log: &Turning, seen: &SeenYaw, stamps: &[FootageClock]) -> Option<MotionFit> {
    let stamp = stamps.first().filter(|it| zone_shift_s(it).is_none())?;
    let near = fit_near(log, seen, Some((stamp.map?.log_t_s_at_zero, NEAR_STAMP_S))).ok()?;
    let is_alike = near.confidence >= LEAST_CONFIDENCE && near.correlation.abs() > ALIKE;
    is_alike.then(|| MotionFit { confidence: near.confidence.min(STAMP_CONFIDENCE), ..near })
}

fn doubted(mut stamps: Vec<FootageClock>, doubt: MotionDoubt) -> Vec<FootageClock> {
    for clock in &mut stamps {
        clock.notes.push(Note::new(NoteKind::MotionNotUsed { doubt }));
    }
    stamps
}

/// The clock of a chapter that starts at `start_s` of the recording.
fn clock(found: &MotionFit, start_s: f64, notes: &[Note]) -> FootageClock {
    let away_s = start_s - found.centre_s;
    FootageClock {
        map: Some(chapter_map(found.map, start_s)),
        ci95_s: Some(NORMAL_CI95 * found.sigma_s.hypot(found.sigma_ppm * 1e-6 * away_s)),
        method: Method::Motion,
        confidence: found.confidence,
        next_best_ratio: Some(found.next_best_ratio),
        notes: notes.to_vec(),
    }
}

/// Where something is missing between chapters, each run of gapless ones has a clock of its own.
fn apart(
    log: &Turning,
    seen: &SeenYaw,
    chapters: &[Chapter],
    stamps: &[FootageClock],
    gaps: &[(usize, f64)],
) -> Option<Vec<FootageClock>> {
    if gaps.is_empty() {
        return None;
    }
    let starts_s = chapter_starts_s(chapters);
    let mut clocks = Vec::new();
    let borders: Vec<usize> =
        std::iter::once(0).chain(gaps.iter().map(|it| it.0)).chain(std::iter::once(chapters.len())).collect();
    for pair in borders.windows(2) {
        let (first, end) = (pair[0], pair[1]);
        let end_s = starts_s[end - 1] + chapters[end - 1].duration_s;
        let mut notes: Vec<Note> = Vec::new();
        if let Some((_, seconds)) = gaps.iter().find(|it| it.0 == first) {
            notes.push(Note::new(NoteKind::ChapterGap { chapter: first + 1, seconds: *seconds }));
        }
        match fit(log, &seen.between(starts_s[first], end_s)) {
            Ok(found) if found.confidence >= LEAST_CONFIDENCE => {
                notes.extend(mount_notes(&found));
                let of_run = &stamps[first..end];
                notes.extend(stamp_notes(&chapter_map(found.map, starts_s[first]), of_run));
                clocks.extend(starts_s[first..end].iter().map(|start_s| clock(&found, *start_s, &notes)));
            }
            _ => return None,
        }
    }
    Some(clocks)
}

fn mount_notes(found: &MotionFit) -> Vec<Note> {
    let mut notes = Vec::new();
    if found.mount.reversed {
        notes.push(Note::new(NoteKind::PictureTurnsBack { upside_down: found.mount.far_part_below }));
    }
    if found.mount.looks_back == Some(true) {
        notes.push(Note::new(NoteKind::CameraLooksBack));
    }
    notes
}

/// Whether the camera's clock was right, a time zone off, or simply wrong. `stamps` hold a time zone's shift already
/// where one was needed to bring the footage into the log.
fn stamp_notes(by_motion: &ClockMap, stamps: &[FootageClock]) -> Vec<Note> {
    let Some((stamp, map)) = stamps.first().and_then(|it| Some((it, it.map?))) else { return Vec::new() };
    let shifted_s = zone_shift_s(stamp);
    // What the camera's clock showed, less what it should have.
    let off_s = map.log_t_s_at_zero + shifted_s.unwrap_or(0.0) - by_motion.log_t_s_at_zero;
    let hours = (off_s / HOUR_S).round();
    let kind = if off_s.abs() <= CLOCK_SET_S {
        return Vec::new();
    } else if (off_s - hours * HOUR_S).abs() <= CLOCK_SET_S {
        NoteKind::ZoneShift { hours }
    } else {
        NoteKind::CameraClockWrong { seconds: off_s }
    };
    vec![Note::new(kind)]
}

fn zone_shift_s(stamp: &FootageClock) -> Option<f64> {
    stamp.notes.iter().find_map(|it| match it.kind {
        NoteKind::ZoneShift { hours } => Some(hours * HOUR_S),
        _ => None,
    })
}
