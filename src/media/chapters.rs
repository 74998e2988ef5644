//! Chapters of an MP4 file, which GStreamer's muxer cannot write: a `chpl` box in the film's user data, as common players
//! and ffmpeg read it (from memory; the box is in no standard). Takes a finished film whose index stands behind its
//! pictures, as our muxer leaves it; changes nothing else in it.

use std::path::Path;

use crate::files;
use crate::media::encoders::Profile;
use crate::media::error::Error;
use crate::media::writer::plain;
use crate::reel::FilmChapter;

/// Box headers are a length and a type of four bytes each (ISO/IEC 14496-12, 4.2).
const HEADER: usize = 8;
/// An index, with what follows it, larger than this is none that we have written.
const LARGEST_INDEX: u64 = 64 << 20;
/// Chapters are counted in one byte, and so are the bytes of a title.
const MOST: usize = 255;
/// Times are in units of 100 ns.
const UNITS_A_SECOND: f64 = 1e7;

/// Adds the chapters where the muxer has not written them already. Gives whether the file has them, be there none.
pub(crate) fn complete(path: &Path, out: &Path, profile: Profile, chapters: &[FilmChapter]) -> Result<bool, Error> {
    if chapters.is_empty() || profile.container.has_own_chapters() {
        return Ok(true);
    }
    let Some(tail) = tail_of(path)? else { return Ok(false) };
    let Some(with_chapters) = with_chapters(&tail.index, chapters) else { return Ok(false) };
    files::write_at(path, tail.at, &[with_chapters, tail.rest].concat())
        .map_err(|error| Error::Render { path: out.to_owned(), cause: error.to_string() })?;
    Ok(true)
}

/// A film from its index on: where that stands, all its bytes, and what follows it.
struct Tail {
    at: u64,
    index: Vec<u8>,
    rest: Vec<u8>,
}

/// `None` where pictures follow the index, which has their places.
fn tail_of(path: &Path) -> Result<Option<Tail>, files::Error> {
    let end = files::length(path).unwrap_or(0);
    let (mut at, mut found) = (0, None);
    while at < end {
        let head = files::read_at(path, at, 16)?;
        let length = box_length(&head, end - at).filter(|it| (HEADER as u64..=end - at).contains(it));
        let Some(length) = length else { return Ok(None) };
        match head.get(4..8) {
            Some(b"moov") if length <= LARGEST_INDEX => found = Some((at, length)),
            Some(b"mdat") => found = None,
            _ => {}
        }
        at += length;
    }
    let Some((at, length)) = found.filter(|it| end - it.0 <= LARGEST_INDEX) else { return Ok(None) };
    let (index, rest) = (files::read_at(path, at, length)?, files::read_at(path, at + length, end)?);
    Ok(Some(Tail { at, index, rest }))
}

/// A length of 1 is followed by a long one, 0 means up to the end (ISO/IEC 14496-12, 4.2).
fn box_length(head: &[u8], rest: u64) -> Option<u64> {
    match u32::from_be_bytes(head.get(..4)?.try_into().ok()?) {
        0 => Some(rest),
        1 => Some(u64::from_be_bytes(head.get(8..16)?.try_into().ok()?)),
        short => Some(u64::from(short)),
    }
}

/// The index with a box of chapters in its user data; `None` where it is not as it should be.
fn with_chapters(index: &[u8], chapters: &[FilmChapter]) -> Option<Vec<u8>> {
    let list = chapter_box(chapters)?;
    let mut at = HEADER;
    while at < index.len() {
        let length = usize::try_from(box_length(index.get(at..)?, (index.len() - at) as u64)?).ok()?;
        let end = at.checked_add(length.max(HEADER)).filter(|it| *it <= index.len())?;
        if index.get(at + 4..at + 8) == Some(b"udta") {
            let user = boxed(*b"udta", &[&index[at + HEADER..end], &list].concat())?;
            return boxed(*b"moov", &[&index[HEADER..at], &user, &index[end..]].concat());
        }
        at = end;
    }
    boxed(*b"moov", &[&index[HEADER..], &boxed(*b"udta", &list)?].concat())
}

fn boxed(kind: [u8; 4], content: &[u8]) -> Option<Vec<u8>> {
    let length = u32::try_from(HEADER + content.len()).ok()?;
    Some([&length.to_be_bytes(), &kind, content].concat())
}

/// Version 1, three bytes of flags, four that are reserved, the count, then of each its begin and its title.
fn chapter_box(chapters: &[FilmChapter]) -> Option<Vec<u8>> {
    let chapters = &chapters[..chapters.len().min(MOST)];
    let mut content = vec![1, 0, 0, 0, 0, 0, 0, 0, u8::try_from(chapters.len()).ok()?];
    for chapter in chapters {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "not negative; casts saturate")]
        let at = (chapter.from_s.max(0.0) * UNITS_A_SECOND).round() as u64;
        let title = plain(&chapter.title);
        let title = first_bytes(&title);
        content.extend(at.to_be_bytes());
        content.push(u8::try_from(title.len()).ok()?);
        content.extend(title.as_bytes());
    }
    boxed(*b"chpl", &content)
}

/// As many whole letters as a title may have bytes.
fn first_bytes(title: &str) -> &str {
    let end = (0..=MOST.min(title.len())).rev().find(|it| title.is_char_boundary(*it)).unwrap_or(0);
    &title[..end]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chapters() -> Vec<FilmChapter> {
        let chapter = |from_s: f64, title: &str| FilmChapter { from_s, until_s: from_s + 1.0, title: title.to_owned() };
        vec![chapter(0.0, "T1"), chapter(1.5, &"é".repeat(200))]
    }

    #[test]
    fn the_box_goes_into_user_data_that_is_there_or_into_new() {
        let header = boxed(*b"mvhd", &[7; 100]).unwrap();
        let user = boxed(*b"udta", &[0, 0, 0, 8, b'm', b'e', b't', b'a']).unwrap();
        let list = chapter_box(&chapters()).unwrap();
        assert_eq!(&list[4..21], b"chpl\x01\0\0\0\0\0\0\0\x02\0\0\0\0");
        assert_eq!(list.len(), 8 + 9 + (8 + 1 + 2) + (8 + 1 + 254));
        let old = boxed(*b"moov", &[header.clone(), user.clone()].concat()).unwrap();
        let new = with_chapters(&old, &chapters()).unwrap();
        assert_eq!(new.len(), old.len() + list.len());
        assert!(new.ends_with(&list) && new[..4] == u32::try_from(new.len()).unwrap().to_be_bytes());
        let bare = with_chapters(&boxed(*b"moov", &header).unwrap(), &chapters()).unwrap();
        assert!(bare.ends_with(&boxed(*b"udta", &list).unwrap()));
    }

    #[test]
    fn a_damaged_index_is_left_alone() {
        let mut broken = boxed(*b"moov", &boxed(*b"trak", &[1; 20]).unwrap()).unwrap();
        broken[8..12].copy_from_slice(&900u32.to_be_bytes());
        assert_eq!(with_chapters(&broken, &chapters()), None);
        assert_eq!(with_chapters(&[0, 0, 0, 12, 1, 2, 3, 4, 0, 0, 0, 1], &chapters()), None);
    }
}
