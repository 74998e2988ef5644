//! One integration binary, so that GStreamer links once.

#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::disallowed_methods,
    clippy::float_cmp,
    clippy::cast_possible_truncation,
    unreachable_pub,
    reason = "tests read files, speak of what they skip, and compare exact values"
)]

mod accuracy;
mod book_ops;
mod book_store;
mod cli;
mod cross;
mod desktop;
#[cfg(feature = "media")]
mod documents;
mod findings;
mod laws;
mod logs;
#[cfg(feature = "media")]
mod media;
mod motion;
mod real_data;
mod real_logs;
mod sample;
mod strip;
mod support;
mod tidy;
#[cfg(feature = "window")]
mod window;
