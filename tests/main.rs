//! One integration binary, so that GStreamer links once.

mod accuracy;
mod cli;
mod cross;
mod laws;
mod logs;
#[cfg(feature = "media")]
mod media;
mod real_data;
mod support;
mod tidy;
