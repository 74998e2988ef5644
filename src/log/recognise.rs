//! The kind of a log told by its content: never by the file's name.

use crate::log::error::Error;
use crate::log::text;
use crate::session::LogKind;

/// How much of a file is looked at.
const HEAD_BYTES: usize = 64 * 1024;
/// NMEA sentences that must begin within the head: one could be a stray `$GP` in a text.
const SENTENCES_NEEDED: usize = 1;
/// A text may hold this share of control bytes and still be one (binary rubbish between sentences of a serial log).
const RUBBISH_SHARE: f64 = 0.02;

/// The kind of log in `bytes`, or `None` where it is none.
pub fn recognise(bytes: &[u8]) -> Option<LogKind> {
    let text = text::to_utf8(bytes);
    let head = &text[..text.len().min(HEAD_BYTES)];
    if known_binary(head).is_some() {
        return None;
    }
    if looks_like_gpx(head) {
        return Some(LogKind::Gpx);
    }
    if sentence_starts(head) >= SENTENCES_NEEDED {
        return Some(LogKind::Nmea);
    }
    let is_table = is_text(head) && !looks_like_markup(head) && !looks_like_json(head) && has_table_lines(head);
    is_table.then_some(LogKind::Csv)
}

/// Why `bytes` are no log; call only where [`recognise`] gave `None`.
pub(crate) fn refusal(file: &str, bytes: &[u8]) -> Error {
    let file = file.to_owned();
    let text = text::to_utf8(bytes);
    let head = &text[..text.len().min(HEAD_BYTES)];
    if head.iter().all(u8::is_ascii_whitespace) {
        return Error::Empty { file };
    }
    if let Some(found) = known_binary(head) {
        return Error::WrongKind { file, found };
    }
    if looks_like_markup(head) {
        let found = if contains_ignoring_case(head, b"<html") { "a web page" } else { "XML, but no GPX," };
        return Error::WrongKind { file, found };
    }
    if looks_like_json(head) {
        return Error::WrongKind { file, found: "JSON" };
    }
    match head.iter().position(|byte| is_rubbish(*byte)) {
        Some(byte) if !is_text(head) => Error::NotText { file, byte },
        _ => Error::Unrecognised { file },
    }
}

/// Kinds of file that people pick by mistake, by their signatures.
fn known_binary(head: &[u8]) -> Option<&'static str> {
    const SIGNATURES: [(&[u8], &str); 12] = [
        (b"\xff\xd8\xff", "a JPEG picture"),
        (b"\x89PNG\r\n\x1a\n", "a PNG picture"),
        (b"GIF8", "a GIF picture"),
        (b"PK\x03\x04", "a ZIP archive or office document"),
        (b"\x1f\x8b", "a gzip archive"),
        (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
        (b"%PDF", "a PDF document"),
        (b"\x1a\x45\xdf\xa3", "Matroska or WebM footage"),
        (b"RIFF", "AVI footage or sound"),
        (b"SQLite format 3\0", "a database"),
        (b"PAR1", "a Parquet table"),
        (b"\x7fELF", "a program"),
    ];
    if head.get(4..8) == Some(b"ftyp") {
        return Some("MP4 or QuickTime footage");
    }
    SIGNATURES.iter().find(|(signature, _)| head.starts_with(signature)).map(|(_, found)| *found)
}

fn looks_like_gpx(head: &[u8]) -> bool {
    looks_like_markup(head) && contains_ignoring_case(head, b"<gpx") || contains_ignoring_case(head, b":gpx ")
}

fn looks_like_markup(head: &[u8]) -> bool {
    head.iter().find(|byte| !byte.is_ascii_whitespace()) == Some(&b'<')
}

fn looks_like_json(head: &[u8]) -> bool {
    let mut visible = head.iter().filter(|byte| !byte.is_ascii_whitespace());
    matches!((visible.next(), visible.next()), (Some(b'{'), Some(b'"' | b'}')) | (Some(b'['), Some(b'{' | b'[')))
}

/// Begins of the sentence types that carry a time or a position: two talker letters, three letters of type.
fn sentence_starts(head: &[u8]) -> usize {
    head.windows(7)
        .filter(|it| {
            it[0] == b'$'
                && it[1..3].iter().all(u8::is_ascii_uppercase)
                && matches!(&it[3..6], b"RMC" | b"GGA" | b"GNS" | b"VTG" | b"ZDA" | b"GLL" | b"GSA" | b"GSV")
                && it[6] == b','
        })
        .count()
}

fn is_text(head: &[u8]) -> bool {
    let rubbish = head.iter().filter(|byte| is_rubbish(**byte)).count();
    rubbish as f64 <= RUBBISH_SHARE * head.len() as f64
}

fn is_rubbish(byte: u8) -> bool {
    byte < b' ' && !matches!(byte, b'\t' | b'\n' | b'\r' | 0x0c) || byte == 0x7f
}

/// Some line that has a delimiter between two cells.
fn has_table_lines(head: &[u8]) -> bool {
    head.split(|byte| matches!(byte, b'\n' | b'\r')).any(|line| line.iter().any(|it| matches!(it, b',' | b';' | b'\t')))
}

fn contains_ignoring_case(haystack: &[u8], needle: &[u8]) -> bool {
    haystack.windows(needle.len()).any(|it| it.eq_ignore_ascii_case(needle))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_content_tells_the_kind() {
        assert_eq!(recognise(b"t_s,lat,lon\n0,1,2\n"), Some(LogKind::Csv));
        assert_eq!(recognise(b"\x00\xffrubbish $GNRMC,,V,,,,,,,,,,N*4D\r\n"), Some(LogKind::Nmea));
        assert_eq!(recognise(b"\xef\xbb\xbf<?xml version='1.0'?>\n<gpx></gpx>"), Some(LogKind::Gpx));
        for other in
            [&b""[..], b"\xff\xd8\xff\xe0,,", b"PK\x03\x04,", b"<html>,</html>", b"{\"a\":1,\"b\":2}", b"hello"]
        {
            assert_eq!(recognise(other), None);
        }
    }
}
