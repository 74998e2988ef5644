//! Where the blocks of the overlay lie in a picture. All sizes follow one unit, the height of ordinary text.

/// Text height as a share of the picture's shorter side: read from a phone held at arm's length (tried, no source).
const TEXT_SHARE: f64 = 0.034;
/// Text is never smaller than this, px: the smallest that stays legible after encoding at 360 lines (tried, no source).
const TEXT_AT_LEAST_PX: f64 = 14.0;
/// Free border, as a share of the shorter side.
const BORDER_SHARE: f64 = 0.035;

/// Sizes of the blocks in units of the text height.
const CAPTION_SIZE: (f64, f64) = (16.5, 3.5);
const MARKS_SIZE: (f64, f64) = (19.0, 3.5);
const MAP_SIDE: f64 = 10.0;
/// Height of one tag, and how many are shown at most.
pub(crate) const TAG_LINE: f64 = 1.9;
pub(crate) const MOST_TAGS: usize = 3;
/// Space between stacked blocks.
const BETWEEN: f64 = 0.6;

/// A rectangle in pixels of the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Place {
    pub(crate) x: u32,
    pub(crate) y: u32,
    pub(crate) width: u32,
    pub(crate) height: u32,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Layout {
    /// Text height, px.
    pub(crate) unit: f64,
    pub(crate) caption: Place,
    pub(crate) marks: Place,
    pub(crate) map: Place,
    /// Room for the tags, from the bottom up: above the caption.
    pub(crate) tags: Place,
}

impl Layout {
    /// For a picture of this size in pixels. Caption and marks lie side by side at the bottom, or stacked where the
    /// picture is too narrow; without a caption the marks take its place; the map lies at the top right.
    pub(crate) fn new(width: u32, height: u32, has_caption: bool) -> Self {
        let (width, height) = (f64::from(width), f64::from(height));
        let shorter = width.min(height);
        let border = (shorter * BORDER_SHARE).round();
        let across = (width - 2.0 * border) / CAPTION_SIZE.0.max(MARKS_SIZE.0);
        let down = (height - 2.0 * border) / (CAPTION_SIZE.1 + MARKS_SIZE.1 + MAP_SIDE + 2.0 * BETWEEN);
        let unit = (shorter * TEXT_SHARE).max(TEXT_AT_LEAST_PX).min(across).min(down.max(across.min(height / 12.0)));
        let bottom = height - border;
        let caption = place(border, bottom - CAPTION_SIZE.1 * unit, CAPTION_SIZE.0 * unit, CAPTION_SIZE.1 * unit);
        let is_wide = width - 2.0 * border >= (CAPTION_SIZE.0 + MARKS_SIZE.0 + BETWEEN) * unit;
        let marks_width = MARKS_SIZE.0 * unit;
        let marks = if !has_caption {
            place(border, bottom - MARKS_SIZE.1 * unit, marks_width, MARKS_SIZE.1 * unit)
        } else if is_wide {
            place(width - border - marks_width, bottom - MARKS_SIZE.1 * unit, marks_width, MARKS_SIZE.1 * unit)
        } else {
            let y = bottom - (CAPTION_SIZE.1 + BETWEEN + MARKS_SIZE.1) * unit;
            place(border, y, marks_width, MARKS_SIZE.1 * unit)
        };
        // On a small picture the map gives way to the text.
        let free = f64::from(marks.y.min(caption.y)) - border - BETWEEN * unit;
        let side = (MAP_SIDE * unit).min(free);
        let lowest = f64::from(marks.y.min(caption.y)) - BETWEEN * unit;
        let tags_bottom = if is_wide && has_caption { f64::from(caption.y) - BETWEEN * unit } else { lowest };
        let tags_height = (TAG_LINE * MOST_TAGS as f64 * unit).min(tags_bottom - border).max(2.0);
        // Beside the map, where it comes down this far.
        let tags_width = (CAPTION_SIZE.0 * unit).min(width - 2.0 * border - side - BETWEEN * unit);
        Self {
            unit,
            caption,
            marks,
            map: place(width - border - side, border, side, side),
            tags: place(border, tags_bottom - tags_height, tags_width, tags_height),
        }
    }
}

/// Even positions and sizes, so that a block never splits the shared colour of two pixels of a 4:2:0 picture.
pub(crate) fn place(x: f64, y: f64, width: f64, height: f64) -> Place {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "rounded, at least 0, within a picture")]
    let even = |value: f64| ((value.max(0.0) / 2.0).round() as u32) * 2;
    Place { x: even(x), y: even(y), width: even(width).max(2), height: even(height).max(2) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn overlaps(a: Place, b: Place) -> bool {
        a.x < b.x + b.width && b.x < a.x + a.width && a.y < b.y + b.height && b.y < a.y + a.height
    }

    #[test]
    fn blocks_fit_and_keep_apart_at_every_usual_size() {
        for (width, height) in [
            (640, 360),
            (854, 480),
            (1280, 720),
            (1920, 1080),
            (3840, 2160),
            (720, 1280),
            (360, 640),
            (640, 640),
            (320, 240),
        ] {
            let layout = Layout::new(width, height, true);
            let blocks = [layout.caption, layout.marks, layout.map, layout.tags];
            for (index, block) in blocks.iter().enumerate() {
                assert!(
                    block.x + block.width <= width && block.y + block.height <= height,
                    "{width}x{height} {layout:?}"
                );
                assert!(blocks[index + 1..].iter().all(|it| !overlaps(*block, *it)), "{width}x{height} {layout:?}");
            }
            assert!(layout.unit >= 12.0 || width < 360, "{width}x{height}: {}", layout.unit);
        }
    }
}
