//! The footage's sound while a window plays it: from any place, at any rate at its own pitch. Works on a worker of its
//! own; never blocks its caller. Where there is no sound to be had it says so once and stays silent.
//!
//! ```text
//! filesrc ─ parsebin ─ decoder ─ audioconvert ─ scaletempo ─ audioconvert ─ audioresample ─ volume ─ sink
//! ```
//!
//! Threads: the caller sends orders and reads the position; the worker alone changes the pipeline's state.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use gstreamer as gst;
use gstreamer::prelude::*;

use crate::job;
use crate::media::encoders::element;
use crate::media::error::Error;
use crate::media::reader::decoder;
use crate::media::source::{Which, first_trouble};
use crate::media::times::{Zero, first_packets, open_packets};
use crate::session::VideoTime;

/// How often a pipeline that plays is looked at for errors.
const LOOK: Duration = Duration::from_millis(100);
/// Longest wait for the first sound after a change of place; after that it comes when it comes.
const PATIENCE: gst::ClockTime = gst::ClockTime::from_mseconds(500);
const SLOWEST: f64 = 0.1;
const FASTEST: f64 = 4.0;

const BASE: &str = "gstreamer1.0-plugins-base";
const GOOD: &str = "gstreamer1.0-plugins-good";
const CORE: &str = "libgstreamer1.0-0";

/// The sound of one footage file. Dropping it ends its worker and frees the device, and does not wait for that.
#[derive(Debug)]
pub struct Sound {
    // Dropped first: a worker that waits for orders wakes, stops its pipeline and ends.
    orders: Sender<Order>,
    /// The number of the last order to play; 0 while paused.
    wanted: u64,
    next: u64,
    shared: Arc<Shared>,
    // Dropped last: cancels a worker that is at work.
    _worker: job::Worker,
}

/// What the worker tells, the newest value alone: a message for each would pile up where nobody asks.
#[derive(Debug, Default)]
struct Shared {
    player: OnceLock<(gst::Pipeline, Zero)>,
    /// The order to play that is being obeyed; 0 for none.
    obeyed: AtomicU64,
}

#[derive(Debug, Clone, Copy)]
enum Order {
    Play { from: VideoTime, rate: f64, number: u64 },
    Pause,
    Volume(f64),
}

impl Sound {
    /// Opens a file's first sound track for the system's sound device. `on_silent` is called at most once, on the
    /// worker, with one sentence: no sound track, no device, no decoder.
    pub fn open(file: PathBuf, on_silent: impl FnOnce(String) + Send + 'static) -> Self {
        Self::open_into(file, || element("autoaudiosink", GOOD), on_silent)
    }

    /// The same for another sink than the system's, made on the worker.
    pub fn open_into(
        file: PathBuf,
        sink: impl FnOnce() -> Result<gst::Element, Error> + Send + 'static,
        on_silent: impl FnOnce(String) + Send + 'static,
    ) -> Self {
        let (orders, inbox) = channel();
        let shared = Arc::new(Shared::default());
        let told = shared.clone();
        let work = move |context: &job::Context| {
            if let Err(sentence) = play_orders(&file, sink, &told, &inbox, context) {
                told.obeyed.store(0, Ordering::Release);
                on_silent(sentence);
            }
        };
        Self { orders, wanted: 0, next: 0, shared, _worker: job::start("footage sound", work) }
    }

    /// Plays from a place; `rate` is brought within 0.1 to 4 times the recorded speed, what is no number means 1.
    pub fn play(&mut self, from: VideoTime, rate: f64) {
        let rate = if rate.is_finite() { rate.clamp(SLOWEST, FASTEST) } else { 1.0 };
        self.next += 1;
        self.wanted = self.next;
        self.send(Order::Play { from, rate, number: self.next });
    }

    pub fn pause(&mut self) {
        self.wanted = 0;
        self.send(Order::Pause);
    }

    /// 0 (silent) to 1 (as recorded), as loud as it sounds; values outside are brought inside.
    pub fn set_volume(&self, volume: f64) {
        self.send(Order::Volume(if volume.is_nan() { 1.0 } else { volume.clamp(0.0, 1.0) }));
    }

    /// What is heard now; `None` while paused, before the first sound after [`Sound::play`], and where it is silent.
    pub fn position(&self) -> Option<VideoTime> {
        if self.wanted == 0 || self.shared.obeyed.load(Ordering::Acquire) != self.wanted {
            return None;
        }
        let (pipeline, zero) = self.shared.player.get()?;
        let stream_ns = i64::try_from(pipeline.query_position::<gst::ClockTime>()?.nseconds()).ok()?;
        Some(zero.of_stream(stream_ns))
    }

    fn send(&self, order: Order) {
        // A silent one has no worker any more.
        let _ = self.orders.send(order);
    }
}

/// A pipeline that is stopped when it goes: the device is free then, and GStreamer's threads are joined.
#[derive(Debug)]
struct Player {
    pipeline: gst::Pipeline,
    volume: gst::Element,
    zero: Zero,
}

impl Drop for Player {
    fn drop(&mut self) {
        let _ = self.pipeline.set_state(gst::State::Null);
    }
}

/// Obeys orders until their sender is gone. Errors: one sentence, for which there is no sound.
fn play_orders(
    file: &Path,
    sink: impl FnOnce() -> Result<gst::Element, Error>,
    shared: &Shared,
    inbox: &Receiver<Order>,
    context: &job::Context,
) -> Result<(), String> {
    let sink = sink().map_err(|it| it.to_string())?;
    let player = Player::open(file, &sink).map_err(|it| it.to_string())?;
    let _ = shared.player.set((player.pipeline.clone(), player.zero));
    let silent = |cause: String| {
        format!("{}: no sound can be heard ({cause}); check the system's sound settings", file.display())
    };
    player.set_state(gst::State::Paused).map_err(silent)?;
    while !context.is_cancelled() {
        match inbox.recv_timeout(LOOK) {
            Ok(order) => obey_newest(&player, order, shared, inbox).map_err(silent)?,
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => break,
        }
        if let Some(trouble) = player.trouble() {
            return Err(silent(trouble));
        }
    }
    Ok(())
}

/// Of all orders that wait, the last to play or to pause is obeyed, and the last volume.
fn obey_newest(player: &Player, first: Order, shared: &Shared, inbox: &Receiver<Order>) -> Result<(), String> {
    let mut newest = None;
    for order in std::iter::once(first).chain(inbox.try_iter()) {
        match order {
            // The ear hears the cube root of what a sample is multiplied by (common practice, no source).
            Order::Volume(volume) => player.volume.set_property("volume", volume.powi(3)),
            Order::Play { .. } | Order::Pause => newest = Some(order),
        }
    }
    match newest {
        Some(Order::Play { from, rate, number }) => {
            shared.obeyed.store(0, Ordering::Release);
            player.play(from, rate)?;
            shared.obeyed.store(number, Ordering::Release);
        }
        Some(_) => player.set_state(gst::State::Paused)?,
        None => {}
    }
    Ok(())
}

impl Player {
    fn open(file: &Path, sink: &gst::Element) -> Result<Self, Error> {
        let packets = open_packets(file)?;
        let zero = Zero::of(&first_packets(&packets)?);
        let stream = packets.stream(Which::Audio).ok_or_else(|| Error::NoSound { path: file.to_owned() })?;
        let is_raw = stream.caps.structure(0).is_some_and(|it| it.name() == "audio/x-raw");
        let mut chain = if is_raw { Vec::new() } else { vec![decoder(file, stream)?] };
        let volume = element("volume", BASE)?;
        chain.extend([element("audioconvert", BASE)?, element("scaletempo", GOOD)?, element("audioconvert", BASE)?]);
        chain.extend([element("audioresample", BASE)?, volume.clone(), sink.clone()]);
        drop(packets);

        let refused =
            |_| Error::Damaged { path: file.to_owned(), at_s: 0.0, cause: "no element takes its sound".to_owned() };
        let pipeline = gst::Pipeline::new();
        let source = element("filesrc", CORE)?;
        source.set_property("location", file);
        let parse = element("parsebin", BASE)?;
        pipeline.add_many([&source, &parse]).map_err(refused)?;
        pipeline.add_many(&chain).map_err(refused)?;
        source.link(&parse).map_err(refused)?;
        gst::Element::link_many(&chain).map_err(refused)?;
        let entry = chain[0].static_pad("sink").expect("every element that takes a stream has a sink pad");
        parse.connect_pad_added(move |_, pad| {
            let caps = pad.current_caps().unwrap_or_else(|| pad.query_caps(None));
            let is_sound = caps.structure(0).is_some_and(|it| it.name().starts_with("audio/"));
            if is_sound && !entry.is_linked() {
                // A refusal comes back as an error on the bus, which the worker looks at.
                let _ = pad.link(&entry);
            }
        });
        Ok(Self { pipeline, volume, zero })
    }

    fn play(&self, from: VideoTime, rate: f64) -> Result<(), String> {
        // A pipeline that is still opening takes no order to go elsewhere.
        let _ = self.pipeline.state(PATIENCE);
        let to = gst::ClockTime::from_nseconds(u64::try_from(self.zero.stream_ns(from)).unwrap_or(0));
        let flags = gst::SeekFlags::FLUSH | gst::SeekFlags::ACCURATE;
        self.pipeline
            .seek(rate, flags, gst::SeekType::Set, to, gst::SeekType::None, gst::ClockTime::NONE)
            .map_err(|_| self.cause("it cannot be searched"))?;
        self.set_state(gst::State::Playing)?;
        let _ = self.pipeline.state(PATIENCE);
        Ok(())
    }

    fn set_state(&self, state: gst::State) -> Result<(), String> {
        self.pipeline.set_state(state).map(|_| ()).map_err(|_| self.cause("it does not start"))
    }

    fn cause(&self, otherwise: &str) -> String {
        self.trouble().unwrap_or_else(|| otherwise.to_owned())
    }

    /// The first error or warning on the bus: a machine without a sound device only warns.
    fn trouble(&self) -> Option<String> {
        first_trouble(&self.pipeline)
    }
}
