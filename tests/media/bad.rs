//! Footage that cannot be used, or only in part: one sentence each, and never a panic.

use std::path::{Path, PathBuf};

use cornerbook::media;
use cornerbook::session::{NoteKind, VideoTime};

use super::made::{self, Recipe};

fn refusal(path: &Path) -> String {
    media::probe(path).unwrap_err().to_string()
}

fn written(folder: &Path, name: &str, bytes: &[u8]) -> PathBuf {
    let path = folder.join(name);
    std::fs::write(&path, bytes).unwrap();
    path
}

#[test]
fn what_is_no_footage_is_refused_in_one_sentence() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let empty = written(folder.path(), "empty.mp4", b"");
    assert_eq!(refusal(&empty), format!("{}: is empty (0 bytes); copy it from the camera again", empty.display()));
    let text = written(folder.path(), "text.mp4", b"time,speed\n0.0,12.5\n");
    assert_eq!(refusal(&text), format!("{}: is no video file; give the camera's own file", text.display()));
    let noise: Vec<u8> = (0..20_000u32).map(|it| (it.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
    let noise = written(folder.path(), "noise.mp4", &noise);
    assert_eq!(refusal(&noise), format!("{}: is no video file; give the camera's own file", noise.display()));
    assert!(refusal(folder.path()).ends_with(": is a folder; name a file"), "{}", refusal(folder.path()));
    assert!(refusal(&at("none.mp4")).contains("none.mp4: cannot be read ("), "{}", refusal(&at("none.mp4")));
    let head = written(folder.path(), "head.mp4", b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom\0\0\0\x08free");
    let cut_off = "is cut off before its index, nothing in it can be shown; copy it from the camera again";
    assert_eq!(refusal(&head), format!("{}: {cut_off}", head.display()));
}

#[test]
fn sound_alone_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    // A RIFF/WAVE file of a tenth of a second of silence (format by IBM and Microsoft, 1991).
    let mut wave = Vec::new();
    wave.extend(b"RIFF");
    wave.extend((36u32 + 1600).to_le_bytes());
    wave.extend(b"WAVEfmt \x10\0\0\0\x01\0\x01\0");
    wave.extend(8000u32.to_le_bytes());
    wave.extend(16_000u32.to_le_bytes());
    wave.extend(b"\x02\0\x10\0data");
    wave.extend(1600u32.to_le_bytes());
    wave.extend([0; 1600]);
    let path = written(folder.path(), "sound.wav", &wave);
    let refused = refusal(&path);
    assert!(refused.contains("sound.wav: holds no video stream, only "), "{refused}");
    assert!(refused.ends_with("; give the file with the pictures"), "{refused}");
}

#[test]
fn a_file_cut_off_in_the_middle_is_used_as_far_as_it_goes() {
    let folder = tempfile::tempdir().unwrap();
    let whole = folder.path().join("whole.mp4");
    if !made::can_write(&whole) {
        return;
    }
    made::footage(&whole, &Recipe::steady(300, 30));
    let bytes = std::fs::read(&whole).unwrap();
    // The index is at the end of this file, so without it nothing can be shown.
    let beheaded = written(folder.path(), "beheaded.mp4", &bytes[..bytes.len() / 2]);
    assert!(refusal(&beheaded).contains("beheaded.mp4: is cut off before its index"), "{}", refusal(&beheaded));

    made::footage(&whole, &Recipe { index_first: true, ..Recipe::steady(300, 30) });
    let bytes = std::fs::read(&whole).unwrap();
    let part = written(folder.path(), "part.mp4", &bytes[..bytes.len() / 2]);
    let footage = media::probe(&part).unwrap();
    assert!(footage.duration_s() > 1.0 && footage.duration_s() < 9.0, "{footage:?}");
    let times = media::frame_times(&part).unwrap();
    assert!(times.len() > 30 && times.len() < 290);
    let NoteKind::Footage { sentence } = &footage.notes[0].kind else { panic!("{:?}", footage.notes) };
    assert!(sentence.starts_with("its index says 10.0 s but its pictures end at "), "{sentence}");
    // A place past the end is the last frame, not an error.
    let picture = media::Picture { pixels: media::Pixels::I420, size_px: None, is_cropped: false };
    let mut reader = media::FrameReader::open(&part, picture).unwrap();
    reader.seek(VideoTime::from_seconds(9.5)).unwrap();
    assert!(reader.next_frame().unwrap().is_some_and(|it| it.at <= *times.last().unwrap()));
}

#[test]
fn outputs_that_no_profile_writes_are_refused() {
    media::init().unwrap();
    let refused = media::encoders::for_file(Path::new("clip.avi")).unwrap_err().to_string();
    assert_eq!(refused, "clip.avi: a film cannot have this ending; end the name in .mp4 or .webm");
}

/// Every byte of the beginning of a good file is changed in turn: an answer or a refusal, never a panic or a hang.
#[test]
fn damaged_heads_are_answered() {
    let folder = tempfile::tempdir().unwrap();
    let whole = folder.path().join("whole.mp4");
    if !made::can_write(&whole) {
        return;
    }
    made::footage(&whole, &Recipe::steady(20, 30));
    let bytes = std::fs::read(&whole).unwrap();
    let index = bytes.windows(4).position(|it| it == b"moov").unwrap();
    for step in 0..20 {
        let mut damaged = bytes.clone();
        let at = index + step * 31;
        damaged[at] ^= 0xff;
        let path = written(folder.path(), "damaged.mp4", &damaged);
        if let Err(error) = media::probe(&path) {
            let sentence = error.to_string();
            assert!(sentence.contains("damaged.mp4: ") && !sentence.contains('\n'), "byte {at}: {sentence}");
        }
    }
}
