//! Clips, re-opened: what they show, how long, with what sound.

use std::path::Path;

use cornerbook::files::Overwrite;
use cornerbook::job::Context;
use cornerbook::media;
use cornerbook::reel::{Chapter, ClipOptions, ClipPlan, clip_plan};

use super::made::{self, Recipe};
use crate::support::shared_data;

/// Colours of the lit signs of turn-in, apex and exit.
const SIGNS: [[u8; 3]; 3] = [[0x56, 0xb4, 0xe9], [0xf0, 0xe4, 0x42], [0xf0, 0x7f, 0x45]];
/// Log time of presentation time 0 in these tests, s.
const ZERO_S: f64 = 9.0;
/// Log times of the marks, between frames of 30 a second, s.
const MARKS_S: [f64; 3] = [12.013, 13.52, 15.101];
const FRAME_S: f64 = 1.0 / 30.0;

fn plan(chapters: &[Chapter], options: &ClipOptions) -> ClipPlan {
    let analysis = made::analysis(MARKS_S[0], MARKS_S[1], MARKS_S[2]);
    clip_plan(&analysis, 1, 1, chapters, options).unwrap()
}

fn render(plan: &ClipPlan, out: &Path) -> media::RenderedFilm {
    media::render_clip(plan, out, Overwrite::Refuse, &Context::new()).unwrap()
}

/// Number of the frame on show at a presentation time, at 30 frames a second.
fn on_show(at_s: f64) -> usize {
    (at_s / FRAME_S + 1e-6).floor() as usize
}

#[test]
fn a_clip_shows_exactly_the_frames_of_its_stretch_with_sound_in_step() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["source.mp4", "source.webm"] {
        let source = folder.path().join(name);
        if !made::can_write(&source) {
            continue;
        }
        // The tone begins with frame 120 and ends with frame 150.
        let recipe = Recipe { tone_s: Some((4.0, 5.0)), has_location: true, ..Recipe::steady(300, 30) };
        made::footage(&source, &recipe);
        let probed = media::probe(&source).unwrap();
        assert_eq!((probed.width_px, probed.height_px, probed.rate_hz), (640, 360, Some(30.0)));
        assert!(probed.audio.is_some() && (probed.duration_s() - 10.0).abs() < 0.002, "{probed:?}");

        let plan = plan(&[made::chapter(&source, ZERO_S)], &ClipOptions::default());
        let out = folder.path().join(format!("clip-{name}"));
        let clip = render(&plan, &out);
        let film_s = MARKS_S[2] - MARKS_S[0] + 4.0;
        assert!((clip.film_s - film_s).abs() < 1e-6);

        let shown = made::numbers(&out);
        let (first, last) = (on_show(MARKS_S[0] - 2.0 - ZERO_S), on_show(MARKS_S[2] + 2.0 - ZERO_S));
        let expected: Vec<usize> = (first..=last).collect();
        assert_eq!(shown.iter().map(|it| it.1).collect::<Vec<_>>(), expected, "{name}");
        assert_eq!(clip.frames, expected.len() as u64);
        // The first frame is on show from the film's beginning, each other one from its own time.
        assert_eq!(shown[0].0, 0.0);
        let begin_s = MARKS_S[0] - 2.0 - ZERO_S;
        // WebM counts in milliseconds, our MP4 in 1/90000 s.
        let tick_s = if name.ends_with("webm") { 1.1e-3 } else { 1.0 / 90_000.0 };
        for (at_s, number) in &shown[1..] {
            let wanted_s = *number as f64 * FRAME_S - begin_s;
            assert!((at_s - wanted_s).abs() < tick_s, "{name}: frame {number} at {at_s}, wanted {wanted_s}");
        }

        let probed = media::probe(&out).unwrap();
        assert_eq!((probed.width_px, probed.height_px), (640, 360));
        // WebM does not say how long its last frame lasts.
        let end_tick_s = if name.ends_with("webm") { FRAME_S } else { 0.001 };
        assert!((probed.duration_s() - film_s).abs() < end_tick_s, "{name}: {} {film_s}", probed.duration_s());
        let loud = |path: &Path| -> Vec<f64> {
            made::sound(path).iter().filter(|it| it.1.abs() > 0.1).map(|it| it.0).collect()
        };
        // The source's own encoder brings the tone a little late: the clip has to keep it where the source has it.
        let (before, loud) = (loud(&source), loud(&out));
        for (in_source_s, in_clip_s) in [(before[0], loud[0]), (before[before.len() - 1], loud[loud.len() - 1])] {
            let off_s = in_clip_s - (in_source_s - begin_s);
            assert!(off_s.abs() < 0.002, "{name}: tone at {in_source_s} s in the source is off by {off_s} s");
        }
        assert!(loud.len() > 30_000);
    }
}

#[test]
fn a_location_is_not_carried_over() {
    let folder = tempfile::tempdir().unwrap();
    let (source, out) = (folder.path().join("source.mp4"), folder.path().join("clip.mp4"));
    if !made::can_write(&source) {
        return;
    }
    made::footage(&source, &Recipe { has_location: true, ..Recipe::steady(300, 30) });
    // Cameras write ISO 6709 text into a box of its own, GStreamer writes EXIF names into an XMP packet.
    let names: [&[u8]; 4] = [b"\xa9xyz", b"loci", b"GPSLatitude", b"GPSLongitude"];
    let has_location = |path: &Path| {
        let bytes = std::fs::read(path).unwrap();
        names.iter().any(|name| bytes.windows(name.len()).any(|it| it == *name))
    };
    assert!(has_location(&source), "the source of this test has to carry a location");
    render(&plan(&[made::chapter(&source, ZERO_S)], &ClipOptions::default()), &out);
    assert!(!has_location(&out));
    assert!(std::fs::read(&out).unwrap().windows(9).any(|it| it == b"T1, lap 1"));
}

#[test]
fn marks_light_on_the_frame_where_they_fall() {
    let folder = tempfile::tempdir().unwrap();
    let (source, out) = (folder.path().join("source.mp4"), folder.path().join("clip.mp4"));
    if !made::can_write(&source) {
        return;
    }
    made::footage(&source, &Recipe::steady(300, 30));
    // The apex falls exactly on the beginning of a frame: it lights on that one, not on the one before.
    let marks_s = [MARKS_S[0], ZERO_S + 135.0 * FRAME_S, MARKS_S[2]];
    let analysis = made::analysis(marks_s[0], marks_s[1], marks_s[2]);
    let plan = clip_plan(&analysis, 1, 1, &[made::chapter(&source, ZERO_S)], &ClipOptions::default()).unwrap();
    render(&plan, &out);
    let frames = made::frames(&out);
    for (colour, mark_s) in SIGNS.into_iter().zip(marks_s) {
        let lit = frames.iter().find(|it| made::pixels_like(it, colour) > 12).map(made::number_of);
        assert_eq!(lit, Some(on_show(mark_s - ZERO_S)), "mark at {mark_s}");
    }
    let last = frames.last().unwrap();
    assert!(SIGNS.iter().all(|it| made::pixels_like(last, *it) > 12));
}

#[test]
fn slow_stretches_and_stills_take_their_time_and_lose_no_frame() {
    let folder = tempfile::tempdir().unwrap();
    let source = folder.path().join("source.mp4");
    if !made::can_write(&source) {
        return;
    }
    made::footage(&source, &Recipe { tone_s: Some((0.0, 10.0)), ..Recipe::steady(300, 30) });
    let chapters = [made::chapter(&source, ZERO_S)];
    let pass_s = MARKS_S[2] - MARKS_S[0];
    let (first, last) = (on_show(MARKS_S[0] - 2.0 - ZERO_S), on_show(MARKS_S[2] + 2.0 - ZERO_S));

    let slow_out = folder.path().join("slow.mp4");
    let slow = render(&plan(&chapters, &ClipOptions { slow: 0.5, ..ClipOptions::default() }), &slow_out);
    assert!((slow.film_s - (2.0 * pass_s + 4.0)).abs() < 1e-6);
    let shown = made::numbers(&slow_out);
    assert_eq!(shown.iter().map(|it| it.1).collect::<Vec<_>>(), (first..=last).collect::<Vec<_>>());
    for (at_s, number) in &shown[1..] {
        let source_s = *number as f64 * FRAME_S + ZERO_S - (MARKS_S[0] - 2.0);
        let wanted_s = source_s + (source_s - 2.0).clamp(0.0, pass_s);
        assert!((at_s - wanted_s).abs() < 2e-5, "frame {number} at {at_s}, wanted {wanted_s}");
    }
    // The tone goes on in the slow stretch, at its pitch: rising zero crossings a second.
    let middle: Vec<f32> = made::sound(&slow_out).iter().filter(|it| it.0 > 3.0 && it.0 < 6.0).map(|it| it.1).collect();
    let rises = middle.windows(2).filter(|it| it[0] < 0.0 && it[1] >= 0.0).count();
    assert!((2950..=3050).contains(&rises), "{rises} crossings in 3 s of 1 kHz");

    let hold_out = folder.path().join("hold.mp4");
    let hold = render(&plan(&chapters, &ClipOptions { hold_s: 1.0, ..ClipOptions::default() }), &hold_out);
    assert!((hold.film_s - (pass_s + 7.0)).abs() < 1e-6);
    let shown = made::numbers(&hold_out);
    let mut expected: Vec<usize> = (first..=last).collect();
    for mark_s in MARKS_S {
        let still = on_show(mark_s - ZERO_S);
        let at = expected.iter().position(|it| *it == still).unwrap();
        expected.splice(at..at, [still; 30]);
    }
    assert_eq!(shown.iter().map(|it| it.1).collect::<Vec<_>>(), expected);
    assert!(shown.windows(2).all(|it| it[0].0 < it[1].0));
    // Turn-in is 2 s into the film: silence for the second that follows, then the tone again.
    let loudest = |from_s: f64, until_s: f64| {
        let within =
            made::sound(&hold_out).into_iter().filter(|it| it.0 > from_s && it.0 < until_s).map(|it| it.1.abs());
        within.fold(0.0f32, f32::max)
    };
    assert!(loudest(2.05, 2.95) < 0.02 && loudest(1.0, 1.9) > 0.4 && loudest(3.1, 3.9) > 0.4);
}

#[test]
fn a_clip_goes_on_across_two_chapters() {
    let folder = tempfile::tempdir().unwrap();
    let (one, two) = (folder.path().join("one.mp4"), folder.path().join("two.mp4"));
    if !made::can_write(&one) {
        return;
    }
    made::footage(&one, &Recipe { tone_s: Some((0.0, 5.0)), ..Recipe::steady(150, 30) });
    made::footage(&two, &Recipe { tone_s: Some((0.0, 5.0)), first_number: 150, ..Recipe::steady(150, 30) });
    let chapters = [made::chapter(&one, ZERO_S), made::chapter(&two, ZERO_S + 5.0)];
    let plan = plan(&chapters, &ClipOptions::default());
    assert_eq!(plan.cuts.len(), 2, "{:?}", plan.cuts);
    let out = folder.path().join("clip.mp4");
    render(&plan, &out);
    let (first, last) = (on_show(MARKS_S[0] - 2.0 - ZERO_S), on_show(MARKS_S[2] + 2.0 - ZERO_S));
    let shown = made::numbers(&out);
    assert_eq!(shown.iter().map(|it| it.1).collect::<Vec<_>>(), (first..=last).collect::<Vec<_>>());
    assert!(shown[1..].windows(2).all(|it| (it[1].0 - it[0].0 - FRAME_S).abs() < 1e-3), "{shown:?}");
    let join_s = 5.0 - (MARKS_S[0] - 2.0 - ZERO_S);
    // The source's encoder itself begins each chapter with 21 ms of silence, so two quiet hundredths are its own.
    let around: Vec<f32> =
        made::sound(&out).into_iter().filter(|it| (it.0 - join_s).abs() < 0.05).map(|it| it.1.abs()).collect();
    let quiet = around.chunks(480).filter(|it| it.iter().fold(0.0f32, |a, b| a.max(*b)) < 0.3).count();
    assert!(quiet <= 2, "a hole in the sound");
}

#[test]
fn variable_rates_keep_their_times() {
    let folder = tempfile::tempdir().unwrap();
    let source = folder.path().join("source.mp4");
    if !made::can_write(&source) {
        return;
    }
    // Steps of 20, 40, 60 ms in turn, on the muxer's clock of 90 kHz.
    let times_ns: Vec<u64> =
        (0..300).scan(0, |at, index| Some(std::mem::replace(at, *at + 20_000_000 * (1 + index % 3)))).collect();
    made::footage(&source, &Recipe { times_ns: times_ns.clone(), ..Recipe::default() });
    let out = folder.path().join("clip.mp4");
    render(&plan(&[made::chapter(&source, ZERO_S)], &ClipOptions::default()), &out);
    let begin_s = MARKS_S[0] - 2.0 - ZERO_S;
    let end_s = MARKS_S[2] + 2.0 - ZERO_S;
    let at_s = |number: usize| times_ns[number] as f64 * 1e-9;
    let first = (0..300).rfind(|it| at_s(*it) <= begin_s).unwrap();
    let last = (0..300).rfind(|it| at_s(*it) < end_s).unwrap();
    let shown = made::numbers(&out);
    assert_eq!(shown.iter().map(|it| it.1).collect::<Vec<_>>(), (first..=last).collect::<Vec<_>>());
    for (film_s, number) in &shown[1..] {
        assert!((film_s - (at_s(*number) - begin_s)).abs() < 2e-5, "frame {number} at {film_s}");
    }
}

#[test]
fn a_cancelled_clip_leaves_nothing_and_an_existing_one_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    let source = folder.path().join("source.mp4");
    if !made::can_write(&source) {
        return;
    }
    made::footage(&source, &Recipe::steady(300, 30));
    let plan = plan(&[made::chapter(&source, ZERO_S)], &ClipOptions::default());
    let outputs = tempfile::tempdir().unwrap();
    let out = outputs.path().join("clip.mp4");
    let context = Context::new();
    let canceller = context.clone();
    std::thread::scope(|scope| {
        let work = scope.spawn(|| media::render_clip(&plan, &out, Overwrite::Refuse, &context));
        while canceller.progress() < 0.2 && !work.is_finished() {
            std::thread::yield_now();
        }
        canceller.cancel();
        let stopped = work.join().unwrap();
        assert!(matches!(stopped, Err(media::Error::Cancelled(_))), "{stopped:?}");
    });
    assert_eq!(std::fs::read_dir(outputs.path()).unwrap().count(), 0);

    std::fs::write(&out, b"kept").unwrap();
    let refused = media::render_clip(&plan, &out, Overwrite::Refuse, &Context::new()).unwrap_err().to_string();
    assert!(
        refused.ends_with("clip.mp4: is there already; give another name, or --force to write over it"),
        "{refused}"
    );
    assert_eq!(std::fs::read(&out).unwrap(), b"kept");
}

#[test]
fn a_clip_from_the_motorway() {
    let Some(path) = shared_data("video-highway/solidWhiteRight.mp4") else { return };
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("clip.mp4");
    if !made::can_write(&out) {
        return;
    }
    let analysis = made::analysis(12.0, 13.5, 15.0);
    let options = ClipOptions { height_px: Some(360), ..ClipOptions::default() };
    let plan = clip_plan(&analysis, 1, 1, &[made::chapter(&path, ZERO_S)], &options).unwrap();
    let clip = render(&plan, &out);
    // 25 frames a second from 1.0 s to 8.0 s.
    assert_eq!((clip.frames, clip.width_px, clip.height_px), (175, 640, 360));
    let times = media::frame_times(&out).unwrap();
    assert_eq!(times.len(), 175);
    assert!(times.iter().enumerate().all(|(index, it)| (it.seconds() - index as f64 / 25.0).abs() < 2e-5));
    assert!(media::probe(&out).unwrap().audio.is_some());
}

/// Every profile that can be built here is, and is played back: frames, times, and sound as late as its table says.
#[test]
fn each_profile_is_written_and_played_back() {
    media::init().unwrap();
    let folder = tempfile::tempdir().unwrap();
    let is_ci = std::env::var("CI").as_deref() == Ok("true");
    for (index, profile) in media::encoders::all().into_iter().enumerate() {
        let name = format!("{}, {}, {}", profile.container.name, profile.video.name, profile.audio.name);
        if let Some((element, package)) = profile.missing() {
            println!("SKIPPED: {name}: {element} of {package} is not installed");
            // Debian does not ship this one: its licence is not free.
            assert!(!is_ci || element == "fdkaacenc", "{name}: {element} is missing");
            continue;
        }
        let path = folder.path().join(format!("{index}.{}", profile.container.extension));
        made::footage_by(profile, &path, &Recipe { tone_s: Some((1.0, 1.5)), ..Recipe::steady(60, 30) });
        let shown = made::numbers(&path);
        assert_eq!(shown.iter().map(|it| it.1).collect::<Vec<_>>(), (0..60).collect::<Vec<_>>(), "{name}");
        assert!(
            shown.iter().all(|(at_s, number)| (at_s - *number as f64 * FRAME_S).abs() < 1.1e-3),
            "{name}: {shown:?}"
        );
        let first_s = made::sound(&path).iter().find(|it| it.1.abs() > 0.1).unwrap().0;
        let delay_s = profile.audio.delay_samples as f64 / 48_000.0;
        assert!((first_s - 1.0 - delay_s).abs() < 0.005, "{name}: tone at {first_s} s, table says {delay_s} s late");
    }
}
