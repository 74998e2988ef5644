//! A book's drawings in clips: on exactly the frames that they should be on, at any pace, and nowhere else.

use std::path::{Path, PathBuf};

use cornerbook::book::{
    Book, Circle, Colour, Drawing, FileRef, FootageRef, FrameRef, Op, Recording, Shape, Share, file,
};
use cornerbook::files::Overwrite;
use cornerbook::job::Context;
use cornerbook::media;
use cornerbook::reel::{ClipOptions, ClipPlan, clip_plan};
use cornerbook::session::VideoTime;

use super::made::{self, Recipe};

/// Log time of presentation time 0, s, and of the marks: the clip shows frames 30 to 243 of 30 a second.
const ZERO_S: f64 = 9.0;
const MARKS_S: [f64; 3] = [12.013, 13.52, 15.101];
const FRAME_S: f64 = 1.0 / 30.0;

const MAGENTA: u32 = 0xff_00ff;
const GREEN: u32 = 0x00_ff00;

fn drawing(footage: usize, at_s: f64, stays_s: f64, rgb: u32, shape: Shape) -> Drawing {
    let on = FrameRef { footage: FootageRef::Chapter(footage), at: VideoTime::from_seconds(at_s) };
    Drawing { on, stays_s, colour: Colour::hex(rgb), width: 0.04, shape }
}

/// A stroke across the lower half, where the footage is grey; `y` keeps strokes apart.
fn stroke(y: f64) -> Shape {
    Shape::Line { from: Share { x: 0.2, y }, to: Share { x: 0.8, y } }
}

fn book(drawings: impl IntoIterator<Item = Drawing>) -> Book {
    let file = |name: &str| FileRef { path: name.into(), length_bytes: 1 };
    let mut book = Book::new(vec![file("run.csv")]);
    let chapters = vec![file("a.mp4"), file("b.mp4")];
    book.apply(Op::Recording(Recording { chapters, pins: vec![] })).unwrap();
    for it in drawings {
        book.apply(Op::Drawing(book.next_id, Some(it))).unwrap();
    }
    book
}

fn plan(source: &Path, options: &ClipOptions) -> ClipPlan {
    let analysis = made::analysis(MARKS_S[0], MARKS_S[1], MARKS_S[2]);
    clip_plan(&analysis, 1, 1, &[made::chapter(source, ZERO_S)], options).unwrap()
}

/// Footage of 300 frames, or nothing where it cannot be written here.
fn footage(folder: &Path) -> Option<PathBuf> {
    let source = folder.join("source.mp4");
    made::can_write(&source).then(|| {
        made::footage(&source, &Recipe::steady(300, 30));
        source
    })
}

/// The film's frames by the number they carry, with whether each shows a colour.
fn showing(out: &Path, rgb: u32) -> Vec<(usize, bool)> {
    let [_, red, green, blue] = rgb.to_be_bytes();
    let frames = made::frames(out);
    frames.iter().map(|it| (made::number_of(it), made::pixels_like(it, [red, green, blue]) > 200)).collect()
}

fn assert_shown_on(out: &Path, rgb: u32, frames: std::ops::RangeInclusive<usize>) {
    let shown = showing(out, rgb);
    assert!(shown.iter().any(|it| it.1), "{rgb:06x} is never shown");
    for (number, is_shown) in shown {
        assert_eq!(is_shown, frames.contains(&number), "{rgb:06x} on frame {number}, wanted on {frames:?}");
    }
}

#[test]
fn a_drawing_is_on_exactly_its_frames_at_any_pace() {
    let folder = tempfile::tempdir().unwrap();
    let Some(source) = footage(folder.path()) else { return };
    let book = book([
        // Put on a frame's own time for a second; then between two frames' times, on one frame.
        drawing(0, 120.0 * FRAME_S, 1.0, MAGENTA, stroke(0.6)),
        drawing(0, 130.4 * FRAME_S, 0.0, GREEN, stroke(0.7)),
        // Long before the clip, and on another chapter.
        drawing(0, 0.0, 0.0, GREEN, stroke(0.8)),
        drawing(1, 140.0 * FRAME_S, 5.0, GREEN, stroke(0.8)),
    ]);
    let paces = [
        ClipOptions::default(),
        ClipOptions { slow: 0.5, ..ClipOptions::default() },
        // The apex falls on frame 135: it stands still with the drawing on it.
        ClipOptions { hold_s: 0.5, ..ClipOptions::default() },
    ];
    for (index, options) in paces.iter().enumerate() {
        let out = folder.path().join(format!("clip{index}.mp4"));
        let plan = plan(&source, options).with_drawings(&book, &[Some(FootageRef::Chapter(0))]);
        assert_eq!(plan.drawings.len(), 2);
        media::render_clip(&plan, &out, Overwrite::Refuse, &Context::new()).unwrap();
        assert_shown_on(&out, MAGENTA, 120..=149);
        assert_shown_on(&out, GREEN, 130..=130);
    }
    let other = plan(&source, &ClipOptions::default()).with_drawings(&book, &[None]);
    assert!(other.drawings.is_empty());
}

/// One that has begun before the clip is there from its first frame, and a later drawing covers an earlier one.
#[test]
fn drawings_begin_before_the_clip_and_lie_over_each_other() {
    let folder = tempfile::tempdir().unwrap();
    let Some(source) = footage(folder.path()) else { return };
    let book = book([
        drawing(0, 20.0 * FRAME_S, 4.0, MAGENTA, stroke(0.6)),
        drawing(0, 100.0 * FRAME_S, 0.5, GREEN, stroke(0.6)),
        // What means harm as markup or by its length is drawn as it is, and hides neither.
        drawing(
            0,
            0.0,
            20.0,
            0xff_ffff,
            Shape::Text {
                at: Share { x: 0.0, y: 0.0 },
                size: 0.03,
                text: format!("<b>&\"'👩‍👩‍👧‍👦 שלום {}", "x".repeat(10_000)),
            },
        ),
    ]);
    // The text would cover the strokes: it goes on another clip.
    let mut strokes = book.clone();
    let text = *strokes.drawings.keys().last().unwrap();
    strokes.apply(Op::Drawing(text, None)).unwrap();
    let out = folder.path().join("strokes.mp4");
    let plan = plan(&source, &ClipOptions::default());
    let with = |book: &Book| plan.clone().with_drawings(book, &[Some(FootageRef::Chapter(0))]);
    media::render_clip(&with(&strokes), &out, Overwrite::Refuse, &Context::new()).unwrap();
    for (number, is_shown) in showing(&out, MAGENTA) {
        let is_covered = (100..115).contains(&number);
        assert_eq!(is_shown, number < 140 && !is_covered, "frame {number}");
    }
    assert_shown_on(&out, GREEN, 100..=114);

    let out = folder.path().join("text.mp4");
    let clip = media::render_clip(&with(&book), &out, Overwrite::Refuse, &Context::new()).unwrap();
    assert_eq!(clip.frames as usize, made::frames(&out).len());
    assert!(showing(&out, 0xff_ffff).iter().all(|it| it.1));
}

#[test]
fn footage_is_known_by_its_path_or_by_name_and_length() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("b.mp4");
    std::fs::write(&path, b"x").unwrap();
    let book = book([]);
    assert_eq!(file::footage_of(&book, Path::new("a.mp4")), Some(FootageRef::Chapter(0)));
    assert_eq!(file::footage_of(&book, &path), Some(FootageRef::Chapter(1)));
    std::fs::write(&path, b"xy").unwrap();
    assert_eq!(file::footage_of(&book, &path), None);
}

/// The circle of a drawing is round in the film, also where it is smaller than the footage.
#[test]
fn a_circle_is_round_at_another_size() {
    let folder = tempfile::tempdir().unwrap();
    let Some(source) = footage(folder.path()) else { return };
    let circle = Shape::Circle(Circle { centre: Share { x: 0.5, y: 0.5 }, radius: 0.25 });
    let book = book([drawing(0, 0.0, 20.0, MAGENTA, circle)]);
    let out = folder.path().join("small.mp4");
    let options = ClipOptions { height_px: Some(240), ..ClipOptions::default() };
    let plan = plan(&source, &options).with_drawings(&book, &[Some(FootageRef::Chapter(0))]);
    media::render_clip(&plan, &out, Overwrite::Refuse, &Context::new()).unwrap();
    let frame = &made::frames(&out)[10];
    let (width, map) = (frame.info.width() as usize, frame.buffer.map_readable().unwrap());
    let stride = frame.info.stride()[0] as usize;
    let is_magenta = |x: usize, y: usize| {
        let pixel = &map[y * stride + 4 * x..][..3];
        pixel[0] > 180 && pixel[1] < 90 && pixel[2] > 180
    };
    let across: Vec<usize> = (0..width).filter(|x| is_magenta(*x, 120)).collect();
    let down: Vec<usize> = (0..240).filter(|y| is_magenta(width / 2, *y)).collect();
    let span = |of: &[usize]| of[of.len() - 1] - of[0];
    // Twice the radius and the width of the line: 0.54 of 240 px.
    assert!(span(&across).abs_diff(130) <= 4 && span(&down).abs_diff(130) <= 4, "{across:?} {down:?}");
}
