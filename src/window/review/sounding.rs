//! The footage's sound while it plays: one chapter's at a time, opened when it is first needed.

use std::path::Path;

use crate::media::{FootagePlace, Sound};
use crate::session::VideoTime;

/// Picture and sound may drift apart by this much before the picture follows, s: less is not noticed (ITU-R BT.1359
/// puts the threshold of detection at 45 ms, from memory).
const NOTICED_S: f64 = 0.04;

#[derive(Debug, Default)]
pub(super) struct Sounding {
    current: Option<(usize, Sound)>,
}

impl Sounding {
    /// Plays a chapter's sound from a place. `on_silent` gets the sentence where there is none; it is called on another
    /// thread.
    pub(super) fn play(
        &mut self,
        file: &Path,
        place: FootagePlace,
        rate: f64,
        volume: f64,
        on_silent: impl FnOnce(String) + Send + 'static,
    ) {
        if self.current.as_ref().is_none_or(|(chapter, _)| *chapter != place.chapter) {
            self.current = Some((place.chapter, Sound::open(file.to_owned(), on_silent)));
        }
        if let Some((_, sound)) = &mut self.current {
            sound.set_volume(volume);
            sound.play(place.at, rate);
        }
    }

    pub(super) fn pause(&mut self) {
        if let Some((_, sound)) = &mut self.current {
            sound.pause();
        }
    }

    pub(super) fn set_volume(&self, volume: f64) {
        if let Some((_, sound)) = &self.current {
            sound.set_volume(volume);
        }
    }

    /// Chapter and presentation time of what is heard now.
    pub(super) fn heard(&self) -> Option<(usize, VideoTime)> {
        let (chapter, sound) = self.current.as_ref()?;
        Some((*chapter, sound.position()?))
    }
}

/// Whether the picture has to follow the sound.
pub(super) fn is_noticed(apart_s: f64) -> bool {
    apart_s.abs() > NOTICED_S
}
