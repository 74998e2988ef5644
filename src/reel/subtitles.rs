//! Cues as WebVTT (W3C, WebVTT: The Web Video Text Tracks Format, 2019, section 4), and those of a film: its cards and
//! tags. Text from outside can neither end a cue nor be markup.

use std::fmt::Write as _;

use crate::reel::film::{FilmPlan, Piece};
use crate::reel::plan::ClipPlan;

/// A card's words stay on show into the clip for so long, s.
const CAPTION_S: f64 = 4.0;

/// From when until when a line of text is on show, s, and the text; made by [`cue`].
pub type Cue = (f64, f64, String);

/// A cue of some lines, with what would be markup escaped.
pub fn cue(from_s: f64, until_s: f64, lines: &[String]) -> Cue {
    (from_s, until_s, text(lines))
}

/// One cue a card and one a tag, in order of time. A film without any gives a file with its header alone.
pub fn web_vtt(plan: &FilmPlan) -> String {
    let mut cues: Vec<Cue> = Vec::new();
    for (begin_s, piece) in plan.timed() {
        let end_s = begin_s + piece.film_s();
        match piece {
            Piece::Card(card) => {
                let rows = card.rows.iter().map(|it| it.line());
                let lines: Vec<String> = [card.heading.clone(), card.under.clone()].into_iter().chain(rows).collect();
                cues.push(cue(begin_s, end_s, &lines));
            }
            Piece::Clip(clip) => {
                let lines: Vec<String> = std::iter::once(clip.plan.title.clone()).chain(clip.caption.clone()).collect();
                cues.push(cue(begin_s, end_s.min(begin_s + CAPTION_S), &lines));
                cues.extend(tags(&clip.plan, begin_s, end_s));
            }
        }
    }
    vtt_of("", cues)
}

/// A file of cues in order of time; those without text or length are left out. `about`: what its times count from, on
/// the first line.
pub fn vtt_of(about: &str, mut cues: Vec<Cue>) -> String {
    cues.retain(|(from_s, until_s, text)| millis(*until_s) > millis(*from_s) && !text.is_empty());
    cues.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut file = format!("WEBVTT {about}").trim_end().to_owned();
    file.push('\n');
    for (from_s, until_s, text) in cues {
        let _ = write!(file, "\n{} --> {}\n{text}\n", stamp(from_s), stamp(until_s));
    }
    file
}

fn tags(plan: &ClipPlan, begin_s: f64, end_s: f64) -> Vec<Cue> {
    let shown_s = plan.shown_s();
    let of = |it: &crate::reel::TagShown| {
        let from_s = plan.film_time_s(it.from_s.max(shown_s.0)).map_or(begin_s, |at_s| begin_s + at_s);
        let until_s = plan.film_time_s(it.until_s).map_or(end_s, |at_s| begin_s + at_s);
        cue(from_s, until_s, std::slice::from_ref(&it.line.text))
    };
    plan.overlay.tags().iter().map(of).collect()
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
