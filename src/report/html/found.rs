//! Findings with their evidence, the dearest first, and what traffic cost.

use maud::{Markup, html};

use crate::findings::Finding;
use crate::present;
use crate::report::html::session::cell;
use crate::report::html::{Page, figure, table};
use crate::report::whole::Shows;

/// So many findings are shown whole; the rest are a table.
const SHOWN_WHOLE: usize = 12;

pub(super) fn findings(page: &Page<'_>) -> Markup {
    let found = page.view.found;
    let (whole, rest) = found.findings.split_at(found.findings.len().min(SHOWN_WHOLE));
    html! {
        section #findings aria-labelledby="findings-title" {
            h2 #findings-title { "Findings" }
            @if whole.is_empty() {
                p { (present::nothing_found(found.limits.is_some())) }
            } @else {
                p.lead { "The dearest first, by what each costs a lap on average." }
            }
            ol.findings {
                @for (index, it) in whole.iter().enumerate() { (finding(page, index, it)) }
            }
            @if !rest.is_empty() { (rest_of_them(page, rest)) }
            @if !found.traffic.is_empty() { (traffic(page)) }
        }
    }
}

fn finding(page: &Page<'_>, index: usize, it: &Finding) -> Markup {
    let evidence = it.evidence.iter().map(|one| (present::measure(one.measure), present::evidence(one)));
    let place = format!("lap {} at {}", it.seen_on_lap, present::clock_time(it.seen_at_s, 1));
    html! {
        li id=(format!("finding-{}", index + 1)) {
            article {
                h3 { (page.corner_link(it.corner)) " " span.what { (present::finding_kind(it.kind)) } }
                @if let Some(still) = page.still(Shows::Finding(index)) {
                    (figure(still, &format!("{}, {place}", present::finding_kind(it.kind)), &html! { "Lap " (it.seen_on_lap) }))
                }
                p.size {
                    strong { (present::fixed(it.per_lap_s(), 2)) " s" } " a lap on average: it is so "
                    (present::finding_size(it)) "."
                }
                p { (sentence(&present::finding_observation(it))) }
                p.advice { (sentence(present::finding_advice(it.kind))) }
                @if !it.evidence.is_empty() {
                    dl.evidence {
                        @for (name, (value, usual)) in evidence {
                            div { dt { (name) } dd { (value) span.aside { "usually " (usual) } } }
                        }
                    }
                }
                p.seen { "Seen best on " (place) "." (clip(page, it)) }
            }
        }
    }
}

/// Where a clip shows the very pass that the finding is seen on.
fn clip(page: &Page<'_>, it: &Finding) -> Markup {
    let of_pass = page.view.pictures.clips.iter().find(|clip| (clip.lap, clip.corner) == (it.seen_on_lap, it.corner));
    html! { @if let Some(clip) = of_pass { " " a href=(clip.file) { "See the clip" } "." } }
}

/// First letter large, a dot at the end.
pub(super) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|it| it.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}

fn rest_of_them(page: &Page<'_>, rest: &[Finding]) -> Markup {
    table(
        &present::more_findings(rest.len()),
        &html! {
            thead { tr {
                th scope="col" { "Corner" }
                th scope="col" { "Finding" }
                th scope="col" { "Laps" }
                th.figure scope="col" { "Size,\u{a0}s" }
            } }
            tbody {
                @for it in rest {
                    tr {
                        th scope="row" { (page.corner_link(it.corner)) }
                        td { (present::finding_kind(it.kind)) }
                        td { (it.laps.iter().map(u32::to_string).collect::<Vec<_>>().join(", ")) }
                        (cell(Some(it.size_s)))
                    }
                }
            }
        },
    )
}

fn traffic(page: &Page<'_>) -> Markup {
    html! {
        h3 { "Traffic" }
        (table("What overtaking and defending cost", &html! {
            thead { tr {
                th scope="col" { "Lap" }
                th scope="col" { "Corner" }
                th.figure scope="col" { "To the next corner,\u{a0}s" }
                th.figure scope="col" { "In the corner,\u{a0}s" }
                th.figure scope="col" { "Clean passes" }
            } }
            tbody {
                @for it in &page.view.found.traffic {
                    tr {
                        th scope="row" { (it.lap) }
                        td { (page.corner_link(it.corner)) }
                        (cell(Some(it.cost_s)))
                        (cell(Some(it.in_corner_s)))
                        td.figure { (it.against) }
                    }
                }
            }
        }))
    }
}
