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

/// Weights from linear combinations of premultiplied red, green and blue to luma and colour differences.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Matrix {
    red: f64,
    blue: f64,
    luma_scale: f64,
    luma_offset: f64,
    colour_scale: f64,
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
        match colorimetry.range() {
            gst_video::VideoColorRange::Range0_255 => {
                Self { red, blue, luma_scale: 1.0, luma_offset: 0.0, colour_scale: 1.0 }
            }
            _ => Self { red, blue, luma_scale: 219.0 / 255.0, luma_offset: 16.0, colour_scale: 224.0 / 255.0 },
        }
    }

    /// Luma and both colour differences of one premultiplied pixel (alpha 0 to 1, colours 0 to 255).
    fn convert(self, [alpha, red, green, blue]: [f64; 4]) -> [f64; 3] {
        let luma = self.red * red + (1.0 - self.red - self.blue) * green + self.blue * blue;
        [
            luma * self.luma_scale + self.luma_offset * alpha,
            (blue - luma) / (2.0 * (1.0 - self.blue)) * self.colour_scale + 128.0 * alpha,
            (red - luma) / (2.0 * (1.0 - self.red)) * self.colour_scale + 128.0 * alpha,
        ]
    }
}

fn byte(value: f64) -> u8 {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "rounded and clamped to a byte")]
    {
        value.round().clamp(0.0, 255.0) as u8
    }
}

impl Sticker {
    /// The tile's place and size are even.
    pub(crate) fn new(tile: &Tile, matrix: Matrix) -> Self {
        let (width, height) = (tile.width as usize, tile.height as usize);
        let (x, y) = (tile.x as usize, tile.y as usize);
        let pixel = |column: usize, row: usize| {
            let at = 4 * (row * width + column);
            let [b, g, r, a] = native_argb(&tile.argb[at..at + 4]);
            [f64::from(a) / 255.0, f64::from(r), f64::from(g), f64::from(b)]
        };
        let plane = |width: usize, height: usize, x, y| Plane {
            x,
            y,
            width,
            value: Vec::with_capacity(width * height),
            through: Vec::with_capacity(width * height),
        };
        let mut luma = plane(width, height, x, y);
        for row in 0..height {
            for column in 0..width {
                let it = pixel(column, row);
                luma.value.push(byte(matrix.convert(it)[0]));
                luma.through.push(byte(255.0 * (1.0 - it[0])));
            }
        }
        let mut blue = plane(width / 2, height / 2, x / 2, y / 2);
        let mut red = plane(width / 2, height / 2, x / 2, y / 2);
        for row in (0..height).step_by(2) {
            for column in (0..width).step_by(2) {
                let four =
                    [pixel(column, row), pixel(column + 1, row), pixel(column, row + 1), pixel(column + 1, row + 1)];
                let mean = std::array::from_fn(|part| four.iter().map(|it| it[part]).sum::<f64>() / 4.0);
                let [_, b, r] = matrix.convert(mean);
                blue.value.push(byte(b));
                red.value.push(byte(r));
                let through = byte(255.0 * (1.0 - mean[0]));
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

/// Blue, green, red, alpha of a native-endian ARGB32 word.
fn native_argb(bytes: &[u8]) -> [u8; 4] {
    let word: [u8; 4] = bytes.try_into().expect("a slice of four bytes");
    u32::from_ne_bytes(word).to_le_bytes()
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
        let of = |r: f64, g: f64, b: f64| matrix(false).convert([1.0, r, g, b]).map(byte);
        assert_eq!(of(255.0, 255.0, 255.0), [235, 128, 128]);
        assert_eq!(of(0.0, 0.0, 0.0), [16, 128, 128]);
        assert_eq!(of(255.0, 0.0, 0.0), [63, 102, 240]);
        assert_eq!(of(0.0, 0.0, 255.0), [32, 240, 118]);
        assert_eq!(matrix(true).convert([1.0, 255.0, 255.0, 255.0]).map(byte), [255, 128, 128]);
    }

    #[test]
    fn what_is_opaque_covers_and_what_is_clear_leaves() {
        let plane = Plane { x: 1, y: 1, width: 2, value: vec![200, 0, 100, 0], through: vec![0, 255, 127, 255] };
        let mut picture = vec![60u8; 16];
        plane.blend(&mut picture, 4);
        assert_eq!(picture, [60, 60, 60, 60, 60, 200, 60, 60, 60, 130, 60, 60, 60, 60, 60, 60]);
    }
}
