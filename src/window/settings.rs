//! What the person at this machine prefers, and the books opened last: one small file in the user's folder of settings.
//! Nothing of a session is kept here. A damaged or missing file gives the defaults, told in one sentence.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::files::{self, Overwrite};
use crate::units::SpeedUnit;

/// Books that the start page lists.
const RECENT_AT_MOST: usize = 12;
/// A settings file is a page of text.
const LARGEST_BYTES: u64 = 1 << 20;
const DEFAULT_CACHE_MIB: u32 = 512;
/// Below this a few frames of 4K do not fit.
const SMALLEST_CACHE_MIB: u32 = 128;
const LARGEST_CACHE_MIB: u32 = 8192;

/// Parts of the overlay that are shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct OverlayParts {
    pub(crate) caption: bool,
    pub(crate) marks: bool,
    pub(crate) map: bool,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Settings {
    pub(crate) speed_unit: SpeedUnit,
    pub(crate) overlay: OverlayParts,
    /// For decoded frames, MiB.
    pub(crate) cache_mib: u32,
    /// 0 to 1.
    pub(crate) volume: f64,
    /// Newest first.
    pub(crate) recent: Vec<PathBuf>,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            speed_unit: SpeedUnit::default(),
            overlay: OverlayParts { caption: true, marks: true, map: true },
            cache_mib: DEFAULT_CACHE_MIB,
            volume: 0.8,
            recent: Vec::new(),
        }
    }
}

impl Settings {
    /// From the file, or the defaults and why the file could not be read. A file that is not there is no trouble.
    pub(crate) fn read(path: &Path) -> (Self, Option<String>) {
        if files::length(path).is_none() {
            return (Self::default(), None);
        }
        match files::read(path, LARGEST_BYTES) {
            Err(error) => (Self::default(), Some(error.to_string())),
            Ok(bytes) => match serde_json::from_slice::<SettingsJson>(&bytes) {
                Ok(json) => (json.into_settings(), None),
                Err(error) => {
                    let line = error.line();
                    (Self::default(), Some(format!("{}, line {line}: is damaged; defaults are used", path.display())))
                }
            },
        }
    }

    /// Writes the file, and its folder where that is missing.
    pub(crate) fn write(&self, path: &Path) -> Result<(), files::Error> {
        if let Some(folder) = path.parent() {
            files::make_folder(folder)?;
        }
        let text = serde_json::to_string_pretty(&SettingsJson::of(self)).expect("texts and numbers have JSON forms");
        files::write(path, text.as_bytes(), Overwrite::Replace)
    }

    /// Puts a book at the head of the list.
    pub(crate) fn remember(&mut self, book: &Path) {
        let book = files::absolute(book);
        self.recent.retain(|it| *it != book);
        self.recent.insert(0, book);
        self.recent.truncate(RECENT_AT_MOST);
    }

    pub(crate) fn cache_bytes(&self) -> usize {
        usize::try_from(self.cache_mib).unwrap_or(usize::MAX).saturating_mul(1 << 20)
    }
}

#[derive(Serialize, Deserialize)]
#[serde(default)]
struct SettingsJson {
    speed_unit: String,
    overlay_caption: bool,
    overlay_marks: bool,
    overlay_map: bool,
    cache_mib: u32,
    volume: f64,
    recent: Vec<PathBuf>,
}

impl Default for SettingsJson {
    fn default() -> Self {
        Self::of(&Settings::default())
    }
}

impl SettingsJson {
    fn of(settings: &Settings) -> Self {
        let Settings { speed_unit, overlay, cache_mib, volume, recent } = settings;
        Self {
            speed_unit: speed_unit.symbol().to_owned(),
            overlay_caption: overlay.caption,
            overlay_marks: overlay.marks,
            overlay_map: overlay.map,
            cache_mib: *cache_mib,
            volume: *volume,
            // A name that is no UTF-8 has no form in JSON; it is only left out of the list.
            recent: recent.iter().filter(|it| it.to_str().is_some()).cloned().collect(),
        }
    }

    /// Values out of range are brought inside.
    fn into_settings(self) -> Settings {
        Settings {
            speed_unit: self.speed_unit.parse().unwrap_or_default(),
            overlay: OverlayParts { caption: self.overlay_caption, marks: self.overlay_marks, map: self.overlay_map },
            cache_mib: self.cache_mib.clamp(SMALLEST_CACHE_MIB, LARGEST_CACHE_MIB),
            volume: if self.volume.is_finite() { self.volume.clamp(0.0, 1.0) } else { 0.0 },
            recent: self.recent.into_iter().take(RECENT_AT_MOST).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn settings_come_back_and_damage_gives_the_defaults() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("of/mine/settings.json");
        assert_eq!(Settings::read(&path), (Settings::default(), None));
        let mut settings = Settings { speed_unit: SpeedUnit::MilesPerHour, cache_mib: 256, ..Settings::default() };
        settings.remember(Path::new("/books/a.cornerbook"));
        settings.write(&path).unwrap();
        assert_eq!(Settings::read(&path), (settings, None));
        files::write(&path, b"{\"cache_mib\": 1, \"volume\": 9, \"later\": true}", Overwrite::Replace).unwrap();
        let (read, trouble) = Settings::read(&path);
        assert_eq!((read.cache_mib, trouble), (SMALLEST_CACHE_MIB, None));
        files::write(&path, b"{", Overwrite::Replace).unwrap();
        let (read, trouble) = Settings::read(&path);
        assert_eq!(read, Settings::default());
        assert!(trouble.unwrap().ends_with("line 1: is damaged; defaults are used"));
    }

    #[test]
    fn the_newest_book_comes_first_and_once() {
        let mut settings = Settings::default();
        for number in 0..20 {
            settings.remember(Path::new(&format!("/books/{number}.cornerbook")));
        }
        settings.remember(Path::new("/books/15.cornerbook"));
        assert_eq!(settings.recent.len(), RECENT_AT_MOST);
        assert_eq!(settings.recent[0], Path::new("/books/15.cornerbook"));
        assert_eq!(settings.recent.iter().filter(|it| it.ends_with("15.cornerbook")).count(), 1);
    }
}
