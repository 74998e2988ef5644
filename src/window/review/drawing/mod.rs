//! Drawing on the frame: the row of tools, and strokes of the pen that become one change of the book each. The pen draws
//! in whichever picture it is put down.

mod bar;
mod shown;
mod strokes;

use gtk::gdk::Key;
use gtk::glib;
use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::book::{Circled, Drawing, FrameRef, Id, Op, ReferencePoint, Shape, Share};
use crate::window::picture::{PenEvent, Picture};
use crate::window::review::ReviewPage;
pub(super) use crate::window::review::drawing::bar::DrawingBar;
pub(super) use crate::window::review::drawing::shown::drawn_at;
use crate::window::review::drawing::shown::{Drawn, LINE_WIDTH, TEXT_SIZE, named_circle};
use crate::window::review::drawing::strokes::{Stroke, Tool, distance};
use crate::window::review::second::SecondPicture;
use crate::window::review::timeline::Position;

/// The eraser reaches this far, as a share of the picture's height.
const ERASER_REACH: f64 = 0.08;

/// Why nothing can be drawn.
pub(super) const NO_FRAME: &str = "there is no frame here to draw on; go where there is footage";

/// Which of the two pictures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Pane {
    First,
    Second,
}

/// What is being drawn and is not in the book yet.
#[derive(Debug, Clone)]
struct Draft {
    tool: Tool,
    stroke: Stroke,
    pane: Pane,
    on: FrameRef,
}

impl ReviewPage {
    pub(super) fn add_drawing_bar(&self) {
        let imp = self.imp();
        let bar = DrawingBar::new();
        imp.stage.insert_child_after(bar.root(), Some(&*imp.pictures));
        let page = self.downgrade();
        let with_page = move |act: fn(&Self)| {
            let page = page.clone();
            move || {
                if let Some(page) = page.upgrade() {
                    act(&page);
                }
            }
        };
        bar.connect_tool_chosen(with_page(Self::break_off));
        bar.connect_words_changed(with_page(Self::show_draft));
        bar.connect_kept(with_page(Self::keep_draft));
        imp.drawing_bar.set(bar).expect("the page is made once");
        let taken = with_page(Self::take_or_lay_down_pen);
        imp.draw_toggle.connect_toggled(move |_| taken());
        for pane in [Pane::First, Pane::Second] {
            let page = self.downgrade();
            self.pane(pane).connect_pen(move |event| {
                if let Some(page) = page.upgrade() {
                    page.follow_pen(pane, event);
                }
            });
        }
        self.add_drawing_keys();
    }

    fn add_drawing_keys(&self) {
        let keys = gtk::EventControllerKey::new();
        let page = self.downgrade();
        keys.connect_key_pressed(move |_, key, _, _| {
            let Some(page) = page.upgrade().filter(|it| it.imp().draw_toggle.is_active()) else {
                return glib::Propagation::Proceed;
            };
            match key {
                Key::Escape if page.bar().draft().is_some() => page.break_off(),
                Key::Escape => page.imp().draw_toggle.set_active(false),
                Key::Delete | Key::BackSpace => page.erase_newest(),
                _ => return glib::Propagation::Proceed,
            }
            glib::Propagation::Stop
        });
        self.add_controller(keys);
    }

    fn bar(&self) -> &DrawingBar {
        self.imp().drawing_bar.get().expect("made where the page is made")
    }

    fn pane(&self, pane: Pane) -> &Picture {
        match (pane, self.imp().second.get()) {
            (Pane::Second, Some(second)) => second.picture(),
            _ => &self.imp().picture,
        }
    }

    /// The picture that has the focus, else the first.
    fn focused_pane(&self) -> Pane {
        if self.pane(Pane::Second).has_focus() { Pane::Second } else { Pane::First }
    }

    /// What a picture shows of this book, and of which of its trackside footage; or why nothing can be drawn there.
    fn place_in(&self, pane: Pane) -> Result<(Position, Option<Id>), &'static str> {
        match pane {
            Pane::First => self.imp().review.borrow().as_ref().map(|it| (it.position, None)).ok_or(NO_FRAME),
            Pane::Second => self.imp().second.get().map_or(Err(NO_FRAME), SecondPicture::place),
        }
    }

    fn frame_in(&self, pane: Pane) -> Result<FrameRef, &'static str> {
        let (position, trackside) = self.place_in(pane)?;
        position.frame(trackside).ok_or(NO_FRAME)
    }

    pub(super) fn toggle_drawing(&self) {
        let toggle = &self.imp().draw_toggle;
        toggle.set_active(!toggle.is_active());
    }

    fn take_or_lay_down_pen(&self) {
        let imp = self.imp();
        let is_taken = imp.draw_toggle.is_active();
        self.break_off();
        self.bar().root().set_visible(is_taken);
        imp.picture.take_pen(is_taken);
        self.pane(Pane::Second).take_pen(is_taken);
        self.pane(self.focused_pane()).grab_focus();
    }

    fn follow_pen(&self, pane: Pane, event: PenEvent) {
        match event {
            PenEvent::Down(at) => self.begin_stroke(pane, at),
            PenEvent::Moved(to) => self.bar().change_draft(|it| it.stroke.go_on(to)),
            PenEvent::Up => return self.end_stroke(),
            PenEvent::Broken => return self.break_off(),
        }
        self.show_draft();
    }

    fn begin_stroke(&self, pane: Pane, at: Share) {
        self.break_off();
        self.pause();
        let tool = self.bar().tool();
        match self.frame_in(pane) {
            Ok(_) if tool == Tool::Eraser => self.erase_at(pane, at),
            Ok(on) => {
                let stroke = Stroke::new(at, self.pane(pane).aspect());
                self.bar().set_draft(Some(Draft { tool, stroke, pane, on }));
            }
            Err(why) => self.tell(why),
        }
    }

    /// The pen is up: the draft is kept, once it has its words.
    fn end_stroke(&self) {
        match self.bar().draft().map(|it| it.tool) {
            Some(Tool::Text) => self.bar().ask_for_words("Text"),
            Some(Tool::ReferencePoint) => self.bar().ask_for_words("Name of the reference point"),
            Some(_) => self.keep_draft(),
            None => {}
        }
    }

    /// Puts the draft into the book, as one change.
    fn keep_draft(&self) {
        let Some(draft) = self.bar().draft() else { return };
        let words = self.bar().words();
        let found = self.imp().review.borrow().as_ref().map(|it| (it.history.book().next_id, it.subject().corner));
        let Some((id, corner)) = found else { return };
        let op = match (draft.tool, corner) {
            (Tool::Text | Tool::ReferencePoint, _) if words.is_empty() => None,
            (Tool::ReferencePoint, None) => {
                self.tell("there is no corner here whose reference point this could be; go to one first");
                None
            }
            (Tool::ReferencePoint, Some(corner)) => {
                let circled = Some(Circled { on: draft.on, circle: draft.stroke.circle() });
                let id = self.waiting_point(corner, &words).unwrap_or(id);
                Some(Op::ReferencePoint(id, Some(ReferencePoint { corner, name: words, circled })))
            }
            _ => self.drawings_of(&draft, &words).into_iter().next().map(|it| Op::Drawing(id, Some(it))),
        };
        self.break_off();
        if let Some(op) = op {
            self.change(op);
        }
    }

    /// The corner's reference point of this name that is not circled yet.
    fn waiting_point(&self, corner: u32, name: &str) -> Option<Id> {
        let review = self.imp().review.borrow();
        let mut points = review.as_ref()?.history.book().reference_points_of(corner);
        points.find(|(_, it)| it.circled.is_none() && it.name == name).map(|it| it.0)
    }

    /// Gives up what is being drawn.
    fn break_off(&self) {
        let pane = self.bar().draft().map_or(Pane::First, |it| it.pane);
        self.bar().set_draft(None);
        if self.bar().forget_words() {
            self.pane(pane).grab_focus();
        }
        self.show_draft();
    }

    fn show_draft(&self) {
        let words = self.bar().words();
        // A place for words shows where they will be.
        let words = if words.is_empty() { "…".to_owned() } else { words };
        let draft = self.bar().draft();
        for pane in [Pane::First, Pane::Second] {
            let here = draft.as_ref().filter(|it| it.pane == pane);
            self.pane(pane).show_draft(here.map(|it| self.drawings_of(it, &words)).unwrap_or_default());
        }
    }

    /// What a draft looks like; nothing where it is a click that makes no shape.
    fn drawings_of(&self, draft: &Draft, words: &str) -> Vec<Drawing> {
        let shape = match draft.tool {
            Tool::ReferencePoint => {
                let circled = Circled { on: draft.on, circle: draft.stroke.circle() };
                return named_circle(&circled, words).into();
            }
            Tool::Text => Some(Shape::Text { at: draft.stroke.first(), size: TEXT_SIZE, text: words.to_owned() }),
            other => draft.stroke.shape(other),
        };
        let (colour, stays_s) = (self.bar().colour(), self.bar().stays_s());
        shape.map(|shape| Drawing { on: draft.on, stays_s, colour, width: LINE_WIDTH, shape }).into_iter().collect()
    }

    /// Shows the drawings of the first picture's frame; a draft of another frame is given up.
    pub(super) fn show_drawings(&self) {
        let drawings = match &*self.imp().review.borrow() {
            Some(review) => drawn_at(review.history.book(), review.position, None),
            None => return,
        };
        self.give_up_draft_of_another_frame();
        self.imp().picture.show_drawings(drawings.into_iter().map(|it| it.1).collect());
    }

    /// Gives up what is being drawn where its picture has moved on.
    pub(super) fn give_up_draft_of_another_frame(&self) {
        let Some(draft) = self.imp().drawing_bar.get().and_then(DrawingBar::draft) else { return };
        if self.frame_in(draft.pane) != Ok(draft.on) {
            self.break_off();
        }
    }

    /// Removes what is drawn nearest to a place.
    fn erase_at(&self, pane: Pane, at: Share) {
        let aspect = self.pane(pane).aspect();
        let nearest = self.drawn_in(pane).into_iter().rev().map(|(what, it)| (what, distance(at, &it.shape, aspect)));
        let nearest = nearest.filter(|it| it.1 <= ERASER_REACH).min_by(|a, b| a.1.total_cmp(&b.1));
        match nearest {
            Some((what, _)) => self.erase(what),
            None => self.tell("nothing is drawn there; click on a line of what is to go"),
        }
    }

    fn erase_newest(&self) {
        match self.drawn_in(self.focused_pane()).last() {
            Some((what, _)) => self.erase(*what),
            None => self.tell("nothing is drawn on this frame"),
        }
    }

    /// What of this book is drawn on the frame on show in a picture.
    fn drawn_in(&self, pane: Pane) -> Vec<(Drawn, Drawing)> {
        let review = self.imp().review.borrow();
        let (Some(review), Ok((position, trackside))) = (&*review, self.place_in(pane)) else { return Vec::new() };
        drawn_at(review.history.book(), position, trackside)
    }

    fn erase(&self, what: Drawn) {
        self.change(match what {
            Drawn::Drawing(id) => Op::Drawing(id, None),
            Drawn::ReferencePoint(id) => Op::ReferencePoint(id, None),
        });
    }
}
