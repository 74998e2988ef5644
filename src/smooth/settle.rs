//! Makes the channels agree with the positions before they are used together: the sign, unit and bias of the yaw rate,
//! the scale of a wheel speed, the bias of an accelerometer.

use crate::geom::Point;
use crate::geom::plane::Plane;
use crate::session::{Channel, ChannelKind, Note, NoteKind, Samples};
use crate::smooth::noise::{integrate, interpolate};
use crate::units::wrap_angle;

/// A yaw rate this weakly correlated with the path's turning is not used.
const MIN_CORRELATION: f64 = 0.5;
/// Course changes are compared over windows of this length, s.
const WINDOW_S: f64 = 1.0;
/// Slower than this, m/s, a course from positions says nothing.
const MOVING_MPS: f64 = 3.0;
/// High-rate channels are averaged into bins of this length, s: turning is far slower, and vibration averages out.
const BIN_S: f64 = 0.02;
/// How far a speed channel may be from the path's before its scale is corrected, as a share.
const SCALE_TOLERANCE: f64 = 0.02;
/// Smoothing of a yaw rate that stands alone, s.
pub(super) const YAW_ONLY_WINDOW_S: f64 = 0.4;

/// Positions on the plane and channels that agree with them.
#[derive(Debug, Clone, Default)]
pub(super) struct Settled {
    pub(super) fixes: Vec<(f64, Point)>,
    pub(super) speed: Option<Channel>,
    pub(super) heading: Option<Channel>,
    pub(super) yaw_rate: Option<Channel>,
    pub(super) acceleration: Option<Channel>,
}

pub(super) fn settle(samples: &Samples, plane: &Plane, notes: &mut Vec<Note>) -> Settled {
    let fixes: Vec<(f64, Point)> =
        samples.fixes().iter().map(|fix| (fix.t_s, plane.to_plane(fix.latitude_deg, fix.longitude_deg))).collect();
    let speed = samples.channel(ChannelKind::Speed).and_then(|it| settle_speed(&binned(it), &fixes, notes));
    let yaw_rate = match samples.channel(ChannelKind::YawRate) {
        Some(measured) => settle_yaw_rate(&binned(measured), &fixes, notes),
        None => samples.channel(ChannelKind::LateralAcceleration).zip(speed.as_ref()).and_then(|(lateral, speed)| {
            settle_yaw_rate(&yaw_rate_from_lateral(&binned(lateral), speed), &fixes, &mut Vec::new())
        }),
    };
    let acceleration = samples
        .channel(ChannelKind::LongitudinalAcceleration)
        .zip(speed.as_ref())
        .and_then(|(measured, speed)| settle_acceleration(&binned(measured), speed));
    Settled { fixes, speed, heading: samples.channel(ChannelKind::Heading).cloned(), yaw_rate, acceleration }
}

/// Averages a channel that is faster than the bins into them; a slower one stays as it is.
pub(super) fn binned(channel: &Channel) -> Channel {
    if channel.rate_hz().is_none_or(|rate_hz| rate_hz * BIN_S < 1.5) {
        return channel.clone();
    }
    let mut result = Channel::default();
    let mut from = 0;
    while from < channel.len() {
        let to = from + channel.t_s[from..].partition_point(|t_s| *t_s < channel.t_s[from] + BIN_S * 0.999);
        let count = (to - from) as f64;
        result.t_s.push(channel.t_s[from..to].iter().sum::<f64>() / count);
        result.value.push(channel.value[from..to].iter().sum::<f64>() / count);
        from = to;
    }
    result
}

/// ω = a / v (steady cornering), where the kart is fast enough for that to mean anything.
fn yaw_rate_from_lateral(lateral: &Channel, speed: &Channel) -> Channel {
    let mut result = Channel::default();
    for (t_s, lateral_mps2) in lateral.iter() {
        let speed_mps = interpolate(speed, t_s);
        if speed_mps > MOVING_MPS {
            result.t_s.push(t_s);
            result.value.push(lateral_mps2 / speed_mps);
        }
    }
    result
}

/// Straight-line fit y = slope·x + intercept with its correlation. `None` below ten pairs or without spread.
fn regress(pairs: &[(f64, f64)]) -> Option<(f64, f64, f64)> {
    if pairs.len() < 10 {
        return None;
    }
    let count = pairs.len() as f64;
    let mean_x = pairs.iter().map(|it| it.0).sum::<f64>() / count;
    let mean_y = pairs.iter().map(|it| it.1).sum::<f64>() / count;
    let (mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0);
    for (x, y) in pairs {
        xx += (x - mean_x).powi(2);
        yy += (y - mean_y).powi(2);
        xy += (x - mean_x) * (y - mean_y);
    }
    if xx <= 0.0 || yy <= 0.0 {
        return None;
    }
    let slope = xy / xx;
    Some((slope, mean_y - slope * mean_x, xy / (xx * yy).sqrt()))
}

/// Course changes of the fixes over windows: (from, to) in s and radians turned.
fn course_changes(fixes: &[(f64, Point)]) -> Vec<(f64, f64, f64)> {
    let mut courses: Vec<(f64, f64)> = Vec::new();
    let mut to = 0;
    for (t_s, position) in fixes {
        to = to.max(1);
        while to + 1 < fixes.len()
            && (fixes[to].0 < t_s + 0.4 || fixes[to].1.distance_m(*position) < 2.0)
            && fixes[to].0 < t_s + 2.0
        {
            to += 1;
        }
        let Some((later_s, later)) = fixes.get(to) else { break };
        let chord = *later - *position;
        let dt_s = later_s - t_s;
        if dt_s > 0.0 && dt_s < 2.5 && chord.x_m.hypot(chord.y_m) / dt_s > MOVING_MPS {
            courses.push((0.5 * (t_s + later_s), chord.y_m.atan2(chord.x_m)));
        }
    }
    let mut changes = Vec::new();
    let mut to = 0;
    for (from_s, course) in &courses {
        while to < courses.len() && courses[to].0 < from_s + WINDOW_S {
            to += 1;
        }
        let Some((to_s, later)) = courses.get(to) else { break };
        if to_s - from_s < WINDOW_S + 1.5 {
            changes.push((*from_s, *to_s, wrap_angle(later - course)));
        }
    }
    changes
}

/// The yaw rate with the path's sign, in rad/s, its mean bias taken out; `None` where it does not go with the path.
fn settle_yaw_rate(measured: &Channel, fixes: &[(f64, Point)], notes: &mut Vec<Note>) -> Option<Channel> {
    let turned = integrate(measured);
    let pairs: Vec<(f64, f64)> = course_changes(fixes)
        .into_iter()
        .filter(|(from_s, to_s, _)| {
            measured.t_s.first().is_some_and(|t| t < from_s) && measured.t_s.last().is_some_and(|t| t > to_s)
        })
        .map(|(from_s, to_s, course_rad)| {
            let span_s = to_s - from_s;
            (course_rad / span_s, (interpolate(&turned, to_s) - interpolate(&turned, from_s)) / span_s)
        })
        .collect();
    let (slope, bias, correlation) = regress(&pairs)?;
    if correlation.abs() < MIN_CORRELATION {
        notes.push(Note::new(NoteKind::YawRateNotUsed { correlation }));
        return None;
    }
    if slope < 0.0 {
        notes.push(Note::new(NoteKind::YawRateSignTurned));
    }
    // A slope near 57.3 or its inverse is degrees read as radians or the reverse; a slope near 1 is a sound sensor,
    // whose own scale is better than a course from positions.
    let scale = [1.0, std::f64::consts::PI / 180.0, 180.0 / std::f64::consts::PI]
        .into_iter()
        .find(|unit| (0.7..1.4).contains(&(slope.abs() * unit)))
        .unwrap_or(1.0 / slope.abs());
    let factor = scale.copysign(slope);
    let value = measured.value.iter().map(|it| (it - bias) * factor).collect();
    Some(Channel { t_s: measured.t_s.clone(), value })
}

/// The speed channel brought to the path's scale: wheel speeds depend on the tyre.
fn settle_speed(measured: &Channel, fixes: &[(f64, Point)], notes: &mut Vec<Note>) -> Option<Channel> {
    let travelled = integrate(measured);
    let mut pairs = Vec::new();
    let mut to = 0;
    for (t_s, position) in fixes {
        while to < fixes.len() && fixes[to].0 < t_s + WINDOW_S {
            to += 1;
        }
        let Some((later_s, later)) = fixes.get(to) else { break };
        let chord_m = later.distance_m(*position);
        let measured_m = interpolate(&travelled, *later_s) - interpolate(&travelled, *t_s);
        if later_s - t_s < WINDOW_S + 1.0 && chord_m > MOVING_MPS * (later_s - t_s) {
            pairs.push((chord_m, measured_m));
        }
    }
    if let Some(correlation) = contradiction(&pairs) {
        notes.push(Note::new(NoteKind::SpeedNotUsed { correlation }));
        return None;
    }
    // Chords are shorter than arcs, so only the straightest windows may judge: the larger ratios of chord to arc.
    let mut ratios: Vec<f64> = pairs.iter().filter(|it| it.1 > 1.0).map(|(chord, arc)| chord / arc).collect();
    if ratios.len() < 50 {
        return Some(measured.clone());
    }
    let place = ratios.len() * 3 / 4;
    let (_, factor, _) = ratios.select_nth_unstable_by(place, f64::total_cmp);
    if (*factor - 1.0).abs() < SCALE_TOLERANCE || !(0.2..5.0).contains(factor) {
        return Some(measured.clone());
    }
    notes.push(Note::new(NoteKind::SpeedScaled { factor: *factor }));
    Some(Channel { t_s: measured.t_s.clone(), value: measured.value.iter().map(|it| it * *factor).collect() })
}

/// A path whose pace varies by this share (standard deviation) tells whether a speed goes with it.
const TELLING_SPREAD: f64 = 0.12;

/// The correlation of a measured speed with the path's, where the path tells and the two do not go together.
fn contradiction(pairs: &[(f64, f64)]) -> Option<f64> {
    if pairs.len() < 50 {
        return None;
    }
    let count = pairs.len() as f64;
    let mean = pairs.iter().map(|it| it.0).sum::<f64>() / count;
    let spread = (pairs.iter().map(|it| (it.0 - mean).powi(2)).sum::<f64>() / count).sqrt();
    if spread < TELLING_SPREAD * mean {
        return None;
    }
    // A speed that never changes has no correlation at all.
    let correlation = regress(pairs).map_or(0.0, |it| it.2);
    (correlation < MIN_CORRELATION).then_some(correlation)
}

/// The accelerometer with its bias taken out, where it goes with the change of speed.
fn settle_acceleration(measured: &Channel, speed: &Channel) -> Option<Channel> {
    let gained = integrate(measured);
    let first_s = measured.t_s.first()?.max(*speed.t_s.first()?);
    let last_s = measured.t_s.last()?.min(*speed.t_s.last()?);
    let mut pairs = Vec::new();
    let mut from_s = first_s;
    while from_s + WINDOW_S < last_s {
        let to_s = from_s + WINDOW_S;
        pairs.push((
            (interpolate(speed, to_s) - interpolate(speed, from_s)) / WINDOW_S,
            (interpolate(&gained, to_s) - interpolate(&gained, from_s)) / WINDOW_S,
        ));
        from_s += 0.5 * WINDOW_S;
    }
    let (slope, bias, correlation) = regress(&pairs)?;
    if correlation < 0.7 || slope <= 0.0 {
        return None;
    }
    let value = measured.value.iter().map(|it| (it - bias) / slope).collect();
    Some(Channel { t_s: measured.t_s.clone(), value })
}
