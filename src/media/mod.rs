//! GStreamer: probe footage, read frames by presentation time, render clips.
