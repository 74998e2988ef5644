//! The creation time of an ISO base media file, from its movie header.
//!
//! GStreamer passes over stamps that lie ahead of this machine's clock. Footage reviewed on the day it was taken, by a
//! camera that passes local time off as UTC, has just such a stamp; so the header is read here.

use std::path::Path;

use chrono::{DateTime, TimeDelta, Utc};

use crate::files;

/// Boxes on the top level that are looked at before the search is given up: a fragmented film has thousands.
const MOST_BOXES: usize = 100_000;
/// A movie box begins with its header; this much of it holds one.
const MOVIE_HEAD_BYTES: u64 = 4096;

/// Creation time of the movie header; `None` where the file is of another kind, has no such header or says 0 (unset).
/// Source: ISO/IEC 14496-12, 4.2 (boxes), 8.2.2 (movie header: seconds since 1904-01-01, UTC, 32 or 64 bits).
pub(super) fn movie_creation_time(path: &Path) -> Option<DateTime<Utc>> {
    let mut at = 0;
    for _ in 0..MOST_BOXES {
        let head = files::read_at(path, at, 16).ok()?;
        let (size, kind, body) = box_head(&head)?;
        if kind == *b"moov" {
            let movie = files::read_at(path, at + body, MOVIE_HEAD_BYTES.min(size - body)).ok()?;
            return header_time(&movie);
        }
        at = at.checked_add(size)?;
    }
    None
}

/// Size, type and where the content begins. A size of 0 (to the end of the file) ends the search, as nothing follows;
/// so does one that is smaller than its own head.
fn box_head(bytes: &[u8]) -> Option<(u64, [u8; 4], u64)> {
    let kind = bytes.get(4..8)?.try_into().ok()?;
    match u32::from_be_bytes(bytes.get(..4)?.try_into().ok()?) {
        0 => Some((u64::MAX, kind, 8)),
        1 => Some((u64::from_be_bytes(bytes.get(8..16)?.try_into().ok()?), kind, 16)),
        size => Some((u64::from(size), kind, 8)),
    }
    .filter(|(size, _, body)| size >= body)
}

/// Finds the movie header among the boxes of a movie.
fn header_time(movie: &[u8]) -> Option<DateTime<Utc>> {
    let mut rest = movie;
    loop {
        let (size, kind, body) = box_head(rest)?;
        if kind == *b"mvhd" {
            return stamp(rest.get(usize::try_from(body).ok()?..)?);
        }
        rest = rest.get(usize::try_from(size).ok()?..)?;
    }
}

/// Version, three bytes of flags, then the stamp in 32 bits, or in 64 in version 1.
fn stamp(header: &[u8]) -> Option<DateTime<Utc>> {
    let seconds = match header.first()? {
        0 => u64::from(u32::from_be_bytes(header.get(4..8)?.try_into().ok()?)),
        1 => u64::from_be_bytes(header.get(4..12)?.try_into().ok()?),
        _ => return None,
    };
    if seconds == 0 {
        return None;
    }
    let epoch: DateTime<Utc> = DateTime::from_timestamp(-2_082_844_800, 0)?;
    epoch.checked_add_signed(TimeDelta::try_seconds(i64::try_from(seconds).ok()?)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::Overwrite;

    fn boxed(kind: &[u8; 4], content: &[u8]) -> Vec<u8> {
        let size = u32::try_from(8 + content.len()).unwrap().to_be_bytes();
        [&size[..], kind, content].concat()
    }

    /// 1970-01-01 is 2 082 844 800 s after 1904-01-01 (66 years with 17 leap days).
    fn header(version: u8) -> Vec<u8> {
        let seconds: u64 = 2_082_844_800 + 1_936_351_853;
        let stamp = if version == 0 {
            u32::try_from(seconds).unwrap().to_be_bytes().to_vec()
        } else {
            seconds.to_be_bytes().to_vec()
        };
        boxed(b"mvhd", &[&[version, 0, 0, 0][..], &stamp].concat())
    }

    fn read(bytes: &[u8]) -> Option<DateTime<Utc>> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.mp4");
        files::write(&path, bytes, Overwrite::Refuse).unwrap();
        movie_creation_time(&path)
    }

    #[test]
    fn the_movie_header_is_found_behind_the_media() {
        let expected = DateTime::from_timestamp(1_936_351_853, 0);
        let file =
            |version| [boxed(b"ftyp", b"isom"), boxed(b"mdat", &[7; 500]), boxed(b"moov", &header(version))].concat();
        assert_eq!(read(&file(0)), expected);
        assert_eq!(read(&file(1)), expected);
        let wide = [&[0, 0, 0, 1][..], b"mdat", &21_u64.to_be_bytes(), &[0; 5], &boxed(b"moov", &header(0))].concat();
        assert_eq!(read(&wide), expected);
    }

    #[test]
    fn what_has_no_stamp_has_none() {
        let unset = boxed(b"moov", &boxed(b"mvhd", &[0; 12]));
        let looping = [&[0, 0, 0, 1][..], b"mdat", &[0; 8]].concat();
        let to_the_end = [&[0, 0, 0, 0][..], b"mdat", &[0; 50]].concat();
        for bytes in [&unset[..], &looping, &to_the_end, &boxed(b"moov", b"")[..], b"time,lat,lon", b"", &[0xff; 40]] {
            assert_eq!(read(bytes), None, "{bytes:?}");
        }
    }
}
