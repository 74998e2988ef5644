//! The scene's sideways motion, frame by frame: decodes only the stretches that are asked for, from the key frame before
//! each, and hands the pictures on small and grey.
//!
//! The decoder's own brightness plane is taken as it is and averaged down over whole blocks of pixels: no conversion
//! and no scaling element stands in between.

use std::path::{Path, PathBuf};

use gstreamer_video as gst_video;
use gstreamer_video::prelude::*;

use crate::job::Context;
use crate::media::error::Error;
use crate::media::reader::{Frame, FrameReader, Picture, Pixels};
use crate::session::VideoTime;
use crate::signal::scene::{Scene, SceneShift};

/// Width of the small picture, pixels: a turn of 1 °/s moves it by a fifteenth of a pixel a frame, which is seen.
const WIDTH_PX: usize = 160;
/// Frames between looks at the cancel token.
const LOOK_EVERY: u32 = 8;
/// Frames at least this far apart are compared, s, and none in between (trial: 0.03 to 0.12). What turns as one and what
/// rushes past near the kart are told apart only once they have parted by more than a pixel; from one frame to the next
/// they melt into one shift, which comes early, for what is near shows the corner before the kart turns.
const APART_S: f64 = 0.06;
/// Frames farther apart than this are no motion, s.
const FARTHEST_S: f64 = 0.5;

/// The motion between two shown frames.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameMotion {
    pub from: VideoTime,
    pub to: VideoTime,
    /// In pixels of a picture that is [`MotionReader::width_px`] wide; those who read it divide by that.
    pub shift: SceneShift,
}

/// Follows the scene of one file.
#[derive(Debug)]
pub struct MotionReader {
    path: PathBuf,
    reader: FrameReader,
    small: Option<Small>,
    scene: Option<Scene>,
}

impl MotionReader {
    pub fn open(path: &Path) -> Result<Self, Error> {
        let reader = FrameReader::open(path, Picture { pixels: Pixels::Luma, size_px: None, is_cropped: false })?;
        Ok(Self { path: path.to_owned(), reader, small: None, scene: None })
    }

    /// Width of the whole picture in the small pixels that motion is given in; 0 before the first frame.
    pub fn width_px(&self) -> f64 {
        self.small.as_ref().map_or(0.0, |it| it.width as f64 / it.block as f64)
    }

    /// Motion from the frame on show at `from` to the first one at or after `to`. `done` is told the time of each frame.
    pub fn read(
        &mut self,
        from: VideoTime,
        to: VideoTime,
        context: &Context,
        mut done: impl FnMut(VideoTime),
    ) -> Result<Vec<FrameMotion>, Error> {
        self.reader.begin_search(from)?;
        if let Some(scene) = &mut self.scene {
            scene.cut();
        }
        let mut follower = Follower::default();
        let mut taken: Option<VideoTime> = None;
        let mut count = 0;
        while let Some(frame) = self.reader.next_frame()? {
            count += 1;
            if count % LOOK_EVERY == 0 {
                context.check()?;
                done(frame.at);
            }
            // Frames between the key frame and the stretch have been decoded: they are as good as any.
            let at = frame.at;
            if at >= to || taken.is_none_or(|it| at.seconds() - it.seconds() >= APART_S) {
                taken = Some(at);
                if let Some((scene, grey)) = self.shrink(&frame)? {
                    follower.take(scene, at, grey);
                }
            }
            if at >= to {
                break;
            }
        }
        if let Some(scene) = &mut self.scene {
            follower.catch_up(scene);
        }
        Ok(follower.motions)
    }

    /// The scene and its next picture, small and grey.
    fn shrink(&mut self, frame: &Frame) -> Result<Option<(&mut Scene, &[u8])>, Error> {
        let damaged = || Error::Damaged {
            path: self.path.clone(),
            at_s: frame.at.seconds(),
            cause: "its pictures cannot be read".to_owned(),
        };
        let picture =
            gst_video::VideoFrameRef::from_buffer_ref_readable(&frame.buffer, &frame.info).map_err(|_| damaged())?;
        let (width, height) = (frame.info.width() as usize, frame.info.height() as usize);
        let stride = usize::try_from(picture.plane_stride().first().copied().unwrap_or(0)).map_err(|_| damaged())?;
        let plane = picture.plane_data(0).map_err(|_| damaged())?;
        let small = match self.small.take().filter(|it| (it.width, it.height) == (width, height)) {
            Some(small) => self.small.insert(small),
            None => {
                self.scene = None;
                self.small.insert(Small::new(width, height))
            }
        };
        let (columns, rows) = small.size();
        let Some(grey) = small.shrink(plane, stride) else { return Ok(None) };
        Ok(Some((self.scene.get_or_insert_with(|| Scene::new(columns, rows)), grey)))
    }
}

/// Follows the scene through one stretch. Pictures wait until it is known what does not move with the scene: drops on the
/// lens would stand still for the whole scene.
#[derive(Debug, Default)]
struct Follower {
    waiting: Vec<(VideoTime, Vec<u8>)>,
    last: Option<VideoTime>,
    motions: Vec<FrameMotion>,
}

impl Follower {
    fn take(&mut self, scene: &mut Scene, at: VideoTime, grey: &[u8]) {
        scene.learn(grey);
        if scene.knows_what_is_fixed() {
            self.catch_up(scene);
            self.compare(scene, at, grey);
        } else {
            self.waiting.push((at, grey.to_owned()));
        }
    }

    /// What waits is compared now.
    fn catch_up(&mut self, scene: &mut Scene) {
        for (at, grey) in std::mem::take(&mut self.waiting) {
            self.compare(scene, at, &grey);
        }
    }

    fn compare(&mut self, scene: &mut Scene, at: VideoTime, grey: &[u8]) {
        let shift = scene.next(grey);
        let from = self.last.filter(|it| at.seconds() - it.seconds() <= FARTHEST_S);
        match (from, shift) {
            (Some(from), Some(shift)) => self.motions.push(FrameMotion { from, to: at, shift }),
            // A picture that repeats the one before.
            (Some(_), None) => return,
            (None, _) => {}
        }
        self.last = Some(at);
    }
}

/// Averages a brightness plane down over blocks of whole pixels; what is left over at the sides is cut off.
#[derive(Debug)]
struct Small {
    width: usize,
    height: usize,
    /// Pixels of the plane for one of the small picture, along either side.
    block: usize,
    columns: usize,
    rows: usize,
    sums: Vec<u32>,
    grey: Vec<u8>,
}

impl Small {
    fn new(width: usize, height: usize) -> Self {
        let block = (width / WIDTH_PX).max(1);
        let (columns, rows) = ((width / block).min(WIDTH_PX), height / block);
        Self { width, height, block, columns, rows, sums: vec![0; columns], grey: vec![0; columns * rows] }
    }

    fn size(&self) -> (usize, usize) {
        (self.columns, self.rows)
    }

    /// `None` where the plane is smaller than it should be.
    fn shrink(&mut self, plane: &[u8], stride: usize) -> Option<&[u8]> {
        let left = (self.width - self.columns * self.block) / 2;
        let top = (self.height - self.rows * self.block) / 2;
        let area = u32::try_from(self.block * self.block).ok()?;
        for row in 0..self.rows {
            self.sums.fill(0);
            for line in 0..self.block {
                let at = (top + row * self.block + line) * stride + left;
                let pixels = plane.get(at..at + self.columns * self.block)?;
                for (sum, block) in self.sums.iter_mut().zip(pixels.chunks_exact(self.block)) {
                    *sum += block.iter().map(|it| u32::from(*it)).sum::<u32>();
                }
            }
            for (grey, sum) in self.grey[row * self.columns..].iter_mut().zip(&self.sums) {
                #[allow(clippy::cast_possible_truncation, reason = "the mean of bytes is a byte")]
                let mean = (sum / area) as u8;
                *grey = mean;
            }
        }
        Some(&self.grey)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 325 by 6 pixels: blocks of 2, the 160 columns from the third pixel on.
    #[test]
    fn a_plane_is_averaged_over_blocks() {
        let mut small = Small::new(325, 6);
        assert_eq!(small.size(), (160, 3));
        let stride = 336;
        #[allow(clippy::cast_possible_truncation, reason = "chosen below 256")]
        let plane: Vec<u8> = (0..6 * stride).map(|it| ((it % stride) / 4 + 10 * (it / stride)) as u8).collect();
        let grey = small.shrink(&plane, stride).unwrap();
        // Row 1 is lines 2 and 3, 20 and 30 above the columns' values; column 7 is pixels 16 and 17, both 4.
        assert_eq!(grey[160 + 7], 4 + 25);
        assert!(small.shrink(&plane[..100], stride).is_none());
    }
}
