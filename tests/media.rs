//! Footage and films: generated and real videos, re-opened and read back.

#[path = "media/bad.rs"]
mod bad;
#[path = "media/clips.rs"]
mod clips;
#[path = "media/drawings.rs"]
mod drawings;
#[path = "media/listening.rs"]
mod listening;
#[path = "media/made.rs"]
mod made;
#[path = "media/reels.rs"]
mod reels;
#[path = "media/times.rs"]
mod times;
#[path = "media/viewing.rs"]
mod viewing;
