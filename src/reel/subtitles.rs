//! A film's cards and tags as WebVTT (W3C, WebVTT: The Web Video Text Tracks Format, 2019, section 4).

use std::fmt::Write as _;

use crate::reel::film::{FilmPlan, Piece};
use crate::reel::plan::ClipPlan;

/// A card's words stay on show into the clip for so long, s.
const CAPTION_S: f64 = 4.0;

/// One cue a card and one a tag, in order of time. A film without any gives a file with its header alone.
pub fn web_vtt(plan: &FilmPlan) -> String {
    let mut cues: Vec<(f64, f64, String)> = Vec::new();
    for (begin_s, piece) in plan.timed() {
        let end_s = begin_s + piece.film_s();
        match piece {
            Piece::Card(card) => {
                let rows = card.rows.iter().map(|it| it.line());
                let lines: Vec<String> = [card.heading.clone(), card.under.clone()].into_iter().chain(rows).collect();
                cues.push((begin_s, end_s, text(&lines)));
            }
            Piece::Clip(clip) => {
                let lines: Vec<String> = std::iter::once(clip.plan.title.clone()).chain(clip.caption.clone()).collect();
                cues.push((begin_s, end_s.min(begin_s + CAPTION_S), text(&lines)));
                cues.extend(tags(&clip.plan, begin_s, end_s));
            }
        }
    }
    cues.retain(|(from_s, until_s, text)| millis(*until_s) > millis(*from_s) && !text.is_empty());
    cues.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut file = "WEBVTT\n".to_owned();
    for (from_s, until_s, text) in cues {
        let _ = write!(file, "\n{} --> {}\n{text}\n", stamp(from_s), stamp(until_s));
    }
    file
}

fn tags(plan: &ClipPlan, begin_s: f64, end_s: f64) -> Vec<(f64, f64, String)> {
    let shown_s = plan.shown_s();
    let cue = |it: &crate::reel::TagShown| {
        let from_s = plan.film_time_s(it.from_s.max(shown_s.0)).map_or(begin_s, |at_s| begin_s + at_s);
        let until_s = plan.film_time_s(it.until_s).map_or(end_s, |at_s| begin_s + at_s);
        (from_s, until_s, text(std::slice::from_ref(&it.line.text)))
    };
    plan.overlay.tags().iter().map(cue).collect()
}

/// Lines of a cue: what would be markup is escaped, what would end the cue or begin a new one cannot occur.
fn text(lines: &[String]) -> String {
    let plain = lines.iter().flat_map(|it| it.lines()).map(|line| {
        let letters = line.chars().filter(|it| !it.is_control()).collect::<String>();
        letters.trim().replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
    });
    plain.filter(|it| !it.is_empty()).collect::<Vec<_>>().join("\n")
}

fn millis(at_s: f64) -> u64 {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "not negative; casts saturate")]
    let millis = (at_s.max(0.0) * 1000.0).round() as u64;
    millis
}

/// "00:01:02.345".
fn stamp(at_s: f64) -> String {
    let all = millis(at_s);
    let (seconds, millis) = (all / 1000, all % 1000);
    format!("{:02}:{:02}:{:02}.{millis:03}", seconds / 3600, seconds / 60 % 60, seconds % 60)
}
