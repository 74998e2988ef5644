//! What is seen to move in one footage file, stretch by stretch, kept beside the program's other caches: the same file
//! is never looked through twice. What is kept can be thrown away at any time; a book knows nothing of it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::clock::motion::SeenFrame;
use crate::files::{self, Overwrite};
use crate::job::Context;
use crate::load::Error;
#[cfg(feature = "media")]
use crate::media;
#[cfg(feature = "media")]
use crate::session::VideoTime;

/// Tells how motion is seen, by the code that sees it: what another state of it has kept is not used.
const SEEN_BY: u64 = {
    let sources: [&[u8]; 3] = [
        include_bytes!("../media/motion.rs"),
        include_bytes!("../signal/phase.rs"),
        include_bytes!("../signal/scene.rs"),
    ];
    let (mut hash, mut at) = (FNV_BASIS, 0);
    while at < sources.len() {
        hash = fnv(hash, sources[at]);
        at += 1;
    }
    hash
};
/// An hour of motion is a tenth of this.
const LARGEST_BYTES: u64 = 256 << 20;
/// How much of a file's beginning and end tells it from others.
const TELLING_BYTES: u64 = 64 << 10;
/// Shares of the width and peaks are kept in steps of this.
const STEP: f64 = 1e-6;

/// One file of footage.
#[derive(Debug)]
pub(super) struct SeenFile<'a> {
    path: &'a Path,
    /// Where its motion is kept; `None` where there is no place for that.
    kept_at: Option<PathBuf>,
    kept: Kept,
    has_more: bool,
    #[cfg(feature = "media")]
    reader: Option<media::MotionReader>,
}

/// The file of one footage file's motion.
#[derive(Debug, Default, Serialize, Deserialize)]
struct Kept {
    seen_by: u64,
    /// By the index of the stretch.
    stretches: BTreeMap<usize, Vec<KeptFrame>>,
}

/// Times in ns; bands as pairs of share and peak in steps of [`STEP`].
#[derive(Debug, Clone, Serialize, Deserialize)]
struct KeptFrame(i64, i64, Vec<(i32, i32)>, Option<i32>);

impl<'a> SeenFile<'a> {
    pub(super) fn new(path: &'a Path) -> Self {
        let kept_at = cache_folder().and_then(|folder| Some(folder.join(format!("{:016x}.json", mark_of(path)?))));
        let read = |path: &PathBuf| -> Option<Kept> {
            files::length(path)?;
            serde_json::from_slice(&files::read(path, LARGEST_BYTES).ok()?).ok()
        };
        let kept = kept_at.as_ref().and_then(read).filter(|it| it.seen_by == SEEN_BY).unwrap_or_default();
        Self {
            path,
            kept_at,
            kept,
            has_more: false,
            #[cfg(feature = "media")]
            reader: None,
        }
    }

    /// The motion in the stretch of this index, each `length_s` long, in presentation time of the file.
    pub(super) fn stretch(
        &mut self,
        index: usize,
        length_s: f64,
        context: &Context,
        done: impl Fn(f64),
    ) -> Result<Vec<SeenFrame>, Error> {
        if !self.kept.stretches.contains_key(&index) {
            let from_s = index as f64 * length_s;
            let frames = self.look(from_s, from_s + length_s, context, done)?;
            self.kept.stretches.insert(index, frames);
            self.has_more = true;
        }
        Ok(self.kept.stretches.get(&index).map(|it| it.iter().map(KeptFrame::seen).collect()).unwrap_or_default())
    }

    #[cfg(feature = "media")]
    fn look(&mut self, from_s: f64, to_s: f64, context: &Context, done: impl Fn(f64)) -> Result<Vec<KeptFrame>, Error> {
        let reader = match self.reader.take() {
            Some(reader) => self.reader.insert(reader),
            None => self.reader.insert(media::MotionReader::open(self.path)?),
        };
        let tell = |at: VideoTime| done(((at.seconds() - from_s) / (to_s - from_s)).clamp(0.0, 1.0));
        let motions = reader.read(VideoTime::from_seconds(from_s), VideoTime::from_seconds(to_s), context, tell)?;
        let width_px = reader.width_px();
        Ok(motions.iter().map(|it| KeptFrame::of(it, width_px)).collect())
    }

    /// Footage is beyond this build.
    #[cfg(not(feature = "media"))]
    fn look(&mut self, _: f64, _: f64, _: &Context, _: impl Fn(f64)) -> Result<Vec<KeptFrame>, Error> {
        Err(Error::FootageUnreadable { path: self.path.to_owned() })
    }

    /// Keeps what has been read. What cannot be kept is read again another time.
    pub(super) fn keep(&mut self) {
        let Some(path) = self.kept_at.as_ref().filter(|_| self.has_more) else { return };
        self.kept.seen_by = SEEN_BY;
        let Ok(text) = serde_json::to_vec(&self.kept) else { return };
        if files::make_folder(files::folder_of(path)).is_ok() {
            self.has_more = files::write(path, &text, Overwrite::Replace).is_err();
        }
    }
}

impl KeptFrame {
    #[cfg(feature = "media")]
    fn of(motion: &media::FrameMotion, width_px: f64) -> Self {
        let share = |px: f32| steps(f64::from(px) / width_px.max(1.0));
        let bands = motion.shift.bands.iter().map(|it| (share(it.right_px), steps(f64::from(it.peak)))).collect();
        Self(motion.from.0, motion.to.0, bands, motion.shift.spread_px.map(share))
    }

    fn seen(&self) -> SeenFrame {
        let Self(from_ns, to_ns, bands, spread) = self;
        SeenFrame {
            from_s: *from_ns as f64 * 1e-9,
            to_s: *to_ns as f64 * 1e-9,
            bands: bands.iter().map(|(right, peak)| (f64::from(*right) * STEP, f64::from(*peak) * STEP)).collect(),
            spread: spread.map(|it| f64::from(it) * STEP),
        }
    }
}

#[cfg(feature = "media")]
fn steps(value: f64) -> i32 {
    #[allow(clippy::cast_possible_truncation, reason = "float to integer casts saturate")]
    let steps = (value / STEP).round() as i32;
    steps
}

/// Where this user's programs keep what can be thrown away.
/// Source: XDG Base Directory Specification, `XDG_CACHE_HOME`.
fn cache_folder() -> Option<PathBuf> {
    let absolute = |name: &str| std::env::var_os(name).map(PathBuf::from).filter(|it| it.is_absolute());
    let home = || absolute("HOME").map(|it| it.join(".cache"));
    Some(absolute("XDG_CACHE_HOME").or_else(home)?.join("cornerbook").join("motion"))
}

/// Tells a file's content by its length, its beginning and its end. `None` where it cannot be read.
fn mark_of(path: &Path) -> Option<u64> {
    let length = files::length(path)?;
    let head = files::read_head(path, TELLING_BYTES).ok()?;
    let tail = files::read_at(path, length.saturating_sub(TELLING_BYTES), TELLING_BYTES).ok()?;
    Some([&length.to_le_bytes()[..], &head, &tail].into_iter().fold(FNV_BASIS, fnv))
}

const FNV_BASIS: u64 = 0xcbf2_9ce4_8422_2325;

/// FNV-1a, 64 bits: draft-eastlake-fnv, "The FNV Non-Cryptographic Hash Algorithm".
const fn fnv(mut hash: u64, bytes: &[u8]) -> u64 {
    let mut at = 0;
    while at < bytes.len() {
        hash = (hash ^ bytes[at] as u64).wrapping_mul(0x100_0000_01b3);
        at += 1;
    }
    hash
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_known_by_what_it_holds() {
        let folder = tempfile::tempdir().unwrap();
        let write = |name: &str, bytes: &[u8]| {
            let path = folder.path().join(name);
            files::write(&path, bytes, Overwrite::Refuse).unwrap();
            mark_of(&path).unwrap()
        };
        assert_eq!(write("a", b"one"), write("b", b"one"));
        assert_ne!(write("c", b"two"), write("d", b"twp"));
        assert_eq!(mark_of(&folder.path().join("none")), None);
    }

    /// Source: test vectors of the draft (from memory).
    #[test]
    fn bytes_are_hashed_as_published() {
        assert_eq!(fnv(FNV_BASIS, b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(fnv(FNV_BASIS, b"foobar"), 0x8594_4171_f739_67e8);
    }

    #[test]
    fn what_is_kept_comes_back() {
        let kept = Kept {
            seen_by: SEEN_BY,
            stretches: BTreeMap::from([(3, vec![KeptFrame(1, 40_000_001, vec![(-12_345, 800_000)], Some(7))])]),
        };
        let back: Kept = serde_json::from_slice(&serde_json::to_vec(&kept).unwrap()).unwrap();
        let frame = back.stretches[&3][0].seen();
        assert!((frame.bands[0].0 + 0.012_345).abs() < 1e-12 && (frame.bands[0].1 - 0.8).abs() < 1e-12);
        assert!((frame.to_s - 0.040_000_001).abs() < 1e-12 && frame.spread.is_some());
    }
}
