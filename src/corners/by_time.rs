//! Corners and passes of a log without positions: marks from the yaw rate along the way driven (or against time, where
//! no speed was measured). What needs a place is missing, with its reason.

use crate::corners::find::{CornerParams, Span, corners};
use crate::corners::marks::Measurements;
use crate::corners::passes::{fastest, slowest, speed_at};
use crate::corners::timeline::Timeline;
use crate::corners::trips::{Edits, Marks, corner_number, corrected, locate_all, trips};
use crate::corners::{Apex, ApexBy, Corner, Mark, Pass, Unclear};
use crate::job;
use crate::session::{Channel, Estimate, Path};
use crate::smooth::Noise;
use crate::track::pattern::Pattern;

/// A corner without a measured speed: a yaw rate of 0.12 rad/s (7 °/s) or more, by 20° or more, two within 0.6 s joined.
const BY_TIME: CornerParams = CornerParams { max_radius_m: 1.0 / 0.12, min_angle_deg: 20.0, merge_within_m: 0.6 };

/// Corners of the pattern and all passes through them, in order of lap and corner.
pub fn passes_by_time(
    path: &Path,
    pattern: &Pattern,
    yaw_rate: &Channel,
    speed: Option<&Channel>,
    edits: Edits<'_>,
    context: &job::Context,
) -> Result<(Vec<Corner>, Vec<Pass>), job::Cancelled> {
    let params = if speed.is_some() { CornerParams::default() } else { BY_TIME };
    let spans = corners(&pattern.line, &params);
    let timeline = Timeline::new(path, &pattern.places);
    let trips = trips(&pattern.laps, pattern.line.length_m, &spans, &timeline);
    let noise = Noise::of_yaw_rate(yaw_rate);
    let measured = Measurements {
        path,
        noise: &noise,
        yaw_rate: Some(yaw_rate),
        heading: None,
        fixes: &[],
        has_speed: speed.is_some(),
    };
    let marks = if measured.has_yaw_rate() {
        locate_all(&measured, &trips, spans.len(), context)?
    } else {
        vec![Marks::default(); trips.len()]
    };
    let mut passes: Vec<Pass> = Vec::with_capacity(trips.len());
    for ((lap, corner, window), marks) in trips.iter().zip(marks) {
        let marked = corrected(marks, edits, lap, *corner, window);
        let previous_exit_s = passes.last().and_then(|it| it.exit).map(|it| it.t_s.value);
        let between = marked.turn_in.zip(marked.exit).map(|(from, to)| (from.value, to.value));
        let slowest = speed.and(between).and_then(|it| slowest(path, speed, it));
        let approach_s = marked.turn_in.map(|it| (previous_exit_s.unwrap_or(window.from_s), it.value));
        let fastest = speed.and(approach_s).and_then(|it| fastest(path, it));
        let speed_of = |at: Option<Estimate>| speed.and(at).and_then(|it| speed_at(path, it));
        let mark = |t_s: Estimate| Mark {
            t_s,
            latitude_deg: None,
            longitude_deg: None,
            distance_m: None,
            speed_mps: speed_of(Some(t_s)),
        };
        let mut unclear = marked.unclear;
        unclear.push(Unclear::NoPosition);
        if speed.is_none() {
            unclear.push(Unclear::NoSpeed);
        }
        passes.push(Pass {
            lap: marked.lap,
            corner: corner_number(*corner),
            direction: spans[*corner].direction,
            turn_in: marked.turn_in.map(mark),
            apex: between.and_then(|it| middle(path, it)).map(|it| Apex {
                mark: mark(it),
                by: ApexBy::Curvature,
                gap_m: None,
            }),
            exit: marked.exit.map(mark),
            approach_speed_mps: fastest.map(|it| it.0),
            entry_speed_mps: speed_of(marked.turn_in),
            min_speed_mps: slowest.map(|it| it.0),
            min_speed_t_s: slowest.map(|it| it.1),
            exit_speed_mps: speed_of(marked.exit),
            entry_gate_speed_mps: None,
            exit_gate_speed_mps: None,
            time_s: None,
            path_m: None,
            exit_cost_s: None,
            entry_gate_t_s: None,
            exit_gate_t_s: None,
            edited: marked.edited,
            unclear,
        });
    }
    let corners = spans.iter().zip(1..).map(|(span, number)| corner(number, span, speed.is_some())).collect();
    Ok((corners, passes))
}

fn middle(path: &Path, between_s: (f64, f64)) -> Option<Estimate> {
    crate::corners::apex::curvature_middle(path, between_s.0, between_s.1).map(|it| it.t_s)
}

fn corner(number: u32, span: &Span, has_speed: bool) -> Corner {
    Corner {
        number,
        name: Corner::own_name(number),
        direction: span.direction,
        angle_deg: span.angle_rad.to_degrees(),
        min_radius_m: has_speed.then_some(1.0 / span.peak_curvature_per_m),
        entry_gate_m: None,
        middle_m: None,
        exit_gate_m: None,
        latitude_deg: None,
        longitude_deg: None,
    }
}
