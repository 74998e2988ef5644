//! Questions that a screen asks of a book. Nothing is computed that the book does not hold.

use crate::book::{Book, Drawing, Exit, FootageRef, Id, ReferencePoint, Tag, TagKind, TagPlace, What};
use crate::session::VideoTime;

impl Book {
    /// The tags of one lap, which is driven in the log times `span_s` (half-open): those on its passes, and those on
    /// moments in it.
    pub fn tags_of_lap(&self, lap: u32, span_s: (f64, f64)) -> impl Iterator<Item = (Id, &Tag)> {
        self.tags_on(move |place| match place {
            TagPlace::Pass { lap: of, .. } => of == lap,
            TagPlace::Frame { t_s } => t_s >= span_s.0 && t_s < span_s.1,
            TagPlace::Trackside { .. } => false,
        })
    }

    /// The tags of one pass: those on it, and where `span_s` (half-open) gives its log times, those on moments in it.
    pub fn tags_of_pass(&self, lap: u32, corner: u32, span_s: Option<(f64, f64)>) -> impl Iterator<Item = (Id, &Tag)> {
        self.tags_on(move |place| match place {
            TagPlace::Pass { lap: of_lap, corner: of_corner } => (of_lap, of_corner) == (lap, corner),
            TagPlace::Frame { t_s } => span_s.is_some_and(|(from_s, until_s)| t_s >= from_s && t_s < until_s),
            TagPlace::Trackside { .. } => false,
        })
    }

    /// The tags on frames of trackside footage.
    pub fn tags_of_trackside(&self, footage: Id) -> impl Iterator<Item = (Id, &Tag)> {
        self.tags_on(move |place| matches!(place, TagPlace::Trackside { footage: of, .. } if of == footage))
    }

    /// How a person rated the exit of a pass, with the tag that says so.
    pub fn exit_of(&self, lap: u32, corner: u32) -> Option<(Id, Exit)> {
        self.tags_of_pass(lap, corner, None).find_map(|(id, tag)| match tag.what {
            What::Exit(exit) => Some((id, exit)),
            _ => None,
        })
    }

    /// The kind whose key was typed.
    pub fn kind_of_key(&self, typed: char) -> Option<(Id, &TagKind)> {
        self.tag_kinds.iter().find(|(_, it)| it.has_key(typed)).map(|(id, it)| (*id, it))
    }

    /// The drawings over a frame that is on show for the presentation times `from..until` of a file, the oldest first;
    /// an empty stretch is the instant `from`.
    pub fn drawings_on_show(
        &self,
        footage: FootageRef,
        from: VideoTime,
        until: VideoTime,
    ) -> impl Iterator<Item = (Id, &Drawing)> {
        let all = self.drawings.iter().map(|(id, it)| (*id, it));
        all.filter(move |(_, it)| it.on.footage == footage && it.is_on_show(from, until))
    }

    pub fn reference_points_of(&self, corner: u32) -> impl Iterator<Item = (Id, &ReferencePoint)> {
        self.reference_points.iter().filter(move |(_, it)| it.corner == corner).map(|(id, it)| (*id, it))
    }

    fn tags_on(&self, is_wanted: impl Fn(TagPlace) -> bool) -> impl Iterator<Item = (Id, &Tag)> {
        self.tags.iter().filter(move |(_, it)| is_wanted(it.on)).map(|(id, it)| (*id, it))
    }
}
