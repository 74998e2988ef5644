//! Footage without a log: what is seen to turn becomes a log of yaw rate alone, on the footage's own clock.
//! Speeds and places stay unknown.

use std::collections::BTreeMap;
use std::f64::consts::TAU;

use crate::clock::motion::{ASSUMED_VIEW_DEG, SeenYaw};
use crate::session::{Channel, ChannelKind, LogKind, Note, NoteKind, Samples, SamplesParts, Source};
use crate::smooth::without_position;
use crate::track::pattern::find_pattern;

/// Shifts that count for less are passed over.
const LEAST_WEIGHT: f64 = 0.25;
/// A lap that turns by less than this, radians by the assumed angle of view, is no closed circuit that goes round once,
/// such as a figure of eight.
const LEAST_TURN: f64 = 0.4 * TAU;

/// A log of yaw rate from recordings' turning. `file` names it. The scale is that of a circuit: a lap turns by 360°.
/// Without laps it rests on an assumed angle of view, and a note says so.
pub(super) fn samples_of(seen: &SeenYaw, file: String) -> Samples {
    let assumed = ASSUMED_VIEW_DEG.to_radians();
    let unscaled = yaw_rate(seen, assumed);
    let per_lap = turn_of_a_lap(&unscaled);
    let (scale, note) = match per_lap.filter(|it| it.abs() >= LEAST_TURN) {
        Some(turn) => (TAU / turn.abs(), NoteKind::FootageIsLog { by_laps: true }),
        None if !seen.sees_anything() => (1.0, NoteKind::NothingSeenToMove),
        None => (1.0, NoteKind::FootageIsLog { by_laps: false }),
    };
    let source = Source {
        file,
        kind: LogKind::Footage,
        rows: seen.steps.len(),
        uses: Vec::new(),
        unused: Vec::new(),
        own_clock_s: None,
    };
    Samples::new(SamplesParts {
        start_utc: None,
        fixes: Vec::new(),
        channels: BTreeMap::from([(ChannelKind::YawRate, yaw_rate(seen, assumed * scale))]),
        sources: vec![source],
        notes: vec![Note::new(note)],
    })
}

/// In the middle between two frames each. Single wrong shifts go by the median of three.
fn yaw_rate(seen: &SeenYaw, radians_per_width: f64) -> Channel {
    let steps: Vec<(f64, f64)> = seen
        .steps
        .iter()
        .filter(|it| it.weight >= LEAST_WEIGHT && it.to_s > it.from_s)
        .map(|it| (0.5 * (it.from_s + it.to_s), it.turned / (it.to_s - it.from_s) * radians_per_width))
        .collect();
    let median = |index: usize| {
        let near = &steps[index.saturating_sub(1)..(index + 2).min(steps.len())];
        let mut values: Vec<f64> = near.iter().map(|it| it.1).collect();
        values.sort_by(f64::total_cmp);
        values[values.len() / 2]
    };
    Channel { t_s: steps.iter().map(|it| it.0).collect(), value: (0..steps.len()).map(median).collect() }
}

/// The usual change of heading from one lap to the next, rad; `None` without laps.
fn turn_of_a_lap(yaw_rate: &Channel) -> Option<f64> {
    let parts = SamplesParts {
        channels: BTreeMap::from([(ChannelKind::YawRate, yaw_rate.clone())]),
        ..SamplesParts::default()
    };
    let (path, _) = without_position(&Samples::new(parts))?;
    let pattern = find_pattern(&path, None, false)?;
    let turn = |from_s: f64, to_s: f64| Some(path.at(to_s)?.heading_rad - path.at(from_s)?.heading_rad);
    let timed = pattern.laps.iter().filter(|it| it.time_s.is_some());
    let mut turns: Vec<f64> = timed.filter_map(|lap| turn(lap.start_t_s, lap.end_t_s)).collect();
    turns.sort_by(f64::total_cmp);
    turns.get(turns.len() / 2).copied()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::motion::{SeenFrame, combine};

    /// Laps of 40 s with three left corners and one to the right: by construction a lap turns by 360°, the picture by
    /// 1.9 shares of its width per radian.
    #[test]
    fn a_lap_sets_the_scale() {
        let corner = |phase: f64, at: f64, turn: f64| {
            let away = phase - at;
            if away.abs() < 2.0 { turn * (1.0 + (std::f64::consts::PI * away / 2.0).cos()) / 4.0 } else { 0.0 }
        };
        let rate = |t_s: f64| {
            let phase = t_s.rem_euclid(40.0);
            let turns = [(5.0, 0.4), (14.0, 0.5), (24.0, -0.2), (33.0, 0.3)];
            turns.iter().map(|(at, share)| corner(phase, *at, share * TAU)).sum::<f64>()
        };
        let frames: Vec<SeenFrame> = (0..6000)
            .map(|i| {
                let from_s = f64::from(i) / 30.0;
                let turned = 1.9 * rate(from_s + 1.0 / 60.0) / 30.0;
                let bands = vec![(turned, 0.8); 3];
                SeenFrame { from_s, to_s: from_s + 1.0 / 30.0, bands, spread: None }
            })
            .collect();
        let samples = samples_of(&combine(&frames), "a.mp4".to_owned());
        let found = samples.channel(ChannelKind::YawRate).unwrap();
        for (t_s, value) in found.iter() {
            // The scale is known as well as the laps' ends are.
            assert!((value - rate(t_s)).abs() < 0.03 * TAU / 4.0, "{value} at {t_s} s for {}", rate(t_s));
        }
        assert!(matches!(samples.notes()[0].kind, NoteKind::FootageIsLog { by_laps: true }));
    }

    #[test]
    fn without_laps_the_angle_of_view_is_assumed() {
        let frame = |i: i32| SeenFrame {
            from_s: f64::from(i) / 30.0,
            to_s: f64::from(i + 1) / 30.0,
            bands: vec![(0.01, 0.8); 3],
            spread: None,
        };
        let frames: Vec<SeenFrame> = (0..300).map(frame).collect();
        let samples = samples_of(&combine(&frames), String::new());
        assert!(matches!(samples.notes()[0].kind, NoteKind::FootageIsLog { by_laps: false }));
    }

    #[test]
    fn where_nothing_moves_it_is_said() {
        let samples = samples_of(&SeenYaw::default(), String::new());
        assert!(samples.channel(ChannelKind::YawRate).is_none());
        assert!(matches!(samples.notes()[0].kind, NoteKind::NothingSeenToMove));
    }
}
