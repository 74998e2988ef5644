//! The tags of a book as WebVTT, for players that show the footage. Takes a book, an analysis and the footage on the
//! log's clock; where there is none, the cues are on the log's time.

use crate::analysis::Analysis;
use crate::book::{Book, TagPlace};
use crate::reel::{Chapter, Cue, cue, tag_words, vtt_of};
use crate::session::SessionTime;

/// A tag on a moment stays on show so long, s.
const MOMENT_S: f64 = 3.0;

/// Tags on trackside footage, and on what no chapter shows, are left out. `chapters` in the order of the recording.
pub(super) fn tags_vtt(book: Option<&Book>, analysis: &Analysis, chapters: &[Chapter]) -> String {
    let about = if chapters.is_empty() {
        "times count from the log's first sample"
    } else {
        "times count from the beginning of the recording, through all of its files"
    };
    vtt_of(about, book.map(|it| cues(it, analysis, chapters)).unwrap_or_default())
}

fn cues(book: &Book, analysis: &Analysis, chapters: &[Chapter]) -> Vec<Cue> {
    let of = |tag: &crate::book::Tag| {
        let (from_s, until_s) = match tag.on {
            TagPlace::Frame { t_s } => (t_s, t_s + MOMENT_S),
            TagPlace::Pass { lap, corner } => analysis.moments_of(analysis.pass(lap, corner)?)?,
            TagPlace::Trackside { .. } => return None,
        };
        let lines: Vec<String> = std::iter::once(tag_words(book, tag)).chain(tag.note.clone()).collect();
        let (from_s, until_s) = if chapters.is_empty() {
            (from_s.max(0.0), until_s)
        } else {
            (in_recording_s(chapters, from_s)?, in_recording_s(chapters, until_s)?)
        };
        Some(cue(from_s, until_s, &lines))
    };
    book.tags.values().filter_map(of).collect()
}

/// A log time as seconds since the first frame of the recording; the nearest moment of the chapter that shows it, or
/// `None` where none does.
fn in_recording_s(chapters: &[Chapter], log_s: f64) -> Option<f64> {
    let mut before_s = 0.0;
    for chapter in chapters {
        let at = chapter.clock.to_video(SessionTime(log_s));
        if at >= chapter.start && at <= chapter.end {
            return Some(before_s + at.seconds() - chapter.start.seconds());
        }
        before_s += chapter.end.seconds() - chapter.start.seconds();
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::{Id, Tag, What};
    use crate::session::{ClockMap, VideoTime};

    fn chapter(log_t_s_at_zero: f64, end_s: f64) -> Chapter {
        let (start, end) = (VideoTime(0), VideoTime::from_seconds(end_s));
        Chapter { file: "a.mp4".into(), clock: ClockMap { log_t_s_at_zero, rate_ppm: 0.0 }, start, end }
    }

    fn book() -> Book {
        let note =
            |t_s: f64, note: &str| Tag { on: TagPlace::Frame { t_s }, what: What::Note, note: Some(note.to_owned()) };
        let mut book = Book::default();
        book.tags.insert(Id(1), note(25.0, "<i>late</i> & wide\n\n00:00 --> 00:01"));
        book.tags.insert(Id(2), note(12.5, "early"));
        book
    }

    #[test]
    fn tags_are_cues_on_the_recordings_time_and_say_nothing_to_the_player() {
        // The second chapter begins at log time 20, when 10 s of the first have been.
        let text = tags_vtt(Some(&book()), &Analysis::default(), &[chapter(10.0, 10.0), chapter(20.0, 10.0)]);
        let begin = "WEBVTT times count from the beginning of the recording, through all of its files\n\n";
        let rest = "00:00:02.500 --> 00:00:05.500\nnote\nearly\n\n00:00:15.000 --> 00:00:18.000\nnote\n\
                    &lt;i&gt;late&lt;/i&gt; &amp; wide\n00:00 --&gt; 00:01\n";
        assert_eq!(text, format!("{begin}{rest}"));
    }

    #[test]
    fn without_footage_the_logs_time_counts() {
        let text = tags_vtt(Some(&book()), &Analysis::default(), &[]);
        assert!(text.contains("\n00:00:12.500 --> 00:00:15.500\nnote\nearly\n"), "{text}");
        assert_eq!(tags_vtt(None, &Analysis::default(), &[]), "WEBVTT times count from the log's first sample\n");
    }
}
