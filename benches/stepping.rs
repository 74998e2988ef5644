//! Footage frame by frame at 1080p30 in H.264 with a key frame every 250 frames: what a step, a step back and a jump
//! cost, beside what bare decoding and a bare search cost in the same run, and beside the goal of each.

#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::disallowed_methods, reason = "a bench speaks and measures")]

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use cornerbook::media::{
    FootagePlace, FrameIndex, FrameReader, Picture, Pixels, ShownFrame, Viewer, ViewerEvent, ViewerSettings,
    frame_times,
};
use cornerbook::session::VideoTime;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

const RATE_HZ: usize = 30;
const GROUP_FRAMES: usize = 250;
const FILM_FRAMES: usize = 900;
/// The corner: 8 s that lie over the border of two groups.
const CORNER: std::ops::Range<usize> = 280..520;
/// As a held key repeats.
const KEY_REPEAT: Duration = Duration::from_millis(33);
const JUMPS: usize = 12;
const TURNS: usize = 3;

fn main() {
    if Command::new("ffmpeg").arg("-version").stdout(Stdio::null()).stderr(Stdio::null()).status().is_err() {
        println!("SKIPPED: ffmpeg is not installed; install the Debian package ffmpeg");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let film = folder.path().join("film.mp4");
    make_film(&film);
    let bare_ms = bare_decode_ms(&film);
    println!(
        "bare decode                    {bare_ms:7.2} ms a frame; one group of {GROUP_FRAMES}: {:.0} ms",
        bare_ms * 250.0
    );
    for (name, size_px) in [("960 px", Some((960, 960))), ("native", None)] {
        stepping(&film, name, size_px, bare_ms);
    }
}

fn stepping(film: &Path, name: &str, size_px: Option<(u32, u32)>, bare_ms: f64) {
    let mut eye = Eye::open(film, size_px);
    eye.look(GROUP_FRAMES * 2 - 10);
    let first_back_ms = eye.look(GROUP_FRAMES * 2 - 11);
    println!("{name}: first step back        {first_back_ms:7.1} ms          goal below {:.0}", bare_ms * 250.0);

    // In turn, for the machine may have other work: the step of each turn beside the bare decode of the same turn.
    let mut ratios = Vec::new();
    for _ in 0..TURNS {
        let bare_ms = bare_decode_ms(film);
        // Anew each time, so that nothing of the corner is kept.
        let mut eye = Eye::open(film, size_px);
        eye.look(CORNER.start);
        let begin = Instant::now();
        let steps = CORNER.skip(1).map(|number| eye.look(number)).count();
        let step_ms = begin.elapsed().as_secs_f64() * 1e3 / steps as f64;
        println!("{name}: step forward, at once  {step_ms:7.2} ms mean, bare decode {bare_ms:.2} ms");
        ratios.push(step_ms / bare_ms);
    }
    println!("{name}: step forward           {:7.2} of bare decode, goal at most 1.3", median(&ratios));
    let mut eye = Eye::open(film, size_px);
    for number in CORNER {
        eye.look(number);
    }
    let back: Vec<f64> = CORNER.rev().skip(1).map(|number| eye.look(number)).collect();
    print_steps(&format!("{name}: steps back, at once   "), &back);

    for number in CORNER {
        eye.look_paced(number);
    }
    let back: Vec<f64> = CORNER.rev().skip(1).map(|number| eye.look_paced(number)).collect();
    print_steps(&format!("{name}: steps back, key held  "), &back);
    let on: Vec<f64> = CORNER.skip(1).map(|number| eye.look_paced(number)).collect();
    print_steps(&format!("{name}: steps on, key held    "), &on);

    let mut chance = ChaCha8Rng::seed_from_u64(1);
    let near = CORNER.end - 100..CORNER.end;
    let scrubs: Vec<f64> = (0..50).map(|_| eye.look(chance.random_range(near.clone()))).collect();
    println!("{name}: scrub, kept stretch    {:7.1} ms worst    goal 100", scrubs.iter().copied().fold(0.0, f64::max));
    let (mut jumps_ms, mut searches_ms) = (Vec::new(), Vec::new());
    let mut search = Search::open(film);
    for number in jump_places() {
        searches_ms.push(search.time_ms(number));
        // Anew each time, so that nothing of the place is kept.
        let mut eye = Eye::open(film, size_px);
        eye.look(0);
        jumps_ms.push(eye.look(number));
    }
    let (jump_ms, search_ms) = (median(&jumps_ms), median(&searches_ms));
    println!(
        "{name}: scrub, elsewhere       {jump_ms:7.1} ms median   goal {search_ms:.1}: the bare accurate seek in turn"
    );
}

/// The same for the viewer and for the bare search.
fn jump_places() -> Vec<usize> {
    let mut chance = ChaCha8Rng::seed_from_u64(2);
    (0..JUMPS).map(|_| chance.random_range(0..FILM_FRAMES)).collect()
}

fn print_steps(what: &str, steps_ms: &[f64]) {
    let worst = steps_ms.iter().copied().fold(0.0, f64::max);
    println!(
        "{what} {:7.2} ms median, goal 16; p95 {:.1} ms, goal 40; worst {worst:.0} ms",
        median(steps_ms),
        quantile(steps_ms, 0.95)
    );
}

struct Eye {
    viewer: Viewer,
    events: Receiver<ViewerEvent>,
    index: Arc<FrameIndex>,
}

impl Eye {
    fn open(film: &Path, size_px: Option<(u32, u32)>) -> Self {
        let (tell, events) = channel();
        let files = vec![PathBuf::from(film)];
        let viewer = Viewer::open(files, ViewerSettings::default(), move |event| tell.send(event).unwrap_or_default());
        viewer.set_size_px(size_px);
        let Ok(ViewerEvent::Ready(index)) = events.recv() else { panic!("the film is whole") };
        Self { viewer, events, index }
    }

    /// From the request to the frame, ms.
    fn look(&mut self, number: usize) -> f64 {
        let begin = Instant::now();
        let place: FootagePlace = self.index.place(number).unwrap();
        let generation = self.viewer.show(place);
        let frame: ShownFrame = loop {
            match self.events.recv().unwrap() {
                ViewerEvent::Shown(frame) if frame.generation == generation => break frame,
                ViewerEvent::Failed(sentence) => panic!("{sentence}"),
                _ => {}
            }
        };
        assert_eq!(frame.place, place);
        begin.elapsed().as_secs_f64() * 1e3
    }

    /// The same, and then the rest of the time until a held key repeats.
    fn look_paced(&mut self, number: usize) -> f64 {
        let begin = Instant::now();
        let took_ms = self.look(number);
        std::thread::sleep(KEY_REPEAT.saturating_sub(begin.elapsed()));
        took_ms
    }
}

fn reader(film: &Path) -> FrameReader {
    FrameReader::open(film, Picture { pixels: Pixels::I420, size_px: None, is_cropped: false }).unwrap()
}

fn bare_decode_ms(film: &Path) -> f64 {
    let mut reader = reader(film);
    for _ in 0..CORNER.start {
        reader.next_frame().unwrap();
    }
    let begin = Instant::now();
    let frames = CORNER.map(|_| reader.next_frame().unwrap()).filter(Option::is_some).count();
    begin.elapsed().as_secs_f64() * 1e3 / frames as f64
}

/// The bare reader, sent to places.
struct Search {
    reader: FrameReader,
    times: Vec<VideoTime>,
}

impl Search {
    fn open(film: &Path) -> Self {
        Self { reader: reader(film), times: frame_times(film).unwrap() }
    }

    fn time_ms(&mut self, number: usize) -> f64 {
        let begin = Instant::now();
        self.reader.seek(self.times[number]).unwrap();
        assert_eq!(self.reader.next_frame().unwrap().unwrap().at, self.times[number]);
        begin.elapsed().as_secs_f64() * 1e3
    }
}

/// Pictures with noise, which keeps a decoder as busy as asphalt and grass do.
fn make_film(film: &Path) {
    let pictures = format!("testsrc2=size=1920x1080:rate={RATE_HZ},noise=alls=5:allf=t,trim=end_frame={FILM_FRAMES}");
    let mut command = Command::new("ffmpeg");
    command.args(["-nostdin", "-v", "error", "-y", "-f", "lavfi", "-i", &pictures]);
    command.args(["-c:v", "libx264", "-preset", "veryfast", "-b:v", "12M", "-pix_fmt", "yuv420p", "-bf", "2"]);
    command.args(["-g", &GROUP_FRAMES.to_string(), "-keyint_min", &GROUP_FRAMES.to_string(), "-sc_threshold", "0"]);
    assert!(command.arg(film).status().unwrap().success(), "ffmpeg cannot make the film");
}

fn median(values: &[f64]) -> f64 {
    quantile(values, 0.5)
}

fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share of a length")]
    let index = ((sorted.len() - 1) as f64 * share).round() as usize;
    sorted[index]
}
