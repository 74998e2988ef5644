//! Films: the pieces of a [`FilmPlan`], cards and clips, into a file that appears whole or not at all.
//!
//! Presentation times are kept: no frame is dropped or doubled, a slow stretch shows the same frames for longer, and a
//! still repeats its frame at the footage's rate. The film at any instant shows the frame that the footage shows at the
//! instant of the cut list, so the first frame is the one on show where a clip begins.
//!
//! Each clip with its card is a part; parts are encoded side by side where the machine has cores for it, and joined in
//! order without being encoded again.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use gstreamer as gst;
use gstreamer_video as gst_video;

use crate::draw::{Arrangement, card_tile};
use crate::files::{Overwrite, Pending};
use crate::job::{self, Context};
use crate::media::blend::{Matrix, Sticker};
use crate::media::chapters;
use crate::media::encoders::{self, Export, Profile};
use crate::media::error::Error;
use crate::media::mix::part_sound;
use crate::media::part::PartEncoder;
use crate::media::probe::{Footage, probe};
use crate::media::scene::Scene;
use crate::media::show::{Fill, INSTANT_NS, aspect};
use crate::media::writer::{Film, FilmWriter};
use crate::reel::{Card, ClipPlan, Cut, FilmPlan, FilmShape, Piece};
use crate::session::VideoTime;

/// Frame rate of stills where the footage tells none, 1/s.
const RATE_UNKNOWN_HZ: f64 = 30.0;
/// Height of a film without any footage, px.
const LINES_UNKNOWN: u32 = 720;
/// Parts that are encoded at once at most: each holds some thirty pictures, which at 1080p are 100 MB.
const PARTS_AT_ONCE: usize = 3;
/// Width to height of an upright film.
const UPRIGHT: f64 = 9.0 / 16.0;

/// The file that a film becomes.
#[derive(Debug, Clone, Copy)]
pub struct Target<'a> {
    /// Its ending decides the container.
    pub out: &'a Path,
    pub overwrite: Overwrite,
    /// What the film is for; `None` for the best that the container has.
    pub export: Option<&'static Export>,
}

/// A film that has been written.
#[derive(Debug, Clone, PartialEq)]
pub struct RenderedFilm {
    pub file: PathBuf,
    pub width_px: u32,
    pub height_px: u32,
    pub frames: u64,
    pub film_s: f64,
    pub container: String,
    pub video: String,
    pub audio: Option<String>,
    /// Whether the file itself has the film's chapters; true where it has none.
    pub has_chapters: bool,
}

/// Told how far each part (see [`FilmPlan::parts`]) is, 0 to 1, from whatever thread makes it.
pub type PartProgress<'a> = &'a (dyn Fn(usize, f64) + Sync);

/// What one run is made with.
struct Job<'a> {
    plan: &'a FilmPlan,
    out: &'a Path,
    profile: Profile,
    footage: &'a BTreeMap<PathBuf, Footage>,
    /// Of the film; where it shows two pictures, with where they lie.
    size_px: (u32, u32),
    arrangement: Option<Arrangement>,
    rate_hz: f64,
    has_sound: bool,
    parts_at_once: usize,
    context: &'a Context,
    progress: PartProgress<'a>,
}

/// A clip, or cards alone, with where in the film it begins.
struct Part<'a> {
    begin_s: f64,
    pieces: &'a [Piece],
}

/// Takes what comes out of a part; fails where it is no longer wanted.
type Give<'a> = &'a mut dyn FnMut(Made) -> Result<(), job::Cancelled>;

/// What comes out of a part while it is made.
enum Made {
    /// From this sample frame of the film on.
    Sound(usize, Vec<f32>),
    Packet(gst::Sample),
}

/// Renders a film to `out`. Progress of the whole goes to `context`, which is looked at before every frame; that of each
/// part to `progress`.
pub fn render_film(
    plan: &FilmPlan,
    target: Target<'_>,
    context: &Context,
    progress: PartProgress<'_>,
) -> Result<RenderedFilm, Error> {
    crate::media::init()?;
    let out = target.out;
    let profile = encoders::for_export(out, target.export)?;
    let pending = Pending::new(out, target.overwrite)?;
    let footage = probe_all(plan)?;
    let first = plan.clips().next().and_then(|it| footage.get(&it.plan.chapters[it.plan.cuts[0].chapter()].file));
    let has_footage_sound = !plan.sound.is_muted && footage.values().any(|it| it.audio.is_some());
    let parts = parts_of(plan);
    let single_px = film_size(first, plan, profile.most_lines());
    let arrangement = plan.layout().map(|it| Arrangement::new(it, single_px.0, single_px.1));
    let job = Job {
        plan,
        out,
        profile,
        footage: &footage,
        size_px: arrangement.map_or(single_px, |it| it.size_px),
        arrangement,
        rate_hz: first.and_then(|it| it.rate_hz).unwrap_or(RATE_UNKNOWN_HZ),
        has_sound: has_footage_sound || plan.sound.narration.is_some(),
        parts_at_once: job::cores().min(parts.len()).clamp(1, PARTS_AT_ONCE),
        context,
        progress,
    };
    let chapters = plan.chapters();
    let film = Film { profile, has_sound: job.has_sound, title: &plan.title, chapters: &chapters };
    let mut writer = FilmWriter::new(pending.path(), out, &film)?;
    let frames = join(&job, &parts, &mut writer)?;
    writer.finish(context)?;
    let has_chapters = chapters::complete(pending.path(), out, profile, &chapters)?;
    pending.finish()?;
    context.set_progress(1.0);
    Ok(RenderedFilm {
        file: out.to_owned(),
        width_px: job.size_px.0,
        height_px: job.size_px.1,
        frames,
        film_s: plan.film_s(),
        container: profile.container.name.clone(),
        video: profile.video.name.clone(),
        audio: job.has_sound.then(|| profile.audio.name.clone()),
        has_chapters,
    })
}

/// Renders one clip to `out`.
pub fn render_clip(
    plan: &ClipPlan,
    out: &Path,
    overwrite: Overwrite,
    context: &Context,
) -> Result<RenderedFilm, Error> {
    let target = Target { out, overwrite, export: None };
    render_film(&FilmPlan::of_clip(plan.clone()), target, context, &|_, _| {})
}

fn parts_of(plan: &FilmPlan) -> Vec<Part<'_>> {
    let begins_s: Vec<f64> = plan.timed().map(|it| it.0).collect();
    let part = |it: std::ops::Range<usize>| Part {
        begin_s: begins_s.get(it.start).copied().unwrap_or(0.0),
        pieces: &plan.pieces[it],
    };
    plan.parts().into_iter().map(part).collect()
}

/// Makes all parts and puts them into the file in order; gives the number of pictures.
fn join(job: &Job<'_>, parts: &[Part<'_>], writer: &mut FilmWriter) -> Result<u64, Error> {
    let film_s = job.plan.film_s();
    let mut frames = 0;
    let make_one = |index: usize, part: &Part<'_>, give: Give<'_>| -> Result<(), Error> {
        make(job, index, part, give)?;
        (job.progress)(index, 1.0);
        Ok(())
    };
    let take = |_, made| {
        match made {
            Made::Sound(at_frame, values) => writer.sound(&values, at_frame)?,
            Made::Packet(sample) => {
                let at_ns = writer.packet(&sample, job.context)?;
                frames += 1;
                job.context.set_progress(at_ns as f64 * 1e-9 / film_s);
            }
        }
        Ok(())
    };
    job::stream_in_order(parts, job.parts_at_once, job.parts_at_once, make_one, take)?;
    Ok(frames)
}

fn make(job: &Job<'_>, index: usize, part: &Part<'_>, give: Give<'_>) -> Result<(), Error> {
    if job.has_sound {
        let (at_frame, values) = part_sound(&job.plan.sound, part.begin_s, part.pieces, job.footage, job.context)?;
        give(Made::Sound(at_frame, values))?;
    }
    let mut scenes: Vec<Option<Scene<'_>>> = part.pieces.iter().map(|it| job.scene(it)).collect();
    let info = job.form(&mut scenes)?;
    let encoder = PartEncoder::new(job.profile, &info, fraction(job.rate_hz), job.parts_at_once, job.out)?;
    let part_s: f64 = part.pieces.iter().map(Piece::film_s).sum();
    let mut out = Out { job, index, encoder, give, begin_s: part.begin_s, part_s };
    let mut begin_s = part.begin_s;
    for (piece, scene) in part.pieces.iter().zip(&mut scenes) {
        match (piece, scene) {
            (Piece::Clip(clip), Some(scene)) => write_clip(&clip.plan, scene, begin_s, &mut out)?,
            (Piece::Card(card), _) => write_card(card, &info, begin_s, &mut out)?,
            (Piece::Clip(_), None) => {}
        }
        begin_s += piece.film_s();
    }
    let Out { encoder, give, .. } = out;
    encoder.finish(job.context, &mut |it| Ok(give(Made::Packet(it))?))
}

impl<'a> Job<'a> {
    fn scene(&self, piece: &'a Piece) -> Option<Scene<'a>> {
        let Piece::Clip(clip) = piece else { return None };
        let fill = Fill { size_px: self.size_px, shape: self.plan.shape };
        Some(Scene::new(&clip.plan, fill, self.arrangement, self.footage))
    }

    /// The form of a part's pictures: that of its clip, or where it has none, of pictures of our own.
    fn form(&self, scenes: &mut [Option<Scene<'_>>]) -> Result<gst_video::VideoInfo, Error> {
        if let Some(scene) = scenes.iter_mut().flatten().next() {
            return scene.form();
        }
        let (width, height) = self.size_px;
        let info = gst_video::VideoInfo::builder(gst_video::VideoFormat::I420, width, height);
        let info = info.par(gst::Fraction::new(1, 1)).fps(fraction(self.rate_hz)).build();
        info.map_err(|cause| Error::Render { path: self.out.to_owned(), cause: cause.to_string() })
    }
}

/// What each file that the film uses is.
fn probe_all(plan: &FilmPlan) -> Result<BTreeMap<PathBuf, Footage>, Error> {
    let mut footage = BTreeMap::new();
    let beside = plan.clips().filter_map(|it| it.plan.beside.as_ref()).map(|it| &it.plan);
    for clip in plan.clips().map(|it| &it.plan).chain(beside) {
        for cut in &clip.cuts {
            let file = &clip.chapters[cut.chapter()].file;
            if !footage.contains_key(file) {
                footage.insert(file.clone(), probe(file)?);
            }
        }
    }
    Ok(footage)
}

/// Even sides with square pixels, by the first clip's footage; its shorter side has at most so many lines.
fn film_size(first: Option<&Footage>, plan: &FilmPlan, most_lines: Option<u32>) -> (u32, u32) {
    let height = f64::from(plan.height_px.or(first.map(|it| it.height_px)).unwrap_or(LINES_UNKNOWN));
    let shape = match plan.shape {
        FilmShape::AsFilmed => first.map_or(1.0 / UPRIGHT, aspect),
        FilmShape::Upright => UPRIGHT,
    };
    let shorter = height * shape.min(1.0);
    let scale = most_lines.map_or(1.0, |it| (f64::from(it) / shorter).min(1.0));
    let (width, height) = (height * shape * scale, height * scale);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "positive; casts saturate")]
    let even = |pixels: f64| (((pixels / 2.0).round() as u32) * 2).max(2);
    (even(width), even(height))
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

/// Where a part's pictures go.
struct Out<'a, 'g> {
    job: &'a Job<'a>,
    index: usize,
    encoder: PartEncoder,
    give: Give<'g>,
    begin_s: f64,
    part_s: f64,
}

impl Out<'_, '_> {
    /// One picture from `from_s` to `until_s` of the film.
    fn picture(&mut self, buffer: gst::Buffer, from_s: f64, until_s: f64) -> Result<(), Error> {
        let (at_ns, end_ns) = (ns(from_s), ns(until_s));
        let give = &mut *self.give;
        let context = self.job.context;
        self.encoder.picture(buffer, at_ns, end_ns - at_ns, context, &mut |it| Ok(give(Made::Packet(it))?))?;
        (self.job.progress)(self.index, (from_s - self.begin_s) / self.part_s);
        Ok(())
    }

    /// One picture again and again at the film's rate.
    fn still(&mut self, buffer: &gst::Buffer, from_s: f64, seconds: f64) -> Result<(), Error> {
        let stills = (seconds * self.job.rate_hz).round().max(1.0);
        let step_s = seconds / stills;
        let mut index = 0.0;
        while index < stills {
            self.picture(buffer.clone(), from_s + index * step_s, from_s + (index + 1.0) * step_s)?;
            index += 1.0;
        }
        Ok(())
    }
}

/// Writes the pictures of all cuts of a clip.
fn write_clip(plan: &ClipPlan, show: &mut Scene<'_>, mut begin_s: f64, out: &mut Out<'_, '_>) -> Result<(), Error> {
    for cut in &plan.cuts {
        match *cut {
            Cut::Run { chapter, from, until, pace } => {
                let mut at = from;
                loop {
                    let showing = show.go_to(chapter, at)?;
                    let next_at = showing.next_at.filter(|next| next.0 < until.0 - INSTANT_NS);
                    if !std::mem::replace(&mut showing.is_written, true) {
                        let film_at = |it: VideoTime| begin_s + (it.0 - from.0) as f64 * 1e-9 / pace;
                        let picture = show.picture()?;
                        out.picture(picture, film_at(at), film_at(next_at.unwrap_or(until)))?;
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
                out.still(&picture, begin_s, seconds)?;
            }
        }
        begin_s += cut.film_s();
    }
    Ok(())
}

fn write_card(card: &Card, info: &gst_video::VideoInfo, begin_s: f64, out: &mut Out<'_, '_>) -> Result<(), Error> {
    let failed = |cause: gst::glib::BoolError| Error::Render { path: out.job.out.to_owned(), cause: cause.to_string() };
    let tile = card_tile(card, info.width(), info.height())?;
    let mut buffer = gst::Buffer::with_size(info.size()).map_err(failed)?;
    let writable = buffer.get_mut().expect("a buffer just made has one owner");
    let mut frame = gst_video::VideoFrameRef::from_buffer_ref_writable(writable, info).map_err(failed)?;
    Sticker::new(&tile, Matrix::of(info)).blend(&mut frame);
    drop(frame);
    out.still(&buffer, begin_s, card.seconds)
}

fn ns(seconds: f64) -> u64 {
    u64::try_from(VideoTime::from_seconds(seconds).0).unwrap_or(0)
}
