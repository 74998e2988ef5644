//! Every kind of note as one sentence: place first, then what was found, then what was done about it.

use crate::present::{duration, fixed, one_line};
use crate::session::{MotionDoubt, Note, NoteKind, Place};

/// One line, lower case, no final dot.
pub fn note(note: &Note) -> String {
    let mut place = Vec::new();
    if !note.file.is_empty() {
        place.push(one_line(&note.file));
    }
    match note.place {
        Place::Whole => {}
        Place::Line(line) => place.push(format!("line {line}")),
        Place::Byte(byte) => place.push(format!("byte {byte}")),
    }
    if let Some((from_s, to_s)) = note.span_s {
        place.push(format!("{} s to {} s", fixed(from_s, 2), fixed(to_s, 2)));
    }
    let sentence = sentence(&note.kind);
    if place.is_empty() { sentence } else { format!("{}: {sentence}", place.join(", ")) }
}

/// Kilometres, a whole number from ten on.
fn distance(metres: f64) -> String {
    let kilometres = metres / 1000.0;
    format!("{} km", fixed(kilometres, usize::from(kilometres < 10.0)))
}

/// A table of words: one arm a kind.
fn sentence(kind: &NoteKind) -> String {
    match kind {
        NoteKind::FixesRepeated { count } => {
            format!("{} repeating the last fix; each fix counts once", many(*count, "row", "rows"))
        }
        NoteKind::RowsWithoutPosition { count } => format!("{} without a position", many(*count, "row", "rows")),
        NoteKind::RowsDamaged { count, first } => {
            format!("{} unreadable, set aside; the first: {}", many(*count, "row", "rows"), one_line(first))
        }
        NoteKind::CellsUnreadable { header, count } => {
            format!("{} without a number in column {}, set aside", many(*count, "cell", "cells"), quoted(header))
        }
        NoteKind::ChecksumsWrong { count } => {
            format!("{} with a wrong checksum, set aside", many(*count, "sentence", "sentences"))
        }
        NoteKind::VoidFixes { count } => {
            format!("{} that the receiver itself calls void, set aside", many(*count, "fix", "fixes"))
        }
        NoteKind::PositionsOutOfRange { count } => {
            format!("{} outside ±90° latitude or ±180° longitude, set aside", many(*count, "position", "positions"))
        }
        NoteKind::TimeRepeated { count } => {
            format!("{} at the time of the row before, set aside", many(*count, "row", "rows"))
        }
        NoteKind::TimesSpread { count } => {
            format!("{} sharing a coarse time stamp, spread evenly up to the next one", many(*count, "row", "rows"))
        }
        NoteKind::FileOrderAssumed => {
            "the files have no common clock; joined in the order given, each right after the one before".to_owned()
        }
        NoteKind::TimeBack { count, from_s, to_s } => format!(
            "time goes back {}, first from {} s to {} s; the rows were set aside",
            many(*count, "time", "times"),
            fixed(*from_s, 3),
            fixed(*to_s, 3)
        ),
        NoteKind::JumpsSetAside { count } => {
            format!("{} after a jump that no kart can make, set aside", many(*count, "fix", "fixes"))
        }
        NoteKind::Gap { seconds } => format!("nothing was measured for {}", duration(*seconds)),
        NoteKind::NoDate => "the log has no date; times count from its first sample".to_owned(),
        NoteKind::ZoneAssumed => "the times name no time zone; taken as UTC".to_owned(),
        NoteKind::UnitAssumed { header, unit } => {
            format!("column {} names no unit; taken as {}", quoted(header), one_line(unit))
        }
        NoteKind::BytesPassedOver { count } => {
            format!("{} of what is no text, passed over", many(*count, "byte", "bytes"))
        }
        NoteKind::Standstill { count, seconds } => {
            format!("the kart stands still {}, {} in all", many(*count, "time", "times"), duration(*seconds))
        }
        NoteKind::FilesOverlap { seconds } => {
            format!("overlaps the file before by {}; that stretch is taken from the first", duration(*seconds))
        }

        NoteKind::YawRateSignTurned => "the yaw rate has the opposite sign to the path; turned round".to_owned(),
        NoteKind::YawRateNotUsed { correlation } => format!(
            "the yaw rate does not go with the path (correlation {}) and is not used; check its unit and mounting",
            fixed(*correlation, 2)
        ),
        NoteKind::SpeedFromPath => "the log has no speed; it is taken from the smoothed path".to_owned(),
        NoteKind::SpeedNotUsed { correlation } => format!(
            "the measured speed does not go with the path (correlation {}); the path's own was taken",
            fixed(*correlation, 2)
        ),
        NoteKind::SpeedScaled { factor } => {
            format!("the measured speed is {} times the path's; that factor was taken out", fixed(1.0 / *factor, 3))
        }

        NoteKind::GateFound => {
            "no start/finish gate given; one was laid across the fastest straight, so lap times are right \
             but begin at another place than the official ones"
                .to_owned()
        }
        NoteKind::NoCircuit => {
            "the path does not come back to where it was in the same direction: no circuit, so no laps or corners"
                .to_owned()
        }
        NoteKind::TrackElsewhere { metres } => format!(
            "the track file lies {} from the log: it is another circuit's, or longitude and latitude are swapped \
             (GeoJSON has longitude first)",
            distance(*metres)
        ),
        NoteKind::EdgesSwapped => "the track file's left edge lies to the right in the direction of travel and the \
             right one to the left; they were swapped"
            .to_owned(),
        NoteKind::NoPattern => {
            "there are no positions and the yaw rate does not repeat from lap to lap: no laps or corners".to_owned()
        }
        NoteKind::CrossingNotMarked => {
            "there are no positions and no start/finish crossing is marked: laps begin on the longest straight; \
             give --crossing SECONDS to say where"
                .to_owned()
        }
        NoteKind::CrossingNotUsed => {
            "the positions tell when the start/finish gate is crossed; the marked crossing was not used".to_owned()
        }
        NoteKind::NoLap => "no complete lap; a lap needs two crossings of the start/finish gate".to_owned(),
        NoteKind::LapsSetAside { count } => format!(
            "{} much longer or shorter than the circuit; not used for the reference line",
            many(*count, "lap", "laps")
        ),
        NoteKind::ReferenceFromFewLaps { laps } => {
            format!("the reference line rests on {} only", many(*laps, "lap", "laps"))
        }
        NoteKind::LapsWithStop { laps } => format!(
            "the kart stands still in {}; the time counts all the same",
            listed(laps.iter().map(|lap| format!("lap {lap}")))
        ),
        NoteKind::InsideEstimated { corners } => format!(
            "no edges given; the inside of {} is estimated from all passes",
            many(*corners, "corner", "corners")
        ),
        NoteKind::NoCorner => "no corner: the circuit turns nowhere by 20° or more".to_owned(),
        NoteKind::TrackFeatureUnknown { feature, role: Some(role) } => {
            format!("feature {feature} has the role {}, which is not known; passed over", quoted(role))
        }
        NoteKind::TrackFeatureUnknown { feature, role: None } => {
            format!("feature {feature} has no role; passed over")
        }

        NoteKind::PassesMissing { passes } => format!(
            "{}: no pass, for the kart was off the usual line or nothing was measured there",
            listed(passes.iter().map(|(lap, corner)| format!("lap {lap} T{corner}")))
        ),
        NoteKind::PassesUnclear { count } => {
            format!("{} with a figure that cannot be told", many(*count, "pass", "passes"))
        }

        NoteKind::FileMoved { to } => format!("is not in its place; used {} instead", one_line(to)),
        NoteKind::FileChanged { was_bytes, is_bytes } => {
            format!("has changed since it was put in the book ({was_bytes} bytes then, {is_bytes} now)")
        }

        NoteKind::NoCreationTime => "has no creation time".to_owned(),
        NoteKind::ZoneShift { hours } => {
            format!("its time stamp lies {} from the log's; taken as local time passed off as UTC", zone_hours(*hours))
        }
        NoteKind::StampMeaning { end, told } => {
            let (taken, other) = if *end { ("end", "start") } else { ("start", "end") };
            if *told {
                format!("the chapters' time stamps mark the {taken} of each")
            } else {
                format!(
                    "the time stamp is taken as the {taken} of the recording, for it does not say; \
                     some cameras mean the {other}"
                )
            }
        }
        NoteKind::ZoneUncertain { hours, weight } => format!(
            "a time stamp {} from UTC would fit too ({} % as likely)",
            zone_hours(*hours),
            fixed(weight * 100.0, 0)
        ),
        NoteKind::ChaptersDisagree { seconds } => format!(
            "the chapters' time stamps miss one gapless recording by {}; check that they belong together, in this order",
            duration(*seconds)
        ),
        NoteKind::RateUnlikely { ppm } => format!(
            "the pins let the clocks differ by {} ppm, which real clocks hardly do; check the pins",
            fixed(*ppm, 0)
        ),
        NoteKind::NoOverlap { seconds } => {
            format!("footage and log do not overlap: they miss each other by {}", duration(*seconds))
        }
        NoteKind::MotionNotUsed { doubt } => format!("the motion in the footage is not used: {}", motion_doubt(*doubt)),
        NoteKind::PictureTurnsBack { upside_down: false } => {
            "the picture turns against the log: it is mirrored, or the log's yaw rate has the wrong sign".to_owned()
        }
        NoteKind::PictureTurnsBack { upside_down: true } => {
            "the picture turns against the log and its far part lies below: the camera was mounted upside down"
                .to_owned()
        }
        NoteKind::CameraLooksBack => "the scene closes instead of streaming apart: the camera looks back".to_owned(),
        NoteKind::CameraClockWrong { seconds } => format!(
            "its time stamp is {} too {}, by what is seen; the camera's clock was wrong",
            duration(seconds.abs()),
            if *seconds > 0.0 { "late" } else { "early" }
        ),
        NoteKind::ChapterGap { chapter, seconds } if *seconds > 0.0 => format!(
            "chapter {chapter} begins {} later than the chapter before ends: a chapter is missing",
            duration(*seconds)
        ),
        NoteKind::ChapterGap { chapter, seconds } => format!(
            "chapter {chapter} begins {} earlier than the chapter before ends: check the order",
            duration(seconds.abs())
        ),
        NoteKind::FootageIsLog { by_laps: true } => {
            "there is no log: laps and corners are those seen in the footage, scaled so that a lap turns by 360°"
                .to_owned()
        }
        NoteKind::FootageIsLog { by_laps: false } => {
            "there is no log, and what is seen in the footage does not repeat: angles rest on an assumed angle of view"
                .to_owned()
        }
        NoteKind::NothingSeenToMove => {
            "there is no log, and nothing moves in the footage or nothing can be seen: no laps and no corners; \
             give the log, or footage that looks ahead"
                .to_owned()
        }
        NoteKind::Footage { sentence } => one_line(sentence),
    }
}

/// Why the motion tells nothing, and what to do where something can be done.
fn motion_doubt(doubt: MotionDoubt) -> String {
    match doubt {
        MotionDoubt::StillPicture => "nothing moves in the picture, or nothing can be seen".to_owned(),
        MotionDoubt::LogStraight => "the log hardly turns".to_owned(),
        MotionDoubt::FootageStraight => "the picture hardly turns".to_owned(),
        MotionDoubt::NothingAlike => "nothing in it goes with the log".to_owned(),
        MotionDoubt::PlacesAlike { ratio, apart_s } => format!(
            "a place {} {} fits {} % as well; give --pin FOOTAGE=LOG, or more footage",
            duration(apart_s.abs()),
            if apart_s > 0.0 { "later" } else { "earlier" },
            fixed(100.0 * ratio, 0)
        ),
        MotionDoubt::Weak { correlation } => {
            format!("it hardly goes with the log (correlation {})", fixed(correlation, 2))
        }
    }
}

fn many(count: usize, one: &str, more: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { more })
}

/// The first few of a list, and how many more there are.
fn listed(items: impl Iterator<Item = String>) -> String {
    const SHOWN: usize = 6;
    let items: Vec<String> = items.collect();
    match items.len().checked_sub(SHOWN).filter(|more| *more > 0) {
        Some(more) => format!("{} and {more} more", items[..SHOWN].join(", ")),
        None => items.join(", "),
    }
}

/// A name from a file, marked off from the sentence.
fn quoted(name: &str) -> String {
    format!("“{}”", one_line(name))
}

/// "+2 h", "-3:30 h".
fn zone_hours(hours: f64) -> String {
    #[allow(clippy::cast_possible_truncation, reason = "float to integer casts saturate")]
    let minutes = (hours * 60.0).round() as i64;
    let sign = if minutes < 0 { '-' } else { '+' };
    match (minutes.abs() / 60, minutes.abs() % 60) {
        (hours, 0) => format!("{sign}{hours} h"),
        (hours, minutes) => format!("{sign}{hours}:{minutes:02} h"),
    }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::*;

    #[test]
    fn place_comes_first() {
        let gap = Note::new(NoteKind::Gap { seconds: 4.2 }).in_file("run\n3.csv", Place::Line(412)).over(12.0, 16.2);
        expect![[r#"run\n3.csv, line 412, 12.00 s to 16.20 s: nothing was measured for 4.2 s"#]].assert_eq(&note(&gap));
        expect!["the log has no date; times count from its first sample"]
            .assert_eq(&note(&Note::new(NoteKind::NoDate)));
        expect!["a, byte 0: 1 byte of what is no text, passed over"]
            .assert_eq(&note(&Note::new(NoteKind::BytesPassedOver { count: 1 }).in_file("a", Place::Byte(0))));
    }

    #[test]
    fn every_kind_has_its_sentence() {
        let kinds = [
            NoteKind::FixesRepeated { count: 90 },
            NoteKind::RowsWithoutPosition { count: 1 },
            NoteKind::RowsDamaged { count: 2, first: "3 cells instead of 8".into() },
            NoteKind::CellsUnreadable { header: "Speed\t(mph)".into(), count: 3 },
            NoteKind::ChecksumsWrong { count: 1 },
            NoteKind::VoidFixes { count: 2 },
            NoteKind::PositionsOutOfRange { count: 1 },
            NoteKind::TimeRepeated { count: 4 },
            NoteKind::TimeBack { count: 1, from_s: 12.5, to_s: 12.48 },
            NoteKind::JumpsSetAside { count: 2 },
            NoteKind::Gap { seconds: 75.0 },
            NoteKind::NoDate,
            NoteKind::ZoneAssumed,
            NoteKind::UnitAssumed { header: "v".into(), unit: "km/h".into() },
            NoteKind::BytesPassedOver { count: 17 },
            NoteKind::Standstill { count: 2, seconds: 130.0 },
            NoteKind::FilesOverlap { seconds: 3.0 },
            NoteKind::YawRateSignTurned,
            NoteKind::YawRateNotUsed { correlation: 0.123 },
            NoteKind::SpeedFromPath,
            NoteKind::SpeedScaled { factor: 1.0306 },
            NoteKind::GateFound,
            NoteKind::NoCircuit,
            NoteKind::TrackElsewhere { metres: 5_432_100.0 },
            NoteKind::EdgesSwapped,
            NoteKind::SpeedNotUsed { correlation: -0.12 },
            NoteKind::NoPattern,
            NoteKind::CrossingNotMarked,
            NoteKind::CrossingNotUsed,
            NoteKind::NoLap,
            NoteKind::LapsSetAside { count: 1 },
            NoteKind::ReferenceFromFewLaps { laps: 2 },
            NoteKind::LapsWithStop { laps: vec![4] },
            NoteKind::InsideEstimated { corners: 7 },
            NoteKind::NoCorner,
            NoteKind::TrackFeatureUnknown { feature: 2, role: Some("hut".into()) },
            NoteKind::TrackFeatureUnknown { feature: 3, role: None },
            NoteKind::PassesMissing { passes: vec![(5, 3)] },
            NoteKind::PassesMissing { passes: (1..=8).map(|lap| (lap, 2)).collect() },
            NoteKind::PassesUnclear { count: 3 },
            NoteKind::FileMoved { to: "a/run.csv".into() },
            NoteKind::FileChanged { was_bytes: 12, is_bytes: 14 },
            NoteKind::NoCreationTime,
            NoteKind::ZoneShift { hours: 2.0 },
            NoteKind::ZoneShift { hours: -3.5 },
            NoteKind::StampMeaning { end: false, told: false },
            NoteKind::StampMeaning { end: true, told: true },
            NoteKind::ZoneUncertain { hours: 1.0, weight: 0.9 },
            NoteKind::ChaptersDisagree { seconds: 75.0 },
            NoteKind::RateUnlikely { ppm: 2500.0 },
            NoteKind::NoOverlap { seconds: 4000.0 },
            NoteKind::MotionNotUsed { doubt: MotionDoubt::StillPicture },
            NoteKind::MotionNotUsed { doubt: MotionDoubt::LogStraight },
            NoteKind::MotionNotUsed { doubt: MotionDoubt::FootageStraight },
            NoteKind::MotionNotUsed { doubt: MotionDoubt::NothingAlike },
            NoteKind::MotionNotUsed { doubt: MotionDoubt::PlacesAlike { ratio: 0.973, apart_s: -48.0 } },
            NoteKind::MotionNotUsed { doubt: MotionDoubt::Weak { correlation: -0.41 } },
            NoteKind::PictureTurnsBack { upside_down: false },
            NoteKind::PictureTurnsBack { upside_down: true },
            NoteKind::CameraLooksBack,
            NoteKind::CameraClockWrong { seconds: -600.0 },
            NoteKind::ChapterGap { chapter: 2, seconds: 300.0 },
            NoteKind::ChapterGap { chapter: 2, seconds: -300.0 },
            NoteKind::FootageIsLog { by_laps: true },
            NoteKind::FootageIsLog { by_laps: false },
            NoteKind::NothingSeenToMove,
            NoteKind::Footage { sentence: "is rotated by 90°".into() },
        ];
        let sentences: Vec<String> = kinds.into_iter().map(|it| note(&Note::new(it))).collect();
        expect![[r#"
            90 rows repeating the last fix; each fix counts once
            1 row without a position
            2 rows unreadable, set aside; the first: 3 cells instead of 8
            3 cells without a number in column “Speed\t(mph)”, set aside
            1 sentence with a wrong checksum, set aside
            2 fixes that the receiver itself calls void, set aside
            1 position outside ±90° latitude or ±180° longitude, set aside
            4 rows at the time of the row before, set aside
            time goes back 1 time, first from 12.500 s to 12.480 s; the rows were set aside
            2 fixes after a jump that no kart can make, set aside
            nothing was measured for 1 min 15 s
            the log has no date; times count from its first sample
            the times name no time zone; taken as UTC
            column “v” names no unit; taken as km/h
            17 bytes of what is no text, passed over
            the kart stands still 2 times, 2 min 10 s in all
            overlaps the file before by 3.0 s; that stretch is taken from the first
            the yaw rate has the opposite sign to the path; turned round
            the yaw rate does not go with the path (correlation 0.12) and is not used; check its unit and mounting
            the log has no speed; it is taken from the smoothed path
            the measured speed is 0.970 times the path's; that factor was taken out
            no start/finish gate given; one was laid across the fastest straight, so lap times are right but begin at another place than the official ones
            the path does not come back to where it was in the same direction: no circuit, so no laps or corners
            the track file lies 5432 km from the log: it is another circuit's, or longitude and latitude are swapped (GeoJSON has longitude first)
            the track file's left edge lies to the right in the direction of travel and the right one to the left; they were swapped
            the measured speed does not go with the path (correlation -0.12); the path's own was taken
            there are no positions and the yaw rate does not repeat from lap to lap: no laps or corners
            there are no positions and no start/finish crossing is marked: laps begin on the longest straight; give --crossing SECONDS to say where
            the positions tell when the start/finish gate is crossed; the marked crossing was not used
            no complete lap; a lap needs two crossings of the start/finish gate
            1 lap much longer or shorter than the circuit; not used for the reference line
            the reference line rests on 2 laps only
            the kart stands still in lap 4; the time counts all the same
            no edges given; the inside of 7 corners is estimated from all passes
            no corner: the circuit turns nowhere by 20° or more
            feature 2 has the role “hut”, which is not known; passed over
            feature 3 has no role; passed over
            lap 5 T3: no pass, for the kart was off the usual line or nothing was measured there
            lap 1 T2, lap 2 T2, lap 3 T2, lap 4 T2, lap 5 T2, lap 6 T2 and 2 more: no pass, for the kart was off the usual line or nothing was measured there
            3 passes with a figure that cannot be told
            is not in its place; used a/run.csv instead
            has changed since it was put in the book (12 bytes then, 14 now)
            has no creation time
            its time stamp lies +2 h from the log's; taken as local time passed off as UTC
            its time stamp lies -3:30 h from the log's; taken as local time passed off as UTC
            the time stamp is taken as the start of the recording, for it does not say; some cameras mean the end
            the chapters' time stamps mark the end of each
            a time stamp +1 h from UTC would fit too (90 % as likely)
            the chapters' time stamps miss one gapless recording by 1 min 15 s; check that they belong together, in this order
            the pins let the clocks differ by 2500 ppm, which real clocks hardly do; check the pins
            footage and log do not overlap: they miss each other by 1 h 06 min 40 s
            the motion in the footage is not used: nothing moves in the picture, or nothing can be seen
            the motion in the footage is not used: the log hardly turns
            the motion in the footage is not used: the picture hardly turns
            the motion in the footage is not used: nothing in it goes with the log
            the motion in the footage is not used: a place 48.0 s earlier fits 97 % as well; give --pin FOOTAGE=LOG, or more footage
            the motion in the footage is not used: it hardly goes with the log (correlation -0.41)
            the picture turns against the log: it is mirrored, or the log's yaw rate has the wrong sign
            the picture turns against the log and its far part lies below: the camera was mounted upside down
            the scene closes instead of streaming apart: the camera looks back
            its time stamp is 10 min 00 s too early, by what is seen; the camera's clock was wrong
            chapter 2 begins 5 min 00 s later than the chapter before ends: a chapter is missing
            chapter 2 begins 5 min 00 s earlier than the chapter before ends: check the order
            there is no log: laps and corners are those seen in the footage, scaled so that a lap turns by 360°
            there is no log, and what is seen in the footage does not repeat: angles rest on an assumed angle of view
            there is no log, and nothing moves in the footage or nothing can be seen: no laps and no corners; give the log, or footage that looks ahead
            is rotated by 90°"#]].assert_eq(&sentences.join("\n"));
    }
}
