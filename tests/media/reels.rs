//! Reels, re-opened: every frame by its number, chapters, sound, sizes, two pictures by place, and what is left when
//! something fails.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;

use cornerbook::analysis::{Analysis, Inputs, TrackPlace};
use cornerbook::corners::Pass;
use cornerbook::files::Overwrite;
use cornerbook::geom::Point;
use cornerbook::job::Context;
use cornerbook::media::{self, Target, encoders};
use cornerbook::reel::{
    BesideLayout, Card, CardRow, Chapter, ClipOptions, ClipPiece, ClipPlan, Compared, FilmPlan, FilmShape, Piece,
    SoundPlan, clip_plan, web_vtt,
};
use cornerbook::sample::{Circuit, Driver, LoggerNoise, log_samples, simulate};
use cornerbook::session::{ClockMap, PathState, VideoTime};

use super::made::{self, Recipe};
use crate::support::web_vtt::cues;

const ZERO_S: f64 = 9.0;
const MARKS_S: [f64; 3] = [12.013, 13.52, 15.101];
const FRAME_S: f64 = 1.0 / 30.0;
const HOSTILE: &str = "<b>\"T1\"</b> & 'co' 🏁 كارتينغ \u{202e}\u{0}\n00:01.000 --> 00:09.000\n";

fn chapter_of(folder: &Path, recipe: &Recipe) -> Option<Chapter> {
    let source = folder.join("source.mp4");
    made::can_write(&source).then(|| {
        made::footage(&source, recipe);
        made::chapter(&source, ZERO_S)
    })
}

fn clip(chapter: &Chapter, options: &ClipOptions) -> ClipPlan {
    let analysis = made::analysis(MARKS_S[0], MARKS_S[1], MARKS_S[2]);
    clip_plan(&analysis, 1, 1, std::slice::from_ref(chapter), options).unwrap()
}

fn piece(plan: ClipPlan) -> Piece {
    Piece::Clip(Box::new(ClipPiece { plan, chosen: None, caption: vec!["Exit 61.2 ±0.4 km/h".to_owned()] }))
}

fn card(heading: &str, seconds: f64) -> Piece {
    let row = CardRow { name: heading.to_owned(), value: heading.to_owned(), apart: heading.to_owned() };
    Piece::Card(Card { heading: heading.to_owned(), under: heading.to_owned(), rows: vec![row], seconds })
}

fn film(pieces: Vec<Piece>) -> FilmPlan {
    let sound = SoundPlan::default();
    FilmPlan { title: HOSTILE.to_owned(), pieces, shape: FilmShape::AsFilmed, height_px: None, sound }
}

fn around(lead_s: f64, tail_s: f64, slow: f64) -> ClipOptions {
    ClipOptions { lead_s, tail_s, slow, ..ClipOptions::default() }
}

fn render(plan: &FilmPlan, out: &Path) -> media::RenderedFilm {
    let target = Target { out, overwrite: Overwrite::Refuse, export: None };
    media::render_film(plan, target, &Context::new(), &|_, _| {}).unwrap()
}

fn on_show(at_s: f64) -> usize {
    (at_s / FRAME_S + 1e-6).floor() as usize
}

/// Numbers of the frames that a clip shows.
fn numbers_of(lead_s: f64, tail_s: f64) -> Vec<usize> {
    (on_show(MARKS_S[0] - lead_s - ZERO_S)..=on_show(MARKS_S[2] + tail_s - ZERO_S)).collect()
}

fn ffprobe(path: &Path, what: &[&str]) -> serde_json::Value {
    let output = Command::new("ffprobe").args(["-v", "error", "-of", "json"]).args(what).arg(path).output().unwrap();
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn a_reel_shows_its_cards_and_exactly_the_frames_of_its_clips() {
    let folder = tempfile::tempdir().unwrap();
    let recipe = Recipe { tone_s: Some((0.0, 10.0)), ..Recipe::steady(300, 30) };
    let Some(chapter) = chapter_of(folder.path(), &recipe) else { return };
    let long = "long ".repeat(2000);
    let clips = [(1.0, 1.0, 1.0), (0.5, 0.2, 0.5), (2.0, 0.0, 1.0)];
    let mut pieces = vec![card(HOSTILE, 1.0)];
    for ((lead_s, tail_s, slow), heading) in clips.into_iter().zip([HOSTILE, long.as_str(), "T1"]) {
        pieces.push(card(heading, 0.5));
        pieces.push(piece(clip(&chapter, &around(lead_s, tail_s, slow))));
    }
    let plan = film(pieces);
    assert_eq!(plan.parts(), [0..3, 3..5, 5..7]);
    for name in ["reel.mp4", "reel.webm"] {
        let out = folder.path().join(name);
        if !made::can_write(&out) {
            continue;
        }
        let made_film = render(&plan, &out);
        assert!(made_film.has_chapters && made_film.audio.is_some());
        let mut expected = vec![0; 30];
        for (lead_s, tail_s, _) in clips {
            expected.extend(vec![0; 15]);
            expected.extend(numbers_of(lead_s, tail_s));
        }
        let shown = made::numbers(&out);
        assert_eq!(shown.iter().map(|it| it.1).collect::<Vec<_>>(), expected, "{name}");
        assert_eq!(made_film.frames, expected.len() as u64);
        assert!(shown.windows(2).all(|it| it[1].0 > it[0].0));

        let probed = media::probe(&out).unwrap();
        let tick_s = if name.ends_with("webm") { 2.0 * FRAME_S } else { 0.002 };
        assert!((probed.duration_s() - plan.film_s()).abs() < tick_s, "{name}: {}", probed.duration_s());
        assert_eq!((probed.width_px, probed.height_px), (640, 360));
        let chapters = ffprobe(&out, &["-show_chapters", "-show_streams"]);
        assert_eq!(chapters["streams"].as_array().unwrap().len(), 2);
        let chapters = chapters["chapters"].as_array().unwrap().clone();
        let wanted = plan.chapters();
        assert_eq!(chapters.len(), 4, "{name}: {chapters:?}");
        for (seen, wanted) in chapters.iter().zip(&wanted) {
            let from_s: f64 = seen["start_time"].as_str().unwrap().parse().unwrap();
            assert!((from_s - wanted.from_s).abs() < 0.002, "{name}: {seen} {wanted:?}");
        }
        assert_eq!(chapters[1]["tags"]["title"], "T1, lap 1");

        // Cards are silent, and each clip's tone begins and ends with its pictures: nothing drifts.
        let sound = made::sound(&out);
        let is_loud = |it: &(f64, f32)| it.1.abs() > 0.1;
        for (begin_s, piece) in plan.timed() {
            let inside = sound.iter().filter(|it| it.0 > begin_s + 0.01 && it.0 < begin_s + piece.film_s() - 0.01);
            let loud: Vec<f64> = inside.filter(|it| is_loud(it)).map(|it| it.0).collect();
            match piece {
                Piece::Card(_) => assert!(loud.is_empty(), "{name}: a card sounds at {:?}", loud.first()),
                Piece::Clip(_) => {
                    let (first_s, last_s) = (loud[0], loud[loud.len() - 1]);
                    assert!((first_s - begin_s).abs() < 0.02, "{name}: {first_s} {begin_s}");
                    assert!((last_s - begin_s - piece.film_s()).abs() < 0.02, "{name}: {last_s} {begin_s}");
                }
            }
        }
    }
    let vtt = web_vtt(&plan);
    let read = cues(&vtt).unwrap();
    // A card's words are said over the beginning of its clip as well.
    assert_eq!(read.len(), 7, "{vtt}");
    assert!((read[0].1 - 1.0).abs() < 1e-3 && read[6].2.contains(&"T1, lap 1".to_owned()));
}

#[test]
fn a_muted_reel_has_no_sound_and_single_films_no_chapters() {
    let folder = tempfile::tempdir().unwrap();
    let recipe = Recipe { tone_s: Some((0.0, 5.0)), ..Recipe::steady(300, 30) };
    let Some(chapter) = chapter_of(folder.path(), &recipe) else { return };
    let mut plan = film(vec![piece(clip(&chapter, &around(0.1, 0.1, 1.0)))]);
    plan.sound.is_muted = true;
    let out = folder.path().join("mute.mp4");
    render(&plan, &out);
    let probed = ffprobe(&out, &["-show_chapters", "-show_streams"]);
    assert_eq!((probed["streams"].as_array().unwrap().len(), probed["chapters"].as_array().unwrap().len()), (1, 0));
}

/// Each profile is written and played back: frames, size, and what it promises.
#[test]
fn every_profile_keeps_its_promise() {
    let folder = tempfile::tempdir().unwrap();
    let recipe = Recipe { tone_s: Some((0.0, 10.0)), ..Recipe::steady(300, 30) };
    let Some(chapter) = chapter_of(folder.path(), &recipe) else { return };
    let mut plan = film(vec![card("T1", 0.2), piece(clip(&chapter, &around(0.2, 0.1, 1.0)))]);
    plan.height_px = Some(1080);
    for export in encoders::exports() {
        let out = folder.path().join(format!("{}.{}", export.name, export.extension));
        if !made::can_write(&out) {
            continue;
        }
        let target = Target { out: &out, overwrite: Overwrite::Refuse, export: Some(export) };
        media::render_film(&plan, target, &Context::new(), &|_, _| {}).unwrap();
        let expected: Vec<usize> = [vec![0; 6], numbers_of(0.2, 0.1)].concat();
        assert_eq!(made::numbers(&out).iter().map(|it| it.1).collect::<Vec<_>>(), expected, "{}", export.name);
        let probed = media::probe(&out).unwrap();
        let lines = export.most_lines.unwrap_or(1080).min(1080);
        assert_eq!((probed.width_px, probed.height_px), (lines * 16 / 9, lines), "{}", export.name);
        assert!(probed.audio.is_some());
        if export.name == "editing" {
            let packets = ffprobe(&out, &["-select_streams", "v", "-show_entries", "packet=flags"]);
            let packets = packets["packets"].as_array().unwrap().clone();
            assert!(packets.iter().all(|it| it["flags"].as_str().unwrap().starts_with('K')), "{packets:?}");
        }
        let other = Target { out: Path::new("x.avi"), ..target };
        assert!(media::render_film(&plan, other, &Context::new(), &|_, _| {}).is_err());
    }
    let webm = encoders::exports().iter().find(|it| it.name == "webm").unwrap();
    let target = Target { out: Path::new("x.mp4"), overwrite: Overwrite::Refuse, export: Some(webm) };
    let refused = media::render_film(&plan, target, &Context::new(), &|_, _| {}).unwrap_err().to_string();
    assert_eq!(refused, "x.mp4: the profile webm makes .webm files; end the name in .webm");
}

#[test]
fn an_upright_film_is_the_middle_of_the_picture_with_a_whole_overlay() {
    let folder = tempfile::tempdir().unwrap();
    let Some(chapter) = chapter_of(folder.path(), &Recipe::steady(300, 30)) else { return };
    let mut plan = film(vec![card("T1", 0.2), piece(clip(&chapter, &around(0.2, 0.1, 1.0)))]);
    (plan.shape, plan.height_px) = (FilmShape::Upright, Some(640));
    let out = folder.path().join("upright.mp4");
    render(&plan, &out);
    let frames = made::frames(&out);
    assert_eq!((frames[0].info.width(), frames[0].info.height()), (360, 640));
    // The first block of the number lies in the part that is cut off, the plain grey of the middle is what is left.
    let last = frames.last().unwrap();
    assert_eq!(made::number_of(last), 0);
    let turn_in = [0x56, 0xb4, 0xe9];
    assert!(made::pixels_like(last, turn_in) > 12, "the marks are in the picture");
    keep_picture(last, "upright.png");
}

/// For people: a frame as it is, in `target/reel/`.
fn keep_picture(frame: &media::Frame, name: &str) {
    let (width, height) = (frame.info.width(), frame.info.height());
    let map = frame.buffer.map_readable().unwrap();
    let rows = map.chunks(frame.info.stride()[0] as usize).take(height as usize);
    let pixels: Vec<u8> = rows.flat_map(|row| row[..4 * width as usize].to_vec()).collect();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/reel");
    std::fs::create_dir_all(&folder).unwrap();
    image::RgbaImage::from_raw(width, height, pixels).unwrap().save(folder.join(name)).unwrap();
}

/// Lap 1 of 200 m at 10 m/s from log time 10 s, lap 2 at 16 m/s from 30 s, with one corner from 60 m to 100 m.
fn two_laps() -> Analysis {
    let mut analysis = made::analysis(MARKS_S[0], MARKS_S[1], MARKS_S[2]);
    let bare = analysis.path.states[0];
    (analysis.path.states, analysis.places) = (Vec::new(), Vec::new());
    for (lap, speed_mps, start_s) in [(1, 10.0, 10.0), (2, 16.0, 30.0)] {
        for step in 0..(200.0 / speed_mps * 25.0) as u32 {
            let t_s = start_s + f64::from(step) * 0.04;
            let distance_m = (t_s - start_s) * speed_mps;
            analysis.path.states.push(PathState { t_s, speed_mps, x_m: distance_m, y_m: 0.0, ..bare });
            analysis.places.push(Some(TrackPlace { lap, distance_m, offset_m: 0.0 }));
        }
    }
    if let Some(reference) = &mut analysis.reference {
        reference.length_m = 200.0;
    }
    let pass = |lap: u32, speed_mps: f64, start_s: f64| {
        let mut pass: Pass = analysis.passes[0].clone();
        pass.lap = lap;
        let at_s = |distance_m: f64| start_s + distance_m / speed_mps;
        let mark = |mut mark: cornerbook::corners::Mark, distance_m: f64| {
            mark.t_s.value = at_s(distance_m);
            mark
        };
        pass.turn_in = pass.turn_in.map(|it| mark(it, 60.0));
        pass.exit = pass.exit.map(|it| mark(it, 100.0));
        pass.apex = pass.apex.map(|mut it| {
            it.mark = mark(it.mark, 80.0);
            it
        });
        (pass.entry_gate_t_s, pass.exit_gate_t_s) = (Some(at_s(55.0)), Some(at_s(105.0)));
        pass
    };
    analysis.passes = vec![pass(1, 10.0, 10.0), pass(2, 16.0, 30.0)];
    analysis
}

/// The number in a part of a picture.
fn number_in(frame: &media::Frame, (left, top, width, height): (u32, u32, u32, u32)) -> usize {
    let map = frame.buffer.map_readable().unwrap();
    let stride = frame.info.stride()[0] as usize;
    let is_white = |bit: usize| {
        let x = left as usize + (bit * 16 + 8) * width as usize / made::WIDTH;
        let y = top as usize + 8 * height as usize / made::HEIGHT;
        map[y * stride + 4 * x] > 128
    };
    (0..12).filter(|it| is_white(*it)).map(|it| 1 << it).sum()
}

/// A drive on the sample's circuit, filmed from its first moment to its last.
fn driven(driver: &Driver, seed: u64) -> (Analysis, Chapter) {
    let circuit = Circuit::saltpan();
    let samples = Arc::new(log_samples(&simulate(&circuit, driver, 3, seed), &LoggerNoise::default(), seed));
    let track = cornerbook::track::file::parse("track.geojson", circuit.geojson().as_bytes()).unwrap().0;
    let end = VideoTime::from_seconds(samples.duration_s());
    let inputs = Inputs { samples, track: Some(track), marked_crossing_s: None, edits: Vec::new() };
    let chapter = Chapter {
        file: "film.mp4".into(),
        clock: ClockMap { log_t_s_at_zero: 0.0, rate_ppm: 0.0 },
        start: VideoTime(0),
        end,
    };
    (cornerbook::analysis::run(&inputs, &Context::new()).unwrap(), chapter)
}

#[test]
fn passes_of_two_sessions_are_locked_by_place() {
    let ((a, film_a), (b, film_b)) = (driven(&Driver::a(), 1), driven(&Driver::b(), 2));
    let options = around(2.0, 2.0, 1.0);
    for corner in [1, 3, 6] {
        let here = Compared { analysis: &a, driver: None, lap: 1, corner };
        let there = Compared { analysis: &b, driver: Some("K. <Second>"), lap: 2, corner };
        let plan = clip_plan(&a, 1, corner, std::slice::from_ref(&film_a), &options).unwrap();
        let second = clip_plan(&b, 2, corner, std::slice::from_ref(&film_b), &options).unwrap();
        let (from_s, until_s) = plan.shown_s();
        let plan = plan.with_beside(second, here, there, BesideLayout::Beside, options.speed_unit).unwrap();
        let beside = plan.beside.unwrap();
        for step in 0..=20 {
            let here_s = from_s + (until_s - from_s) * f64::from(step) / 20.0;
            let (one, other) = (a.path.at(here_s).unwrap(), b.path.at(beside.there_s(here_s)).unwrap());
            let other = b.plane.unwrap().to_degrees(Point { x_m: other.x_m, y_m: other.y_m });
            let other = a.plane.unwrap().to_plane(other.0, other.1);
            // Across the track the two lines may lie anywhere; along it they are level.
            let (east_m, north_m) = (other.x_m - one.x_m, other.y_m - one.y_m);
            let ahead_m = east_m * one.heading_rad.cos() + north_m * one.heading_rad.sin();
            assert!(
                east_m.hypot(north_m) < 9.0 && ahead_m.abs() < 3.0,
                "corner {corner}, {here_s}: {east_m} {north_m}"
            );
        }
        let words = beside.words(from_s);
        assert_eq!((words.first[0].as_str(), words.second[0].as_str()), ("Lap 1", "K. <Second>, lap 2"));
    }
}

#[test]
fn two_passes_are_locked_by_place_in_every_layout() {
    let folder = tempfile::tempdir().unwrap();
    let source = folder.path().join("source.mp4");
    if !made::can_write(&source) {
        return;
    }
    made::footage(&source, &Recipe::steady(1050, 30));
    // Log time 10 s is presentation time 0.
    let chapters = [made::chapter(&source, 10.0)];
    let analysis = two_laps();
    let options = around(1.0, 1.0, 1.0);
    let plan = |layout| {
        let plan = clip_plan(&analysis, 1, 1, &chapters, &options).unwrap();
        let second = clip_plan(&analysis, 2, 1, &chapters, &options).unwrap();
        let side = |lap| Compared { analysis: &analysis, driver: None, lap, corner: 1 };
        film(vec![piece(plan.with_beside(second, side(1), side(2), layout, options.speed_unit).unwrap())])
    };
    for (layout, name) in
        [(BesideLayout::Beside, "beside"), (BesideLayout::Stacked, "stacked"), (BesideLayout::Inset, "inset")]
    {
        let out = folder.path().join(format!("{name}.mp4"));
        let rendered = render(&plan(layout), &out);
        let arrangement = cornerbook::draw::Arrangement::new(layout, 640, 360);
        assert_eq!((rendered.width_px, rendered.height_px), arrangement.size_px);
        let frames = made::frames(&out);
        // From 5 s to 11 s of the footage.
        assert_eq!(frames.len(), 180, "{name}");
        for (index, frame) in frames.iter().enumerate() {
            let here = 150 + index;
            if layout != BesideLayout::Inset {
                assert_eq!(number_in(frame, arrangement.first), here, "{name}");
            }
            // 10 m/s against 16 m/s: the same metres into the lap, 20 s later in the footage.
            let wanted_s = 20.0 + here as f64 * FRAME_S * 10.0 / 16.0;
            let there = number_in(frame, arrangement.second) as f64;
            let ahead = wanted_s / FRAME_S - there;
            assert!((-0.01..1.01).contains(&ahead), "{name}: frame {here} beside {there}, wanted {wanted_s} s");
        }
        keep_picture(&frames[120], &format!("{name}.png"));
    }
    let words = plan(BesideLayout::Beside);
    let beside = words.clips().next().unwrap().plan.beside.clone().unwrap();
    // 25 m behind the entry gate: 2.5 s against 1.5625 s.
    let at_apex = beside.words(18.0);
    assert_eq!((at_apex.later.as_str(), at_apex.first[0].as_str()), ("-0.94 s", "Lap 1"));
    assert_eq!(at_apex.second, ["Lap 2".to_owned(), "58 km/h".to_owned()]);
}

/// A file of speech: silence, then a tone of 400 Hz, then silence, as 16-bit WAV (RIFF) at 44.1 kHz, to be resampled.
fn narration(path: &Path, seconds: f64, speech_s: (f64, f64)) {
    let samples = (0..(seconds * 44_100.0) as u32).map(|index| {
        let t_s = f64::from(index) / 44_100.0;
        let is_speech = t_s >= speech_s.0 && t_s < speech_s.1;
        if is_speech { (3000.0 * (std::f64::consts::TAU * 400.0 * t_s).sin()) as i16 } else { 0 }
    });
    let data: Vec<u8> = samples.flat_map(i16::to_le_bytes).collect();
    let mut file = b"RIFF".to_vec();
    file.extend((36 + data.len() as u32).to_le_bytes());
    file.extend(b"WAVEfmt \x10\0\0\0\x01\0\x01\0");
    file.extend([44_100u32.to_le_bytes(), 88_200u32.to_le_bytes()].concat());
    file.extend(b"\x02\0\x10\0data");
    file.extend((data.len() as u32).to_le_bytes());
    file.extend(data);
    std::fs::write(path, file).unwrap();
}

/// How loud a tone is in a stretch of sound: the amplitude at its frequency.
fn tone(sound: &[(f64, f32)], hz: f64, from_s: f64, until_s: f64) -> f64 {
    let inside: Vec<&(f64, f32)> = sound.iter().filter(|it| it.0 >= from_s && it.0 < until_s).collect();
    let turn = |it: &&(f64, f32)| std::f64::consts::TAU * hz * it.0;
    let (sine, cosine) = inside.iter().fold((0.0, 0.0), |(sine, cosine), it| {
        (sine + f64::from(it.1) * turn(it).sin(), cosine + f64::from(it.1) * turn(it).cos())
    });
    2.0 * f64::hypot(sine, cosine) / inside.len() as f64
}

#[test]
fn clips_are_alike_and_give_way_to_speech() {
    let folder = tempfile::tempdir().unwrap();
    let recipe = Recipe { tone_s: Some((0.0, 10.0)), ..Recipe::steady(300, 30) };
    let Some(chapter) = chapter_of(folder.path(), &recipe) else { return };
    let spoken = folder.path().join("spoken \"1\".wav");
    narration(&spoken, 6.0, (2.0, 3.0));
    let clip_of = || piece(clip(&chapter, &around(0.2, 0.1, 1.0)));
    let mut plan = film(vec![clip_of(), clip_of()]);
    plan.sound = SoundPlan { is_muted: false, is_level: true, narration: Some(spoken) };
    let out = folder.path().join("spoken.mp4");
    render(&plan, &out);
    let sound = made::sound(&out);
    // A sine whose root mean square is 0.1.
    let level = 0.1 * std::f64::consts::SQRT_2;
    let kart = |from_s, until_s| tone(&sound, 1000.0, from_s, until_s);
    assert!((kart(0.5, 1.3) - level).abs() < 0.02, "{}", kart(0.5, 1.3));
    assert!((kart(2.1, 2.9) - 0.2 * level).abs() < 0.01, "{}", kart(2.1, 2.9));
    assert!((kart(4.2, 5.5) - level).abs() < 0.02, "{}", kart(4.2, 5.5));
    let speech = tone(&sound, 400.0, 2.1, 2.9);
    assert!((speech - 3000.0 / 32_768.0).abs() < 0.01 && tone(&sound, 400.0, 0.5, 1.5) < 0.005, "{speech}");
}

#[test]
fn footage_that_goes_half_way_leaves_one_sentence_and_no_film() {
    let folder = tempfile::tempdir().unwrap();
    let Some(chapter) = chapter_of(folder.path(), &Recipe::steady(300, 30)) else { return };
    let gone = folder.path().join("gone.mp4");
    std::fs::copy(&chapter.file, &gone).unwrap();
    let last = Chapter { file: gone.clone(), ..chapter.clone() };
    let options = around(0.1, 0.0, 1.0);
    // Far enough behind that its part is not begun while the first is made.
    let mut pieces: Vec<Piece> = (0..12).map(|_| piece(clip(&chapter, &options))).collect();
    pieces.push(piece(clip(&last, &options)));
    let outputs = tempfile::tempdir().unwrap();
    let out = outputs.path().join("reel.mp4");
    let target = Target { out: &out, overwrite: Overwrite::Refuse, export: None };
    let remove = |part: usize, _| {
        if part == 0 {
            let _ = std::fs::remove_file(&gone);
        }
    };
    let failed = media::render_film(&film(pieces), target, &Context::new(), &remove).unwrap_err().to_string();
    assert!(failed.starts_with(&format!("{}: cannot be read", gone.display())) && !failed.contains('\n'), "{failed}");
    assert_eq!(std::fs::read_dir(outputs.path()).unwrap().count(), 0);
}

#[test]
fn a_cancelled_reel_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let Some(chapter) = chapter_of(folder.path(), &Recipe::steady(300, 30)) else { return };
    let plan = film((0..6).map(|_| piece(clip(&chapter, &around(1.0, 1.0, 1.0)))).collect());
    let outputs = tempfile::tempdir().unwrap();
    let out = outputs.path().join("reel.mp4");
    let context = Context::new();
    let target = Target { out: &out, overwrite: Overwrite::Refuse, export: None };
    let stop = |part: usize, _| {
        if part == 3 {
            context.cancel();
        }
    };
    let stopped = media::render_film(&plan, target, &context, &stop);
    assert!(matches!(stopped, Err(media::Error::Cancelled(_))), "{stopped:?}");
    assert_eq!(std::fs::read_dir(outputs.path()).unwrap().count(), 0);
}

#[test]
fn a_still_is_the_frame_on_show_with_its_overlay() {
    let folder = tempfile::tempdir().unwrap();
    let Some(chapter) = chapter_of(folder.path(), &Recipe::steady(300, 30)) else { return };
    let plan = clip(&chapter, &ClipOptions::default());
    let (index, at): (usize, VideoTime) = plan.nearest_frame(MARKS_S[1]);
    let still = media::still(&plan, index, at).unwrap();
    assert_eq!((still.width, still.height), (640, 360));
    let bits = (0..12).filter(|bit| still.rgb[3 * (8 * 640 + bit * 16 + 8)] > 128).map(|it| 1 << it).sum::<usize>();
    assert_eq!(bits, on_show(MARKS_S[1] - ZERO_S));
    let lit = |colour: [u8; 3]| {
        let half = still.rgb.len() / 2;
        still.rgb[half..].chunks_exact(3).filter(|it| (0..3).all(|part| it[part].abs_diff(colour[part]) < 20)).count()
    };
    assert!(lit([0x56, 0xb4, 0xe9]) > 12 && lit([0xf0, 0xe4, 0x42]) > 12 && lit([0xf0, 0x7f, 0x45]) < 12);
    assert_eq!(still.clone().smaller(320).height, 180);
    assert_eq!(still.clone().smaller(1000).width, 640);
    let missing = Chapter { file: PathBuf::from("none.mp4"), ..chapter };
    assert!(media::still(&ClipPlan { chapters: vec![missing], ..plan }, 0, at).is_err());
}
