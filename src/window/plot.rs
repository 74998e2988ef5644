//! Speed through one corner for several laps, as a widget. Takes a `CornerPlot` and the playhead's log time; tells the
//! distance under the pointer. Below the speeds lies what the second lap gains or loses on the first.

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use gtk::cairo::{Context, Error};
use gtk::prelude::*;
use gtk4 as gtk;

use crate::draw::sign;
use crate::present::{self, UNKNOWN};
use crate::strip::{AxisKind, CornerPlot, PlotLine, Stretch, ticks};
use crate::units::SpeedUnit;
use crate::window::listeners::Listeners;
use crate::window::paint::{Layer, LayerKey, Palette, Text, connect_drawing, focus_ring};

/// Heights, px.
const LEGEND_PX: f64 = 22.0;
const AXIS_PX: f64 = 18.0;
const DIFFERENCE_PX: f64 = 54.0;
/// A plot lower than this has no room for the difference, px.
const LOW_PX: f64 = 170.0;
const SIGN_PX: f64 = 5.5;
const TICK_PX: f64 = 70.0;
/// A difference smaller than this fills its strip to the edge no further, s.
const LEAST_DIFFERENCE_S: f64 = 0.1;

#[derive(Default)]
struct State {
    plot: CornerPlot,
    unit: SpeedUnit,
    playhead_s: Option<f64>,
    hovered: Option<f64>,
}

struct Parts {
    area: gtk::DrawingArea,
    state: RefCell<State>,
    layer: Layer,
    version: Cell<u64>,
    hover: Listeners<Option<f64>>,
    seek: Listeners<f64>,
}

/// See the module. To be kept for as long as its widget is shown; clones are the same widget.
#[derive(Clone)]
pub struct CornerPlotView(Rc<Parts>);

impl std::fmt::Debug for CornerPlotView {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("CornerPlotView").finish_non_exhaustive()
    }
}

impl Default for CornerPlotView {
    fn default() -> Self {
        Self::new()
    }
}

impl CornerPlotView {
    pub fn new() -> Self {
        let area = gtk::DrawingArea::builder()
            .accessible_role(gtk::AccessibleRole::Img)
            .focusable(true)
            .hexpand(true)
            .vexpand(true)
            .content_width(320)
            .content_height(220)
            .build();
        let parts = Rc::new(Parts {
            area,
            state: RefCell::default(),
            layer: Layer::default(),
            version: Cell::new(0),
            hover: Listeners::default(),
            seek: Listeners::default(),
        });
        connect(&parts);
        let view = Self(parts);
        view.show(CornerPlot::default(), SpeedUnit::default());
        view
    }

    pub fn widget(&self) -> &gtk::Widget {
        self.0.area.upcast_ref()
    }

    pub fn show(&self, plot: CornerPlot, unit: SpeedUnit) {
        {
            let mut state = self.0.state.borrow_mut();
            (state.plot, state.unit, state.hovered) = (plot, unit, None);
        }
        self.0.version.set(self.0.version.get() + 1);
        self.0.area.update_property(&[
            gtk::accessible::Property::Label("Speed through the corner"),
            gtk::accessible::Property::Description(&description(&self.0.state.borrow())),
        ]);
        self.0.area.queue_draw();
    }

    /// Log time in s, on the first lap of the plot.
    pub fn set_playhead(&self, t_s: Option<f64>) {
        self.0.state.borrow_mut().playhead_s = t_s;
        self.0.area.queue_draw();
    }

    /// Told the distance under the pointer in m from the start/finish gate (in s from the first mark where the log has
    /// no positions); `None` when the pointer leaves.
    pub fn connect_hover(&self, listener: impl Fn(Option<f64>) + 'static) {
        self.0.hover.add(listener);
    }

    /// Told the log time in s, on the first lap of the plot, of the place clicked.
    pub fn connect_seek(&self, listener: impl Fn(f64) + 'static) {
        self.0.seek.add(listener);
    }
}

/// Laps and what one gains on the other, for screen readers and as the legend's last word.
fn description(state: &State) -> String {
    let laps: Vec<String> = state.plot.lines.iter().map(name).collect();
    if laps.is_empty() {
        return "no pass to show".to_owned();
    }
    let gain = gain(&state.plot).map_or_else(String::new, |it| format!("; {it}"));
    format!("{} through {}{gain}", laps.join(", "), present::one_line(&state.plot.corner_name))
}

fn name(line: &PlotLine) -> String {
    present::lap_of(line.session.as_deref(), line.lap)
}

/// What the corner itself gains, from gate to gate. Another session's corner has gates of its own: then nothing.
fn gain(plot: &CornerPlot) -> Option<String> {
    let [this, other, ..] = plot.lines.as_slice() else { return None };
    let timed = |it: &PlotLine| Some((it.lap, it.time_s.filter(|_| it.session.is_none())?));
    Some(present::quicker(timed(this)?, timed(other)?))
}

fn connect(parts: &Rc<Parts>) {
    connect_drawing(&parts.area, parts, draw);
    let motion = gtk::EventControllerMotion::new();
    let weak = Rc::downgrade(parts);
    motion.connect_motion(move |_, x, _| {
        if let Some(parts) = weak.upgrade() {
            let along = Frame::of(&parts.area, &parts.state.borrow()).map(|it| it.along(x));
            hover(&parts, along);
        }
    });
    let weak = Rc::downgrade(parts);
    motion.connect_leave(move |_| {
        if let Some(parts) = weak.upgrade() {
            hover(&parts, None);
        }
    });
    parts.area.add_controller(motion);
    let click = gtk::GestureClick::new();
    let weak = Rc::downgrade(parts);
    click.connect_pressed(move |_, _, x, _| {
        let Some(parts) = weak.upgrade() else { return };
        parts.area.grab_focus();
        let t_s = {
            let state = parts.state.borrow();
            let along = Frame::of(&parts.area, &state).map(|it| it.along(x));
            along.zip(state.plot.lines.first()).and_then(|(along, this)| this.trace.t_at(along))
        };
        if let Some(t_s) = t_s {
            parts.seek.tell(t_s);
        }
    });
    parts.area.add_controller(click);
}

fn hover(parts: &Parts, along: Option<f64>) {
    let from_start_m = {
        let mut state = parts.state.borrow_mut();
        state.hovered = along;
        state.plot.from_start_m
    };
    parts.area.queue_draw();
    parts.hover.tell(along.map(|it| it + from_start_m));
}

/// From places, speeds and seconds to pixels.
#[derive(Debug, Clone, Copy)]
struct Frame {
    whole: Stretch,
    width: f64,
    top: f64,
    bottom: f64,
    /// Speeds at bottom and top, m/s.
    speeds: (f64, f64),
    /// Top of the strip of differences, where there is one.
    difference_top: Option<f64>,
}

impl Frame {
    /// `None` where there is nothing to draw.
    fn of(area: &gtk::DrawingArea, state: &State) -> Option<Self> {
        let (low, high) = state.plot.speed_range_mps()?;
        let margin = (0.08 * (high - low)).max(0.5);
        let (width, height) = (f64::from(area.width()), f64::from(area.height()));
        let has_difference = !state.plot.difference.is_empty() && height >= LOW_PX;
        let below = AXIS_PX + if has_difference { DIFFERENCE_PX } else { 0.0 };
        Some(Self {
            whole: state.plot.whole,
            width,
            top: LEGEND_PX,
            bottom: (height - below).max(LEGEND_PX + 10.0),
            speeds: ((low - margin).max(0.0), high + margin),
            difference_top: has_difference.then_some(height - DIFFERENCE_PX),
        })
    }

    fn x(&self, along: f64) -> f64 {
        self.whole.px_of(along, self.width)
    }

    fn along(&self, x: f64) -> f64 {
        self.whole.along_of(x.clamp(0.0, self.width), self.width)
    }

    fn y(&self, speed_mps: f64) -> f64 {
        let (low, high) = self.speeds;
        self.bottom - (speed_mps - low) / (high - low) * (self.bottom - self.top)
    }
}

fn draw(parts: &Parts, context: &Context) -> Result<(), Error> {
    let area = &parts.area;
    let (width, height) = (f64::from(area.width()), f64::from(area.height()));
    let palette = Palette::of(area);
    let state = parts.state.borrow();
    let Some(frame) = Frame::of(area, &state) else {
        let words = if state.plot.lines.is_empty() { "No pass to show" } else { "The log has no speed here" };
        let text = Text::at_most(area, words, width - 16.0);
        palette.ink.set(context, 0.7);
        text.draw(context, 0.5 * (width - text.width), 0.5 * (height - text.height));
        return Ok(());
    };
    let key = LayerKey {
        width: area.width(),
        height: area.height(),
        scale: area.scale_factor(),
        palette,
        version: parts.version.get(),
    };
    parts.layer.paint(context, key, |layer| {
        layer.set_line_join(gtk::cairo::LineJoin::Round);
        corner(layer, palette, &frame, &state.plot)?;
        let speeds = speed_ticks(&frame, state.unit);
        speeds.iter().try_for_each(|it| level(layer, palette, &frame, it.1))?;
        for (index, line) in state.plot.lines.iter().enumerate().rev() {
            band(layer, palette, &frame, line, index)?;
        }
        for (index, line) in state.plot.lines.iter().enumerate().rev() {
            curve(layer, palette, &frame, line, index)?;
        }
        speeds.iter().try_for_each(|(value, y)| {
            let text = Text::new(area, &format!("{} {}", present::fixed(*value, 0), state.unit));
            // On top of the curves, which would strike it through.
            if y - text.height > frame.top { text.draw_rimmed(layer, 4.0, y - text.height, palette) } else { Ok(()) }
        })?;
        axis(layer, area, palette, &frame, &state.plot)?;
        difference(layer, area, palette, &frame, &state)
    })?;
    legend(context, area, palette, &state)?;
    cursors(context, palette, &frame, &state)?;
    if area.has_focus() {
        focus_ring(context, palette, width, height)?;
    }
    Ok(())
}

/// From entry gate to exit gate.
fn corner(context: &Context, palette: Palette, frame: &Frame, plot: &CornerPlot) -> Result<(), Error> {
    let Some(exit_gate) = plot.exit_gate else { return Ok(()) };
    let (left, right) = (frame.x(0.0), frame.x(exit_gate));
    palette.ink.set(context, 0.06);
    context.rectangle(left, frame.top, right - left, frame.bottom - frame.top);
    context.fill()
}

/// Round speeds in the reader's unit, and where they lie, px.
fn speed_ticks(frame: &Frame, unit: SpeedUnit) -> Vec<(f64, f64)> {
    let in_unit = Stretch { from: unit.from_mps(frame.speeds.0), to: unit.from_mps(frame.speeds.1) };
    ticks(in_unit, 5).into_iter().map(|it| (it, frame.y(it * unit.in_mps()).round() + 0.5)).collect()
}

/// A line of equal speed.
fn level(context: &Context, palette: Palette, frame: &Frame, y: f64) -> Result<(), Error> {
    palette.ink.set(context, 0.12);
    context.set_line_width(1.0);
    context.move_to(0.0, y);
    context.line_to(frame.width, y);
    context.stroke()
}

/// The 95 % interval of the speed.
fn band(context: &Context, palette: Palette, frame: &Frame, line: &PlotLine, index: usize) -> Result<(), Error> {
    let points = &line.trace.points;
    let starts = std::iter::once(0).chain((1..points.len()).filter(|it| points[*it].is_after_gap));
    let starts: Vec<usize> = starts.chain([points.len()]).collect();
    for run in starts.windows(2).map(|it| &points[it[0]..it[1]]) {
        let known: Vec<(f64, f64, f64)> =
            run.iter().filter_map(|it| Some((frame.x(it.along), it.speed_mps?, it.speed_ci95))).collect();
        context.new_path();
        known.iter().for_each(|(x, speed, ci95)| context.line_to(*x, frame.y(speed + ci95)));
        known.iter().rev().for_each(|(x, speed, ci95)| context.line_to(*x, frame.y(speed - ci95)));
        context.close_path();
        palette.lap(index).set(context, 0.22);
        context.fill()?;
    }
    Ok(())
}

/// The speed, this lap solid and the others dashed, with the marks on it.
fn curve(context: &Context, palette: Palette, frame: &Frame, line: &PlotLine, index: usize) -> Result<(), Error> {
    context.new_path();
    for point in &line.trace.points {
        let (x, Some(speed_mps)) = (frame.x(point.along), point.speed_mps) else { continue };
        if point.is_after_gap {
            context.move_to(x, frame.y(speed_mps));
        } else {
            context.line_to(x, frame.y(speed_mps));
        }
    }
    stroke_style(context, index);
    palette.lap(index).set(context, 1.0);
    context.stroke()?;
    context.set_dash(&[], 0.0);
    for mark in &line.marks {
        let Some(speed_mps) = line.trace.speed_at(mark.along) else { continue };
        let (x, y) = (frame.x(mark.along), frame.y(speed_mps));
        sign(context, mark.kind, true, x, y, if index == 0 { SIGN_PX } else { 0.75 * SIGN_PX })
            .map_err(|_| Error::InvalidStatus)?;
        if mark.is_moved {
            context.new_path();
            context.arc(x, y, SIGN_PX + 4.0, 0.0, std::f64::consts::TAU);
            palette.ink.set(context, 0.95);
            context.set_line_width(1.5);
            context.stroke()?;
        }
    }
    Ok(())
}

fn stroke_style(context: &Context, index: usize) {
    context.set_line_width(if index == 0 { 2.5 } else { 1.8 });
    match index {
        0 => context.set_dash(&[], 0.0),
        1 => context.set_dash(&[7.0, 3.0], 0.0),
        _ => context.set_dash(&[2.0, 3.0], 0.0),
    }
}

/// Distances count from start/finish, as everywhere else.
fn axis(
    context: &Context,
    area: &gtk::DrawingArea,
    palette: Palette,
    frame: &Frame,
    plot: &CornerPlot,
) -> Result<(), Error> {
    let y = frame.bottom.round() + 0.5;
    palette.ink.set(context, 0.5);
    context.set_line_width(1.0);
    context.move_to(0.0, y);
    context.line_to(frame.width, y);
    context.stroke()?;
    let words = if plot.axis == AxisKind::Distance { "m from start/finish" } else { "s from the first mark" };
    let caption = Text::new(area, words);
    let caption_left = frame.width - caption.width - 4.0;
    palette.ink.set(context, 0.75);
    caption.draw(context, caption_left, y + 2.0);
    let shown = Stretch { from: plot.whole.from + plot.from_start_m, to: plot.whole.to + plot.from_start_m };
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a widget's width, not negative")]
    let most = (frame.width / TICK_PX).max(1.0) as usize;
    for value in ticks(shown, most) {
        let x = frame.x(value - plot.from_start_m);
        let text = Text::new(area, &present::fixed(value, usize::from(shown.length() < 10.0)));
        let left = (x - 0.5 * text.width).max(2.0);
        palette.ink.set(context, 0.75);
        if left + text.width + 8.0 < caption_left {
            text.draw(context, left, y + 2.0);
        }
        context.move_to(x.round() + 0.5, y);
        context.line_to(x.round() + 0.5, y + 3.0);
        context.stroke()?;
    }
    Ok(())
}

/// Above the middle where the second lap is behind the first, below where it is ahead.
fn difference(
    context: &Context,
    area: &gtk::DrawingArea,
    palette: Palette,
    frame: &Frame,
    state: &State,
) -> Result<(), Error> {
    let (Some(top), [this, other, ..]) = (frame.difference_top, state.plot.lines.as_slice()) else { return Ok(()) };
    let largest_s = state.plot.difference.iter().fold(LEAST_DIFFERENCE_S, |largest, it| largest.max(it.1.abs()));
    let middle = top + 0.5 * DIFFERENCE_PX;
    let y = |behind_s: f64| middle - behind_s / largest_s * 0.42 * DIFFERENCE_PX;
    context.new_path();
    context.move_to(frame.x(state.plot.difference[0].0), middle);
    state.plot.difference.iter().for_each(|it| context.line_to(frame.x(it.0), y(it.1)));
    let last = state.plot.difference.last().map_or(0.0, |it| frame.x(it.0));
    context.line_to(last, middle);
    context.close_path();
    palette.lap(1).set(context, 0.35);
    context.fill()?;
    context.new_path();
    state.plot.difference.iter().for_each(|it| context.line_to(frame.x(it.0), y(it.1)));
    palette.lap(1).set(context, 1.0);
    context.set_line_width(1.8);
    context.stroke()?;
    palette.ink.set(context, 0.4);
    context.set_line_width(1.0);
    context.move_to(0.0, middle.round() + 0.5);
    context.line_to(frame.width, middle.round() + 0.5);
    context.stroke()?;
    let words = [
        (format!("{} s", present::signed(largest_s, 2)), top, 4.0),
        (format!("{} s", present::signed(-largest_s, 2)), top + DIFFERENCE_PX, 4.0),
    ];
    for (index, (words, edge, left)) in words.into_iter().enumerate() {
        let text = Text::new(area, &words);
        text.draw_rimmed(context, left, if index == 0 { edge } else { edge - text.height }, palette)?;
    }
    let other = other.session.as_deref().map_or_else(|| format!("lap {}", other.lap), present::one_line);
    let names = [format!("{other} behind lap {}", this.lap), format!("{other} ahead")];
    for (index, words) in names.into_iter().enumerate() {
        let text = Text::new(area, &words);
        let row = if index == 0 { top } else { top + DIFFERENCE_PX - text.height };
        text.draw_rimmed(context, frame.width - text.width - 4.0, row, palette)?;
    }
    Ok(())
}

/// Each lap with its stroke and its speed under the pointer, else what the corner gains.
fn legend(context: &Context, area: &gtk::DrawingArea, palette: Palette, state: &State) -> Result<(), Error> {
    let width = f64::from(area.width());
    let mut x = 6.0;
    for (index, line) in state.plot.lines.iter().enumerate() {
        let speed = state.hovered.map(|it| present::whole_speed(line.trace.speed_at(it), state.unit));
        let words = [Some(name(line)), speed].into_iter().flatten().collect::<Vec<_>>();
        let text = Text::new(area, &words.join("  "));
        if x + 26.0 + text.width > width {
            let more = Text::new(area, "…");
            palette.ink.set(context, 1.0);
            more.draw(context, (width - more.width - 2.0).min(x), 2.0);
            return Ok(());
        }
        stroke_style(context, index);
        palette.lap(index).set(context, 1.0);
        context.move_to(x, 0.5 * LEGEND_PX);
        context.line_to(x + 20.0, 0.5 * LEGEND_PX);
        context.stroke()?;
        context.set_dash(&[], 0.0);
        palette.ink.set(context, 1.0);
        text.draw(context, x + 26.0, 0.5 * (LEGEND_PX - text.height));
        x += 26.0 + text.width + 16.0;
    }
    let last = match state.hovered {
        Some(along) if state.plot.axis == AxisKind::Distance => {
            Some(present::whole_metres(along + state.plot.from_start_m))
        }
        Some(_) => None,
        None => gain(&state.plot).map(|it| format!("{}: {it}", present::one_line(&state.plot.corner_name))),
    };
    let text = Text::new(area, last.as_deref().unwrap_or(UNKNOWN));
    if last.is_some() && x + text.width + 6.0 < width {
        palette.ink.set(context, 0.8);
        text.draw(context, width - text.width - 6.0, 0.5 * (LEGEND_PX - text.height));
    }
    Ok(())
}

/// The playhead on the first lap, and the pointer.
fn cursors(context: &Context, palette: Palette, frame: &Frame, state: &State) -> Result<(), Error> {
    let bottom = frame.difference_top.map_or(frame.bottom, |it| it + DIFFERENCE_PX);
    if let Some(along) = state.hovered {
        palette.ink.set(context, 0.5);
        context.set_line_width(1.0);
        context.move_to(frame.x(along).round() + 0.5, frame.top);
        context.line_to(frame.x(along).round() + 0.5, bottom);
        context.stroke()?;
    }
    let this = state.plot.lines.first();
    let Some((along, speed)) = state.playhead_s.zip(this).and_then(|(t_s, this)| {
        let along = this.trace.along_at(t_s)?;
        Some((along, this.trace.speed_at(along)))
    }) else {
        return Ok(());
    };
    palette.playhead().set(context, 1.0);
    context.set_line_width(2.0);
    context.move_to(frame.x(along), frame.top);
    context.line_to(frame.x(along), bottom);
    context.stroke()?;
    let Some(speed_mps) = speed else { return Ok(()) };
    context.new_path();
    context.arc(frame.x(along), frame.y(speed_mps), 4.0, 0.0, std::f64::consts::TAU);
    palette.ground().set(context, 1.0);
    context.fill_preserve()?;
    palette.playhead().set(context, 1.0);
    context.stroke()
}
