//! Footage and films: generated and real videos, re-opened and read back.

#[path = "media/times.rs"]
mod times;
