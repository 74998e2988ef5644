//! `clip`: a film that another program can open, refusals, and a clean end when stopped.

use std::path::Path;
use std::process::Command;

use cornerbook::book::{Colour, Drawing, FootageRef, FrameRef, Op, Shape, Share, file};
use cornerbook::files::Overwrite;
use cornerbook::media;
use cornerbook::session::VideoTime;

use super::{Program, film, stadium_csv, stadium_track};

/// The kart enters the first corner 8 s into the log and is through by 12 s; the film shows 5 s to 15 s.
fn with_book() -> Program {
    let program = Program::new().with_file("run.csv", stadium_csv(true)).with_file("track.geojson", stadium_track());
    film(&program, "a.mp4", Some("2026-05-03T10:00:05Z"));
    let new = ["new", "stint", "--log", "run.csv", "--track", "track.geojson", "--video", "a.mp4", "--offset", "5"];
    program.run(new).is_done();
    program
}

const CLIP: [&str; 6] = ["clip", "stint.cornerbook", "--lap", "1", "--corner", "1"];

fn clip<'a>(args: &[&'a str]) -> Vec<&'a str> {
    [&CLIP[..], args].concat()
}

/// Length in seconds and size, as ffprobe sees them.
fn probed(path: &Path) -> (f64, String) {
    let fields = ["-v", "error", "-select_streams", "v", "-show_entries", "stream=width,height:format=duration"];
    let output = Command::new("ffprobe").args(fields).args(["-of", "json"]).arg(path).output().unwrap();
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let length_s = json["format"]["duration"].as_str().unwrap().parse().unwrap();
    (length_s, format!("{}x{}", json["streams"][0]["width"], json["streams"][0]["height"]))
}

#[test]
fn a_clip_is_as_long_as_its_pass_with_lead_tail_and_holds() {
    let program = with_book();
    let made = program.run(clip(&["--out", "T1 \"hot\".mp4", "--lead", "1", "--tail", "1"]));
    assert_eq!(made.is_done().out, "T1 \"hot\".mp4\n");
    let (plain_s, size) = probed(&program.path("T1 \"hot\".mp4"));
    assert_eq!(size, "320x180");
    // Closed form: the half circle of 15 m at 12 m/s takes 3.93 s; turn-in and exit are known to some tenths.
    assert!((plain_s - (1.0 + 3.93 + 1.0)).abs() < 0.8, "{plain_s}");

    let slowly = clip(&["--out", "slow.mp4", "--lead", "1", "--tail", "1", "--slow", "0.5", "--hold", "1"]);
    program.run(slowly).is_done();
    let (slow_s, _) = probed(&program.path("slow.mp4"));
    let expected_s = 2.0 + 2.0 * (plain_s - 2.0) + 3.0;
    assert!((slow_s - expected_s).abs() < 0.2, "{slow_s} for {expected_s}");
}

/// Frames of a film of 320 × 180 px that have the book's magenta line all along its place.
fn frames_with_line(path: &Path) -> usize {
    let picture = media::Picture { pixels: media::Pixels::Rgba, size_px: None, is_cropped: false };
    let mut reader = media::FrameReader::open(path, picture).unwrap();
    let has_line = |it: &media::Frame| {
        let map = it.buffer.map_readable().unwrap();
        let row = &map[54 * it.info.stride()[0] as usize..][..4 * 320];
        row[4 * 60..4 * 200].chunks_exact(4).all(|it| it[0] > 180 && it[1] < 90 && it[2] > 180)
    };
    std::iter::from_fn(|| reader.next_frame().unwrap()).filter(has_line).count()
}

#[test]
fn a_clip_shows_the_drawings_of_its_book() {
    let program = with_book();
    let path = program.path("stint.cornerbook");
    let mut book = file::open(&path).unwrap();
    let drawing = Drawing {
        on: FrameRef { footage: FootageRef::Chapter(0), at: VideoTime::from_seconds(4.0) },
        stays_s: 1.0,
        colour: Colour::hex(0xff_00ff),
        width: 0.05,
        shape: Shape::Arrow { from: Share { x: 0.1, y: 0.3 }, to: Share { x: 0.9, y: 0.3 } },
    };
    book.apply(Op::Drawing(book.next_id, Some(drawing))).unwrap();
    file::save(&book, &path, Overwrite::Replace).unwrap();
    program.run(clip(&["--out", "book.mp4"])).is_done();
    assert_eq!(frames_with_line(&program.path("book.mp4")), 25);
    // The same footage by another way is the book's all the same; the film of a log alone has no drawings.
    program.run(clip(&["--video", "a.mp4", "--offset", "5", "--out", "typed.mp4"])).is_done();
    assert_eq!(frames_with_line(&program.path("typed.mp4")), 25);
    let of_log = ["clip", "run.csv", "--track", "track.geojson", "--video", "a.mp4", "--offset", "5"];
    program.run([&of_log[..], &["--lap", "1", "--corner", "1", "--out", "log.mp4"]].concat()).is_done();
    assert_eq!(frames_with_line(&program.path("log.mp4")), 0);
}

#[test]
fn a_clip_is_never_written_over() {
    let program = with_book().with_file("t1.mp4", "mine");
    let refused = program.run(clip(&["--out", "t1.mp4"]));
    assert_eq!(
        refused.is_refused(1),
        "error: t1.mp4: is there already; give another name, or --force to write over it"
    );
    assert_eq!(std::fs::read(program.path("t1.mp4")).unwrap(), b"mine");
    program.run(clip(&["--out", "t1.mp4", "--force"])).is_done();
    assert!(probed(&program.path("t1.mp4")).0 > 3.0);
}

#[test]
fn what_cannot_be_shown_is_one_sentence() {
    let program = with_book();
    let refuses = |code: i32, args: &[&str]| program.run(args).is_refused(code).to_owned();
    let with = |lap: &'static str, corner: &'static str| {
        ["clip", "stint.cornerbook", "--lap", lap, "--corner", corner, "--out", "x.mp4"]
    };
    assert_eq!(refuses(1, &with("1", "7")), "error: there is no corner 7; the session has 1 to 2");
    assert!(refuses(1, &with("40", "1")).starts_with("error: there is no lap 40; the session has 0 to "));
    let beyond = refuses(1, &with("3", "1"));
    assert!(beyond.starts_with("error: lap 3, corner 1: the footage ends ") && beyond.contains("before"), "{beyond}");
    let ending = refuses(1, &clip(&["--out", "x.avi"]));
    assert!(ending.starts_with("error: x.avi: a film cannot have this ending"), "{ending}");
    assert!(refuses(2, &clip(&["--out", "x.mp4", "--slow", "0"])).starts_with("error: slow 0: must be"));
    assert!(refuses(2, &clip(&["--out", "x.mp4", "--lead", "-1"])).starts_with("error: lead -1: must be"));
    assert!(refuses(1, &clip(&["--out", "no folder/x.mp4"])).contains("cannot be written"));

    let no_footage = program.run(["clip", "run.csv", "--lap", "1", "--corner", "1", "--out", "x.mp4"]);
    assert_eq!(no_footage.is_refused(2), "error: there is no footage; name it with --video");
    std::fs::write(program.path("cut.mp4"), b"\0\0\0\x20ftypisom\0\0\x02\0isomiso2").unwrap();
    let broken = program.run(clip(&["--video", "cut.mp4", "--offset", "5", "--out", "x.mp4"]));
    assert!(broken.is_refused(1).starts_with("error: cut.mp4: "), "{broken:?}");
    assert!(!program.files().iter().any(|it| it.starts_with('x') || it.starts_with(".cornerbook")));
}

/// Stopped while the film is being written: exit code 130, and the folder is as it was.
#[test]
#[cfg(unix)]
fn a_stopped_clip_leaves_nothing_behind() {
    let program = with_book();
    let before = program.files();
    // A long still and a slow pace make a film that takes far longer than the signal.
    let args = clip(&["--out", "x.mp4", "--slow", "0.1", "--hold", "60"]);
    let mut child = program
        .command(args)
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    while program.files() == before && child.try_wait().unwrap().is_none() {
        std::thread::yield_now();
    }
    let sent = Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    assert!(sent.success());
    let output = child.wait_with_output().unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    assert_eq!((output.status.code(), output.stdout.as_slice()), (Some(130), &b""[..]), "{err}");
    assert!(err.ends_with("stopped; nothing was left half done\n"), "{err}");
    assert_eq!(program.files(), before);
}
