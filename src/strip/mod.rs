//! What the review window draws along a lap, over a corner and on the map, as plain data in SI; and the mathematics of
//! looking and pointing at it. Takes an `Analysis`; draws nothing and knows no toolkit.

mod beside;
mod elsewhere;
mod lap;
mod map;
mod passes;
mod place;
mod plot;
mod same_place;
mod trace;
mod trackside;
mod view;

pub use beside::{AtPlace, at_place, last_gate};
pub use elsewhere::{LapElsewhere, same_corner, same_place_elsewhere_s};
pub use lap::{LapStrip, PlacedTag, StripCorner, StripMark, StripTag};
pub use map::{MapCorner, MapLine, MapPicture, OtherLap};
pub use passes::{Cell, PassGiven, PassRow, PassRows, SortBy, compare};
pub use place::{Bounds, MapView, nice_length};
pub use plot::{CornerPlot, PlotLine};
pub use same_place::same_place_s;
pub use trace::{AxisKind, Trace, TracePoint};
pub use trackside::{TracksideClock, trackside_clock};
pub use view::{Stretch, lanes, mark_limits, nearest_within, ticks};
