//! What is seen to turn, from the command line: the picture of how footage and log fit, and footage without a log from
//! the book to the stills. On the sample's footage.

use std::path::Path;

use super::Program;

const SAMPLE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-data");

fn with_sample(files: &[&str]) -> Program {
    let program = Program::new();
    for name in files {
        std::fs::copy(Path::new(SAMPLE).join(name), program.path(name)).unwrap();
    }
    program
}

/// The film's first seconds, as they are coded.
fn cut(program: &Program, seconds: u32) {
    let made = std::process::Command::new("ffmpeg")
        .args(["-v", "error", "-i"])
        .arg(Path::new(SAMPLE).join("driver-a.mp4"))
        .args(["-t", &seconds.to_string(), "-c", "copy"])
        .arg(program.path("short.mp4"))
        .status()
        .unwrap();
    assert!(made.success());
}

#[test]
fn the_plot_is_a_picture_and_nothing_is_written_over() {
    let program = with_sample(&["driver-a.csv"]);
    cut(&program, 50);
    let plot = |name: &str, more: &[&str]| {
        program.run([&["align", "driver-a.csv", "--video", "short.mp4", "--plot", name], more].concat())
    };
    plot("fit.png", &[]).is_done();
    let written = std::fs::read(program.path("fit.png")).unwrap();
    let picture = image::load_from_memory_with_format(&written, image::ImageFormat::Png).unwrap().to_rgb8();
    let ground = picture.get_pixel(0, 0);
    let drawn = picture.pixels().filter(|it| *it != ground).count();
    // Two curves, axes and words: more than a hundredth of the picture, and by far not all of it.
    let all = (picture.width() * picture.height()) as usize;
    assert!(picture.width() >= 400 && drawn > all / 100 && drawn < all / 2, "{drawn} of {all}");

    assert!(plot("fit.png", &[]).is_refused(1).contains("fit.png: is there already"));
    assert!(plot("driver-a.csv", &["--force"]).is_refused(1).contains("driver-a.csv"));
    assert_eq!(std::fs::read(program.path("fit.png")).unwrap(), written);
    let pinned = plot("pinned.png", &["--offset", "45"]);
    assert!(pinned.is_refused(2).contains("--plot draws the motion in the footage"), "{pinned:?}");
    assert!(!program.files().contains(&"pinned.png".to_owned()));
}

/// The film crosses the gate at 5.0 s and shows two laps; what speed needs is missing, everything else works.
#[test]
fn footage_without_a_log_goes_all_the_way() {
    let program = with_sample(&["driver-a.mp4"]);
    program.run(["new", "indoors", "--video", "driver-a.mp4", "--crossing", "5"]).is_done();
    assert!(program.run(["check", "indoors.cornerbook"]).is_done().out.contains("driver-a.mp4"));

    let passes = program.run(["passes", "indoors.cornerbook", "--format", "json"]);
    let passes: serde_json::Value = serde_json::from_str(&passes.is_done().out).unwrap();
    let timed = passes["laps"].as_array().unwrap().iter().filter(|it| it["kind"] == "timed").count();
    assert_eq!(timed, 2, "{}", passes["laps"]);
    let all = passes["passes"].as_array().unwrap();
    assert!(all.len() >= 12, "{} passes", all.len());
    for pass in all {
        assert!(pass["min_speed_mps"].is_null() && pass["exit_gate_speed_mps"].is_null(), "{pass}");
    }
    assert!(all.iter().filter(|it| !it["turn_in"].is_null()).count() * 2 > all.len());

    let list = program.run(["reel", "indoors.cornerbook", "--list"]).is_done().out.clone();
    assert!(list.lines().count() > 8 && list.contains("driver-a.mp4"), "{list}");
    program.run(["clip", "indoors.cornerbook", "--lap", "1", "--corner", "2", "--out", "clip.mp4"]).is_done();
    assert!(std::fs::metadata(program.path("clip.mp4")).unwrap().len() > 10_000);
    let stills = program.run(["stills", "indoors.cornerbook", "--corner", "2", "--lap", "1", "--out", "stills"]);
    assert!(stills.is_done().out.lines().any(|it| it.ends_with("corner-2-sheet.png")), "{stills:?}");
}
