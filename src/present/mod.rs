//! All wording and number formats: what people read on screens, in tables, captions and reports.
//! Takes values of the lower rooms, gives text; never reads, computes or writes anything.

mod beside;
mod clock;
mod figures;
mod film;
mod finding;
mod note;
mod number;
mod report;
mod table;
mod tag;
pub mod timecode;
mod trackside;
mod whereabouts;
mod words;

pub use beside::{BesideWords, OTHER_SESSION, PassHere, beside_words, pass_beside, pass_here};
pub use clock::{footage_later, moment_of};
pub use figures::{
    PlayheadWords, apex_timing, exit_verdict, figure, figure_short, figure_unit, figure_value, lap_name, lap_of,
    playhead, quicker, signed, standing, whole_metres, whole_speed,
};
pub use film::{
    against_best, clip_name, clips, cut_left_out, figure_apart, figure_heading, figure_with_unit, film_is_there,
    film_is_written, rank, without_footage,
};
pub use finding::{NOT_BESIDE, finding_advice, finding_kind, finding_observation, finding_size, line_kind, spread};
pub use note::note;
pub use number::{clock_time, decimals, difference, duration, fixed, interval, lap_time, speed, utc};
pub use report::{
    REPORT_WITHOUT_FOOTAGE, REPORT_WITHOUT_MEDIA, against_best_lap, evidence, measure, more_findings, nothing_found,
    report_footage_unusable, report_is_there, report_is_written,
};
pub use table::{Align, Table};
pub use tag::tag;
pub use trackside::{TracksideStanding, file_missing, footage_elsewhere, known_place, pin, trackside_here};
pub use whereabouts::{CornerWords, Whereabouts, whereabouts};
pub use words::{alignment_title, apex_by, direction, gate_origin, lap_kind, log_kind, mark, unclear};

/// The usual cautions, as printed by the demo and in documents.
pub const CAUTION: &str = "Motor sport is dangerous. This program informs, it does not instruct: \
follow the circuit's rules, its marshals and licensed instructors, and drive within your own limits.";

/// What is written where a figure cannot be told.
pub const UNKNOWN: &str = "–";

/// Text from outside (names of files, drivers, corners) for one line of a terminal: control characters, line breaks and
/// the marks that turn the direction of writing are shown as escapes, so that a name can neither break the line nor
/// steer the terminal.
pub fn one_line(text: &str) -> String {
    let mut line = String::with_capacity(text.len());
    for letter in text.chars() {
        let turns_direction = matches!(letter, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
        if letter.is_control() || turns_direction || matches!(letter, '\u{2028}' | '\u{2029}') {
            line.extend(letter.escape_default());
        } else {
            line.push(letter);
        }
    }
    line
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hostile_name_stays_one_harmless_line() {
        assert_eq!(one_line("run \"1\"\n\u{1b}[2J.csv"), "run \"1\"\\n\\u{1b}[2J.csv");
        assert_eq!(one_line("a\u{202e}b\u{2028}"), "a\\u{202e}b\\u{2028}");
        assert_eq!(one_line("Kehre 3 – rechts"), "Kehre 3 – rechts");
    }
}
