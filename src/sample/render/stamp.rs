//! The creation time of an MP4 file: written into its movie, track and media headers after muxing, since the muxer
//! itself writes the time of day. Also makes the file the same on every run.

use std::path::Path;

use chrono::{DateTime, Utc};

use crate::files;

/// Seconds from 1904-01-01 to 1970-01-01 UTC (ISO/IEC 14496-12, 8.2.2).
const EPOCH_1904_S: i64 = 2_082_844_800;
/// Films of the sample stay far below this.
const LARGEST_BYTES: u64 = 4 << 30;

/// Boxes that hold other boxes on the way to the headers.
const CONTAINERS: [&[u8; 4]; 3] = [b"moov", b"trak", b"mdia"];
const HEADERS: [&[u8; 4]; 3] = [b"mvhd", b"tkhd", b"mdhd"];

/// Sets creation and modification time of every header in the file. The error is a sentence's middle part.
pub(crate) fn set_creation_time(path: &Path, time: DateTime<Utc>) -> Result<(), String> {
    let mut bytes = files::read(path, LARGEST_BYTES).map_err(|error| error.to_string())?;
    let seconds =
        u32::try_from(time.timestamp() + EPOCH_1904_S).map_err(|_| "creation time out of range".to_owned())?;
    let end = bytes.len();
    if stamp_boxes(&mut bytes, 0, end, seconds) == 0 {
        return Err("the muxer wrote no movie header".to_owned());
    }
    files::write(path, &bytes, files::Overwrite::Replace).map_err(|error| error.to_string())
}

/// How many headers between two bytes were stamped.
fn stamp_boxes(bytes: &mut [u8], from: usize, to: usize, seconds: u32) -> usize {
    let mut stamped = 0;
    let mut at = from;
    while let Some((kind, body, end)) = box_at(bytes, at, to) {
        if CONTAINERS.contains(&&kind) {
            stamped += stamp_boxes(bytes, body, end, seconds);
        } else if HEADERS.contains(&&kind) {
            stamped += usize::from(stamp_header(&mut bytes[body..end], seconds));
        }
        at = end;
    }
    stamped
}

/// Kind, start of the body and end of the box at a byte, where it lies whole before `to`.
fn box_at(bytes: &[u8], at: usize, to: usize) -> Option<([u8; 4], usize, usize)> {
    let head: [u8; 8] = bytes.get(at..at + 8)?.try_into().ok()?;
    let kind = [head[4], head[5], head[6], head[7]];
    let short = u64::from(u32::from_be_bytes([head[0], head[1], head[2], head[3]]));
    let (body, size) = match short {
        0 => (at + 8, (to - at) as u64),
        1 => (at + 16, u64::from_be_bytes(bytes.get(at + 8..at + 16)?.try_into().ok()?)),
        _ => (at + 8, short),
    };
    let end = at.checked_add(usize::try_from(size).ok()?)?;
    (end >= body && end <= to).then_some((kind, body, end))
}

/// Version and flags, then creation and modification time in 32 bits (version 0) or 64 bits (version 1).
fn stamp_header(body: &mut [u8], seconds: u32) -> bool {
    let wide = body.first() == Some(&1);
    let field = if wide { 8 } else { 4 };
    let Some(times) = body.get_mut(4..4 + 2 * field) else { return false };
    for time in times.chunks_exact_mut(field) {
        time.fill(0);
        time[field - 4..].copy_from_slice(&seconds.to_be_bytes());
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    fn boxed(kind: &[u8; 4], body: &[u8]) -> Vec<u8> {
        let size = u32::try_from(body.len() + 8).unwrap();
        [&size.to_be_bytes(), kind.as_slice(), body].concat()
    }

    #[test]
    fn headers_of_both_versions_are_stamped_and_nothing_else() {
        let old = boxed(b"mvhd", &[0; 20]);
        let wide = boxed(b"mdhd", &[[1, 0, 0, 0].as_slice(), &[9; 24]].concat());
        let trak = boxed(b"trak", &boxed(b"mdia", &wide));
        let mut file = [boxed(b"ftyp", &[7; 8]), boxed(b"moov", &[old, trak].concat())].concat();
        let end = file.len();
        assert_eq!(stamp_boxes(&mut file, 0, end, 0x0102_0304), 2);
        assert_eq!(file[16 + 8 + 8 + 4..][..8], [1, 2, 3, 4, 1, 2, 3, 4]);
        let media = end - 24;
        assert_eq!(file[media..media + 16], [0, 0, 0, 0, 1, 2, 3, 4, 0, 0, 0, 0, 1, 2, 3, 4]);
        assert_eq!(file[media + 16..], [9; 8]);
        assert_eq!(file[8..16], [7; 8]);
    }

    #[test]
    fn a_box_longer_than_the_file_ends_the_walk() {
        let mut file = [[0, 0, 1, 0].as_slice(), b"moov"].concat();
        assert_eq!(stamp_boxes(&mut file, 0, 8, 1), 0);
    }
}
