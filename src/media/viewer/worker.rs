//! The viewer's worker: one frame is decoded at a time, and orders are looked at between any two. A request goes before
//! everything else; then comes reading ahead, then the index, then decoding what lies before the frames kept, where the
//! eye goes back.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, TryRecvError};

use gstreamer as gst;
use gstreamer_video as gst_video;

use crate::job;
use crate::media::viewer::bitmap::{Bitmap, Converter, fitted, kept_size};
use crate::media::viewer::cache::{Cache, Kept};
use crate::media::viewer::index::{FootagePlace, FrameIndex, IndexReader, Reading};
use crate::media::viewer::readers::{Decoded, Readers, Step, WAIT};
use crate::media::viewer::{ShownFrame, ViewerEvent, ViewerSettings};
use crate::session::VideoTime;

/// Frames decoded ahead of the one on show: half a second, which outlasts a hiccup of the disk.
const AHEAD_FRAMES: usize = 16;
/// Frames kept before a place that is searched for: they are decoded anyway, and make the first steps back.
const KEPT_IN_PASSING: usize = 48;
/// The same while the index is still being read, ns.
const KEPT_IN_PASSING_NS: i64 = 1_600_000_000;
/// Most frames decoded in advance before the one on show: a long corner at 30 a second.
const BEFORE_AT_MOST: usize = 300;
/// Frames that can be kept smaller than they come may take one in this many bytes of the cache as they come.
const LARGE_IS_ONE_IN: usize = 4;

#[derive(Debug, Clone, Copy)]
pub(crate) struct Request {
    pub(crate) place: FootagePlace,
    pub(crate) generation: u64,
}

#[derive(Debug)]
pub(crate) enum Order {
    Show(Request),
    Size(Option<(u32, u32)>),
    /// Most bytes of decoded frames to keep from now on.
    CacheBytes(usize),
}

/// The planes of one picture.
#[derive(Debug)]
struct Picture {
    buffer: gst::Buffer,
    info: gst_video::VideoInfo,
}

impl Picture {
    fn size(&self) -> (u32, u32) {
        (self.info.width(), self.info.height())
    }
}

/// A frame in the cache.
#[derive(Debug)]
struct Planes {
    /// The decoder's own picture, or a smaller one in its place.
    picture: Picture,
    /// The smaller one beside the decoder's own, once it has been made.
    small: Option<Picture>,
    /// When the next frame of the chapter is shown; `None` for the last one.
    next: Option<VideoTime>,
    duration_ns: i64,
    /// The footage's own size, and the one to keep.
    own_size: (u32, u32),
    kept_size: (u32, u32),
}

impl Planes {
    fn of(decoded: Decoded, within: Option<(u32, u32)>) -> (FootagePlace, Self) {
        let frame = decoded.frame;
        let duration_ns = frame.buffer.duration().and_then(|it| i64::try_from(it.nseconds()).ok()).unwrap_or(0);
        let picture = Picture { buffer: frame.buffer, info: frame.info };
        let own_size = picture.size();
        let kept_size = kept_size(own_size, within);
        (decoded.place, Self { picture, small: None, next: decoded.next, duration_ns, own_size, kept_size })
    }

    fn covers(&self, at: VideoTime) -> bool {
        self.next.is_none_or(|next| at < next)
    }

    /// Makes ready for another size; false where there are too few pixels for it.
    fn refit(&mut self, within: Option<(u32, u32)>) -> bool {
        self.small = None;
        self.kept_size = kept_size(self.own_size, within);
        self.picture.size().0 >= fitted(self.own_size, within).0
    }
}

impl Kept for Planes {
    fn bytes(&self) -> usize {
        self.picture.buffer.maxsize() + self.small.as_ref().map_or(0, |it| it.buffer.maxsize())
    }

    fn is_large(&self) -> bool {
        self.picture.size().0 > self.kept_size.0
    }
}

/// Frames to be decoded before the ones kept, by their numbers: up to and with `last`.
#[derive(Debug, Clone, Copy)]
struct Fill {
    first: usize,
    last: usize,
}

/// What a piece of work has come to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Work {
    Done,
    /// A decoder is starting up; there may be more to do a little later.
    Waiting,
    Nothing,
}

impl Work {
    fn or_else(self, other: impl FnOnce() -> Self) -> Self {
        if self == Self::Nothing { other() } else { self }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Travel {
    Forwards,
    Backwards,
}

/// What was handed over last, for when it is asked for again.
#[derive(Debug)]
struct OnShow {
    place: FootagePlace,
    generation: u64,
    pixels: Bitmap,
}

struct Worker<'a> {
    on_event: &'a dyn Fn(ViewerEvent),
    readers: Readers,
    chapters: usize,
    index: Option<Arc<FrameIndex>>,
    index_reader: Option<IndexReader>,
    cache: Cache<Planes>,
    converter: Converter,
    size_px: Option<(u32, u32)>,
    /// The request being answered, and the newest one that waits for it.
    current: Option<Request>,
    waiting: Option<Request>,
    /// Whether a request has been given up for a newer one since a frame was handed over. The next one is answered
    /// first: else a pointer that never rests would see no frame at all.
    has_given_up: bool,
    on_show: Option<OnShow>,
    travel: Travel,
    fill: Option<Fill>,
    /// Nothing more to do in advance until the next request.
    is_settled: bool,
    last_failure: Option<String>,
}

/// Answers orders until their sender is gone or the context is cancelled.
pub(crate) fn run(
    files: &[PathBuf],
    settings: ViewerSettings,
    inbox: &Receiver<Order>,
    context: &job::Context,
    on_event: &dyn Fn(ViewerEvent),
) {
    let mut worker = Worker {
        on_event,
        readers: Readers::new(files),
        chapters: files.len(),
        index: None,
        index_reader: Some(IndexReader::new(files)),
        cache: Cache::new(settings.cache_bytes),
        converter: Converter::default(),
        size_px: None,
        current: None,
        waiting: None,
        has_given_up: false,
        on_show: None,
        travel: Travel::Forwards,
        fill: None,
        is_settled: false,
        last_failure: None,
    };
    while !context.is_cancelled() {
        match inbox.try_recv() {
            Ok(order) => worker.take(order),
            Err(TryRecvError::Disconnected) => return,
            Err(TryRecvError::Empty) => match worker.work() {
                Work::Done => {}
                Work::Waiting => match inbox.recv_timeout(WAIT) {
                    Ok(order) => worker.take(order),
                    Err(RecvTimeoutError::Timeout) => {}
                    Err(RecvTimeoutError::Disconnected) => return,
                },
                Work::Nothing => match inbox.recv() {
                    Ok(order) => worker.take(order),
                    Err(_) => return,
                },
            },
        }
    }
}

impl Worker<'_> {
    fn take(&mut self, order: Order) {
        match order {
            Order::Show(request) if self.chapters > 0 => self.waiting = Some(request),
            Order::Show(_) => {}
            Order::Size(size_px) => self.resize(size_px),
            Order::CacheBytes(bound_bytes) => self.cache.set_bound_bytes(bound_bytes),
        }
    }

    fn resize(&mut self, size_px: Option<(u32, u32)>) {
        if self.size_px == size_px {
            return;
        }
        self.size_px = size_px;
        self.cache.retain(|it| it.refit(size_px));
        // Shown again at the new size, unless something newer is wanted anyway.
        if let Some(on_show) = self.on_show.take().filter(|_| self.current.is_none() && self.waiting.is_none()) {
            self.waiting = Some(Request { place: on_show.place, generation: on_show.generation });
        }
    }

    /// One piece of work of a few milliseconds.
    fn work(&mut self) -> Work {
        self.choose_request();
        match self.current {
            Some(request) => self.answer(request),
            None if self.is_settled => self.read_index(),
            None => self.read_ahead().or_else(|| self.read_index()).or_else(|| self.fill_before()),
        }
    }

    fn choose_request(&mut self) {
        let Some(waiting) = self.waiting else { return };
        match self.current {
            Some(_) if self.has_given_up => return,
            Some(_) => self.has_given_up = true,
            None => {}
        }
        self.waiting = None;
        self.begin(waiting);
    }

    fn begin(&mut self, mut request: Request) {
        if request.place.chapter >= self.chapters {
            request.place = FootagePlace { chapter: self.chapters - 1, at: VideoTime(i64::MAX) };
        }
        request.place = self.exact(request.place);
        if let Some(on_show) = &self.on_show {
            match request.place.cmp(&on_show.place) {
                std::cmp::Ordering::Less => self.travel = Travel::Backwards,
                std::cmp::Ordering::Greater if self.is_beyond(request.place, on_show.place) => {
                    self.travel = Travel::Forwards;
                }
                _ => {}
            }
        }
        if self.travel == Travel::Forwards {
            self.fill = None;
        }
        self.cache.set_present(request.place);
        self.is_settled = false;
        self.current = Some(request);
    }

    /// The presentation time of the frame on show at a place, as far as it is known.
    fn exact(&self, place: FootagePlace) -> FootagePlace {
        let number = |index: &FrameIndex| index.on_show(place).and_then(|it| index.place(it));
        self.index.as_deref().and_then(number).filter(|it| it.chapter == place.chapter).unwrap_or(place)
    }

    fn is_beyond(&self, place: FootagePlace, frame: FootagePlace) -> bool {
        place.chapter != frame.chapter || self.cache.get(frame).is_none_or(|it| !it.covers(place.at))
    }

    /// Hands over the frame asked for, or decodes one on the way to it.
    fn answer(&mut self, request: Request) -> Work {
        if self.show_kept(request) {
            return Work::Done;
        }
        self.fill = None;
        match self.readers.towards(request.place, self.index.as_deref()) {
            Ok(Step::Decoded(decoded)) => {
                let is_it = decoded.next.is_none_or(|next| request.place.at < next);
                let (place, mut planes) = Planes::of(decoded, self.size_px);
                if is_it {
                    self.show(request, place, &mut planes);
                }
                if is_it || self.is_near(place, request.place) {
                    self.keep(place, planes);
                }
            }
            Ok(Step::Waiting) => return Work::Waiting,
            Ok(Step::Ended) => self.fail(request, None),
            Err(sentence) => self.fail(request, Some(sentence)),
        }
        Work::Done
    }

    fn show_kept(&mut self, request: Request) -> bool {
        let Some((place, planes)) = self.cache.not_after(request.place) else { return false };
        if !planes.covers(request.place.at) {
            return false;
        }
        // Taken out for a moment, so that it can be handed to a method; its memory is shared, not copied.
        let Some(mut planes) = self.cache.remove(place) else { return false };
        self.show(request, place, &mut planes);
        self.cache.insert(place, planes);
        true
    }

    fn show(&mut self, request: Request, place: FootagePlace, planes: &mut Planes) {
        self.current = None;
        self.has_given_up = false;
        self.last_failure = None;
        self.cache.set_present(place);
        let known = self.on_show.take().filter(|it| it.place == place).map(|it| it.pixels);
        let size = fitted(planes.own_size, self.size_px);
        let pixels = match known {
            Some(pixels) => Ok(pixels),
            None => self.draw(planes, size),
        };
        let Ok(pixels) = pixels else {
            let sentence = format!("a frame of {} by {} pixels cannot be drawn; close other programs", size.0, size.1);
            return self.tell_failure(sentence);
        };
        let end = || self.index.as_deref().and_then(|it| it.end(place.chapter));
        let until = planes.next.or_else(end).unwrap_or(VideoTime(place.at.0 + planes.duration_ns));
        let generation = request.generation;
        self.on_show = Some(OnShow { place, generation, pixels: pixels.clone() });
        (self.on_event)(ViewerEvent::Shown(ShownFrame { place, until, generation, pixels }));
    }

    /// By way of the size that the frame is going to be kept in, so that this has not to be made again.
    fn draw(&mut self, planes: &mut Planes, size: (u32, u32)) -> Result<Bitmap, gst::glib::BoolError> {
        if planes.is_large() && planes.small.is_none() {
            let (buffer, info) =
                self.converter.scaled(&planes.picture.buffer, &planes.picture.info, planes.kept_size)?;
            planes.small = Some(Picture { buffer, info });
        }
        let picture = planes.small.as_ref().unwrap_or(&planes.picture);
        self.converter.bitmap(&picture.buffer, &picture.info, size)
    }

    fn fail(&mut self, request: Request, sentence: Option<String>) {
        self.current = None;
        self.has_given_up = false;
        self.is_settled = true;
        let at_s = request.place.at.seconds();
        self.tell_failure(sentence.unwrap_or_else(|| {
            format!("chapter {}: nothing can be decoded at {at_s:.3} s; go to another place", request.place.chapter + 1)
        }));
    }

    /// The same sentence is not said again before a frame has been shown: playing asks many times a second.
    fn tell_failure(&mut self, sentence: String) {
        if self.last_failure.as_ref() != Some(&sentence) {
            self.last_failure = Some(sentence.clone());
            (self.on_event)(ViewerEvent::Failed(sentence));
        }
    }

    /// Whether a frame passed on the way to a place is worth keeping.
    fn is_near(&self, place: FootagePlace, wanted: FootagePlace) -> bool {
        let number = |place| self.index.as_deref().and_then(|it| it.on_show(place));
        match (number(place), number(wanted)) {
            (Some(number), Some(wanted)) => wanted.saturating_sub(number) <= KEPT_IN_PASSING,
            _ => wanted.at.0.saturating_sub(place.at.0) <= KEPT_IN_PASSING_NS,
        }
    }

    /// Puts a frame into the cache, after making room by making others small; false where it has to stay out.
    fn keep(&mut self, place: FootagePlace, planes: Planes) -> bool {
        if self.cache.get(place).is_some() {
            return true;
        }
        while planes.is_large()
            && (self.cache.large_bytes() + planes.bytes()) * LARGE_IS_ONE_IN > self.cache.bound_bytes()
        {
            let Some(farthest) = self.cache.farthest_large() else { break };
            self.make_small(farthest);
        }
        self.cache.insert(place, planes)
    }

    /// A frame that cannot be made small is given up.
    fn make_small(&mut self, place: FootagePlace) {
        let Some(planes) = self.cache.remove(place) else { return };
        let small = match planes.small {
            Some(small) => Ok(small),
            None => self
                .converter
                .scaled(&planes.picture.buffer, &planes.picture.info, planes.kept_size)
                .map(|(buffer, info)| Picture { buffer, info }),
        };
        if let Ok(picture) = small {
            self.cache.insert(place, Planes { picture, small: None, ..planes });
        }
    }

    /// Decodes one of the next frames, unless enough of them are kept.
    fn read_ahead(&mut self) -> Work {
        let Some(missing) = self.missing_ahead() else { return Work::Nothing };
        let index = self.index.as_deref();
        if self.travel == Travel::Backwards && !self.readers.is_on_the_way(missing, index) {
            return Work::Nothing;
        }
        if self.fill.is_some() {
            return Work::Nothing;
        }
        match self.readers.towards(missing, index) {
            Ok(Step::Waiting) => return Work::Waiting,
            Ok(Step::Decoded(decoded)) => {
                let (place, planes) = Planes::of(decoded, self.size_px);
                let is_there = place >= missing;
                if is_there || self.is_near(place, missing) {
                    let is_kept = self.keep(place, planes);
                    // Where there is no room for it, there is none for those after it either.
                    self.is_settled = is_there && !is_kept;
                }
            }
            // Whoever asks for that place is told what is wrong with it.
            Ok(Step::Ended) | Err(_) => self.is_settled = true,
        }
        Work::Done
    }

    /// The first of the next frames that is not kept.
    fn missing_ahead(&self) -> Option<FootagePlace> {
        let mut place = self.on_show.as_ref()?.place;
        let frame_bytes = self.cache.get(place)?.bytes();
        let room = self.cache.bound_bytes() / LARGE_IS_ONE_IN / frame_bytes.max(1);
        for _ in 0..=AHEAD_FRAMES.min(room / 2) {
            let Some(kept) = self.cache.get(place) else { return Some(place) };
            place = match kept.next {
                Some(next) => FootagePlace { at: next, ..place },
                None => self.first_of_next_chapter(place)?,
            };
        }
        None
    }

    fn first_of_next_chapter(&self, place: FootagePlace) -> Option<FootagePlace> {
        let index = self.index.as_deref()?;
        index.place(index.on_show(place)? + 1)
    }

    fn read_index(&mut self) -> Work {
        let Some(reader) = &mut self.index_reader else { return Work::Nothing };
        match reader.go_on() {
            Reading::Unfinished => {}
            Reading::Unreadable(error) => (self.on_event)(ViewerEvent::Failed(error.to_string())),
            Reading::Finished(index) => {
                let index = Arc::new(index);
                self.index = Some(index.clone());
                self.index_reader = None;
                (self.on_event)(ViewerEvent::Ready(index));
            }
        }
        Work::Done
    }

    /// Decodes one frame before those kept, or on the way there.
    fn fill_before(&mut self) -> Work {
        let Some(index) = self.index.clone() else { return Work::Nothing };
        if self.fill.is_none() {
            self.fill = self.plan_fill(&index);
        }
        let Some(fill) = self.fill else { return Work::Nothing };
        let Some(target) = index.place(fill.last) else { return Work::Nothing };
        let number = match self.readers.towards(target, Some(&index)) {
            Ok(Step::Waiting) => return Work::Waiting,
            Ok(Step::Decoded(decoded)) => {
                let (place, planes) = Planes::of(decoded, self.size_px);
                let number = index.on_show(place);
                if number.is_some_and(|it| it >= fill.first && it <= fill.last) {
                    self.keep(place, planes);
                }
                number
            }
            Ok(Step::Ended) | Err(_) => None,
        };
        if number.is_none_or(|it| it >= fill.last) {
            self.fill = None;
            // A frame that could not be had will not be had by trying again.
            self.is_settled = self.cache.get(target).is_none();
        }
        Work::Done
    }

    /// Which frames to decode before those kept, once less than half of what there is room for is left of them: of the
    /// nearest group between key frames, all that there is room for.
    fn plan_fill(&self, index: &FrameIndex) -> Option<Fill> {
        if self.travel == Travel::Forwards {
            return None;
        }
        let on_show = self.on_show.as_ref()?.place;
        let number = index.on_show(on_show)?;
        let room = self.room_before(on_show)?;
        let is_kept = |number: &usize| index.place(*number).is_some_and(|it| self.cache.get(it).is_some());
        let kept = (0..number).rev().take(room).take_while(is_kept).count();
        let last = (number - kept).checked_sub(1)?;
        let first = index.key_before(last)?.max(number.saturating_sub(room));
        (kept < room / 2).then_some(Fill { first, last })
    }

    /// How many frames like the one on show can be kept before it.
    fn room_before(&self, on_show: FootagePlace) -> Option<usize> {
        let planes = self.cache.get(on_show)?;
        let (width, height) = planes.kept_size;
        let (width, height) = (usize::try_from(width).ok()?, usize::try_from(height).ok()?);
        let bytes = if planes.is_large() { width * height * 3 / 2 } else { planes.bytes() };
        let all = self.cache.bound_bytes() / bytes.max(1);
        Some((all * (LARGE_IS_ONE_IN - 1) / LARGE_IS_ONE_IN).saturating_sub(AHEAD_FRAMES / 2).min(BEFORE_AT_MOST))
    }
}
