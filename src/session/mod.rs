//! The vocabulary every other room speaks: samples of a log, notes on what was found, the path, the two clocks.
//! Plain values; no files, no mathematics beyond their own invariants.

mod clock_map;
mod estimate;
mod mark;
mod note;
mod path;
mod samples;

pub use clock_map::{ClockMap, SessionTime, VideoTime};
pub use estimate::{Estimate, NORMAL_CI95};
pub use mark::{MarkEdit, MarkKind};
pub use note::{MotionDoubt, Note, NoteKind, Place};
pub use path::{Path, PathState};
pub use samples::{Channel, ChannelKind, ChannelUse, Fix, LogKind, Samples, SamplesParts, Source};
