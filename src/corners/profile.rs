//! The curvature of one pass against the way, turned so that the corner bends upward; forward for the turn-in,
//! mirrored for the exit. Finds the rough shape of the rise that the exact fit starts from.

/// One place of the profile.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct At {
    /// The way, m (or log time, s, for a log without speed); rises.
    pub(super) s: f64,
    pub(super) t_s: f64,
    /// Curvature, 1/m, positive into the corner (or yaw rate, rad/s).
    pub(super) bend: f64,
}

/// The rise of a pass, roughly: the exact fit needs a window and a first guess.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RoughRise {
    /// Where the approach that the fit may use begins; all but free of the corner before it only from `low` on.
    pub(super) reach: f64,
    pub(super) low: f64,
    /// Where the bend has a tenth, and nine tenths, of the plateau.
    pub(super) foot: f64,
    pub(super) shoulder: f64,
    /// Where the bend has half of the plateau.
    pub(super) half: f64,
    /// Half-way through the hold: between half height and where the bend first falls again.
    pub(super) far: f64,
    /// The top of the first rise: where, and its bend.
    pub(super) top: f64,
    pub(super) plateau: f64,
}

/// A rise this share of the approach away from the usual one is another.
const ELSEWHERE_SHARE: f64 = 0.5;
/// A rise counts as over once the bend has fallen by this share of the corner's largest after it.
const FALL_SHARE: f64 = 0.12;
/// The hold ends where the bend falls below this share of the plateau.
const HOLD_SHARE: f64 = 0.7;
/// The first rise must reach this share of the corner's largest bend, …
const ONE_ARC_SHARE: f64 = 0.6;
/// … or this one, where the line has a second arc, which may be much the weaker; …
const TWO_ARCS_SHARE: f64 = 0.4;
/// … and where the other laps rose elsewhere, one of these.
const OTHER_RISE_SHARES: [f64; 4] = [0.25, 0.33, 0.5, 0.7];
/// The approach ends where the bend was last more than this share of the plateau, either way.
const APPROACH_SHARE: f64 = 0.2;
/// … and begins where it is back at this share.
const STRAIGHT_SHARE: f64 = 0.05;

/// What is known of the rise before one pass is looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sought {
    /// The part of `s` where the corner's largest bend is sought.
    pub(super) core: (f64, f64),
    /// How far before the rise the window reaches at most.
    pub(super) approach: f64,
    /// Whether the line has two arcs here.
    pub(super) two_apexes: bool,
    /// Where the laps on the whole reach half height.
    pub(super) usual: Option<f64>,
}

/// Finds the rise that begins the corner: the first that counts, or where the laps on the whole rise elsewhere, the one
/// nearest to that, so that two arcs of one corner are told apart alike on every lap. `None` where nothing rises.
pub(super) fn rough_rise(profile: &[At], sought: &Sought) -> Option<RoughRise> {
    let Sought { core, approach, two_apexes, usual } = *sought;
    let share = if two_apexes { TWO_ARCS_SHARE } else { ONE_ARC_SHARE };
    let first = first_rise(profile, core, approach, share)?;
    let Some(usual) = usual else { return Some(first) };
    let off = |it: &RoughRise| (it.half - usual).abs();
    if off(&first) <= ELSEWHERE_SHARE * approach {
        return Some(first);
    }
    let others = OTHER_RISE_SHARES.iter().filter_map(|share| first_rise(profile, core, approach, *share));
    let nearest = others.min_by(|a, b| off(a).total_cmp(&off(b)));
    Some(nearest.filter(|it| off(it) <= ELSEWHERE_SHARE * approach).unwrap_or(first))
}

/// Finds the first rise to a `share` of the corner's largest bend.
fn first_rise(profile: &[At], core: (f64, f64), approach: f64, share: f64) -> Option<RoughRise> {
    let largest = profile
        .iter()
        .filter(|it| it.s >= core.0 && it.s <= core.1)
        .map(|it| it.bend)
        .fold(f64::NEG_INFINITY, f64::max);
    if !largest.is_finite() || largest <= 0.0 {
        return None;
    }
    let first = profile.iter().position(|it| it.s >= core.0 && it.bend >= share * largest)?;
    let mut top = first;
    for (index, it) in profile.iter().enumerate().skip(first).take_while(|(_, it)| it.s <= core.1) {
        if it.bend > profile[top].bend {
            top = index;
        } else if it.bend < profile[top].bend - FALL_SHARE * largest {
            break;
        }
    }
    let plateau = profile[top].bend;
    let half = crossing_before(profile, top, 0.5 * plateau)?;
    let foot = crossing_before(profile, index_before(profile, half)?, 0.1 * plateau).unwrap_or(profile[0].s);
    // The rise ends where the bend first reaches nine tenths after having passed the half.
    let after_half = profile.partition_point(|it| it.s <= half);
    let ninth = (after_half..=top).find(|index| profile[*index].bend >= 0.9 * plateau).unwrap_or(top);
    let shoulder = crossing_before(profile, ninth, 0.9 * plateau).unwrap_or(profile[ninth].s);
    let (reach, low) = approach_from(profile, foot, plateau, approach);
    let falls = profile[ninth..].iter().find(|it| it.bend < HOLD_SHARE * plateau).map_or(profile[top].s, |it| it.s);
    let far = 0.5 * (half + falls);
    Some(RoughRise { reach, low, foot, half, far, shoulder, top: profile[top].s, plateau })
}

/// Where the approach begins that a fit may call level: as far back as it may reach, or as the bend allows; a corner
/// before it is left until its own bend is all but gone.
fn approach_from(profile: &[At], foot: f64, plateau: f64, reach: f64) -> (f64, f64) {
    let before = &profile[..profile.partition_point(|it| it.s < foot)];
    let bent = |it: &At| it.bend.abs() > APPROACH_SHARE * plateau;
    let last = before.iter().rposition(|it| bent(it) || foot - it.s > reach);
    let rest = &before[last.map_or(0, |it| it + 1)..];
    let from = rest.first().map_or(foot, |it| it.s);
    if !last.is_some_and(|it| bent(&before[it])) {
        return (from, from);
    }
    let straight = rest.iter().find(|it| it.bend.abs() <= STRAIGHT_SHARE * plateau);
    let straightest = || rest.iter().min_by(|a, b| a.bend.abs().total_cmp(&b.bend.abs()));
    (from, straight.or_else(straightest).map_or(foot, |it| it.s))
}

/// Where the bend last rose through `level` at or before `index`, between samples.
fn crossing_before(profile: &[At], index: usize, level: f64) -> Option<f64> {
    let below = profile[..=index].iter().rposition(|it| it.bend < level)?;
    let (a, b) = (profile[below], *profile.get(below + 1)?);
    let share = ((level - a.bend) / (b.bend - a.bend)).clamp(0.0, 1.0);
    Some(a.s + share * (b.s - a.s))
}

fn index_before(profile: &[At], s: f64) -> Option<usize> {
    profile.partition_point(|it| it.s <= s).checked_sub(1)
}

/// The same profile driven backwards: places negated and in reverse order.
pub(super) fn mirrored(profile: &[At]) -> Vec<At> {
    profile.iter().rev().map(|it| At { s: -it.s, ..*it }).collect()
}

/// Log time at a place of the profile, between its samples; outside, the end's.
pub(super) fn time_at(profile: &[At], s: f64) -> Option<f64> {
    let next = profile.partition_point(|it| it.s <= s).clamp(1, profile.len().checked_sub(1)?);
    let (a, b) = (profile[next - 1], profile.get(next)?);
    let share = ((s - a.s) / (b.s - a.s).max(1e-9)).clamp(0.0, 1.0);
    Some(a.t_s + share * (b.t_s - a.t_s))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn profile(bend: impl Fn(f64) -> f64) -> Vec<At> {
        (0..=800).map(|i| f64::from(i) * 0.1).map(|s| At { s, t_s: s / 10.0, bend: bend(s) }).collect()
    }

    fn sought(core: (f64, f64)) -> Sought {
        Sought { core, approach: 20.0, two_apexes: false, usual: None }
    }

    #[test]
    fn a_trapezoid_is_windowed_about_its_rise() {
        let ramp = |s: f64, from: f64, to: f64| ((s - from) / (to - from)).clamp(0.0, 1.0);
        let rough =
            rough_rise(&profile(|s| 0.1 * (ramp(s, 30.0, 38.0) - ramp(s, 50.0, 60.0))), &sought((20.0, 70.0))).unwrap();
        assert!((rough.foot - 30.8).abs() < 0.1 && (rough.shoulder - 37.2).abs() < 0.1, "{rough:?}");
        assert!((rough.low - 10.8).abs() < 0.3, "{rough:?}");
    }

    #[test]
    fn the_first_of_two_rises_is_taken() {
        let bump = |s: f64, at: f64| (1.0 - ((s - at) / 8.0).powi(2)).max(0.0);
        let rough =
            rough_rise(&profile(|s| 0.08 * bump(s, 30.0) + 0.1 * bump(s, 50.0)), &sought((15.0, 70.0))).unwrap();
        assert!((rough.plateau - 0.08).abs() < 1e-3, "{rough:?}");
    }

    #[test]
    fn nothing_rises_on_a_straight() {
        assert_eq!(rough_rise(&profile(|_| 0.0), &sought((0.0, 80.0))), None);
        assert_eq!(rough_rise(&[], &sought((0.0, 80.0))), None);
    }

    /// A strong arc and a weak one at the edge of what counts: the usual place decides, not the lap.
    #[test]
    fn the_usual_place_tells_which_of_two_arcs_begins_the_corner() {
        let bump = |s: f64, at: f64| (1.0 - ((s - at) / 8.0).powi(2)).max(0.0);
        for weak in [0.055, 0.065] {
            let profile = profile(|s| weak * bump(s, 25.0) + 0.1 * bump(s, 55.0));
            let half =
                |usual| rough_rise(&profile, &Sought { usual: Some(usual), ..sought((15.0, 70.0)) }).unwrap().half;
            assert!((half(19.0) - 19.3).abs() < 0.5, "{}", half(19.0));
            assert!((half(49.0) - 49.3).abs() < 0.5, "{}", half(49.0));
        }
    }

    #[test]
    fn the_tail_of_a_corner_before_is_no_approach() {
        let tail = |s: f64| 0.1 * (1.0 - s / 20.0).max(0.0);
        let rise = |s: f64| 0.1 * ((s - 30.0) / 8.0).clamp(0.0, 1.0);
        let rough = rough_rise(&profile(|s| rise(s) - tail(s)), &sought((25.0, 70.0))).unwrap();
        assert!(rough.low > 18.9 && rough.low < 20.5 && rough.reach < rough.low, "{rough:?}");
    }
}
