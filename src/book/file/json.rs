//! The book as JSON: the file's own structs, to and from the book. Fields that came with a later version may be absent.

use std::collections::BTreeMap;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::book::file::drawings_json::{DrawingJson, ReferencePointJson};
use crate::book::file::locate::relative;
use crate::book::file::reel_json::ReelJson;
use crate::book::file::suggestions_json::SuggestionJson;
use crate::book::file::tags_json::{TagJson, TagKindJson};
use crate::book::file::{FORMAT, VERSION};
use crate::book::{Book, FileRef, Grip, Id, MarkPlace, Pin, Recording, Refused, Trackside, TracksidePin};
use crate::files;
use crate::session::{MarkKind, VideoTime};

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct BookJson {
    format: String,
    version: u64,
    logs: Vec<FileJson>,
    #[serde(default)]
    footage: Vec<FileJson>,
    #[serde(default)]
    pins: Vec<PinJson>,
    #[serde(default)]
    trackside: Vec<TracksideJson>,
    #[serde(default)]
    track: Option<FileJson>,
    #[serde(default)]
    columns: Option<FileJson>,
    #[serde(default)]
    driver: Option<String>,
    #[serde(default)]
    grip: Option<GripJson>,
    #[serde(default)]
    marked_crossing_s: Option<f64>,
    #[serde(default)]
    marks: Vec<MarkJson>,
    #[serde(default)]
    corner_names: BTreeMap<u32, String>,
    /// Absent in version 1: such a book gets the kinds that a new one begins with.
    tag_kinds: Option<Vec<TagKindJson>>,
    #[serde(default)]
    tags: Vec<TagJson>,
    #[serde(default)]
    reference_points: Vec<ReferencePointJson>,
    #[serde(default)]
    drawings: Vec<DrawingJson>,
    #[serde(default)]
    suggestions: Vec<SuggestionJson>,
    #[serde(default)]
    reel: Option<ReelJson>,
    /// Absent in version 1: one more than the highest number in the book.
    next_id: Option<u32>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileJson {
    path: PathJson,
    length_bytes: u64,
}

/// A path as text, or as bytes where the file system's name is no UTF-8.
#[derive(Serialize, Deserialize)]
#[serde(untagged)]
enum PathJson {
    Text(String),
    Bytes { bytes: Vec<u8> },
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct PinJson {
    /// From 1.
    chapter: NonZeroUsize,
    footage_s: f64,
    log_t_s: f64,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct TracksideJson {
    id: u32,
    path: PathJson,
    length_bytes: u64,
    #[serde(default)]
    pins: Vec<TracksidePinJson>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct TracksidePinJson {
    footage_s: f64,
    log_t_s: f64,
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum GripJson {
    Dry,
    Damp,
    Wet,
    Slippery,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct MarkJson {
    lap: u32,
    corner: u32,
    mark: MarkKindJson,
    t_s: f64,
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum MarkKindJson {
    TurnIn,
    Apex,
    Exit,
}

impl BookJson {
    pub(super) fn of(book: &Book, folder: &Path) -> Self {
        let folder = files::absolute(&folder.join(".")).components().collect::<PathBuf>();
        let file = |it: &FileRef| FileJson {
            path: PathJson::of(&relative(&files::absolute(&it.path), &folder)),
            length_bytes: it.length_bytes,
        };
        Self {
            format: FORMAT.to_owned(),
            version: VERSION,
            logs: book.logs.iter().map(file).collect(),
            footage: book.recording.chapters.iter().map(file).collect(),
            pins: book.recording.pins.iter().map(PinJson::of).collect(),
            trackside: book.trackside.iter().map(|(id, it)| TracksideJson::of(*id, it, file(&it.file))).collect(),
            track: book.track.as_ref().map(file),
            columns: book.columns.as_ref().map(file),
            driver: book.driver.clone(),
            grip: book.grip.map(GripJson::of),
            marked_crossing_s: book.marked_crossing_s,
            marks: book.marks.iter().map(MarkJson::of).collect(),
            corner_names: book.corner_names.clone(),
            tag_kinds: Some(book.tag_kinds.iter().map(TagKindJson::of).collect()),
            tags: book.tags.iter().map(TagJson::of).collect(),
            reference_points: book.reference_points.iter().map(ReferencePointJson::of).collect(),
            drawings: book.drawings.iter().map(DrawingJson::of).collect(),
            suggestions: book.suggestions.iter().map(SuggestionJson::of).collect(),
            reel: Some(ReelJson::of(&book.reel)),
            next_id: Some(book.next_id.0),
        }
    }

    /// A field that the file has though it came with a version after this one, and that version.
    pub(super) fn field_newer_than(&self, version: u64) -> Option<(&'static str, u64)> {
        let fields = [
            ("trackside", 2, !self.trackside.is_empty()),
            ("tag_kinds", 2, self.tag_kinds.is_some()),
            ("tags", 2, !self.tags.is_empty()),
            ("reference_points", 2, !self.reference_points.is_empty()),
            ("drawings", 2, !self.drawings.is_empty()),
            ("suggestions", 2, !self.suggestions.is_empty()),
            ("next_id", 2, self.next_id.is_some()),
            ("reel", 3, self.reel.is_some()),
        ];
        fields.into_iter().find(|it| it.2 && it.1 > version).map(|it| (it.0, it.1))
    }

    /// A number that is given twice is refused here: behind it only one of the two things would be left.
    pub(super) fn into_book(self, folder: &Path) -> Result<Book, Refused> {
        let folder = if folder == Path::new(".") { Path::new("") } else { folder };
        let file = |it: FileJson| FileRef { path: folder.join(it.path.into_path()), length_bytes: it.length_bytes };
        let tag_kinds = match self.tag_kinds {
            Some(kinds) => numbered(kinds.into_iter().map(TagKindJson::into_entry))?,
            None => Book::new(Vec::new()).tag_kinds,
        };
        let mut book = Book {
            logs: self.logs.into_iter().map(file).collect(),
            recording: Recording {
                chapters: self.footage.into_iter().map(file).collect(),
                pins: self.pins.into_iter().map(PinJson::into_pin).collect(),
            },
            trackside: numbered(self.trackside.into_iter().map(|it| it.into_entry(file)))?,
            track: self.track.map(file),
            columns: self.columns.map(file),
            driver: self.driver,
            grip: self.grip.map(GripJson::into_grip),
            marked_crossing_s: self.marked_crossing_s,
            marks: self.marks.into_iter().map(MarkJson::into_entry).collect(),
            corner_names: self.corner_names,
            tag_kinds,
            tags: numbered(self.tags.into_iter().map(TagJson::into_entry))?,
            reference_points: numbered(self.reference_points.into_iter().map(ReferencePointJson::into_entry))?,
            drawings: numbered(self.drawings.into_iter().map(DrawingJson::into_entry))?,
            suggestions: self.suggestions.into_iter().map(SuggestionJson::into_entry).collect(),
            reel: self.reel.map(ReelJson::into_reel).unwrap_or_default(),
            next_id: Id::default(),
        };
        book.next_id = match self.next_id {
            Some(next_id) => Id(next_id),
            None => book.first_free_id()?,
        };
        Ok(book)
    }
}

fn numbered<T>(entries: impl Iterator<Item = (Id, T)>) -> Result<BTreeMap<Id, T>, Refused> {
    let mut map = BTreeMap::new();
    for (id, it) in entries {
        if map.insert(id, it).is_some() {
            return Err(Refused::IdTwice { id });
        }
    }
    Ok(map)
}

#[cfg(unix)]
impl PathJson {
    fn of(path: &Path) -> Self {
        use std::os::unix::ffi::OsStrExt;
        match path.to_str() {
            Some(text) => Self::Text(text.to_owned()),
            None => Self::Bytes { bytes: path.as_os_str().as_bytes().to_vec() },
        }
    }

    fn into_path(self) -> PathBuf {
        use std::os::unix::ffi::OsStringExt;
        match self {
            Self::Text(text) => text.into(),
            Self::Bytes { bytes } => std::ffi::OsString::from_vec(bytes).into(),
        }
    }
}

#[cfg(not(unix))]
impl PathJson {
    fn of(path: &Path) -> Self {
        Self::Text(path.to_string_lossy().into_owned())
    }

    fn into_path(self) -> PathBuf {
        match self {
            Self::Text(text) => text.into(),
            Self::Bytes { bytes } => String::from_utf8_lossy(&bytes).into_owned().into(),
        }
    }
}

impl PinJson {
    fn of(pin: &Pin) -> Self {
        Self {
            chapter: NonZeroUsize::MIN.saturating_add(pin.chapter),
            footage_s: pin.footage.seconds(),
            log_t_s: pin.log_t_s,
        }
    }

    fn into_pin(self) -> Pin {
        Pin { chapter: self.chapter.get() - 1, footage: VideoTime::from_seconds(self.footage_s), log_t_s: self.log_t_s }
    }
}

impl TracksideJson {
    fn of(id: Id, trackside: &Trackside, file: FileJson) -> Self {
        let pin = |it: &TracksidePin| TracksidePinJson { footage_s: it.footage.seconds(), log_t_s: it.log_t_s };
        let FileJson { path, length_bytes } = file;
        Self { id: id.0, path, length_bytes, pins: trackside.pins.iter().map(pin).collect() }
    }

    fn into_entry(self, file: impl Fn(FileJson) -> FileRef) -> (Id, Trackside) {
        let pin =
            |it: TracksidePinJson| TracksidePin { footage: VideoTime::from_seconds(it.footage_s), log_t_s: it.log_t_s };
        let file = file(FileJson { path: self.path, length_bytes: self.length_bytes });
        (Id(self.id), Trackside { file, pins: self.pins.into_iter().map(pin).collect() })
    }
}

impl GripJson {
    fn of(grip: Grip) -> Self {
        match grip {
            Grip::Dry => Self::Dry,
            Grip::Damp => Self::Damp,
            Grip::Wet => Self::Wet,
            Grip::Slippery => Self::Slippery,
        }
    }

    fn into_grip(self) -> Grip {
        match self {
            Self::Dry => Grip::Dry,
            Self::Damp => Grip::Damp,
            Self::Wet => Grip::Wet,
            Self::Slippery => Grip::Slippery,
        }
    }
}

impl MarkJson {
    fn of((place, t_s): (&MarkPlace, &f64)) -> Self {
        let mark = match place.mark {
            MarkKind::TurnIn => MarkKindJson::TurnIn,
            MarkKind::Apex => MarkKindJson::Apex,
            MarkKind::Exit => MarkKindJson::Exit,
        };
        Self { lap: place.lap, corner: place.corner, mark, t_s: *t_s }
    }

    fn into_entry(self) -> (MarkPlace, f64) {
        let mark = match self.mark {
            MarkKindJson::TurnIn => MarkKind::TurnIn,
            MarkKindJson::Apex => MarkKind::Apex,
            MarkKindJson::Exit => MarkKind::Exit,
        };
        (MarkPlace { lap: self.lap, corner: self.corner, mark }, self.t_s)
    }
}
