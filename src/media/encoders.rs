//! Encoders and muxers as data (`resources/export-profiles.toml`), chosen at run time by what is installed.
//! Takes the name of the output; gives elements ready to be linked. Never builds a pipeline from text.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::LazyLock;

use gstreamer as gst;
use gstreamer::prelude::*;
use serde::Deserialize;

use crate::media::error::Error;

static FILE: LazyLock<ProfileFile> = LazyLock::new(|| {
    toml::from_str(include_str!("../../resources/export-profiles.toml"))
        .expect("resources/export-profiles.toml is part of the program and a test reads it")
});

/// One kind of file a film can be.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Container {
    pub name: String,
    pub extension: String,
    muxer: Part,
    #[serde(default)]
    video_pad: BTreeMap<String, String>,
    video: Vec<Codec>,
    audio: Vec<Codec>,
}

impl Container {
    /// Whether its muxer writes a film's chapters.
    pub fn has_own_chapters(&self) -> bool {
        let factory = gst::ElementFactory::find(&self.muxer.element);
        factory.is_some_and(|it| it.has_interface("GstTocSetter"))
    }
}

/// One way to encode pictures or sound: a chain of elements.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Codec {
    pub name: String,
    /// How much later than it went in sound comes out again, in samples at 48 kHz.
    #[serde(default)]
    pub delay_samples: usize,
    /// Properties where several encoders share the machine.
    #[serde(default)]
    shared: BTreeMap<String, String>,
    chain: Vec<Part>,
}

/// One element, the Debian package it comes in, and its properties as text.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Part {
    element: String,
    package: String,
    #[serde(default)]
    set: BTreeMap<String, String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct ProfileFile {
    container: Vec<Container>,
    profile: Vec<Export>,
}

/// What a film is for: its container, its size, and how its encoders are set up otherwise than usual.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Export {
    pub name: String,
    /// For whom, in a few words.
    pub about: String,
    /// Of the file.
    pub extension: String,
    /// The shorter side of the picture has no more, px.
    pub most_lines: Option<u32>,
    /// Properties by element.
    #[serde(default)]
    set: BTreeMap<String, BTreeMap<String, String>>,
}

/// A container with one codec for pictures and one for sound.
#[derive(Debug, Clone, Copy)]
pub struct Profile {
    pub container: &'static Container,
    pub video: &'static Codec,
    pub audio: &'static Codec,
    pub export: Option<&'static Export>,
}

/// The purposes that a film can be made for.
pub fn exports() -> &'static [Export] {
    &FILE.profile
}

/// The best installed profile for a file of this name and a purpose, whose container that has to be.
pub fn for_export(path: &Path, export: Option<&'static Export>) -> Result<Profile, Error> {
    let profile = for_file(path)?;
    match export {
        Some(export) if export.extension != profile.container.extension => Err(Error::OtherEnding {
            path: path.to_owned(),
            profile: export.name.clone(),
            ending: export.extension.clone(),
        }),
        _ => Ok(Profile { export, ..profile }),
    }
}

/// Every combination of container and codecs, installed or not.
pub fn all() -> Vec<Profile> {
    let combinations = |container: &'static Container| {
        let with_audio =
            move |video| container.audio.iter().map(move |audio| Profile { container, video, audio, export: None });
        container.video.iter().flat_map(with_audio)
    };
    FILE.container.iter().flat_map(combinations).collect()
}

/// The best installed profile of any container; where none is, the error names the package for the first.
pub fn best() -> Result<Profile, Error> {
    all().into_iter().find(Profile::is_installed).ok_or_else(|| {
        let part = all()
            .into_iter()
            .find_map(|profile| profile.missing())
            .expect("where no profile is installed, each lacks an element");
        Error::MissingElement { element: part.0, package: part.1 }
    })
}

/// The best installed profile for a file of this name, by its ending.
pub fn for_file(path: &Path) -> Result<Profile, Error> {
    let ending = path.extension().map(|it| it.to_string_lossy().to_lowercase()).unwrap_or_default();
    let Some(container) = FILE.container.iter().find(|it| it.extension == ending) else {
        let endings: Vec<String> = FILE.container.iter().map(|it| format!(".{}", it.extension)).collect();
        return Err(Error::UnknownEnding { path: path.to_owned(), endings: endings.join(" or ") });
    };
    let of_container = || all().into_iter().filter(|it| it.container.extension == ending);
    of_container().find(Profile::is_installed).ok_or_else(|| Error::NoEncoder {
        path: path.to_owned(),
        container: container.name.clone(),
        package: of_container().find_map(|it| it.missing()).map(|it| it.1).unwrap_or_default(),
        other: FILE
            .container
            .iter()
            .find(|it| it.extension != ending)
            .map(|it| it.extension.clone())
            .unwrap_or_default(),
    })
}

impl Profile {
    /// Whether every element of it is installed.
    pub fn is_installed(&self) -> bool {
        self.missing().is_none()
    }

    /// The first element that is not installed, with its Debian package.
    pub fn missing(&self) -> Option<(String, String)> {
        let parts = std::iter::once(&self.container.muxer).chain(&self.video.chain).chain(&self.audio.chain);
        parts
            .into_iter()
            .find(|part| gst::ElementFactory::find(&part.element).is_none())
            .map(|part| (part.element.clone(), part.package.clone()))
    }

    /// The elements from raw I420 video to what the muxer takes, in the order to link them; `films_at_once` of them are
    /// to share the machine.
    pub fn video_elements(&self, films_at_once: usize) -> Result<Vec<gst::Element>, Error> {
        let elements: Vec<gst::Element> = self.video.chain.iter().map(|it| self.make(it)).collect::<Result<_, _>>()?;
        if films_at_once > 1 {
            elements.iter().for_each(|it| set_all(it, &self.video.shared));
        }
        Ok(elements)
    }

    /// The elements from raw audio to what the muxer takes, in the order to link them.
    pub fn audio_elements(&self) -> Result<Vec<gst::Element>, Error> {
        self.audio.chain.iter().map(|it| self.make(it)).collect()
    }

    /// An element with its properties, and those that the purpose sets otherwise.
    fn make(&self, part: &Part) -> Result<gst::Element, Error> {
        let element = make(part)?;
        if let Some(set) = self.export.and_then(|it| it.set.get(&part.element)) {
            set_all(&element, set);
        }
        Ok(element)
    }

    /// The shorter side of the picture has no more, px.
    pub fn most_lines(&self) -> Option<u32> {
        self.export.and_then(|it| it.most_lines)
    }

    pub fn muxer(&self) -> Result<gst::Element, Error> {
        make(&self.container.muxer)
    }

    /// Sets up a pad of the muxer that takes video.
    pub fn set_up_video_pad(&self, pad: &gst::Pad) {
        set_all(pad, &self.container.video_pad);
    }
}

fn make(part: &Part) -> Result<gst::Element, Error> {
    let element = element(&part.element, &part.package)?;
    set_all(&element, &part.set);
    Ok(element)
}

/// A property that another version of the element does not have is left alone: it tunes, it does not decide.
fn set_all(object: &impl IsA<gst::glib::Object>, properties: &BTreeMap<String, String>) {
    for (name, value) in properties {
        if object.find_property(name).is_some() {
            object.set_property_from_str(name, value);
        }
    }
}

/// A new element, or the package to install.
pub fn element(name: &str, package: &str) -> Result<gst::Element, Error> {
    gst::ElementFactory::make(name)
        .build()
        .map_err(|_| Error::MissingElement { element: name.to_owned(), package: package.to_owned() })
}
