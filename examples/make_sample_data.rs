//! Writes `sample-data/`, the small committed session: `cargo run --release --example make_sample_data -- FOLDER`.

use std::path::PathBuf;

use cornerbook::files::Overwrite;
use cornerbook::job;
use cornerbook::sample::{FootageOptions, SampleOptions, write_sample};

fn main() -> anyhow::Result<()> {
    let folder = std::env::args_os().nth(1).map_or_else(|| PathBuf::from("sample-data"), PathBuf::from);
    // Half the pixels of the demo's footage a second: two laps have to fit into a few megabytes.
    let footage = FootageOptions { small: true, video_kbps: 260, gop: 125, ..FootageOptions::default() };
    let options = SampleOptions {
        footage: Some(footage),
        other_formats: true,
        overwrite: Overwrite::Replace,
        ..SampleOptions::default()
    };
    write_sample(&folder, &options, &job::Context::new())?;
    Ok(())
}
