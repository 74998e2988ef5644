//! Where the playhead is, on the log and in the footage at once. The only place of the window where the two clocks meet.

use std::sync::Arc;

use crate::media::{FootagePlace, FrameIndex};
use crate::present::footage_elsewhere;
use crate::session::{ClockMap, SessionTime, VideoTime};
use crate::track::Lap;
use crate::window::loading::Chapter;
use crate::window::navigate::Playhead;

/// Without footage the playhead steps by this much, s: a frame at 25 a second.
const STEP_WITHOUT_FOOTAGE_S: f64 = 0.04;
/// Clocks are converted in floating point: a place this near to the beginning of a frame is on that frame, ns.
const ROUNDING_NS: i64 = 1_000;

/// Where the playhead is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Position {
    /// On a frame of the footage: its own presentation time, and when the next is shown.
    Frame { place: FootagePlace, until: VideoTime },
    /// At a log time, s, of which there is no footage.
    Log { t_s: f64 },
}

/// The recording on the log's clock.
#[derive(Debug, Clone, Default)]
pub(super) struct Timeline {
    chapters: Vec<Chapter>,
    index: Option<Arc<FrameIndex>>,
    /// The log runs from 0 to here, s.
    log_end_s: f64,
}

impl Timeline {
    pub(super) fn new(chapters: Vec<Chapter>, log_end_s: f64) -> Self {
        Self { chapters, index: None, log_end_s }
    }

    /// Until the frames are known, places are taken as they are.
    pub(super) fn set_index(&mut self, index: Arc<FrameIndex>) {
        self.index = Some(index);
    }

    /// Puts the files on the log's clock anew, each in its turn, or takes them off.
    pub(super) fn set_clocks(&mut self, clocks: impl IntoIterator<Item = Option<ClockMap>>) {
        self.chapters.iter_mut().zip(clocks).for_each(|(chapter, clock)| chapter.clock = clock);
    }

    pub(super) fn has_footage(&self) -> bool {
        !self.chapters.is_empty()
    }

    /// The position at a log time, s; times off the log are brought to its ends.
    pub(super) fn at(&self, t_s: f64) -> Position {
        let t_s = if t_s.is_finite() { t_s.clamp(self.first_s(), self.last_s()) } else { 0.0 };
        self.place_at(t_s).map_or(Position::Log { t_s }, |place| self.on_frame(place))
    }

    /// The frame that begins nearest to a log time, s: two cameras have their frames at moments of their own. `None`
    /// where there is no footage.
    pub(super) fn nearest(&self, t_s: f64) -> Option<Position> {
        let place = self.place_at(t_s)?;
        let on_show = self.on_frame(place);
        let Position::Frame { place: FootagePlace { at: begins, .. }, until } = on_show else { return None };
        let is_next_nearer = until.0 - place.at.0 < place.at.0 - begins.0;
        Some(if is_next_nearer { self.step_in_footage(on_show, 1) } else { on_show })
    }

    /// How long the frame on show at a place is shown, s; `None` until the frames are known.
    pub(super) fn frame_s(&self, place: FootagePlace) -> Option<f64> {
        let index = self.index.as_ref()?;
        let number = index.on_show(place)?;
        let frame_s = index.until(number)?.seconds() - index.place(number)?.at.seconds();
        (frame_s > 0.0).then_some(frame_s)
    }

    /// So many frames on in the footage, whatever the log says; the first or the last where there are not so many.
    pub(super) fn step_in_footage(&self, from: Position, by: i64) -> Position {
        match (from, &self.index) {
            (Position::Frame { place, .. }, Some(index)) => self.on_frame(index.step(place, by)),
            _ => from,
        }
    }

    /// The position on the frame on show at a place of the footage.
    pub(super) fn on_frame(&self, place: FootagePlace) -> Position {
        let number = self.index.as_ref().and_then(|it| it.on_show(place));
        let found = number.and_then(|it| {
            let index = self.index.as_ref()?;
            Some((index.place(it)?, index.until(it)?))
        });
        let (place, until) = found.unwrap_or((place, VideoTime(place.at.0 + 1)));
        Position::Frame { place, until }
    }

    /// So many frames on; `None` at the ends.
    pub(super) fn step(&self, from: Position, by: i64) -> Option<Position> {
        let to = match (from, &self.index) {
            (Position::Frame { place, .. }, Some(index)) => {
                let stepped = index.step(place, by);
                if stepped == place { self.at(self.beyond_s(from, by)) } else { self.on_frame(stepped) }
            }
            _ => self.at(self.beyond_s(from, by)),
        };
        (to != from).then_some(to)
    }

    /// The moment of a position and how long it lasts, on the log, s.
    pub(super) fn playhead(&self, position: Position) -> Playhead {
        match position {
            Position::Log { t_s } => Playhead { from_s: t_s, until_s: t_s + STEP_WITHOUT_FOOTAGE_S },
            Position::Frame { place, until } => {
                let from_s = self.log_s(place.chapter, place.at).unwrap_or(0.0);
                let until_s = self.log_s(place.chapter, until).unwrap_or(from_s);
                Playhead { from_s, until_s }
            }
        }
    }

    /// Log time of a moment of a chapter, s.
    pub(super) fn log_s(&self, chapter: usize, at: VideoTime) -> Option<f64> {
        Some(self.chapters.get(chapter)?.clock?.to_log(at).0)
    }

    fn beyond_s(&self, from: Position, by: i64) -> f64 {
        let playhead = self.playhead(from);
        if by < 0 { playhead.from_s - STEP_WITHOUT_FOOTAGE_S } else { playhead.until_s }
    }

    fn place_at(&self, t_s: f64) -> Option<FootagePlace> {
        self.chapters.iter().enumerate().find_map(|(chapter, it)| {
            let at = VideoTime(it.clock?.to_video(SessionTime(t_s)).0 + ROUNDING_NS);
            (it.start <= at && at < it.end).then_some(FootagePlace { chapter, at })
        })
    }

    /// Why footage called `name` shows nothing at a moment, in words: what it shows instead.
    pub(super) fn elsewhere(&self, name: &str, laps: &[Lap]) -> String {
        let lap_at = |t_s: f64| laps.iter().find(|it| (it.start_t_s..it.end_t_s).contains(&t_s)).map(|it| it.number);
        let whole = self.ends_s().reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)));
        whole.map_or_else(String::new, |(from_s, until_s)| {
            footage_elsewhere(name, (from_s, until_s), (lap_at(from_s), lap_at(until_s)))
        })
    }

    /// The review begins with whichever begins first, and ends with the last.
    fn first_s(&self) -> f64 {
        self.ends_s().map(|it| it.0).fold(0.0, f64::min)
    }

    /// Log time at which the last of log and footage ends, s.
    pub(super) fn last_s(&self) -> f64 {
        self.ends_s().map(|it| it.1).fold(self.log_end_s, f64::max)
    }

    fn ends_s(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.chapters.iter().filter_map(|it| Some((it.clock?.to_log(it.start).0, it.clock?.to_log(it.end).0)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::ClockMap;

    fn timeline() -> Timeline {
        let chapter = |log_t_s_at_zero| Chapter {
            path: "a.mp4".into(),
            clock: Some(ClockMap { log_t_s_at_zero, rate_ppm: 0.0 }),
            start: VideoTime(0),
            end: VideoTime::from_seconds(10.0),
        };
        Timeline::new(vec![chapter(5.0), chapter(20.0)], 60.0)
    }

    #[test]
    fn a_log_time_is_on_the_footage_that_covers_it() {
        let timeline = timeline();
        let Position::Frame { place, .. } = timeline.at(7.0) else { panic!("there is footage") };
        assert_eq!((place.chapter, place.at.0 / 1_000_000), (0, 2000));
        assert!(matches!(timeline.at(25.0), Position::Frame { place, .. } if place.chapter == 1));
        assert_eq!(timeline.at(17.0), Position::Log { t_s: 17.0 });
        assert_eq!(timeline.at(-50.0), Position::Log { t_s: 0.0 });
        assert_eq!(timeline.at(99.0), Position::Log { t_s: 60.0 });
        assert_eq!(timeline.at(f64::NAN), Position::Log { t_s: 0.0 });
    }

    #[test]
    fn only_footage_of_the_moment_is_near() {
        let mut timeline = timeline();
        let at_s = |position: Option<Position>| match position {
            Some(Position::Frame { place, .. }) => Some(place.at.0 / 1_000_000),
            _ => None,
        };
        assert_eq!(at_s(timeline.nearest(7.0)), Some(2000));
        assert_eq!(at_s(timeline.nearest(17.0)), None);
        assert_eq!(at_s(timeline.nearest(99.0)), None);
        timeline.set_clocks([Some(ClockMap { log_t_s_at_zero: 90.0, rate_ppm: 0.0 }), None]);
        assert_eq!(at_s(timeline.nearest(99.0)), Some(9000));
        timeline.set_clocks([None, None]);
        assert_eq!(at_s(timeline.nearest(7.0)), None);
    }

    #[test]
    fn without_footage_the_playhead_steps_along_the_log() {
        let timeline = Timeline::new(Vec::new(), 60.0);
        let on = timeline.step(Position::Log { t_s: 1.0 }, 1).unwrap();
        assert_eq!(on, Position::Log { t_s: 1.04 });
        assert_eq!(timeline.step(on, -1), Some(Position::Log { t_s: 1.0 }));
        assert_eq!(timeline.step(Position::Log { t_s: 0.0 }, -1), None);
        assert_eq!(timeline.step(Position::Log { t_s: 60.0 }, 1), None);
    }
}
