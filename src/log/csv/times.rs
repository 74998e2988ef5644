//! The time column of a CSV log: which way of writing it is, and each cell to seconds.

use crate::log::stamp::{self, DAY_S, DateOrder, Moment};
use crate::log::text;
use crate::log::unit::{self, Unit};

/// Numbers above these are counted from 1970: no recording lasts three years.
const UNIX_SECONDS_FROM: f64 = 1e8;
const UNIX_MILLISECONDS_FROM: f64 = 1e11;
const UNIX_MICROSECONDS_FROM: f64 = 1e14;
const UNIX_NANOSECONDS_FROM: f64 = 1e17;
/// Whole numbers that step by this much or more are milliseconds: fixes 10 s apart are no lap.
const MILLISECOND_STEP: f64 = 10.0;
/// A time of day that falls by more than this has passed midnight.
const MIDNIGHT_STEP_S: f64 = DAY_S / 2.0;

/// How a column writes its times.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Writing {
    /// Date and time in one cell.
    DateTime,
    /// `hh:mm:ss`, with a date column or without.
    Clock,
    /// Counted from 1970.
    Unix(Unit),
    /// Counted from somewhere.
    Counter { unit: Unit, is_assumed: bool },
}

impl Writing {
    pub(crate) fn has_date(self) -> bool {
        matches!(self, Self::DateTime | Self::Unix(_))
    }

    /// For people.
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::DateTime => "date and time",
            Self::Clock => "hh:mm:ss",
            Self::Unix(unit) => match unit.symbol {
                "s" => "s since 1970",
                "ms" => "ms since 1970",
                "µs" => "µs since 1970",
                _ => "ns since 1970",
            },
            Self::Counter { unit, .. } => unit.symbol,
        }
    }
}

/// Tells the writing from sample cells; `None` where most are no time at all.
pub(crate) fn writing_of(cells: &[&[u8]], named: Option<Unit>, decimal_mark: u8) -> Option<Writing> {
    let needed = cells.len().div_ceil(2).max(1);
    let count = |is_such: &dyn Fn(&[u8]) -> bool| cells.iter().filter(|cell| is_such(cell)).count();
    if count(&|cell| {
        stamp::date_time(cell, DateOrder::DayFirst).is_some() || stamp::date_time(cell, DateOrder::MonthFirst).is_some()
    }) >= needed
    {
        return Some(Writing::DateTime);
    }
    if count(&|cell| stamp::clock(cell).is_some()) >= needed {
        return Some(Writing::Clock);
    }
    let numbers: Vec<f64> = cells.iter().filter_map(|cell| text::number(cell, decimal_mark)).collect();
    if numbers.len() < needed {
        return None;
    }
    let size = numbers[numbers.len() / 2];
    let by_size = [
        (UNIX_NANOSECONDS_FROM, unit::NANOSECOND),
        (UNIX_MICROSECONDS_FROM, unit::MICROSECOND),
        (UNIX_MILLISECONDS_FROM, unit::MILLISECOND),
        (UNIX_SECONDS_FROM, unit::SECOND),
    ];
    let unix = by_size.into_iter().find(|(from, _)| size >= *from).map(|(_, unit)| unit);
    Some(match (unix, named) {
        // A counter of a device that has run for days, in the named small unit.
        (Some(unix), Some(named)) if named.factor < unix.factor => Writing::Counter { unit: named, is_assumed: false },
        (Some(unix), _) => Writing::Unix(unix),
        (None, Some(named)) => Writing::Counter { unit: named, is_assumed: false },
        (None, None) => Writing::Counter { unit: counter_unit(&numbers), is_assumed: true },
    })
}

fn counter_unit(numbers: &[f64]) -> Unit {
    let are_whole = numbers.iter().all(|it| it.fract().abs() < 1e-9);
    let mut steps: Vec<f64> = numbers.windows(2).map(|pair| pair[1] - pair[0]).filter(|step| *step > 0.0).collect();
    steps.sort_unstable_by(f64::total_cmp);
    let is_coarse = steps.get(steps.len() / 2).is_some_and(|step| *step >= MILLISECOND_STEP);
    if are_whole && is_coarse { unit::MILLISECOND } else { unit::SECOND }
}

/// Day first, unless some date can only be month first.
pub(crate) fn date_order(cells: &[&[u8]]) -> DateOrder {
    let fits = |order| {
        cells
            .iter()
            .filter(|cell| stamp::date(cell, order).is_some() || stamp::date_time(cell, order).is_some())
            .count()
    };
    if fits(DateOrder::MonthFirst) > fits(DateOrder::DayFirst) { DateOrder::MonthFirst } else { DateOrder::DayFirst }
}

/// Turns cells into times on one clock, row after row.
#[derive(Debug, Clone)]
pub(crate) struct Clock {
    writing: Writing,
    order: DateOrder,
    decimal_mark: u8,
    /// Day that times count from, where the writing has dates.
    pub(crate) first_day: Option<i64>,
    /// Some cell named no zone.
    pub(crate) lacks_zone: bool,
    days_passed: i64,
    last_of_day_s: f64,
}

impl Clock {
    pub(crate) fn new(writing: Writing, order: DateOrder, decimal_mark: u8) -> Self {
        let last_of_day_s = f64::NAN;
        Self { writing, order, decimal_mark, first_day: None, lacks_zone: false, days_passed: 0, last_of_day_s }
    }

    /// Seconds since the start of `first_day`, or on the file's counter. `None`: the cell is no time.
    pub(crate) fn seconds(&mut self, cell: &[u8], date_cell: Option<&[u8]>) -> Option<f64> {
        match self.writing {
            Writing::DateTime => {
                let (moment, has_zone) = stamp::date_time(cell, self.order)?;
                self.lacks_zone |= !has_zone;
                Some(self.since_first_day(moment))
            }
            Writing::Unix(unit) => {
                let moment = Moment::from_unix_s(text::number(cell, self.decimal_mark)? * unit.factor)?;
                Some(self.since_first_day(moment))
            }
            Writing::Clock => {
                let second = stamp::clock(cell)?;
                if let Some(day) = date_cell.and_then(|it| stamp::date(it, self.order)) {
                    self.lacks_zone |= !cell.ends_with(b"Z");
                    return Some(self.since_first_day(Moment { day, second }));
                }
                let step_s = second - self.last_of_day_s;
                if step_s < -MIDNIGHT_STEP_S {
                    self.days_passed += 1;
                } else if step_s > MIDNIGHT_STEP_S && self.days_passed > 0 {
                    self.days_passed -= 1;
                }
                self.last_of_day_s = second;
                Some(self.days_passed as f64 * DAY_S + second)
            }
            Writing::Counter { unit, .. } => Some(text::number(cell, self.decimal_mark)? * unit.factor),
        }
    }

    fn since_first_day(&mut self, moment: Moment) -> f64 {
        moment.since_day(*self.first_day.get_or_insert(moment.day))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn writing(cells: &[&str], named: Option<Unit>) -> Option<Writing> {
        writing_of(&cells.iter().map(|it| it.as_bytes()).collect::<Vec<_>>(), named, b'.')
    }

    #[test]
    fn the_writing_is_told_from_the_cells() {
        assert_eq!(writing(&["2024-05-01T10:00:00Z"], None), Some(Writing::DateTime));
        assert_eq!(writing(&["10:00:00.1", "10:00:00.2"], None), Some(Writing::Clock));
        assert_eq!(writing(&["1533226488299.000"], Some(unit::MILLISECOND)), Some(Writing::Unix(unit::MILLISECOND)));
        assert_eq!(writing(&["1533226488.3"], None), Some(Writing::Unix(unit::SECOND)));
        let counter = |unit, is_assumed| Some(Writing::Counter { unit, is_assumed });
        assert_eq!(writing(&["0.1", "0.2"], Some(unit::SECOND)), counter(unit::SECOND, false));
        assert_eq!(writing(&["0", "40", "80"], None), counter(unit::MILLISECOND, true));
        assert_eq!(writing(&["0", "2", "4"], None), counter(unit::SECOND, true));
        assert_eq!(writing(&["left", "right"], None), None);
    }

    #[test]
    fn a_clock_runs_on_over_midnight() {
        let mut clock = Clock::new(Writing::Clock, DateOrder::DayFirst, b'.');
        assert_eq!(clock.seconds(b"23:59:59.5", None), Some(86_399.5));
        assert_eq!(clock.seconds(b"00:00:00.5", None), Some(86_400.5));
        let mut dated = Clock::new(Writing::Clock, DateOrder::DayFirst, b'.');
        assert_eq!(dated.seconds(b"23:59:59.5", Some(b"2024-12-31")), Some(86_399.5));
        assert_eq!(dated.seconds(b"00:00:00.5", Some(b"2025-01-01")), Some(86_400.5));
    }
}
