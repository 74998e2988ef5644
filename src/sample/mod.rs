//! The invented session of the demo: circuits, drivers, logs, footage and the truth behind them. Circuits, drivers and
//! places are made up; every figure that the program measures can be held against what is exactly true.

mod circuit;
mod driver;
mod line;
mod logger;
mod motion;
mod scenario;
mod shape;
mod truth;

pub use circuit::{Bend, Circuit};
pub use driver::{Driver, Habit};
pub use logger::{LoggerNoise, log_samples};
pub use motion::State;
pub use scenario::{Scenario, simulate};
pub use shape::{Middle, Ramp, Shape, UnitCurve};
pub use truth::{TrueLap, TrueMark, TruePass, Truth};
