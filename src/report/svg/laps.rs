//! The times of the timed laps in their order, each with its interval.

use maud::{Markup, html};

use crate::report::svg::{Axes, Size, line_path, picture, px};
use crate::session::Estimate;
use crate::strip::Stretch;

/// Laps slower than the best by more than this share are drawn at the upper edge, so that one spin does not press all
/// other laps flat (trial).
const MOST_SHARE: f64 = 0.06;
/// The plot spans this much at least, s.
const LEAST_SPAN_S: f64 = 0.5;

/// `laps`: number and time, in order. `None` below two laps.
pub(in crate::report) fn lap_times(size: Size, laps: &[(u32, Estimate)], name: &str) -> Option<Markup> {
    let best_s = laps.iter().map(|it| it.1.value).min_by(f64::total_cmp)?;
    let worst_s = laps.iter().map(|it| it.1.value).max_by(f64::total_cmp)?;
    let top_s = worst_s.min(best_s * (1.0 + MOST_SHARE)).max(best_s + LEAST_SPAN_S);
    let spare_s = 0.08 * (top_s - best_s);
    let (first, last) = (f64::from(laps.first()?.0), f64::from(laps.last()?.0));
    let across = Stretch { from: first - 0.5, to: last + 0.5 };
    let axes = Axes::new(size, across, Stretch { from: best_s - spare_s, to: top_s + spare_s })?;
    if laps.len() < 2 {
        return None;
    }
    let dot = |(lap, time_s): &(u32, Estimate)| {
        let x = axes.x(f64::from(*lap));
        if time_s.value > top_s {
            let y = axes.y(axes.y.to);
            let path = line_path([(x, y), (x + 5.0, y + 9.0), (x - 5.0, y + 9.0)]);
            return html! { path.beyond d=(format!("{path}Z")) {} };
        }
        let whisker = [time_s.value - time_s.ci95, time_s.value + time_s.ci95];
        let whisker = whisker.map(|it| (x, axes.y(it.clamp(axes.y.from, axes.y.to))));
        let class = if time_s.value <= best_s { "dot best" } else { "dot" };
        html! {
            path.whisker d=(line_path(whisker)) {}
            circle class=(class) cx=(px(x)) cy=(px(axes.y(time_s.value))) r=(if time_s.value <= best_s { "6" } else { "4" }) {}
        }
    };
    Some(picture(
        "plot",
        size,
        name,
        &html! {
            (axes.grid_of_whole("lap", "s"))
            @for it in laps {
                (dot(it))
            }
        },
    ))
}
