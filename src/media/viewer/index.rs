//! All frames of a recording by presentation time, over its chapters, numbered from 0. Read from the packets, some at a
//! time; decodes nothing. A chapter that cannot be read holds no frames and leaves the others as they are.

use std::path::{Path, PathBuf};

use crate::media::error::Error;
use crate::media::times::{PacketReader, Shown};
use crate::session::VideoTime;

/// Packets read at one go: a few milliseconds' worth.
const PACKETS_AT_ONCE: usize = 64;

/// A moment of a recording: the chapter, from 0, and the presentation time in that file. Ordered as shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FootagePlace {
    pub chapter: usize,
    pub at: VideoTime,
}

/// The frames of a recording. A number is good for one sitting only: what is kept is a [`FootagePlace`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FrameIndex {
    chapters: Vec<ChapterFrames>,
}

/// One chapter's frames; none where it cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
struct ChapterFrames {
    /// Number of its first frame in the recording.
    first: usize,
    /// Rising, no repeats.
    times: Vec<VideoTime>,
    /// Which of `times` are key frames, rising.
    keys: Vec<usize>,
    /// Where the last frame ends.
    end: Option<VideoTime>,
}

impl ChapterFrames {
    /// From frames in the order shown.
    fn of(shown: &[Shown]) -> Self {
        let times: Vec<VideoTime> = shown.iter().map(|it| it.at).collect();
        let keys = shown.iter().enumerate().filter(|(_, it)| it.is_key).map(|(index, _)| index).collect();
        let last_step_ns = times.windows(2).last().map_or(0, |pair| pair[1].0 - pair[0].0);
        let end = shown.last().map(|it| VideoTime(it.at.0 + it.duration_ns.unwrap_or(last_step_ns)));
        Self { first: 0, times, keys, end }
    }
}

impl FrameIndex {
    fn new(mut chapters: Vec<ChapterFrames>) -> Self {
        let mut first = 0;
        for chapter in &mut chapters {
            chapter.first = first;
            first += chapter.times.len();
        }
        Self { chapters }
    }

    /// How many frames the recording has.
    pub fn frames(&self) -> usize {
        self.chapters.last().map_or(0, |it| it.first + it.times.len())
    }

    /// Number of the frame on show at a place: the last one not after it; the first of all where the place lies before
    /// it. In a chapter that cannot be read, the last frame before that chapter. `None` without any frame.
    pub fn on_show(&self, place: FootagePlace) -> Option<usize> {
        let last = self.frames().checked_sub(1)?;
        let Some(chapter) = self.chapters.get(place.chapter) else { return Some(last) };
        let not_after = chapter.times.partition_point(|it| *it <= place.at);
        let within = match chapter.times.is_empty() {
            true => chapter.first.saturating_sub(1),
            false => chapter.first + not_after.saturating_sub(1),
        };
        Some(within.min(last))
    }

    /// Where a frame begins; `None` past the last one.
    pub fn place(&self, number: usize) -> Option<FootagePlace> {
        let (chapter, frames) = self.chapter_of(number)?;
        Some(FootagePlace { chapter, at: frames.times[number - frames.first] })
    }

    /// Until when a frame is shown, in its own chapter's time.
    pub fn until(&self, number: usize) -> Option<VideoTime> {
        let (_, frames) = self.chapter_of(number)?;
        frames.times.get(number - frames.first + 1).copied().or(frames.end)
    }

    /// The place of the frame that is `by` frames after the one on show at a place (before it, where negative), over
    /// chapters; the first or the last where there are not so many. Without any frame, the place itself.
    pub fn step(&self, place: FootagePlace, by: i64) -> FootagePlace {
        let Some(number) = self.on_show(place) else { return place };
        let steps = usize::try_from(by.unsigned_abs()).unwrap_or(usize::MAX);
        let number = if by < 0 { number.saturating_sub(steps) } else { number.saturating_add(steps) };
        self.place(number.min(self.frames() - 1)).unwrap_or(place)
    }

    /// Where a chapter's last frame ends; `None` for a chapter that cannot be read.
    pub fn end(&self, chapter: usize) -> Option<VideoTime> {
        self.chapters.get(chapter)?.end
    }

    /// Number of the key frame at or before a frame, in its chapter; where the file names none, of its first frame.
    pub(crate) fn key_before(&self, number: usize) -> Option<usize> {
        let (_, frames) = self.chapter_of(number)?;
        let not_after = frames.keys.partition_point(|it| *it <= number - frames.first);
        Some(frames.first + not_after.checked_sub(1).map_or(0, |it| frames.keys[it]))
    }

    fn chapter_of(&self, number: usize) -> Option<(usize, &ChapterFrames)> {
        let chapter = self.chapters.partition_point(|it| it.first + it.times.len() <= number);
        Some((chapter, self.chapters.get(chapter)?))
    }
}

/// What reading some more of a recording has come to.
#[derive(Debug)]
pub(crate) enum Reading {
    Unfinished,
    /// One chapter cannot be read; the others can.
    Unreadable(Error),
    Finished(FrameIndex),
}

/// An index being read.
#[derive(Debug)]
pub(crate) struct IndexReader {
    files: Vec<PathBuf>,
    done: Vec<ChapterFrames>,
    current: Option<PacketReader>,
}

impl IndexReader {
    pub(crate) fn new(files: &[PathBuf]) -> Self {
        Self { files: files.to_vec(), done: Vec::new(), current: None }
    }

    /// Reads a little; not to be called again once finished.
    pub(crate) fn go_on(&mut self) -> Reading {
        let Some(file) = self.files.get(self.done.len()).cloned() else {
            return Reading::Finished(FrameIndex::new(std::mem::take(&mut self.done)));
        };
        match self.read_some(&file) {
            Ok(None) => Reading::Unfinished,
            Ok(Some(frames)) => self.close(frames, Reading::Unfinished),
            Err(error) => self.close(ChapterFrames::default(), Reading::Unreadable(error)),
        }
    }

    fn read_some(&mut self, file: &Path) -> Result<Option<ChapterFrames>, Error> {
        let reader = match &mut self.current {
            Some(reader) => reader,
            None => self.current.insert(PacketReader::open(file)?),
        };
        Ok(if reader.read(PACKETS_AT_ONCE)? { None } else { Some(ChapterFrames::of(&reader.shown()?)) })
    }

    fn close(&mut self, frames: ChapterFrames, reading: Reading) -> Reading {
        self.current = None;
        self.done.push(frames);
        reading
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(chapter: usize, ns: i64) -> FootagePlace {
        FootagePlace { chapter, at: VideoTime(ns) }
    }

    /// Frames at 10, 20, 30 ns; none; at 0, 7 ns. Key frames: 10 and 30; 0.
    fn index() -> FrameIndex {
        let shown = |ns: i64, is_key| Shown { at: VideoTime(ns), duration_ns: Some(5), is_key };
        FrameIndex::new(vec![
            ChapterFrames::of(&[shown(10, true), shown(20, false), shown(30, true)]),
            ChapterFrames::default(),
            ChapterFrames::of(&[shown(0, true), shown(7, false)]),
        ])
    }

    #[test]
    fn a_frame_is_on_show_until_the_next() {
        let index = index();
        let cases = [(0, 9, 0), (0, 10, 0), (0, 19, 0), (0, 20, 1), (0, 999, 2), (1, 5, 2), (2, -1, 3), (2, 7, 4)];
        for (chapter, ns, number) in cases {
            assert_eq!(index.on_show(at(chapter, ns)), Some(number), "{chapter} {ns}");
        }
        assert_eq!(index.on_show(at(9, 0)), Some(4));
        assert_eq!([0, 2, 3, 4].map(|it| index.until(it).unwrap().0), [20, 35, 7, 12]);
        assert_eq!((index.place(2), index.place(3), index.place(5)), (Some(at(0, 30)), Some(at(2, 0)), None));
        assert_eq!([0, 1, 2, 3, 4].map(|it| index.key_before(it).unwrap()), [0, 0, 2, 3, 3]);
        assert_eq!((index.end(0), index.end(1)), (Some(VideoTime(35)), None));
    }

    #[test]
    fn steps_cross_chapters_and_stop_at_both_ends() {
        let index = index();
        assert_eq!(index.step(at(0, 25), 1), at(0, 30));
        assert_eq!(index.step(at(0, 30), 1), at(2, 0));
        assert_eq!(index.step(at(2, 3), -1), at(0, 30));
        assert_eq!(index.step(at(1, 0), 1), at(2, 0));
        assert_eq!(index.step(at(2, 0), i64::MAX), at(2, 7));
        assert_eq!(index.step(at(2, 0), i64::MIN), at(0, 10));
    }

    #[test]
    fn a_recording_without_frames_has_no_places() {
        let index = FrameIndex::new(vec![ChapterFrames::default()]);
        assert_eq!((index.frames(), index.on_show(at(0, 0)), index.place(0)), (0, None, None));
        assert_eq!(index.step(at(0, 3), 5), at(0, 3));
    }
}
