//! How long the window lets one wait, measured inside it: this program starts itself once for each part, on a display
//! of its own, opens the window from the library and times the turns of its main loop. Goals: the first frame 1.5 s
//! after the start, and no turn above 50 ms. An empty window of the same size is measured beside it: what the toolkit
//! takes for itself where everything is drawn by the processor. Prints what it measures; says what is missing elsewhere.

#![allow(clippy::print_stdout, clippy::disallowed_methods, reason = "a bench reads files, measures and prints figures")]

#[path = "window/part.rs"]
mod part;
#[path = "window/watch.rs"]
mod watch;

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Instant;

use cornerbook::sample::{Circuit, CsvStyle, Driver, LoggerNoise, csv_log, log_samples, simulate};

/// Starts of each part: the middle one counts for the start, the worst for the stalls.
const STARTS: usize = 5;
/// What the sample's truth says of its footage, s.
const LOG_T_S_AT_ZERO: &str = "45.1084";
const START_GOAL_S: f64 = 1.5;
const STALL_GOAL_MS: f64 = 50.0;
/// The film that is played.
const FAST_HZ: u32 = 60;
const FAST_S: u32 = 24;
const TURNS: usize = 3;
/// A session of 40 minutes.
const LONG_LAPS: u32 = 58;

type Failure = Box<dyn std::error::Error>;

fn main() -> Result<(), Failure> {
    let mut args = std::env::args().skip(1).filter(|it| it != "--bench");
    if args.next().as_deref() == Some("part") {
        let name = args.next().ok_or("a part has a name")?;
        part::run(&name, &args.map(PathBuf::from).collect::<Vec<_>>());
        return Ok(());
    }
    for tool in ["Xvfb", "dbus-run-session"] {
        if Command::new("sh").args(["-c", &format!("command -v {tool}")]).stdout(Stdio::null()).status()?.code()
            != Some(0)
        {
            println!("not measured: no {tool}");
            return Ok(());
        }
    }
    let folder = tempfile::tempdir()?;
    let display = Display::open()?;
    let desk = Desk { display: &display, folder: folder.path() };
    put_in_sample(folder.path())?;
    let book = make_book(folder.path(), "driver-a.csv", "driver-a.mp4")?;
    println!(
        "longest turns of the main loop, goal {STALL_GOAL_MS:.0} ms, and in brackets without the wait for a processor:"
    );
    println!("  an empty window of the same size   {}", longest(&desk.measure_starts("empty", &[])?));
    let opened = desk.measure_starts("open", std::slice::from_ref(&book))?;
    println!("  a book opens                       {}", longest(&opened));
    let files = ["driver-a.csv", "driver-a.mp4", "track.geojson"].map(|it| folder.path().join(it));
    println!("  files become a book                {}", longest(&desk.measure_starts("open", &files)?));
    for (part, words) in [("step", "200 steps, 40 a second"), ("corners", "40 corners, 4 a second")] {
        println!("  {words:34} {}", longest(&[desk.measure(part, std::slice::from_ref(&book))?]));
    }
    let long = make_book(folder.path(), long_log(folder.path())?, "driver-a.mp4")?;
    println!("a session of {LONG_LAPS} laps:");
    println!(
        "  its book opens                     {}",
        longest(&desk.measure_starts("open", std::slice::from_ref(&long))?)
    );
    println!(
        "  40 corners, 4 a second             {}",
        longest(&[desk.measure("corners", std::slice::from_ref(&long))?])
    );
    let mut starts_s: Vec<f64> = opened.iter().filter_map(|it| it.first_frame_s).collect();
    starts_s.sort_by(f64::total_cmp);
    println!(
        "start to the first frame: {:.2} s in the middle, {:.2} s at worst; goal {START_GOAL_S} s",
        starts_s.get(starts_s.len() / 2).copied().unwrap_or(f64::NAN),
        starts_s.last().copied().unwrap_or(f64::NAN)
    );
    playing(&desk)
}

/// The window and bare playing in turn, for the machine may have other work.
fn playing(desk: &Desk<'_>) -> Result<(), Failure> {
    let film = desk.folder.join("fast.mp4");
    let pictures = format!("testsrc2=size=1920x1080:rate={FAST_HZ},trim=end={FAST_S}");
    let made = Command::new("ffmpeg")
        .args(["-nostdin", "-v", "error", "-y", "-f", "lavfi", "-i", &pictures])
        .args(["-c:v", "libx264", "-preset", "veryfast", "-b:v", "12M", "-pix_fmt", "yuv420p", "-g", "60"])
        .arg(&film)
        .status();
    if !made.is_ok_and(|it| it.success()) {
        println!("playing is not measured: no ffmpeg with libx264");
        return Ok(());
    }
    let book = make_book(desk.folder, "driver-a.csv", "fast.mp4")?;
    for _ in 0..TURNS {
        let bare = desk.measure("bare", std::slice::from_ref(&film))?.frames.ok_or("bare playing was not measured")?;
        let window = desk.measure("play", std::slice::from_ref(&book))?;
        let painted = window.frames.ok_or("playing was not measured")?;
        println!(
            "playing 1080p{FAST_HZ}: the window paints {}; bare playbin3 into a fake sink {}; longest turn {}",
            of_due(painted),
            of_due(bare),
            longest(&[window])
        );
    }
    Ok(())
}

/// Of frames and the time that they took, s: "480 of 480".
fn of_due((frames, time_s): (f64, f64)) -> String {
    format!("{frames:.0} of {:.0}", time_s * f64::from(FAST_HZ))
}

fn longest(measured: &[Measured]) -> String {
    let mut turns: Vec<(f64, f64)> = measured.iter().filter_map(|it| it.longest).collect();
    turns.sort_by(|a, b| b.0.total_cmp(&a.0));
    let each: Vec<String> = turns.iter().map(|it| format!("{:.0} ({:.0})", it.0, it.1)).collect();
    format!("{} ms", each.join(", "))
}

fn put_in_sample(folder: &Path) -> Result<(), Failure> {
    let home = Path::new(env!("CARGO_MANIFEST_DIR"));
    for file in ["driver-a.csv", "driver-a.mp4", "track.geojson"] {
        std::fs::copy(home.join("sample-data").join(file), folder.join(file))?;
    }
    Ok(())
}

/// Writes a log of many laps; its name.
fn long_log(folder: &Path) -> Result<&'static str, Failure> {
    let scenario = simulate(&Circuit::saltpan(), &Driver::a(), LONG_LAPS, 1);
    let samples = log_samples(&scenario, &LoggerNoise::default(), 1);
    std::fs::write(folder.join("long.csv"), csv_log(&samples, CsvStyle::default()))?;
    Ok("long.csv")
}

/// A book of a log on the sample's circuit, with this footage; called after both.
fn make_book(folder: &Path, log: &str, video: &str) -> Result<PathBuf, Failure> {
    let name = format!("{log} {video}");
    let made = Command::new(env!("CARGO_BIN_EXE_cornerbook"))
        .args(["new", &name, "--log", log, "--track", "track.geojson", "--video", video])
        .args(["--offset", LOG_T_S_AT_ZERO])
        .current_dir(folder)
        .output()?;
    if made.status.success() {
        Ok(folder.join(format!("{name}.cornerbook")))
    } else {
        Err(format!("{name}: {}", String::from_utf8_lossy(&made.stderr)).into())
    }
}

/// What a part told.
#[derive(Default)]
struct Measured {
    /// From its start to the first frame of footage in the picture, s; `None` for a part that shows none.
    first_frame_s: Option<f64>,
    /// The longest turn of the main loop, and that without the wait for a processor, ms.
    longest: Option<(f64, f64)>,
    /// Frames that were painted, and in which time, s.
    frames: Option<(f64, f64)>,
}

/// Where parts are measured.
struct Desk<'a> {
    display: &'a Display,
    folder: &'a Path,
}

impl Desk<'_> {
    fn measure_starts(&self, part: &str, files: &[PathBuf]) -> Result<Vec<Measured>, Failure> {
        (0..STARTS).map(|_| self.measure(part, files)).collect()
    }

    fn measure(&self, part: &str, files: &[PathBuf]) -> Result<Measured, Failure> {
        let began = Instant::now();
        let mut child = Command::new("dbus-run-session")
            .arg("--")
            .arg(std::env::current_exe()?)
            .args(["part", part])
            .args(files)
            .env_remove("WAYLAND_DISPLAY")
            .env("DISPLAY", format!(":{}", self.display.number))
            .envs([("GDK_BACKEND", "x11"), ("GSK_RENDERER", "cairo"), ("GTK_A11Y", "atspi")])
            .env("XDG_CONFIG_HOME", self.folder.join("config"))
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            // The session bus tells of its start.
            .stderr(Stdio::null())
            .spawn()?;
        let mut measured = Measured::default();
        let told = child.stdout.take().ok_or("the part's output is piped")?;
        for line in BufReader::new(told).lines() {
            let line = line?;
            match line.split(' ').collect::<Vec<_>>()[..] {
                [part::FIRST_FRAME, ..] => measured.first_frame_s = Some(began.elapsed().as_secs_f64()),
                [part::LONGEST_MS, ms, own_ms] => measured.longest = Some((ms.parse()?, own_ms.parse()?)),
                [part::FRAMES, frames, time_s] => measured.frames = Some((frames.parse()?, time_s.parse()?)),
                // The session's own programs speak too.
                _ if line.starts_with("only ") => println!("{line}"),
                _ => {}
            }
        }
        if child.wait()?.success() { Ok(measured) } else { Err(format!("{part} ended in error").into()) }
    }
}

/// A display of its own, at a number that the server finds free itself.
struct Display {
    server: Child,
    number: u32,
}

impl Display {
    fn open() -> Result<Self, Failure> {
        let mut server = Command::new("Xvfb")
            .args(["-displayfd", "1", "-screen", "0", "1500x950x24", "-nolisten", "tcp"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()?;
        let mut line = String::new();
        BufReader::new(server.stdout.take().ok_or("the server's output is piped")?).read_line(&mut line)?;
        Ok(Self { server, number: line.trim().parse()? })
    }
}

impl Drop for Display {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}
