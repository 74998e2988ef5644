//! CSV logs: layout and columns from the first lines, then every row in one pass.

mod layout;
mod select;
mod times;

use std::borrow::Cow;

use crate::log::columns::ColumnMap;
use crate::log::error::Error;
use crate::log::table::{Column, Epoch, Table};
use crate::log::text;
use crate::log::{order, stamp};
use crate::session::{ChannelUse, LogKind, NoteKind, Place};

use layout::{Hints, Layout};
use select::{Selection, TimeColumn, ValueColumn};
use times::{Clock, Writing};

/// Data rows that are looked at to tell how times are written.
const SAMPLE_ROWS: usize = 200;

/// Room is made for no more rows than this beforehand, whatever the first rows promise: a day at 100 Hz has not many more.
const MOST_EXPECTED_ROWS: usize = 4_000_000;

/// Reads a file that `recognise` takes for CSV. With `is_whole_log` a log without position and yaw rate is refused.
pub(crate) fn read(file: &str, bytes: &[u8], map: Option<&ColumnMap>, is_whole_log: bool) -> Result<Table, Error> {
    let bytes = with_line_feeds(bytes);
    let map = map.cloned().unwrap_or_default();
    let mapped_headers = map.headers();
    let hints = Hints {
        delimiter: map.delimiter,
        decimal_mark: map.decimal_mark,
        headers: &mapped_headers,
        by_number: map.names_by_number(),
    };
    if let Some(line) = layout::too_long_line(&bytes) {
        return Err(Error::LineTooLong { file: file.to_owned(), line: line.number, length_bytes: line.text.len() });
    }
    let Some(layout) = layout::find(&bytes, hints) else {
        return Err(Error::NoHeader { file: file.to_owned(), line: 1 });
    };
    let selection = select::select(file, &layout, &map, is_whole_log)?;
    let sample = sample_rows(&bytes, &layout);
    if sample.is_empty() {
        return Err(Error::NoRows { file: file.to_owned(), line: layout.header_line });
    }
    let clocks = clocks_of(file, &layout, &selection, &sample, &map)?;
    let sample_bytes: usize = sample.iter().map(|row| row.as_slice().len() + row.len()).sum();
    let expected_rows = (bytes.len() - layout.data_start) * sample.len() / sample_bytes.max(1) + 1;
    let expected_rows = expected_rows.min(MOST_EXPECTED_ROWS);
    let mut rows = Rows::new(&layout, selection, clocks, expected_rows);
    rows.read_all(&bytes);
    rows.into_table(file)
}

/// A file whose lines end in a carriage return alone gets line feeds, so that lines can be counted.
fn with_line_feeds(bytes: &[u8]) -> Cow<'_, [u8]> {
    if bytes.contains(&b'\n') || !bytes.contains(&b'\r') {
        return Cow::Borrowed(bytes);
    }
    Cow::Owned(bytes.iter().map(|byte| if *byte == b'\r' { b'\n' } else { *byte }).collect())
}

fn reader<'a>(bytes: &'a [u8], layout: &Layout) -> csv::Reader<&'a [u8]> {
    csv::ReaderBuilder::new()
        .has_headers(false)
        .delimiter(layout.delimiter)
        .flexible(true)
        .comment(Some(b'#'))
        .quoting(layout.has_quotes)
        .from_reader(&bytes[layout.data_start..])
}

fn sample_rows(bytes: &[u8], layout: &Layout) -> Vec<csv::ByteRecord> {
    reader(bytes, layout).byte_records().filter_map(Result::ok).take(SAMPLE_ROWS).collect()
}

/// How the time is told: the clock that rows go by, and one with dates beside it where the file has both.
#[derive(Debug)]
struct Clocks {
    main: (TimeColumn, Clock, Writing),
    dated: Option<(TimeColumn, Clock)>,
    date_column: Option<usize>,
}

fn clocks_of(
    file: &str,
    layout: &Layout,
    selection: &Selection,
    sample: &[csv::ByteRecord],
    map: &ColumnMap,
) -> Result<Clocks, Error> {
    let cells_of = |column: usize| -> Vec<&[u8]> {
        sample.iter().filter_map(|row| row.get(column)).filter(|cell| !cell.trim_ascii().is_empty()).collect()
    };
    let date_order = |column: usize| map.date_order.unwrap_or_else(|| times::date_order(&cells_of(column)));
    let mut found: Vec<(TimeColumn, Writing)> = selection
        .times
        .iter()
        .filter_map(|it| {
            let cells = cells_of(it.index);
            if cells.is_empty() { None } else { Some((*it, times::writing_of(&cells, it.unit, layout.decimal_mark)?)) }
        })
        .collect();
    // A counter is the finest clock and rises on every row; a date beside it still dates it.
    found.sort_by_key(|(_, writing)| match writing {
        Writing::Counter { .. } => 0,
        Writing::DateTime => 1,
        Writing::Unix(_) => 2,
        Writing::Clock => 3,
    });
    let Some((column, writing)) = found.first().copied() else {
        let index = selection.times.first().map_or(0, |it| it.index);
        let cell = sample.iter().filter_map(|row| row.get(index)).find(|cell| !cell.is_empty()).unwrap_or_default();
        let cell: String = text::cell_text(cell).chars().take(40).collect();
        let header = layout.headers.get(index).cloned().unwrap_or_default();
        return Err(Error::TimeUnreadable { file: file.to_owned(), line: layout.data_line, header, cell });
    };
    let clock = |column: TimeColumn, writing: Writing| {
        let of_dates = if writing == Writing::Clock { selection.date.unwrap_or(column.index) } else { column.index };
        Clock::new(writing, date_order(of_dates), layout.decimal_mark)
    };
    let dated = found
        .iter()
        .find(|(it, dated)| {
            it.index != column.index && (dated.has_date() || (*dated == Writing::Clock && selection.date.is_some()))
        })
        .filter(|_| matches!(writing, Writing::Counter { .. }))
        .map(|(it, dated)| (*it, clock(*it, *dated)));
    Ok(Clocks { main: (column, clock(column, writing), writing), dated, date_column: selection.date })
}

/// The rows as they are read.
#[derive(Debug)]
struct Rows<'a> {
    layout: &'a Layout,
    selection: Selection,
    clocks: Clocks,
    t_s: Vec<f64>,
    line: Vec<u64>,
    /// Position columns first, then the channels, as `selection` orders them.
    value: Vec<Vec<f64>>,
    unreadable: Vec<(usize, u64)>,
    /// Difference of the dated clock to the main one, where both can be read.
    date_offset_s: Vec<f64>,
    met: usize,
    damaged: usize,
    first_damaged: Option<(u64, String)>,
    first_row_time: Option<(u64, String)>,
}

impl<'a> Rows<'a> {
    fn new(layout: &'a Layout, selection: Selection, clocks: Clocks, expected_rows: usize) -> Self {
        let columns = selection.values.len();
        Self {
            layout,
            selection,
            clocks,
            t_s: Vec::with_capacity(expected_rows),
            line: Vec::with_capacity(expected_rows),
            value: (0..columns).map(|_| Vec::with_capacity(expected_rows)).collect(),
            unreadable: vec![(0, 0); columns],
            date_offset_s: Vec::new(),
            met: 0,
            damaged: 0,
            first_damaged: None,
            first_row_time: None,
        }
    }

    fn read_all(&mut self, bytes: &[u8]) {
        let mut reader = reader(bytes, self.layout);
        let mut record = csv::ByteRecord::new();
        while reader.read_byte_record(&mut record).unwrap_or(false) {
            let line = self.layout.data_line - 1 + record.position().map_or(1, csv::Position::line);
            self.take(&record, line);
        }
    }

    fn take(&mut self, record: &csv::ByteRecord, line: u64) {
        if record.len() == 1 && record[0].trim_ascii().is_empty() {
            return;
        }
        let (time, clock, _) = &mut self.clocks.main;
        let date_cell = self.clocks.date_column.and_then(|it| record.get(it));
        let cell = record.get(time.index).unwrap_or_default();
        let Some(t_s) = clock.seconds(cell, date_cell) else {
            if !record.get(0).is_some_and(layout::is_comment) {
                self.met += 1;
                self.set_aside(line, || format!("no time in {:?}", shown(cell)));
                self.first_row_time.get_or_insert_with(|| (line, shown(cell)));
            }
            return;
        };
        self.met += 1;
        let (cells, most) = (self.layout.cells, self.layout.cells.max(self.layout.headers.len()));
        if record.len() < cells {
            return self.set_aside(line, || format!("the row breaks off after {} of {cells} cells", record.len()));
        }
        if (most..record.len()).any(|it| !record[it].trim_ascii().is_empty()) {
            return self.set_aside(line, || format!("the row has {} cells where {most} are usual", record.len()));
        }
        if let Some((column, clock)) = &mut self.clocks.dated
            && let Some(dated_s) = record.get(column.index).and_then(|cell| clock.seconds(cell, date_cell))
        {
            self.date_offset_s.push(dated_s - t_s);
        }
        self.t_s.push(t_s);
        self.line.push(line);
        for (number, column) in self.selection.values.iter().enumerate() {
            let cell = record.get(column.index).unwrap_or_default();
            let value = column.read(cell, self.layout.decimal_mark);
            if value.is_none() && !cell.trim_ascii().is_empty() {
                let (count, first) = &mut self.unreadable[number];
                if *count == 0 {
                    *first = line;
                }
                *count += 1;
            }
            self.value[number].push(value.unwrap_or(f64::NAN));
        }
    }

    fn set_aside(&mut self, line: u64, why: impl FnOnce() -> String) {
        self.damaged += 1;
        self.first_damaged.get_or_insert_with(|| (line, why()));
    }

    fn into_table(mut self, file: &str) -> Result<Table, Error> {
        let (column, clock, writing) = &self.clocks.main;
        let time_header = self.layout.headers.get(column.index).cloned().unwrap_or_default();
        if self.t_s.is_empty() {
            return Err(match self.first_row_time {
                Some((line, cell)) => Error::TimeUnreadable { file: file.to_owned(), line, header: time_header, cell },
                None => Error::NothingUsable { file: file.to_owned(), rows: self.met },
            });
        }
        let mut table = Table::new(file, LogKind::Csv);
        table.epoch = match (clock.first_day, writing) {
            (Some(day), _) => Epoch::Day(day),
            (None, Writing::Clock) => Epoch::TimeOfDay,
            (None, _) => Epoch::Counter(self.clocks.dated.as_ref().and_then(|(_, dated)| {
                let offset_s = date_offset(std::mem::take(&mut self.date_offset_s))?;
                Some((dated.first_day?, offset_s))
            })),
        };
        let lacks_zone = clock.lacks_zone || self.clocks.dated.as_ref().is_some_and(|(_, dated)| dated.lacks_zone);
        if lacks_zone {
            table.note(NoteKind::ZoneAssumed, Place::Whole);
        }
        if let Writing::Counter { unit, is_assumed: true } = writing {
            let kind = NoteKind::UnitAssumed { header: time_header.clone(), unit: unit.symbol.to_owned() };
            table.note(kind, Place::Line(self.layout.header_line));
        }
        if let Some((line, first)) = self.first_damaged {
            table.note(NoteKind::RowsDamaged { count: self.damaged, first }, Place::Line(line));
        }
        let named =
            |name, header: String, unit: &str| ChannelUse { channel: None, name, header, unit: unit.to_owned() };
        table.uses.push(named("time", time_header, writing.name()));
        if let Some((dated, _)) = &self.clocks.dated {
            table.uses.push(named("date", self.layout.headers[dated.index].clone(), "date and time"));
        }
        table.rows_met = self.met;
        table.t_s = self.t_s;
        table.line = self.line;
        for (number, column) in self.selection.values.into_iter().enumerate() {
            let values = std::mem::take(&mut self.value[number]);
            let (count, line) = self.unreadable[number];
            let header = column.header.clone();
            table.note_count(count, |count| NoteKind::CellsUnreadable { header, count }, Place::Line(line));
            put_column(&mut table, column, values);
        }
        table.unused = self.selection.unused;
        Ok(table)
    }
}

fn put_column(table: &mut Table, column: ValueColumn, value: Vec<f64>) {
    let ValueColumn { header, unit, scale, kind, .. } = column;
    match kind {
        select::ValueKind::Latitude => {
            table.latitude_deg = value;
            table.uses.push(ChannelUse { channel: None, name: "position", header, unit: "deg".to_owned() });
        }
        select::ValueKind::Longitude => {
            table.longitude_deg = value;
            if let Some(position) = table.uses.iter_mut().find(|it| it.name == "position") {
                position.header = format!("{}, {header}", position.header);
            }
        }
        select::ValueKind::Channel(kind) => {
            table.columns.push(Column { kind, header, unit, unit_text: None, scale, value });
        }
    }
}

/// What the dated clock shows at the main clock's zero. Whole-second stamps lag behind by up to a second: the latest
/// then comes nearest; finer ones are taken at their median.
fn date_offset(offsets_s: Vec<f64>) -> Option<f64> {
    let middle_s = order::median(offsets_s.clone());
    let latest_s = offsets_s.into_iter().reduce(f64::max)?;
    let is_rounded_down = latest_s - middle_s > 0.2 && latest_s - middle_s < 1.0;
    let offset_s = if is_rounded_down { latest_s } else { middle_s };
    (offset_s.abs() < 1e4 * stamp::DAY_S).then_some(offset_s)
}

fn shown(cell: &[u8]) -> String {
    text::cell_text(cell).chars().take(40).collect()
}

impl ColumnMap {
    fn headers(&self) -> Vec<String> {
        self.entries.iter().filter_map(|it| it.column.header().map(str::to_owned)).collect()
    }

    fn names_by_number(&self) -> bool {
        self.entries.iter().any(|it| it.column.header().is_none())
    }
}
