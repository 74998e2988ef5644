//! Mouse and keys of the lap strip: scrub, zoom, choose and drag.

use std::rc::Rc;

use gtk::gdk::{Key, ModifierType};
use gtk::glib::Propagation;
use gtk::prelude::*;
use gtk4 as gtk;

use crate::present;
use crate::strip::nearest_within;
use crate::window::strip::{Hold, MarkMove, Parts, draw};

/// A pointer this near to a sign means it, px.
const REACH_PX: f64 = 11.0;
/// A press that moves less than this is a click, px.
const CLICK_PX: f64 = 4.0;
/// One step of the wheel, and of the keys.
const WHEEL_ZOOM: f64 = 0.8;

pub(super) fn connect(parts: &Rc<Parts>) {
    connect_drag(parts);
    connect_double_click(parts);
    connect_scroll(parts);
    connect_keys(parts);
    connect_hover(parts);
    let weak = Rc::downgrade(parts);
    parts.whole_lap.connect_clicked(move |_| {
        if let Some(parts) = weak.upgrade() {
            parts.zoom_to_corner(None);
            parts.area.grab_focus();
        }
    });
}

fn connect_drag(parts: &Rc<Parts>) {
    let drag = gtk::GestureDrag::new();
    let weak = Rc::downgrade(parts);
    drag.connect_drag_begin(move |_, x, y| {
        if let Some(parts) = weak.upgrade() {
            parts.area.grab_focus();
            press(&parts, x, y);
        }
    });
    let weak = Rc::downgrade(parts);
    drag.connect_drag_update(move |drag, dx, _| {
        if let (Some(parts), Some((x, _))) = (weak.upgrade(), drag.start_point()) {
            pull(&parts, x, dx);
        }
    });
    let weak = Rc::downgrade(parts);
    drag.connect_drag_end(move |_, _, _| {
        if let Some(parts) = weak.upgrade() {
            release(&parts);
        }
    });
    let weak = Rc::downgrade(parts);
    drag.connect_cancel(move |_, _| {
        if let Some(parts) = weak.upgrade() {
            cancel(&parts);
        }
    });
    parts.area.add_controller(drag);
}

fn press(parts: &Parts, x: f64, y: f64) {
    let hold = if let Some(index) = mark_under(parts, x, y) {
        Hold::Mark { index, along: None }
    } else if let Some(id) = tag_under(parts, x, y) {
        Hold::Tag { id }
    } else {
        Hold::Scrub
    };
    parts.state.borrow_mut().hold = Some(hold);
    if hold == Hold::Scrub {
        parts.seek_to(place_under(parts, x));
    }
}

fn pull(parts: &Parts, start_x: f64, dx: f64) {
    let hold = parts.state.borrow().hold;
    match hold {
        Some(Hold::Scrub) => parts.seek_to(place_under(parts, start_x + dx)),
        Some(Hold::Mark { index, along }) if along.is_some() || dx.abs() > CLICK_PX => {
            drag_mark(parts, index, place_under(parts, start_x + dx) - place_under(parts, start_x));
        }
        _ => {}
    }
}

/// Moves the held mark by `by` from its own place, so that it does not jump to the pointer.
fn drag_mark(parts: &Parts, index: usize, by: f64) {
    let moved = {
        let mut state = parts.state.borrow_mut();
        let Some(mark) = state.strip.marks.get(index).copied() else { return };
        let limits = state.strip.limits_of(index);
        let along = (mark.along + by).clamp(limits.from, limits.to);
        let is_first = matches!(state.hold, Some(Hold::Mark { along: None, .. }));
        state.hold = Some(Hold::Mark { index, along: Some(along) });
        let t_s = state.strip.trace.t_at(along);
        t_s.map(|t_s| (MarkMove { kind: mark.kind, corner: mark.corner, t_s }, is_first))
    };
    if let Some((moved, is_first)) = moved {
        if is_first {
            parts.changed();
        }
        parts.area.queue_draw();
        parts.mark_dragged.tell(moved);
    }
}

fn release(parts: &Parts) {
    let hold = parts.state.borrow_mut().hold.take();
    match hold {
        Some(Hold::Mark { index, along: Some(along) }) => {
            let moved = {
                let mut state = parts.state.borrow_mut();
                let mark = state.strip.marks.get(index).copied();
                let t_s = state.strip.trace.t_at(along);
                state.dropped = Some((index, along));
                mark.zip(t_s).map(|(mark, t_s)| MarkMove { kind: mark.kind, corner: mark.corner, t_s })
            };
            parts.changed();
            if let Some(moved) = moved {
                parts.mark_moved.tell(moved);
            }
        }
        Some(Hold::Mark { index, along: None }) => {
            let mark = parts.state.borrow().strip.marks.get(index).copied();
            if let Some(mark) = mark {
                parts.mark_chosen.tell((mark.corner, mark.kind));
            }
        }
        Some(Hold::Tag { id }) => parts.tag_chosen.tell(id),
        Some(Hold::Scrub) | None => {}
    }
}

/// Whether there was a mark in the hand.
fn cancel(parts: &Parts) -> bool {
    let held_mark = matches!(parts.state.borrow().hold, Some(Hold::Mark { along: Some(_), .. }));
    if held_mark {
        parts.state.borrow_mut().hold = None;
        parts.changed();
        parts.drag_cancelled.tell(());
    }
    held_mark
}

fn connect_double_click(parts: &Rc<Parts>) {
    let click = gtk::GestureClick::new();
    let weak = Rc::downgrade(parts);
    click.connect_pressed(move |_, presses, x, _| {
        let Some(parts) = weak.upgrade().filter(|_| presses == 2) else { return };
        let (is_zoomed, corner) = {
            let state = parts.state.borrow();
            let corner = state.strip.corner_at(place_under(&parts, x)).map(|it| it.number);
            (state.shown != state.strip.whole, corner)
        };
        parts.zoom_to_corner(corner.filter(|_| !is_zoomed));
    });
    parts.area.add_controller(click);
}

fn connect_scroll(parts: &Rc<Parts>) {
    let scroll = gtk::EventControllerScroll::new(gtk::EventControllerScrollFlags::BOTH_AXES);
    let pointer_x = Rc::new(std::cell::Cell::new(0.0));
    let motion = gtk::EventControllerMotion::new();
    let last_x = pointer_x.clone();
    motion.connect_motion(move |_, x, _| last_x.set(x));
    parts.area.add_controller(motion);
    let weak = Rc::downgrade(parts);
    scroll.connect_scroll(move |scroll, dx, dy| {
        let Some(parts) = weak.upgrade() else { return Propagation::Proceed };
        let is_shifted = scroll.current_event_state().contains(ModifierType::SHIFT_MASK);
        if is_shifted || dx.abs() > dy.abs() {
            pan(&parts, 0.1 * if is_shifted { dx + dy } else { dx });
        } else {
            zoom(&parts, WHEEL_ZOOM.powf(-dy), place_under(&parts, pointer_x.get()));
        }
        Propagation::Stop
    });
    parts.area.add_controller(scroll);
}

fn pan(parts: &Parts, share: f64) {
    {
        let mut state = parts.state.borrow_mut();
        state.shown = state.shown.moved(share * state.shown.length(), state.strip.whole);
    }
    parts.changed();
}

fn zoom(parts: &Parts, factor: f64, about: f64) {
    {
        let mut state = parts.state.borrow_mut();
        state.shown = state.shown.zoomed(factor, about, state.strip.whole);
    }
    parts.changed();
}

fn connect_keys(parts: &Rc<Parts>) {
    let keys = gtk::EventControllerKey::new();
    let weak = Rc::downgrade(parts);
    keys.connect_key_pressed(move |_, key, _, modifiers| {
        let others = ModifierType::CONTROL_MASK | ModifierType::ALT_MASK | ModifierType::SUPER_MASK;
        let Some(parts) = weak.upgrade().filter(|_| !modifiers.intersects(others)) else {
            return Propagation::Proceed;
        };
        if key_pressed(&parts, key) { Propagation::Stop } else { Propagation::Proceed }
    });
    parts.area.add_controller(keys);
}

/// Whether the key means something here. Those that step and jump mean the same as everywhere, and pass.
fn key_pressed(parts: &Parts, key: Key) -> bool {
    let (along, whole, corner) = {
        let state = parts.state.borrow();
        let along = state.playhead_s.and_then(|it| state.strip.trace.along_at(it)).unwrap_or(state.strip.whole.from);
        (along, state.strip.whole, state.strip.corner_at(along).map(|it| it.number))
    };
    match key {
        Key::Home | Key::KP_Home => parts.seek_to(whole.from),
        Key::End | Key::KP_End => parts.seek_to(whole.to),
        Key::plus | Key::KP_Add | Key::equal => zoom(parts, WHEEL_ZOOM, along),
        Key::minus | Key::KP_Subtract => zoom(parts, 1.0 / WHEEL_ZOOM, along),
        Key::Return | Key::KP_Enter if corner.is_some() => parts.zoom_to_corner(corner),
        Key::_0 | Key::KP_0 => parts.zoom_to_corner(None),
        Key::Escape => return escape(parts),
        _ => return false,
    }
    true
}

fn escape(parts: &Parts) -> bool {
    if cancel(parts) {
        return true;
    }
    let is_zoomed = {
        let state = parts.state.borrow();
        state.shown != state.strip.whole
    };
    if is_zoomed {
        parts.zoom_to_corner(None);
    }
    is_zoomed
}

fn connect_hover(parts: &Rc<Parts>) {
    let motion = gtk::EventControllerMotion::new();
    let weak = Rc::downgrade(parts);
    motion.connect_motion(move |_, x, y| {
        if let Some(parts) = weak.upgrade() {
            let mark = mark_under(&parts, x, y);
            hover(&parts, mark, mark.is_none() && tag_under(&parts, x, y).is_some());
        }
    });
    let weak = Rc::downgrade(parts);
    motion.connect_leave(move |_| {
        if let Some(parts) = weak.upgrade() {
            hover(&parts, None, false);
        }
    });
    parts.area.add_controller(motion);
    let weak = Rc::downgrade(parts);
    parts.area.connect_query_tooltip(move |_, x, y, _, tooltip| {
        let words = weak.upgrade().and_then(|parts| words_under(&parts, f64::from(x), f64::from(y)));
        tooltip.set_text(words.as_deref());
        words.is_some()
    });
}

fn hover(parts: &Parts, mark: Option<usize>, is_on_tag: bool) {
    let cursor = match (mark, is_on_tag) {
        (Some(_), _) => Some("ew-resize"),
        (None, true) => Some("pointer"),
        (None, false) => None,
    };
    parts.area.set_cursor_from_name(cursor);
    let mut state = parts.state.borrow_mut();
    if state.hovered_mark != mark {
        state.hovered_mark = mark;
        parts.area.queue_draw();
    }
}

/// A mark or tag in words.
fn words_under(parts: &Parts, x: f64, y: f64) -> Option<String> {
    if let Some(index) = mark_under(parts, x, y) {
        let state = parts.state.borrow();
        let mark = state.strip.marks.get(index)?;
        let moved = if mark.is_moved { ", moved by hand" } else { "" };
        return Some(format!("{}: {}{moved}", present::mark(mark.kind), state.strip.words_at(mark.t_s, state.unit)));
    }
    let id = tag_under(parts, x, y)?;
    let state = parts.state.borrow();
    let tag = state.strip.tags.iter().find(|it| it.tag.id == id)?;
    Some(format!("{}: {}", present::one_line(&tag.tag.name), state.strip.words_at(tag.tag.t_s, state.unit)))
}

fn place_under(parts: &Parts, x: f64) -> f64 {
    parts.state.borrow().shown.along_of(x, f64::from(parts.area.width()))
}

fn mark_under(parts: &Parts, x: f64, y: f64) -> Option<usize> {
    let state = parts.state.borrow();
    let plot = draw::Plot::of(&parts.area, &state);
    nearest_within(x, y, state.strip.marks.iter().map(|it| plot.mark_at(it.along)), REACH_PX)
}

fn tag_under(parts: &Parts, x: f64, y: f64) -> Option<u64> {
    let state = parts.state.borrow();
    let is_in = |it: f64, from: f64, length: f64| (from..=from + length).contains(&it);
    let named = state.tag_boxes.iter().find(|it| is_in(x, it.x, it.width) && is_in(y, it.y, it.height));
    let index = named.map(|it| it.index).or_else(|| {
        let plot = draw::Plot::of(&parts.area, &state);
        nearest_within(x, y, state.strip.tags.iter().map(|it| plot.tag_dot_at(it.along)), REACH_PX)
    })?;
    state.strip.tags.get(index).map(|it| it.tag.id)
}
