//! The sound of footage while it is played: at its pitch, from the place asked for, or silent with one sentence.

use std::path::PathBuf;
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use cornerbook::media::{self, Sound};
use cornerbook::session::VideoTime;
use gstreamer as gst;
use gstreamer::prelude::*;
use gstreamer_app as gst_app;

use super::made::{self, Recipe};

/// A worker that is silent for so long has stopped.
const PATIENCE: Duration = Duration::from_secs(60);
const WAIT: gst::ClockTime = gst::ClockTime::from_mseconds(1);

/// Ten seconds with a tone of 1 kHz from 4 s to 6 s.
fn film(folder: &std::path::Path) -> Option<PathBuf> {
    let path = folder.join("film.mp4");
    made::can_write(&path).then(|| {
        made::footage(&path, &Recipe { tone_s: Some((4.0, 6.0)), ..Recipe::steady(300, 30) });
        path
    })
}

/// A sound whose samples come into our hands as fast as they are taken, in one channel at 48 kHz.
fn caught(file: PathBuf) -> (Sound, gst_app::AppSink, Receiver<String>) {
    media::init().unwrap();
    let caps = gst::Caps::builder("audio/x-raw")
        .field("format", "F32LE")
        .field("rate", 48_000)
        .field("channels", 1)
        .field("layout", "interleaved")
        .build();
    let sink = gst_app::AppSink::builder().caps(&caps).sync(false).max_buffers(4).build();
    let (tell, notes) = channel();
    let element = sink.clone().upcast();
    let sound = Sound::open_into(file, move || Ok(element), move |sentence| tell.send(sentence).unwrap());
    (sound, sink, notes)
}

/// All samples from the place that has been ordered to the end.
fn samples(sink: &gst_app::AppSink, from: VideoTime) -> Vec<f32> {
    let mut values = Vec::new();
    for _ in 0..PATIENCE.as_millis() / WAIT.mseconds() as u128 {
        let Some(sample) = sink.try_pull_sample(WAIT) else {
            // Before its first sample a sink that has not started is at its end, too.
            if sink.is_eos() && !values.is_empty() {
                return values;
            }
            std::thread::yield_now();
            continue;
        };
        // What was ready before the order is not ours.
        let segment = sample.segment().unwrap().downcast_ref::<gst::ClockTime>().unwrap().clone();
        if segment.time() != Some(gst::ClockTime::from_nseconds(from.0.unsigned_abs())) {
            continue;
        }
        let map = sample.buffer().unwrap().map_readable().unwrap();
        values.extend(map.chunks_exact(4).map(|it| f32::from_le_bytes(it.try_into().unwrap())));
    }
    panic!("the sound does not end");
}

#[test]
fn sound_keeps_its_pitch_at_any_rate() {
    let folder = tempfile::tempdir().unwrap();
    let Some(film) = film(folder.path()) else { return };
    let from = VideoTime::from_seconds(3.5);
    for rate in [1.0, 0.5, 2.0] {
        let (mut sound, sink, _notes) = caught(film.clone());
        sound.play(from, rate);
        let values = samples(&sink, from);
        let length_s = values.len() as f64 / 48_000.0;
        assert!((length_s - 6.5 / rate).abs() < 0.3, "rate {rate}: {length_s} s");
        let loud: Vec<usize> = (0..values.len()).filter(|it| values[*it].abs() > 0.2).collect();
        let (begin_s, end_s) = (loud[0] as f64 / 48_000.0, loud[loud.len() - 1] as f64 / 48_000.0);
        assert!((begin_s - 0.5 / rate).abs() < 0.2, "rate {rate}: the tone begins at {begin_s} s");
        assert!((end_s - 2.5 / rate).abs() < 0.2, "rate {rate}: the tone ends at {end_s} s");
        let middle = &values[(loud[0] + loud[loud.len() - 1]) / 2..][..12_000];
        let rises = middle.windows(2).filter(|pair| pair[0] < 0.0 && pair[1] >= 0.0).count();
        assert!(rises.abs_diff(250) < 8, "rate {rate}: {} Hz", rises * 4);
    }
}

#[test]
fn the_position_is_known_while_it_plays() {
    let folder = tempfile::tempdir().unwrap();
    let Some(film) = film(folder.path()) else { return };
    let (mut sound, sink, _notes) = caught(film);
    assert_eq!(sound.position(), None);
    let from = VideoTime::from_seconds(2.0);
    sound.play(VideoTime::from_seconds(7.0), f64::NAN);
    sound.play(from, 1.0);
    // Time goes on as samples are taken: at the end, which a pull tells, ten seconds have been heard.
    samples(&sink, from);
    let position = std::iter::repeat_with(|| sound.position()).flatten().next().unwrap();
    assert!((position.seconds() - 10.0).abs() < 0.2, "{position:?}");
    sound.pause();
    assert_eq!(sound.position(), None);
    sound.set_volume(f64::NAN);
}

#[test]
fn what_has_no_sound_says_so_once_and_stays_silent() {
    let folder = tempfile::tempdir().unwrap();
    let mute = folder.path().join("mute.mp4");
    if !made::can_write(&mute) {
        return;
    }
    made::footage(&mute, &Recipe::steady(30, 30));
    for (file, words) in [(mute, "mute.mp4: has no sound track"), (folder.path().join("none.mp4"), "cannot be read")] {
        let (mut sound, _sink, notes) = caught(file);
        let note = notes.recv_timeout(PATIENCE).unwrap();
        assert!(note.contains(words) && !note.contains('\n'), "{note}");
        sound.play(VideoTime(0), 1.0);
        assert_eq!(sound.position(), None);
        // The only sender was used up: there can be no second note.
        assert!(notes.recv_timeout(PATIENCE).is_err());
    }
}

/// With whatever device this machine has, or none: it plays, or says one sentence; and dropping it frees everything.
#[test]
fn a_dropped_sound_ends_its_worker() {
    let folder = tempfile::tempdir().unwrap();
    let Some(film) = film(folder.path()) else { return };
    let (tell, notes) = channel();
    let mut sound = Sound::open(film, move |sentence| tell.send(sentence).unwrap());
    sound.play(VideoTime(0), 1.0);
    drop(sound);
    let told: Vec<String> = std::iter::from_fn(|| notes.recv_timeout(PATIENCE).ok()).collect();
    assert!(told.len() <= 1 && told.iter().all(|it| it.contains("film.mp4: ")), "{told:?}");
}
