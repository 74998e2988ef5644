//! The map as a widget. Takes a `MapPicture` and the playhead's log time; tells the log time of the place clicked.
//! Knows no application.

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use gtk::cairo::{Context, Error};
use gtk::gdk::Key;
use gtk::glib::Propagation;
use gtk::prelude::*;
use gtk4 as gtk;

use crate::geom::Point;
use crate::present;
use crate::strip::{Bounds, MapLine, MapPicture, MapView, nice_length};
use crate::units::SpeedUnit;
use crate::window::listeners::Listeners;
use crate::window::paint::{Layer, LayerKey, Palette, Text, connect_drawing, focus_ring};

/// Free border around the circuit, px: room for names and the legend.
const BORDER_PX: f64 = 36.0;
/// Widths of the lines of this lap and of the other, px.
const THIS_PX: f64 = 4.0;
const OTHER_PX: f64 = 2.0;
/// Width of the band that stands for a track without edges, m (common practice, no source).
const BAND_M: f64 = 8.0;
/// Colours along the scale: more could not be told apart.
const SHADES: usize = 32;
/// A corner's name is this far from the track, px.
const NAME_PX: f64 = 12.0;
const LEGEND_PX: f64 = 120.0;
/// Height that the legend may take, px.
const LEGEND_HIGH_PX: f64 = 76.0;
const INSET_PX: f64 = 10.0;

#[derive(Default)]
struct State {
    picture: MapPicture,
    unit: SpeedUnit,
    playhead_s: Option<f64>,
    zoomed: Option<u32>,
}

struct Parts {
    area: gtk::DrawingArea,
    state: RefCell<State>,
    layer: Layer,
    version: Cell<u64>,
    seek: Listeners<f64>,
}

/// See the module. To be kept for as long as its widget is shown; clones are the same widget.
#[derive(Clone)]
pub struct MapWidget(Rc<Parts>);

impl std::fmt::Debug for MapWidget {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("MapWidget").finish_non_exhaustive()
    }
}

impl Default for MapWidget {
    fn default() -> Self {
        Self::new()
    }
}

impl MapWidget {
    pub fn new() -> Self {
        let area = gtk::DrawingArea::builder()
            .accessible_role(gtk::AccessibleRole::Img)
            .focusable(true)
            .hexpand(true)
            .vexpand(true)
            .content_width(280)
            .content_height(240)
            .build();
        let parts = Rc::new(Parts {
            area,
            state: RefCell::default(),
            layer: Layer::default(),
            version: Cell::new(0),
            seek: Listeners::default(),
        });
        connect_drawing(&parts.area, &parts, draw);
        connect_click(&parts);
        connect_keys(&parts);
        let map = Self(parts);
        map.show(MapPicture::default(), SpeedUnit::default());
        map
    }

    pub fn widget(&self) -> &gtk::Widget {
        self.0.area.upcast_ref()
    }

    pub fn show(&self, picture: MapPicture, unit: SpeedUnit) {
        {
            let mut state = self.0.state.borrow_mut();
            state.zoomed = state.zoomed.filter(|it| picture.corner(*it).is_some());
            (state.picture, state.unit) = (picture, unit);
        }
        self.0.changed();
    }

    /// Log time in s.
    pub fn set_playhead(&self, t_s: Option<f64>) {
        self.0.state.borrow_mut().playhead_s = t_s;
        self.0.area.queue_draw();
    }

    /// Shows one corner, or the whole circuit.
    pub fn zoom_to_corner(&self, corner: Option<u32>) {
        self.0.zoom_to_corner(corner);
    }

    /// Told the log time in s at which this lap is nearest to the place clicked.
    pub fn connect_seek(&self, listener: impl Fn(f64) + 'static) {
        self.0.seek.add(listener);
    }
}

impl Parts {
    fn changed(&self) {
        self.version.set(self.version.get() + 1);
        self.area.update_property(&[
            gtk::accessible::Property::Label("Map of the circuit"),
            gtk::accessible::Property::Description(&description(&self.state.borrow())),
        ]);
        self.area.queue_draw();
    }

    fn zoom_to_corner(&self, corner: Option<u32>) {
        {
            let mut state = self.state.borrow_mut();
            state.zoomed = corner.filter(|it| state.picture.corner(*it).is_some());
        }
        self.changed();
    }

    /// `None` where there is nothing to see.
    fn view(&self) -> Option<MapView> {
        let state = self.state.borrow();
        let zoomed = state.zoomed.and_then(|it| state.picture.corner(it)).map(|it| it.bounds.grown(BAND_M));
        let bounds: Bounds = zoomed.or(state.picture.bounds)?;
        Some(MapView::fit(bounds, f64::from(self.area.width()), f64::from(self.area.height()), BORDER_PX))
    }

    /// The next corner, or the one before; from the whole circuit the first or the last.
    fn turn_to_corner(&self, is_forward: bool) {
        let next = {
            let state = self.state.borrow();
            let numbers: Vec<u32> = state.picture.corners.iter().map(|it| it.number).collect();
            let at = state.zoomed.and_then(|it| numbers.iter().position(|number| *number == it));
            let index = match (at, is_forward) {
                (None, true) => Some(0),
                (None, false) => numbers.len().checked_sub(1),
                (Some(at), true) => Some((at + 1) % numbers.len()),
                (Some(at), false) => Some((at + numbers.len() - 1) % numbers.len()),
            };
            index.and_then(|it| numbers.get(it).copied())
        };
        self.zoom_to_corner(next);
    }
}

fn name(line: &MapLine) -> String {
    line.lap.map_or_else(|| present::lap_name(None), |it| present::lap_of(line.session.as_deref(), it))
}

/// What the picture shows, for screen readers.
fn description(state: &State) -> String {
    let picture = &state.picture;
    if picture.bounds.is_none() {
        return "the log has no positions".to_owned();
    }
    let laps: Vec<String> = [&picture.this, &picture.other].into_iter().flatten().map(name).collect();
    let of = if laps.is_empty() { "no lap".to_owned() } else { laps.join(" and ") };
    let place = state.zoomed.and_then(|it| picture.corner(it)).map_or_else(
        || format!("the whole circuit with {} corners", picture.corners.len()),
        |it| present::one_line(&it.name),
    );
    let speeds = picture.speed_range_mps.map_or_else(String::new, |(low, high)| {
        let whole = |it| present::whole_speed(Some(it), state.unit);
        format!(", coloured by speed from {} to {}", whole(low), whole(high))
    });
    format!("{of} on {place}{speeds}")
}

fn connect_click(parts: &Rc<Parts>) {
    let click = gtk::GestureClick::new();
    let weak = Rc::downgrade(parts);
    click.connect_pressed(move |_, presses, x, y| {
        let Some(parts) = weak.upgrade() else { return };
        parts.area.grab_focus();
        let Some(point) = parts.view().map(|it| it.to_plane(x, y)) else { return };
        if presses == 2 {
            let corner = if parts.state.borrow().zoomed.is_none() { nearest_corner(&parts, point) } else { None };
            parts.zoom_to_corner(corner);
            return;
        }
        let t_s = parts.state.borrow().picture.nearest_t_s(point);
        if let Some(t_s) = t_s.filter(|_| presses == 1) {
            parts.state.borrow_mut().playhead_s = Some(t_s);
            parts.area.queue_draw();
            parts.seek.tell(t_s);
        }
    });
    parts.area.add_controller(click);
}

fn nearest_corner(parts: &Parts, point: Point) -> Option<u32> {
    let state = parts.state.borrow();
    let corners = state.picture.corners.iter();
    corners.min_by(|a, b| a.middle.distance_m(point).total_cmp(&b.middle.distance_m(point))).map(|it| it.number)
}

fn connect_keys(parts: &Rc<Parts>) {
    let keys = gtk::EventControllerKey::new();
    let weak = Rc::downgrade(parts);
    keys.connect_key_pressed(move |_, key, _, modifiers| {
        let Some(parts) = weak.upgrade().filter(|_| modifiers.is_empty()) else { return Propagation::Proceed };
        let is_zoomed = parts.state.borrow().zoomed.is_some();
        match key {
            Key::Page_Down | Key::KP_Page_Down => parts.turn_to_corner(true),
            Key::Page_Up | Key::KP_Page_Up => parts.turn_to_corner(false),
            Key::_0 | Key::KP_0 => parts.zoom_to_corner(None),
            Key::Escape if is_zoomed => parts.zoom_to_corner(None),
            _ => return Propagation::Proceed,
        }
        Propagation::Stop
    });
    parts.area.add_controller(keys);
}

fn draw(parts: &Parts, context: &Context) -> Result<(), Error> {
    let area = &parts.area;
    let (width, height) = (f64::from(area.width()), f64::from(area.height()));
    let palette = Palette::of(area);
    let Some(view) = parts.view() else {
        let text = Text::at_most(area, "The log has no positions: there is no map", width - 16.0);
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
    let state = parts.state.borrow();
    parts.layer.paint(context, key, |layer| {
        layer.set_line_join(gtk::cairo::LineJoin::Round);
        track(layer, palette, &view, &state.picture)?;
        if let Some(this) = &state.picture.this {
            line(layer, palette, &view, &state.picture, this, THIS_PX)?;
        }
        // The narrow line on top, or it would be hidden wherever the two laps took the same way.
        if let Some(other) = &state.picture.other {
            line(layer, palette, &view, &state.picture, other, OTHER_PX)?;
        }
        gate(layer, palette, &view, &state.picture)?;
        names(layer, area, palette, &view, &state.picture)?;
        legend(layer, area, palette, &state)?;
        scale_bar(layer, area, palette, &view)?;
        north(layer, area, palette, width)
    })?;
    if let Some((x, y)) = state.playhead_s.and_then(|it| state.picture.kart_at(it)).map(|it| view.to_px(it)) {
        kart(context, palette, x, y)?;
    }
    if area.has_focus() {
        focus_ring(context, palette, width, height)?;
    }
    Ok(())
}

fn way(context: &Context, view: &MapView, points: &[Point], is_closed: bool) {
    context.new_sub_path();
    for point in points {
        let (x, y) = view.to_px(*point);
        context.line_to(x, y);
    }
    if is_closed {
        context.close_path();
    }
}

/// The surface between the edges, else a band along the reference line, and the reference line in it.
fn track(context: &Context, palette: Palette, view: &MapView, picture: &MapPicture) -> Result<(), Error> {
    context.new_path();
    if picture.edges.is_empty() {
        way(context, view, &picture.reference, true);
        palette.ink.set(context, 0.10);
        context.set_line_width((BAND_M * view.px_per_m).max(8.0));
        context.stroke()?;
    } else {
        if picture.edges.len() == 2 && picture.edges.iter().all(|it| it.1) {
            picture.edges.iter().for_each(|it| way(context, view, &it.0, true));
            context.set_fill_rule(gtk::cairo::FillRule::EvenOdd);
            palette.ink.set(context, 0.08);
            context.fill()?;
        }
        picture.edges.iter().for_each(|it| way(context, view, &it.0, it.1));
        palette.ink.set(context, 0.55);
        context.set_line_width(1.0);
        context.stroke()?;
    }
    way(context, view, &picture.reference, true);
    palette.ink.set(context, 0.45);
    context.set_line_width(1.0);
    context.set_dash(&[2.0, 4.0], 0.0);
    context.stroke()?;
    context.set_dash(&[], 0.0);
    Ok(())
}

/// One lap, coloured by speed; open in gaps, and in plain ink where no speed is known.
fn line(
    context: &Context,
    palette: Palette,
    view: &MapView,
    picture: &MapPicture,
    line: &MapLine,
    width: f64,
) -> Result<(), Error> {
    // A rim keeps the pale end of the scale apart from the ground, and the two lines from each other.
    context.new_path();
    for point in &line.trace.points {
        let (x, y) = view.to_px(point.position);
        if point.is_after_gap { context.move_to(x, y) } else { context.line_to(x, y) }
    }
    palette.ink.set(context, 0.55);
    context.set_line_cap(gtk::cairo::LineCap::Butt);
    context.set_line_width(width + 1.6);
    context.stroke()?;
    context.set_line_cap(gtk::cairo::LineCap::Round);
    context.set_line_width(width);
    let mut drawn: Option<usize> = None;
    for pair in line.trace.points.windows(2) {
        if pair[1].is_after_gap {
            stroke_shade(context, palette, drawn.take())?;
            continue;
        }
        let shade = pair[1].speed_mps.and_then(|it| shade(it, picture.speed_range_mps));
        let shade = shade.unwrap_or(SHADES);
        if drawn != Some(shade) {
            stroke_shade(context, palette, drawn)?;
            let (x, y) = view.to_px(pair[0].position);
            context.move_to(x, y);
            drawn = Some(shade);
        }
        let (x, y) = view.to_px(pair[1].position);
        context.line_to(x, y);
    }
    stroke_shade(context, palette, drawn)
}

/// Strokes the piece of one colour drawn so far. `SHADES` stands for no speed.
fn stroke_shade(context: &Context, palette: Palette, shade: Option<usize>) -> Result<(), Error> {
    match shade {
        None => return Ok(()),
        Some(SHADES) => palette.ink.set(context, 1.0),
        Some(shade) => palette.speed(shade as f64 / (SHADES - 1) as f64).set(context, 1.0),
    }
    context.stroke()
}

/// Step of the colour scale, 0 to `SHADES` − 1.
fn shade(speed_mps: f64, range_mps: Option<(f64, f64)>) -> Option<usize> {
    let (low, high) = range_mps?;
    let share = if high > low { (speed_mps - low) / (high - low) } else { 0.5 };
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 1 times a small number")]
    let shade = (share.clamp(0.0, 1.0) * (SHADES - 1) as f64).round() as usize;
    Some(shade)
}

/// Two rows of squares across the track.
fn gate(context: &Context, palette: Palette, view: &MapView, picture: &MapPicture) -> Result<(), Error> {
    let Some([a, b]) = picture.gate.map(|it| it.map(|it| view.to_px(it))) else { return Ok(()) };
    context.new_path();
    context.set_line_cap(gtk::cairo::LineCap::Butt);
    for (colour, width) in [(palette.ground(), 6.0), (palette.ink, 3.0)] {
        colour.set(context, 1.0);
        context.set_line_width(width);
        context.move_to(a.0, a.1);
        context.line_to(b.0, b.1);
        context.stroke()?;
    }
    Ok(())
}

/// Beside the outside of each corner; where that would hide another name or the legend, beside the inside; else not at
/// all.
fn names(
    context: &Context,
    area: &gtk::DrawingArea,
    palette: Palette,
    view: &MapView,
    picture: &MapPicture,
) -> Result<(), Error> {
    let mut taken: Vec<[f64; 4]> = vec![
        [0.0, view.height_px - LEGEND_HIGH_PX, LEGEND_PX + 3.0 * INSET_PX, LEGEND_HIGH_PX],
        [view.width_px - LEGEND_PX, view.height_px - 0.5 * LEGEND_HIGH_PX, LEGEND_PX, 0.5 * LEGEND_HIGH_PX],
    ];
    for corner in &picture.corners {
        let text = Text::at_most(area, &present::one_line(&corner.name), 120.0);
        let away_px = NAME_PX + BAND_M * view.px_per_m;
        let (x, y) = view.to_px(corner.middle);
        let place = [1.0, -1.0].into_iter().map(|side| {
            let (dx, dy) = (corner.outside.x_m * side, -corner.outside.y_m * side);
            let centre = (x + dx * (away_px + 0.5 * text.width), y + dy * (away_px + 0.5 * text.height));
            [centre.0 - 0.5 * text.width, centre.1 - 0.5 * text.height, text.width, text.height]
        });
        let is_free = |it: &[f64; 4]| {
            let is_inside = it[0] >= 2.0 && it[0] + it[2] <= view.width_px - 2.0;
            is_inside && it[1] >= 2.0 && it[1] + it[3] <= view.height_px - 2.0 && !taken.iter().any(|o| overlap(o, it))
        };
        if let Some(free) = place.into_iter().find(is_free) {
            text.draw_rimmed(context, free[0], free[1], palette)?;
            taken.push(free);
        }
    }
    Ok(())
}

/// Two rectangles (left, top, width, height).
fn overlap(a: &[f64; 4], b: &[f64; 4]) -> bool {
    a[0] < b[0] + b[2] && b[0] < a[0] + a[2] && a[1] < b[1] + b[3] && b[1] < a[1] + a[3]
}

/// The scale of speeds in the reader's unit, and which line is which lap, at the bottom left.
fn legend(context: &Context, area: &gtk::DrawingArea, palette: Palette, state: &State) -> Result<(), Error> {
    let mut bottom = f64::from(area.height()) - INSET_PX;
    if let Some((low, high)) = state.picture.speed_range_mps {
        let figures = [present::fixed(state.unit.from_mps(low), 0), present::whole_speed(Some(high), state.unit)];
        let texts = figures.map(|it| Text::new(area, &it));
        let top = bottom - texts[0].height;
        texts[0].draw_rimmed(context, INSET_PX, top, palette)?;
        let right = INSET_PX + LEGEND_PX.max(texts[0].width + texts[1].width + 12.0);
        texts[1].draw_rimmed(context, right - texts[1].width, top, palette)?;
        let step = (right - INSET_PX) / SHADES as f64;
        for shade in 0..SHADES {
            palette.speed(shade as f64 / (SHADES - 1) as f64).set(context, 1.0);
            context.rectangle(INSET_PX + step * shade as f64, top - 9.0, step + 0.5, 8.0);
            context.fill()?;
        }
        bottom = top - 13.0;
    }
    let laps = [(&state.picture.other, OTHER_PX), (&state.picture.this, THIS_PX)];
    for (line, width) in laps.into_iter().filter_map(|(line, width)| Some((line.as_ref()?, width))) {
        let text = Text::new(area, &name(line));
        let top = bottom - text.height;
        palette.ink.set(context, 0.9);
        context.set_line_width(width);
        context.move_to(INSET_PX, top + 0.5 * text.height);
        context.line_to(INSET_PX + 22.0, top + 0.5 * text.height);
        context.stroke()?;
        text.draw_rimmed(context, INSET_PX + 28.0, top, palette)?;
        bottom = top - 2.0;
    }
    Ok(())
}

fn scale_bar(context: &Context, area: &gtk::DrawingArea, palette: Palette, view: &MapView) -> Result<(), Error> {
    let length_m = nice_length(view.px_per_m, 100.0);
    let text = Text::new(area, &present::whole_metres(length_m));
    let (right, bottom) = (view.width_px - INSET_PX, view.height_px - INSET_PX);
    let left = right - length_m * view.px_per_m;
    text.draw_rimmed(context, right - text.width, bottom - text.height, palette)?;
    let y = (bottom - text.height - 4.0).round() + 0.5;
    palette.ink.set(context, 0.9);
    context.set_line_width(1.5);
    context.move_to(left, y - 4.0);
    context.line_to(left, y);
    context.line_to(right, y);
    context.line_to(right, y - 4.0);
    context.stroke()
}

/// An arrow to the north at the top right.
fn north(context: &Context, area: &gtk::DrawingArea, palette: Palette, width: f64) -> Result<(), Error> {
    let text = Text::new(area, "N");
    let x = width - INSET_PX - 6.0;
    context.new_path();
    for (dx, y) in [(0.0, INSET_PX), (5.0, INSET_PX + 14.0), (0.0, INSET_PX + 10.0), (-5.0, INSET_PX + 14.0)] {
        context.line_to(x + dx, y);
    }
    context.close_path();
    palette.ink.set(context, 0.9);
    context.fill()?;
    text.draw_rimmed(context, x - 0.5 * text.width, INSET_PX + 16.0, palette)
}

fn kart(context: &Context, palette: Palette, x: f64, y: f64) -> Result<(), Error> {
    context.new_path();
    context.arc(x, y, 6.5, 0.0, std::f64::consts::TAU);
    palette.ground().set(context, 1.0);
    context.set_line_width(4.0);
    context.stroke_preserve()?;
    palette.playhead().set(context, 1.0);
    context.fill()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shades_run_from_the_slowest_to_the_fastest() {
        let range = Some((10.0, 20.0));
        assert_eq!([5.0, 10.0, 20.0, 25.0].map(|it| shade(it, range)), [Some(0), Some(0), Some(31), Some(31)]);
        assert_eq!(shade(10.0, Some((10.0, 10.0))), Some(16));
        assert_eq!(shade(10.0, None), None);
    }

    #[test]
    fn names_that_touch_only_at_an_edge_do_not_overlap() {
        assert!(!overlap(&[0.0, 0.0, 10.0, 10.0], &[10.0, 0.0, 5.0, 5.0]));
        assert!(overlap(&[0.0, 0.0, 10.0, 10.0], &[9.0, 9.0, 5.0, 5.0]));
    }
}
