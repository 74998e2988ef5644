//! NMEA 0183 sentences in bytes: found wherever they begin, checksum judged, fields split and read.

/// The standard allows 82 bytes; receivers with long positions write a few more.
const LONGEST: usize = 128;

/// How a sentence's checksum stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Checksum {
    Right,
    Wrong,
    Missing,
}

/// One sentence: what stands between `$` and `*`, and where.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sentence<'a> {
    pub(crate) body: &'a [u8],
    pub(crate) checksum: Checksum,
    /// From 1.
    pub(crate) line: u64,
}

impl<'a> Sentence<'a> {
    /// The three letters after the talker, of any talker; `None` for a maker's own sentence (`$P…`).
    pub(crate) fn kind(&self) -> Option<&'a [u8]> {
        let address = self.body.split(|byte| *byte == b',').next()?;
        (address.len() == 5 && address[0] != b'P').then(|| &address[2..])
    }

    pub(crate) fn fields(&self) -> Vec<&'a [u8]> {
        self.body.split(|byte| *byte == b',').skip(1).map(<[u8]>::trim_ascii).collect()
    }
}

/// XOR of all bytes between `$` and `*`.
pub fn checksum(body: &[u8]) -> u8 {
    body.iter().fold(0, |sum, byte| sum ^ byte)
}

/// All sentences of a file in order, and the count of bytes outside them that are no text.
#[derive(Debug)]
pub(crate) struct Sentences<'a> {
    bytes: &'a [u8],
    at: usize,
    line: u64,
    /// Bytes that are no text, met so far outside sentences.
    pub(crate) rubbish: usize,
}

impl<'a> Sentences<'a> {
    pub(crate) fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0, line: 1, rubbish: 0 }
    }
}

impl<'a> Iterator for Sentences<'a> {
    type Item = Sentence<'a>;

    fn next(&mut self) -> Option<Self::Item> {
        while let Some(byte) = self.bytes.get(self.at) {
            self.at += 1;
            match byte {
                b'\n' => self.line += 1,
                b'$' => {
                    if let Some((sentence, length)) = sentence_at(&self.bytes[self.at..], self.line) {
                        self.at += length;
                        return Some(sentence);
                    }
                }
                b'\r' | b'\t' | b' '..=b'~' => {}
                _ => self.rubbish += 1,
            }
        }
        None
    }
}

/// The sentence whose `$` stands just before `rest`, and how many bytes it takes.
fn sentence_at(rest: &[u8], line: u64) -> Option<(Sentence<'_>, usize)> {
    let text = rest.iter().take(LONGEST).take_while(|byte| matches!(byte, b' '..=b'~') && **byte != b'$').count();
    let address = rest[..text].iter().take_while(|byte| byte.is_ascii_uppercase() || byte.is_ascii_digit()).count();
    if address < 4 || rest.get(address) != Some(&b',') {
        return None;
    }
    let Some(star) = rest[..text].iter().position(|byte| *byte == b'*') else {
        return Some((Sentence { body: &rest[..text], checksum: Checksum::Missing, line }, text));
    };
    let body = &rest[..star];
    let digits = &rest[star + 1..text.min(star + 3)];
    let stated =
        std::str::from_utf8(digits).ok().filter(|it| it.len() == 2).and_then(|it| u8::from_str_radix(it, 16).ok());
    let verdict = if stated == Some(checksum(body)) { Checksum::Right } else { Checksum::Wrong };
    Some((Sentence { body, checksum: verdict, line }, star + 1 + digits.len()))
}

/// A position in degrees with the number of decimals its minutes have, from `ddmm.mm,N,dddmm.mm,E`.
/// `None` where a field is empty or malformed; range is judged by the caller.
pub(crate) fn position(fields: &[&[u8]]) -> Option<(f64, f64, usize)> {
    let [latitude, north_south, longitude, east_west] = fields else { return None };
    let latitude_deg = degrees(latitude)? * sign(north_south, b'N', b'S')?;
    let longitude_deg = degrees(longitude)? * sign(east_west, b'E', b'W')?;
    let decimals = latitude.iter().position(|byte| *byte == b'.').map_or(0, |point| latitude.len() - point - 1);
    Some((latitude_deg, longitude_deg, decimals))
}

fn degrees(field: &[u8]) -> Option<f64> {
    let value = plain_number(field)?;
    let whole = (value / 100.0).floor();
    let minutes = value - whole * 100.0;
    (minutes < 60.0).then_some(whole + minutes / 60.0)
}

fn sign(field: &[u8], positive: u8, negative: u8) -> Option<f64> {
    match field {
        [it] if *it == positive => Some(1.0),
        [it] if *it == negative => Some(-1.0),
        _ => None,
    }
}

/// Seconds of the day of `hhmmss` or `hhmmss.sss`; a leap second 60 is let pass.
pub(crate) fn time_of_day(field: &[u8]) -> Option<f64> {
    if field.len() < 6 || !field[..6].iter().all(u8::is_ascii_digit) || !matches!(field.get(6), None | Some(b'.')) {
        return None;
    }
    let pair = |from: usize| f64::from((field[from] - b'0') * 10 + field[from + 1] - b'0');
    let (hours, minutes, seconds) = (pair(0), pair(2), plain_number(&field[4..])?);
    (hours < 24.0 && minutes < 60.0 && seconds < 61.0).then_some(hours * 3600.0 + minutes * 60.0 + seconds)
}

/// A number of digits with at most one point, no sign, no exponent.
pub(crate) fn plain_number(field: &[u8]) -> Option<f64> {
    let is_plain = !field.is_empty() && field.iter().all(|byte| byte.is_ascii_digit() || *byte == b'.');
    if is_plain { crate::log::text::number(field, b'.') } else { None }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Checksums from memory, recomputed (shared reference numbers, block "NMEA 0183 checksum").
    #[test]
    fn published_sentences_have_their_checksums() {
        for sentence in [
            "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
            "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
            "$GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1*39",
            "$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48",
            "$GPGLL,4916.45,N,12311.12,W,225444,A*31",
        ] {
            let found: Vec<_> = Sentences::new(sentence.as_bytes()).collect();
            assert_eq!(found.len(), 1);
            assert_eq!(found[0].checksum, Checksum::Right, "{sentence}");
            let flipped = sentence.replacen(',', ";", 1).replacen("GP", "GQ", 1).replacen(';', ",", 1);
            assert_eq!(Sentences::new(flipped.as_bytes()).next().unwrap().checksum, Checksum::Wrong);
        }
    }

    #[test]
    fn sentences_begin_anywhere_and_rubbish_is_counted() {
        let bytes = b"\x00\xff10:00:01 $GPRMC,1,A*00\x80$GPGGA,2\r\n$$GPVTG,3";
        let mut sentences = Sentences::new(bytes);
        let bodies: Vec<_> = sentences.by_ref().map(|it| (it.body, it.line, it.checksum)).collect();
        assert_eq!(bodies.len(), 3);
        assert_eq!(bodies[1], (&b"GPGGA,2"[..], 1, Checksum::Missing));
        assert_eq!(bodies[2].1, 2);
        assert_eq!(sentences.rubbish, 3);
    }

    #[test]
    fn fields_are_read() {
        let (latitude_deg, longitude_deg, decimals) = position(&[b"4807.038", b"N", b"01131.000", b"W"]).unwrap();
        assert!((latitude_deg - 48.1173).abs() < 1e-9 && (longitude_deg + 11.516_666_667).abs() < 1e-8);
        assert_eq!(decimals, 3);
        assert_eq!(time_of_day(b"123519.25"), Some(45_319.25));
        for bad in [&b"12351"[..], b"246000", b"1235190", b"12-519", b""] {
            assert_eq!(time_of_day(bad), None);
        }
        assert!(position(&[b"4860.0", b"N", b"01131.000", b"W"]).is_none());
    }
}
