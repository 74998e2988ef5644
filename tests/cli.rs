//! The program as its user calls it: exit codes, both streams, files made.

mod books;
mod checks;
#[cfg(feature = "media")]
mod clips;
mod contract;
mod errors;
mod findings;
#[cfg(feature = "media")]
mod footage;
mod help;
mod hostile;
mod passes;
#[cfg(feature = "media")]
mod reels;
mod report;
mod season;
#[cfg(feature = "media")]
mod seen;

use std::ffi::OsStr;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The program in its own empty folder.
pub struct Program {
    folder: tempfile::TempDir,
}

/// What a run gave.
#[derive(Debug)]
pub struct Outcome {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Program {
    pub fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    pub fn path(&self, name: impl AsRef<Path>) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn with_file(self, name: impl AsRef<Path>, content: impl AsRef<[u8]>) -> Self {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, content).unwrap();
        self
    }

    pub fn run<S: AsRef<OsStr>>(&self, args: impl IntoIterator<Item = S>) -> Outcome {
        Outcome::of(&mut self.command(args))
    }

    /// As where nobody sits at a screen.
    #[cfg(feature = "window")]
    pub fn run_without_display<S: AsRef<OsStr>>(&self, args: impl IntoIterator<Item = S>) -> Outcome {
        Outcome::of(self.command(args).env_remove("DISPLAY").env_remove("WAYLAND_DISPLAY").env("GDK_BACKEND", "x11"))
    }

    pub fn command<S: AsRef<OsStr>>(&self, args: impl IntoIterator<Item = S>) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_cornerbook"));
        // What is seen to move in test films is no business of this user's cache.
        command.env("XDG_CACHE_HOME", self.path(".cache"));
        command.args(args).current_dir(self.folder.path()).stdin(Stdio::null());
        command
    }

    /// Names of the files in the folder, in order.
    pub fn files(&self) -> Vec<String> {
        let entries = std::fs::read_dir(self.folder.path()).unwrap();
        let mut names: Vec<String> = entries.map(|it| it.unwrap().file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }
}

impl Outcome {
    fn of(command: &mut Command) -> Self {
        let output = command.output().unwrap();
        Self {
            code: output.status.code().unwrap(),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// Done, with nothing amiss.
    #[track_caller]
    pub fn is_done(&self) -> &Self {
        assert_eq!(self.code, 0, "{self:?}");
        self
    }

    /// Refused with one line on standard error and nothing on standard output.
    #[track_caller]
    pub fn is_refused(&self, code: i32) -> &str {
        assert_eq!((self.code, self.out.as_str()), (code, ""), "{self:?}");
        let errors: Vec<&str> = self.err.lines().filter(|it| it.starts_with("error: ")).collect();
        assert_eq!(errors.len(), 1, "one line says what is wrong: {self:?}");
        errors[0]
    }
}

/// Straight and half circle, twice: the shape whose laps can be reckoned by hand.
pub mod stadium {
    /// Each straight, m.
    pub const STRAIGHT_M: f64 = 120.0;
    /// Of the half circles, driven to the left, m.
    pub const RADIUS_M: f64 = 15.0;
    pub const SPEED_MPS: f64 = 12.0;
    pub const LAP_M: f64 = 2.0 * STRAIGHT_M + std::f64::consts::TAU * RADIUS_M;
    pub const LAP_S: f64 = LAP_M / SPEED_MPS;
    pub const LAPS: u32 = 6;
    /// Metres of one degree: on a sphere of the mean radius.
    const DEGREE_M: f64 = 111_195.0;

    /// East and north in metres, at a distance from the middle of the first straight, which leads east.
    pub fn at(distance_m: f64) -> (f64, f64) {
        let half_m = STRAIGHT_M / 2.0;
        let arc_m = std::f64::consts::PI * RADIUS_M;
        let along_m = distance_m.rem_euclid(LAP_M);
        if along_m < half_m {
            (along_m, 0.0)
        } else if along_m < half_m + arc_m {
            let angle = (along_m - half_m) / RADIUS_M;
            (half_m + RADIUS_M * angle.sin(), RADIUS_M * (1.0 - angle.cos()))
        } else if along_m < half_m + arc_m + STRAIGHT_M {
            (half_m - (along_m - half_m - arc_m), 2.0 * RADIUS_M)
        } else if along_m < half_m + 2.0 * arc_m + STRAIGHT_M {
            let angle = (along_m - half_m - arc_m - STRAIGHT_M) / RADIUS_M;
            (-half_m - RADIUS_M * angle.sin(), RADIUS_M * (1.0 + angle.cos()))
        } else {
            (along_m - LAP_M, 0.0)
        }
    }

    /// Near the equator, where a degree is as long in both directions, but not at 0, 0, which receivers give for
    /// "no position".
    pub fn degrees((x_m, y_m): (f64, f64)) -> (f64, f64) {
        (0.01 + y_m / DEGREE_M, 8.0 + x_m / DEGREE_M)
    }
}

/// A log of the stadium, ten rows a second, with a date where wanted. Starts 3 s before the gate.
pub fn stadium_csv(dated: bool) -> String {
    use stadium::{LAP_S, LAPS, SPEED_MPS};
    let mut text = String::from("time,latitude,longitude,speed_mps\n");
    let rows = ((f64::from(LAPS) * LAP_S + 6.0) * 10.0) as u32;
    for row in 0..rows {
        let t_s = f64::from(row) / 10.0;
        let (latitude, longitude) = stadium::degrees(stadium::at((t_s - 3.0) * SPEED_MPS));
        let time = if dated {
            let start: chrono::DateTime<chrono::Utc> = "2026-05-03T10:00:00Z".parse().unwrap();
            (start + chrono::TimeDelta::milliseconds(i64::from(row) * 100)).to_rfc3339()
        } else {
            format!("{t_s:.1}")
        };
        writeln!(text, "{time},{latitude:.8},{longitude:.8},{SPEED_MPS}").unwrap();
    }
    text
}

/// A film of 10 s at 25 frames a second with this creation time, made by ffmpeg as an outside writer.
#[cfg(feature = "media")]
pub fn film(program: &Program, name: &str, created: Option<&str>) {
    film_of(program, name, created, 10);
}

/// The same, so many seconds long.
#[cfg(feature = "media")]
pub fn film_of(program: &Program, name: &str, created: Option<&str>, seconds: u32) {
    film_sized(program, name, created, seconds, "320x180");
}

/// The same in another size.
#[cfg(feature = "media")]
pub fn film_sized(program: &Program, name: &str, created: Option<&str>, seconds: u32, size: &str) {
    let pictures = format!("testsrc=size={size}:rate=25:duration={seconds}");
    let stamp = created.map(|it| format!("creation_time={it}"));
    let made = Command::new("ffmpeg")
        .args(["-v", "error", "-f", "lavfi", "-i", &pictures, "-pix_fmt", "yuv420p", "-preset", "veryfast"])
        .args(stamp.iter().flat_map(|it| ["-metadata", it]))
        .arg(program.path(name))
        .status()
        .expect("ffmpeg is one of the packages that `make test` installs");
    assert!(made.success());
}

/// The stadium's gate, in the middle of its first straight.
pub fn stadium_track() -> String {
    let (south, longitude) = stadium::degrees((0.0, -5.0));
    let (north, _) = stadium::degrees((0.0, 5.0));
    format!(
        r#"{{"type":"FeatureCollection","features":[{{"type":"Feature","properties":{{"role":"start_finish"}},
        "geometry":{{"type":"LineString","coordinates":[[{longitude},{north}],[{longitude},{south}]]}}}}]}}"#
    )
}
