//! The invented session of the demo: circuits, drivers, logs, footage and the truth behind them. Circuits, drivers and
//! places are made up; every figure that the program measures can be held against what is exactly true.

mod circuit;
mod code;
mod driver;
mod footage;
mod line;
mod logger;
mod motion;
#[cfg(feature = "media")]
mod render;
mod scenario;
mod shape;
mod truth;
mod write;
mod writers;

pub use circuit::{Bend, Circuit};
pub use code::{cell_px, code_size_px, draw_frame_code, read_frame_code};
pub use driver::{Driver, Habit, PlannedLine};
pub use footage::{Camera, Facing, FootageOptions, FrameRate, Look};
pub use logger::{LoggerNoise, log_samples};
pub use motion::State;
#[cfg(feature = "media")]
pub use render::write_footage;
pub use scenario::{Scenario, simulate};
pub use shape::{Middle, Ramp, Shape, UnitCurve};
pub use truth::{TrueLap, TrueMark, TruePass, Truth};
pub use write::{Error, SampleOptions, WrittenSample, file_names, write_sample};
pub use writers::{Between, CsvStyle, TimeStyle, csv_log, gpx_log, nmea_log};
