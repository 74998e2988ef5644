//! The tags of a session as a list: their order, their words, and which of them a filter keeps. Plain data; touches no
//! widget.

use crate::analysis::Analysis;
use crate::book::{Book, Colour, Id, Tag, TagPlace, What};
use crate::corners::Pass;
use crate::present;
use crate::session::VideoTime;
use crate::strip::trackside_clock;

/// For tags without a kind of their own: a grey that shows on light and on dark ground.
const PLAIN: Colour = Colour::hex(0x80_8a94);

/// One tag and where it is.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TagItem {
    pub(super) id: Id,
    pub(super) tag: Tag,
    pub(super) name: String,
    pub(super) colour: Colour,
    /// Log time, s; `None` for a tag on a pass that the analysis does not have, or on trackside footage without a pin.
    pub(super) t_s: Option<f64>,
    /// The pass that it is on, or that its moment belongs to ([`Analysis::moments_of`]).
    pub(super) lap: Option<u32>,
    pub(super) corner: Option<u32>,
    /// Lap and corner of the pass that a moment belongs to: the one that it is in, or the lap's next, which it leads to.
    belongs_to: Option<(u32, u32)>,
    /// Where it is, in words.
    pub(super) place: String,
}

/// Which tags are listed.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Filter {
    /// Each word of it has to be in the tag's name, note or place, whatever its capitals.
    pub(super) text: String,
    /// Only this lap.
    pub(super) lap: Option<u32>,
    /// Only this corner.
    pub(super) corner: Option<u32>,
}

/// All tags in order of time; those without a time last, in the order in which they were put on.
pub(super) fn tag_items(book: &Book, analysis: &Analysis) -> Vec<TagItem> {
    let mut items: Vec<TagItem> = book.tags.iter().map(|(id, tag)| item(book, analysis, *id, tag)).collect();
    items.sort_by(|a, b| a.t_s.unwrap_or(f64::INFINITY).total_cmp(&b.t_s.unwrap_or(f64::INFINITY)));
    items
}

fn item(book: &Book, analysis: &Analysis, id: Id, tag: &Tag) -> TagItem {
    let (name, colour) = tag_look(book, tag);
    let t_s = tag_time_s(tag, book, analysis);
    let (lap, corner) = match tag.on {
        TagPlace::Pass { lap, corner } => (Some(lap), Some(corner)),
        TagPlace::Frame { .. } | TagPlace::Trackside { .. } => {
            t_s.map_or((None, None), |it| lap_and_corner_at(analysis, it))
        }
    };
    let belongs_to = t_s.and_then(|it| pass_of(analysis, it, lap?));
    let place = place_words(analysis, tag.on, lap, corner);
    TagItem { id, tag: tag.clone(), name: present::one_line(&name), colour, t_s, lap, corner, belongs_to, place }
}

fn lap_and_corner_at(analysis: &Analysis, t_s: f64) -> (Option<u32>, Option<u32>) {
    let is_in =
        |pass: &&Pass| analysis.moments_of(pass).is_some_and(|(from_s, until_s)| t_s >= from_s && t_s < until_s);
    let pass = analysis.passes.iter().find(is_in);
    let lap = analysis.laps.iter().find(|it| t_s >= it.start_t_s && t_s < it.end_t_s).map(|it| it.number);
    (pass.map(|it| it.lap).or(lap), pass.map(|it| it.corner))
}

/// Lap and corner of the pass of a lap that is not over at a log time, s.
fn pass_of(analysis: &Analysis, t_s: f64, lap: u32) -> Option<(u32, u32)> {
    let of_lap = analysis.passes.iter().filter(|it| it.lap == lap);
    let ends_s = of_lap.filter_map(|it| Some((it.times_s()?.1, (it.lap, it.corner))));
    ends_s.filter(|(end_s, _)| t_s < *end_s).min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, it)| it)
}

fn place_words(analysis: &Analysis, on: TagPlace, lap: Option<u32>, corner: Option<u32>) -> String {
    let name_of = |number: u32| {
        let known = analysis.corners.iter().find(|it| it.number == number);
        known.map_or_else(|| format!("corner {number}"), |it| present::one_line(&it.name))
    };
    let at = match on {
        TagPlace::Pass { .. } => "whole pass".to_owned(),
        TagPlace::Frame { t_s } => present::clock_time(t_s, 3),
        TagPlace::Trackside { at, .. } => format!("trackside {}", present::clock_time(at.seconds(), 3)),
    };
    let parts = [lap.map(|it| format!("Lap {it}")), corner.map(name_of), Some(at)];
    parts.into_iter().flatten().collect::<Vec<_>>().join(" · ")
}

/// Log time of a tag, s; one on a pass lies on its apex, or half-way through it; one on trackside footage where its pins
/// say. `None` for a pass that the analysis does not have, and for trackside footage without a pin.
pub(crate) fn tag_time_s(tag: &Tag, book: &Book, analysis: &Analysis) -> Option<f64> {
    match tag.on {
        TagPlace::Frame { t_s } => Some(t_s),
        TagPlace::Pass { lap, corner } => {
            let pass = analysis.pass(lap, corner)?;
            let (begin_s, finish_s) = pass.times_s()?;
            Some(pass.apex.map_or((begin_s + finish_s) / 2.0, |it| it.mark.t_s.value))
        }
        TagPlace::Trackside { footage, at } => trackside_time_s(book, footage, at),
    }
}

fn trackside_time_s(book: &Book, footage: Id, at: VideoTime) -> Option<f64> {
    let clock = trackside_clock(&book.trackside.get(&footage)?.pins)?;
    Some(clock.map.to_log(at).0)
}

/// A tag's name and colour.
pub(crate) fn tag_look(book: &Book, tag: &Tag) -> (String, Colour) {
    let kind = match tag.what {
        What::Kind(kind) => book.tag_kinds.get(&kind),
        _ => None,
    };
    match kind {
        Some(kind) => (kind.name.clone(), kind.colour),
        None => (present::tag(tag.what), PLAIN),
    }
}

impl TagItem {
    /// The tag of a frame as a tag of the pass that the frame is in or leads to, or the other way round. `None` where there is no
    /// such place, and for the rating of an exit, which is always the pass's.
    pub(super) fn turned(&self) -> Option<Tag> {
        let on = match self.tag.on {
            TagPlace::Frame { .. } => {
                let (lap, corner) = self.belongs_to?;
                TagPlace::Pass { lap, corner }
            }
            TagPlace::Pass { .. } if !matches!(self.tag.what, What::Exit(_)) => TagPlace::Frame { t_s: self.t_s? },
            TagPlace::Pass { .. } | TagPlace::Trackside { .. } => return None,
        };
        Some(Tag { on, ..self.tag.clone() })
    }
}

impl Filter {
    pub(super) fn keeps(&self, item: &TagItem) -> bool {
        let is_on = |wanted: Option<u32>, is: Option<u32>| wanted.is_none() || wanted == is;
        if !is_on(self.lap, item.lap) || !is_on(self.corner, item.corner) {
            return false;
        }
        let note = item.tag.note.as_deref().unwrap_or_default();
        let text = format!("{}\n{}\n{note}", item.name, item.place).to_lowercase();
        self.text.to_lowercase().split_whitespace().all(|it| text.contains(it))
    }
}

/// What stands in place of the list when it is empty.
pub(super) fn empty_words(book: &Book) -> String {
    if !book.tags.is_empty() {
        return "No tag fits the filter.".to_owned();
    }
    let keys: Vec<String> = book
        .tag_kinds
        .values()
        .filter_map(|it| Some(format!("{}  {}", it.key?, present::one_line(&it.name))))
        .collect();
    let kinds = if keys.is_empty() {
        "No kind of tag has a key yet: Tag set gives them keys.".to_owned()
    } else {
        format!("These keys tag the frame, with Shift the pass:\n{}", keys.join("\n"))
    };
    format!("No tag yet.\n\n{kinds}\n\nCtrl+G and Ctrl+B rate the exit good or bad.")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::{Exit, FileRef, Op, Trackside, TracksidePin};
    use crate::corners::Direction;
    use crate::track::{Lap, LapKind};

    fn book(tags: &[(TagPlace, What, Option<&str>)]) -> Book {
        let mut book = Book::new(vec![FileRef { path: "a.csv".into(), length_bytes: 1 }]);
        for (on, what, note) in tags {
            let tag = Tag { on: *on, what: *what, note: note.map(str::to_owned) };
            book.apply(Op::Tag(book.next_id, Some(tag))).unwrap();
        }
        book
    }

    /// One lap from 5 s to 30 s with a pass of corner 4 from 10 s to 14 s.
    fn analysis() -> Analysis {
        let mut analysis = Analysis::default();
        let mut pass = Pass::nothing_known(1, 4, Direction::Left);
        pass.entry_gate_t_s = Some(10.0);
        pass.exit_gate_t_s = Some(14.0);
        analysis.passes.push(pass);
        let kind = LapKind::Timed;
        analysis.laps.push(Lap { number: 1, kind, start_t_s: 5.0, end_t_s: 30.0, time_s: None });
        analysis
    }

    const ON_PASS: TagPlace = TagPlace::Pass { lap: 1, corner: 4 };

    #[test]
    fn tags_are_in_order_of_time_and_those_without_one_are_last() {
        let note = Some("x");
        let book = book(&[
            (TagPlace::Pass { lap: 9, corner: 9 }, What::Note, note),
            (TagPlace::Frame { t_s: 13.0 }, What::Note, note),
            (ON_PASS, What::Note, note),
            (TagPlace::Frame { t_s: 3.0 }, What::Note, note),
        ]);
        let items = tag_items(&book, &analysis());
        let places: Vec<&str> = items.iter().map(|it| it.place.as_str()).collect();
        assert_eq!(
            places,
            [
                "0:03.000",
                "Lap 1 · corner 4 · whole pass",
                "Lap 1 · corner 4 · 0:13.000",
                "Lap 9 · corner 9 · whole pass"
            ]
        );
    }

    #[test]
    fn a_filter_looks_at_name_note_place_lap_and_corner() {
        let kind = What::Kind(*book(&[]).tag_kinds.keys().next().unwrap());
        let book = book(&[(ON_PASS, kind, Some("Held the KERB")), (TagPlace::Frame { t_s: 3.0 }, kind, None)]);
        let items = tag_items(&book, &analysis());
        let kept = |filter: Filter| items.iter().filter(|it| filter.keeps(it)).count();
        let text = |it: &str| Filter { text: it.to_owned(), ..Filter::default() };
        assert_eq!(kept(Filter::default()), 2);
        assert_eq!(kept(text("Early")), 2);
        assert_eq!(kept(text("kerb early")), 1);
        assert_eq!(kept(text("  corner 4 ")), 1);
        assert_eq!(kept(text("kerb late")), 0);
        assert_eq!(kept(Filter { corner: Some(4), ..Filter::default() }), 1);
        assert_eq!(kept(Filter { lap: Some(2), ..Filter::default() }), 0);
    }

    #[test]
    fn a_tag_just_before_turn_in_is_the_corners_that_it_leads_into() {
        let mut analysis = analysis();
        let mut before = Pass::nothing_known(1, 3, Direction::Right);
        before.entry_gate_t_s = Some(6.0);
        before.exit_gate_t_s = Some(9.0);
        analysis.passes.push(before);
        let corner = |t_s| lap_and_corner_at(&analysis, t_s).1;
        // An approach of 1.5 s would begin at 8.5 s: there the corner before is not over yet.
        assert_eq!([8.9, 9.0, 9.9, 13.9, 14.0].map(corner), [Some(3), Some(4), Some(4), Some(4), None]);
        assert_eq!([4.4, 4.6].map(corner), [None, Some(3)]);
    }

    #[test]
    fn a_tag_turns_from_frame_to_pass_and_back() {
        let inside = TagPlace::Frame { t_s: 13.0 };
        let book = book(&[
            (inside, What::Note, Some("x")),
            (TagPlace::Frame { t_s: 3.0 }, What::Note, Some("x")),
            (TagPlace::Frame { t_s: 9.9 }, What::Note, Some("x")),
            (TagPlace::Frame { t_s: 14.5 }, What::Note, Some("x")),
            (ON_PASS, What::Note, Some("x")),
            (ON_PASS, What::Exit(Exit::Good), None),
        ]);
        let items = tag_items(&book, &analysis());
        let turned = |on, what| items.iter().find(|it| it.tag.on == on && it.tag.what == what).unwrap().turned();
        assert_eq!(turned(inside, What::Note).map(|it| it.on), Some(ON_PASS));
        assert_eq!(turned(TagPlace::Frame { t_s: 9.9 }, What::Note).map(|it| it.on), Some(ON_PASS));
        for elsewhere_s in [3.0, 14.5] {
            assert_eq!(turned(TagPlace::Frame { t_s: elsewhere_s }, What::Note), None);
        }
        assert_eq!(turned(ON_PASS, What::Note).map(|it| it.on), Some(TagPlace::Frame { t_s: 12.0 }));
        assert_eq!(turned(ON_PASS, What::Exit(Exit::Good)), None);
    }

    #[test]
    fn a_tag_on_trackside_footage_lies_where_the_pins_say() {
        let mut book = book(&[]);
        let file = FileRef { path: "kerb.mp4".into(), length_bytes: 1 };
        let (id, unpinned) = (book.next_id, Trackside::unpinned(file));
        book.apply(Op::Trackside(id, Some(unpinned.clone()))).unwrap();
        let on = TagPlace::Trackside { footage: id, at: VideoTime::from_seconds(3.0) };
        book.apply(Op::Tag(book.next_id, Some(Tag { on, what: What::Note, note: Some("x".to_owned()) }))).unwrap();
        let place = |book: &Book| tag_items(book, &analysis())[0].place.clone();
        assert_eq!(place(&book), "trackside 0:03.000");
        let pin = TracksidePin { footage: VideoTime(0), log_t_s: 10.0 };
        book.apply(Op::Trackside(id, Some(unpinned.with_pin(pin)))).unwrap();
        assert_eq!(place(&book), "Lap 1 · corner 4 · trackside 0:03.000");
        assert!((tag_items(&book, &analysis())[0].t_s.unwrap() - 13.0).abs() < 1e-9);
    }

    #[test]
    fn an_empty_list_says_which_keys_tag() {
        let words = empty_words(&book(&[]));
        assert!(words.contains("1  early turn-in") && words.contains("9  good line"), "{words}");
        assert_eq!(empty_words(&book(&[(ON_PASS, What::Exit(Exit::Bad), None)])), "No tag fits the filter.");
        let mut without_kinds = book(&[]);
        without_kinds.tag_kinds.clear();
        assert!(empty_words(&without_kinds).contains("Tag set gives them keys"));
    }
}
