//! Footage looked into where this build can, and handed to the clock as plain data.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};

use crate::clock::Chapter;
use crate::files;
use crate::job::Context;
use crate::load::Error;
#[cfg(feature = "media")]
use crate::media;
#[cfg(feature = "media")]
use crate::present;
use crate::report::FootageFound;
use crate::session::{Note, VideoTime};

/// What a footage file holds.
#[derive(Debug, Clone)]
pub struct Footage {
    pub path: PathBuf,
    pub duration_s: f64,
    /// Presentation times of the first frame and of the end of the last.
    pub shown: (VideoTime, VideoTime),
    pub created: Option<DateTime<Utc>>,
    pub found: FootageFound,
    pub notes: Vec<Note>,
}

/// The files as the clock needs them.
pub fn clock_chapters(footage: &[Footage]) -> Vec<Chapter> {
    footage.iter().map(|it| Chapter { duration_s: it.duration_s, created: it.created }).collect()
}

/// Looks into each file of a recording, in order.
pub fn probe_all(paths: &[PathBuf], context: &Context) -> Result<Vec<Footage>, Error> {
    if let Some(path) = twice(paths) {
        return Err(Error::FootageTwice { path: path.clone() });
    }
    let probe_next = |path: &PathBuf| {
        context.check()?;
        probe(path)
    };
    paths.iter().map(probe_next).collect()
}

/// The first that is a file named before, under whatever name.
fn twice(paths: &[PathBuf]) -> Option<&PathBuf> {
    let mut before = Vec::with_capacity(paths.len());
    paths.iter().find(|path| {
        // One that cannot be found is told of when it is looked into.
        let Ok(real) = files::real(path) else { return false };
        let is_known = before.contains(&real);
        before.push(real);
        is_known
    })
}

/// Whether bytes begin like a film: ISO base media (ISO/IEC 14496-12, boxes with a four-letter type), Matroska and
/// WebM (RFC 8794, EBML magic), AVI (RIFF), MPEG transport stream (ISO/IEC 13818-1, a sync byte every 188 bytes).
pub fn recognise(head: &[u8]) -> bool {
    const BOXES: [&[u8]; 6] = [b"ftyp", b"moov", b"mdat", b"free", b"wide", b"skip"];
    let iso = head.get(4..8).is_some_and(|it| BOXES.contains(&it));
    let ebml = head.starts_with(&[0x1a, 0x45, 0xdf, 0xa3]);
    let riff = head.starts_with(b"RIFF") && head.get(8..12) == Some(b"AVI ");
    let transport = head.len() > 376 && [0, 188, 376].iter().all(|it| head[*it] == 0x47);
    iso || ebml || riff || transport
}

impl Footage {
    /// With the number of its frames, for which the whole file is read.
    #[cfg(feature = "media")]
    pub fn counted(mut self) -> Result<Self, Error> {
        self.found.frames = Some(media::frame_times(&self.path)?.len() as u64);
        Ok(self)
    }

    /// Footage is beyond this build.
    #[cfg(not(feature = "media"))]
    pub fn counted(self) -> Result<Self, Error> {
        Err(Error::FootageUnreadable { path: self.path })
    }
}

/// Looks into one file: its head and its end. Frames are not counted, see [`Footage::counted`].
#[cfg(feature = "media")]
pub fn probe(path: &Path) -> Result<Footage, Error> {
    let seen = media::probe(path)?;
    let mut details = vec![format!("video: {}", seen.codec)];
    details.push(seen.audio.as_ref().map_or_else(|| "no audio".to_owned(), |it| format!("audio: {it}")));
    if seen.video_streams > 1 {
        details.push(format!("{} video streams, of which the first is used", seen.video_streams));
    }
    if seen.orientation.turn_deg != 0 {
        details.push(format!("to be turned by {}° to stand upright", seen.orientation.turn_deg));
    }
    if seen.start.seconds() > 0.0 {
        details.push(format!("the first frame is shown at {} s", present::fixed(seen.start.seconds(), 3)));
    }
    let found = FootageFound {
        duration_s: Some(seen.duration_s()),
        frames: None,
        width: Some(seen.width_px),
        height: Some(seen.height_px),
        rate_hz: seen.rate_hz,
        created_utc: seen.created.map(present::utc),
        details,
    };
    Ok(Footage {
        path: path.to_owned(),
        duration_s: seen.duration_s(),
        shown: (seen.start, seen.end),
        created: seen.created,
        found,
        notes: seen.notes,
    })
}

/// Footage is beyond this build.
#[cfg(not(feature = "media"))]
pub fn probe(path: &Path) -> Result<Footage, Error> {
    Err(Error::FootageUnreadable { path: path.to_owned() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn films_are_told_by_their_first_bytes() {
        assert!(recognise(b"\0\0\0\x20ftypisom"));
        assert!(recognise(&[0x1a, 0x45, 0xdf, 0xa3, 1]));
        assert!(recognise(b"RIFF\0\0\0\0AVI LIST"));
        assert!(!recognise(b"time,lat,lon\n0,47,8\n") && !recognise(b"") && !recognise(b"RIFF\0\0\0\0WAVE"));
    }
}
