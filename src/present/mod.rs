//! All wording and number formats: what people read on screens, in tables, captions and reports.

pub mod timecode;
