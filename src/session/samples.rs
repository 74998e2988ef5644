//! A log after reading: fixes and channels, each on its own times, all on one clock that starts at the first sample.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use crate::session::Note;

/// One position, WGS 84 degrees, at a log time in seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fix {
    pub t_s: f64,
    pub latitude_deg: f64,
    pub longitude_deg: f64,
}

/// What a column or field measures. The unit named here is the unit of [`Channel::value`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ChannelKind {
    /// Speed over ground, m/s.
    Speed,
    /// Direction of travel, radians counter-clockwise from east, wrapped to (−π, π].
    Heading,
    /// rad/s; positive to the left (ISO 8855, z up) once its sign has been settled against the path.
    YawRate,
    /// m/s².
    LateralAcceleration,
    /// m/s²; positive when speeding up.
    LongitudinalAcceleration,
    /// 1/min.
    EngineSpeed,
    /// Share, 0 to 1.
    Throttle,
    /// Share, 0 to 1, or the logger's own unit where it gives none.
    Brake,
    /// Radians at the wheel, or the logger's own unit where it gives none.
    Steering,
    /// Count.
    Satellites,
    /// Dimensionless.
    Hdop,
}

/// One measured quantity. `t_s` and `value` have the same length; times rise strictly; all values are finite.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Channel {
    pub t_s: Vec<f64>,
    pub value: Vec<f64>,
}

impl Channel {
    pub fn len(&self) -> usize {
        self.t_s.len()
    }

    pub fn is_empty(&self) -> bool {
        self.t_s.is_empty()
    }

    /// Pairs of time in seconds and value.
    pub fn iter(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.t_s.iter().copied().zip(self.value.iter().copied())
    }

    /// Median rate of the samples in Hz; `None` below two samples.
    pub fn rate_hz(&self) -> Option<f64> {
        median_rate_hz(&self.t_s)
    }
}

/// The kind of a log file, told by its content.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LogKind {
    Csv,
    Nmea,
    Gpx,
    /// No log at all: the turning seen in footage.
    Footage,
}

/// Where one channel came from: what `cornerbook check` says of it.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelUse {
    /// `None` for time and position themselves.
    pub channel: Option<ChannelKind>,
    /// "time", "position" or the channel's name.
    pub name: &'static str,
    /// The header cell, sentence type or element as the file has it.
    pub header: String,
    /// The unit as read from the file or assumed, for people.
    pub unit: String,
}

/// One file that went into the samples.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// As the user named it.
    pub file: String,
    pub kind: LogKind,
    /// Data rows, sentences or track points read, good or not.
    pub rows: usize,
    pub uses: Vec<ChannelUse>,
    /// Header cells that no channel was found for.
    pub unused: Vec<String>,
    /// What the file's own counter of seconds showed at log time 0; `None` where its times are dates or times of day.
    /// Two files with counters may share one clock, whatever their dates say.
    pub own_clock_s: Option<f64>,
}

/// What the readers hand to [`Samples::new`].
#[derive(Debug, Clone, Default)]
pub struct SamplesParts {
    /// Date and time of log time 0, where the log has a date.
    pub start_utc: Option<DateTime<Utc>>,
    pub fixes: Vec<Fix>,
    pub channels: BTreeMap<ChannelKind, Channel>,
    pub sources: Vec<Source>,
    pub notes: Vec<Note>,
}

/// A whole log. Made only by [`Samples::new`], which is the one gate for time order and finite values.
#[derive(Debug, Clone)]
pub struct Samples {
    parts: SamplesParts,
    duration_s: f64,
}

impl Samples {
    /// Keeps of `parts` what is in order: fixes and channel values that are finite, in range and later than the one
    /// before. Readers count and note what they drop themselves; this gate makes the invariant certain.
    pub fn new(mut parts: SamplesParts) -> Self {
        let mut last_t_s = f64::NEG_INFINITY;
        parts.fixes.retain(|fix| {
            let keep = fix.t_s.is_finite()
                && fix.t_s > last_t_s
                && fix.latitude_deg.abs() <= 90.0
                && fix.longitude_deg.abs() <= 180.0;
            if keep {
                last_t_s = fix.t_s;
            }
            keep
        });
        for channel in parts.channels.values_mut() {
            let mut kept = Channel::default();
            for (t_s, value) in channel.iter() {
                if t_s.is_finite() && value.is_finite() && kept.t_s.last().is_none_or(|last| t_s > *last) {
                    kept.t_s.push(t_s);
                    kept.value.push(value);
                }
            }
            *channel = kept;
        }
        parts.channels.retain(|_, channel| !channel.is_empty());
        let duration_s = parts
            .channels
            .values()
            .filter_map(|it| it.t_s.last().copied())
            .chain(parts.fixes.last().map(|fix| fix.t_s))
            .fold(0.0, f64::max);
        Self { parts, duration_s }
    }

    pub fn start_utc(&self) -> Option<DateTime<Utc>> {
        self.parts.start_utc
    }

    /// Positions in order of time, no repeats.
    pub fn fixes(&self) -> &[Fix] {
        &self.parts.fixes
    }

    pub fn channel(&self, kind: ChannelKind) -> Option<&Channel> {
        self.parts.channels.get(&kind)
    }

    pub fn channels(&self) -> &BTreeMap<ChannelKind, Channel> {
        &self.parts.channels
    }

    pub fn sources(&self) -> &[Source] {
        &self.parts.sources
    }

    pub fn notes(&self) -> &[Note] {
        &self.parts.notes
    }

    /// Time of the last sample of any kind, in seconds.
    pub fn duration_s(&self) -> f64 {
        self.duration_s
    }

    /// Median rate of the fixes in Hz, else of the yaw rate; `None` where neither has two samples.
    pub fn rate_hz(&self) -> Option<f64> {
        let fix_times: Vec<f64> = self.parts.fixes.iter().map(|fix| fix.t_s).collect();
        median_rate_hz(&fix_times).or_else(|| self.channel(ChannelKind::YawRate).and_then(Channel::rate_hz))
    }

    /// Date and time of a log time, where the log has a date.
    pub fn utc_at(&self, t_s: f64) -> Option<DateTime<Utc>> {
        #[allow(clippy::cast_possible_truncation, reason = "float to integer casts saturate; chrono checks the sum")]
        let offset = chrono::TimeDelta::microseconds((t_s * 1e6).round() as i64);
        self.parts.start_utc?.checked_add_signed(offset)
    }
}

fn median_rate_hz(t_s: &[f64]) -> Option<f64> {
    let mut steps: Vec<f64> = t_s.windows(2).map(|pair| pair[1] - pair[0]).collect();
    if steps.is_empty() {
        return None;
    }
    let middle = steps.len() / 2;
    let (_, median, _) = steps.select_nth_unstable_by(middle, f64::total_cmp);
    (*median > 0.0).then(|| 1.0 / *median)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_rising_finite_values_pass_the_gate() {
        let fix = |t_s, latitude_deg| Fix { t_s, latitude_deg, longitude_deg: 5.0 };
        let speed = Channel { t_s: vec![0.0, 0.1, 0.1, 0.2], value: vec![1.0, f64::NAN, 2.0, 3.0] };
        let samples = Samples::new(SamplesParts {
            fixes: vec![fix(0.0, 50.0), fix(0.1, 91.0), fix(0.1, 50.0), fix(0.05, 50.0), fix(f64::NAN, 50.0)],
            channels: BTreeMap::from([(ChannelKind::Speed, speed)]),
            ..SamplesParts::default()
        });
        assert_eq!(samples.fixes().len(), 2);
        assert_eq!(samples.channel(ChannelKind::Speed).unwrap().value, vec![1.0, 2.0, 3.0]);
        assert!((samples.duration_s() - 0.2).abs() < 1e-12);
        assert!((samples.rate_hz().unwrap() - 10.0).abs() < 1e-9);
    }
}
