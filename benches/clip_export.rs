//! A clip at 1080p against `ffmpeg` decoding the same stretch, drawing text over it and encoding it with the same encoder
//! settings, in turn in the same run, and the same clip with drawings over it. Prints the times and their ratios; above 1
//! the clip is the faster. Then a reel of eight clips with their cards the same way, and the memory of a reel of fifty.

#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::disallowed_methods, reason = "a bench speaks and measures")]

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Instant;

use cornerbook::analysis::Analysis;
use cornerbook::book::{Book, Circle, Colour, Drawing, FileRef, FootageRef, FrameRef, Op, Recording, Shape, Share};
use cornerbook::corners::{Corner, Direction, Mark, Pass};
use cornerbook::files::Overwrite;
use cornerbook::geom::Point;
use cornerbook::geom::plane::Plane;
use cornerbook::job::Context;
use cornerbook::media::{self, Target};
use cornerbook::reel::{
    Card, CardRow, Chapter, ClipOptions, ClipPiece, ClipPlan, FilmPlan, FilmShape, Piece, SoundPlan, clip_plan,
};
use cornerbook::session::{self, ClockMap, Estimate, PathState, VideoTime};
use cornerbook::track::{ReferenceLine, ReferencePoint};

/// Length of the clip, s, and where in the footage it begins.
const CLIP_S: f64 = 12.0;
const FROM_S: f64 = 4.0;
/// From turn-in to exit in the clips of the reels, and how long their cards stand, s.
const REEL_PASS_S: f64 = 4.0;
const CARD_S: f64 = 2.5;
const RUNS: usize = 3;

fn main() {
    if Command::new("ffmpeg").arg("-version").stdout(Stdio::null()).stderr(Stdio::null()).status().is_err() {
        println!("SKIPPED: ffmpeg is not installed; install the Debian package ffmpeg");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let source = folder.path().join("source.mp4");
    make_source(&source);
    let plan = plan(&source);
    let drawn = plan.clone().with_drawings(&book(), &[Some(FootageRef::Chapter(0))]);
    let (mut ours_s, mut drawn_s, mut theirs_s) = (Vec::new(), Vec::new(), Vec::new());
    for run in 0..RUNS {
        let clip = folder.path().join(format!("clip{run}.mp4"));
        let begin = Instant::now();
        let rendered = media::render_clip(&plan, &clip, Overwrite::Refuse, &Context::new()).unwrap();
        ours_s.push(begin.elapsed().as_secs_f64());

        let begin = Instant::now();
        let out = folder.path().join(format!("drawn{run}.mp4"));
        media::render_clip(&drawn, &out, Overwrite::Refuse, &Context::new()).unwrap();
        drawn_s.push(begin.elapsed().as_secs_f64());

        let text = folder.path().join(format!("text{run}.mp4"));
        let begin = Instant::now();
        run_ffmpeg(&text_over(&source, &text));
        theirs_s.push(begin.elapsed().as_secs_f64());
        println!(
            "run {run}: clip {:.2} s ({} frames, {:.0} frames/s, {} kB), with drawings {:.2} s, ffmpeg {:.2} s ({} kB)",
            ours_s[run],
            rendered.frames,
            rendered.frames as f64 / ours_s[run],
            std::fs::metadata(&clip).unwrap().len() / 1000,
            drawn_s[run],
            theirs_s[run],
            std::fs::metadata(&text).unwrap().len() / 1000,
        );
    }
    let best = |times: &[f64]| times.iter().copied().fold(f64::INFINITY, f64::min);
    println!(
        "clip_export: 1080p30, {CLIP_S} s: ffmpeg/clip = {:.2} (best of {RUNS} each)",
        best(&theirs_s) / best(&ours_s)
    );
    println!("clip_export: clip/clip with drawings = {:.2}", best(&ours_s) / best(&drawn_s));
    reel_of_eight(folder.path(), &source);
    memory_of_fifty(folder.path(), &source);
}

/// A reel of so many clips, each with a card before it. The clips lie in different places of the source.
fn reel(source: &Path, clips: usize, lead_s: f64, card_s: f64) -> FilmPlan {
    let options = ClipOptions { lead_s, tail_s: lead_s, ..ClipOptions::default() };
    let pieces = (0..clips).flat_map(|index| {
        let plan = plan_of(source, reel_from_s(index), REEL_PASS_S, &options);
        let row = |name: &str, value: &str| CardRow {
            name: name.into(),
            value: value.into(),
            apart: "-1.8 ±0.5 km/h".into(),
        };
        let rows = vec![row("Exit gate speed", "71.0 ±0.4 km/h"), row("Minimum speed", "54.2 ±0.4 km/h")];
        let card = Card { heading: plan.title.clone(), under: "2nd of 7".to_owned(), rows, seconds: card_s };
        [Piece::Card(card), Piece::Clip(Box::new(ClipPiece { plan, chosen: None, caption: Vec::new() }))]
    });
    let sound = SoundPlan { is_level: true, ..SoundPlan::default() };
    FilmPlan { title: "Reel".to_owned(), pieces: pieces.collect(), shape: FilmShape::AsFilmed, height_px: None, sound }
}

fn reel_from_s(index: usize) -> f64 {
    1.0 + index as f64 % 8.0 * 1.3
}

fn render(plan: &FilmPlan, out: &Path) -> f64 {
    let begin = Instant::now();
    let target = Target { out, overwrite: Overwrite::Replace, export: None };
    media::render_film(plan, target, &Context::new(), &|_, _| {}).unwrap();
    begin.elapsed().as_secs_f64()
}

fn reel_of_eight(folder: &Path, source: &Path) {
    let plan = reel(source, 8, 1.0, CARD_S);
    let (ours, theirs) = (folder.join("reel.mp4"), folder.join("reel-ffmpeg.mp4"));
    let (mut ours_s, mut theirs_s) = (f64::INFINITY, f64::INFINITY);
    for run in 0..RUNS {
        let our_s = render(&plan, &ours);
        let begin = Instant::now();
        run_ffmpeg(&reel_by_ffmpeg(source, &theirs));
        let their_s = begin.elapsed().as_secs_f64();
        let size = |path: &Path| std::fs::metadata(path).unwrap().len() / 1000;
        println!("run {run}: reel {our_s:.2} s ({} kB), ffmpeg {their_s:.2} s ({} kB)", size(&ours), size(&theirs));
        (ours_s, theirs_s) = (ours_s.min(our_s), theirs_s.min(their_s));
    }
    println!(
        "clip_export: 1080p30, reel of 8 clips, {:.0} s: ffmpeg/reel = {:.2} (best of {RUNS} each)",
        plan.film_s(),
        theirs_s / ours_s
    );
}

/// The same cards, stretches, text, sound and encoder settings in one run of ffmpeg.
fn reel_by_ffmpeg(source: &Path, out: &Path) -> Vec<String> {
    let mut arguments: Vec<String> = Vec::new();
    let mut filter = String::new();
    let mut joined = String::new();
    let clip_s = REEL_PASS_S + 2.0;
    for index in 0..8 {
        let begin_s = reel_from_s(index) - 1.0;
        arguments.extend(["-ss".into(), begin_s.to_string(), "-t".into(), clip_s.to_string(), "-i".into()]);
        arguments.push(source.display().to_string());
        let text =
            |x: u32, y: u32, text: &str| format!("drawtext=text='{text}':x={x}:y={y}:fontsize=48:fontcolor=white");
        let card = [
            text(150, 400, "T1 Lap 1"),
            text(150, 480, "2nd of 7"),
            text(150, 560, "Exit gate speed 71.0"),
            text(150, 640, "Minimum speed 54.2"),
        ];
        filter.push_str(&format!(
            "color=c=0x0b0f14:s=1920x1080:r=30:d={CARD_S},format=yuv420p,setsar=1,{}[c{index}];             anullsrc=r=48000:cl=stereo,atrim=duration={CARD_S}[s{index}];             [{index}:v]setsar=1,{}[v{index}];[{index}:a]aformat=sample_rates=48000:channel_layouts=stereo[a{index}];",
            card.join(","),
            text_lines().join(",")
        ));
        joined.push_str(&format!("[c{index}][s{index}][v{index}][a{index}]"));
    }
    filter.push_str(&format!("{joined}concat=n=16:v=1:a=1[v][a]"));
    let words = |it: &[&str]| it.iter().map(|it| (*it).to_owned()).collect::<Vec<_>>();
    arguments.extend(words(&["-filter_complex", &filter, "-map", "[v]", "-map", "[a]"]));
    arguments.extend(encoder_settings());
    arguments.push(out.display().to_string());
    arguments
}

/// The most memory that this process has had, after a reel of fifty clips.
fn memory_of_fifty(folder: &Path, source: &Path) {
    let took_s = render(&reel(source, 50, 0.2, 0.5), &folder.join("fifty.mp4"));
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let most = status.lines().find_map(|it| it.strip_prefix("VmHWM:")).and_then(|it| it.split_whitespace().next());
    let most_mib = most.and_then(|it| it.parse::<f64>().ok()).unwrap_or(f64::NAN) / 1024.0;
    println!("clip_export: 1080p30, reel of 50 clips in {took_s:.0} s: {most_mib:.0} MiB at most");
}

/// A circle that nearly fills the picture, an arrow across it, and a text, on show all the time.
fn book() -> Book {
    let file = |name: &str| FileRef { path: name.into(), length_bytes: 0 };
    let at = |x: f64, y: f64| Share { x, y };
    let shapes = [
        Shape::Circle(Circle { centre: at(0.5, 0.5), radius: 0.45 }),
        Shape::Arrow { from: at(0.05, 0.95), to: at(0.95, 0.05) },
        Shape::Text { at: at(0.1, 0.1), size: 0.06, text: "look at the kerb".to_owned() },
    ];
    let mut book = Book::new(vec![file("run.csv")]);
    book.apply(Op::Recording(Recording { chapters: vec![file("source.mp4")], pins: Vec::new() })).unwrap();
    for shape in shapes {
        let on = FrameRef { footage: FootageRef::Chapter(0), at: VideoTime(0) };
        let drawing = Drawing { on, stays_s: 60.0, colour: Colour::hex(0xff_d400), width: 0.008, shape };
        book.apply(Op::Drawing(book.next_id, Some(drawing))).unwrap();
    }
    book
}

/// Twenty seconds of 1080p30 with noise, which keeps an encoder as busy as asphalt and grass do, and a tone.
fn make_source(path: &Path) {
    let pictures = "testsrc2=size=1920x1080:rate=30:duration=20,noise=alls=5:allf=t";
    let mut command = ffmpeg();
    command.args([
        "-f",
        "lavfi",
        "-i",
        pictures,
        "-f",
        "lavfi",
        "-i",
        "sine=frequency=440:sample_rate=48000:duration=20",
    ]);
    command.args(["-c:v", "libx264", "-preset", "veryfast", "-crf", "20", "-pix_fmt", "yuv420p", "-g", "60"]);
    command.args(["-c:a", "aac", "-ac", "2"]).arg(path);
    assert!(command.status().unwrap().success(), "ffmpeg cannot make the source");
}

fn ffmpeg() -> Command {
    let mut command = Command::new("ffmpeg");
    command.args(["-nostdin", "-v", "error", "-y"]);
    command
}

/// The settings of the MP4 profile in `resources/export-profiles.toml`, in ffmpeg's words, and three lines of text as
/// large as ours.
fn text_over(source: &Path, out: &Path) -> Vec<String> {
    let words = |it: &[&str]| it.iter().map(|it| (*it).to_owned()).collect::<Vec<_>>();
    let mut arguments = words(&["-ss", &FROM_S.to_string(), "-t", &CLIP_S.to_string(), "-i"]);
    arguments.push(source.display().to_string());
    arguments.extend(words(&["-vf", &text_lines().join(",")]));
    arguments.extend(encoder_settings());
    arguments.push(out.display().to_string());
    arguments
}

fn text_lines() -> [String; 3] {
    let line = |x: u32, y: u32, text: &str| {
        format!("drawtext=text='{text}':x={x}:y={y}:fontsize=37:fontcolor=white:box=1:boxcolor=black@0.8:boxborderw=20")
    };
    [
        line(60, 960, "87 km/h  T1 Lap 4"),
        line(1200, 960, "Turn-in 87.3  Apex 54.2  Exit 71.0"),
        line(1560, 60, "%{pts}"),
    ]
}

fn encoder_settings() -> Vec<String> {
    let settings =
        ["-c:v", "libx264", "-preset", "veryfast", "-crf", "21", "-bf", "0", "-g", "60", "-profile:v", "high"];
    settings.iter().chain(&["-c:a", "aac", "-b:a", "160k"]).map(|it| (*it).to_owned()).collect()
}

fn run_ffmpeg(arguments: &[String]) {
    assert!(ffmpeg().args(arguments).status().unwrap().success(), "ffmpeg {arguments:?}");
}

/// A pass whose clip is [`CLIP_S`] long, with every part of the overlay moving: the path is sampled at 25 Hz.
fn plan(source: &Path) -> ClipPlan {
    plan_of(source, FROM_S + 2.0, CLIP_S - 4.0, &ClipOptions::default())
}

/// The clip of a pass from one log time on, s, for so long.
fn plan_of(source: &Path, from_s: f64, pass_s: f64, options: &ClipOptions) -> ClipPlan {
    let sure = |value: f64| Estimate { value, ci95: 0.0 };
    let states: Vec<PathState> = (0..500).map(|index| state(f64::from(index) * 0.04)).collect();
    let mark =
        |t_s: f64| Mark { t_s: sure(t_s), latitude_deg: None, longitude_deg: None, distance_m: None, speed_mps: None };
    let points = states.iter().map(|it| ReferencePoint {
        distance_m: it.travelled_m,
        position: Point::new(it.x_m, it.y_m),
        heading_rad: it.heading_rad,
        curvature_per_m: 0.0,
    });
    let analysis = Analysis {
        plane: Some(Plane::new(47.0, 8.0, 0.0)),
        reference: Some(ReferenceLine { points: points.collect(), length_m: 400.0 }),
        path: session::Path { states, gaps: Vec::new() },
        gate: None,
        laps: Vec::new(),
        corners: vec![Corner {
            number: 1,
            name: "T1".to_owned(),
            direction: Direction::Left,
            angle_deg: 90.0,
            min_radius_m: None,
            entry_gate_m: Some(120.0),
            middle_m: Some(200.0),
            exit_gate_m: Some(280.0),
            latitude_deg: None,
            longitude_deg: None,
        }],
        passes: vec![Pass {
            lap: 1,
            corner: 1,
            direction: Direction::Left,
            turn_in: Some(mark(from_s)),
            apex: None,
            exit: Some(mark(from_s + pass_s)),
            approach_speed_mps: None,
            entry_speed_mps: Some(sure(20.0)),
            min_speed_mps: Some(sure(15.0)),
            min_speed_t_s: Some(sure(from_s + pass_s / 2.0)),
            exit_speed_mps: Some(sure(18.0)),
            entry_gate_speed_mps: None,
            exit_gate_speed_mps: None,
            time_s: None,
            path_m: None,
            exit_cost_s: None,
            entry_gate_t_s: None,
            exit_gate_t_s: None,
            edited: Vec::new(),
            unclear: Vec::new(),
        }],
        places: Vec::new(),
        notes: Vec::new(),
        ..Analysis::default()
    };
    let footage = media::probe(source).unwrap();
    let clock = ClockMap { log_t_s_at_zero: 0.0, rate_ppm: 0.0 };
    let chapter = Chapter { file: PathBuf::from(source), clock, start: footage.start, end: footage.end };
    clip_plan(&analysis, 1, 1, &[chapter], options).unwrap()
}

/// A wide left-hand arc at a speed that changes all the time.
fn state(t_s: f64) -> PathState {
    let heading_rad = t_s / 20.0 * std::f64::consts::PI;
    PathState {
        t_s,
        x_m: 120.0 * heading_rad.sin(),
        y_m: 120.0 * (1.0 - heading_rad.cos()),
        speed_mps: 18.0 + 4.0 * (t_s * 0.7).sin(),
        heading_rad,
        yaw_rate_radps: 0.16,
        acceleration_mps2: 0.0,
        travelled_m: t_s * 20.0,
        across_variance_m2: 0.0,
        along_variance_m2: 0.0,
        speed_variance: 0.0,
        heading_variance: 0.0,
        yaw_rate_variance: 0.0,
    }
}
