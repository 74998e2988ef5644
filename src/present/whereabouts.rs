//! Where the playhead is, in words: lap, corner, distance, speed, time.

use crate::present::{UNKNOWN, clock_time, fixed};
use crate::units::SpeedUnit;

/// One moment of a session.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Whereabouts<'a> {
    /// Log time, s.
    pub t_s: f64,
    /// `None` off the laps.
    pub lap: Option<u32>,
    pub corner: Option<&'a str>,
    /// Along the reference line, m.
    pub distance_m: Option<f64>,
    pub speed_mps: Option<f64>,
}

/// One line: `Lap 3 · T4 · 412 m · 83.4 km/h · 2:13.456`.
pub fn whereabouts(here: Whereabouts<'_>, unit: SpeedUnit) -> String {
    let speed = here.speed_mps.map_or_else(|| UNKNOWN.to_owned(), |it| fixed(unit.from_mps(it), 1));
    let parts = [
        here.lap.map(|it| format!("Lap {it}")),
        here.corner.map(str::to_owned),
        here.distance_m.map(|it| format!("{} m", fixed(it, 0))),
        Some(format!("{speed} {unit}")),
        Some(clock_time(here.t_s, 3)),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join(" · ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_known_is_left_out() {
        let here = Whereabouts {
            t_s: 133.456,
            lap: Some(3),
            corner: Some("T4"),
            distance_m: Some(412.3),
            speed_mps: Some(23.17),
        };
        assert_eq!(whereabouts(here, SpeedUnit::default()), "Lap 3 · T4 · 412 m · 83.4 km/h · 2:13.456");
        let off = Whereabouts { t_s: 3.0, ..Whereabouts::default() };
        assert_eq!(whereabouts(off, SpeedUnit::MetresPerSecond), "– m/s · 0:03.000");
    }
}
