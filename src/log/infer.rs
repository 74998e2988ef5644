//! Units that a file does not name, inferred: speeds and yaw rates against the positions' own motion where they move
//! enough, else from the size of the values. What is inferred is always noted as assumed.

use crate::log::place::offset_m;
use crate::log::unit::{self, Unit};
use crate::session::{Channel, ChannelKind, Fix};
use crate::units::wrap_angle;

/// Chords of the path over which its speed and course are taken: at least this long, so that receiver noise is small.
const CHORD_S: f64 = 1.0;
/// Not over pauses.
const LONGEST_CHORD_S: f64 = 10.0;
/// Below this the path says nothing about speed.
const SLOWEST_MPS: f64 = 1.0;
/// Below this it says nothing about course.
const SLOWEST_FOR_COURSE_MPS: f64 = 3.0;
/// Chords needed before a comparison counts.
const CHORDS_NEEDED: usize = 5;
/// A ratio this near (as a logarithm) to a unit's is that unit's: mph and kn are 0.14 apart, km/h and ft/s 0.09.
const RATIO_TOLERANCE: f64 = 0.045;
/// Karts turn at up to about 2 rad/s and hardly ever below 3 deg/s on a whole lap: 95 % of the values tell.
const YAW_RATE_LIMIT: f64 = 3.0;
/// Tyres give at most about 3 g: larger values are m/s².
const LARGEST_G: f64 = 4.0;
/// A share is at most 1; a little more is a sensor's offset.
const LARGEST_SHARE: f64 = 1.5;

/// The unit of a channel whose file names none. `raw` is in that unit; fixes may be empty.
pub(crate) fn unit_of(kind: ChannelKind, raw: &Channel, fixes: &[Fix]) -> Unit {
    match kind {
        ChannelKind::Speed => speed_unit(raw, fixes).unwrap_or(unit::METRE_PER_SECOND),
        ChannelKind::YawRate => yaw_rate_unit(raw, fixes).unwrap_or_else(|| {
            if quantile(raw, 0.95) > YAW_RATE_LIMIT { unit::DEGREE_PER_SECOND } else { unit::RADIAN_PER_SECOND }
        }),
        ChannelKind::Heading if quantile(raw, 1.0) <= std::f64::consts::TAU + 0.01 => unit::RADIAN,
        ChannelKind::Heading => unit::DEGREE,
        ChannelKind::LateralAcceleration | ChannelKind::LongitudinalAcceleration => {
            if quantile(raw, 0.99) > LARGEST_G {
                unit::METRE_PER_SECOND_SQUARED
            } else {
                unit::GRAVITY
            }
        }
        ChannelKind::Throttle if quantile(raw, 0.99) > LARGEST_SHARE => unit::PERCENT,
        ChannelKind::Throttle => unit::SHARE,
        ChannelKind::Brake | ChannelKind::Steering => unit::OWN,
        ChannelKind::EngineSpeed => unit::PER_MINUTE,
        ChannelKind::Satellites | ChannelKind::Hdop => unit::COUNT,
    }
}

/// Whether leaving the unit out is usual, so that taking the only one there is needs no note.
pub(crate) fn goes_without_saying(kind: ChannelKind) -> bool {
    matches!(kind, ChannelKind::EngineSpeed | ChannelKind::Satellites | ChannelKind::Hdop)
}

/// A straight piece between two fixes.
#[derive(Debug, Clone, Copy)]
struct Chord {
    from_s: f64,
    to_s: f64,
    speed_mps: f64,
    heading_rad: f64,
}

fn chords(fixes: &[Fix]) -> Vec<Chord> {
    let mut chords = Vec::new();
    let mut from = 0;
    for to in 1..fixes.len() {
        let duration_s = fixes[to].t_s - fixes[from].t_s;
        if duration_s < CHORD_S {
            continue;
        }
        if duration_s <= LONGEST_CHORD_S {
            let [x_m, y_m] = offset_m(&fixes[from], &fixes[to]);
            let (from_s, to_s) = (fixes[from].t_s, fixes[to].t_s);
            chords.push(Chord { from_s, to_s, speed_mps: x_m.hypot(y_m) / duration_s, heading_rad: y_m.atan2(x_m) });
        }
        from = to;
    }
    chords
}

fn speed_unit(raw: &Channel, fixes: &[Fix]) -> Option<Unit> {
    let means = Means::new(raw);
    let mut ratios: Vec<f64> = chords(fixes)
        .iter()
        .filter(|chord| chord.speed_mps > SLOWEST_MPS)
        .filter_map(|chord| Some(means.between(chord.from_s, chord.to_s)? / chord.speed_mps))
        .filter(|ratio| *ratio > 0.0)
        .collect();
    if ratios.len() < CHORDS_NEEDED {
        return None;
    }
    let middle = ratios.len() / 2;
    let ratio = *ratios.select_nth_unstable_by(middle, f64::total_cmp).1;
    let candidates =
        [unit::METRE_PER_SECOND, unit::KILOMETRE_PER_HOUR, unit::MILE_PER_HOUR, unit::KNOT, unit::FOOT_PER_SECOND];
    let miss = |it: &Unit| (ratio * it.factor).ln().abs();
    candidates.into_iter().min_by(|a, b| f64::total_cmp(&miss(a), &miss(b))).filter(|it| miss(it) < RATIO_TOLERANCE)
}

fn yaw_rate_unit(raw: &Channel, fixes: &[Fix]) -> Option<Unit> {
    let means = Means::new(raw);
    let (mut from_path, mut from_channel, mut count) = (0.0, 0.0, 0);
    for pair in chords(fixes).windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let (from_s, to_s) = (0.5 * (a.from_s + a.to_s), 0.5 * (b.from_s + b.to_s));
        if a.speed_mps.min(b.speed_mps) < SLOWEST_FOR_COURSE_MPS || to_s - from_s > 2.0 * LONGEST_CHORD_S {
            continue;
        }
        if let Some(mean) = means.between(from_s, to_s) {
            from_path += (wrap_angle(b.heading_rad - a.heading_rad) / (to_s - from_s)).abs();
            from_channel += mean.abs();
            count += 1;
        }
    }
    if count < CHORDS_NEEDED || from_path <= 0.0 {
        return None;
    }
    // Half-way between the two on a scale of ratios: 180/π is 57.3, its root 7.6.
    let is_degrees = from_channel / from_path > 1_f64.to_degrees().sqrt();
    Some(if is_degrees { unit::DEGREE_PER_SECOND } else { unit::RADIAN_PER_SECOND })
}

/// Means of a channel over stretches of time, from running sums.
#[derive(Debug)]
struct Means<'a> {
    channel: &'a Channel,
    sums: Vec<f64>,
}

impl<'a> Means<'a> {
    fn new(channel: &'a Channel) -> Self {
        let mut sums = Vec::with_capacity(channel.len() + 1);
        sums.push(0.0);
        let mut sum = 0.0;
        for value in &channel.value {
            sum += value;
            sums.push(sum);
        }
        Self { channel, sums }
    }

    /// Both ends included, because values of fixes lie on the ends of chords; `None` without a value between them.
    fn between(&self, from_s: f64, to_s: f64) -> Option<f64> {
        let from = self.channel.t_s.partition_point(|it| *it < from_s);
        let to = self.channel.t_s.partition_point(|it| *it <= to_s);
        (to > from).then(|| (self.sums[to] - self.sums[from]) / (to - from) as f64)
    }
}

/// Quantile of the absolute values; 0 of an empty channel.
fn quantile(channel: &Channel, share: f64) -> f64 {
    let mut sizes: Vec<f64> = channel.value.iter().map(|it| it.abs()).collect();
    if sizes.is_empty() {
        return 0.0;
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share of a length")]
    let at = ((sizes.len() - 1) as f64 * share).round() as usize;
    *sizes.select_nth_unstable_by(at, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A circle of 50 m radius at 15 m/s, 10 Hz: 0.3 rad/s.
    fn circle() -> Vec<Fix> {
        let at = |t_s: f64| {
            let angle = 0.3 * t_s;
            let metres_per_degree = 111_195.0;
            Fix {
                t_s,
                latitude_deg: 47.0 + 50.0 * angle.sin() / metres_per_degree,
                longitude_deg: 8.0 + 50.0 * angle.cos() / (metres_per_degree * 47_f64.to_radians().cos()),
            }
        };
        (0..600).map(|it| at(f64::from(it) * 0.1)).collect()
    }

    fn channel(value: f64) -> Channel {
        Channel { t_s: (0..600).map(|it| f64::from(it) * 0.1).collect(), value: vec![value; 600] }
    }

    #[test]
    fn a_speed_takes_the_unit_that_goes_with_the_path() {
        for expected in [unit::METRE_PER_SECOND, unit::KILOMETRE_PER_HOUR, unit::MILE_PER_HOUR, unit::KNOT] {
            let found = unit_of(ChannelKind::Speed, &channel(15.0 / expected.factor), &circle());
            assert_eq!(found.symbol, expected.symbol);
        }
        assert_eq!(unit_of(ChannelKind::Speed, &channel(54.0), &[]).symbol, "m/s");
    }

    #[test]
    fn a_yaw_rate_takes_the_unit_that_goes_with_the_path() {
        for (value, symbol) in [(0.3, "rad/s"), (17.2, "deg/s"), (-0.3, "rad/s")] {
            assert_eq!(unit_of(ChannelKind::YawRate, &channel(value), &circle()).symbol, symbol);
        }
        assert_eq!(unit_of(ChannelKind::YawRate, &channel(40.0), &[]).symbol, "deg/s");
        assert_eq!(unit_of(ChannelKind::YawRate, &channel(0.7), &[]).symbol, "rad/s");
    }
}
