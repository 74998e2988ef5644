//! Fields of MP4 files, set by hand in a file that ffmpeg made, against what the probe reads.
//! Source: ISO/IEC 14496-12, 8.2.2 (movie header) and 8.3.2 (track header), from memory; recomputed independently.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use chrono::{TimeZone, Utc};
use cornerbook::media::{Orientation, probe};

/// Seconds from 1904-01-01 to 1970-01-01 UTC.
const EPOCH_1904_S: u32 = 2_082_844_800;
/// From the box's type to a field, in version 0 of both boxes.
const MOVIE_CREATION: usize = 8;
const TRACK_MATRIX: usize = 44;

#[test]
fn creation_times_count_from_1904() {
    let Some(file) = small_film("creation") else { return };
    let stamped = |raw: u32| probe(&with_field(&file, b"mvhd", MOVIE_CREATION, &raw.to_be_bytes())).unwrap().created;
    assert_eq!(stamped(EPOCH_1904_S + 1_700_000_000), Utc.with_ymd_and_hms(2023, 11, 14, 22, 13, 20).single());
    // Above 2³¹, where a signed reading would fail.
    assert_eq!(stamped(EPOCH_1904_S + 1_000_000_000), Utc.with_ymd_and_hms(2001, 9, 9, 1, 46, 40).single());
    assert_eq!(stamped(0), None, "0 means not set");
}

#[test]
fn the_track_matrix_turns_the_picture() {
    let Some(file) = small_film("matrix") else { return };
    let one = 0x0001_0000_i32;
    for (turn_deg, [a, b, c, d]) in
        [(0, [one, 0, 0, one]), (90, [0, one, -one, 0]), (180, [-one, 0, 0, -one]), (270, [0, -one, one, 0])]
    {
        let matrix = [a, b, 0, c, d, 0, 0, 0, 0x4000_0000];
        let bytes: Vec<u8> = matrix.iter().flat_map(|it| it.to_be_bytes()).collect();
        let footage = probe(&with_field(&file, b"tkhd", TRACK_MATRIX, &bytes)).unwrap();
        assert_eq!(footage.orientation, Orientation { mirrored: false, turn_deg });
        let upright = if turn_deg % 180 == 0 { (64, 48) } else { (48, 64) };
        assert_eq!((footage.width_px, footage.height_px), upright, "{turn_deg} degrees");
    }
}

/// The same file with some bytes replaced at a place after a box's type.
fn with_field(file: &Path, box_type: &[u8; 4], after_type: usize, value: &[u8]) -> PathBuf {
    let mut bytes = fs::read(file).unwrap();
    let found = bytes.windows(4).position(|it| it == box_type).unwrap();
    assert_eq!(bytes[found + 4], 0, "version 0 of the box");
    bytes[found + after_type..][..value.len()].copy_from_slice(value);
    let changed = file.with_extension("changed.mp4");
    fs::write(&changed, bytes).unwrap();
    changed
}

/// Ten frames of 64 × 48, or `None`, said aloud, without ffmpeg; in CI that is a failure.
fn small_film(name: &str) -> Option<PathBuf> {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let file = folder.join(format!("cross-{name}.mp4"));
    let made = Command::new("ffmpeg")
        .args(["-v", "error", "-y", "-f", "lavfi", "-i", "testsrc=size=64x48:rate=25:duration=0.4"])
        .args(["-c:v", "libx264", "-pix_fmt", "yuv420p"])
        .arg(&file)
        .stdin(std::process::Stdio::null())
        .status();
    match made {
        Ok(status) => {
            assert!(status.success(), "ffmpeg: {status}");
            Some(file)
        }
        Err(cause) => {
            assert!(std::env::var("CI").as_deref() != Ok("true"), "ffmpeg: {cause}");
            println!("SKIPPED: ffmpeg: {cause}");
            None
        }
    }
}
