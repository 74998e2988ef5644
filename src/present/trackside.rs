//! Trackside footage in words: known places, pins, and the line under its picture.

use crate::corners::KnownPlace;
use crate::present::{clock_time, fixed, mark, one_line, signed};

/// "start/finish gate", "Hairpin apex". `corner`: the name of the place's corner.
pub fn known_place(place: KnownPlace, corner: &str) -> String {
    let of_corner = |what: &str| format!("{} {what}", one_line(corner));
    match place {
        KnownPlace::StartFinish => "start/finish gate".to_owned(),
        KnownPlace::EntryGate(_) => of_corner("entry gate"),
        KnownPlace::Mark(_, kind) => of_corner(mark(kind)),
        KnownPlace::ExitGate(_) => of_corner("exit gate"),
    }
}

/// How trackside footage lies on the log.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TracksideStanding {
    NotPinned,
    /// It is moved by itself, to be pinned.
    ByItself,
    /// By so many pins, the worst of which is off by so many frames where that can be told.
    InStep {
        pins: usize,
        worst_frames: Option<f64>,
    },
}

/// "kerb.mp4 · 0:04.200 · in step by 3 pins, off by 0.4 frames at most": the line under the picture. `at_s`:
/// presentation time of the frame on show, s.
pub fn trackside_here(name: &str, at_s: Option<f64>, standing: TracksideStanding) -> String {
    let standing = match standing {
        TracksideStanding::NotPinned => "not pinned yet".to_owned(),
        TracksideStanding::ByItself => "by itself".to_owned(),
        TracksideStanding::InStep { pins, worst_frames } => {
            let by = if pins == 1 { "1 pin".to_owned() } else { format!("{pins} pins") };
            let off = worst_frames.map(|it| format!(", off by {} frames at most", fixed(it, 1))).unwrap_or_default();
            format!("in step by {by}{off}")
        }
    };
    let at = at_s.map(|it| clock_time(it, 3));
    [Some(one_line(name)), at, Some(standing)].into_iter().flatten().collect::<Vec<_>>().join(" · ")
}

/// Why footage shows nothing at a moment: it runs over other log times, s, in these laps where they are known.
pub fn footage_elsewhere(name: &str, runs_s: (f64, f64), laps: (Option<u32>, Option<u32>)) -> String {
    let laps = match laps {
        (Some(first), Some(last)) if first == last => format!(", lap {first}"),
        (Some(first), Some(last)) => format!(", laps {first} to {last}"),
        _ => String::new(),
    };
    let [from, until] = [runs_s.0, runs_s.1].map(|it| clock_time(it, 1));
    format!("{} does not show this moment, but {from} to {until} of the log{laps}.", one_line(name))
}

/// Why footage shows nothing at all: its file is gone.
pub fn file_missing(name: &str) -> String {
    format!("{} is not in its place, nor beside the book.", one_line(name))
}

/// "0:04.200 is lap 2, T3 apex · off by +0.4 frames": one pin. `place`: the known place that it is at, with its lap;
/// any other moment is told by its log time.
pub fn pin(at_s: f64, place: Option<(u32, &str)>, log_t_s: f64, off_frames: Option<f64>) -> String {
    let moment = match place {
        Some((lap, place)) => format!("lap {lap}, {place}"),
        None => format!("{} of the log", clock_time(log_t_s, 3)),
    };
    let off = off_frames.map(|it| format!(" · off by {} frames", signed(it, 1))).unwrap_or_default();
    format!("{} is {moment}{off}", clock_time(at_s, 3))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::MarkKind;

    #[test]
    fn places_carry_the_name_of_their_corner() {
        assert_eq!(known_place(KnownPlace::StartFinish, ""), "start/finish gate");
        assert_eq!(known_place(KnownPlace::Mark(3, MarkKind::TurnIn), "Hair\npin"), "Hair\\npin turn-in");
        assert_eq!(known_place(KnownPlace::ExitGate(3), "T3"), "T3 exit gate");
    }

    #[test]
    fn the_line_under_the_picture_says_how_sure_it_is() {
        let here = |standing| trackside_here("kerb.mp4", Some(4.2), standing);
        assert_eq!(here(TracksideStanding::NotPinned), "kerb.mp4 · 0:04.200 · not pinned yet");
        let one = TracksideStanding::InStep { pins: 1, worst_frames: None };
        assert_eq!(here(one), "kerb.mp4 · 0:04.200 · in step by 1 pin");
        let three = TracksideStanding::InStep { pins: 3, worst_frames: Some(0.42) };
        assert_eq!(here(three), "kerb.mp4 · 0:04.200 · in step by 3 pins, off by 0.4 frames at most");
        assert_eq!(trackside_here("kerb.mp4", None, TracksideStanding::ByItself), "kerb.mp4 · by itself");
    }

    #[test]
    fn a_pin_is_told_by_its_place_else_by_its_log_time() {
        assert_eq!(pin(4.2, Some((2, "T3 apex")), 61.5, None), "0:04.200 is lap 2, T3 apex");
        let off = pin(4.2, None, 61.5, Some(0.96));
        assert_eq!(off, "0:04.200 is 1:01.500 of the log · off by +1.0 frames");
        assert_eq!(pin(4.2, Some((2, "x")), 61.5, Some(-0.02)), "0:04.200 is lap 2, x · off by 0.0 frames");
    }

    #[test]
    fn footage_of_another_time_says_which() {
        let elsewhere = |laps| footage_elsewhere("kerb.mp4", (61.5, 85.04), laps);
        assert_eq!(elsewhere((None, Some(3))), "kerb.mp4 does not show this moment, but 1:01.5 to 1:25.0 of the log.");
        assert!(elsewhere((Some(2), Some(3))).ends_with("of the log, laps 2 to 3."));
        assert!(elsewhere((Some(2), Some(2))).ends_with("of the log, lap 2."));
    }
}
