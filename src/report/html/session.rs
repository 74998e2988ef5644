//! The head of the page, the session in short, its laps, and what was noticed in its files.

use maud::{Markup, html};

use crate::present;
use crate::report::html::{Page, table, with_interval, with_minus};
use crate::report::svg::{circuit_map, for_each_width, lap_times};
use crate::session::Estimate;
use crate::strip::MapPicture;
use crate::track::{Lap, LapKind};

pub(super) fn head(page: &Page<'_>) -> Markup {
    let view = page.view;
    let driver = view.book.and_then(|it| it.driver.as_deref());
    let date = view.samples.start_utc().map(|it| it.format("%-d %B %Y, %H:%M UTC").to_string());
    html! {
        header {
            p.kind { "Session report" }
            h1 { bdi { (view.name) } }
            p.who {
                @if let Some(driver) = driver { span { bdi { (driver) } } }
                @if let Some(date) = date { span { (date) } }
                @if let Some(grip) = view.book.and_then(|it| it.grip) { span { (grip) " track" } }
            }
        }
    }
}

/// What one looks for first, and the circuit.
pub(super) fn summary(page: &Page<'_>) -> Markup {
    let (view, found) = (page.view, page.view.found);
    let timed = timed(page).count();
    let best = timed_time(page, page.best_lap);
    let corners = view.analysis.corners.len();
    html! {
        section #session aria-labelledby="session-title" {
            h2 #session-title { "The session in short" }
            dl.short {
                @if let Some((lap, time_s)) = page.best_lap.zip(best) {
                    div { dt { "Best lap" } dd { (lap_time(time_s)) span.aside { "lap " (lap) } } }
                }
                @if let Some((lap, time_s)) = page.typical_lap.zip(timed_time(page, page.typical_lap)) {
                    div { dt { "Typical lap" } dd { (lap_time(time_s)) span.aside { "lap " (lap) } } }
                }
                @if let Some(it) = &found.best_of_corners {
                    div { dt { "Theoretical best" } dd { (lap_time(it.time_s)) span.aside { "from corners" } } }
                }
                @if let Some(it) = &found.best_of_sectors {
                    div { dt { "Theoretical best" } dd { (lap_time(it.time_s)) span.aside { "from sectors" } } }
                }
                div { dt { "Timed laps" } dd { (timed) span.aside { "of " (view.analysis.laps.len()) } } }
                @if let Some(line) = &view.analysis.reference {
                    div { dt { "Lap length" } dd { (present::fixed(line.length_m, 0)) " m" span.aside { (corners) " corners" } } }
                }
                @if let Some(it) = found.limits {
                    div {
                        dt { "Grip shown" }
                        dd { (present::fixed(it.lateral_mps2, 1)) " m/s²" span.aside {
                            "sideways; " (present::fixed(it.braking_mps2, 1)) " m/s² braking" } }
                    }
                }
            }
            @if let Some(reason) = page.without_pictures() { p.note { (reason) } }
            (map(page))
        }
    }
}

fn lap_time(time_s: Estimate) -> Markup {
    html! { (present::lap_time(time_s)) " " small { "±" (present::fixed(time_s.ci95, present::decimals(time_s.ci95))) } }
}

/// The circuit; the more there is to gain in a corner, the broader its stretch.
fn map(page: &Page<'_>) -> Markup {
    let gains = &page.view.found.to_gain;
    let most_s = gains.iter().map(|it| it.gain_s.value).fold(0.0, f64::max);
    let stretches: Vec<_> = gains
        .iter()
        .filter(|it| it.gain_s.value > it.gain_s.ci95 && most_s > 0.0)
        .filter_map(|it| Some((stretch(page, it.corner)?, it.gain_s.value / most_s)))
        .collect();
    let is_drawn = page.map != MapPicture::default();
    html! {
        @if is_drawn {
            figure.circuit {
                (for_each_width(|size| {
                    let size = crate::report::svg::Size { height: if size.width > 600.0 { 420.0 } else { 300.0 }, ..size };
                    circuit_map(size, &page.map, &stretches, "Map of the circuit with its corners").unwrap_or_default()
                }))
                figcaption {
                    "The circuit with the best lap."
                    @if !stretches.is_empty() { " The broader a corner is drawn, the more there is to gain in it." }
                }
            }
        }
    }
}

/// The way of the best lap from a corner's entry gate to its exit gate.
fn stretch(page: &Page<'_>, corner: u32) -> Option<Vec<crate::geom::Point>> {
    let line = page.view.analysis.reference.as_ref()?;
    let corner = page.corner(corner)?;
    let (entry_m, exit_m) = corner.entry_gate_m.zip(corner.exit_gate_m)?;
    let length_m = (exit_m - entry_m).rem_euclid(line.length_m);
    let steps = 40;
    let places = (0..=steps).filter_map(|it| line.at(entry_m + length_m * f64::from(it) / f64::from(steps)));
    Some(places.map(|it| it.position).collect())
}

fn timed<'a>(page: &'a Page<'_>) -> impl Iterator<Item = &'a Lap> {
    page.view.analysis.laps.iter().filter(|it| it.kind == LapKind::Timed)
}

fn timed_time(page: &Page<'_>, lap: Option<u32>) -> Option<Estimate> {
    timed(page).find(|it| Some(it.number) == lap)?.time_s
}

pub(super) fn laps(page: &Page<'_>) -> Markup {
    let laps = &page.view.analysis.laps;
    let best = timed_time(page, page.best_lap);
    let times: Vec<(u32, Estimate)> = timed(page).filter_map(|it| Some((it.number, it.time_s?))).collect();
    html! {
        section #laps aria-labelledby="laps-title" {
            h2 #laps-title { "Laps" }
            @if laps.is_empty() {
                p { "The log holds no laps." }
            } @else {
                (for_each_width(|size| {
                    lap_times(size, &times, "Times of the timed laps in their order").unwrap_or_default()
                }))
                (table("Laps with their times", &html! {
                    thead { tr {
                        th scope="col" { "Lap" }
                        th scope="col" { "Kind" }
                        th.figure scope="col" { "Time" }
                        th.figure scope="col" { "To the best,\u{a0}s" }
                    } }
                    tbody { @for it in laps { (row(page, it, best)) } }
                }))
            }
        }
    }
}

fn row(page: &Page<'_>, lap: &Lap, best: Option<Estimate>) -> Markup {
    let is_best = page.best_lap == Some(lap.number);
    html! {
        tr.best[is_best] {
            th scope="row" { (lap.number) }
            td { (present::lap_kind(lap.kind)) @if is_best { ", best" } }
            td.figure { @if let Some(time_s) = lap.time_s { (lap_time(time_s)) } @else { (present::UNKNOWN) } }
            td.figure {
                @if let (Some(time_s), Some(best), false, LapKind::Timed) = (lap.time_s, best, is_best, lap.kind) {
                    (with_minus(&present::difference(time_s, best)))
                } @else { (present::UNKNOWN) }
            }
        }
    }
}

/// The theoretical best, whose parts are from several laps.
pub(super) fn theoretical(page: &Page<'_>) -> Markup {
    let found = page.view.found;
    let best = timed_time(page, page.best_lap);
    let bests = [("from entry gate to entry gate", &found.best_of_corners), ("from sectors", &found.best_of_sectors)];
    html! {
        @for (what, it) in bests {
            @if let Some(it) = it {
                p {
                    "Theoretical best " (what) ": " strong { (lap_time(it.time_s)) }
                    @if let Some(best) = best { ", " (present::against_best_lap(it.time_s, best)) }
                    "; its parts, in order, are from laps "
                    (it.parts.iter().map(|it| it.0.to_string()).collect::<Vec<_>>().join(", "))
                    "."
                }
            }
        }
    }
}

pub(super) fn about_the_data(page: &Page<'_>) -> Markup {
    let (samples, analysis) = (page.view.samples, page.view.analysis);
    html! {
        section #data aria-labelledby="data-title" {
            h2 #data-title { "About the data" }
            dl.plain {
                @for source in samples.sources() {
                    dt { "Log" } dd { bdi { (source.file) } }
                }
                dt { "Length" } dd { (present::duration(samples.duration_s())) }
                @if let Some(rate_hz) = samples.rate_hz() {
                    dt { "Rate" } dd { (present::fixed(rate_hz, 1)) " Hz" }
                }
                @if let Some(gate) = analysis.gate {
                    dt { "Start/finish gate" } dd { (present::gate_origin(gate)) }
                }
                @if let Some(limits) = page.view.found.limits {
                    dt { "Grip" } dd { (present::fixed(limits.lateral_mps2, 1)) " m/s² sideways" }
                }
            }
            @if !analysis.notes.is_empty() {
                h3 { "Noticed while reading and computing" }
                ul { @for it in &analysis.notes { li { bdi { (present::note(it)) } } } }
            }
        }
    }
}

/// The figure of an estimate in a table's cell, or a dash.
pub(super) fn cell(estimate: Option<Estimate>) -> Markup {
    html! { td.figure { @if let Some(it) = estimate { (with_interval(it)) } @else { (present::UNKNOWN) } } }
}
