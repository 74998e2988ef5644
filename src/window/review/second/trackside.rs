//! Trackside footage as the second picture: where it is while the first is where it is, locked by time, or where it was
//! moved to by itself. Touches no widget.

use std::path::Path;
use std::sync::Arc;

use crate::book::{self, FileRef, Id, TracksidePin};
use crate::job::Context;
use crate::load::footage::probe_all;
use crate::load::{self, FileKind};
use crate::media::{FootagePlace, FrameIndex};
use crate::present::{self, TracksideStanding, file_missing, trackside_here};
use crate::session::VideoTime;
use crate::strip::{TracksideClock, trackside_clock};
use crate::track::Lap;
use crate::units::SpeedUnit;
use crate::window::loading::Chapter;
use crate::window::review::Review;
use crate::window::review::clock::TELLING_PINS;
use crate::window::review::second::follow::{Followed, first_words};
use crate::window::review::timeline::{Position, Timeline};

/// One file of trackside footage on view.
#[derive(Debug, Clone)]
pub(super) struct Trackside {
    pub(super) id: Id,
    pub(super) file: FileRef,
    /// The file's name.
    pub(super) name: String,
    seen: Seen,
    timeline: Timeline,
    pins: Vec<TracksidePin>,
    clock: Option<TracksideClock>,
    /// Where it was moved to by itself; `None` while it is in step.
    alone: Option<Position>,
}

/// Whether the file can be seen.
#[derive(Debug, Clone)]
enum Seen {
    BeingRead,
    Ready(Chapter),
    Not { why: String, is_missing: bool },
}

/// A pin as the row of pins shows it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PinShown {
    pub(super) words: String,
    pub(super) at: VideoTime,
}

/// Looks into a file that a book names, wherever it is now.
pub(super) fn find_and_read(file: &FileRef, book: &Path, context: &Context) -> Result<Chapter, load::Error> {
    let (path, _) = book::file::locate(file, book)?;
    read(&path, context)
}

/// Looks into a file.
///
/// # Errors
/// It cannot be read, or is no footage.
pub(super) fn read(path: &Path, context: &Context) -> Result<Chapter, load::Error> {
    if load::kind_of(path)? != FileKind::Footage {
        return Err(load::Error::NotFootage { path: path.to_owned() });
    }
    let found = probe_all(&[path.to_owned()], context)?;
    let footage = found.into_iter().next().ok_or(load::Error::NoFootage)?;
    Ok(Chapter { path: footage.path, clock: None, start: footage.shown.0, end: footage.shown.1 })
}

impl Trackside {
    /// Nothing is known yet of what the file holds.
    pub(super) fn new(id: Id, file: FileRef) -> Self {
        let name = file.path.file_name().unwrap_or_default().to_string_lossy();
        Self {
            id,
            name: present::one_line(&name),
            file,
            seen: Seen::BeingRead,
            timeline: Timeline::default(),
            pins: Vec::new(),
            clock: None,
            alone: None,
        }
    }

    pub(super) fn take(&mut self, read: Result<Chapter, load::Error>) {
        self.seen = match read {
            Ok(chapter) => {
                self.timeline = Timeline::new(vec![chapter.clone()], 0.0);
                self.timeline.set_clocks([self.clock.as_ref().map(|it| it.map)]);
                Seen::Ready(chapter)
            }
            Err(error) => {
                let is_missing = matches!(error, load::Error::Book(book::file::Error::Missing { .. }));
                let why = if is_missing { file_missing(&self.name) } else { error.to_string() };
                Seen::Not { why, is_missing }
            }
        };
    }

    pub(super) fn chapter(&self) -> Option<&Chapter> {
        match &self.seen {
            Seen::Ready(chapter) => Some(chapter),
            Seen::BeingRead | Seen::Not { .. } => None,
        }
    }

    pub(super) fn is_missing(&self) -> bool {
        matches!(self.seen, Seen::Not { is_missing: true, .. })
    }

    pub(super) fn set_index(&mut self, index: Arc<FrameIndex>) {
        self.timeline.set_index(index);
        if let Some(Position::Frame { place, .. }) = self.alone {
            self.alone = Some(self.timeline.on_frame(place));
        }
    }

    /// Takes the pins as they are now. `shown`: where it is; without a pin it stays there, by itself.
    pub(super) fn take_pins(&mut self, pins: &[TracksidePin], shown: Option<Position>) {
        if self.pins != pins {
            self.pins = pins.to_vec();
            self.clock = trackside_clock(pins);
            self.timeline.set_clocks([self.clock.as_ref().map(|it| it.map)]);
        }
        if self.clock.is_none() && self.alone.is_none() {
            self.move_by_itself(shown);
        }
    }

    pub(super) fn is_pinned(&self) -> bool {
        self.clock.is_some()
    }

    /// Log time of a frame, s; `None` without a pin.
    pub(super) fn log_s(&self, at: VideoTime) -> Option<f64> {
        self.clock.as_ref().map(|it| it.map.to_log(at).0)
    }

    /// From now on it is moved by itself, from where it is or else from its beginning.
    pub(super) fn move_by_itself(&mut self, shown: Option<Position>) {
        let begin = self.chapter().map(|it| self.timeline.on_frame(FootagePlace { chapter: 0, at: it.start }));
        self.alone = shown.filter(|it| matches!(it, Position::Frame { .. })).or(begin);
    }

    /// From now on it is in step with the first picture, where it is pinned.
    pub(super) fn get_in_step(&mut self) {
        if self.is_pinned() {
            self.alone = None;
        }
    }

    pub(super) fn is_alone(&self) -> bool {
        self.alone.is_some()
    }

    /// Presentation time of the frame that it was moved to by itself.
    pub(super) fn frame_alone(&self) -> Option<VideoTime> {
        match self.alone? {
            Position::Frame { place, .. } => Some(place.at),
            Position::Log { .. } => None,
        }
    }

    /// Moves it by so many frames.
    pub(super) fn step(&mut self, by: i64) {
        self.alone = self.alone.map(|it| self.timeline.step_in_footage(it, by));
    }

    /// Moves it by itself to the frame on show at a presentation time; before its file is read, as soon as it is.
    pub(super) fn go_to(&mut self, at: VideoTime) {
        self.alone = Some(self.timeline.on_frame(FootagePlace { chapter: 0, at }));
    }

    /// Where it is while the first picture is where it is.
    pub(super) fn follow(&self, review: &Review, unit: SpeedUnit) -> Followed {
        let position = self.alone.or_else(|| self.timeline.nearest(review.playhead().from_s));
        let position = position.filter(|_| self.chapter().is_some());
        let footage_s = match position {
            Some(Position::Frame { place, .. }) => Some(place.at.seconds()),
            _ => None,
        };
        Followed {
            position,
            at_s: None,
            why_no_picture: position.is_none().then(|| self.why_no_picture(&review.analysis.laps)),
            first_words: first_words(review, unit),
            second_words: trackside_here(&self.name, footage_s, self.standing()),
        }
    }

    fn why_no_picture(&self, laps: &[Lap]) -> String {
        match (&self.seen, &self.clock) {
            (Seen::BeingRead, _) => format!("Reading {} …", self.name),
            (Seen::Not { why, .. }, _) => why.clone(),
            (Seen::Ready(_), Some(_)) => self.timeline.elsewhere(&self.name, laps),
            (Seen::Ready(_), None) => String::new(),
        }
    }

    fn standing(&self) -> TracksideStanding {
        if !self.is_pinned() {
            TracksideStanding::NotPinned
        } else if self.is_alone() {
            TracksideStanding::ByItself
        } else {
            let off = (0..self.pins.len()).filter_map(|it| self.off_frames(it)).map(f64::abs);
            TracksideStanding::InStep { pins: self.pins.len(), worst_frames: off.max_by(f64::total_cmp) }
        }
    }

    /// How far a pin is from the clock that fits all, in frames of the footage there. `None` for so few pins that they
    /// fit whatever they say, and until the frames are known.
    fn off_frames(&self, pin: usize) -> Option<f64> {
        let residuals_s = &self.clock.as_ref()?.residuals_s;
        let telling = residuals_s.get(pin).filter(|_| residuals_s.len() >= TELLING_PINS)?;
        Some(telling / self.timeline.frame_s(FootagePlace { chapter: 0, at: self.pins.get(pin)?.footage })?)
    }

    /// The pins in words.
    pub(super) fn pins_shown(&self, review: &Review) -> Vec<PinShown> {
        let shown = |(index, pin): (usize, &TracksidePin)| PinShown {
            words: review.pin_words(pin.footage, pin.log_t_s, self.off_frames(index)),
            at: pin.footage,
        };
        self.pins.iter().enumerate().map(shown).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(position: Option<Position>) -> Option<i64> {
        match position {
            Some(Position::Frame { place, .. }) => Some(place.at.0 / 1_000_000),
            _ => None,
        }
    }

    fn shown() -> Trackside {
        let mut shown = Trackside::new(Id(3), FileRef { path: "clips/kerb.mp4".into(), length_bytes: 1 });
        let (start, end) = (VideoTime::from_seconds(1.0), VideoTime::from_seconds(9.0));
        shown.take(Ok(Chapter { path: "kerb.mp4".into(), clock: None, start, end }));
        shown
    }

    #[test]
    fn footage_without_a_pin_is_by_itself_and_begins_at_its_first_frame() {
        let mut shown = shown();
        shown.take_pins(&[], None);
        assert_eq!((shown.is_pinned(), frame(shown.alone)), (false, Some(1000)));
        shown.get_in_step();
        assert!(shown.is_alone(), "there is nothing to be in step by");
        shown.go_to(VideoTime::from_seconds(4.0));
        assert_eq!(shown.frame_alone(), Some(VideoTime::from_seconds(4.0)));
    }

    #[test]
    fn a_pin_brings_it_in_step_and_taking_it_back_leaves_it_where_it_is() {
        let mut shown = shown();
        shown.take_pins(&[], None);
        let pin = TracksidePin { footage: VideoTime::from_seconds(4.0), log_t_s: 104.0 };
        shown.take_pins(&[pin], None);
        assert!(shown.is_alone(), "until the person has done with it");
        shown.get_in_step();
        assert_eq!(frame(shown.timeline.nearest(106.0)), Some(6000));
        assert_eq!(frame(shown.timeline.nearest(120.0)), None);
        let here = shown.timeline.nearest(106.0);
        shown.take_pins(&[], here);
        assert_eq!((shown.is_pinned(), frame(shown.alone)), (false, Some(6000)));
    }

    #[test]
    fn what_cannot_be_seen_says_why() {
        let mut shown = Trackside::new(Id(3), FileRef { path: "clips/kerb.mp4".into(), length_bytes: 1 });
        assert_eq!(shown.why_no_picture(&[]), "Reading kerb.mp4 …");
        let missing = book::file::locate(&shown.file, Path::new("nowhere/a.cornerbook")).map(|_| ());
        shown.take(Err(missing.unwrap_err().into()));
        assert!(shown.is_missing() && shown.why_no_picture(&[]).contains("kerb.mp4"), "{}", shown.why_no_picture(&[]));
        shown.take(Err(load::Error::NoFootage));
        assert!(!shown.is_missing());
        let mut shown = self::shown();
        shown.take_pins(&[TracksidePin { footage: VideoTime(0), log_t_s: 100.0 }], None);
        assert!(shown.why_no_picture(&[]).contains("but 1:41.0 to 1:49.0"), "{}", shown.why_no_picture(&[]));
    }
}
