//! One driver's run on one circuit: the line, how fast it is driven, and the truth about it.

use chrono::{DateTime, Utc};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use crate::sample::circuit::Circuit;
use crate::sample::driver::{Driver, plan};
use crate::sample::line;
use crate::sample::motion;
use crate::sample::truth::Truth;

/// Seconds since 1970 of the invented sessions' start: 2031-05-18 09:30:00 UTC.
const START_EPOCH_S: i64 = 1_936_863_000;

/// A run: standing start after the gate, lap out, timed laps, lap in.
#[derive(Debug, Clone)]
pub struct Scenario {
    pub circuit: Circuit,
    pub driver: Driver,
    /// Date and time of the run's time 0.
    pub start_utc: DateTime<Utc>,
    pub truth: Truth,
}

/// Drives `laps` timed laps. The same seed gives the same run.
pub fn simulate(circuit: &Circuit, driver: &Driver, laps: u32, seed: u64) -> Scenario {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let passes = plan(circuit, driver, laps, &mut rng);
    let line = line::drive(circuit, &passes);
    let states = motion::drive_along(&line);
    let truth = Truth::new(circuit, &line, states);
    Scenario {
        circuit: circuit.clone(),
        driver: driver.clone(),
        start_utc: DateTime::from_timestamp(START_EPOCH_S, 0).unwrap_or_default(),
        truth,
    }
}
