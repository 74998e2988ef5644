//! How a CSV file is laid out: delimiter, header line, row of units, decimal mark. Told from its first lines.

use crate::log::meaning::{self, Meaning, Reading};
use crate::log::text;
use crate::log::unit;

/// Lines among which the header must be.
const HEADER_WITHIN_LINES: usize = 200;
const DELIMITERS: [u8; 3] = [b',', b';', b'\t'];
/// Data lines that are looked at for the decimal mark and the usual number of cells.
const SAMPLE_LINES: usize = 200;

/// Longer lines, in bytes, are no rows of a table; looking for headers in them would take minutes.
const LONGEST_LINE_BYTES: usize = 64 << 10;

/// One physical line with its number (from 1) and the byte after its end.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Line<'a> {
    pub(crate) number: u64,
    pub(crate) text: &'a [u8],
    pub(crate) end: usize,
}

/// Lines of `\n`, `\r\n` or `\r`.
pub(crate) fn lines(bytes: &[u8]) -> impl Iterator<Item = Line<'_>> {
    let (mut at, mut number) = (0, 0);
    std::iter::from_fn(move || {
        if at >= bytes.len() {
            return None;
        }
        let from = at;
        let length = bytes[from..].iter().position(|it| matches!(it, b'\n' | b'\r')).unwrap_or(bytes.len() - from);
        at = (from + length + 1).min(bytes.len());
        if bytes.get(from + length) == Some(&b'\r') && bytes.get(at) == Some(&b'\n') {
            at += 1;
        }
        number += 1;
        Some(Line { number, text: &bytes[from..from + length], end: at })
    })
}

/// A file's layout.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Layout {
    pub(crate) delimiter: u8,
    /// Header cells, or numbers from 1 where the file has no header and the map names columns by number.
    pub(crate) headers: Vec<String>,
    /// 0 where there is no header.
    pub(crate) header_line: u64,
    /// Cells of the row of units, where there is one.
    pub(crate) units: Vec<String>,
    /// Byte where the data begins.
    pub(crate) data_start: usize,
    pub(crate) data_line: u64,
    pub(crate) decimal_mark: u8,
    /// Usual number of cells in a data row.
    pub(crate) cells: usize,
    /// Quotes come in pairs. One that is never closed would swallow the rest of the file, so they then mean nothing.
    pub(crate) has_quotes: bool,
}

/// What the caller knows beforehand.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Hints<'a> {
    pub(crate) delimiter: Option<u8>,
    pub(crate) decimal_mark: Option<u8>,
    /// Headers that a column map names.
    pub(crate) headers: &'a [String],
    /// A map names columns by number: a file without a header will do.
    pub(crate) by_number: bool,
}

/// The first line among those that the layout is told from that is longer than any row.
pub(crate) fn too_long_line(bytes: &[u8]) -> Option<Line<'_>> {
    lines(bytes).take(HEADER_WITHIN_LINES + SAMPLE_LINES).find(|line| line.text.len() > LONGEST_LINE_BYTES)
}

/// Finds the layout; `None` where no line can be the header.
pub(crate) fn find(bytes: &[u8], hints: Hints<'_>) -> Option<Layout> {
    let head: Vec<Line<'_>> = lines(bytes).take(HEADER_WITHIN_LINES + SAMPLE_LINES).collect();
    let delimiters = match hints.delimiter {
        Some(delimiter) => vec![delimiter],
        None => DELIMITERS.to_vec(),
    };
    let mut best: Option<(usize, usize, u8)> = None;
    for delimiter in delimiters {
        for (index, line) in head.iter().take(HEADER_WITHIN_LINES).enumerate() {
            let score = header_score(&split(line.text, delimiter), hints.headers);
            if score > best.map_or(0, |(best, ..)| best) {
                best = Some((score, index, delimiter));
            }
        }
    }
    let (index, delimiter) = match best {
        Some((_, index, delimiter)) => (Some(index), delimiter),
        None => {
            let delimiter = hints.delimiter.unwrap_or_else(|| commonest_delimiter(&head));
            (plain_header(&head, delimiter), delimiter)
        }
    };
    if index.is_none() && !hints.by_number {
        return None;
    }
    let has_quotes = memchr::memchr_iter(b'"', bytes).count().is_multiple_of(2);
    Some(Layout { has_quotes, ..layout_of(&head, index, delimiter, hints) })
}

fn layout_of(head: &[Line<'_>], index: Option<usize>, delimiter: u8, hints: Hints<'_>) -> Layout {
    let first_row = head.iter().position(|line| numeric_cells(&split(line.text, delimiter)) > 0).unwrap_or(0);
    let mut next = index.map_or(first_row, |it| it + 1);
    let mut headers: Vec<String> = index.map(|it| split(head[it].text, delimiter)).unwrap_or_default();
    if let Some(first) = headers.first_mut() {
        *first = first.trim_start_matches(['#', '%', '/', ' ']).to_owned();
    }
    let mut units = Vec::new();
    if let Some(line) = head.get(next).filter(|_| index.is_some()) {
        let cells = split(line.text, delimiter);
        if is_unit_row(&headers, &cells) {
            units = cells;
            next += 1;
        }
    }
    let data = head.get(next..).unwrap_or_default();
    let rows: Vec<Vec<String>> = data
        .iter()
        .filter(|line| !line.text.trim_ascii().is_empty() && !is_comment(line.text))
        .take(SAMPLE_LINES)
        .map(|line| split(line.text, delimiter))
        .collect();
    let cells = commonest_count(&rows).unwrap_or(headers.len());
    if headers.is_empty() {
        headers = (1..=cells).map(|number| number.to_string()).collect();
    }
    Layout {
        delimiter,
        header_line: index.map_or(0, |it| head[it].number),
        headers,
        units,
        data_start: next.checked_sub(1).and_then(|it| head.get(it)).map_or(0, |line| line.end),
        data_line: next as u64 + 1,
        decimal_mark: hints.decimal_mark.unwrap_or_else(|| decimal_mark(&rows, delimiter)),
        cells,
        has_quotes: true,
    }
}

/// Cells of one line, trimmed and unquoted.
pub(crate) fn split(line: &[u8], delimiter: u8) -> Vec<String> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).delimiter(delimiter).flexible(true).from_reader(line);
    let mut record = csv::ByteRecord::new();
    // Reading from memory has no errors but uneven rows, which are allowed here.
    let _is_read = reader.read_byte_record(&mut record).unwrap_or(false);
    record.iter().map(|cell| text::cell_text(cell).trim().to_owned()).collect()
}

/// A line that speaks to people: begins with `#`, `%` or `//`.
pub(crate) fn is_comment(line: &[u8]) -> bool {
    let line = line.trim_ascii_start();
    line.starts_with(b"#") || line.starts_with(b"%") || line.starts_with(b"//")
}

/// How many different meanings a line's cells have; headers that the map names weigh most.
fn header_score(cells: &[String], mapped: &[String]) -> usize {
    let mut meanings: Vec<Meaning> = Vec::new();
    let mut score = 0;
    for cell in cells {
        let cell = cell.trim_start_matches(['#', '%', '/', ' ']);
        if mapped.iter().any(|it| same_header(it, cell)) {
            score += 10;
        } else if let Some(Reading { meaning, .. }) = meaning::read(cell)
            && !meanings.contains(&meaning)
        {
            meanings.push(meaning);
            score += 1;
        }
    }
    // One word that happens to be known is no header, unless it is all there is.
    if cells.len() < 2 { 0 } else { score }
}

pub(crate) fn same_header(a: &str, b: &str) -> bool {
    a.trim().to_lowercase() == b.trim().to_lowercase()
}

/// The last line of words above the first line of numbers.
fn plain_header(head: &[Line<'_>], delimiter: u8) -> Option<usize> {
    let cells: Vec<Vec<String>> = head.iter().map(|line| split(line.text, delimiter)).collect();
    let first_data = cells.iter().position(|row| row.len() > 1 && numeric_cells(row) * 2 > row.len())?;
    let header = first_data.checked_sub(1)?;
    let is_wordy = numeric_cells(&cells[header]) == 0 && cells[header].len() > 1;
    is_wordy.then_some(header)
}

fn commonest_delimiter(head: &[Line<'_>]) -> u8 {
    let count =
        |delimiter: &u8| head.iter().map(|it| it.text.iter().filter(|byte| *byte == delimiter).count()).sum::<usize>();
    DELIMITERS.into_iter().max_by_key(count).unwrap_or(b',')
}

fn numeric_cells(cells: &[String]) -> usize {
    let is_number =
        |cell: &&String| text::number(cell.as_bytes(), b'.').or_else(|| text::number(cell.as_bytes(), b',')).is_some();
    cells.iter().filter(is_number).count()
}

/// No numbers, and some cell is a unit that its header can have.
fn is_unit_row(headers: &[String], cells: &[String]) -> bool {
    numeric_cells(cells) == 0
        && headers.iter().zip(cells).any(|(header, cell)| {
            let bare = cell.trim_matches(['[', ']', '(', ')']);
            meaning::read(header).is_some_and(|it| unit::parse(bare, it.meaning.dimension()).is_some())
        })
}

fn commonest_count(rows: &[Vec<String>]) -> Option<usize> {
    let mut counts: Vec<usize> = rows.iter().map(Vec::len).collect();
    counts.sort_unstable();
    counts.chunk_by(|a, b| a == b).max_by_key(|run| run.len()).map(|run| run[0])
}

/// A comma where cells are numbers with a comma more often than with a point.
fn decimal_mark(rows: &[Vec<String>], delimiter: u8) -> u8 {
    let with = |mark: u8| {
        let is_such = |cell: &&String| cell.as_bytes().contains(&mark) && text::number(cell.as_bytes(), mark).is_some();
        rows.iter().flatten().filter(is_such).count()
    };
    let commas = with(b',');
    let is_comma = commas > 0 && commas > with(b'.') && (delimiter != b',' || rows.len() > 1);
    if is_comma { b',' } else { b'.' }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn layout(text: &str) -> Layout {
        find(text.as_bytes(), Hints::default()).unwrap()
    }

    #[test]
    fn preamble_units_and_decimal_comma_are_found() {
        let text =
            "Some logger\nSession;3\n\nZeit;Breite;Laenge;v\ns;deg;deg;km/h\n0,0;47,1;8,2;31,5\n0,1;47,1;8,2;31,6\n";
        let it = layout(text);
        assert_eq!((it.delimiter, it.decimal_mark, it.header_line, it.data_line), (b';', b',', 4, 6));
        assert_eq!(it.units, ["s", "deg", "deg", "km/h"]);
        assert!(text[it.data_start..].starts_with("0,0"));
    }

    #[test]
    fn a_header_behind_a_hash_and_bare_carriage_returns() {
        let it = layout("# t_s\tlat\tlon\r1.0\t47.0\t8.0\r");
        assert_eq!((it.delimiter, it.headers[0].as_str(), it.data_line, it.cells), (b'\t', "t_s", 2, 3));
    }

    #[test]
    fn numbers_alone_have_no_header() {
        assert_eq!(find(b"1,2,3\n4,5,6\n", Hints::default()), None);
        let by_number = Hints { by_number: true, ..Hints::default() };
        assert_eq!(find(b"1,2,3\n4,5,6\n", by_number).unwrap().headers, ["1", "2", "3"]);
    }
}
