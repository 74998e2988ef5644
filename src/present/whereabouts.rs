//! Where the playhead is, in words: lap, corner, distance, speed, time.

use crate::present::{UNKNOWN, clock_time, fixed, one_line};
use crate::units::SpeedUnit;

/// One moment of a session.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Whereabouts<'a> {
    /// Log time, s.
    pub t_s: f64,
    /// `None` off the laps.
    pub lap: Option<u32>,
    pub corner: Option<CornerWords<'a>>,
    /// Along the reference line, m.
    pub distance_m: Option<f64>,
    pub speed_mps: Option<f64>,
}

/// The corner that the moment belongs to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CornerWords<'a> {
    pub name: &'a str,
    /// The lap of its pass: not the kart's own on the way to a corner behind the gate.
    pub lap: u32,
    /// Where in the pass the moment lies.
    pub phase: &'a str,
}

/// One line: `Lap 3 · T4, approach · 412 m · 83.4 km/h · 2:13.456`.
pub fn whereabouts(here: Whereabouts<'_>, unit: SpeedUnit) -> String {
    let speed = here.speed_mps.map_or_else(|| UNKNOWN.to_owned(), |it| fixed(unit.from_mps(it), 1));
    let parts = [
        here.lap.map(|it| format!("Lap {it}")),
        here.corner.map(|it| corner_words(it, here.lap)),
        here.distance_m.map(|it| format!("{} m", fixed(it, 0))),
        Some(format!("{speed} {unit}")),
        Some(clock_time(here.t_s, 3)),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join(" · ")
}

/// "T4, approach", or "T1 of lap 4, approach".
fn corner_words(corner: CornerWords<'_>, lap: Option<u32>) -> String {
    let of_lap = lap.filter(|it| *it != corner.lap).map_or_else(String::new, |_| format!(" of lap {}", corner.lap));
    format!("{}{of_lap}, {}", one_line(corner.name), corner.phase.to_lowercase())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_known_is_left_out() {
        let here = Whereabouts {
            t_s: 133.456,
            lap: Some(3),
            corner: Some(CornerWords { name: "T4", lap: 3, phase: "At apex" }),
            distance_m: Some(412.3),
            speed_mps: Some(23.17),
        };
        assert_eq!(whereabouts(here, SpeedUnit::default()), "Lap 3 · T4, at apex · 412 m · 83.4 km/h · 2:13.456");
        let ahead = Whereabouts { lap: Some(2), ..here };
        let words = whereabouts(ahead, SpeedUnit::default());
        assert_eq!(words, "Lap 2 · T4 of lap 3, at apex · 412 m · 83.4 km/h · 2:13.456");
        let off = Whereabouts { t_s: 3.0, ..Whereabouts::default() };
        assert_eq!(whereabouts(off, SpeedUnit::MetresPerSecond), "– m/s · 0:03.000");
    }
}
