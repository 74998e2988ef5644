//! Footage frame by frame: the frame that is handed over is the one that was asked for, by the number that it carries.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Duration;

use cornerbook::files::Overwrite;
use cornerbook::job::Context;
use cornerbook::media::{self, FootagePlace, FrameIndex, ShownFrame, Viewer, ViewerEvent, ViewerSettings};
use cornerbook::sample::{
    Camera, Circuit, Driver, FootageOptions, FrameRate, Scenario, read_frame_code, simulate, write_footage,
};
use cornerbook::session::{ClockMap, VideoTime};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::made;

/// A worker that is silent for so long has stopped.
const PATIENCE: Duration = Duration::from_secs(60);
const SMALL: Option<(u32, u32)> = Some((320, 300));

/// A viewer, its events, and the frames it knows.
struct Eye {
    viewer: Viewer,
    events: Receiver<ViewerEvent>,
    index: Arc<FrameIndex>,
    failures: Vec<String>,
}

impl Eye {
    fn open(files: &[PathBuf], cache_bytes: usize, size_px: Option<(u32, u32)>) -> Self {
        let (tell, events) = channel();
        let settings = ViewerSettings { cache_bytes };
        let viewer = Viewer::open(files.to_vec(), settings, move |event| tell.send(event).unwrap_or_default());
        viewer.set_size_px(size_px);
        let mut failures = Vec::new();
        let index = loop {
            match events.recv_timeout(PATIENCE).unwrap() {
                ViewerEvent::Ready(index) => break index,
                ViewerEvent::Failed(sentence) => failures.push(sentence),
                ViewerEvent::Shown(frame) => panic!("nobody has asked for {:?}", frame.place),
            }
        };
        Self { viewer, events, index, failures }
    }

    fn look(&mut self, place: FootagePlace) -> Result<ShownFrame, String> {
        let generation = self.viewer.show(place);
        self.answer(generation)
    }

    fn answer(&self, generation: u64) -> Result<ShownFrame, String> {
        loop {
            match self.events.recv_timeout(PATIENCE).unwrap() {
                ViewerEvent::Shown(frame) if frame.generation == generation => return Ok(frame),
                ViewerEvent::Shown(frame) => assert!(frame.generation < generation),
                ViewerEvent::Failed(sentence) => return Err(sentence),
                ViewerEvent::Ready(_) => panic!("the index is told of once"),
            }
        }
    }

    /// Asks for a frame by its number, and for an instant within it, and checks everything that comes.
    fn expect(&mut self, number: usize, size_px: (u32, u32)) {
        let (place, until) = (self.index.place(number).unwrap(), self.index.until(number).unwrap());
        let within = FootagePlace { at: VideoTime(place.at.0 + (until.0 - place.at.0) * 9 / 10), ..place };
        for asked in [place, within] {
            let frame = self.look(asked).unwrap();
            assert_eq!((frame.place, frame.until), (place, until), "asked for frame {number} by {asked:?}");
            assert_eq!((frame.pixels.width_px, frame.pixels.height_px), size_px);
            assert_eq!(code(&frame), Some(self.code_of(place)), "asked for frame {number}");
        }
    }

    /// Frames of each file carry their number in that file.
    fn code_of(&self, place: FootagePlace) -> u32 {
        let first = self.index.on_show(FootagePlace { at: VideoTime(i64::MIN), ..place }).unwrap();
        u32::try_from(self.index.on_show(place).unwrap() - first).unwrap()
    }
}

fn code(frame: &ShownFrame) -> Option<u32> {
    let pixels = &frame.pixels;
    assert!(pixels.bytes.chunks_exact(4).all(|it| it[3] == 255), "pixels are opaque");
    read_frame_code(&pixels.bytes, pixels.width_px as usize, pixels.height_px as usize, pixels.stride_bytes, 4)
}

fn scenario() -> Scenario {
    simulate(&Circuit::cellar(), &Driver::a(), 1, 1)
}

fn write(path: &Path, duration_s: f64, options: FootageOptions) -> PathBuf {
    let camera = Camera { clock: ClockMap { log_t_s_at_zero: 20.0, rate_ppm: 0.0 }, duration_s, stamp_error_s: 0.0 };
    write_footage(path, Overwrite::Replace, &scenario(), &camera, &options, &Context::new()).unwrap();
    path.to_owned()
}

/// Steps of one frame: on, and back again past where it began; then places by chance.
fn walk(eye: &mut Eye, size_px: (u32, u32), seed: u64) {
    let frames = eye.index.frames();
    let begin = frames / 3;
    let turn = (begin + 100).min(frames - 1);
    for number in begin..=turn {
        eye.expect(number, size_px);
    }
    for number in (turn.saturating_sub(120)..turn).rev() {
        eye.expect(number, size_px);
    }
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    for _ in 0..25 {
        let number = chance.random_range(0..frames);
        eye.expect(number, size_px);
        eye.expect(number.saturating_sub(1), size_px);
    }
    eye.expect(frames - 1, size_px);
    eye.expect(0, size_px);
}

#[test]
fn the_frame_shown_is_the_one_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let usual = FootageOptions { sound: false, gop: 100, ..FootageOptions::default() };
    let ntsc = FrameRate::Constant { numerator: 30_000, denominator: 1001 };
    let cases = [
        ("plain.mp4", usual),
        ("reordered.mp4", FootageOptions { b_frames: 3, rate: ntsc, ..usual }),
        ("variable.mp4", FootageOptions { rate: FrameRate::Variable { seed: 3 }, gop: 20, b_frames: 2, ..usual }),
    ];
    for (name, options) in cases {
        let file = write(&folder.path().join(name), 8.0, options);
        // Room for all, and for 24 frames of 640 by 360 in planes.
        for (cache_bytes, size_px, shown_px) in
            [(512 << 20, SMALL, (320, 180)), (24 * 640 * 360 * 3 / 2, None, (640, 360)), (4 << 20, SMALL, (320, 180))]
        {
            let mut eye = Eye::open(std::slice::from_ref(&file), cache_bytes, size_px);
            assert_eq!(eye.index.frames(), options.frame_times_ns(8.0).len() - 1, "{name}");
            walk(&mut eye, shown_px, 7);
        }
    }
}

#[test]
fn chapters_follow_each_other_and_a_bad_one_leaves_the_others() {
    let folder = tempfile::tempdir().unwrap();
    let options = FootageOptions { sound: false, b_frames: 2, ..FootageOptions::default() };
    let first = write(&folder.path().join("1.mp4"), 2.0, options);
    let missing = folder.path().join("2.mp4");
    let damaged = folder.path().join("3.mp4");
    std::fs::write(&damaged, b"time,speed\n0.0,12.5\n").unwrap();
    let last = write(&folder.path().join("4.mp4"), 2.0, options);
    let mut eye = Eye::open(&[first, missing, damaged, last], 64 << 20, None);
    assert_eq!(eye.index.frames(), 100);
    assert_eq!(eye.failures.len(), 2, "{:?}", eye.failures);
    assert!(eye.failures[0].contains("2.mp4: cannot be read ("), "{:?}", eye.failures);
    assert!(eye.failures[1].ends_with("3.mp4: is no video file; give the camera's own file"), "{:?}", eye.failures);

    walk(&mut eye, (640, 360), 3);
    let end_of_first = eye.index.place(49).unwrap();
    assert_eq!(eye.index.step(end_of_first, 1), FootagePlace { chapter: 3, at: VideoTime(0) });
    let inside_the_missing = FootagePlace { chapter: 1, at: VideoTime(0) };
    assert_eq!(eye.look(inside_the_missing).unwrap_err(), eye.failures[0]);
    // Said once: the next answer is a frame.
    eye.viewer.show(inside_the_missing);
    eye.expect(12, (640, 360));
    let beyond = FootagePlace { chapter: 9, at: VideoTime(0) };
    assert_eq!(eye.look(beyond).unwrap().place, eye.index.place(99).unwrap());
}

#[test]
fn a_chapter_cut_off_in_the_middle_is_shown_as_far_as_it_goes() {
    let folder = tempfile::tempdir().unwrap();
    let whole = folder.path().join("whole.mp4");
    if !made::can_write(&whole) {
        return;
    }
    made::footage(&whole, &made::Recipe { index_first: true, ..made::Recipe::steady(150, 30) });
    let bytes = std::fs::read(&whole).unwrap();
    let part = folder.path().join("part.mp4");
    std::fs::write(&part, &bytes[..bytes.len() / 2]).unwrap();
    let mut eye = Eye::open(&[part, whole], 64 << 20, None);
    let in_part = eye.index.frames() - 150;
    assert!(in_part > 15 && in_part < 140, "{in_part}");
    for number in [in_part - 1, 0, in_part, in_part - 2] {
        let place = eye.index.place(number).unwrap();
        // The decoder has the last word on the very end of a file that is cut within a frame.
        let shown = eye.look(place).map(|it| it.place);
        assert!(shown.is_ok_and(|it| it.chapter == place.chapter && it <= place), "frame {number}");
    }
    // Past the end is the last one, not an error.
    let past = FootagePlace { chapter: 0, at: VideoTime::from_seconds(4.9) };
    assert!(eye.look(past).is_ok_and(|it| it.place.chapter == 0));
}

/// Frames come at the size asked for, and the one on show comes again when that changes.
#[test]
fn a_change_of_size_shows_the_frame_again() {
    let folder = tempfile::tempdir().unwrap();
    let options = FootageOptions { sound: false, ..FootageOptions::default() };
    let file = write(&folder.path().join("film.mp4"), 3.0, options);
    let mut eye = Eye::open(&[file], 8 << 20, SMALL);
    for number in 0..75 {
        eye.expect(number, (320, 180));
    }
    let generation = eye.viewer.show(eye.index.place(70).unwrap());
    assert_eq!(code(&eye.answer(generation).unwrap()), Some(70));
    for (size_px, width_px) in [(None, 640), (Some((480, 480)), 480), (Some((9000, 9000)), 640), (SMALL, 320)] {
        eye.viewer.set_size_px(size_px);
        let again = eye.answer(generation).unwrap();
        assert_eq!((code(&again), again.pixels.width_px), (Some(70), width_px));
    }
    eye.expect(5, (320, 180));
}

/// Requests that come faster than frames: the last one is answered, and old ones only before it.
#[test]
fn the_newest_request_counts() {
    let folder = tempfile::tempdir().unwrap();
    let options = FootageOptions { sound: false, gop: 250, ..FootageOptions::default() };
    let file = write(&folder.path().join("film.mp4"), 10.0, options);
    let mut eye = Eye::open(&[file], 64 << 20, None);
    let mut chance = ChaCha8Rng::seed_from_u64(11);
    for _ in 0..5 {
        let numbers: Vec<usize> = (0..200).map(|_| chance.random_range(0..250)).collect();
        let mut generation = 0;
        for number in &numbers {
            generation = eye.viewer.show(eye.index.place(*number).unwrap());
        }
        let frame = eye.answer(generation).unwrap();
        assert_eq!(code(&frame), u32::try_from(numbers[199]).ok());
    }
}

#[test]
fn a_dropped_viewer_ends_its_worker() {
    let folder = tempfile::tempdir().unwrap();
    let options = FootageOptions { sound: false, gop: 250, ..FootageOptions::default() };
    let file = write(&folder.path().join("film.mp4"), 10.0, options);
    for wanted_s in [0.0, 9.9] {
        let Eye { mut viewer, events, .. } = Eye::open(std::slice::from_ref(&file), 64 << 20, None);
        // In the middle of a search, or of nothing to do.
        viewer.show(FootagePlace { chapter: 0, at: VideoTime::from_seconds(wanted_s) });
        drop(viewer);
        // The sender lives on the worker: the channel closes when the thread is done.
        while let Ok(event) = events.recv_timeout(PATIENCE) {
            assert!(matches!(event, ViewerEvent::Shown(_)));
        }
        assert_eq!(events.recv_timeout(PATIENCE).err(), Some(RecvTimeoutError::Disconnected));
    }
}

#[test]
fn a_recording_without_files_is_empty() {
    media::init().unwrap();
    let mut eye = Eye::open(&[], 1 << 20, None);
    assert_eq!(eye.index.frames(), 0);
    eye.viewer.show(FootagePlace { chapter: 0, at: VideoTime(0) });
}
