//! The sheet of one corner, made to be printed on a page: map, speeds, figures to aim for, reference points, notes.

use maud::{Markup, html};

use crate::book::Book;
use crate::corners::figure::Figure;
use crate::corners::{Corner, Pass};
use crate::present;
use crate::reel;
use crate::report::MARKS;
use crate::report::html::session::cell;
use crate::report::html::{Page, corner_label, figure, table, with_minus};
use crate::report::svg::{HALF, corner_map, corner_speeds, sign_alone};
use crate::report::whole::{CornerChoice, Shows};
use crate::strip::CornerPlot;

/// What a driver can aim for.
const AIMS: [Figure; 7] = [
    Figure::EntryGateSpeed,
    Figure::EntrySpeed,
    Figure::MinSpeed,
    Figure::ExitSpeed,
    Figure::ExitGateSpeed,
    Figure::Time,
    Figure::ExitCost,
];

pub(super) fn sheet(page: &Page<'_>, corner: &Corner, choice: CornerChoice) -> Markup {
    let id = format!("corner-{}", corner.number);
    let title = format!("{id}-title");
    html! {
        section.sheet id=(id) aria-labelledby=(title) {
            h2 id=(title) { (corner_label(corner)) }
            p.who { (in_short(page, corner)) }
            @if choice.best.is_none() {
                p { "No clean pass of a timed lap has a time here." }
            }
            (pictures(page, corner, choice))
            div.work {
                (aims(page, corner, choice))
                (seen(page, corner.number))
            }
            (stills(page, corner, choice))
            @if let Some(book) = page.view.book {
                (reference_points(page, book, corner.number))
                (notes(page, book, corner.number))
            }
            (clips(page, corner.number))
        }
    }
}

fn in_short(page: &Page<'_>, corner: &Corner) -> Markup {
    let widest = page.view.found.widest.iter().find(|it| it.corner == corner.number);
    html! {
        span { (present::direction(corner.direction)) ", " (present::fixed(corner.angle_deg, 0)) "°" }
        @if let Some(radius_m) = corner.min_radius_m {
            span { "tightest radius of the usual line " (present::fixed(radius_m, 0)) " m" }
        }
        @if let Some(it) = widest {
            span { "widest possible arc " (present::fixed(it.widest_radius_m, 0)) " m" }
        }
    }
}

/// Map and speeds of the best and the typical pass, side by side.
fn pictures(page: &Page<'_>, corner: &Corner, choice: CornerChoice) -> Markup {
    let laps: Vec<u32> = [choice.best, choice.typical].into_iter().flatten().collect();
    let plot = CornerPlot::of(page.view.analysis, corner.number, &laps);
    let number = corner.number;
    let map =
        corner_map(HALF, &page.map, number, &plot, &format!("Map of corner {number} with the lines of the passes"));
    let speeds = corner_speeds(HALF, &plot, page.view.unit, &format!("Speed through corner {number}"));
    html! {
        @if !plot.lines.is_empty() {
            div.pair {
                @if let Some(map) = map { (map) }
                @if let Some(speeds) = speeds { (speeds) }
            }
            p.legend {
                @if let Some(lap) = choice.best { span { i.swatch.best {} "best pass, lap " (lap) } }
                @if let Some(lap) = choice.typical { span { i.swatch.typical {} "typical pass, lap " (lap) } }
                @for it in MARKS { span { (sign_alone(it)) (present::mark(it)) } }
            }
        }
    }
}

fn aims(page: &Page<'_>, corner: &Corner, choice: CornerChoice) -> Markup {
    let analysis = page.view.analysis;
    let pass = |lap: Option<u32>| lap.and_then(|it| analysis.pass(it, corner.number));
    let (best, typical) = (pass(choice.best), pass(choice.typical));
    let Some(best) = best else { return html! {} };
    let length_m = analysis.reference.as_ref().map(|it| it.length_m);
    let unit = page.view.unit;
    let of = |figure: Figure, pass: Option<&Pass>| pass.and_then(|it| figure.of(it, corner, length_m));
    let value = |figure: Figure, pass: Option<&Pass>| {
        html! {
            td.figure {
                @if let Some(it) = of(figure, pass) {
                    // The best exit costs nothing, by what it is measured against.
                    @if it.value == 0.0 && it.ci95 == 0.0 { "0" } @else {
                        @let (value, half_width) = present::figure_value(figure, it, unit);
                        (value) " " small { (half_width) }
                    }
                } @else { (present::UNKNOWN) }
            }
        }
    };
    let shown = AIMS.into_iter().filter(|it| of(*it, Some(best)).is_some());
    let table = table(
        "To aim for: what the best pass did",
        &html! {
            thead { tr {
                th scope="col" { "Figure" }
                th.figure scope="col" { "Best pass" }
                th.figure scope="col" { "Typical pass" }
                th.figure scope="col" { "Typical to best" }
            } }
            tbody {
                @for it in shown {
                    tr {
                        th scope="row" { (present::figure_heading(it)) ", " (present::figure_unit(it, unit)) }
                        (value(it, Some(best)))
                        (value(it, typical))
                        td.figure {
                            @let apart = present::figure_apart(it, of(it, typical), of(it, Some(best)), unit);
                            @if apart.is_empty() { (present::UNKNOWN) } @else { (with_minus(&apart)) }
                        }
                    }
                }
            }
        },
    );
    html! { div { (table) } }
}

/// The best pass at its marks, or the best that the footage shows.
fn stills(page: &Page<'_>, corner: &Corner, choice: CornerChoice) -> Markup {
    let shown = page.view.pictures.stills.iter().filter_map(|still| match still.shows {
        Shows::Mark { lap, corner: of, mark } if of == corner.number => Some((still, lap, present::mark(mark))),
        _ => None,
    });
    let shown: Vec<_> = shown.collect();
    let is_other = shown.first().is_some_and(|it| Some(it.1) != choice.best);
    html! {
        @if is_other { p.aside { "The footage does not show the best pass; this is the quickest one that it shows." } }
        @if !shown.is_empty() {
            div.stills.marks {
                @for (still, lap, mark) in shown {
                    (figure(still, &format!("The view of the driver at the {mark}"), &html! { "Lap " (lap) ", " (mark) }))
                }
            }
        }
    }
}

/// What was found, and the lines that were taken.
fn seen(page: &Page<'_>, corner: u32) -> Markup {
    let (findings, lines) = (findings_here(page, corner), lines_here(page, corner));
    html! { @if !findings.0.is_empty() || !lines.0.is_empty() { div { (findings) (lines) } } }
}

fn findings_here(page: &Page<'_>, corner: u32) -> Markup {
    let here = page.view.found.findings.iter().enumerate().filter(|(_, it)| it.corner == corner);
    let here: Vec<_> = here.collect();
    html! {
        @if !here.is_empty() {
            h3 { "Found here" }
            ul {
                @for (_, it) in here {
                    li {
                        strong { (present::finding_kind(it.kind)) } ": " (present::finding_observation(it)) "; "
                        (present::finding_size(it)) "."
                    }
                }
            }
        }
    }
}

fn lines_here(page: &Page<'_>, corner: u32) -> Markup {
    let kinds: Vec<_> = page.view.found.kind_costs.iter().filter(|it| it.corner == corner).collect();
    html! {
        @if !kinds.is_empty() {
            (table("Lines taken here, from entry gate to the next entry gate", &html! {
                thead { tr {
                    th scope="col" { "Line" }
                    th.figure scope="col" { "Passes" }
                    th.figure scope="col" { "Mean,\u{a0}s" }
                    th.figure scope="col" { "Against the quickest,\u{a0}s" }
                } }
                tbody {
                    @for it in kinds {
                        tr {
                            th scope="row" { (present::line_kind(it.kind)) }
                            td.figure { (it.passes) }
                            (cell(Some(it.stretch_s)))
                            (cell(Some(it.cost_s).filter(|it| it.ci95 > 0.0)))
                        }
                    }
                }
            }))
        }
    }
}

fn reference_points(page: &Page<'_>, book: &Book, corner: u32) -> Markup {
    let here: Vec<_> = book.reference_points.iter().filter(|(_, it)| it.corner == corner).collect();
    html! {
        @if !here.is_empty() {
            h3 { "Reference points" }
            div.stills.points {
                @for (id, it) in here {
                    @let name = html! { bdi { (it.name) } };
                    @if let Some(still) = page.still(Shows::ReferencePoint(*id)) {
                        (figure(still, &format!("Where {} can be seen", it.name), &name))
                    } @else {
                        p.point { (name) }
                    }
                }
            }
        }
    }
}

/// What a person wrote on the passes of the corner.
fn notes(page: &Page<'_>, book: &Book, corner: u32) -> Markup {
    let passes = page.view.analysis.passes.iter().filter(|it| it.corner == corner);
    let tags: Vec<_> = passes.flat_map(|pass| reel::tags_of(book, pass).map(|tag| (pass.lap, tag))).collect();
    html! {
        @if !tags.is_empty() {
            h3 { "Tags and notes" }
            ul.notes {
                @for (lap, tag) in tags {
                    li {
                        span.aside { "Lap " (lap) } " " strong { bdi { (reel::tag_words(book, tag)) } }
                        @if let Some(note) = &tag.note { p.words dir="auto" { (note) } }
                    }
                }
            }
        }
    }
}

fn clips(page: &Page<'_>, corner: u32) -> Markup {
    let here: Vec<_> = page.view.pictures.clips.iter().filter(|it| it.corner == corner).collect();
    html! {
        @if !here.is_empty() {
            h3 { "Clips" }
            ul.clips {
                @for clip in here {
                    li {
                        a href=(clip.file) { "Lap " (clip.lap) }
                        @for (mark, at_s) in MARKS.into_iter().zip(clip.marks_s) {
                            @if let Some(at_s) = at_s {
                                ", " a href=(format!("{}#t={}", clip.file, present::fixed(at_s, 2))) {
                                    "from the " (present::mark(mark))
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}
