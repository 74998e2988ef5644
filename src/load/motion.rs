//! The footage's motion against the log's turning: reads stretches of the footage until the place is sure.

use crate::analysis::turning_of;
use crate::clock::motion::{MotionFit, SeenFrame, SeenYaw, Turning, combine, fit};
use crate::clock::{Chapter, FootageClock, chapter_starts_s, motion};
#[cfg(feature = "media")]
use crate::draw::AlignmentPlot;
use crate::job::Context;
use crate::load::Error;
use crate::load::footage::{Footage, clock_chapters};
use crate::load::seen::SeenFile;
use crate::session::{Samples, VideoTime};

/// Length of a stretch that is read, s: some corners, whatever the circuit.
const STRETCH_S: f64 = 20.0;
/// Up to this length a recording is read whole, s; of a longer one so many stretches a round.
const WHOLE_S: f64 = 120.0;
const STRETCHES_A_ROUND: usize = 6;
/// No more than this is read, s: what is not sure by then will not be.
const MOST_S: f64 = 640.0;
/// Sure of the place from this confidence on, and of the clock once its ends are known to this (one standard
/// deviation, s).
const SURE: f64 = 0.9;
const FINE_S: f64 = 0.004;

/// What was seen, what the log says, and how they fit.
#[derive(Debug, Clone)]
pub struct Motion {
    pub log: Turning,
    pub seen: SeenYaw,
    /// `None` where the two could not be laid over each other at all.
    pub fit: Option<MotionFit>,
}

#[cfg(feature = "media")]
impl Motion {
    /// What there is to draw of it: a minute in which much is seen to turn, and the likeness at every offset. `title`
    /// puts the result into words.
    pub fn plot(&self, title: impl Fn(Option<&MotionFit>) -> String) -> AlignmentPlot {
        let title = title(self.fit.as_ref());
        let Some(fit) = &self.fit else { return AlignmentPlot { title, ..AlignmentPlot::default() } };
        let log_t_s = |at_s: f64| fit.map.to_log(VideoTime::from_seconds(at_s)).0;
        let seen: Vec<(f64, f64, f64)> = self
            .seen
            .steps
            .iter()
            .filter(|it| it.weight > 0.0)
            .map(|it| {
                let rate_radps = it.turned * fit.radians_per_width / (it.to_s - it.from_s);
                (log_t_s(0.5 * (it.from_s + it.to_s)), rate_radps.to_degrees(), it.weight)
            })
            .collect();
        let from_s = busiest_minute(&seen);
        let shown = |t_s: f64| (from_s..=from_s + PLOTTED_S).contains(&t_s);
        AlignmentPlot {
            logged: self.log.rates().filter(|it| shown(it.0)).map(|it| (it.0, it.1.to_degrees())).collect(),
            seen: seen.iter().filter(|it| shown(it.0)).map(|it| (it.0, it.1)).collect(),
            surface: fit.surface.clone(),
            best_s: Some(fit.map.log_t_s_at_zero),
            next_best_s: fit.next_best_t_s,
            title,
        }
    }
}

/// How much of both is drawn, s.
#[cfg(feature = "media")]
const PLOTTED_S: f64 = 60.0;

/// Where the minute begins in which most is seen to turn. Takes time, rate and weight.
#[cfg(feature = "media")]
fn busiest_minute(seen: &[(f64, f64, f64)]) -> f64 {
    let turned = |from_s: f64| -> f64 {
        let within = seen.iter().skip_while(|it| it.0 < from_s).take_while(|it| it.0 <= from_s + PLOTTED_S);
        within.map(|it| it.1.abs() * it.2).sum()
    };
    let every = (seen.len() / 64).max(1);
    let starts = seen.iter().step_by(every).map(|it| it.0);
    starts.max_by(|a, b| turned(*a).total_cmp(&turned(*b))).unwrap_or(0.0)
}

/// The clocks of the footage by motion where that is sure enough, else by its time stamps, `stamps`, with the reason.
///
/// # Errors
/// A file that cannot be decoded, or cancelled.
pub fn clocks_by_motion(
    samples: &Samples,
    footage: &[Footage],
    stamps: Vec<FootageClock>,
    context: &Context,
) -> Result<(Vec<FootageClock>, Motion), Error> {
    let chapters = clock_chapters(footage);
    let log = turning_of(samples, context)?;
    let seen = combine(&see(&log, footage, &chapters, context)?);
    let (clocks, fit) = motion::from_motion(&log, &seen, &chapters, stamps);
    Ok((clocks, Motion { log, seen, fit }))
}

/// All of the footage's motion: for a recording without a log.
///
/// # Errors
/// A file that cannot be decoded, or cancelled.
pub fn see_all(footage: &[Footage], context: &Context) -> Result<SeenYaw, Error> {
    let chapters = clock_chapters(footage);
    let stretches = stretches_of(&chapters);
    let mut reader = Reader::new(footage, &chapters, stretches.len());
    reader.read(&stretches, context)?;
    Ok(combine(&reader.finish()))
}

/// Reads until the place is sure: the whole of a short recording; of a long one stretches all over it, then those where
/// the log turns most if the best place so far is the right one.
fn see(log: &Turning, footage: &[Footage], chapters: &[Chapter], context: &Context) -> Result<Vec<SeenFrame>, Error> {
    let mut left = stretches_of(chapters);
    let length_s: f64 = chapters.iter().map(|it| it.duration_s).sum();
    let is_short = length_s <= WHOLE_S;
    let mut reader = Reader::new(footage, chapters, if is_short { left.len() } else { STRETCHES_A_ROUND });
    let mut next = if is_short { std::mem::take(&mut left) } else { spread_out(&mut left) };
    let mut read_s = 0.0;
    while !next.is_empty() {
        reader.read(&next, context)?;
        read_s += next.iter().map(|it| it.to_s - it.from_s).sum::<f64>();
        if left.is_empty() || read_s >= MOST_S {
            break;
        }
        let so_far = fit(log, &combine(reader.frames()));
        if so_far.as_ref().is_ok_and(|it| is_sure(it, length_s)) {
            break;
        }
        next = match so_far {
            Ok(best) => where_it_turns(&mut left, log, &best),
            Err(_) => spread_out(&mut left),
        };
        reader.expect_more(next.len());
    }
    Ok(reader.finish())
}

fn is_sure(found: &MotionFit, length_s: f64) -> bool {
    let away_s = found.centre_s.max(length_s - found.centre_s);
    found.confidence >= SURE && found.sigma_ppm * 1e-6 * away_s <= FINE_S
}

/// A stretch of one chapter, in recording time.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Stretch {
    chapter: usize,
    /// Index within the chapter, from 0.
    index: usize,
    from_s: f64,
    to_s: f64,
}

fn stretches_of(chapters: &[Chapter]) -> Vec<Stretch> {
    let mut stretches = Vec::new();
    for (chapter, (it, start_s)) in chapters.iter().zip(chapter_starts_s(chapters)).enumerate() {
        let begins =
            (0..).map(|index| (index, f64::from(index) * STRETCH_S)).take_while(|begin| begin.1 < it.duration_s);
        stretches.extend(begins.map(|(index, from_s)| Stretch {
            chapter,
            index: usize::try_from(index).unwrap_or(0),
            from_s: start_s + from_s,
            to_s: start_s + (from_s + STRETCH_S).min(it.duration_s),
        }));
    }
    stretches
}

/// Takes a round of stretches out of `left`, evenly spread from near its beginning to near its end.
fn spread_out(left: &mut Vec<Stretch>) -> Vec<Stretch> {
    let count = STRETCHES_A_ROUND.min(left.len());
    let mut taken: Vec<usize> = (0..count).map(|it| (2 * it + 1) * left.len() / (2 * count)).collect();
    taken.dedup();
    let mut stretches: Vec<Stretch> = taken.iter().rev().map(|index| left.remove(*index)).collect();
    stretches.reverse();
    stretches
}

/// Takes a round of stretches in which the log turns most, by the best place so far: one out of each part of the
/// recording, so that the rate becomes known too.
fn where_it_turns(left: &mut Vec<Stretch>, log: &Turning, best: &MotionFit) -> Vec<Stretch> {
    let turning = |it: &Stretch| {
        let log_t_s = |at_s: f64| best.map.to_log(VideoTime::from_seconds(at_s)).0;
        log.rms_radps(log_t_s(it.from_s), log_t_s(it.to_s))
    };
    let part = left.len().div_ceil(STRETCHES_A_ROUND).max(1);
    let mut taken: Vec<Stretch> = left
        .chunks(part)
        .filter_map(|part| part.iter().max_by(|a, b| turning(a).total_cmp(&turning(b))).copied())
        .collect();
    taken.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    left.retain(|it| !taken.contains(it));
    taken
}

/// Reads stretches of all chapters, each file opened once.
struct Reader<'a> {
    files: Vec<(SeenFile<'a>, f64)>,
    frames: Vec<SeenFrame>,
    done: usize,
    expected: usize,
}

impl<'a> Reader<'a> {
    fn new(footage: &'a [Footage], chapters: &[Chapter], expected: usize) -> Self {
        let files = footage.iter().map(|it| SeenFile::new(&it.path)).zip(chapter_starts_s(chapters)).collect();
        Self { files, frames: Vec::new(), done: 0, expected }
    }

    fn expect_more(&mut self, count: usize) {
        self.expected += count;
    }

    fn read(&mut self, stretches: &[Stretch], context: &Context) -> Result<(), Error> {
        for stretch in stretches {
            let Some((file, start_s)) = self.files.get_mut(stretch.chapter) else { continue };
            let (done, expected) = (self.done as f64, self.expected.max(1) as f64);
            let tell = |share: f64| context.set_progress((done + share) / expected);
            let seen = file.stretch(stretch.index, STRETCH_S, context, tell)?;
            self.frames.extend(seen.into_iter().map(|it| SeenFrame {
                from_s: it.from_s + *start_s,
                to_s: it.to_s + *start_s,
                ..it
            }));
            self.done += 1;
        }
        // Stretches begin at key frames, so that neighbours overlap: each moment counts once.
        self.frames.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
        self.frames.dedup_by(|later, earlier| later.from_s < earlier.to_s - 1e-6);
        Ok(())
    }

    fn frames(&self) -> &[SeenFrame] {
        &self.frames
    }

    fn finish(mut self) -> Vec<SeenFrame> {
        for (file, _) in &mut self.files {
            file.keep();
        }
        self.frames
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stretches_cover_every_chapter_once() {
        let chapter = |duration_s| Chapter { duration_s, created: None };
        let mut left = stretches_of(&[chapter(65.0), chapter(20.0)]);
        let ends: Vec<(usize, f64, f64)> = left.iter().map(|it| (it.chapter, it.from_s, it.to_s)).collect();
        let expected = [(0, 0.0, 20.0), (0, 20.0, 40.0), (0, 40.0, 60.0), (0, 60.0, 65.0), (1, 65.0, 85.0)];
        assert_eq!(ends, expected);
        let mut many = stretches_of(&[chapter(3600.0)]);
        let taken = spread_out(&mut many);
        assert_eq!((taken.len(), many.len()), (STRETCHES_A_ROUND, 180 - STRETCHES_A_ROUND));
        assert!(
            taken[0].from_s < 400.0 && taken[5].from_s > 3200.0 && taken.windows(2).all(|it| it[0].to_s < it[1].from_s)
        );
        assert_eq!(spread_out(&mut left).len(), 5);
        assert!(left.is_empty() && spread_out(&mut left).is_empty());
    }
}
