//! What was typed becomes what is meant: policies instead of flags, and rules across options.

#[cfg(feature = "media")]
use std::num::NonZeroUsize;

#[cfg(feature = "media")]
use crate::book::Exit;
use crate::book::{Grip, Pin};
use crate::cli::args::{ClockArgs, GripArg, LogArgs};
use crate::cli::console::Stop;
#[cfg(feature = "media")]
use crate::cli::film_args::{ChoiceArgs, ExitArg, FigureArg, FilmArgs, LayoutArg, MarkArg, OrderArg, ShownArgs};
use crate::clock;
#[cfg(feature = "media")]
use crate::corners::figure::Figure;
use crate::files::Overwrite;
use crate::load::Reading;
#[cfg(feature = "media")]
use crate::reel::{BesideLayout, Choice, ClipOptions, FilmShape, Order};
#[cfg(feature = "media")]
use crate::session::MarkKind;
use crate::session::VideoTime;
#[cfg(feature = "media")]
use crate::units::SpeedUnit;

pub(super) fn reading(args: &LogArgs) -> Reading {
    Reading { track: args.track.clone(), columns: args.columns.clone(), crossing_s: args.crossing }
}

pub(super) fn overwrite(force: bool) -> Overwrite {
    if force { Overwrite::Replace } else { Overwrite::Refuse }
}

pub(super) fn grip(grip: GripArg) -> Grip {
    match grip {
        GripArg::Dry => Grip::Dry,
        GripArg::Damp => Grip::Damp,
        GripArg::Wet => Grip::Wet,
        GripArg::Slippery => Grip::Slippery,
    }
}

/// How clips are made.
#[cfg(feature = "media")]
pub(super) fn clip_options(shown: &ShownArgs, speed_unit: SpeedUnit) -> ClipOptions {
    ClipOptions {
        lead_s: shown.lead,
        tail_s: shown.tail,
        slow: shown.slow,
        hold_s: shown.hold,
        hold_at: shown.hold_at.map(|it| match it {
            MarkArg::TurnIn => MarkKind::TurnIn,
            MarkArg::Apex => MarkKind::Apex,
            MarkArg::Exit => MarkKind::Exit,
        }),
        speed_unit,
        ..ClipOptions::default()
    }
}

#[cfg(feature = "media")]
pub(super) fn layout(layout: LayoutArg) -> BesideLayout {
    match layout {
        LayoutArg::Beside => BesideLayout::Beside,
        LayoutArg::Stacked => BesideLayout::Stacked,
        LayoutArg::Inset => BesideLayout::Inset,
    }
}

#[cfg(feature = "media")]
pub(super) fn shape(args: &FilmArgs) -> FilmShape {
    if args.upright { FilmShape::Upright } else { FilmShape::AsFilmed }
}

/// Which passes a reel shows.
#[cfg(feature = "media")]
pub(super) fn choice(args: &ChoiceArgs) -> Choice {
    Choice {
        laps: args.lap.clone(),
        corners: args.corner.clone(),
        drivers: args.driver.clone(),
        tags: args.tag.clone(),
        exit: args.exit.map(|it| match it {
            ExitArg::Good => Exit::Good,
            ExitArg::Bad => Exit::Bad,
        }),
        best: args.best.map_or(0, NonZeroUsize::get),
        worst: args.worst.map_or(0, NonZeroUsize::get),
        by: match args.by {
            FigureArg::ExitGate => Figure::ExitGateSpeed,
            FigureArg::Time => Figure::Time,
            FigureArg::ExitCost => Figure::ExitCost,
            FigureArg::ApexPlace => Figure::ApexPlace,
            FigureArg::EntryGate => Figure::EntryGateSpeed,
            FigureArg::MinSpeed => Figure::MinSpeed,
        },
        order: match args.order {
            OrderArg::BestFirst => Order::BestFirst,
            OrderArg::Alternate => Order::Alternate,
            OrderArg::Driven => Order::AsDriven,
        },
        clean_only: !args.all,
    }
}

/// The pins that a person typed, in recording time; `None` where there are none. An offset is a pin at time 0.
///
/// # Errors
/// Pins that cannot all be right.
pub(super) fn typed_pins(args: &ClockArgs) -> Result<Option<Vec<clock::Pin>>, Stop> {
    let mut pins: Vec<clock::Pin> = args
        .offset
        .map(|log_t_s| (0.0, log_t_s))
        .into_iter()
        .chain(args.pin.iter().copied())
        .map(|(recording_s, log_t_s)| clock::Pin { recording_s, log_t_s })
        .collect();
    pins.sort_by(|a, b| a.recording_s.total_cmp(&b.recording_s));
    match pins.windows(2).find(|pair| !goes_on(pair[0], pair[1])) {
        Some(pair) => Err(Stop::Usage(format!(
            "the pins {} and {} cannot both be right, for time goes on in footage and log alike; look for both again",
            words(pair[0]),
            words(pair[1])
        ))),
        None => Ok((!pins.is_empty()).then_some(pins)),
    }
}

/// Whether `next` lies later than `pin`, in the footage and in the log.
fn goes_on(pin: clock::Pin, next: clock::Pin) -> bool {
    next.recording_s > pin.recording_s && next.log_t_s > pin.log_t_s
}

fn words(pin: clock::Pin) -> String {
    format!("{}={}", pin.recording_s, pin.log_t_s)
}

/// Pins in recording time to pins in a book, which belong to chapters. `starts_s` is when each chapter starts.
pub(super) fn book_pins(pins: &[clock::Pin], starts_s: &[f64]) -> Result<Vec<Pin>, Stop> {
    pins.iter()
        .map(|pin| {
            let chapter = starts_s
                .iter()
                .rposition(|start_s| *start_s <= pin.recording_s)
                .ok_or_else(|| Stop::Usage("an offset or a pin needs footage; name it with --video".to_owned()))?;
            let footage = VideoTime::from_seconds(pin.recording_s - starts_s[chapter]);
            Ok(Pin { chapter, footage, log_t_s: pin.log_t_s })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pins_find_their_chapter() {
        let pins = [(10.0, 20.0), (75.0, 85.0)].map(|(recording_s, log_t_s)| clock::Pin { recording_s, log_t_s });
        let starts_s = [0.0, 60.0];
        let in_book = book_pins(&pins, &starts_s).unwrap();
        assert_eq!(in_book[1], Pin { chapter: 1, footage: VideoTime::from_seconds(15.0), log_t_s: 85.0 });
        assert!(book_pins(&pins, &[]).is_err());
    }
}
