//! `reel` and `stills`: what would be cut as text, films that another program can open, and what is left when the disk
//! is full.

use std::path::Path;
use std::process::Command;

use cornerbook::book::{Exit, Id, Op, Reel, ReelCut, Tag, TagPlace, What, file};
use cornerbook::files::Overwrite;
use expect_test::expect_file;

use super::stadium::LAPS;
use super::{Program, film_of, film_sized, stadium_csv, stadium_track};
use crate::support::web_vtt;

/// The film shows laps 1 and 2: from 5 s to 70 s of the log.
fn with_book() -> Program {
    let program = Program::new().with_file("run.csv", stadium_csv(true)).with_file("track.geojson", stadium_track());
    film_of(&program, "a.mp4", Some("2026-05-03T10:00:05Z"), 65);
    let new = ["new", "stint", "--log", "run.csv", "--track", "track.geojson", "--video", "a.mp4", "--offset", "5"];
    program.run([&new[..], &["--driver", "A. Driver"]].concat()).is_done();
    program
}

/// Puts tags on passes, with notes.
fn tag(program: &Program, tags: &[(u32, u32, What, Option<&str>)]) {
    tag_in(&program.path("stint.cornerbook"), tags);
}

fn tag_in(path: &Path, tags: &[(u32, u32, What, Option<&str>)]) {
    let mut book = file::open(path).unwrap();
    for (lap, corner, what, note) in tags {
        let on = TagPlace::Pass { lap: *lap, corner: *corner };
        let tag = Tag { on, what: *what, note: note.map(str::to_owned) };
        book.apply(Op::Tag(book.next_id, Some(tag))).unwrap();
    }
    file::save(&book, path, Overwrite::Replace).unwrap();
}

fn kind(program: &Program, name: &str) -> Id {
    let book = file::open(&program.path("stint.cornerbook")).unwrap();
    *book.tag_kinds.iter().find(|it| it.1.name == name).unwrap().0
}

const REEL: [&str; 2] = ["reel", "stint.cornerbook"];

fn reel<'a>(args: &[&'a str]) -> Vec<&'a str> {
    [&REEL[..], args].concat()
}

fn probed(path: &Path) -> serde_json::Value {
    let fields = ["-v", "error", "-show_chapters", "-show_streams", "-show_format", "-of", "json"];
    let output = Command::new("ffprobe").args(fields).arg(path).output().unwrap();
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn the_list_says_what_would_be_cut() {
    let program = with_book();
    let slide = What::Kind(kind(&program, "slide"));
    tag(&program, &[(1, 2, What::Exit(Exit::Good), None), (2, 1, slide, Some("wide <b>"))]);
    let list = |args: &[&str]| program.run(reel(&[args, &["--list"]].concat())).is_done().out.clone();
    expect_file!["golden/reel-all.txt"].assert_eq(&list(&["--order", "driven", "--title", "Saturday"]));
    expect_file!["golden/reel-best.txt"]
        .assert_eq(&list(&["--corner", "1", "--best", "1", "--worst", "1", "--by", "time"]));
    expect_file!["golden/reel-tag.txt"].assert_eq(&list(&[
        "--tag",
        "slide",
        "--card",
        "0",
        "--hold",
        "1",
        "--hold-at",
        "apex",
    ]));
    expect_file!["golden/reel-exit.txt"].assert_eq(&list(&[
        "--exit",
        "good",
        "--driver",
        "a. driver",
        "--slow",
        "0.5",
    ]));
    let refuses = |code: i32, args: &[&str]| program.run(reel(args)).is_refused(code).to_owned();
    assert_eq!(refuses(1, &["--list", "--corner", "9"]), "error: there is no corner 9; the session has 1 to 2");
    assert!(
        refuses(1, &["--list", "--tag", "hop"]).starts_with("error: there is no tag \"hop\"; there are early turn-in")
    );
    assert!(
        refuses(1, &["--list", "--lap", "4"]).starts_with("error: the footage shows none of the 2 passes that fit")
    );
    assert!(refuses(2, &["--list", "--card", "90"]).starts_with("error: card 90: must be"));
    assert_eq!(program.run(reel(&[])).code, 2, "neither --out nor --list");
}

#[test]
fn a_reel_with_hostile_words_is_a_film_with_chapters_and_subtitles() {
    let program = with_book();
    let long = "<i>long & \"quoted\"</i> 🏁 كارتينغ --> ".repeat(280);
    assert!(long.chars().count() > 10_000);
    tag(&program, &[(1, 1, What::Note, Some(&long)), (1, 2, What::Note, Some("x\ny\u{202e}z"))]);
    let args = ["--lap", "1", "--title", &long, "--card", "0.5", "--lead", "0.2", "--tail", "0.2", "--subtitles"];
    let made = program.run(reel(&[&args[..], &["--out", "reel \"1\".mp4"]].concat()));
    assert_eq!(made.is_done().out, "reel \"1\".mp4\nreel \"1\".vtt\n");
    let film = probed(&program.path("reel \"1\".mp4"));
    assert_eq!(film["chapters"].as_array().unwrap().len(), 3, "{film}");
    assert_eq!(film["chapters"][1]["tags"]["title"], "T1 · Lap 1");
    assert_eq!((film["streams"][0]["width"].as_u64(), film["streams"][0]["height"].as_u64()), (Some(320), Some(180)));
    let seconds: f64 = film["format"]["duration"].as_str().unwrap().parse().unwrap();
    // Title, two cards, and two half circles of 3.93 s with lead and tail.
    assert!((seconds - (3.0 + 1.0 + 2.0 * (3.93 + 0.4))).abs() < 1.6, "{seconds}");
    let cues = web_vtt::cues(&std::fs::read_to_string(program.path("reel \"1\".vtt")).unwrap()).unwrap();
    assert!(cues.iter().any(|it| it.2.contains(&"T2 · Lap 1".to_owned())), "{}", cues.len());
    assert!(cues.iter().any(|it| it.2.iter().any(|line| line.chars().count() > 10_000)));
}

#[test]
fn clips_of_their_own_survive_what_becomes_of_the_next() {
    let program = with_book().with_file("out/02-corner-2-lap-1.mp4", "mine");
    let args = ["--lap", "1", "--lead", "0", "--tail", "0", "--clips", "out"];
    let run = program.run(reel(&args));
    assert_eq!((run.code, run.out.as_str()), (1, "out/01-corner-1-lap-1.mp4\n"), "{run:?}");
    assert!(run.err.contains("02-corner-2-lap-1.mp4: is there already"), "{run:?}");
    assert!(probed(&program.path("out/01-corner-1-lap-1.mp4"))["format"]["duration"].is_string());
    assert_eq!(std::fs::read(program.path("out/02-corner-2-lap-1.mp4")).unwrap(), b"mine");
}

/// No file may grow beyond some blocks: as on a disk that is full.
#[test]
#[cfg(unix)]
fn a_full_disk_is_one_sentence_and_leaves_no_film() {
    let program = with_book();
    let before = program.files();
    let binary = env!("CARGO_BIN_EXE_cornerbook");
    let script = "trap '' XFSZ; ulimit -f 40; exec \"$0\" reel stint.cornerbook --corner 1 --out x.mp4";
    let mut shell = Command::new("sh");
    let output = shell.args(["-c", script, binary]).current_dir(program.path("")).output().unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    assert_eq!((output.status.code(), output.stdout.as_slice()), (Some(1), &b""[..]), "{err}");
    let errors: Vec<&str> = err.lines().filter(|it| it.starts_with("error: ")).collect();
    assert!(errors.len() == 1 && errors[0].starts_with("error: x.mp4: ") && errors[0].contains("free space"), "{err}");
    assert_eq!(program.files(), before);
}

#[test]
fn two_laps_share_a_film() {
    let program = with_book();
    let clip = ["clip", "stint.cornerbook", "--lap", "1", "--corner", "1", "--lead", "0.5", "--tail", "0.5"];
    program.run([&clip[..], &["--beside", "2", "--out", "two.mp4"]].concat()).is_done();
    let film = probed(&program.path("two.mp4"));
    // Half as high, and the strip below.
    assert_eq!((film["streams"][0]["width"].as_u64(), film["streams"][0]["height"].as_u64()), (Some(320), Some(146)));
    let refused = program.run([&clip[..], &["--beside", "9", "--out", "x.mp4"]].concat());
    assert!(refused.is_refused(1).starts_with("error: there is no lap 9; the session has "));
    let profile = program.run([&clip[..], &["--profile", "film", "--out", "x.mp4"]].concat());
    assert!(profile.code == 2 && profile.err.contains("there is no profile \"film\"; there are full ("), "{profile:?}");
}

#[test]
fn a_lap_of_another_book_shares_a_film() {
    let program = with_book();
    let new = ["new", "other", "--log", "run.csv", "--track", "track.geojson", "--video", "a.mp4", "--offset", "5"];
    program.run(new).is_done();
    let clip = ["clip", "stint.cornerbook", "--lap", "1", "--corner", "1", "--lead", "0.5", "--tail", "0.5"];
    let with = |more: &[&str]| program.run([&clip[..], more].concat());
    with(&["--beside", "2", "--beside-book", "other.cornerbook", "--out", "two.mp4"]).is_done();
    let film = probed(&program.path("two.mp4"));
    assert_eq!((film["streams"][0]["width"].as_u64(), film["streams"][0]["height"].as_u64()), (Some(320), Some(146)));
    let alone = with(&["--beside-book", "other.cornerbook", "--out", "x.mp4"]);
    assert!(alone.code == 2 && alone.err.contains("--beside <LAP>"), "{alone:?}");
    let over = with(&["--beside", "2", "--beside-book", "other.cornerbook", "--out", "other.cornerbook", "--force"]);
    assert!(over.is_refused(1).starts_with("error: other.cornerbook"), "{over:?}");
    // Two books in one reel, each with one pass that is clean: the better one stands beside the other.
    let traffic = What::Kind(kind(&program, "traffic"));
    let in_traffic =
        |except: u32| -> Vec<_> { (0..=LAPS).filter(|it| *it != except).map(|it| (it, 1, traffic, None)).collect() };
    tag(&program, &in_traffic(1));
    tag_in(&program.path("other.cornerbook"), &in_traffic(2));
    let reel = ["reel", "stint.cornerbook", "other.cornerbook", "--corner", "1"];
    let film = ["--beside", "best", "--card", "0", "--lead", "0.5", "--tail", "0.5", "--out", "reel.mp4"];
    program.run([&reel[..], &film].concat()).is_done();
    let reel = probed(&program.path("reel.mp4"));
    assert_eq!(reel["streams"][0]["height"].as_u64(), Some(146));
}

#[test]
fn stills_and_their_sheet_are_pictures() {
    let program = with_book();
    let args = ["stills", "stint.cornerbook", "--corner", "1", "--out", "s", "--format", "jpeg"];
    let made = program.run(args);
    let names: Vec<&str> = made.is_done().out.lines().collect();
    assert_eq!(names.len(), 10, "{names:?}");
    assert!(names.contains(&"s/corner-1-lap-1-turn-in.jpg") && names[9] == "s/corner-1-sheet.jpg");
    let size = |name: &str| image::image_dimensions(program.path(name)).unwrap();
    assert_eq!(size(names[0]), (320, 180));
    let (width, height) = size(names[9]);
    assert!(width > 3 * 480 && height > 3 * 270, "{width} {height}");
    assert!(program.run(args).is_refused(1).contains("is there already"));
    program.run([&args[..], &["--force", "--lap", "2"]].concat()).is_done();
}

/// The whole main job on the sample; a second time it writes over nothing.
#[test]
fn the_demo_writes_everything_or_nothing() {
    let program = Program::new();
    let names = || -> Vec<_> {
        let entries = std::fs::read_dir(program.path("d")).unwrap();
        let mut names: Vec<_> = entries.map(|it| it.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    };
    let done = program.run(["demo", "--out", "d"]);
    assert!(done.is_done().out.contains("d/best-exit.mp4: best exit of T3, lap 1, "), "{done:?}");
    let logs =
        ["driver-a.csv", "driver-a.mp4", "driver-b.csv", "driver-c.csv", "passes.csv", "track.geojson", "truth.json"];
    assert_eq!(names(), [&["best-exit.mp4", "demo.cornerbook"], &logs[..], &["worst-exit.mp4"]].concat());
    let table = std::fs::read_to_string(program.path("d/passes.csv")).unwrap();
    assert_eq!(table, program.run(["passes", "d/demo.cornerbook", "--format", "csv"]).is_done().out);
    assert!(program.run(["demo", "--out", "d"]).is_refused(1).contains("is there already"));
    assert_eq!(program.files(), [".cache", "d"]);
}

/// Stopped at its first still: nothing of it is there, and what lay in the folder is.
#[test]
#[cfg(unix)]
fn stopped_stills_leave_nothing_behind() {
    let program = with_book().with_file("s/diary.txt", "mine");
    let args = ["stills", "stint.cornerbook", "--corner", "1", "--out", "s"];
    let mut child = program.command(args).stderr(std::process::Stdio::piped()).spawn().unwrap();
    let names =
        || -> Vec<_> { std::fs::read_dir(program.path("s")).unwrap().map(|it| it.unwrap().file_name()).collect() };
    while names().len() == 1 && child.try_wait().unwrap().is_none() {
        std::thread::yield_now();
    }
    assert!(Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap().success());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(130), "{}", String::from_utf8_lossy(&output.stderr));
    assert_eq!(names(), ["diary.txt"]);
}

#[test]
fn a_narration_that_is_not_heard_is_told() {
    let program = with_book().with_file("notes.txt", "late at three").with_file("empty.wav", "");
    let reel = |narration: &str| {
        let args =
            ["reel", "stint.cornerbook", "--lap", "1", "--corner", "1", "--out", "x.mp4", "--narration", narration];
        program.run(args)
    };
    let silent = reel("a.mp4");
    assert!(silent.is_refused(1).starts_with("error: a.mp4: holds no sound, only H.264"), "{silent:?}");
    let junk = reel("notes.txt");
    assert!(junk.is_refused(1).starts_with("error: notes.txt: is no file with sound; "), "{junk:?}");
    assert!(reel("empty.wav").is_refused(1).starts_with("error: empty.wav: is empty"));
}

/// Lap 4 is the best and was not filmed: lap 1, the best that was, stands alone, and that is said, in the list too.
#[test]
fn a_best_pass_that_was_not_filmed_is_told() {
    let program = with_book();
    let traffic = What::Kind(kind(&program, "traffic"));
    tag(&program, &(0..=LAPS).filter(|it| ![1, 4].contains(it)).map(|it| (it, 1, traffic, None)).collect::<Vec<_>>());
    let listed = program.run(reel(&["--corner", "1", "--lap", "1", "--beside", "best", "--list"]));
    let sentence = "warning: corner 1: the best pass, of lap 4, is not filmed; the best that is, of lap 1, is shown beside \
                    the others\n";
    assert!(listed.is_done().err.contains(sentence), "{listed:?}");
}

#[test]
fn nought_of_the_best_is_no_choice() {
    let refused = with_book().run(reel(&["--best", "0", "--list"]));
    assert_eq!(refused.code, 2, "{refused:?}");
}

/// The reel that was put together in the window: in its order, a pass twice, with a clip of another length and words of
/// its own in the subtitles.
#[test]
fn the_saved_reel_is_cut_as_it_was_put_together() {
    let program = with_book();
    let none = program.run(reel(&["--saved", "--list"]));
    assert_eq!(none.code, 1);
    assert!(none.err.ends_with(
        "error: the book has no reel; put one together in the window, or choose passes by --best, --corner and the like\n"
    ));
    let path = program.path("stint.cornerbook");
    let mut book = file::open(&path).unwrap();
    let long =
        ReelCut { lead_s: Some(0.5), tail_s: Some(1.0), words: Some("look\nat <it>".to_owned()), ..ReelCut::of(1, 2) };
    let cuts = vec![ReelCut::of(2, 1), long, ReelCut::of(2, 1), ReelCut::of(7, 1)];
    book.apply(Op::Reel(Reel { title: Some("Saved".to_owned()), cuts })).unwrap();
    file::save(&book, &path, Overwrite::Replace).unwrap();
    let listed = program.run(reel(&["--saved", "--list"]));
    expect_file!["golden/reel-saved.txt"].assert_eq(&listed.is_done().out);
    assert!(listed.err.contains("left out: lap 7, corner 1: the session has no such pass"), "{}", listed.err);
    let both = program.run(reel(&["--saved", "--best", "1", "--list"]));
    assert_eq!(both.code, 2);
    assert!(both.err.contains("--saved takes the reel as it was put together; leave out --best"), "{}", both.err);
    let two = program.run(["reel", "stint.cornerbook", "stint.cornerbook", "--saved", "--list"]);
    assert_eq!(two.code, 2, "{}", two.err);

    program.run(reel(&["--saved", "--out", "saved.mp4", "--subtitles"])).is_done();
    let told = probed(&program.path("saved.mp4"));
    assert_eq!(told["chapters"].as_array().unwrap().len(), 4, "the title and three clips");
    let subtitles = std::fs::read_to_string(program.path("saved.vtt")).unwrap();
    assert!(subtitles.contains("look\nat &lt;it&gt;"), "{subtitles}");
}

/// Two cameras, one wide and one not: the film has the first one's size, and the other's picture whole in the middle.
#[test]
fn sessions_filmed_in_two_shapes_make_one_film() {
    let program = with_book();
    film_sized(&program, "b.mp4", None, 65, "320x240");
    let new = ["new", "other", "--log", "run.csv", "--track", "track.geojson", "--video", "b.mp4", "--offset", "5"];
    program.run(new).is_done();
    let books = ["reel", "stint.cornerbook", "other.cornerbook", "--corner", "1", "--lap", "1", "--card", "0"];
    program.run([&books[..], &["--order", "driven", "--hold", "0", "--out", "x.mp4"]].concat()).is_done();
    let film = probed(&program.path("x.mp4"));
    assert_eq!((film["streams"][0]["width"].as_u64(), film["streams"][0]["height"].as_u64()), (Some(320), Some(180)));
    let length_s: f64 = film["format"]["duration"].as_str().unwrap().parse().unwrap();
    // Mean grey of a column near the right edge, where the test picture is bright, and of the middle one, in the first clip and in the second.
    let grey_at = |share: f64| {
        let at = format!("{:.2}", share * length_s);
        let args = ["-frames:v", "1", "-f", "rawvideo", "-pix_fmt", "gray", "-"];
        let output = Command::new("ffmpeg")
            .args(["-v", "error", "-ss", &at, "-i"])
            .arg(program.path("x.mp4"))
            .args(args)
            .output()
            .unwrap();
        let column = |x: usize| (0..180).map(|y| u32::from(output.stdout[y * 320 + x])).sum::<u32>() / 180;
        (column(311), column(160))
    };
    let (first, second) = (grey_at(0.25), grey_at(0.75));
    assert!(first.0 > 40 && first.1 > 40, "{first:?}");
    assert!(second.0 < 24 && second.1 > 40, "a bar beside the narrower picture: {second:?}");
}

/// GStreamer as it is installed, but for what writes H.264: the sentence names the package and the way out, and that way
/// is open.
#[test]
#[cfg(unix)]
fn without_an_encoder_the_package_is_named_and_nothing_is_written() {
    let program = with_book();
    let told = Command::new("pkg-config").args(["--variable=pluginsdir", "gstreamer-1.0"]).output().unwrap();
    let installed = String::from_utf8(told.stdout).unwrap();
    std::fs::create_dir(program.path("plugins")).unwrap();
    for plugin in std::fs::read_dir(installed.trim()).unwrap().map(|it| it.unwrap()) {
        let name = plugin.file_name();
        if !["libgstx264.so", "libgstopenh264.so"].iter().any(|it| name == *it) {
            std::os::unix::fs::symlink(plugin.path(), program.path("plugins").join(name)).unwrap();
        }
    }
    let clip = |out: &str| {
        let args = ["clip", "stint.cornerbook", "--lap", "1", "--corner", "1", "--lead", "0.2", "--tail", "0.2"];
        let mut command = program.command([&args[..], &["--out", out]].concat());
        command.env("GST_PLUGIN_SYSTEM_PATH_1_0", program.path("plugins"));
        command.env("GST_REGISTRY_1_0", program.path("registry.bin"));
        super::Outcome::of(&mut command)
    };
    let expected =
        "error: x.mp4: no encoder for MP4 is installed; install gstreamer1.0-plugins-ugly, or name the file .webm";
    assert_eq!(clip("x.mp4").is_refused(1), expected);
    assert!(!program.path("x.mp4").exists());
    clip("x.webm").is_done();
    assert!(program.path("x.webm").exists());
}
