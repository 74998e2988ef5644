//! The footage of a session on the log's clock: by pins where there are any, else by what is seen to move, else by its
//! time stamps.

use std::path::PathBuf;

use crate::book::{self, Recording};
use crate::clock::{self, FootageClock, LogSpan, Method, chapter_starts_s};
use crate::job::Context;
use crate::load::footage::{self, Footage};
use crate::load::motion::{Motion, clocks_by_motion};
use crate::load::{Error, Session};
use crate::report::{Alignment, FootageEntry};
use crate::session::Note;

/// The files of one recording with their clocks, in order.
#[derive(Debug)]
pub struct Aligned {
    pub footage: Vec<Footage>,
    /// Same length as `footage`.
    pub clocks: Vec<FootageClock>,
    /// One a pin: how far it lies from the clock that fits all pins, s.
    pub residuals_s: Vec<f64>,
    /// Findings on the files: where they were found.
    pub notes: Vec<Note>,
    /// What was seen to move, where that was asked.
    pub motion: Option<Motion>,
}

/// Aligns `videos`, or where there are none, the session's own footage. Pins that are given outrank those of the book,
/// any pin outranks the motion, and the motion the time stamps.
pub fn align(
    session: &Session,
    videos: &[PathBuf],
    given: Option<Vec<clock::Pin>>,
    context: &Context,
) -> Result<Aligned, Error> {
    let mut aligned = align_without_motion(session, videos, given, context)?;
    let is_settled = session.is_footage_alone || aligned.clocks.iter().any(|it| it.method == Method::Manual);
    if !is_settled {
        let stamps = std::mem::take(&mut aligned.clocks);
        let (clocks, motion) = clocks_by_motion(&session.samples, &aligned.footage, stamps, context)?;
        (aligned.clocks, aligned.motion) = (clocks, Some(motion));
    }
    Ok(aligned)
}

/// Like [`align`], by pins and time stamps alone: nothing is decoded.
pub fn align_without_motion(
    session: &Session,
    videos: &[PathBuf],
    given: Option<Vec<clock::Pin>>,
    context: &Context,
) -> Result<Aligned, Error> {
    let (paths, recording, notes) = chosen_footage(session, videos)?;
    let footage = footage::probe_all(&paths, context)?;
    let chapters = footage::clock_chapters(&footage);
    if session.is_footage_alone {
        let clocks = clock::own_clock(&chapters);
        return Ok(Aligned { footage, clocks, residuals_s: Vec::new(), notes, motion: None });
    }
    let pins = given.unwrap_or_else(|| recording_pins(&recording, &chapter_starts_s(&chapters)));
    if let Some(fit) = clock::from_pins(&chapters, &pins) {
        return Ok(Aligned { footage, clocks: fit.clocks, residuals_s: fit.residuals_s, notes, motion: None });
    }
    let log = LogSpan { start_utc: session.samples.start_utc(), duration_s: session.samples.duration_s() };
    let clocks = clock::from_stamps(log, &chapters);
    Ok(Aligned { footage, clocks, residuals_s: Vec::new(), notes, motion: None })
}

/// The files to align, the recording whose pins are theirs, and where they were found.
fn chosen_footage(session: &Session, videos: &[PathBuf]) -> Result<(Vec<PathBuf>, Recording, Vec<Note>), Error> {
    if !videos.is_empty() {
        return Ok((videos.to_vec(), Recording::default(), Vec::new()));
    }
    let Some((path, book)) = session.book.as_ref().filter(|(_, book)| !book.recording.chapters.is_empty()) else {
        return Err(Error::NoFootage);
    };
    let mut notes = Vec::new();
    let mut paths = Vec::new();
    for chapter in &book.recording.chapters {
        let (found, note) = book::file::locate(chapter, path)?;
        notes.extend(note);
        paths.push(found);
    }
    Ok((paths, book.recording.clone(), notes))
}

/// Pins of a book to pins in recording time; those of chapters that are not there are left out. `starts_s`: recording
/// time at which each chapter starts, s.
pub fn recording_pins(recording: &Recording, starts_s: &[f64]) -> Vec<clock::Pin> {
    let pin = |pin: &book::Pin| {
        let start_s = starts_s.get(pin.chapter)?;
        Some(clock::Pin { recording_s: start_s + pin.footage.seconds(), log_t_s: pin.log_t_s })
    };
    recording.pins.iter().filter_map(pin).collect()
}

impl Aligned {
    /// With the number of frames of each file, for which all of them are read.
    pub fn counted(mut self, context: &Context) -> Result<Self, Error> {
        let counted = self.footage.into_iter().map(|it| {
            context.check()?;
            it.counted()
        });
        self.footage = counted.collect::<Result<_, _>>()?;
        Ok(self)
    }

    /// As `cornerbook align` gives it.
    pub fn to_report(&self, session: &Session) -> Alignment {
        let entries = self.footage.iter().zip(&self.clocks).map(|(footage, clock)| FootageEntry {
            file: footage.path.display().to_string(),
            duration_s: footage.found.duration_s,
            frames: footage.found.frames,
            clock: clock.clone(),
        });
        Alignment {
            log: session.samples.sources().first().map(|it| it.file.clone()).unwrap_or_default(),
            footage: entries.collect(),
            residuals_s: self.residuals_s.clone(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::VideoTime;

    #[test]
    fn pins_of_later_chapters_count_from_the_recordings_start() {
        let pin =
            |chapter, footage_s, log_t_s| book::Pin { chapter, footage: VideoTime::from_seconds(footage_s), log_t_s };
        let recording =
            Recording { chapters: Vec::new(), pins: vec![pin(0, 10.0, 20.0), pin(1, 15.0, 85.0), pin(2, 1.0, 99.0)] };
        let pins = recording_pins(&recording, &[0.0, 60.0]);
        let expected = [(10.0, 20.0), (75.0, 85.0)].map(|(recording_s, log_t_s)| clock::Pin { recording_s, log_t_s });
        assert_eq!(pins, expected);
    }
}
