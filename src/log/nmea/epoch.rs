//! Sentences of one time of day to one epoch, and times of day to a clock that runs on over midnight.

use crate::log::nmea::sentence::{self, Sentence};
use crate::log::stamp::{self, DAY_S};

/// A time of day that falls by more than this has passed midnight.
const MIDNIGHT_STEP_S: f64 = DAY_S / 2.0;

/// All that the sentences of one moment say. NaN where they do not say it.
#[derive(Debug, Clone)]
pub(crate) struct Epoch {
    /// Seconds since the start of the first day.
    pub(crate) t_s: f64,
    /// Of its first sentence.
    pub(crate) line: u64,
    pub(crate) is_void: bool,
    pub(crate) latitude_deg: f64,
    pub(crate) longitude_deg: f64,
    decimals: usize,
    pub(crate) speed_kn: f64,
    pub(crate) course_deg: f64,
    pub(crate) satellites: f64,
    pub(crate) hdop: f64,
    /// Days since 1970-01-01, as an RMC or ZDA of this epoch says.
    day: Option<i64>,
    time_of_day_s: f64,
}

/// Takes sentences in the file's order.
#[derive(Debug, Default)]
pub(crate) struct EpochBuilder {
    epochs: Vec<Epoch>,
    /// Types that gave something, in order of appearance.
    pub(crate) seen: Vec<&'static str>,
    /// Sentences offered.
    pub(crate) taken: usize,
    /// Speed and course of a VTG that came before its epoch: the receiver's cycle begins with VTG.
    early_motion: Option<(f64, f64)>,
    motion_comes_first: bool,
    zda_day: Option<(f64, i64)>,
}

impl EpochBuilder {
    /// Errors: what is wrong with the sentence, in words; it has changed nothing.
    pub(crate) fn take(&mut self, sentence: &Sentence<'_>) -> Result<(), &'static str> {
        self.taken += 1;
        let fields = sentence.fields();
        match sentence.kind() {
            Some(b"RMC") => self.take_rmc(&fields, sentence.line),
            Some(b"GGA") => self.take_quality("GGA", &fields, sentence.line),
            Some(b"GNS") => self.take_quality("GNS", &fields, sentence.line),
            Some(b"VTG") => self.take_vtg(&fields),
            Some(b"ZDA") => self.take_zda(&fields),
            _ => Ok(()),
        }
    }

    fn take_rmc(&mut self, fields: &[&[u8]], line: u64) -> Result<(), &'static str> {
        if fields.len() < 9 {
            return Err("an RMC sentence that breaks off");
        }
        let is_void = fields[1] != b"A";
        let Some(time_of_day_s) = sentence::time_of_day(fields[0]) else { return without_time(fields[0]) };
        let position = sentence::position(&fields[2..6]);
        if position.is_none() && !is_void {
            return Err("an RMC sentence without a position");
        }
        self.see("RMC");
        let epoch = self.epoch_at(time_of_day_s, line);
        epoch.is_void |= is_void;
        epoch.set_position(position);
        epoch.speed_kn = sentence::plain_number(fields[6]).unwrap_or(f64::NAN);
        epoch.course_deg = sentence::plain_number(fields[7]).unwrap_or(f64::NAN);
        if !is_void {
            epoch.day = short_date(fields[8]);
        }
        Ok(())
    }

    /// GGA and GNS have the same fields up to the HDOP; only the mark of quality differs (digit, letters).
    fn take_quality(&mut self, kind: &'static str, fields: &[&[u8]], line: u64) -> Result<(), &'static str> {
        if fields.len() < 8 {
            return Err(if kind == "GGA" {
                "a GGA sentence that breaks off"
            } else {
                "a GNS sentence that breaks off"
            });
        }
        let is_void = match kind {
            "GGA" => matches!(fields[5], b"0" | b""),
            _ => fields[5].iter().all(|mode| *mode == b'N'),
        };
        let Some(time_of_day_s) = sentence::time_of_day(fields[0]) else { return without_time(fields[0]) };
        let position = sentence::position(&fields[1..5]);
        if position.is_none() && !is_void {
            return Err("a fix without a position");
        }
        self.see(kind);
        let epoch = self.epoch_at(time_of_day_s, line);
        epoch.is_void |= is_void;
        epoch.set_position(position);
        epoch.satellites = sentence::plain_number(fields[6]).unwrap_or(f64::NAN);
        epoch.hdop = sentence::plain_number(fields[7]).unwrap_or(f64::NAN);
        Ok(())
    }

    fn take_vtg(&mut self, fields: &[&[u8]]) -> Result<(), &'static str> {
        if fields.len() < 6 {
            return Err("a VTG sentence that breaks off");
        }
        let course_deg = sentence::plain_number(fields[0]).unwrap_or(f64::NAN);
        let Some(speed_kn) = sentence::plain_number(fields[4]) else { return Ok(()) };
        self.see("VTG");
        self.motion_comes_first |= self.epochs.is_empty();
        match self.epochs.last_mut() {
            Some(epoch) if !self.motion_comes_first => epoch.set_motion((speed_kn, course_deg)),
            _ => self.early_motion = Some((speed_kn, course_deg)),
        }
        Ok(())
    }

    fn take_zda(&mut self, fields: &[&[u8]]) -> Result<(), &'static str> {
        if fields.len() < 4 {
            return Err("a ZDA sentence that breaks off");
        }
        let Some(time_of_day_s) = sentence::time_of_day(fields[0]) else { return without_time(fields[0]) };
        let number = |field: &[u8]| std::str::from_utf8(field).ok()?.parse::<u32>().ok();
        let (day, month, year) = (number(fields[1]), number(fields[2]), number(fields[3]));
        if let (Some(day), Some(month), Some(year)) = (day, month, year)
            && let Some(day) = stamp::day_number(year, month, day)
        {
            self.see("ZDA");
            self.zda_day = Some((time_of_day_s, day));
            if let Some(epoch) = self.epochs.last_mut().filter(|it| same_moment(it.time_of_day_s, time_of_day_s)) {
                epoch.day.get_or_insert(day);
            }
        }
        Ok(())
    }

    fn see(&mut self, kind: &'static str) {
        if !self.seen.contains(&kind) {
            self.seen.push(kind);
        }
    }

    fn epoch_at(&mut self, time_of_day_s: f64, line: u64) -> &mut Epoch {
        if !self.epochs.last().is_some_and(|it| same_moment(it.time_of_day_s, time_of_day_s)) {
            let mut epoch = Epoch::new(time_of_day_s, line);
            if let Some(motion) = self.early_motion.take() {
                epoch.set_motion(motion);
            }
            epoch.day = self.zda_day.filter(|(time, _)| same_moment(*time, time_of_day_s)).map(|(_, day)| day);
            self.epochs.push(epoch);
        }
        self.epochs.last_mut().expect("an epoch was pushed where there was none")
    }

    /// The epochs on one clock, and its first day (days since 1970-01-01) where some sentence told the date.
    pub(crate) fn finish(self) -> (Vec<Epoch>, Option<i64>) {
        let mut epochs = self.epochs;
        // Days counted from the first epoch's, corrected by each date that a sentence gives.
        let mut date_of_first: Option<i64> = None;
        let (mut day, mut last_s) = (0_i64, f64::NAN);
        for epoch in &mut epochs {
            let step_s = epoch.time_of_day_s - last_s;
            if step_s < -MIDNIGHT_STEP_S {
                day += 1;
            } else if step_s > MIDNIGHT_STEP_S && day > 0 {
                day -= 1;
            }
            if let Some(date) = epoch.day {
                day = date - *date_of_first.get_or_insert(date - day);
            }
            last_s = epoch.time_of_day_s;
            epoch.t_s = day as f64 * DAY_S + epoch.time_of_day_s;
        }
        (epochs, date_of_first)
    }
}

impl Epoch {
    fn new(time_of_day_s: f64, line: u64) -> Self {
        Self {
            t_s: f64::NAN,
            line,
            is_void: false,
            latitude_deg: f64::NAN,
            longitude_deg: f64::NAN,
            decimals: 0,
            speed_kn: f64::NAN,
            course_deg: f64::NAN,
            satellites: f64::NAN,
            hdop: f64::NAN,
            day: None,
            time_of_day_s,
        }
    }

    fn set_position(&mut self, position: Option<(f64, f64, usize)>) {
        if let Some((latitude_deg, longitude_deg, decimals)) = position
            && (self.latitude_deg.is_nan() || decimals > self.decimals)
        {
            (self.latitude_deg, self.longitude_deg, self.decimals) = (latitude_deg, longitude_deg, decimals);
        }
    }

    /// An RMC's own speed stands.
    fn set_motion(&mut self, (speed_kn, course_deg): (f64, f64)) {
        if self.speed_kn.is_nan() {
            self.speed_kn = speed_kn;
        }
        if self.course_deg.is_nan() {
            self.course_deg = course_deg;
        }
    }
}

/// A receiver that has no time yet leaves the field empty: that is no damage.
fn without_time(field: &[u8]) -> Result<(), &'static str> {
    if field.is_empty() { Ok(()) } else { Err("a time that is none") }
}

/// Below half a millisecond two times of day are one stamp written with different decimals.
fn same_moment(a_s: f64, b_s: f64) -> bool {
    (a_s - b_s).abs() < 5e-4
}

/// `ddmmyy`.
fn short_date(field: &[u8]) -> Option<i64> {
    let number = |from: usize| std::str::from_utf8(field.get(from..from + 2)?).ok()?.parse::<u32>().ok();
    if field.len() != 6 {
        return None;
    }
    stamp::day_number(stamp::full_year(number(4)?), number(2)?, number(0)?)
}
