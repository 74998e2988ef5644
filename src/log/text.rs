//! Bytes to text and numbers: byte order marks, UTF-16, Latin-1 cells, decimal comma.

use std::borrow::Cow;

/// Powers of ten that a double holds exactly.
const EXACT_POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20,
    1e21, 1e22,
];
/// Whole numbers below this are exact as doubles.
const EXACT_MANTISSA: u64 = 1 << 53;

/// The bytes as UTF-8 where a byte order mark says how they are written; otherwise as they are. UTF-16 is decoded.
pub(crate) fn to_utf8(bytes: &[u8]) -> Cow<'_, [u8]> {
    match bytes {
        [0xef, 0xbb, 0xbf, rest @ ..] => Cow::Borrowed(rest),
        [0xff, 0xfe, rest @ ..] => Cow::Owned(from_utf16(rest, u16::from_le_bytes)),
        [0xfe, 0xff, rest @ ..] => Cow::Owned(from_utf16(rest, u16::from_be_bytes)),
        _ => Cow::Borrowed(bytes),
    }
}

fn from_utf16(bytes: &[u8], unit: fn([u8; 2]) -> u16) -> Vec<u8> {
    let units = bytes.chunks_exact(2).map(|pair| unit([pair[0], pair[1]]));
    char::decode_utf16(units).map(|it| it.unwrap_or(char::REPLACEMENT_CHARACTER)).collect::<String>().into_bytes()
}

/// A cell as text: UTF-8, else each byte as the Latin-1 character of that number.
pub(crate) fn cell_text(cell: &[u8]) -> Cow<'_, str> {
    match std::str::from_utf8(cell) {
        Ok(text) => Cow::Borrowed(text),
        Err(_) => Cow::Owned(cell.iter().map(|byte| char::from(*byte)).collect()),
    }
}

/// A finite number with the given decimal mark (`.` or `,`), spaces around it allowed; `None` for anything else.
/// Up to 15 digits are read in one pass and are correctly rounded, because both the digits and the power of ten are
/// exact doubles; longer ones go to the standard library.
pub(crate) fn number(cell: &[u8], decimal_mark: u8) -> Option<f64> {
    let cell = cell.trim_ascii();
    let (negative, digits) = match cell {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        _ => (false, cell),
    };
    let (mut mantissa, mut decimals, mut seen_mark, mut seen_digit) = (0_u64, 0_usize, false, false);
    for byte in digits {
        match byte {
            b'0'..=b'9' if mantissa < EXACT_MANTISSA / 10 - 1 => {
                mantissa = mantissa * 10 + u64::from(byte - b'0');
                decimals += usize::from(seen_mark);
                seen_digit = true;
            }
            mark if *mark == decimal_mark && !seen_mark => seen_mark = true,
            _ => return long_number(cell, decimal_mark),
        }
    }
    let Some(power) = EXACT_POWERS.get(decimals) else { return long_number(cell, decimal_mark) };
    let value = mantissa as f64 / power;
    seen_digit.then_some(if negative { -value } else { value })
}

fn long_number(cell: &[u8], decimal_mark: u8) -> Option<f64> {
    let is_numeric =
        |byte: &u8| byte.is_ascii_digit() || matches!(byte, b'+' | b'-' | b'e' | b'E') || *byte == decimal_mark;
    if cell.is_empty() || cell.len() > 128 || !cell.iter().all(is_numeric) {
        return None;
    }
    let plain: Vec<u8> = cell.iter().map(|byte| if *byte == decimal_mark { b'.' } else { *byte }).collect();
    std::str::from_utf8(&plain).ok()?.parse().ok().filter(|value: &f64| value.is_finite())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn marks_and_encodings_are_read() {
        assert_eq!(to_utf8(b"\xef\xbb\xbft"), &b"t"[..]);
        assert_eq!(to_utf8(b"\xff\xfet\0,\0"), &b"t,"[..]);
        assert_eq!(to_utf8(b"\xfe\xff\0t\0,"), &b"t,"[..]);
        assert_eq!(cell_text(b"gier [\xb0/s]"), "gier [°/s]");
    }

    #[test]
    fn only_finite_numbers_count() {
        for bad in ["", "-", ".", "nan", "inf", "1e999", "1.2.3", "12 5", "0x10", "1,5"] {
            assert_eq!(number(bad.as_bytes(), b'.'), None, "{bad}");
        }
        assert_eq!(number(b" -12,50 ", b','), Some(-12.5));
        assert_eq!(number(b"1.5e-3", b'.'), Some(0.0015));
        assert_eq!(number(b"46.158643048256636", b'.'), Some(46.158_643_048_256_636));
    }

    proptest! {
        /// Against the standard library's parser, which rounds correctly.
        #[test]
        fn the_fast_way_equals_the_standard_library(text in "[+-]?[0-9]{1,20}(\\.0{0,30}[0-9]{0,20})?") {
            prop_assert_eq!(number(text.as_bytes(), b'.'), text.parse().ok());
        }
    }
}
