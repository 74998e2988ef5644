//! One clip: footage through the cut list of a [`ClipPlan`], with overlay and drawings laid over, into a file that appears whole or
//! not at all.
//!
//! Presentation times are kept: no frame is dropped or doubled, a slow stretch shows the same frames for longer, and a
//! still repeats its frame at the footage's rate. The film at any instant shows the frame that the footage shows at the
//! instant of the cut list, so the first frame is the one on show where the clip begins. Sound keeps in step: at its
//! pitch in slow stretches, silent in stills, faded where it is cut.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use gstreamer as gst;
use gstreamer_video as gst_video;

use crate::draw::{OverlayPainter, drawing_tiles};
use crate::files::{Overwrite, Pending};
use crate::job::Context;
use crate::media::blend::{Matrix, Sticker};
use crate::media::encoders;
use crate::media::error::Error;
use crate::media::probe::{Footage, probe};
use crate::media::reader::{Frame, FrameReader, Picture, Pixels};
use crate::media::sound::{self, CHANNELS, frames_of};
use crate::media::stretch::slower;
use crate::media::writer::{Film, FilmWriter};
use crate::reel::{Chapter, ClipPlan, Cut, OverlayState};
use crate::session::VideoTime;

/// Times closer than this are the same instant: log times are turned into nanoseconds and back.
const INSTANT_NS: i64 = 500;
/// Frame rate of stills where the footage tells none, 1/s.
const RATE_UNKNOWN_HZ: f64 = 30.0;

/// A clip that has been written.
#[derive(Debug, Clone, PartialEq)]
pub struct RenderedClip {
    pub file: PathBuf,
    pub width_px: u32,
    pub height_px: u32,
    pub frames: u64,
    pub film_s: f64,
    pub container: String,
    pub video: String,
    pub audio: Option<String>,
}

/// Renders a clip to `out`. Progress goes to `context`, which is looked at before every frame.
pub fn render_clip(
    plan: &ClipPlan,
    out: &Path,
    overwrite: Overwrite,
    context: &Context,
) -> Result<RenderedClip, Error> {
    crate::media::init()?;
    let profile = encoders::for_file(out)?;
    let pending = Pending::new(out, overwrite)?;
    let footage = probe_all(plan)?;
    let first = &footage[&plan.cuts[0].chapter()];
    let size_px = film_size(first, plan.height_px);
    let rate_hz = first.rate_hz.unwrap_or(RATE_UNKNOWN_HZ);
    let has_sound = footage.values().any(|it| it.audio.is_some());

    let mut show = Show::new(plan, size_px);
    let picture = show.form(plan.cuts[0])?;
    let film = Film { profile, picture: &picture, rate: fraction(rate_hz), has_sound, title: &plan.title };
    let writer = FilmWriter::new(pending.path(), out, &film)?;
    if has_sound {
        write_sound(plan, &footage, &writer, context)?;
    }
    let frames = write_pictures(plan, &mut show, rate_hz, &writer, context)?;
    writer.finish(context)?;
    pending.finish()?;
    context.set_progress(1.0);
    Ok(RenderedClip {
        file: out.to_owned(),
        width_px: size_px.0,
        height_px: size_px.1,
        frames,
        film_s: plan.film_s(),
        container: profile.container.name.clone(),
        video: profile.video.name.clone(),
        audio: has_sound.then(|| profile.audio.name.clone()),
    })
}

/// What each chapter that the plan uses is, by its index.
fn probe_all(plan: &ClipPlan) -> Result<BTreeMap<usize, Footage>, Error> {
    let mut footage = BTreeMap::new();
    for cut in &plan.cuts {
        let chapter = cut.chapter();
        if let std::collections::btree_map::Entry::Vacant(e) = footage.entry(chapter) {
            e.insert(probe(&plan.chapters[chapter].file)?);
        }
    }
    Ok(footage)
}

/// Even sides with square pixels.
fn film_size(footage: &Footage, height_px: Option<u32>) -> (u32, u32) {
    let (horizontal, vertical) = footage.pixel_aspect;
    let aspect =
        f64::from(footage.width_px) * f64::from(horizontal) / (f64::from(footage.height_px) * f64::from(vertical));
    let height = f64::from(height_px.unwrap_or(footage.height_px));
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "positive; casts saturate")]
    let even = |pixels: f64| (((pixels / 2.0).round() as u32) * 2).max(2);
    (even(height * aspect), even(height))
}

fn fraction(rate_hz: f64) -> gst::Fraction {
    let ntsc = (rate_hz * 1.001).round();
    #[allow(clippy::cast_possible_truncation, reason = "frame rates are small")]
    if (ntsc / 1.001 - rate_hz).abs() < 1e-6 {
        gst::Fraction::new(ntsc as i32 * 1000, 1001)
    } else {
        gst::Fraction::new((rate_hz * 1000.0).round() as i32, 1000)
    }
}

/// The frame on show and what is needed to go on from it.
struct Showing {
    chapter: usize,
    reader: FrameReader,
    frame: Frame,
    /// When the next frame is shown; `None` at the end of the file.
    next_at: Option<VideoTime>,
    /// Where in the chapter the film has come to.
    position: VideoTime,
    is_written: bool,
}

/// Goes through the footage as the cut list says, and draws over it.
struct Show<'a> {
    plan: &'a ClipPlan,
    size_px: (u32, u32),
    painter: OverlayPainter,
    stickers: Vec<Sticker>,
    /// The drawings on show, by their index in the plan.
    drawn: BTreeMap<usize, Vec<Sticker>>,
    showing: Option<Showing>,
}

impl<'a> Show<'a> {
    fn new(plan: &'a ClipPlan, size_px: (u32, u32)) -> Self {
        let painter = OverlayPainter::new(size_px.0, size_px.1, plan.overlay.map.clone());
        Self { plan, size_px, painter, stickers: Vec::new(), drawn: BTreeMap::new(), showing: None }
    }

    /// The form of the pictures, from the first one.
    fn form(&mut self, first: Cut) -> Result<gst_video::VideoInfo, Error> {
        let at = match first {
            Cut::Run { from, .. } => from,
            Cut::Hold { at, .. } => at,
        };
        Ok(self.go_to(first.chapter(), at)?.frame.info.clone())
    }

    fn chapter(&self, index: usize) -> &'a Chapter {
        &self.plan.chapters[index]
    }

    /// Makes the frame at an instant the one on show. Going on from where the film is costs nothing.
    fn go_to(&mut self, chapter: usize, at: VideoTime) -> Result<&mut Showing, Error> {
        let goes_on =
            self.showing.as_ref().is_some_and(|it| it.chapter == chapter && (it.position.0 - at.0).abs() <= INSTANT_NS);
        if !goes_on {
            let picture = Picture { pixels: Pixels::I420, size_px: Some(self.size_px) };
            let path = &self.chapter(chapter).file;
            let reader = match self.showing.take() {
                Some(showing) if showing.chapter == chapter => showing.reader,
                _ => FrameReader::open(path, picture)?,
            };
            self.showing = Some(Showing::at(path, chapter, reader, at)?);
        }
        let showing = self.showing.as_mut().expect("set above where it was not");
        while showing.next_at.is_some_and(|next| next.0 <= at.0 + INSTANT_NS) {
            showing.advance()?;
        }
        showing.position = at;
        Ok(showing)
    }

    /// The frame on show with its overlay and its drawings.
    fn picture(&mut self) -> Result<gst::Buffer, Error> {
        let showing = self.showing.as_ref().expect("a picture is asked for only after going to a place");
        let chapter = self.chapter(showing.chapter);
        let log_s = |at: VideoTime| chapter.clock.to_log(at).0;
        let until = showing.next_at.unwrap_or(chapter.end);
        let state = self.plan.overlay.state(log_s(showing.frame.at), log_s(until));
        let drawings = self.plan.drawings_on_show(showing.chapter, showing.frame.at, until);
        let (mut buffer, info) = (showing.frame.buffer.clone(), showing.frame.info.clone());
        self.draw(&state, &drawings, &mut buffer, &info)?;
        Ok(buffer)
    }

    fn draw(
        &mut self,
        state: &OverlayState,
        drawings: &[usize],
        buffer: &mut gst::Buffer,
        info: &gst_video::VideoInfo,
    ) -> Result<(), Error> {
        let matrix = Matrix::of(info);
        let unmappable = |cause: gst::glib::BoolError| Error::Render {
            path: self.plan.chapters[0].file.clone(),
            cause: cause.to_string(),
        };
        let tiles = self.painter.tiles(state)?;
        for (index, tile) in tiles.into_iter().enumerate() {
            match self.stickers.get_mut(index) {
                Some(sticker) if sticker.is_of(tile) => {}
                Some(sticker) => *sticker = Sticker::new(tile, matrix),
                None => self.stickers.push(Sticker::new(tile, matrix)),
            }
        }
        self.take_drawings(drawings, matrix)?;
        let mut frame =
            gst_video::VideoFrameRef::from_buffer_ref_writable(buffer.make_mut(), info).map_err(unmappable)?;
        // A person's drawing outranks the program's own blocks: it lies over them.
        for sticker in self.stickers.iter().chain(self.drawn.values().flatten()) {
            sticker.blend(&mut frame);
        }
        Ok(())
    }
}

impl Show<'_> {
    /// Paints the drawings that are new on show, and lets go of those that no longer are.
    fn take_drawings(&mut self, on_show: &[usize], matrix: Matrix) -> Result<(), Error> {
        self.drawn.retain(|index, _| on_show.contains(index));
        for index in on_show.iter().filter(|it| !self.drawn.contains_key(it)).copied().collect::<Vec<_>>() {
            let tiles = drawing_tiles(&self.plan.drawings[index].drawing, self.size_px.0, self.size_px.1)?;
            self.drawn.insert(index, tiles.iter().map(|it| Sticker::new(it, matrix)).collect());
        }
        Ok(())
    }
}

impl Showing {
    fn at(path: &Path, chapter: usize, mut reader: FrameReader, at: VideoTime) -> Result<Self, Error> {
        reader.seek(VideoTime(at.0 + INSTANT_NS))?;
        let frame = reader.next_frame()?.ok_or_else(|| Error::NoFrames { path: path.to_owned() })?;
        let next_at = reader.next_time()?;
        Ok(Self { chapter, reader, frame, next_at, position: at, is_written: false })
    }

    fn advance(&mut self) -> Result<(), Error> {
        if let Some(frame) = self.reader.next_frame()? {
            self.frame = frame;
            self.is_written = false;
        }
        self.next_at = self.reader.next_time()?;
        Ok(())
    }
}

/// Writes the pictures of all cuts; gives their number.
fn write_pictures(
    plan: &ClipPlan,
    show: &mut Show<'_>,
    rate_hz: f64,
    writer: &FilmWriter,
    context: &Context,
) -> Result<u64, Error> {
    let film_s = plan.film_s();
    let mut frames = 0;
    let mut begin_s = 0.0;
    for cut in &plan.cuts {
        match *cut {
            Cut::Run { chapter, from, until, pace } => {
                let mut at = from;
                loop {
                    let showing = show.go_to(chapter, at)?;
                    let next_at = showing.next_at.filter(|next| next.0 < until.0 - INSTANT_NS);
                    if !std::mem::replace(&mut showing.is_written, true) {
                        let film_at = |it: VideoTime| begin_s + (it.0 - from.0) as f64 * 1e-9 / pace;
                        let (at_ns, end_ns) = (ns(film_at(at)), ns(film_at(next_at.unwrap_or(until))));
                        writer.picture(show.picture()?, at_ns, end_ns - at_ns, context)?;
                        frames += 1;
                        context.set_progress(film_at(at) / film_s);
                    }
                    match next_at {
                        Some(next) => at = next,
                        None => break,
                    }
                    show.step()?;
                }
                show.go_on_to(until);
            }
            Cut::Hold { chapter, at, seconds } => {
                show.go_to(chapter, at)?.is_written = true;
                let picture = show.picture()?;
                let stills = (seconds * rate_hz).round().max(1.0);
                let step_s = seconds / stills;
                let mut index = 0.0;
                while index < stills {
                    let at_ns = ns(begin_s + index * step_s);
                    let end_ns = ns(begin_s + (index + 1.0) * step_s);
                    writer.picture(picture.clone(), at_ns, end_ns - at_ns, context)?;
                    frames += 1;
                    index += 1.0;
                }
            }
        }
        begin_s += cut.film_s();
    }
    Ok(frames)
}

impl Show<'_> {
    /// Goes on to the next frame.
    fn step(&mut self) -> Result<(), Error> {
        if let Some(showing) = &mut self.showing {
            showing.advance()?;
            showing.position = showing.frame.at;
        }
        Ok(())
    }

    /// The film has come to `at` without a new frame: the one on show stays.
    fn go_on_to(&mut self, at: VideoTime) {
        if let Some(showing) = &mut self.showing {
            showing.position = at;
        }
    }
}

fn ns(seconds: f64) -> u64 {
    u64::try_from(VideoTime::from_seconds(seconds).0).unwrap_or(0)
}

/// Writes the sound of all cuts ahead of the pictures: a clip's sound is small, and the muxer never has to wait for it.
fn write_sound(
    plan: &ClipPlan,
    footage: &BTreeMap<usize, Footage>,
    writer: &FilmWriter,
    context: &Context,
) -> Result<(), Error> {
    let mut begin_s = 0.0;
    for (index, cut) in plan.cuts.iter().enumerate() {
        context.check()?;
        let (at_frame, end_frame) = (frames_of(begin_s), frames_of(begin_s + cut.film_s()));
        let mut values = match *cut {
            Cut::Run { chapter, from, until, pace } if footage[&chapter].audio.is_some() => {
                let mut values = slower(sound::read(&plan.chapters[chapter].file, from, until)?, pace);
                let goes_on = |other: Option<&Cut>| matches!(other, Some(Cut::Run { pace: 1.0, .. })) && pace >= 1.0;
                let before = index.checked_sub(1).and_then(|it| plan.cuts.get(it));
                sound::fade(&mut values, !goes_on(before), !goes_on(plan.cuts.get(index + 1)));
                values
            }
            _ => Vec::new(),
        };
        values.resize(CHANNELS * (end_frame - at_frame), 0.0);
        writer.sound(&values, at_frame)?;
        begin_s += cut.film_s();
    }
    Ok(())
}
