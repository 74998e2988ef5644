//! Footage frame by frame for a window: the frame on show at any place of a recording, from a worker of its own that
//! keeps decoded frames, reads ahead where the eye goes, and in time decodes what comes before, for going back. Takes
//! places, gives events; never blocks its caller and never shows another frame than the one asked for.

mod bitmap;
mod cache;
mod index;
mod readers;
mod worker;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc;

pub use bitmap::Bitmap;
pub use index::{FootagePlace, FrameIndex};

use crate::job;
use crate::media::reader::{FrameReader, Picture, Pixels};
use crate::media::viewer::worker::{Order, Request};
use crate::session::VideoTime;

/// How a recording is viewed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ViewerSettings {
    /// Most bytes of decoded frames to keep. Beside it, some ten frames are on their way at any time.
    pub cache_bytes: usize,
}

impl Default for ViewerSettings {
    fn default() -> Self {
        Self { cache_bytes: 512 << 20 }
    }
}

/// What a viewer tells, on its worker: to be passed on at once.
#[derive(Debug, Clone)]
pub enum ViewerEvent {
    /// All frames are known; sent once. Frames are shown before, too.
    Ready(Arc<FrameIndex>),
    /// The newest frame makes all before it worthless: where they come faster than they are drawn, drop the old.
    Shown(ShownFrame),
    /// One sentence on a chapter, or a stretch of it, that cannot be shown; the rest can.
    Failed(String),
}

/// One frame to be put on the screen.
#[derive(Debug, Clone)]
pub struct ShownFrame {
    /// Its own presentation time: at or before the one asked for.
    pub place: FootagePlace,
    /// When the next frame of its chapter is shown, or the chapter ends.
    pub until: VideoTime,
    /// Of the request that it answers, see [`Viewer::show`]; again the same where only the size has changed.
    pub generation: u64,
    pub pixels: Bitmap,
}

/// A recording on view. Dropping it ends its worker within the decoding of a frame, and does not wait for that.
#[derive(Debug)]
pub struct Viewer {
    // Dropped first: a worker that waits for orders wakes and ends.
    orders: mpsc::Sender<Order>,
    generation: u64,
    // Dropped last: cancels a worker that is at work.
    _worker: job::Worker,
}

impl Viewer {
    /// Opens a recording by its chapters in order. Nothing is shown before the first [`Viewer::show`].
    pub fn open(
        files: Vec<PathBuf>,
        settings: ViewerSettings,
        on_event: impl Fn(ViewerEvent) + Send + 'static,
    ) -> Self {
        let (orders, inbox) = mpsc::channel();
        let work = move |context: &job::Context| worker::run(&files, settings, &inbox, context, &on_event);
        Self { orders, generation: 0, _worker: job::start("footage viewer", work) }
    }

    /// Loads what viewing a file takes of the system, which a process does once. To be called on a worker before the
    /// window is busy: a thread that loads a library holds up all others that start a thread or load one.
    pub fn warm_up(file: &Path) {
        FrameReader::warm_up(file, Picture { pixels: Pixels::I420, size_px: None, is_cropped: false });
    }

    /// Asks for the frame on show at a place; the first frame where the place lies before it, the last past the end.
    /// The newest request counts: older ones that have not begun are dropped without an answer. Gives the generation
    /// that the answer will carry.
    pub fn show(&mut self, place: FootagePlace) -> u64 {
        self.generation += 1;
        self.send(Order::Show(Request { place, generation: self.generation }));
        self.generation
    }

    /// Frames are scaled down to fit into this width and height, in pixels of the screen; `None` leaves them as they
    /// are. The frame on show is handed over again.
    pub fn set_size_px(&self, size_px: Option<(u32, u32)>) {
        self.send(Order::Size(size_px));
    }

    /// Keeps more or less from now on, see [`ViewerSettings::cache_bytes`].
    pub fn set_cache_bytes(&self, cache_bytes: usize) {
        self.send(Order::CacheBytes(cache_bytes));
    }

    fn send(&self, order: Order) {
        // A worker that is gone has panicked; the window stays.
        let _ = self.orders.send(order);
    }
}
