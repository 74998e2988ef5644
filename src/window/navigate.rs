//! Where the playhead goes: to the next or the previous mark, corner, lap or tag. Times only; touches no widget.

use crate::analysis::Analysis;
use crate::corners::Pass;

/// What the playhead can jump to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Stop {
    Mark,
    Corner,
    Lap,
    Tag,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Way {
    Back,
    Forward,
}

/// The stretch of log time for which the present frame is on show, s: `from_s <= t < until_s`. Without footage, a moment
/// with a small `until_s` behind it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Playhead {
    pub(crate) from_s: f64,
    pub(crate) until_s: f64,
}

/// Log times to jump to, rising, s.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Stops {
    marks: Vec<f64>,
    corners: Vec<f64>,
    laps: Vec<f64>,
    tags: Vec<f64>,
}

impl Stops {
    pub(crate) fn of(analysis: &Analysis) -> Self {
        Self {
            marks: rising(analysis.passes.iter().flat_map(mark_times_s)),
            corners: rising(analysis.passes.iter().filter_map(|it| it.times_s().map(|(begin_s, _)| begin_s))),
            laps: rising(analysis.laps.iter().map(|it| it.start_t_s)),
            tags: Vec::new(),
        }
    }

    pub(crate) fn set_tags(&mut self, t_s: impl Iterator<Item = f64>) {
        self.tags = rising(t_s);
    }

    /// The nearest stop of a kind on one side of the frame on show; a stop on the frame itself is passed over.
    pub(crate) fn next(&self, stop: Stop, way: Way, playhead: Playhead) -> Option<f64> {
        let times_s = match stop {
            Stop::Mark => &self.marks,
            Stop::Corner => &self.corners,
            Stop::Lap => &self.laps,
            Stop::Tag => &self.tags,
        };
        match way {
            Way::Forward => times_s.get(times_s.partition_point(|it| *it < playhead.until_s)).copied(),
            Way::Back => times_s[..times_s.partition_point(|it| *it < playhead.from_s)].last().copied(),
        }
    }
}

fn mark_times_s(pass: &Pass) -> impl Iterator<Item = f64> {
    [pass.turn_in, pass.apex.map(|it| it.mark), pass.exit].into_iter().flatten().map(|it| it.t_s.value)
}

fn rising(times_s: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut times_s: Vec<f64> = times_s.filter(|it| it.is_finite()).collect();
    times_s.sort_by(f64::total_cmp);
    times_s
}

#[cfg(test)]
#[allow(clippy::float_cmp, reason = "times are passed on untouched")]
mod tests {
    use super::*;

    #[test]
    fn jumps_never_stay_on_the_frame_on_show() {
        let mut stops = Stops::default();
        stops.set_tags([3.0, 1.0, 2.0].into_iter());
        // The frame on show from 1.98 to 2.02 is the one on which the tag at 2.0 lies.
        let on_tag = Playhead { from_s: 1.98, until_s: 2.02 };
        assert_eq!(stops.next(Stop::Tag, Way::Forward, on_tag), Some(3.0));
        assert_eq!(stops.next(Stop::Tag, Way::Back, on_tag), Some(1.0));
        let before = Playhead { from_s: 0.5, until_s: 0.54 };
        assert_eq!(stops.next(Stop::Tag, Way::Back, before), None);
        assert_eq!(stops.next(Stop::Tag, Way::Forward, Playhead { from_s: 5.0, until_s: 5.1 }), None);
        assert_eq!(stops.next(Stop::Lap, Way::Forward, before), None);
    }
}
