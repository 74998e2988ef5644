//! Frames made ready for the screen: scaled down to fit, and from planes to pixels. Never makes a picture larger.

use gstreamer as gst;
use gstreamer::prelude::*;
use gstreamer_video as gst_video;

/// Scaling and converting are cut into this many strips, which work at once.
const THREADS: u32 = 2;
/// Sizes that frames are kept in are multiples of this share of the footage's own size, so that a window that is made a
/// little larger or smaller does not lose them.
const SIZE_STEPS: u32 = 8;

/// A picture as the screen takes it: `width_px` times `height_px` opaque pixels of 4 bytes, blue first (`gdk`'s
/// `B8g8r8a8` and, as all are opaque, `B8g8r8a8Premultiplied`), in rows `stride_bytes` apart. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Bitmap {
    pub width_px: u32,
    pub height_px: u32,
    pub stride_bytes: usize,
    pub bytes: gst::glib::Bytes,
}

/// The largest even size of the same shape that fits into a box; never more than the own size. `None` is the own size.
pub(crate) fn fitted(own: (u32, u32), within: Option<(u32, u32)>) -> (u32, u32) {
    let Some((width, height)) = within else { return own };
    let share = (f64::from(width) / f64::from(own.0)).min(f64::from(height) / f64::from(own.1));
    if share >= 1.0 { own } else { scaled_size(own, share) }
}

/// The size in which frames are kept that are shown in a box: not below the fitted one.
pub(crate) fn kept_size(own: (u32, u32), within: Option<(u32, u32)>) -> (u32, u32) {
    let (width, _) = fitted(own, within);
    let steps = (u64::from(width) * u64::from(SIZE_STEPS)).div_ceil(u64::from(own.0.max(1)));
    if steps >= u64::from(SIZE_STEPS) { own } else { scaled_size(own, steps as f64 / f64::from(SIZE_STEPS)) }
}

fn scaled_size(own: (u32, u32), share: f64) -> (u32, u32) {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "below the own size, which fits")]
    let even = |side: u32| ((f64::from(side) * share / 2.0).round() as u32 * 2).max(2);
    (even(own.0), even(own.1))
}

/// Makes bitmaps; keeps its converters and the memory of bitmaps that are no longer shown.
#[derive(Debug, Default)]
pub(crate) struct Converter {
    scalers: Vec<gst_video::VideoConverter>,
    painter: Option<(gst_video::VideoConverter, gst_video::VideoBufferPool)>,
}

/// A kept converter for each of this many pairs of sizes: one to show, one to keep.
const SCALERS_AT_MOST: usize = 2;

impl Converter {
    /// A picture for the screen at a size not above its own.
    pub(crate) fn bitmap(
        &mut self,
        buffer: &gst::Buffer,
        info: &gst_video::VideoInfo,
        size: (u32, u32),
    ) -> Result<Bitmap, gst::glib::BoolError> {
        if (info.width(), info.height()) != size {
            let (buffer, info) = self.scaled(buffer, info, size)?;
            return self.painted(&buffer, &info);
        }
        self.painted(buffer, info)
    }

    /// The same planes at another size, in memory of their own.
    pub(crate) fn scaled(
        &mut self,
        buffer: &gst::Buffer,
        info: &gst_video::VideoInfo,
        size: (u32, u32),
    ) -> Result<(gst::Buffer, gst_video::VideoInfo), gst::glib::BoolError> {
        let is_fit = |it: &gst_video::VideoConverter| {
            it.in_info() == info && (it.out_info().width(), it.out_info().height()) == size
        };
        let scaler = match self.scalers.iter().position(is_fit) {
            Some(index) => self.scalers.remove(index),
            None => {
                let out = like(info, info.format(), size).colorimetry(&info.colorimetry());
                gst_video::VideoConverter::new(info, &out.chroma_site(info.chroma_site()).build()?, Some(config()))?
            }
        };
        let out = scaler.out_info().clone();
        let scaled = converted(&scaler, buffer, gst::Buffer::with_size(out.size())?)?;
        self.scalers.truncate(SCALERS_AT_MOST - 1);
        self.scalers.insert(0, scaler);
        Ok((scaled, out))
    }

    fn painted(&mut self, buffer: &gst::Buffer, info: &gst_video::VideoInfo) -> Result<Bitmap, gst::glib::BoolError> {
        let (painter, pool) = match &mut self.painter {
            Some(painter) if painter.0.in_info() == info => painter,
            painter => painter.insert(new_painter(info)?),
        };
        let target = pool.acquire_buffer(None).map_err(|_| gst::glib::bool_error!("no memory for a picture"))?;
        let painted = converted(painter, buffer, target)?;
        let out = painter.out_info();
        let bytes =
            painted.into_mapped_buffer_readable().map_err(|_| gst::glib::bool_error!("a picture cannot be read"))?;
        Ok(Bitmap {
            width_px: out.width(),
            height_px: out.height(),
            stride_bytes: usize::try_from(out.stride()[0]).unwrap_or(0),
            bytes: gst::glib::Bytes::from_owned(bytes),
        })
    }
}

impl Drop for Converter {
    fn drop(&mut self) {
        if let Some((_, pool)) = &self.painter {
            // Frees what is in the pool; bitmaps that are still shown free themselves.
            let _ = pool.set_active(false);
        }
    }
}

fn new_painter(
    info: &gst_video::VideoInfo,
) -> Result<(gst_video::VideoConverter, gst_video::VideoBufferPool), gst::glib::BoolError> {
    let out = like(info, gst_video::VideoFormat::Bgra, (info.width(), info.height())).build()?;
    let pool = gst_video::VideoBufferPool::new();
    let mut settings = pool.config();
    let bytes = u32::try_from(out.size()).map_err(|_| gst::glib::bool_error!("a picture is too large"))?;
    settings.set_params(Some(&out.to_caps()?), bytes, 0, 0);
    pool.set_config(settings)?;
    pool.set_active(true)?;
    Ok((gst_video::VideoConverter::new(info, &out, Some(config()))?, pool))
}

/// Converters take no change of rate or of interlacing; everything else is the caller's to say.
fn like(
    info: &gst_video::VideoInfo,
    format: gst_video::VideoFormat,
    size: (u32, u32),
) -> gst_video::VideoInfoBuilder<'static> {
    gst_video::VideoInfo::builder(format, size.0, size.1).fps(info.fps()).interlace_mode(info.interlace_mode())
}

fn config() -> gst_video::VideoConverterConfig {
    let mut config = gst_video::VideoConverterConfig::new();
    config.set_threads(THREADS);
    config.set_resampler_method(gst_video::VideoResamplerMethod::Linear);
    config.set_dither_method(gst_video::VideoDitherMethod::None);
    config
}

fn converted(
    converter: &gst_video::VideoConverter,
    from: &gst::Buffer,
    mut into: gst::Buffer,
) -> Result<gst::Buffer, gst::glib::BoolError> {
    let source = gst_video::VideoFrameRef::from_buffer_ref_readable(from, converter.in_info())?;
    let mut target = gst_video::VideoFrameRef::from_buffer_ref_writable(into.make_mut(), converter.out_info())?;
    converter.frame_ref(&source, &mut target);
    drop(target);
    Ok(into)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pictures_are_made_to_fit_and_never_larger() {
        assert_eq!(fitted((1920, 1080), Some((960, 900))), (960, 540));
        assert_eq!(fitted((1920, 1080), Some((4000, 3000))), (1920, 1080));
        assert_eq!(fitted((1080, 1920), Some((960, 960))), (540, 960));
        assert_eq!(fitted((1920, 1080), Some((0, 0))), (2, 2));
        assert_eq!(fitted((1920, 1080), None), (1920, 1080));
    }

    #[test]
    fn frames_are_kept_in_steps_of_size() {
        assert_eq!(kept_size((1920, 1080), Some((960, 540))), (960, 540));
        assert_eq!(kept_size((1920, 1080), Some((962, 900))), (1200, 676));
        assert_eq!(kept_size((1920, 1080), Some((1900, 1080))), (1920, 1080));
        assert_eq!(kept_size((1920, 1080), None), (1920, 1080));
        assert_eq!(kept_size((1920, 1080), Some((1, 1))), (240, 136));
    }
}
