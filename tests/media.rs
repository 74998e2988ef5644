//! Footage and films: generated and real videos, re-opened and read back.

#[path = "media/clips.rs"]
mod clips;
#[path = "media/made.rs"]
mod made;
#[path = "media/times.rs"]
mod times;
