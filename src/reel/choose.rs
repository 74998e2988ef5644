//! Which passes a reel shows. Takes sessions and plain options; gives passes in the order they are shown, each with the
//! figure that it was chosen by and the best pass's. Looks at no footage.

use std::collections::BTreeMap;

use crate::analysis::Analysis;
use crate::book::{Book, Exit, Tag, What};
use crate::corners::figure::Figure;
use crate::corners::{Corner, Pass, Unclear};
use crate::present;
use crate::reel::{Chapter, Source, session_has};
use crate::session::Estimate;
use crate::track::LapKind;

/// The tag kind of the starter set that says that another kart was in the way.
const TRAFFIC: &str = "traffic";

/// What is wanted. Empty lists and `None` let everything through.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    pub laps: Vec<u32>,
    pub corners: Vec<u32>,
    /// Whatever their capitals.
    pub drivers: Vec<String>,
    /// Names of tag kinds, or the program's own words for a tag or their beginning ("overtake"); one of them is enough.
    pub tags: Vec<String>,
    pub exit: Option<Exit>,
    /// So many of the best and of the worst of each corner; with 0 of both, all.
    pub best: usize,
    pub worst: usize,
    pub by: Figure,
    pub order: Order,
    /// Leaves out passes with traffic, mistake or gap in the log, and those of out and in laps.
    pub clean_only: bool,
}

impl Default for Choice {
    fn default() -> Self {
        Self {
            laps: Vec::new(),
            corners: Vec::new(),
            drivers: Vec::new(),
            tags: Vec::new(),
            exit: None,
            best: 0,
            worst: 0,
            by: Figure::ExitGateSpeed,
            order: Order::BestFirst,
            clean_only: true,
        }
    }
}

/// In which order clips follow each other; the first two go corner by corner.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    BestFirst,
    /// The best, the worst, the second best, the second worst, and so on.
    Alternate,
    AsDriven,
}

/// One pass of the reel.
#[derive(Debug, Clone, PartialEq)]
pub struct Chosen {
    /// Indexes the sources.
    pub source: usize,
    pub lap: u32,
    pub corner: u32,
    /// 1 for the best by the figure, of all clean passes of its corner (of all, where others are taken too), whether they
    /// are asked for or not; `None` where the figure cannot be told.
    pub rank: Option<usize>,
    /// How many of its corner have a rank.
    pub of: usize,
    pub by: Figure,
    pub value: Option<Estimate>,
    /// The best of them.
    pub best: Option<Estimate>,
    /// Who drove the best: indexes the sources, with lap and corner there.
    pub best_pass: Option<(usize, u32, u32)>,
    /// The best of them that footage shows.
    pub best_shown: Option<(usize, u32, u32)>,
}

impl Chosen {
    pub fn is_best(&self) -> bool {
        self.rank == Some(1)
    }
}

/// Why there is nothing to choose.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ChoiceError {
    #[error("there is no {what} {number}; {}", session_has(there))]
    Absent { what: &'static str, number: u32, there: Vec<u32> },
    #[error("there is no tag {name:?}; there are {}", there.join(", "))]
    NoTag { name: String, there: Vec<String> },
    #[error("there is no driver {name:?}; {}", drivers_there(there))]
    NoDriver { name: String, there: Vec<String> },
    #[error("no pass fits what is asked for; ask for less")]
    NoneFits,
    #[error(
        "the footage shows none of the {others} passes that fit; add the chapters that are missing or check the clock"
    )]
    NoneShown { others: usize },
    #[error(
        "no clean pass fits what is asked for, but {others} with traffic, a mistake or a gap; take them with --all"
    )]
    NoneClean { others: usize },
}

fn drivers_there(there: &[String]) -> String {
    match there {
        [] => "the book names none".to_owned(),
        some => format!("there is {}", some.join(", ")),
    }
}

#[derive(Debug, Clone, Copy)]
struct Candidate<'a> {
    source: usize,
    /// Numbered as in the first session.
    corner: u32,
    pass: &'a Pass,
    value: Option<Estimate>,
    /// Whether it is what is asked for, and whether footage shows it.
    fits: bool,
    is_shown: bool,
}

/// Passes that were chosen, and how many that fit no footage shows: they are never chosen.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Chosens {
    pub passes: Vec<Chosen>,
    pub without_footage: usize,
}

/// Chooses passes; where sessions have footage, among those that it shows. Corners are numbered as in the first session; `same_corner` tells which corner of another one that
/// is, by (session, number in the first).
///
/// # Errors
/// A number or a name that is not there, or nothing that fits.
pub fn choose(
    sources: &[Source<'_>],
    choice: &Choice,
    same_corner: impl Fn(usize, u32) -> Option<u32>,
) -> Result<Chosens, ChoiceError> {
    refuse_unknown(sources, choice)?;
    let all = candidates(sources, choice, &same_corner);
    let fitting = all.iter().filter(|it| it.fits).count();
    let clean: Vec<Candidate<'_>> = all.into_iter().filter(|it| is_wanted(sources, choice, it)).collect();
    let clean_fitting = clean.iter().filter(|it| it.fits).count();
    let without_footage = clean.iter().filter(|it| it.fits && !it.is_shown).count();
    match (fitting, clean_fitting) {
        (0, _) => return Err(ChoiceError::NoneFits),
        (others, 0) => return Err(ChoiceError::NoneClean { others }),
        (_, others) if others == without_footage => return Err(ChoiceError::NoneShown { others }),
        _ => {}
    }
    let mut by_corner: BTreeMap<u32, Vec<Candidate<'_>>> = BTreeMap::new();
    for it in clean {
        by_corner.entry(it.corner).or_default().push(it);
    }
    let mut chosen: Vec<(f64, Chosen)> = by_corner.into_values().flat_map(|it| of_corner(it, choice)).collect();
    if choice.order == Order::AsDriven {
        chosen.sort_by(|a, b| (a.1.source).cmp(&b.1.source).then(a.0.total_cmp(&b.0)));
    }
    if chosen.is_empty() {
        return Err(ChoiceError::NoneFits);
    }
    Ok(Chosens { passes: chosen.into_iter().map(|it| it.1).collect(), without_footage })
}

fn is_wanted(sources: &[Source<'_>], choice: &Choice, candidate: &Candidate<'_>) -> bool {
    let source = sources[candidate.source];
    !choice.clean_only || is_clean(source.analysis, source.book, candidate.pass)
}

/// Whether a pass has no traffic, no mistake and no gap in the log, and is not of an out or an in lap.
pub fn is_clean(analysis: &Analysis, book: Option<&Book>, pass: &Pass) -> bool {
    let is_broken = |it: &Unclear| matches!(it, Unclear::Spun | Unclear::GapInLog | Unclear::OpenLap);
    let kind = analysis.laps.iter().find(|it| it.number == pass.lap).map(|it| it.kind);
    let is_slow_lap = matches!(kind, Some(LapKind::Out | LapKind::In));
    let is_fought = book.is_some_and(|book| tags_of(book, pass).any(|it| says_traffic(book, it)));
    !pass.unclear.iter().any(is_broken) && !is_slow_lap && !is_fought
}

fn says_traffic(book: &Book, tag: &Tag) -> bool {
    match tag.what {
        What::Overtake { .. } | What::Defence { .. } => true,
        What::Kind(kind) => book.tag_kinds.get(&kind).is_some_and(|it| is_same_name(&it.name, TRAFFIC)),
        What::Exit(_) | What::Note => false,
    }
}

/// The tags on a pass and on moments in it, the oldest first.
pub fn tags_of<'a>(book: &'a Book, pass: &Pass) -> impl Iterator<Item = &'a Tag> {
    book.tags_of_pass(pass.lap, pass.corner, span_s(pass)).map(|it| it.1)
}

/// What a tag says: its kind's name, or the program's own words.
pub fn tag_words(book: &Book, tag: &Tag) -> String {
    match tag.what {
        What::Kind(kind) => book.tag_kinds.get(&kind).map_or_else(|| present::tag(tag.what), |it| it.name.clone()),
        what => present::tag(what),
    }
}

/// From entry gate to exit gate, with turn-in and exit where they lie outside; log times, s.
fn span_s(pass: &Pass) -> Option<(f64, f64)> {
    let gates = pass.entry_gate_t_s.zip(pass.exit_gate_t_s);
    match (gates, pass.times_s()) {
        (Some(gates), Some(marks)) => Some((gates.0.min(marks.0), gates.1.max(marks.1))),
        (gates, marks) => gates.or(marks),
    }
}

fn is_same_name(a: &str, b: &str) -> bool {
    a.trim().to_lowercase() == b.trim().to_lowercase()
}

/// One of the program's own words may be given by its beginning, for the outcome and the side follow.
fn has_tag(book: &Book, tag: &Tag, name: &str) -> bool {
    let words = tag_words(book, tag);
    let is_own = !matches!(tag.what, What::Kind(_));
    is_same_name(&words, name) || (is_own && words.starts_with(&name.trim().to_lowercase()))
}

fn candidates<'a>(
    sources: &[Source<'a>],
    choice: &Choice,
    same_corner: &impl Fn(usize, u32) -> Option<u32>,
) -> Vec<Candidate<'a>> {
    let corners: Vec<u32> = sources.first().map(|it| numbers(&it.analysis.corners)).unwrap_or_default();
    let wanted = corners.into_iter().filter(|it| choice.corners.is_empty() || choice.corners.contains(it));
    let mut found = Vec::new();
    for corner in wanted {
        for (index, source) in sources.iter().enumerate() {
            let number = if index == 0 { Some(corner) } else { same_corner(index, corner) };
            let there = source.analysis.corners.iter().find(|it| Some(it.number) == number);
            let Some(there) = there else { continue };
            let length_m = source.analysis.reference.as_ref().map(|it| it.length_m);
            let passes = source.analysis.passes.iter().filter(|it| it.corner == there.number);
            for pass in passes.filter(|it| it.times_s().is_some()) {
                let value = choice.by.of(pass, there, length_m).filter(|it| it.value.is_finite());
                let is_shown = source.chapters.is_empty() || is_in_footage(source.chapters, pass);
                let fits = fits(source, choice, pass);
                found.push(Candidate { source: index, corner, pass, value, fits, is_shown });
            }
        }
    }
    found
}

fn numbers(corners: &[Corner]) -> Vec<u32> {
    corners.iter().map(|it| it.number).collect()
}

fn fits(source: &Source<'_>, choice: &Choice, pass: &Pass) -> bool {
    let book = source.book;
    let driver = book.and_then(|it| it.driver.as_deref());
    let is_driver = |name: &String| driver.is_some_and(|it| is_same_name(it, name));
    let is_tagged = |name: &String| book.is_some_and(|book| tags_of(book, pass).any(|tag| has_tag(book, tag, name)));
    let exit = book.and_then(|it| it.exit_of(pass.lap, pass.corner)).map(|it| it.1);
    (choice.laps.is_empty() || choice.laps.contains(&pass.lap))
        && (choice.drivers.is_empty() || choice.drivers.iter().any(is_driver))
        && (choice.tags.is_empty() || choice.tags.iter().any(is_tagged))
        && (choice.exit.is_none() || choice.exit == exit)
}

/// Whether turn-in and exit, or what stands for them, are in the footage.
fn is_in_footage(chapters: &[Chapter], pass: &Pass) -> bool {
    let is_in =
        |t_s: f64| chapters.iter().any(|it| it.clock.to_log(it.start).0 <= t_s && t_s <= it.clock.to_log(it.end).0);
    pass.times_s().is_some_and(|(begin_s, finish_s)| is_in(begin_s) && is_in(finish_s))
}

/// Lower is better. Of apex places, which are neither better nor worse, the earliest stands first.
fn score(figure: Figure, value: Option<Estimate>) -> f64 {
    value.map_or(f64::INFINITY, |it| if figure.is_speed() { -it.value } else { it.value })
}

/// The chosen of one corner in order, each with the log time it begins at.
fn of_corner(mut passes: Vec<Candidate<'_>>, choice: &Choice) -> Vec<(f64, Chosen)> {
    let driven = |it: &Candidate<'_>| (it.source, it.pass.lap);
    passes.sort_by(|a, b| {
        score(choice.by, a.value).total_cmp(&score(choice.by, b.value)).then(driven(a).cmp(&driven(b)))
    });
    let ranked = passes.iter().filter(|it| it.value.is_some()).count();
    let best = passes.first().and_then(|it| it.value);
    let pass = |it: &Candidate<'_>| (it.source, it.pass.lap, it.pass.corner);
    let mut in_order = passes.iter().filter(|it| it.value.is_some());
    let best_pass = in_order.clone().next().map(pass);
    let best_shown = in_order.find(|it| it.is_shown).map(pass);
    let all: Vec<(f64, Chosen)> = passes
        .iter()
        .enumerate()
        .map(|(index, it)| {
            let rank = it.value.map(|_| index + 1);
            let chosen = Chosen {
                source: it.source,
                lap: it.pass.lap,
                corner: it.pass.corner,
                rank,
                of: ranked,
                by: choice.by,
                value: it.value,
                best,
                best_pass,
                best_shown,
            };
            (it.pass.times_s().map_or(0.0, |it| it.0), chosen)
        })
        .collect();
    let takes_all = choice.best + choice.worst == 0;
    let shown = all.into_iter().zip(&passes).filter(|(_, it)| it.fits && it.is_shown).map(|(chosen, _)| chosen);
    let mut kept: Vec<(f64, Chosen)> = shown.filter(|it| takes_all || it.1.rank.is_some()).collect();
    if !takes_all {
        let worst_begin = kept.len().saturating_sub(choice.worst).max(choice.best);
        let mut index = 0;
        kept.retain(|_| (index < choice.best || index >= worst_begin, index += 1).0);
    }
    if choice.order == Order::Alternate { alternated(kept) } else { kept }
}

/// First, last, second, last but one, and so on.
fn alternated<T>(items: Vec<T>) -> Vec<T> {
    let mut rest = std::collections::VecDeque::from(items);
    let mut order = Vec::with_capacity(rest.len());
    while let Some(first) = rest.pop_front() {
        order.push(first);
        order.extend(rest.pop_back());
    }
    order
}

fn refuse_unknown(sources: &[Source<'_>], choice: &Choice) -> Result<(), ChoiceError> {
    let corners = sources.first().map(|it| numbers(&it.analysis.corners)).unwrap_or_default();
    let mut laps: Vec<u32> = sources.iter().flat_map(|it| it.analysis.laps.iter().map(|it| it.number)).collect();
    laps.sort_unstable();
    laps.dedup();
    for (what, wanted, there) in [("corner", &choice.corners, corners), ("lap", &choice.laps, laps)] {
        if let Some(number) = wanted.iter().copied().find(|it| !there.contains(it)) {
            return Err(ChoiceError::Absent { what, number, there });
        }
    }
    let books = || sources.iter().filter_map(|it| it.book);
    let drivers: Vec<String> = books().filter_map(|it| it.driver.clone()).collect();
    if let Some(name) = choice.drivers.iter().find(|name| !drivers.iter().any(|it| is_same_name(it, name))) {
        return Err(ChoiceError::NoDriver { name: name.clone(), there: drivers });
    }
    let kinds = books().flat_map(|it| it.tag_kinds.values().map(|it| it.name.clone()));
    let words: Vec<String> = kinds.chain(OWN_WORDS.map(str::to_owned)).collect();
    let is_known = |name: &str| {
        let name = name.trim().to_lowercase();
        words.iter().any(|it| is_same_name(it, &name)) || OWN_WORDS.iter().any(|it| name.starts_with(it))
    };
    match choice.tags.iter().find(|it| !is_known(it)) {
        Some(name) => Err(ChoiceError::NoTag { name: name.clone(), there: words }),
        None => Ok(()),
    }
}

/// How the program's own words for tags begin.
const OWN_WORDS: [&str; 6] = ["overtake", "defended", "defence lost", "note", "good exit", "bad exit"];

#[cfg(test)]
mod tests;
