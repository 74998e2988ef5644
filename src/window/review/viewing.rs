//! Footage for a picture: a viewer whose frames and notices arrive on the main thread, and a frame as a texture.

use gtk::prelude::*;
use gtk::{gdk, glib};
use gtk4 as gtk;

use crate::media::{Bitmap, ShownFrame, Viewer, ViewerEvent, ViewerSettings};
use crate::window::loading::Chapter;

/// Opens a recording for view; `None` without files. Frames come one by one, the newest only; what else is told is
/// never lost. Both end with the viewer.
pub(super) fn open_viewer(
    chapters: &[Chapter],
    cache_bytes: usize,
    shown: impl Fn(&ShownFrame) + 'static,
    told: impl Fn(ViewerEvent) + 'static,
) -> Option<Viewer> {
    let files: Vec<_> = chapters.iter().map(|it| it.path.clone()).collect();
    if files.is_empty() {
        return None;
    }
    // Only the newest frame counts; what else is told must not be lost.
    let (frames, newest_frame) = async_channel::bounded::<ShownFrame>(1);
    let (notices, inbox) = async_channel::unbounded::<ViewerEvent>();
    let viewer = Viewer::open(files, ViewerSettings { cache_bytes }, move |event| {
        // A closed channel: the review is over.
        let _ = match event {
            ViewerEvent::Shown(frame) => frames.force_send(frame).map(drop).is_ok(),
            other => notices.try_send(other).is_ok(),
        };
    });
    glib::spawn_future_local(async move {
        while let Ok(frame) = newest_frame.recv().await {
            shown(&frame);
        }
    });
    glib::spawn_future_local(async move {
        while let Ok(event) = inbox.recv().await {
            told(event);
        }
    });
    Some(viewer)
}

/// A frame for the screen.
pub(super) fn texture_of(pixels: &Bitmap) -> gdk::Texture {
    let side = |pixels: u32| i32::try_from(pixels).unwrap_or(i32::MAX);
    gdk::MemoryTexture::new(
        side(pixels.width_px),
        side(pixels.height_px),
        gdk::MemoryFormat::B8g8r8a8Premultiplied,
        &pixels.bytes,
        pixels.stride_bytes,
    )
    .upcast()
}
