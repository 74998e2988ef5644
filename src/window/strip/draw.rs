//! Draws the lap strip: what stays goes into a layer, the playhead and the mark in the hand on top.

use gtk::cairo::{Context, Error};
use gtk::prelude::*;
use gtk4 as gtk;

use crate::draw::sign;
use crate::present;
use crate::strip::{AxisKind, LapStrip, Stretch, StripMark, lanes, ticks};
use crate::units::SpeedUnit;
use crate::window::paint::{Ink, LayerKey, Palette, Text, focus_ring};
use crate::window::strip::{Hold, Parts, State, TagBox, axis_caption};

/// Heights of the rows from the top, px; the speed has what is left.
const CORNERS_PX: f64 = 20.0;
const AXIS_PX: f64 = 18.0;
const DOTS_PX: f64 = 14.0;
/// The speed has at least this height, however many tags there are.
const LEAST_SPEED_PX: f64 = 84.0;
const LANE_PX: f64 = 19.0;
const MOST_LANES: usize = 3;
/// Radius of a mark's sign, px.
const SIGN_PX: f64 = 6.0;
/// A tag's name is at most this wide, px.
const TAG_NAME_PX: f64 = 110.0;
/// Space beside the name inside its tag, both sides together, and between tags, px.
const TAG_PAD_PX: f64 = 12.0;
const LANE_SPACE_PX: f64 = 4.0;
/// Ticks are at least this far apart, px.
const TICK_PX: f64 = 76.0;
/// Points of the curve closer together than this look alike, px.
const POINT_PX: f64 = 0.5;

/// From places and speeds to pixels.
#[derive(Debug, Clone)]
pub(super) struct Plot<'a> {
    strip: &'a LapStrip,
    shown: Stretch,
    width: f64,
    /// Top and bottom of the speed's row, px.
    top: f64,
    bottom: f64,
    /// Speeds at bottom and top, m/s.
    speeds: Option<(f64, f64)>,
}

impl<'a> Plot<'a> {
    pub(super) fn of(area: &gtk::DrawingArea, state: &'a State) -> Self {
        let (width, height) = (f64::from(area.width()), f64::from(area.height()));
        let tags = match lanes_wanted(state, width) {
            0 => 0.0,
            lanes => DOTS_PX + LANE_PX * lanes as f64,
        };
        // A low strip gives up the tags' names before the speed.
        let tags = tags.min((height - CORNERS_PX - AXIS_PX - LEAST_SPEED_PX).max(0.0));
        let bottom = (height - AXIS_PX - tags).max(CORNERS_PX + 10.0);
        // A corner on show by itself fills the height too.
        let on_show = state.strip.trace.speed_range_between_mps(state.shown.from, state.shown.to);
        let speeds = on_show.or_else(|| state.strip.trace.speed_range_mps()).map(|(low, high)| {
            let margin = (0.08 * (high - low)).max(0.5);
            ((low - margin).max(0.0), high + margin)
        });
        Self { strip: &state.strip, shown: state.shown, width, top: CORNERS_PX + SIGN_PX, bottom, speeds }
    }

    fn x(&self, along: f64) -> f64 {
        self.shown.px_of(along, self.width)
    }

    fn y(&self, speed_mps: f64) -> f64 {
        let Some((low, high)) = self.speeds else { return 0.5 * (self.top + self.bottom) };
        self.bottom - (speed_mps - low) / (high - low) * (self.bottom - self.top)
    }

    /// Centre of a mark's sign: on the curve, or half-way up where it is open.
    pub(super) fn mark_at(&self, along: f64) -> (f64, f64) {
        let y = self.strip.trace.speed_at(along).map_or(0.5 * (self.top + self.bottom), |it| self.y(it));
        (self.x(along), y)
    }

    pub(super) fn tag_dot_at(&self, along: f64) -> (f64, f64) {
        (self.x(along), self.bottom + AXIS_PX + 0.5 * DOTS_PX)
    }
}

/// Lanes for the names of all tags on show, were each name as wide as it may be: so the strip keeps still while names
/// change. 0 without tags on the lap.
fn lanes_wanted(state: &State, width: f64) -> usize {
    if state.strip.tags.is_empty() {
        return 0;
    }
    let shown = state.strip.tags.iter().map(|it| it.along).filter(|it| state.shown.holds(*it));
    let widest: Vec<(f64, f64)> = shown.map(|it| (state.shown.px_of(it, width), TAG_NAME_PX + TAG_PAD_PX)).collect();
    let placed = lanes(&widest, MOST_LANES, LANE_SPACE_PX);
    placed.into_iter().map(|it| it.map_or(MOST_LANES, |lane| lane + 1)).max().unwrap_or(1)
}

pub(super) fn draw(parts: &Parts, context: &Context) -> Result<(), Error> {
    let area = &parts.area;
    let palette = Palette::of(area);
    let key = LayerKey {
        width: area.width(),
        height: area.height(),
        scale: area.scale_factor(),
        palette,
        version: parts.version.get(),
    };
    let mut new_boxes = None;
    {
        let state = parts.state.borrow();
        let plot = Plot::of(area, &state);
        parts.layer.paint(context, key, |layer| {
            corners(layer, area, palette, &plot)?;
            let speeds = speed_ticks(&plot, state.unit);
            speeds.iter().try_for_each(|it| level(layer, palette, &plot, it.1))?;
            speed(layer, palette, &plot)?;
            speed_words(layer, area, palette, &plot, &speeds, state.unit)?;
            gaps(layer, area, palette, &plot)?;
            axis(layer, area, palette, &plot)?;
            marks(layer, palette, &plot, &state)?;
            new_boxes = Some(tags(layer, area, palette, &plot)?);
            Ok(())
        })?;
        held_mark(context, palette, &plot, &state)?;
        playhead(context, palette, &plot, &state)?;
    }
    if let Some(boxes) = new_boxes {
        parts.state.borrow_mut().tag_boxes = boxes;
    }
    if area.has_focus() {
        focus_ring(context, palette, f64::from(area.width()), f64::from(area.height()))?;
    }
    Ok(())
}

/// Stretches with names, from entry gate to exit gate, all the way down the speed's row.
fn corners(context: &Context, area: &gtk::DrawingArea, palette: Palette, plot: &Plot<'_>) -> Result<(), Error> {
    for corner in &plot.strip.corners {
        let (left, right) = (plot.x(corner.from), plot.x(corner.to));
        if right < 0.0 || left > plot.width {
            continue;
        }
        palette.ink.set(context, 0.06);
        context.rectangle(left, 0.0, right - left, plot.bottom);
        context.fill()?;
        palette.ink.set(context, 0.12);
        context.rectangle(left, 0.0, right - left, CORNERS_PX);
        context.fill()?;
        let (from, to) = (left.max(0.0), right.min(plot.width));
        let name = Text::at_most(area, &present::one_line(&corner.name), to - from - 4.0);
        if to - from > 16.0 {
            palette.ink.set(context, 0.95);
            name.draw(context, 0.5 * (from + to - name.width), 0.5 * (CORNERS_PX - name.height));
        }
    }
    Ok(())
}

/// Round speeds in the reader's unit, and where they lie, px; none where the log has no speed.
fn speed_ticks(plot: &Plot<'_>, unit: SpeedUnit) -> Vec<(f64, f64)> {
    let Some((low, high)) = plot.speeds else { return Vec::new() };
    let in_unit = Stretch { from: unit.from_mps(low), to: unit.from_mps(high) };
    ticks(in_unit, 4).into_iter().map(|it| (it, plot.y(it * unit.in_mps()).round() + 0.5)).collect()
}

/// A line of equal speed.
fn level(context: &Context, palette: Palette, plot: &Plot<'_>, y: f64) -> Result<(), Error> {
    palette.ink.set(context, 0.12);
    context.set_line_width(1.0);
    context.move_to(0.0, y);
    context.line_to(plot.width, y);
    context.stroke()
}

/// The figures of the lines of equal speed, on top of the curve, which would strike them through; or that there is no
/// speed.
fn speed_words(
    context: &Context,
    area: &gtk::DrawingArea,
    palette: Palette,
    plot: &Plot<'_>,
    speeds: &[(f64, f64)],
    unit: SpeedUnit,
) -> Result<(), Error> {
    if plot.speeds.is_none() && !plot.strip.trace.points.is_empty() {
        let text = Text::new(area, "the log has no speed");
        palette.ink.set(context, 0.7);
        text.draw(context, 8.0, 0.5 * (plot.top + plot.bottom) + SIGN_PX + 4.0);
    }
    for (value, y) in speeds {
        let text = Text::new(area, &format!("{} {unit}", present::fixed(*value, 0)));
        if y - text.height > CORNERS_PX {
            text.draw_rimmed(context, 4.0, y - text.height, palette)?;
        }
    }
    Ok(())
}

fn speed(context: &Context, palette: Palette, plot: &Plot<'_>) -> Result<(), Error> {
    context.new_path();
    let mut last_px = f64::NEG_INFINITY;
    let points = &plot.strip.trace.points;
    // One point to each side of what is shown, so that the curve runs out of the picture.
    let from = points.partition_point(|it| it.along < plot.shown.from).saturating_sub(1);
    let to = (points.partition_point(|it| it.along <= plot.shown.to) + 1).min(points.len());
    for point in &points[from..to] {
        let (x, Some(speed_mps)) = (plot.x(point.along), point.speed_mps) else { continue };
        if point.is_after_gap {
            context.move_to(x, plot.y(speed_mps));
        } else if x - last_px >= POINT_PX {
            context.line_to(x, plot.y(speed_mps));
        } else {
            continue;
        }
        last_px = x;
    }
    palette.lap(0).set(context, 1.0);
    context.set_line_width(2.0);
    context.set_line_join(gtk::cairo::LineJoin::Round);
    context.stroke()
}

/// Gaps are hatched, so that an open curve does not look like a fault.
fn gaps(context: &Context, area: &gtk::DrawingArea, palette: Palette, plot: &Plot<'_>) -> Result<(), Error> {
    for (from, to) in plot.strip.trace.gaps() {
        let (left, right) = (plot.x(from).max(0.0), plot.x(to).min(plot.width));
        if right - left < 1.0 {
            continue;
        }
        context.save()?;
        context.rectangle(left, CORNERS_PX, right - left, plot.bottom - CORNERS_PX);
        context.clip();
        let height = plot.bottom - CORNERS_PX;
        palette.ink.set(context, 0.22);
        context.set_line_width(1.0);
        let mut x = left - height;
        while x < right {
            context.move_to(x, plot.bottom);
            context.line_to(x + height, CORNERS_PX);
            x += 8.0;
        }
        context.stroke()?;
        context.restore()?;
        let text = Text::new(area, "gap in the log");
        if text.width + 8.0 < right - left {
            let x = 0.5 * (left + right - text.width);
            text.draw_rimmed(context, x, plot.bottom - text.height - 4.0, palette)?;
        }
    }
    Ok(())
}

fn axis(context: &Context, area: &gtk::DrawingArea, palette: Palette, plot: &Plot<'_>) -> Result<(), Error> {
    if plot.strip.trace.points.is_empty() {
        return Ok(());
    }
    palette.ink.set(context, 0.5);
    context.set_line_width(1.0);
    let y = plot.bottom.round() + 0.5;
    context.move_to(0.0, y);
    context.line_to(plot.width, y);
    context.stroke()?;
    let caption = Text::new(area, axis_caption(plot.strip));
    let caption_left = plot.width - caption.width - 4.0;
    palette.ink.set(context, 0.75);
    caption.draw(context, caption_left, y + 2.0);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a widget's width, not negative")]
    let most = (plot.width / TICK_PX).max(1.0) as usize;
    let is_fine = plot.shown.length() < 10.0;
    for along in ticks(plot.shown, most) {
        let x = plot.x(along);
        let words = match plot.strip.trace.axis {
            AxisKind::Distance => present::fixed(along, usize::from(is_fine)),
            AxisKind::Time => present::clock_time(along, usize::from(is_fine)),
        };
        let text = Text::new(area, &words);
        palette.ink.set(context, 0.75);
        let left = (x - 0.5 * text.width).max(2.0);
        if left + text.width + 8.0 < caption_left {
            text.draw(context, left, y + 2.0);
        }
        context.move_to(x.round() + 0.5, y);
        context.line_to(x.round() + 0.5, y + 3.0);
        context.stroke()?;
    }
    Ok(())
}

fn marks(context: &Context, palette: Palette, plot: &Plot<'_>, state: &State) -> Result<(), Error> {
    let in_hand = match (state.hold, state.dropped) {
        (Some(Hold::Mark { index, along: Some(_) }), _) | (None, Some((index, _))) => Some(index),
        _ => None,
    };
    for (index, mark) in plot.strip.marks.iter().enumerate() {
        let (x, y) = plot.mark_at(mark.along);
        if x < -SIGN_PX || x > plot.width + SIGN_PX {
            continue;
        }
        if in_hand == Some(index) {
            draw_sign(mark, false, (x, y), context)?;
            continue;
        }
        palette.ink.set(context, 0.3);
        context.set_line_width(1.0);
        context.move_to(x.round() + 0.5, y);
        context.line_to(x.round() + 0.5, plot.bottom);
        context.stroke()?;
        draw_sign(mark, true, (x, y), context)?;
        if mark.is_moved {
            moved_ring(context, palette, (x, y))?;
        }
    }
    Ok(())
}

fn draw_sign(mark: &StripMark, is_lit: bool, (x, y): (f64, f64), context: &Context) -> Result<(), Error> {
    sign(context, mark.kind, is_lit, x, y, SIGN_PX).map_err(|_| Error::InvalidStatus)
}

/// A mark that a person has put there has a ring.
fn moved_ring(context: &Context, palette: Palette, (x, y): (f64, f64)) -> Result<(), Error> {
    context.new_path();
    context.arc(x, y, SIGN_PX + 4.5, 0.0, std::f64::consts::TAU);
    palette.ink.set(context, 0.95);
    context.set_line_width(1.5);
    context.stroke()
}

/// The mark that is dragged or was just dropped, and the one under the pointer.
fn held_mark(context: &Context, palette: Palette, plot: &Plot<'_>, state: &State) -> Result<(), Error> {
    let held = match (state.hold, state.dropped) {
        (Some(Hold::Mark { index, along: Some(along) }), _) | (None, Some((index, along))) => Some((index, along)),
        _ => None,
    };
    if let Some((mark, along)) = held.and_then(|(index, along)| Some((plot.strip.marks.get(index)?, along))) {
        let place = plot.mark_at(along);
        palette.ink.set(context, 0.6);
        context.set_line_width(1.0);
        context.move_to(place.0.round() + 0.5, CORNERS_PX);
        context.line_to(place.0.round() + 0.5, plot.bottom);
        context.stroke()?;
        draw_sign(mark, true, place, context)?;
        return moved_ring(context, palette, place);
    }
    let Some(mark) = state.hovered_mark.and_then(|it| plot.strip.marks.get(it)) else { return Ok(()) };
    let (x, y) = plot.mark_at(mark.along);
    context.new_path();
    context.arc(x, y, SIGN_PX + 6.0, 0.0, std::f64::consts::TAU);
    palette.ink.set(context, 0.18);
    context.fill()?;
    draw_sign(mark, true, (x, y), context)
}

/// A dot for each tag on its place, and its name below where a lane is free.
fn tags(context: &Context, area: &gtk::DrawingArea, palette: Palette, plot: &Plot<'_>) -> Result<Vec<TagBox>, Error> {
    let is_shown = |along: f64| plot.shown.holds(along);
    let shown: Vec<usize> = (0..plot.strip.tags.len()).filter(|it| is_shown(plot.strip.tags[*it].along)).collect();
    let texts: Vec<Text> = shown
        .iter()
        .map(|it| Text::at_most(area, &present::one_line(&plot.strip.tags[*it].tag.name), TAG_NAME_PX))
        .collect();
    let left_of = |index: usize, text: &Text| {
        let (x, _) = plot.tag_dot_at(plot.strip.tags[index].along);
        (x - 0.5 * TAG_PAD_PX).clamp(0.0, (plot.width - text.width - TAG_PAD_PX).max(0.0))
    };
    let items: Vec<(f64, f64)> =
        shown.iter().zip(&texts).map(|(it, text)| (left_of(*it, text), text.width + TAG_PAD_PX)).collect();
    let top = plot.bottom + AXIS_PX + DOTS_PX;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few lanes; casts saturate")]
    let free = ((f64::from(area.height()) - top) / LANE_PX).max(0.0) as usize;
    let placed = lanes(&items, free.min(MOST_LANES), LANE_SPACE_PX);
    for (index, lane) in shown.iter().zip(&placed) {
        let (x, y) = plot.tag_dot_at(plot.strip.tags[*index].along);
        let Some(lane) = lane else { continue };
        palette.ink.set(context, 0.35);
        context.set_line_width(1.0);
        context.move_to(x.round() + 0.5, y);
        context.line_to(x.round() + 0.5, top + LANE_PX * *lane as f64 + 2.0);
        context.stroke()?;
    }
    let mut boxes = Vec::new();
    for (((index, text), (left, width)), lane) in shown.iter().zip(&texts).zip(&items).zip(placed) {
        let tag = &plot.strip.tags[*index];
        let colour = Ink::hex(tag.tag.colour);
        let (x, y) = plot.tag_dot_at(tag.along);
        if let Some(lane) = lane {
            let row = top + LANE_PX * lane as f64;
            rounded(context, *left, row, *width, LANE_PX - 3.0);
            colour.set(context, 1.0);
            context.fill_preserve()?;
            palette.ink.set(context, 0.45);
            context.set_line_width(1.0);
            context.stroke()?;
            colour.text_on().set(context, 1.0);
            text.draw(context, left + 0.5 * TAG_PAD_PX, row + 0.5 * (LANE_PX - 3.0 - text.height));
            boxes.push(TagBox { index: *index, x: *left, y: row, width: *width, height: LANE_PX - 3.0 });
        }
        context.new_path();
        context.arc(x, y, 4.0, 0.0, std::f64::consts::TAU);
        colour.set(context, 1.0);
        context.fill_preserve()?;
        palette.ink.set(context, 0.6);
        context.set_line_width(1.0);
        context.stroke()?;
    }
    Ok(boxes)
}

fn rounded(context: &Context, x: f64, y: f64, width: f64, height: f64) {
    use std::f64::consts::{FRAC_PI_2, PI};
    let radius = 4.0;
    context.new_path();
    context.arc(x + width - radius, y + radius, radius, -FRAC_PI_2, 0.0);
    context.arc(x + width - radius, y + height - radius, radius, 0.0, FRAC_PI_2);
    context.arc(x + radius, y + height - radius, radius, FRAC_PI_2, PI);
    context.arc(x + radius, y + radius, radius, PI, PI + FRAC_PI_2);
    context.close_path();
}

fn playhead(context: &Context, palette: Palette, plot: &Plot<'_>, state: &State) -> Result<(), Error> {
    let along = state.playhead_s.and_then(|it| plot.strip.trace.along_at(it));
    let Some(along) = along.filter(|it| plot.shown.holds(*it)) else { return Ok(()) };
    let x = plot.x(along).clamp(1.0, (plot.width - 1.0).max(1.0));
    palette.playhead().set(context, 1.0);
    context.set_line_width(2.0);
    context.move_to(x, 0.0);
    context.line_to(x, plot.bottom + 4.0);
    context.stroke()?;
    context.move_to(x - 6.0, 0.0);
    context.line_to(x + 6.0, 0.0);
    context.line_to(x, 8.0);
    context.close_path();
    context.fill()?;
    let Some(speed_mps) = plot.strip.trace.speed_at(along) else { return Ok(()) };
    context.arc(x, plot.y(speed_mps), 4.0, 0.0, std::f64::consts::TAU);
    palette.ground().set(context, 1.0);
    context.fill_preserve()?;
    palette.playhead().set(context, 1.0);
    context.stroke()
}
