//! A table as read to samples: time order, repeated stamps, void and impossible positions, held values, units, gaps.
//! The same for all kinds of file. Everything set aside is counted and told in notes.

use std::collections::BTreeMap;

use crate::log::error::{Error, channel_name};
use crate::log::held::{self, Runs};
use crate::log::infer;
use crate::log::order;
use crate::log::place::{median_interval_s, separation_m, without_jumps};
use crate::log::table::{Column, Epoch, Table};
use crate::session::{Channel, ChannelKind, ChannelUse, Fix, Note, NoteKind, Place, Samples, SamplesParts, Source};
use crate::units::heading_from_compass;

/// A gap is longer than this, and than [`GAP_INTERVALS`] usual intervals.
const SHORTEST_GAP_S: f64 = 1.0;
const GAP_INTERVALS: f64 = 5.0;
/// A fix this near to the last one continues a stand: nothing was missed.
const SAME_PLACE_M: f64 = 3.0;
/// Fixes that stay within this distance…
const STILL_WITHIN_M: f64 = 2.5;
/// … for this long are a standstill.
const STILL_AT_LEAST_S: f64 = 10.0;

/// Turns a table into samples. Errors: nothing usable is left, or the time never goes on.
pub(crate) fn finish(mut table: Table) -> Result<Samples, Error> {
    put_in_order(&mut table)?;
    let start_s = table.t_s.first().copied().unwrap_or(0.0);
    let start_utc = table.utc_at(start_s);
    let own_clock_s = matches!(table.epoch, Epoch::Counter(_)).then_some(start_s);
    table.t_s.iter_mut().for_each(|it| *it -= start_s);
    let positions = usable_positions(&mut table)?;
    let fix_rows = distinct_fixes(&mut table, &positions);
    let fixes = fixes_of(&mut table, &fix_rows);
    let mut channels = BTreeMap::new();
    for column in std::mem::take(&mut table.columns) {
        let kind = column.kind;
        if let Some(channel) = channel_of(&mut table, column, &fix_rows, &fixes) {
            channels.insert(kind, channel);
        }
    }
    if fixes.is_empty() && !channels.values().any(|channel| !channel.is_empty()) {
        return Err(Error::NothingUsable { file: table.file, rows: table.rows_met });
    }
    note_gaps(&mut table, &fixes, channels.get(&ChannelKind::YawRate));
    note_standstill(&mut table, &fixes);
    if start_utc.is_none() {
        table.note(NoteKind::NoDate, Place::Whole);
    }
    let source = Source {
        file: table.file,
        kind: table.kind,
        rows: table.rows_met,
        uses: table.uses,
        unused: table.unused,
        own_clock_s,
    };
    Ok(Samples::new(SamplesParts { start_utc, fixes, channels, sources: vec![source], notes: table.notes }))
}

/// Rows that go back in time are dropped, rows that share a stamp are spread or joined.
fn put_in_order(table: &mut Table) -> Result<(), Error> {
    let in_order = order::longest_rising(&table.t_s);
    if let Some((row, from_s, to_s)) = order::first_step_back(&table.t_s) {
        let start_s = in_order.first().map_or(0.0, |it| table.t_s[*it]);
        let count = table.t_s.len() - in_order.len();
        if order::mostly_runs_back(&table.t_s) {
            let (file, line) = (table.file.clone(), table.line[row]);
            return Err(Error::TimeRunsBack { file, line, back: count, rows: table.t_s.len() });
        }
        let kind = NoteKind::TimeBack { count, from_s: from_s - start_s, to_s: to_s - start_s };
        table.note(kind, Place::Line(table.line[row]));
    }
    table.keep_rows(&in_order);
    let rows = table.t_s.len();
    if rows >= 1 && table.t_s[0] >= table.t_s[rows - 1] {
        let (file, line) = (table.file.clone(), table.line[0]);
        return Err(Error::TimeStands { file, line, clock: clock_text(table, table.t_s[0]) });
    }
    if let Some(count) = order::spread_coarse_stamps(&mut table.t_s) {
        table.note(NoteKind::TimesSpread { count }, Place::Whole);
    }
    let firsts = order::first_of_each(&table.t_s);
    if firsts.len() < rows {
        join_equal_stamps(table, &firsts);
    }
    Ok(())
}

/// A row on the stamp of the one before fills that one's empty cells (sensors that write rows of their own); one that
/// brings nothing is a repeat.
fn join_equal_stamps(table: &mut Table, firsts: &[usize]) {
    let (mut repeats, mut first_line) = (0, None);
    let ends = firsts.iter().skip(1).copied().chain([table.t_s.len()]);
    for (first, end) in firsts.iter().copied().zip(ends.collect::<Vec<_>>()) {
        for row in first + 1..end {
            let mut brings_something = false;
            let mut fill = |values: &mut Vec<f64>| {
                if values[first].is_nan() && values[row].is_finite() {
                    values[first] = values[row];
                    brings_something = true;
                }
            };
            table.columns.iter_mut().for_each(|column| fill(&mut column.value));
            if !table.latitude_deg.is_empty() {
                fill(&mut table.latitude_deg);
                fill(&mut table.longitude_deg);
            }
            if !brings_something {
                repeats += 1;
                first_line.get_or_insert(table.line[row]);
            }
        }
    }
    table.keep_rows(firsts);
    if let Some(line) = first_line {
        table.note(NoteKind::TimeRepeated { count: repeats }, Place::Line(line));
    }
}

fn clock_text(table: &Table, t_s: f64) -> String {
    match table.utc_at(t_s) {
        Some(utc) => utc.to_rfc3339_opts(chrono::SecondsFormat::Millis, true),
        None => format!("{t_s:.3} s"),
    }
}

/// Rows with a position that can be one. Errors: no row has, and no yaw rate stands in for it.
fn usable_positions(table: &mut Table) -> Result<Vec<usize>, Error> {
    if !table.has_position() {
        return Ok(Vec::new());
    }
    let mut usable = Vec::with_capacity(table.t_s.len());
    let (mut without, mut void, mut out_of_range) = (0_usize, 0_usize, 0_usize);
    let mut first_out: Option<usize> = None;
    for row in 0..table.t_s.len() {
        let (latitude_deg, longitude_deg) = (table.latitude_deg[row], table.longitude_deg[row]);
        if latitude_deg.is_nan() || longitude_deg.is_nan() {
            without += 1;
        } else if latitude_deg == 0.0 && longitude_deg == 0.0 {
            // Off the coast of Africa: what loggers write before their first fix.
            void += 1;
        } else if latitude_deg.abs() > 90.0 || longitude_deg.abs() > 180.0 {
            out_of_range += 1;
            first_out.get_or_insert(row);
        } else {
            usable.push(row);
        }
    }
    let has_yaw_rate = table.columns.iter().any(|it| it.kind == ChannelKind::YawRate);
    if usable.is_empty() && !has_yaw_rate {
        let (file, count) = (table.file.clone(), out_of_range + void);
        return Err(match first_out {
            Some(row) => Error::PositionsOutOfRange {
                file,
                place: Place::Line(table.line[row]),
                count: out_of_range,
                latitude: table.latitude_deg[row],
                longitude: table.longitude_deg[row],
            },
            None if void > 0 => Error::AllVoid { file, count },
            None => Error::NothingUsable { file, rows: table.rows_met },
        });
    }
    table.note_count(without, |count| NoteKind::RowsWithoutPosition { count }, Place::Whole);
    table.note_count(void, |count| NoteKind::VoidFixes { count }, Place::Whole);
    let place = first_out.map_or(Place::Whole, |row| Place::Line(table.line[row]));
    table.note_count(out_of_range, |count| NoteKind::PositionsOutOfRange { count }, place);
    Ok(usable)
}

/// Rows that begin a new fix, and how the log repeats it.
#[derive(Debug)]
struct FixRows {
    rows: Vec<usize>,
    /// The same, told of every row of the table; empty where fixes are not held.
    begins_fix: Vec<bool>,
    are_held: bool,
}

fn distinct_fixes(table: &mut Table, positions: &[usize]) -> FixRows {
    let same = |a: usize, b: usize| {
        same_value(table.latitude_deg[a], table.latitude_deg[b])
            && same_value(table.longitude_deg[a], table.longitude_deg[b])
    };
    let Runs { starts, typical_rows } = held::runs(positions, same);
    if typical_rows <= 1 {
        return FixRows { rows: positions.to_vec(), begins_fix: Vec::new(), are_held: false };
    }
    let mut begins_fix = vec![false; table.t_s.len()];
    starts.iter().for_each(|row| begins_fix[*row] = true);
    let count = positions.len() - starts.len();
    table.note(NoteKind::FixesRepeated { count }, Place::Whole);
    FixRows { rows: starts, begins_fix, are_held: true }
}

fn fixes_of(table: &mut Table, fix_rows: &FixRows) -> Vec<Fix> {
    let fix = |row: &usize| Fix {
        t_s: table.t_s[*row],
        latitude_deg: table.latitude_deg[*row],
        longitude_deg: table.longitude_deg[*row],
    };
    let fixes: Vec<Fix> = fix_rows.rows.iter().map(fix).collect();
    let kept = without_jumps(&fixes);
    let first_jump = (0..fixes.len()).find(|it| kept.get(*it) != Some(it));
    let place = first_jump.map_or(Place::Whole, |it| Place::Line(table.line[fix_rows.rows[it]]));
    table.note_count(fixes.len() - kept.len(), |count| NoteKind::JumpsSetAside { count }, place);
    kept.into_iter().map(|it| fixes[it]).collect()
}

/// A column's own rows, its values in the channel's unit; the use is told. `None` where it holds no value.
fn channel_of(table: &mut Table, column: Column, fix_rows: &FixRows, fixes: &[Fix]) -> Option<Channel> {
    let value = &column.value;
    let rows: Vec<usize> = (0..value.len()).filter(|row| value[*row].is_finite()).collect();
    let rows = carrying_rows(&column, rows, fix_rows);
    if rows.is_empty() {
        return None;
    }
    let mut channel = Channel {
        t_s: rows.iter().map(|row| table.t_s[*row]).collect(),
        value: rows.iter().map(|row| value[*row]).collect(),
    };
    let unit = column.unit.unwrap_or_else(|| infer::unit_of(column.kind, &channel, fixes));
    if column.unit.is_none() && !infer::goes_without_saying(column.kind) {
        let kind = NoteKind::UnitAssumed { header: column.header.clone(), unit: unit.symbol.to_owned() };
        table.note(kind, Place::Whole);
    }
    let factor = unit.factor * column.scale;
    channel.value.iter_mut().for_each(|it| *it *= factor);
    if column.kind == ChannelKind::Heading {
        channel.value.iter_mut().for_each(|it| *it = heading_from_compass(it.to_degrees()));
    }
    table.uses.push(ChannelUse {
        channel: Some(column.kind),
        name: channel_name(column.kind),
        header: column.header,
        unit: column.unit_text.unwrap_or_else(|| unit.symbol.to_owned()),
    });
    Some(channel)
}

/// What changes only with the fix is taken with the fix; what is held by itself, once per value; the rest on every row.
fn carrying_rows(column: &Column, rows: Vec<usize>, fix_rows: &FixRows) -> Vec<usize> {
    let same = |a: usize, b: usize| same_value(column.value[a], column.value[b]);
    if fix_rows.are_held && held::goes_with_fixes(&rows, &fix_rows.begins_fix, same) {
        return rows.into_iter().filter(|row| fix_rows.begins_fix[*row]).collect();
    }
    let comes_with_fix =
        matches!(column.kind, ChannelKind::Speed | ChannelKind::Heading | ChannelKind::Satellites | ChannelKind::Hdop);
    if comes_with_fix && !fix_rows.rows.is_empty() && !fix_rows.are_held {
        return rows;
    }
    let runs = held::runs(&rows, same);
    if runs.are_held() { held::carrying_rows(&rows, runs.typical_rows, same) } else { rows }
}

#[allow(clippy::float_cmp, reason = "a held value is repeated digit by digit")]
fn same_value(a: f64, b: f64) -> bool {
    a == b
}

/// Stretches without a new fix (without position: without a yaw rate), unless the kart has not moved meanwhile.
fn note_gaps(table: &mut Table, fixes: &[Fix], yaw_rate: Option<&Channel>) {
    let times: Vec<f64> = match (fixes.is_empty(), yaw_rate) {
        (true, Some(yaw_rate)) => yaw_rate.t_s.clone(),
        _ => fixes.iter().map(|fix| fix.t_s).collect(),
    };
    let longest_s = SHORTEST_GAP_S.max(GAP_INTERVALS * median_interval_s(&times));
    for (number, pair) in times.windows(2).enumerate() {
        let has_moved = fixes.is_empty() || separation_m(&fixes[number], &fixes[number + 1]) > SAME_PLACE_M;
        let seconds = pair[1] - pair[0];
        if seconds > longest_s && has_moved {
            let note = Note::new(NoteKind::Gap { seconds }).in_file(&table.file, Place::Whole);
            table.notes.push(note.over(pair[0], pair[1]));
        }
    }
}

/// One note for all stands; its span is the longest one.
fn note_standstill(table: &mut Table, fixes: &[Fix]) {
    let (mut count, mut seconds, mut longest) = (0, 0.0, (0.0, 0.0));
    let mut from = 0;
    while from < fixes.len() {
        let stays = fixes[from..].iter().take_while(|it| separation_m(&fixes[from], it) <= STILL_WITHIN_M).count();
        let (start_s, end_s) = (fixes[from].t_s, fixes[from + stays - 1].t_s);
        if end_s - start_s < STILL_AT_LEAST_S {
            from += 1;
            continue;
        }
        count += 1;
        seconds += end_s - start_s;
        if end_s - start_s > longest.1 - longest.0 {
            longest = (start_s, end_s);
        }
        from += stays;
    }
    if count > 0 {
        let note = Note::new(NoteKind::Standstill { count, seconds }).in_file(&table.file, Place::Whole);
        table.notes.push(note.over(longest.0, longest.1));
    }
}
