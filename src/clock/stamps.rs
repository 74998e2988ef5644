//! Clock from time stamps: the container's creation time against the log's date.
//!
//! A camera's clock is a weak witness. It was set by hand some time ago, its stamp has a resolution of one second,
//! may mean the start or the end of the recording, and is often local time passed off as UTC. So the interval is wide,
//! the confidence at most a half, and everything that was assumed is noted.

use chrono::{DateTime, Utc};

use crate::clock::{Chapter, FootageClock, Method, chapter_map, chapter_starts_s};
use crate::session::{ClockMap, NORMAL_CI95, Note, NoteKind};

/// Standard deviation of a camera's clock, s: a quartz clock off by a second a day and set within the last days.
/// Common practice, no source.
const CAMERA_CLOCK_SIGMA_S: f64 = 5.0;
/// Standard deviation of a stamp cut to whole seconds, s: uniform over one second.
const STAMP_SIGMA_S: f64 = 0.289;
/// Offsets of civil time from UTC run from −12 h to +14 h in quarter hours (IANA time zone database).
const ZONES_QUARTER_HOURS: std::ops::RangeInclusive<i32> = -48..=56;
/// Chapters whose stamps miss each other by more than this are doubtful, s: two stamps cut to seconds, and the time a
/// camera takes to close a file.
const CHAPTERS_AGREE_S: f64 = 3.0;
/// The confidence of a stamp that needs no shift and lies wholly inside the log.
const BEST_CONFIDENCE: f64 = 0.5;

/// A second zone this likely, compared with the best, is worth a note.
const WORTH_A_WORD: f64 = 0.15;

/// When the log was taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogSpan {
    /// Date and time of log time 0.
    pub start_utc: Option<DateTime<Utc>>,
    pub duration_s: f64,
}

/// The clocks of the chapters of one recording; same length as `chapters`.
///
/// Degenerate: a log without a date, footage without any creation time, and footage that no time zone brings into the
/// log give [`Method::None`] with the reason.
pub fn from_stamps(log: LogSpan, chapters: &[Chapter]) -> Vec<FootageClock> {
    let none = |kind: NoteKind| chapters.iter().map(|_| FootageClock::none(Note::new(kind.clone()))).collect();
    let Some(start_utc) = log.start_utc else { return none(NoteKind::NoDate) };
    let Some(stamp) = Stamp::read(chapters, start_utc) else { return none(NoteKind::NoCreationTime) };
    let length_s: f64 = chapters.iter().map(|it| it.duration_s).sum();
    let mut zones: Vec<Zone> = ZONES_QUARTER_HOURS
        .map(|quarter_hours| Zone::new(quarter_hours, stamp.recording_start_s, length_s, log.duration_s))
        .filter(|zone| zone.weight > 0.0)
        .collect();
    zones.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    let Some(best) = zones.first() else {
        return none(NoteKind::NoOverlap { seconds: miss_s(stamp.recording_start_s, length_s, log.duration_s) });
    };
    let next_best_ratio = zones.get(1).map(|next| next.weight / best.weight);
    let notes = stamp.notes(best, zones.get(1));
    let recording = ClockMap { log_t_s_at_zero: stamp.recording_start_s - best.seconds(), rate_ppm: 0.0 };
    let clock = |start_s: f64| FootageClock {
        map: Some(chapter_map(recording, start_s)),
        ci95_s: Some(NORMAL_CI95 * CAMERA_CLOCK_SIGMA_S.hypot(STAMP_SIGMA_S)),
        method: Method::Clock,
        confidence: BEST_CONFIDENCE * best.weight * (1.0 - 0.5 * next_best_ratio.unwrap_or(0.0)),
        next_best_ratio,
        notes: notes.clone(),
    };
    chapter_starts_s(chapters).into_iter().map(clock).collect()
}

/// What the chapters' stamps say of the recording as a whole.
struct Stamp {
    /// Log time of the recording's start if the stamps were UTC, s.
    recording_start_s: f64,
    end: bool,
    /// Whether several stamps tell start from end.
    told: bool,
    /// By how much the stamps contradict one gapless recording, s.
    spread_s: f64,
}

impl Stamp {
    /// Takes the stamps as starts, or as ends where that fits several chapters clearly better. A camera that gives
    /// every chapter the recording's own stamp is recognised by their being alike. `None` where no chapter has one.
    fn read(chapters: &[Chapter], log_start: DateTime<Utc>) -> Option<Self> {
        let stamped: Vec<(f64, f64, f64)> = chapters
            .iter()
            .zip(chapter_starts_s(chapters))
            .filter_map(|(chapter, start_s)| {
                let stamp_s = (chapter.created? - log_start).as_seconds_f64();
                Some((stamp_s, start_s, start_s + chapter.duration_s))
            })
            .collect();
        let (first_s, _) = mean_and_spread(stamped.iter().map(|it| it.0).take(1))?;
        let (_, alike_spread_s) = mean_and_spread(stamped.iter().map(|it| it.0))?;
        if stamped.len() > 1 && alike_spread_s <= 1.0 {
            return Some(Self { recording_start_s: first_s, end: false, told: false, spread_s: 0.0 });
        }
        let (start_s, start_spread_s) = mean_and_spread(stamped.iter().map(|it| it.0 - it.1))?;
        let (end_s, end_spread_s) = mean_and_spread(stamped.iter().map(|it| it.0 - it.2))?;
        let told = (start_spread_s - end_spread_s).abs() > CHAPTERS_AGREE_S;
        if told && end_spread_s < start_spread_s {
            return Some(Self { recording_start_s: end_s, end: true, told, spread_s: end_spread_s });
        }
        Some(Self { recording_start_s: start_s, end: false, told, spread_s: start_spread_s })
    }

    fn notes(&self, zone: &Zone, next: Option<&Zone>) -> Vec<Note> {
        let mut notes = vec![Note::new(NoteKind::StampMeaning { end: self.end, told: self.told })];
        if zone.quarter_hours != 0 {
            notes.push(Note::new(NoteKind::ZoneShift { hours: zone.hours() }));
        }
        if let Some(next) = next
            && next.weight / zone.weight >= WORTH_A_WORD
        {
            let weight = next.weight / zone.weight;
            notes.push(Note::new(NoteKind::ZoneUncertain { hours: next.hours(), weight }));
        }
        if self.spread_s > CHAPTERS_AGREE_S {
            notes.push(Note::new(NoteKind::ChaptersDisagree { seconds: self.spread_s }));
        }
        notes
    }
}

/// One offset of the camera's clock from UTC, and how likely it is.
struct Zone {
    quarter_hours: i32,
    /// 0 to 1: how usual the offset is, times how much of the shorter of footage and log it lets overlap.
    weight: f64,
}

impl Zone {
    fn new(quarter_hours: i32, recording_start_s: f64, length_s: f64, log_s: f64) -> Self {
        let zone = Self { quarter_hours, weight: 0.0 };
        let start_s = recording_start_s - zone.seconds();
        let overlap_s = (start_s + length_s).min(log_s) - start_s.max(0.0);
        let shorter_s = length_s.min(log_s);
        let share = if shorter_s > 0.0 { (overlap_s / shorter_s).clamp(0.0, 1.0) } else { 0.0 };
        Self { weight: zone.usualness() * share, ..zone }
    }

    /// UTC as it should be, then whole hours, halves (a few countries), quarters (hardly anyone). Weights chosen so
    /// that a more usual zone wins unless it hardly overlaps. Common practice, no source.
    fn usualness(&self) -> f64 {
        match self.quarter_hours {
            0 => 1.0,
            it if it % 4 == 0 => 0.8,
            it if it % 2 == 0 => 0.2,
            _ => 0.05,
        }
    }

    fn seconds(&self) -> f64 {
        f64::from(self.quarter_hours) * 900.0
    }

    fn hours(&self) -> f64 {
        f64::from(self.quarter_hours) / 4.0
    }
}

/// Seconds between the nearer ends of footage and log; 0 where they touch.
fn miss_s(recording_start_s: f64, length_s: f64, log_s: f64) -> f64 {
    (recording_start_s - log_s).max(-(recording_start_s + length_s)).max(0.0)
}

/// Mean and largest difference; `None` for no values.
fn mean_and_spread(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    let values: Vec<f64> = values.collect();
    let lowest = values.iter().copied().reduce(f64::min)?;
    let highest = values.iter().copied().reduce(f64::max)?;
    Some((values.iter().sum::<f64>() / values.len() as f64, highest - lowest))
}

#[cfg(test)]
mod tests {
    use chrono::TimeDelta;

    use super::*;

    const LOG_S: f64 = 600.0;

    fn log_start() -> DateTime<Utc> {
        "2026-05-03T10:00:00Z".parse().unwrap()
    }

    fn log() -> LogSpan {
        LogSpan { start_utc: Some(log_start()), duration_s: LOG_S }
    }

    /// A chapter stamped this many seconds after the log's start.
    fn chapter(duration_s: f64, stamp_s: i64) -> Chapter {
        Chapter { duration_s, created: log_start().checked_add_signed(TimeDelta::seconds(stamp_s)) }
    }

    fn kinds(clock: &FootageClock) -> Vec<NoteKind> {
        clock.notes.iter().map(|it| it.kind.clone()).collect()
    }

    #[test]
    fn a_true_stamp_is_the_start() {
        let clocks = from_stamps(log(), &[chapter(120.0, 30)]);
        assert!((clocks[0].map.unwrap().log_t_s_at_zero - 30.0).abs() < 1e-9);
        assert_eq!(clocks[0].method, Method::Clock);
        assert!(clocks[0].confidence <= 0.5 && clocks[0].confidence > 0.4, "{}", clocks[0].confidence);
        assert!(clocks[0].ci95_s.unwrap() > 5.0);
        assert_eq!(kinds(&clocks[0]), vec![NoteKind::StampMeaning { end: false, told: false }]);
    }

    #[test]
    fn local_time_passed_off_as_utc_is_found() {
        for (hours, shift_s) in [(2.0, 7200), (-8.0, -28_800), (5.5, 19_800), (12.75, 45_900), (14.0, 50_400)] {
            let clocks = from_stamps(log(), &[chapter(120.0, 30 + shift_s)]);
            assert!((clocks[0].map.unwrap().log_t_s_at_zero - 30.0).abs() < 1e-9, "{hours} h");
            assert!(kinds(&clocks[0]).contains(&NoteKind::ZoneShift { hours }), "{:?}", clocks[0].notes);
        }
    }

    /// A log of an hour: footage of half an hour stamped 40 minutes past the end fits +1 h, +1¼ h, +½ h, ….
    #[test]
    fn several_zones_that_fit_lower_the_confidence() {
        let long = LogSpan { duration_s: 3600.0, ..log() };
        let clocks = from_stamps(long, &[chapter(1800.0, 6000)]);
        let clear = from_stamps(long, &[chapter(1800.0, 600)]);
        assert!(clocks[0].next_best_ratio.unwrap() > 0.0);
        assert!(clocks[0].confidence < clear[0].confidence);
        assert!(kinds(&clocks[0]).iter().any(|it| matches!(it, NoteKind::ZoneUncertain { .. })));
    }

    #[test]
    fn chapters_share_one_clock_without_gaps() {
        // Stamps of starts, the second one second off: the recording starts between.
        let clocks = from_stamps(log(), &[chapter(100.0, 30), chapter(50.0, 131)]);
        let at: Vec<f64> = clocks.iter().map(|it| it.map.unwrap().log_t_s_at_zero).collect();
        assert!((at[0] - 30.5).abs() < 1e-9 && (at[1] - 130.5).abs() < 1e-9, "{at:?}");
        assert!(kinds(&clocks[0]).contains(&NoteKind::StampMeaning { end: false, told: true }));
    }

    #[test]
    fn stamps_of_ends_are_told_by_unequal_chapters() {
        let clocks = from_stamps(log(), &[chapter(100.0, 130), chapter(50.0, 180)]);
        assert!((clocks[0].map.unwrap().log_t_s_at_zero - 30.0).abs() < 1e-9);
        assert_eq!(kinds(&clocks[0]), vec![NoteKind::StampMeaning { end: true, told: true }]);
    }

    #[test]
    fn one_stamp_for_all_chapters_is_the_start_of_the_recording() {
        let clocks = from_stamps(log(), &[chapter(100.0, 30), chapter(50.0, 30)]);
        assert!((clocks[1].map.unwrap().log_t_s_at_zero - 130.0).abs() < 1e-9);
        assert!(!kinds(&clocks[0]).iter().any(|it| matches!(it, NoteKind::ChaptersDisagree { .. })));
    }

    #[test]
    fn chapters_that_do_not_belong_together_are_noted() {
        let clocks = from_stamps(log(), &[chapter(100.0, 30), chapter(50.0, 330)]);
        assert!(kinds(&clocks[0]).iter().any(|it| matches!(it, NoteKind::ChaptersDisagree { .. })));
    }

    #[test]
    fn what_is_missing_is_said() {
        let undated = LogSpan { start_utc: None, ..log() };
        assert_eq!(kinds(&from_stamps(undated, &[chapter(10.0, 0)])[0]), vec![NoteKind::NoDate]);
        let unstamped = Chapter { duration_s: 10.0, created: None };
        let clocks = from_stamps(log(), &[unstamped]);
        assert_eq!(kinds(&clocks[0]), vec![NoteKind::NoCreationTime]);
        assert_eq!((clocks[0].method, clocks[0].map), (Method::None, None));
        assert!(from_stamps(log(), &[]).is_empty());
    }

    #[test]
    fn no_overlap_says_by_how_much() {
        let day_s = 86_400;
        let after = from_stamps(log(), &[chapter(120.0, 600 + day_s)]);
        assert_eq!(kinds(&after[0]), vec![NoteKind::NoOverlap { seconds: 86_400.0 }]);
        let before = from_stamps(log(), &[chapter(120.0, -day_s)]);
        assert_eq!(kinds(&before[0]), vec![NoteKind::NoOverlap { seconds: 86_280.0 }]);
    }
}
