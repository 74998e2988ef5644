//! Films of pieces whose lengths add up at a look.

use super::*;
use crate::reel::web_vtt;

fn card(heading: &str, seconds: f64) -> Piece {
    Piece::Card(Card { heading: heading.to_owned(), seconds, ..Card::default() })
}

fn film(pieces: Vec<Piece>) -> FilmPlan {
    FilmPlan { title: String::new(), pieces, shape: FilmShape::AsFilmed, height_px: None, sound: SoundPlan::default() }
}

#[test]
fn each_card_without_a_clip_behind_it_is_a_chapter() {
    let plan = film(vec![card("Title", 2.0), card("End", 1.0)]);
    let chapters: Vec<_> = plan.chapters().into_iter().map(|it| (it.from_s, it.until_s, it.title)).collect();
    assert_eq!(chapters, [(0.0, 2.0, "Title".to_owned()), (2.0, 3.0, "End".to_owned())]);
    assert_eq!(plan.parts(), vec![std::ops::Range { start: 0, end: 2 }]);
    assert!(film(vec![card("Title", 2.0)]).chapters().is_empty());
}

#[test]
fn subtitles_cannot_be_steered_by_what_they_say() {
    let plan = film(vec![card("a --> b\n\n00:00.000 --> 00:09.000\n<b>&", 1.5), card("\u{7}\n", 1.0)]);
    assert_eq!(
        web_vtt(&plan),
        "WEBVTT\n\n00:00:00.000 --> 00:00:01.500\na --&gt; b\n00:00.000 --&gt; 00:09.000\n&lt;b&gt;&amp;\n"
    );
}
