//! The footage's clock: where on the log's time the files of one recording lie.
//! Takes lengths, time stamps, pins and what was seen to move as plain data; reads no file and knows no container.
//!
//! The chapters of a recording share one clock and follow each other without a gap: *recording time* runs through all
//! of them, from presentation time 0 of the first.

mod moments;
pub mod motion;
mod pins;
mod stamps;

use crate::session::{ClockMap, Note};

pub use moments::{jolts_s, sets_off_s};
pub use pins::{Pin, PinFit, from_pins};
pub use stamps::{LogSpan, from_stamps};

/// One file of a recording, in its order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chapter {
    /// Presentation time of its end, s.
    pub duration_s: f64,
    /// The creation time in the container, as it stands there: taken for UTC, often local time, and with a
    /// resolution of one second (ISO/IEC 14496-12, 8.2.2).
    pub created: Option<chrono::DateTime<chrono::Utc>>,
}

/// How a clock was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    Motion,
    Clock,
    Manual,
    None,
}

/// The clock of one file.
#[derive(Debug, Clone, PartialEq)]
pub struct FootageClock {
    /// `None` where none could be found; the notes say why.
    pub map: Option<ClockMap>,
    /// Half-width of the 95 % interval of the map's log time at presentation time 0, s.
    pub ci95_s: Option<f64>,
    pub method: Method,
    /// 0 to 1: how far to trust that this is the right place at all.
    pub confidence: f64,
    /// Weight of the second-best place over that of the best, 0 to 1; `None` where there is no other.
    pub next_best_ratio: Option<f64>,
    pub notes: Vec<Note>,
}

impl FootageClock {
    fn none(note: Note) -> Self {
        Self {
            map: None,
            ci95_s: None,
            method: Method::None,
            confidence: 0.0,
            next_best_ratio: None,
            notes: vec![note],
        }
    }
}

/// Recording time at which each chapter starts, s; same length as `chapters`.
pub fn chapter_starts_s(chapters: &[Chapter]) -> Vec<f64> {
    chapters
        .iter()
        .scan(0.0, |end_s, chapter| {
            let start_s = *end_s;
            *end_s += chapter.duration_s;
            Some(start_s)
        })
        .collect()
}

/// The clocks of a recording that is itself the log: one after the other from log time 0, exactly.
pub fn own_clock(chapters: &[Chapter]) -> Vec<FootageClock> {
    let clock = |start_s: f64| FootageClock {
        map: Some(ClockMap { log_t_s_at_zero: start_s, rate_ppm: 0.0 }),
        ci95_s: Some(0.0),
        method: Method::Motion,
        confidence: 1.0,
        next_best_ratio: None,
        notes: Vec::new(),
    };
    chapter_starts_s(chapters).into_iter().map(clock).collect()
}

/// The map of a chapter that starts at `start_s` of a recording with the map `recording`.
fn chapter_map(recording: ClockMap, start_s: f64) -> ClockMap {
    let rate = 1.0 + recording.rate_ppm * 1e-6;
    ClockMap { log_t_s_at_zero: recording.log_t_s_at_zero + start_s * rate, rate_ppm: recording.rate_ppm }
}
