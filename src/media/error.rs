//! What can go wrong with footage and films: file, what is wrong, what to do, in one sentence each.

use std::path::PathBuf;

use crate::files;
use crate::job;

/// Why footage cannot be read or a film cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error(transparent)]
    File(#[from] files::Error),
    #[error(transparent)]
    Draw(#[from] crate::draw::Error),
    #[error(transparent)]
    Cancelled(#[from] job::Cancelled),
    #[error("GStreamer cannot start ({cause}); install gstreamer1.0-plugins-base")]
    Start { cause: String },
    #[error("GStreamer has no {element}; install {package}")]
    MissingElement { element: String, package: String },
    #[error("{}: no encoder for {container} is installed; install {package}, or name the file .{other}", path.display())]
    NoEncoder { path: PathBuf, container: String, package: String, other: String },
    #[error("{}: a film cannot have this ending; end the name in {endings}", path.display())]
    UnknownEnding { path: PathBuf, endings: String },
    #[error("{}: the profile {profile} makes .{ending} files; end the name in .{ending}", path.display())]
    OtherEnding { path: PathBuf, profile: String, ending: String },
    #[error("{}: is empty (0 bytes); copy it from the camera again", path.display())]
    Empty { path: PathBuf },
    #[error("{}: is no video file; give the camera's own file", path.display())]
    NotVideo { path: PathBuf },
    #[error("{}: holds no video stream, only {found}; give the file with the pictures", path.display())]
    NoVideoStream { path: PathBuf, found: String },
    #[error("{}: holds no sound, only {found}; give a file that is heard", path.display())]
    NoSoundStream { path: PathBuf, found: String },
    #[error("{}: is no file with sound; give a recording, such as a .wav or .m4a file", path.display())]
    NotSound { path: PathBuf },
    #[error("{}: has no sound track and plays in silence; give the camera's own file if there should be one", path.display())]
    NoSound { path: PathBuf },
    #[error("{}: holds a video stream without a single frame; copy it from the camera again", path.display())]
    NoFrames { path: PathBuf },
    #[error("{}: is cut off before its index, nothing in it can be shown; copy it from the camera again", path.display())]
    CutOff { path: PathBuf },
    #[error("{}: no decoder for {codec} is installed; install {package}", path.display())]
    NoDecoder { path: PathBuf, codec: String, package: String },
    #[error("{}: cannot be decoded at {at_s:.3} s ({cause}); copy it from the camera again or leave this stretch out", path.display())]
    Damaged { path: PathBuf, at_s: f64, cause: String },
    #[error("{}: the film cannot be made ({cause}); check the free space and try again", path.display())]
    Render { path: PathBuf, cause: String },
}
