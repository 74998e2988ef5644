//! Lays overlay tiles over I420 pictures. A tile is turned into the picture's own colour planes once, when it changes;
//! per frame only the rectangle under it is touched, and no picture is converted as a whole.

use gstreamer_video as gst_video;
use gstreamer_video::prelude::*;

use crate::draw::Tile;

/// A tile in the planes of an I420 picture: premultiplied values, and how much of the picture shines through.
#[derive(Debug)]
pub(crate) struct Sticker {
    version: u64,
    luma: Plane,
    blue: Plane,
    red: Plane,
}

/// `value + under · through / 255`, row by row.
#[derive(Debug)]
struct Plane {
    x: usize,
    y: usize,
    width: usize,
    value: Vec<u8>,
    through: Vec<u8>,
}

impl Plane {
    fn blend(&self, target: &mut [u8], stride: usize) {
        let rows = self.value.chunks_exact(self.width).zip(self.through.chunks_exact(self.width));
        for (row, (value, through)) in rows.enumerate() {
            let begin = (self.y + row) * stride + self.x;
            let Some(under) = target.get_mut(begin..begin + self.width) else { return };
            for ((under, value), through) in under.iter_mut().zip(value).zip(through) {
                let shines = u16::from(*under) * u16::from(*through) + 127;
                // Division by 255, rounded, exact for products of two bytes.
                let shines = (shines + 1 + (shines >> 8)) >> 8;
                *under = u8::try_from(u16::from(*value) + shines).unwrap_or(u8::MAX);
            }
        }
    }
}

/// One binary digit of the fixed-point weights below is 2⁻¹⁶.
const DIGITS: u32 = 16;

/// From premultiplied red, green, blue and alpha (0 to 255 each) to luma and the two colour differences: weights in
/// fixed point, since this runs for every pixel of a tile that changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Matrix {
    luma: [i32; 4],
    blue: [i32; 4],
    red: [i32; 4],
}

impl Matrix {
    /// From a picture's colorimetry. Source: ITU-R BT.601-7, BT.709-6, BT.2020-2 (luma weights and the 8-bit ranges).
    pub(crate) fn of(info: &gst_video::VideoInfo) -> Self {
        let colorimetry = info.colorimetry();
        let (red, blue) = match colorimetry.matrix() {
            gst_video::VideoColorMatrix::Bt709 => (0.2126, 0.0722),
            gst_video::VideoColorMatrix::Bt2020 => (0.2627, 0.0593),
            _ => (0.299, 0.114),
        };
        let (luma_scale, luma_offset, colour_scale) = match colorimetry.range() {
            gst_video::VideoColorRange::Range0_255 => (1.0, 0.0, 1.0),
            _ => (219.0 / 255.0, 16.0, 224.0 / 255.0),
        };
        let luma = [red, 1.0 - red - blue, blue];
        let less_luma = |index: usize, share: f64| {
            let scale = colour_scale / (2.0 * (1.0 - share));
            std::array::from_fn(|part| scale * (f64::from(u8::from(part == index)) - luma[part]))
        };
        Self {
            luma: fixed(luma.map(|it| it * luma_scale), luma_offset),
            blue: fixed(less_luma(2, blue), 128.0),
            red: fixed(less_luma(0, red), 128.0),
        }
    }
}

fn fixed(weights: [f64; 3], offset: f64) -> [i32; 4] {
    #[allow(clippy::cast_possible_truncation, reason = "weights are below 1; casts saturate")]
    let fixed = |it: f64| (it * f64::from(1 << DIGITS)).round() as i32;
    [fixed(weights[0]), fixed(weights[1]), fixed(weights[2]), fixed(offset / 255.0)]
}

/// The weighted sum, rounded; `shift` is [`DIGITS`] for one pixel and two more for the sum of four.
fn weigh(weights: [i32; 4], sums: [i32; 4], shift: u32) -> u8 {
    let sum: i32 = weights.iter().zip(sums).map(|(weight, sum)| weight * sum).sum();
    let value = (sum + (1 << (shift - 1))) >> shift;
    u8::try_from(value.clamp(0, 255)).expect("clamped to a byte")
}

/// Red, green, blue, alpha of a native-endian ARGB32 word.
fn channels(word: &[u8]) -> [i32; 4] {
    let word = u32::from_ne_bytes(word.try_into().expect("a slice of four bytes"));
    let [blue, green, red, alpha] = word.to_le_bytes().map(i32::from);
    [red, green, blue, alpha]
}

impl Sticker {
    /// The tile's place and size are even.
    pub(crate) fn new(tile: &Tile, matrix: Matrix) -> Self {
        let (width, height) = (tile.width as usize, tile.height as usize);
        let (x, y) = (tile.x as usize, tile.y as usize);
        let plane = |width: usize, height: usize, x, y| Plane {
            x,
            y,
            width,
            value: Vec::with_capacity(width * height),
            through: Vec::with_capacity(width * height),
        };
        let mut luma = plane(width, height, x, y);
        for word in tile.argb.chunks_exact(4) {
            let pixel = channels(word);
            luma.value.push(weigh(matrix.luma, pixel, DIGITS));
            luma.through.push(u8::try_from(255 - pixel[3]).expect("255 less a byte"));
        }
        let mut blue = plane(width / 2, height / 2, x / 2, y / 2);
        let mut red = plane(width / 2, height / 2, x / 2, y / 2);
        for rows in tile.argb.chunks_exact(8 * width) {
            let (upper, lower) = rows.split_at(4 * width);
            for (above, below) in upper.chunks_exact(8).zip(lower.chunks_exact(8)) {
                let four = [&above[..4], &above[4..], &below[..4], &below[4..]].map(channels);
                let sums = std::array::from_fn(|part| four.iter().map(|it| it[part]).sum());
                blue.value.push(weigh(matrix.blue, sums, DIGITS + 2));
                red.value.push(weigh(matrix.red, sums, DIGITS + 2));
                let through = u8::try_from(255 - (sums[3] + 2) / 4).expect("255 less the mean of bytes");
                blue.through.push(through);
                red.through.push(through);
            }
        }
        Self { version: tile.version, luma, blue, red }
    }

    pub(crate) fn is_of(&self, tile: &Tile) -> bool {
        self.version == tile.version
    }

    /// Lays the sticker over an I420 picture.
    pub(crate) fn blend(&self, frame: &mut gst_video::VideoFrameRef<&mut gstreamer::BufferRef>) {
        for (index, plane) in [&self.luma, &self.blue, &self.red].into_iter().enumerate() {
            let stride = usize::try_from(frame.plane_stride()[index]).unwrap_or(0);
            let index = u32::try_from(index).expect("an index below three");
            if let Ok(data) = frame.plane_data_mut(index) {
                plane.blend(data, stride);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn matrix(full: bool) -> Matrix {
        let range = if full { gst_video::VideoColorRange::Range0_255 } else { gst_video::VideoColorRange::Range16_235 };
        let colorimetry = gst_video::VideoColorimetry::new(
            range,
            gst_video::VideoColorMatrix::Bt709,
            gst_video::VideoTransferFunction::Bt709,
            gst_video::VideoColorPrimaries::Bt709,
        );
        gstreamer::init().unwrap();
        let info =
            gst_video::VideoInfo::builder(gst_video::VideoFormat::I420, 64, 64).colorimetry(&colorimetry).build();
        Matrix::of(&info.unwrap())
    }

    /// White, black and the pure colours of BT.709 in the 8-bit range, to the nearest integer (BT.709-6, table 3.5).
    #[test]
    fn colours_are_those_of_bt709() {
        let of =
            |it: Matrix, [r, g, b]: [i32; 3]| [it.luma, it.blue, it.red].map(|row| weigh(row, [r, g, b, 255], DIGITS));
        let narrow = matrix(false);
        assert_eq!(of(narrow, [255, 255, 255]), [235, 128, 128]);
        assert_eq!(of(narrow, [0, 0, 0]), [16, 128, 128]);
        assert_eq!(of(narrow, [255, 0, 0]), [63, 102, 240]);
        assert_eq!(of(narrow, [0, 0, 255]), [32, 240, 118]);
        assert_eq!(of(matrix(true), [255, 255, 255]), [255, 128, 128]);
    }

    #[test]
    fn what_is_opaque_covers_and_what_is_clear_leaves() {
        let plane = Plane { x: 1, y: 1, width: 2, value: vec![200, 0, 100, 0], through: vec![0, 255, 127, 255] };
        let mut picture = vec![60u8; 16];
        plane.blend(&mut picture, 4);
        assert_eq!(picture, [60, 60, 60, 60, 60, 200, 60, 60, 60, 130, 60, 60, 60, 60, 60, 60]);
    }
}
