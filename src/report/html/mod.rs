//! The page of a report: one HTML file that needs nothing but the pictures beside it. Takes a [`ReportView`]; gives text.
//! All text from outside is escaped by the templates, and stands in elements of its own that keep its direction of
//! writing to themselves. No script, no request, no style from elsewhere.

mod corner;
mod found;
mod gains;
mod session;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::corners::Corner;
use crate::findings::{self, Behind};
use crate::job::{Cancelled, Context};
use crate::present;
use crate::report::whole::{self, CornerChoice, FILES, Footage, ReportView, Shows, StillFile};
use crate::strip::MapPicture;

const STYLE: &str = include_str!("style.css");

/// A view with what several parts of the page ask for.
struct Page<'a> {
    view: &'a ReportView<'a>,
    map: MapPicture,
    choices: Vec<CornerChoice>,
    best_lap: Option<u32>,
    typical_lap: Option<u32>,
    /// The typical lap against the best.
    behind: Vec<Behind>,
}

/// The whole page.
///
/// # Errors
/// Cancelled.
pub(super) fn page(view: &ReportView<'_>, context: &Context) -> Result<String, Cancelled> {
    let (best_lap, typical_lap) = whole::chosen_laps(view.analysis);
    let found_view = view.analysis.view();
    let behind = found_view.as_ref().zip(typical_lap.zip(best_lap));
    let behind = behind.map(|(view, (lap, best))| findings::behind(view, lap, best)).unwrap_or_default();
    context.check()?;
    let page = Page {
        view,
        map: MapPicture::of(view.analysis, view.track, best_lap.unwrap_or_default(), None),
        choices: whole::chosen_passes(view.analysis, view.book),
        best_lap,
        typical_lap,
        behind,
    };
    let mut sheets = Vec::with_capacity(page.choices.len());
    for (corner, choice) in view.analysis.corners.iter().zip(&page.choices) {
        context.check()?;
        sheets.push(corner::sheet(&page, corner, *choice));
    }
    Ok(whole_page(&page, &sheets).into_string())
}

fn whole_page(page: &Page<'_>, sheets: &[Markup]) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="generator" content="cornerbook";
                title { (page.view.name) " · session report" }
                style { (PreEscaped(STYLE)) }
            }
            body {
                a.skip href="#main" { "To the report" }
                (session::head(page))
                (contents(page))
                main #main tabindex="-1" {
                    (session::summary(page))
                    (found::findings(page))
                    (gains::gains(page))
                    (session::laps(page))
                    (gains::consistency(page))
                    @for it in sheets {
                        (it)
                    }
                    (session::about_the_data(page))
                }
                (foot())
            }
        }
    }
}

fn contents(page: &Page<'_>) -> Markup {
    let corners = &page.view.analysis.corners;
    html! {
        nav aria-label="Contents" {
            ul {
                li { a href="#findings" { "Findings" } }
                li { a href="#gains" { "Where time is gained" } }
                li { a href="#laps" { "Laps" } }
                @if !corners.is_empty() {
                    li { a href="#consistency" { "Consistency" } }
                }
                @for it in corners {
                    li { a href=(format!("#corner-{}", it.number)) { (corner_label(it)) } }
                }
                li { a href="#data" { "Data" } }
            }
        }
    }
}

fn foot() -> Markup {
    html! {
        footer {
            p.caution { (present::CAUTION) }
            p { "Figures carry 95 % intervals; a difference inside them is called level." }
            h2 { "Files beside this page" }
            ul.files {
                @for (file, what) in FILES {
                    li { a href=(file) { (file) } ": " (what) }
                }
            }
        }
    }
}

/// What the program calls a corner, and the name that a person gave it, kept to itself.
fn corner_label(corner: &Corner) -> Markup {
    let own_name = Corner::own_name(corner.number);
    html! {
        span.number { (own_name) }
        @if corner.name != own_name { " " bdi { (corner.name) } }
    }
}

impl Page<'_> {
    fn corner(&self, number: u32) -> Option<&Corner> {
        self.view.analysis.corners.iter().find(|it| it.number == number)
    }

    /// The label of a corner as a link to its sheet.
    fn corner_link(&self, number: u32) -> Markup {
        html! {
            @if let Some(corner) = self.corner(number) {
                a.corner href=(format!("#corner-{number}")) { (corner_label(corner)) }
            } @else {
                (number)
            }
        }
    }

    fn still(&self, shows: Shows) -> Option<&StillFile> {
        self.view.pictures.stills.iter().find(|it| it.shows == shows)
    }

    /// Why there are no pictures; `None` where there are.
    fn without_pictures(&self) -> Option<String> {
        match &self.view.pictures.footage {
            Footage::Shown => None,
            Footage::NotGiven => Some(present::REPORT_WITHOUT_FOOTAGE.to_owned()),
            Footage::NotInThisBuild => Some(present::REPORT_WITHOUT_MEDIA.to_owned()),
            Footage::Unusable(reason) => Some(present::report_footage_unusable(reason)),
        }
    }
}

/// A picture with what it shows. `caption` may be markup of its own.
fn figure(still: &StillFile, alternative: &str, caption: &Markup) -> Markup {
    html! {
        figure {
            img src=(still.file) width=(still.width) height=(still.height) alt=(alternative);
            figcaption { (caption) }
        }
    }
}

/// A table that scrolls by itself where the page is too narrow for it, by keys too.
fn table(name: &str, content: &Markup) -> Markup {
    html! {
        p.caption aria-hidden="true" { (name) }
        div.scroll role="group" aria-label=(name) tabindex="0" {
            table aria-label=(name) { (content) }
        }
    }
}

/// A figure with the sign of its own that print has for it.
fn with_minus(figure: &str) -> String {
    figure.replace('-', "\u{2212}")
}

/// "12.34" with its half-width small beside it.
fn with_interval(estimate: crate::session::Estimate) -> Markup {
    let text = present::interval(estimate);
    let (value, half_width) = text.split_once(' ').unwrap_or((&text, ""));
    html! { (value) " " small { (half_width) } }
}
