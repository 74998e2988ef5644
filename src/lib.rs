//! Corner-by-corner review of kart sessions.
//!
//! Data goes one way: files → samples (`log`) → path (`smooth`) → laps and reference line (`track`) → corners and
//! passes (`corners`) → one immutable `analysis` → words (`present`), tables (`report`), films (`reel`, `draw`, `media`).
//! Rooms and floors are in DEVELOPERS.md; `tests/tidy.rs` keeps them.

pub mod analysis;
pub mod book;
pub mod cli;
pub mod clock;
pub mod corners;
#[cfg(feature = "media")]
pub mod draw;
pub mod files;
pub mod findings;
pub mod geom;
pub mod handout;
pub mod job;
pub mod load;
pub mod log;
#[cfg(feature = "media")]
pub mod media;
pub mod present;
pub mod reel;
pub mod report;
pub mod sample;
pub mod session;
pub mod signal;
pub mod smooth;
pub mod strip;
pub mod track;
pub mod units;
#[cfg(feature = "window")]
pub mod window;
