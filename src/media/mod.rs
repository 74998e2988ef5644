//! GStreamer: probe footage, read frames by presentation time, render clips.

mod blend;
mod chapters;
mod created;
pub mod encoders;
mod error;
mod film;
mod listen;
mod mix;
mod motion;
mod part;
mod probe;
mod reader;
mod scene;
mod show;
mod sound;
mod source;
mod stills;
mod stretch;
mod times;
mod viewer;
mod writer;

use std::sync::OnceLock;

use gstreamer as gst;

pub use error::Error;
pub use film::{PartProgress, RenderedFilm, Target, render_clip, render_film};
pub use listen::Sound;
pub use motion::{FrameMotion, MotionReader};
pub use probe::{Footage, Orientation, probe};
pub use reader::{Frame, FrameReader, Picture, Pixels};
pub use stills::{JPEG_QUALITY, Still, still, still_of};
pub use times::frame_times;
pub use viewer::{Bitmap, FootagePlace, FrameIndex, ShownFrame, Viewer, ViewerEvent, ViewerSettings};

/// Elements that reading footage and rendering films cannot do without, with the Debian package of each.
const NEEDED: [(&str, &str); 17] = [
    ("appsrc", "gstreamer1.0-plugins-base"),
    ("appsink", "gstreamer1.0-plugins-base"),
    ("audioconvert", "gstreamer1.0-plugins-base"),
    ("audioresample", "gstreamer1.0-plugins-base"),
    ("decodebin3", "gstreamer1.0-plugins-base"),
    ("overlaycomposition", "gstreamer1.0-plugins-base"),
    ("parsebin", "gstreamer1.0-plugins-base"),
    ("videoconvert", "gstreamer1.0-plugins-base"),
    ("videoscale", "gstreamer1.0-plugins-base"),
    ("filesrc", "libgstreamer1.0-0"),
    ("queue", "libgstreamer1.0-0"),
    ("matroskademux", "gstreamer1.0-plugins-good"),
    ("qtdemux", "gstreamer1.0-plugins-good"),
    ("videoflip", "gstreamer1.0-plugins-good"),
    ("h264parse", "gstreamer1.0-plugins-bad"),
    ("h265parse", "gstreamer1.0-plugins-bad"),
    ("avdec_h264", "gstreamer1.0-libav"),
];

/// Starts GStreamer, once for the whole program.
pub fn init() -> Result<(), Error> {
    static STARTED: OnceLock<Result<(), String>> = OnceLock::new();
    STARTED
        .get_or_init(|| gst::init().map_err(|error| error.to_string()))
        .clone()
        .map_err(|cause| Error::Start { cause })
}

/// What is missing on this machine to read footage and to write films: (element, Debian package to install).
/// Empty where all is there.
pub fn preflight() -> Result<Vec<(String, String)>, Error> {
    init()?;
    let mut missing: Vec<(String, String)> = NEEDED
        .iter()
        .filter(|(element, _)| gst::ElementFactory::find(element).is_none())
        .map(|(element, package)| ((*element).to_owned(), (*package).to_owned()))
        .collect();
    if let Err(Error::MissingElement { element, package }) = encoders::best() {
        missing.push((element, package));
    }
    Ok(missing)
}
