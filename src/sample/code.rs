//! The frame code: a small strip of black and white cells in a frame's top left corner that carries its number, so
//! that a test can tell which frame it sees after any cutting and encoding.
//!
//! Geometry: 2 rows of 16 square cells with a side of height/45 pixels (8 at 360 lines, 24 at 1080), rounded down but
//! at least 4, from pixel (0, 0). Read row by row from the left: white, black, white, black (presence and contrast),
//! then the 24 bits of the number with the highest first, then a 4-bit check. White is 1.

const COLUMNS: usize = 16;
const ROWS: usize = 2;
const MARKER: u32 = 0b1010;
/// Numbers have this many bits.
const NUMBER_BITS: u32 = 24;
/// White and black cells must be at least this far apart in brightness.
const CONTRAST: f64 = 60.0;

/// Luma of a white and of a black cell, 8 bits full range; inside the video range, so that it survives encoding.
const WHITE: u8 = 235;
const BLACK: u8 = 16;

/// Side of a cell in pixels for a frame of this height.
pub fn cell_px(height: usize) -> usize {
    (height / 45).max(4)
}

/// Width and height in pixels of the whole code in a frame of this height.
pub fn code_size_px(height: usize) -> (usize, usize) {
    (COLUMNS * cell_px(height), ROWS * cell_px(height))
}

/// Draws the code of `number` (its low 24 bits) into a picture of one byte per pixel; rows are `stride` bytes apart.
/// Degenerate: a picture too small for the code is left alone.
pub fn draw_frame_code(luma: &mut [u8], width: usize, height: usize, stride: usize, number: u32) {
    let (code_width, code_height) = code_size_px(height);
    if code_width > width || code_height > height {
        return;
    }
    let bits = bits_of(number);
    let side = cell_px(height);
    for y in 0..code_height {
        for x in 0..code_width {
            let cell = (y / side) * COLUMNS + x / side;
            luma[y * stride + x] = if bits >> (31 - cell) & 1 == 1 { WHITE } else { BLACK };
        }
    }
}

/// The number in the top left corner of a frame, or `None` where there is no whole code.
/// `pixels` holds `bytes_per_pixel` bytes per pixel (1 for grey or the Y plane, 3 or 4 for any order of colours, of
/// which the first is looked at) in rows `stride` bytes apart.
pub fn read_frame_code(
    pixels: &[u8],
    width: usize,
    height: usize,
    stride: usize,
    bytes_per_pixel: usize,
) -> Option<u32> {
    let (code_width, code_height) = code_size_px(height);
    let last = (code_height - 1) * stride + code_width * bytes_per_pixel;
    if code_width > width || code_height > height || pixels.len() < last {
        return None;
    }
    let side = cell_px(height);
    let brightness = |cell: usize| {
        let (left, top) = (cell % COLUMNS * side, cell / COLUMNS * side);
        let margin = side / 4;
        let (mut sum, mut count) = (0.0, 0.0);
        for y in top + margin..top + side - margin {
            for x in left + margin..left + side - margin {
                sum += f64::from(pixels[y * stride + x * bytes_per_pixel]);
                count += 1.0;
            }
        }
        sum / count
    };
    let white = 0.5 * (brightness(0) + brightness(2));
    let black = 0.5 * (brightness(1) + brightness(3));
    if white - black < CONTRAST {
        return None;
    }
    let threshold = 0.5 * (white + black);
    let bits = (0..32).fold(0, |bits, cell| bits << 1 | u32::from(brightness(cell) > threshold));
    let number = bits >> 4 & ((1 << NUMBER_BITS) - 1);
    (bits == bits_of(number)).then_some(number)
}

fn bits_of(number: u32) -> u32 {
    let number = number & ((1 << NUMBER_BITS) - 1);
    MARKER << 28 | number << 4 | check(number)
}

/// Sum of the six nibbles, each times its place from 1, modulo 16, inverted: a flipped bit always changes it, and the
/// code of 0 is not all black.
fn check(number: u32) -> u32 {
    let weighted: u32 = (0..6).map(|place| (number >> (4 * place) & 15) * (2 * place + 1)).sum();
    !weighted & 15
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_number_comes_back_and_a_flipped_cell_is_noticed() {
        let (width, height) = (640, 360);
        let mut luma = vec![120; width * height];
        for number in [0, 1, 2, 1023, 77_777, (1 << 24) - 1] {
            draw_frame_code(&mut luma, width, height, width, number);
            assert_eq!(read_frame_code(&luma, width, height, width, 1), Some(number));
        }
        for cell in 0..32 {
            draw_frame_code(&mut luma, width, height, width, 77_777);
            let side = cell_px(height);
            let (left, top) = (cell % COLUMNS * side, cell / COLUMNS * side);
            for y in top..top + side {
                for x in left..left + side {
                    luma[y * width + x] = 255 - luma[y * width + x];
                }
            }
            assert_eq!(read_frame_code(&luma, width, height, width, 1), None, "cell {cell}");
        }
    }

    #[test]
    fn a_picture_without_a_code_has_no_number() {
        assert_eq!(read_frame_code(&[128; 640 * 360], 640, 360, 640, 1), None);
        assert_eq!(read_frame_code(&[], 640, 360, 640, 1), None);
        assert_eq!(read_frame_code(&[0; 16], 4, 4, 4, 1), None);
    }
}
