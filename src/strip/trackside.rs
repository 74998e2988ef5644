//! Trackside footage on the log's clock. It is the same kart on the same log, so the two pictures are locked by time,
//! where two passes are locked by place. Takes a book's pins; touches no file.

use crate::book::TracksidePin;
use crate::clock::{Chapter, Pin, from_pins};
use crate::session::ClockMap;

/// The clock that pins give, and what each is off by.
#[derive(Debug, Clone, PartialEq)]
pub struct TracksideClock {
    pub map: ClockMap,
    /// One a pin, in their order: log time as pinned less as fitted, s. Zero by construction for one pin and for two.
    pub residuals_s: Vec<f64>,
}

/// One pin gives the offset, more give the rate too, by least squares (`clock::from_pins`). `None` without a pin.
pub fn trackside_clock(pins: &[TracksidePin]) -> Option<TracksideClock> {
    // The one file begins where recording time does; where it ends plays no part.
    let file = Chapter { duration_s: 0.0, created: None };
    let pins: Vec<Pin> = pins.iter().map(|it| Pin { recording_s: it.footage.seconds(), log_t_s: it.log_t_s }).collect();
    let fit = from_pins(&[file], &pins)?;
    Some(TracksideClock { map: fit.clocks.first()?.map?, residuals_s: fit.residuals_s })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::{SessionTime, VideoTime};

    fn pin(footage_s: f64, log_t_s: f64) -> TracksidePin {
        TracksidePin { footage: VideoTime::from_seconds(footage_s), log_t_s }
    }

    #[test]
    fn one_pin_puts_every_pass_of_the_clip_on_the_log() {
        let clock = trackside_clock(&[pin(4.0, 100.0)]).unwrap();
        // A lap of 40 s later the kart passes again.
        assert_eq!(clock.map.to_video(SessionTime(140.0)), VideoTime::from_seconds(44.0));
        assert!(clock.residuals_s.iter().all(|it| it.abs() < 1e-12));
        assert_eq!(trackside_clock(&[]), None);
    }

    #[test]
    fn more_pins_give_the_rate_and_show_a_wrong_one() {
        let two = trackside_clock(&[pin(0.0, 10.0), pin(100.0, 110.01)]).unwrap();
        assert!((two.map.rate_ppm - 100.0).abs() < 1e-6, "{two:?}");
        // Closed form for x = 0, 1, 2 and y − x = 0, 3, 0: mean 1, slope 0, residuals −1, 2, −1.
        let three = trackside_clock(&[pin(0.0, 0.0), pin(1.0, 4.0), pin(2.0, 2.0)]).unwrap();
        for (residual_s, expected_s) in three.residuals_s.iter().zip([-1.0, 2.0, -1.0]) {
            assert!((residual_s - expected_s).abs() < 1e-12);
        }
    }
}
