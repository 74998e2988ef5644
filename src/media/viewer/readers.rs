//! Where the decoders of a recording stand. Goes on reading where that leads to the wanted frame, and searches only where
//! it does not. Keeps two chapters open, so that going to and fro over their border opens no file.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::Duration;

use crate::media::error::Error;
use crate::media::reader::{Frame, FrameReader, Picture, Pixels};
use crate::media::viewer::index::{FootagePlace, FrameIndex};
use crate::session::VideoTime;

const OPEN_AT_MOST: usize = 2;
/// Frames that are decoded in passing rather than searched past: a search empties the decoder's pipeline, which costs
/// about as much.
const FRAMES_IN_PASSING: usize = 8;
/// The same while the index is still being read, ns.
const TIME_IN_PASSING_NS: i64 = 1_000_000_000;

/// Waits, of [`WAIT`] each, before the reader is asked for a frame come what may: it tells of errors.
const WAITS_AT_MOST: u32 = 250;
/// How long to leave a decoder that is starting up alone.
pub(crate) const WAIT: Duration = Duration::from_millis(2);

/// A decoded frame and when the next one of its chapter is shown; `None` for the last.
#[derive(Debug)]
pub(crate) struct Decoded {
    pub(crate) place: FootagePlace,
    pub(crate) next: Option<VideoTime>,
    pub(crate) frame: Frame,
}

/// What one step on the way to a place has come to.
#[derive(Debug)]
pub(crate) enum Step {
    Decoded(Decoded),
    /// The decoder is starting up after a search: to be asked again a little later.
    Waiting,
    /// The chapter has ended.
    Ended,
}

#[derive(Debug)]
struct Cursor {
    chapter: usize,
    reader: FrameReader,
    /// The frame that comes next; `None` at the end, and before the first search.
    next: Option<VideoTime>,
    /// What the last search was for.
    sought: Option<VideoTime>,
    /// How often the first frame of the last search has been waited for; `None` once it is there.
    waits: Option<u32>,
}

#[derive(Debug)]
pub(crate) struct Readers {
    files: Vec<PathBuf>,
    /// The one used last comes first.
    open: Vec<Cursor>,
    /// Chapters that cannot be opened, with the reason: no second try.
    closed: BTreeMap<usize, String>,
}

impl Readers {
    pub(crate) fn new(files: &[PathBuf]) -> Self {
        Self { files: files.to_vec(), open: Vec::new(), closed: BTreeMap::new() }
    }

    /// Decodes one frame on the way to a place. Errors: one sentence.
    pub(crate) fn towards(&mut self, place: FootagePlace, index: Option<&FrameIndex>) -> Result<Step, String> {
        let cursor = self.cursor(place.chapter)?;
        match cursor.towards(place.at, index) {
            Ok(step) => Ok(step),
            Err(error) => {
                // Its pipeline is in error and gives nothing more.
                self.open.remove(0);
                Err(error.to_string())
            }
        }
    }

    /// Whether reading on, without a search, leads to a place.
    pub(crate) fn is_on_the_way(&self, place: FootagePlace, index: Option<&FrameIndex>) -> bool {
        let cursor = self.open.iter().find(|it| it.chapter == place.chapter);
        cursor.is_some_and(|it| it.is_on_the_way(place.at, index))
    }

    fn cursor(&mut self, chapter: usize) -> Result<&mut Cursor, String> {
        if let Some(sentence) = self.closed.get(&chapter) {
            return Err(sentence.clone());
        }
        let cursor = match self.open.iter().position(|it| it.chapter == chapter) {
            Some(index) => self.open.remove(index),
            None => Cursor::open(chapter, &self.files).map_err(|error| {
                let sentence = error.to_string();
                self.closed.insert(chapter, sentence.clone());
                sentence
            })?,
        };
        self.open.truncate(OPEN_AT_MOST - 1);
        self.open.insert(0, cursor);
        Ok(&mut self.open[0])
    }
}

impl Cursor {
    fn open(chapter: usize, files: &[PathBuf]) -> Result<Self, Error> {
        let picture = Picture { pixels: Pixels::I420, size_px: None, is_cropped: false };
        Ok(Self {
            chapter,
            reader: FrameReader::open(&files[chapter], picture)?,
            next: None,
            sought: None,
            waits: None,
        })
    }

    fn towards(&mut self, at: VideoTime, index: Option<&FrameIndex>) -> Result<Step, Error> {
        let is_searching = self.waits.is_some() && self.sought == Some(at);
        if !is_searching && !self.is_on_the_way(at, index) {
            self.reader.begin_search(at)?;
            (self.sought, self.next, self.waits) = (Some(at), None, Some(0));
        }
        if let Some(waits) = self.waits.filter(|waits| *waits < WAITS_AT_MOST)
            && !self.reader.is_ready()
        {
            self.waits = Some(waits + 1);
            return Ok(Step::Waiting);
        }
        self.waits = None;
        let Some(frame) = self.reader.next_frame()? else {
            self.next = None;
            return Ok(Step::Ended);
        };
        self.next = self.reader.next_time()?;
        let place = FootagePlace { chapter: self.chapter, at: frame.at };
        Ok(Step::Decoded(Decoded { place, next: self.next, frame }))
    }

    fn is_on_the_way(&self, at: VideoTime, index: Option<&FrameIndex>) -> bool {
        let Some(next) = self.next.filter(|next| *next <= at) else { return false };
        // A search may land before the nearest key frame, with good reason: it is not repeated.
        if self.sought == Some(at) {
            return true;
        }
        let number = |at| index?.on_show(FootagePlace { chapter: self.chapter, at });
        match (number(next), number(at)) {
            (Some(next), Some(wanted)) => {
                let has_key_between = index.and_then(|it| it.key_before(wanted)).is_some_and(|key| key > next);
                !has_key_between || wanted - next <= FRAMES_IN_PASSING
            }
            _ => at.0 - next.0 <= TIME_IN_PASSING_NS,
        }
    }
}
