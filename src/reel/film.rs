//! A whole film as plain data: cards and clips one after the other, their sound, and what chapters it has. A single clip
//! is a film of one piece.

use std::path::PathBuf;

use crate::book::{Book, Tag, TagPlace, What};
use crate::corners::figure::Figure;
use crate::corners::{Corner, Pass};
use crate::present;
use crate::reel::beside::{BesideLayout, Other};
use crate::reel::choose::{Chosen, tag_words, tags_of};
use crate::reel::overlay::{TagLine, TagShown};
use crate::reel::plan::{ClipOptions, ClipPlan, PlanError};
use crate::reel::source::Source;
use crate::session::Estimate;
use crate::units::SpeedUnit;

/// A tag on a moment stays on show for so long, s of log time.
const TAG_STAYS_S: f64 = 2.0;
/// Figures on a card besides the one that the passes were chosen by.
const CARD_FIGURES: [Figure; 3] = [Figure::ExitGateSpeed, Figure::MinSpeed, Figure::Time];

/// A film: everything that a renderer needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct FilmPlan {
    /// For the container's title.
    pub title: String,
    /// In the order shown; at least one of them a clip.
    pub pieces: Vec<Piece>,
    pub shape: FilmShape,
    /// Height of the film in pixels; `None` leaves the footage's.
    pub height_px: Option<u32>,
    pub sound: SoundPlan,
}

#[derive(Debug, Clone, PartialEq)]
pub enum Piece {
    Card(Card),
    Clip(Box<ClipPiece>),
}

/// A clip in a film.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipPiece {
    pub plan: ClipPlan,
    /// Why it is in a reel; `None` for a clip by itself.
    pub chosen: Option<Chosen>,
    /// What its card says, for subtitles; empty without a card.
    pub caption: Vec<String>,
}

/// Text on a plain ground for a while.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Card {
    pub heading: String,
    pub under: String,
    pub rows: Vec<CardRow>,
    pub seconds: f64,
}

/// One figure on a card.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CardRow {
    pub name: String,
    pub value: String,
    /// Against the best; empty where there is nothing to say.
    pub apart: String,
}

/// What the picture is cut to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum FilmShape {
    #[default]
    AsFilmed,
    /// The middle of the picture, 9 wide and 16 high.
    Upright,
}

#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct SoundPlan {
    /// Without the footage's sound.
    pub is_muted: bool,
    /// Evens out how loud the clips are against each other.
    pub is_level: bool,
    /// A file that is spoken over the film from its beginning; the footage's sound gives way to it.
    pub narration: Option<PathBuf>,
}

/// How a reel is to be made.
#[derive(Debug, Clone, PartialEq)]
pub struct ReelOptions {
    pub clip: ClipOptions,
    /// On the title card; `None` for no title card.
    pub title: Option<String>,
    pub title_s: f64,
    /// How long the card before each clip stands; 0 for none.
    pub card_s: f64,
    pub shape: FilmShape,
    pub sound: SoundPlan,
    /// Shows another lap beside each.
    pub beside: Option<(Other, BesideLayout)>,
}

impl Default for ReelOptions {
    fn default() -> Self {
        Self {
            clip: ClipOptions::default(),
            title: None,
            title_s: 3.0,
            card_s: 2.5,
            shape: FilmShape::AsFilmed,
            sound: SoundPlan { is_level: true, ..SoundPlan::default() },
            beside: None,
        }
    }
}

/// One line of a cut list: a pass, and what is to be otherwise than in the rest of the reel.
#[derive(Debug, Clone, PartialEq)]
pub struct ReelItem {
    pub chosen: Chosen,
    /// In and out points, pace and holds of this clip alone.
    pub clip: Option<ClipOptions>,
    /// On its card, in the place of the program's own words; the figures stay.
    pub words: Option<String>,
}

impl From<Chosen> for ReelItem {
    fn from(chosen: Chosen) -> Self {
        Self { chosen, clip: None, words: None }
    }
}

/// A stretch of a film with a name.
#[derive(Debug, Clone, PartialEq)]
pub struct FilmChapter {
    pub from_s: f64,
    pub until_s: f64,
    pub title: String,
}

impl Piece {
    /// How long it is in the film, s.
    pub fn film_s(&self) -> f64 {
        match self {
            Self::Card(card) => card.seconds,
            Self::Clip(clip) => clip.plan.film_s(),
        }
    }
}

impl FilmPlan {
    /// The film of one clip.
    pub fn of_clip(plan: ClipPlan) -> Self {
        let (title, height_px) = (plan.title.clone(), plan.height_px);
        let clip = ClipPiece { plan, chosen: None, caption: Vec::new() };
        let pieces = vec![Piece::Clip(Box::new(clip))];
        Self { title, pieces, shape: FilmShape::AsFilmed, height_px, sound: SoundPlan::default() }
    }

    /// Length of the film, s.
    pub fn film_s(&self) -> f64 {
        self.pieces.iter().map(Piece::film_s).sum()
    }

    /// The pieces, each with where in the film it begins, s.
    pub fn timed(&self) -> impl Iterator<Item = (f64, &Piece)> {
        self.pieces.iter().scan(0.0, |at_s, piece| {
            let begin_s = *at_s;
            *at_s += piece.film_s();
            Some((begin_s, piece))
        })
    }

    /// The clips in order.
    pub fn clips(&self) -> impl Iterator<Item = &ClipPiece> {
        self.pieces.iter().filter_map(|it| match it {
            Piece::Clip(clip) => Some(&**clip),
            Piece::Card(_) => None,
        })
    }

    /// How two pictures share it, where there are two anywhere.
    pub fn layout(&self) -> Option<BesideLayout> {
        self.clips().find_map(|it| it.plan.beside.as_ref()).map(|it| it.layout)
    }

    /// Parts that can be made apart: each a clip with the cards before it, as ranges of the pieces; cards at the end
    /// belong to the last.
    pub fn parts(&self) -> Vec<std::ops::Range<usize>> {
        let mut parts: Vec<std::ops::Range<usize>> = Vec::new();
        let mut begin = 0;
        for (index, piece) in self.pieces.iter().enumerate() {
            if matches!(piece, Piece::Clip(_)) {
                parts.push(begin..index + 1);
                begin = index + 1;
            }
        }
        match parts.last_mut() {
            Some(last) => last.end = self.pieces.len(),
            None => parts.push(0..self.pieces.len()),
        }
        parts
    }

    /// One chapter a clip, with the card before it; a title card is one of its own. None for a single piece.
    pub fn chapters(&self) -> Vec<FilmChapter> {
        let mut chapters: Vec<FilmChapter> = Vec::new();
        let mut begin_s = None;
        let last = self.pieces.len().saturating_sub(1);
        for (index, (at_s, piece)) in self.timed().enumerate() {
            let until_s = at_s + piece.film_s();
            let from_s = *begin_s.get_or_insert(at_s);
            let title = match piece {
                Piece::Clip(clip) => clip.plan.title.clone(),
                // A card is the beginning of the clip behind it, but for the first of two cards and the last piece.
                Piece::Card(card) if index == last || matches!(self.pieces[index + 1], Piece::Card(_)) => {
                    card.heading.clone()
                }
                Piece::Card(_) => continue,
            };
            chapters.push(FilmChapter { from_s, until_s, title });
            begin_s = None;
        }
        if chapters.len() > 1 { chapters } else { Vec::new() }
    }
}

/// Plans a reel. Passes that cannot be shown, for want of footage above all, are left out and given back with the
/// reason.
///
/// # Errors
/// Options out of range, or not one clip that can be shown.
pub fn reel_plan(
    sources: &[Source<'_>],
    items: &[ReelItem],
    options: &ReelOptions,
) -> Result<(FilmPlan, Vec<(Chosen, PlanError)>), PlanError> {
    check(options)?;
    let mut clips = Vec::new();
    let mut left_out = Vec::new();
    for item in items {
        match piece_of(sources, item, options) {
            Ok(made) => clips.push(made),
            Err(error @ PlanError::Option { .. }) => return Err(error),
            Err(error) => left_out.push((item.chosen.clone(), error)),
        }
    }
    if clips.is_empty() {
        return Err(left_out.into_iter().next().map_or(PlanError::Empty, |it| it.1));
    }
    let count = present::clips(clips.len());
    let mut pieces = Vec::new();
    if let Some(title) = &options.title {
        let card = Card { heading: title.clone(), under: count, rows: Vec::new(), seconds: options.title_s };
        pieces.push(Piece::Card(card));
    }
    for (card, clip) in clips {
        pieces.extend(card.map(Piece::Card));
        pieces.push(Piece::Clip(Box::new(clip)));
    }
    let title = options.title.clone().unwrap_or_else(|| "Reel".to_owned());
    let (shape, sound, height_px) = (options.shape, options.sound.clone(), options.clip.height_px);
    Ok((FilmPlan { title, pieces, shape, height_px, sound }, left_out))
}

fn check(options: &ReelOptions) -> Result<(), PlanError> {
    let rules = [("title time", options.title_s, 0.1), ("card", options.card_s, 0.0)];
    match rules.into_iter().find(|(_, value, least)| !(*least..=60.0).contains(value)) {
        Some((name, value, _)) => Err(PlanError::Option { name, value, rule: "0 to 60 s" }),
        None => Ok(()),
    }
}

fn piece_of(
    sources: &[Source<'_>],
    item: &ReelItem,
    options: &ReelOptions,
) -> Result<(Option<Card>, ClipPiece), PlanError> {
    let chosen = &item.chosen;
    let source = &sources[chosen.source];
    let (lap, corner) = (chosen.lap, chosen.corner);
    let clip_options = item.clip.as_ref().unwrap_or(&options.clip);
    let mut plan = source.plan(lap, corner, clip_options)?;
    if let Some((other, layout)) = beside_of(chosen, options.beside) {
        match sources[other.0].plan(other.1, other.2, clip_options) {
            Ok(second) => {
                let (here, there) = (source.side(lap, corner), sources[other.0].side(other.1, other.2));
                plan = plan.with_beside(second, here, there, layout, clip_options.speed_unit)?;
            }
            // A best pass that cannot be shown is no reason to leave out the others.
            Err(_) if matches!(options.beside, Some((Other::Best, _))) => {}
            Err(error) => return Err(error),
        }
    }
    let pass = source.analysis.pass(lap, corner);
    if let (Some(book), Some(pass)) = (source.book, pass) {
        let shown_s = plan.shown_s();
        plan.overlay = plan.overlay.with_tags(tags_shown(book, pass, shown_s));
    }
    let driver = source.book.and_then(|it| it.driver.as_deref()).filter(|_| sources.len() > 1);
    let name = source.analysis.corner_name(corner);
    plan.title = present::clip_name(&name, lap, driver);
    let mut card = card_of(sources, chosen, plan.title.clone(), clip_options.speed_unit, options.card_s);
    if let Some(words) = &item.words {
        card.under.clone_from(words);
    }
    let said = item.words.iter().flat_map(|it| it.lines()).map(str::to_owned);
    let caption = said.chain(card.rows.iter().map(CardRow::line)).collect();
    let card = (card.seconds > 0.0).then_some(card);
    Ok((card, ClipPiece { plan, chosen: Some(chosen.clone()), caption }))
}

/// The pass to show as well, by source, lap and corner; none beside itself.
fn beside_of(chosen: &Chosen, wanted: Option<(Other, BesideLayout)>) -> Option<((usize, u32, u32), BesideLayout)> {
    let (other, layout) = wanted?;
    let this = (chosen.source, chosen.lap, chosen.corner);
    let other = match other {
        Other::Lap(lap) => (chosen.source, lap, chosen.corner),
        Other::Best => chosen.best_shown?,
    };
    (other != this).then_some((other, layout))
}

fn corner_of<'a>(source: &Source<'a>, number: u32) -> Option<&'a Corner> {
    source.analysis.corners.iter().find(|it| it.number == number)
}

impl CardRow {
    /// "Exit gate speed 61.2 ±0.4 km/h (-1.8 ±0.6 km/h)".
    pub fn line(&self) -> String {
        let apart = if self.apart.is_empty() { String::new() } else { format!(" ({})", self.apart) };
        format!("{} {}{apart}", self.name, self.value)
    }
}

/// What a clip's card says: which pass, how it stands, and its figures against the best.
fn card_of(sources: &[Source<'_>], chosen: &Chosen, heading: String, unit: SpeedUnit, seconds: f64) -> Card {
    let best = chosen.best_pass;
    let others = CARD_FIGURES.into_iter().filter(|it| *it != chosen.by);
    let rows = std::iter::once(chosen.by).chain(others).filter_map(|of| {
        let value = figure_of(sources, of, (chosen.source, chosen.lap, chosen.corner))?;
        let other = best.filter(|_| !chosen.is_best()).and_then(|it| figure_of(sources, of, it));
        Some(CardRow {
            name: present::figure_heading(of),
            value: present::figure_with_unit(of, Some(value), unit),
            apart: present::figure_apart(of, Some(value), other, unit),
        })
    });
    let rows: Vec<CardRow> = rows.take(CARD_FIGURES.len()).collect();
    let against = best.filter(|_| !chosen.is_best()).map(|it| present::against_best(it.1));
    let words = [Some(present::rank(chosen.rank, chosen.of)), against];
    let words: Vec<String> = words.into_iter().flatten().filter(|it| !it.is_empty()).collect();
    Card { heading, under: words.join(" · "), rows, seconds }
}

fn figure_of(sources: &[Source<'_>], figure: Figure, (source, lap, corner): (usize, u32, u32)) -> Option<Estimate> {
    let source = &sources[source];
    let length_m = source.analysis.reference.as_ref().map(|it| it.length_m);
    let pass = source.analysis.pass(lap, corner)?;
    figure.of(pass, corner_of(source, corner)?, length_m).filter(|it| it.value.is_finite())
}

/// The tags of a pass: those on the pass all the time, those on moments for a while; what is only a rating of the exit
/// or a note speaks for itself.
fn tags_shown(book: &Book, pass: &Pass, (from_s, until_s): (f64, f64)) -> Vec<TagShown> {
    let on_pass = tags_of(book, pass).filter(|it| matches!(it.on, TagPlace::Pass { .. }));
    let in_clip =
        book.tags.values().filter(|it| matches!(it.on, TagPlace::Frame { t_s } if t_s >= from_s && t_s < until_s));
    let shown = |tag: &Tag| TagShown {
        from_s: if let TagPlace::Frame { t_s } = tag.on { t_s } else { from_s },
        until_s: if let TagPlace::Frame { t_s } = tag.on { t_s + TAG_STAYS_S } else { until_s },
        line: line_of(book, tag),
    };
    on_pass.chain(in_clip).map(shown).collect()
}

/// "late turn-in: waited for the kerb again", without line breaks.
fn line_of(book: &Book, tag: &Tag) -> TagLine {
    let colour = match tag.what {
        What::Kind(kind) => book.tag_kinds.get(&kind).map(|it| it.colour),
        _ => None,
    };
    let note = tag.note.as_ref().map(|it| it.split_whitespace().collect::<Vec<_>>().join(" "));
    let text = match (tag.what, note) {
        (What::Note, Some(note)) => note,
        (_, Some(note)) => format!("{}: {note}", tag_words(book, tag)),
        (_, None) => tag_words(book, tag),
    };
    TagLine { text, colour }
}

#[cfg(test)]
mod tests;
