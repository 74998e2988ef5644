//! What is gained where: by corner, along the lap, and put together; and how steady each corner is driven.

use maud::{Markup, html};

use crate::corners::figure::Figure;
use crate::findings::ToGain;
use crate::present;
use crate::report::html::session::{cell, theoretical};
use crate::report::html::{Page, table};
use crate::report::svg::{difference_in_words, for_each_width, time_difference};

pub(super) fn gains(page: &Page<'_>) -> Markup {
    let found = page.view.found;
    html! {
        section #gains aria-labelledby="gains-title" {
            h2 #gains-title { "Where time is gained" }
            @if found.to_gain.is_empty() {
                p { "This needs at least three timed laps with positions." }
            } @else {
                (theoretical(page))
                (by_corner(page, &found.to_gain))
            }
            (along_the_lap(page))
        }
    }
}

fn by_corner(page: &Page<'_>, gains: &[ToGain]) -> Markup {
    let most_s = gains.iter().map(|it| it.gain_s.value).fold(0.0, f64::max);
    let share = |it: &ToGain| (100.0 * it.gain_s.value / most_s).clamp(0.0, 100.0);
    html! { (gains_table(page, gains, most_s, share)) p.aside { "A hollow bar lies inside its interval." } }
}

fn gains_table(page: &Page<'_>, gains: &[ToGain], most_s: f64, share: impl Fn(&ToGain) -> f64) -> Markup {
    table(
        "From entry gate to the next entry gate: the mean of the clean passes against the best",
        &html! {
            thead { tr {
                th scope="col" { "Corner" }
                th.figure scope="col" { "Mean,\u{a0}s" }
                th.figure scope="col" { "To gain,\u{a0}s" }
                th.bars scope="col" { "Share" }
                th.figure scope="col" { "Best on lap" }
            } }
            tbody {
                @for it in gains {
                    tr {
                        th scope="row" { (page.corner_link(it.corner)) }
                        (cell(Some(it.mean_s)))
                        (cell(Some(it.gain_s)))
                        td.bars {
                            @if most_s > 0.0 {
                                span.bar.unsure[it.gain_s.value <= it.gain_s.ci95] style=(format!("width:{}%", present::fixed(share(it), 1))) {}
                            }
                        }
                        td.figure { (it.best_lap) }
                    }
                }
            }
        },
    )
}

fn along_the_lap(page: &Page<'_>) -> Markup {
    let Some((lap, best)) = page.typical_lap.zip(page.best_lap) else { return html! {} };
    let name = difference_in_words(&page.behind, lap, best);
    let corners = &page.view.analysis.corners;
    let is_drawn = page.behind.len() >= 2;
    html! {
        @if is_drawn {
            figure {
                (for_each_width(|size| time_difference(size, &page.behind, corners, &name).unwrap_or_default()))
                figcaption {
                    "Lap " (lap) " (typical) against lap " (best) " (best): where the line rises, time is lost. "
                    "The band is the 95 % interval, the shaded stretches are the corners."
                }
            }
        }
    }
}

/// The figures whose spread tells most of a driver's steadiness.
const STEADY: [Figure; 4] = [Figure::Time, Figure::MinSpeed, Figure::ExitGateSpeed, Figure::ApexPlace];

pub(super) fn consistency(page: &Page<'_>) -> Markup {
    let analysis = page.view.analysis;
    let unit = page.view.unit;
    html! {
        @if !analysis.corners.is_empty() {
            section #consistency aria-labelledby="consistency-title" {
                h2 #consistency-title { "Consistency" }
                p {
                    "How much each figure differs from pass to pass, beyond what measuring adds (standard deviation). "
                    "Where it stands behind “<” it is less than measuring can tell."
                }
                (table("Spread of each corner's figures over the timed laps", &html! {
                    thead { tr {
                        th scope="col" { "Corner" }
                        @for it in STEADY {
                            th.figure scope="col" { (present::figure_heading(it)) ", " (present::figure_unit(it, unit)) }
                        }
                        th.figure scope="col" { "Passes" }
                    } }
                    tbody { @for it in &analysis.corners { (steadiness(page, it.number)) } }
                }))
            }
        }
    }
}

fn steadiness(page: &Page<'_>, corner: u32) -> Markup {
    let of = |figure: Figure| {
        let all = page.view.found.steadiness.iter();
        all.filter(|it| it.corner == corner).find(|it| it.figure == figure).map(|it| it.pooled)
    };
    let digits = |it: Figure| if matches!(it, Figure::Time) { 2 } else { 1 };
    html! {
        tr {
            th scope="row" { (page.corner_link(corner)) }
            @for figure in STEADY {
                td.figure { (of(figure).map_or_else(|| present::UNKNOWN.to_owned(), |it| {
                    let scale = if figure.is_speed() { page.view.unit.from_mps(1.0) } else { 1.0 };
                    present::spread(&it, scale, digits(figure))
                })) }
            }
            td.figure { (of(Figure::Time).map_or_else(|| present::UNKNOWN.to_owned(), |it| it.count.to_string())) }
        }
    }
}
