//! NMEA 0183: sentences of any talker to one row per epoch.
//!
//! RMC gives position, speed, course and date; GGA and GNS position, satellites and HDOP; VTG speed and course where
//! no RMC does; ZDA the date. Sentences of one time of day are one epoch; its position is the one written with more
//! decimals. A sentence without checksum counts where the file writes none as a rule, and as damaged where it does.
//! The parser is our own: a row needs its line, the decimals of its position and the void ones, and a damaged sentence
//! must cost itself only, which general parsers hide.

mod epoch;
mod sentence;

use geo::{Distance, Geodesic, Point};

use crate::log::error::Error;
use crate::log::table::{Column, Epoch as TableEpoch, Table};
use crate::log::unit;
use crate::session::{ChannelKind, ChannelUse, LogKind, NoteKind, Place};

use epoch::{Epoch, EpochBuilder};
use sentence::Sentences;

pub use sentence::{Checksum, checksum};

/// Counts over all sentences of a file, whatever became of them.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Statistics {
    pub checksums_right: usize,
    pub checksums_wrong: usize,
    pub checksums_missing: usize,
    /// RMC sentences (not counting wrong checksums) with status A, and all others.
    pub rmc_valid: usize,
    pub rmc_void: usize,
    /// Length in metres of the chain of valid RMC positions in the file's order: geodesics on WGS 84.
    pub rmc_length_m: f64,
}

impl Statistics {
    pub fn sentences(&self) -> usize {
        self.checksums_right + self.checksums_wrong + self.checksums_missing
    }
}

/// Counts the sentences of a file and measures the way its valid RMC positions go.
pub fn statistics(bytes: &[u8]) -> Statistics {
    let mut counts = count_checksums(bytes);
    let mut last: Option<Point> = None;
    for sentence in Sentences::new(bytes).filter(|it| it.checksum != Checksum::Wrong && it.kind() == Some(b"RMC")) {
        let fields = sentence.fields();
        if fields.get(1) != Some(&&b"A"[..]) {
            counts.rmc_void += 1;
            continue;
        }
        counts.rmc_valid += 1;
        if let Some((latitude_deg, longitude_deg, _)) = fields.get(2..6).and_then(sentence::position) {
            let here = Point::new(longitude_deg, latitude_deg);
            counts.rmc_length_m += last.map_or(0.0, |before| Geodesic.distance(before, here));
            last = Some(here);
        }
    }
    counts
}

fn count_checksums(bytes: &[u8]) -> Statistics {
    let mut counts = Statistics::default();
    for sentence in Sentences::new(bytes) {
        match sentence.checksum {
            Checksum::Right => counts.checksums_right += 1,
            Checksum::Wrong => counts.checksums_wrong += 1,
            Checksum::Missing => counts.checksums_missing += 1,
        }
    }
    counts
}

/// Reads a file that `recognise` takes for NMEA.
pub(crate) fn read(file: &str, bytes: &[u8]) -> Result<Table, Error> {
    let counts = count_checksums(bytes);
    let missing_is_damage = counts.checksums_missing < counts.checksums_right;
    let mut builder = EpochBuilder::default();
    let (mut first_wrong, mut damaged, mut first_damaged) = (None, 0_usize, None);
    let mut sentences = Sentences::new(bytes);
    for sentence in sentences.by_ref() {
        match sentence.checksum {
            Checksum::Wrong => {
                first_wrong.get_or_insert(sentence.line);
            }
            Checksum::Missing if missing_is_damage => {
                damaged += 1;
                first_damaged.get_or_insert((sentence.line, "a sentence without its checksum"));
            }
            Checksum::Right | Checksum::Missing => {
                if let Err(trouble) = builder.take(&sentence) {
                    damaged += 1;
                    first_damaged.get_or_insert((sentence.line, trouble));
                }
            }
        }
    }
    let rubbish = sentences.rubbish;
    if counts.checksums_wrong > 0 && counts.checksums_right + counts.checksums_missing == 0 {
        return Err(Error::AllChecksumsWrong { file: file.to_owned(), sentences: counts.checksums_wrong });
    }
    let mut table = table_of(file, builder)?;
    table.rows_met = counts.sentences();
    if let Some(line) = first_wrong {
        table.note(NoteKind::ChecksumsWrong { count: counts.checksums_wrong }, Place::Line(line));
    }
    if let Some((line, trouble)) = first_damaged {
        table.note(NoteKind::RowsDamaged { count: damaged, first: trouble.to_owned() }, Place::Line(line));
    }
    table.note_count(rubbish, |count| NoteKind::BytesPassedOver { count }, Place::Whole);
    Ok(table)
}

fn table_of(file: &str, builder: EpochBuilder) -> Result<Table, Error> {
    let mut table = Table::new(file, LogKind::Nmea);
    let has_vtg_only = !builder.seen.contains(&"RMC");
    let (seen, sentences, untimed) = (builder.seen.clone(), builder.taken, builder.void_without_time);
    let (epochs, first_day) = builder.finish();
    if epochs.is_empty() {
        return Err(Error::NoFixSentences { file: file.to_owned(), sentences });
    }
    let void = epochs.iter().filter(|it| it.is_void).count();
    let first_void = epochs.iter().find(|it| it.is_void).map(|it| it.line);
    if void == epochs.len() {
        return Err(Error::AllVoid { file: file.to_owned(), count: void });
    }
    table.epoch = first_day.map_or(TableEpoch::TimeOfDay, TableEpoch::Day);
    let valid: Vec<&Epoch> = epochs.iter().filter(|it| !it.is_void).collect();
    table.t_s = valid.iter().map(|it| it.t_s).collect();
    table.line = valid.iter().map(|it| it.line).collect();
    table.latitude_deg = valid.iter().map(|it| it.latitude_deg).collect();
    table.longitude_deg = valid.iter().map(|it| it.longitude_deg).collect();
    let motion_header = if has_vtg_only { "VTG" } else { "RMC" };
    let quality_header = if seen.contains(&"GGA") { "GGA" } else { "GNS" };
    for (kind, header, unit, values) in [
        (ChannelKind::Speed, motion_header, unit::KNOT, valid.iter().map(|it| it.speed_kn).collect::<Vec<f64>>()),
        (ChannelKind::Heading, motion_header, unit::DEGREE, valid.iter().map(|it| it.course_deg).collect()),
        (ChannelKind::Satellites, quality_header, unit::COUNT, valid.iter().map(|it| it.satellites).collect()),
        (ChannelKind::Hdop, quality_header, unit::COUNT, valid.iter().map(|it| it.hdop).collect()),
    ] {
        if values.iter().any(|it| it.is_finite()) {
            let header = header.to_owned();
            table.columns.push(Column { kind, header, unit: Some(unit), unit_text: None, scale: 1.0, value: values });
        }
    }
    let position_types: Vec<&str> = seen.iter().copied().filter(|it| matches!(*it, "RMC" | "GGA" | "GNS")).collect();
    let named =
        |name, unit: &str| ChannelUse { channel: None, name, header: position_types.join(", "), unit: unit.to_owned() };
    table.uses = vec![named("time", "hhmmss"), named("position", "ddmm.mm")];
    let place = first_void.map_or(Place::Whole, Place::Line);
    table.note_count(void + untimed, |count| NoteKind::VoidFixes { count }, place);
    Ok(table)
}
