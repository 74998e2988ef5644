//! What is painted where, how little of the picture a tile covers, and text that means harm.

use cairo::{Format, ImageSurface};

use super::*;
use crate::book::{FootageRef, FrameRef};
use crate::session::VideoTime;

const WIDTH: u32 = 640;
const HEIGHT: u32 = 360;

fn drawing(shape: Shape) -> Drawing {
    Drawing {
        on: FrameRef { footage: FootageRef::Chapter(0), at: VideoTime(0) },
        stays_s: 1.0,
        colour: PlainColour::hex(0xff_e000),
        width: 0.01,
        shape,
    }
}

fn at(x: f64, y: f64) -> Share {
    Share { x, y }
}

fn text(at: Share, text: &str) -> Drawing {
    drawing(Shape::Text { at, size: 0.08, text: text.to_owned() })
}

fn arrow() -> Drawing {
    drawing(Shape::Arrow { from: at(0.1, 0.9), to: at(0.9, 0.1) })
}

/// The picture's pixels as premultiplied red, green, blue, alpha.
fn painted(drawings: &[Drawing], (width, height): (u32, u32), rect: PictureRect) -> Vec<[u8; 4]> {
    let place = Place { x: 0, y: 0, width, height };
    let tile = paint(place, 1, |context| paint_drawings(context, rect, drawings)).unwrap();
    tile.argb.chunks_exact(4).map(rgba).collect()
}

fn rgba(word: &[u8]) -> [u8; 4] {
    let [blue, green, red, alpha] = u32::from_ne_bytes(word.try_into().unwrap()).to_le_bytes();
    [red, green, blue, alpha]
}

fn over_whole(drawings: &[Drawing]) -> Vec<[u8; 4]> {
    let rect = PictureRect { x: 0.0, y: 0.0, width: f64::from(WIDTH), height: f64::from(HEIGHT) };
    painted(drawings, (WIDTH, HEIGHT), rect)
}

fn pixel(picture: &[[u8; 4]], x: u32, y: u32) -> [u8; 4] {
    picture[(y * WIDTH + x) as usize]
}

#[test]
fn tiles_are_the_painting_and_cover_hardly_more() {
    let long = "a".repeat(10_000);
    let shapes = [
        arrow(),
        drawing(Shape::Circle(Circle { centre: at(0.5, 0.5), radius: 0.4 })),
        drawing(Shape::Circle(Circle { centre: at(0.0, 1.0), radius: 1.0 })),
        drawing(Shape::Line { from: at(0.2, 0.2), to: at(0.2, 0.2) }),
        drawing(Shape::Freehand(vec![at(0.0, 0.0), at(0.5, 1.0), at(1.0, 0.0)])),
        text(at(0.3, 0.3), "late\nagain"),
        text(at(1.0, 1.0), &long),
    ];
    for drawing in shapes {
        let expected = over_whole(std::slice::from_ref(&drawing));
        let mut picture = vec![[0; 4]; (WIDTH * HEIGHT) as usize];
        for tile in drawing_tiles(&drawing, PictureRect::filling(WIDTH, HEIGHT), (WIDTH, HEIGHT)).unwrap() {
            assert!(tile.x % 2 + tile.y % 2 + tile.width % 2 + tile.height % 2 == 0, "{tile:?}");
            for (row, words) in tile.argb.chunks_exact(4 * tile.width as usize).enumerate() {
                let begin = (tile.y as usize + row) * WIDTH as usize + tile.x as usize;
                for (pixel, word) in picture[begin..].iter_mut().zip(words.chunks_exact(4)) {
                    *pixel = rgba(word);
                }
            }
        }
        // Letters may sit on another fraction of a pixel in a tile; lines may not.
        let differing = expected.iter().zip(&picture).filter(|(a, b)| a != b).count();
        assert_eq!(differing, 0, "{:?}", drawing.shape);
        assert!(expected.iter().any(|it| it[3] == 255));
    }
    let covered: u32 = drawing_tiles(&arrow(), PictureRect::filling(WIDTH, HEIGHT), (WIDTH, HEIGHT))
        .unwrap()
        .iter()
        .map(|it| it.width * it.height)
        .sum();
    assert!(covered < WIDTH * HEIGHT / 3, "{covered} of {}", WIDTH * HEIGHT);
}

#[test]
fn a_core_has_an_outline_that_it_stands_out_from() {
    let line = |rgb: u32| {
        let shape = Shape::Line { from: at(0.1, 0.5), to: at(0.9, 0.5) };
        Drawing { colour: PlainColour::hex(rgb), width: 0.03, ..drawing(shape) }
    };
    let light = over_whole(&[line(0xff_e000)]);
    assert_eq!(pixel(&light, 320, 180), [0xff, 0xe0, 0, 255]);
    // The line is 10.8 px wide; its outline goes on for 3.8 px.
    assert_eq!(pixel(&light, 320, 187), [0x0b, 0x0f, 0x14, 255]);
    assert_eq!(pixel(&light, 320, 191), [0; 4]);
    assert_eq!(pixel(&over_whole(&[line(0x10_1080)]), 320, 187), [255; 4]);
}

#[test]
fn a_drawing_fits_its_picture_at_any_size_and_stays_inside() {
    let circle = drawing(Shape::Circle(Circle { centre: at(0.25, 0.5), radius: 0.2 }));
    let rect = PictureRect { x: 100.0, y: 40.0, width: 320.0, height: 180.0 };
    let small = painted(&[circle.clone(), arrow()], (WIDTH, HEIGHT), rect);
    // The right end of the circle's horizontal diameter.
    assert_eq!(pixel(&small, 100 + 80 + 36, 40 + 90)[3], 255);
    let outside = drawing(Shape::Circle(Circle { centre: at(0.0, 0.0), radius: 1.0 }));
    let clipped = painted(&[outside], (WIDTH, HEIGHT), rect);
    let is_inside = |index: usize| {
        let (x, y) = (index % WIDTH as usize, index / WIDTH as usize);
        (100..420).contains(&x) && (40..220).contains(&y)
    };
    assert!(clipped.iter().enumerate().all(|(index, it)| it[3] == 0 || is_inside(index)));
    assert!(clipped.iter().any(|it| it[3] == 255));
}

#[test]
fn text_stays_in_the_picture_and_is_never_markup() {
    let ink = |text: &Drawing| {
        let picture = over_whole(std::slice::from_ref(text));
        picture.iter().filter(|it| it[3] > 0).count()
    };
    let long = "wide ".repeat(2000);
    let lines = "x\n".repeat(5000);
    for hostile in
        ["<b>bold</b>", "&amp;\"'", "👩‍👩‍👧‍👦🏁", "\u{202e}שלום עולם\u{202c}", "%s\\n", &long, &lines, "\u{1f}", "\n"]
    {
        let drawn = text(at(0.99, 0.99), hostile);
        assert!(ink(&drawn) > 0 || hostile.chars().all(char::is_control), "{hostile:.20}");
    }
    // Markup would draw fewer letters.
    assert!(ink(&text(at(0.1, 0.1), "<b>a</b>")) > 2 * ink(&text(at(0.1, 0.1), "a")));
}

#[test]
fn a_picture_without_size_takes_no_drawing() {
    assert!(drawing_tiles(&arrow(), PictureRect::filling(0, 0), (0, 0)).unwrap().is_empty());
    let surface = ImageSurface::create(Format::ARgb32, 4, 4).unwrap();
    let context = Context::new(&surface).unwrap();
    let rect = PictureRect { x: 0.0, y: 0.0, width: 0.0, height: 0.0 };
    paint_drawings(&context, rect, [&text(at(0.5, 0.5), "a"), &arrow()]).unwrap();
}

#[test]
fn a_drawing_on_the_part_that_is_cut_off_is_not_drawn() {
    let line =
        |x: f64| Drawing { shape: Shape::Line { from: Share { x, y: 0.4 }, to: Share { x, y: 0.6 } }, ..arrow() };
    // Of a picture 400 px wide the middle 100 px are left.
    let picture = PictureRect { x: -150.0, y: 0.0, width: 400.0, height: 200.0 };
    assert!(drawing_tiles(&line(0.1), picture, (100, 200)).unwrap().is_empty());
    let middle = drawing_tiles(&line(0.5), picture, (100, 200)).unwrap();
    let (left, right) = (middle.iter().map(|it| it.x).min(), middle.iter().map(|it| it.x + it.width).max());
    assert!(left.is_some_and(|it| it < 50) && right.is_some_and(|it| it > 50 && it <= 100), "{left:?} {right:?}");
}
