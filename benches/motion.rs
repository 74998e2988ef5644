//! How fast footage is looked through for its motion, against `ffmpeg` decoding and scaling the same frames to grey, in
//! the same run. Goal: 0.8 of that rate. Also how long an hour of 1080p30 would take to be aligned. Run: `make bench`.

#![allow(clippy::print_stdout, clippy::disallowed_methods, clippy::unwrap_used, reason = "a bench measures and tells")]

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use cornerbook::job::Context;
use cornerbook::media::MotionReader;
use cornerbook::session::VideoTime;

/// Length of the film, s, and its frames a second.
const LENGTH_S: u32 = 20;
const RATE_HZ: u32 = 30;
/// Seconds that an hour's alignment reads at most before it gives up, and in the usual case.
const USUAL_S: f64 = 240.0;
const ROUNDS: usize = 3;

fn main() {
    let folder = tempfile::tempdir().unwrap();
    let film = make_film(folder.path());
    let frames = f64::from(LENGTH_S * RATE_HZ);
    let best = |run: &dyn Fn()| {
        let once = || {
            let start = Instant::now();
            run();
            start.elapsed().as_secs_f64()
        };
        (0..ROUNDS).map(|_| once()).fold(f64::INFINITY, f64::min)
    };
    let ffmpeg_s = best(&|| decode_with_ffmpeg(&film));
    let ours_s = best(&|| {
        let mut reader = MotionReader::open(&film).unwrap();
        let seen = reader.read(VideoTime(0), VideoTime::from_seconds(1e4), &Context::new(), |_| {}).unwrap();
        assert!(seen.len() > 500, "{} pairs of frames", seen.len());
    });
    println!(
        "motion: {:.0} frames a second of 1080p; ffmpeg to small and grey: {:.0}",
        frames / ours_s,
        frames / ffmpeg_s
    );
    println!("motion: {:.2} of the rate of ffmpeg (goal: 0.8)", ffmpeg_s / ours_s);
    let usual_s = USUAL_S * f64::from(RATE_HZ) / (frames / ours_s);
    println!(
        "motion: {usual_s:.0} s for the {USUAL_S:.0} s that an hour's alignment usually reads (goal: an hour in 60 s)"
    );
}

/// The sample's footage at the size of a camera's.
fn make_film(folder: &Path) -> PathBuf {
    let film = folder.join("film.mp4");
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/driver-a.mp4");
    let made = Command::new("ffmpeg")
        .args(["-v", "error", "-i"])
        .arg(sample)
        .args(["-t", &LENGTH_S.to_string(), "-r", &RATE_HZ.to_string(), "-an"])
        .args(["-vf", "scale=1920:1080,noise=alls=12:allf=t", "-c:v", "libx264", "-preset", "veryfast", "-b:v", "16M"])
        .arg(&film)
        .status()
        .unwrap();
    assert!(made.success());
    film
}

fn decode_with_ffmpeg(film: &Path) {
    let done = Command::new("ffmpeg")
        .args(["-v", "error", "-i"])
        .arg(film)
        .args(["-vf", "scale=160:90,format=gray", "-f", "rawvideo", "-y", "/dev/null"])
        .status()
        .unwrap();
    assert!(done.success());
}
