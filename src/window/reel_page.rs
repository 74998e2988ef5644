//! The page of the reel: which passes are shown in which order, with their beginnings, ends and words, and the film as it
//! is written. Takes words and pictures; tells what a person asks for and changes nothing itself.

use std::cell::{Cell, RefCell};
use std::collections::HashMap;
use std::rc::Rc;
use std::time::Duration;

use gtk::gdk::{self, Key, ModifierType};
use gtk::glib;
use gtk::prelude::*;
use gtk4 as gtk;

use crate::window::listeners::Listeners;
use crate::window::parts::{icon_button, named};

/// A clip's picture in the list, px.
pub(crate) const THUMBNAIL_PX: (i32, i32) = (80, 45);
/// Longest time before and behind a pass, s.
const MOST_S: f64 = 60.0;
const STEP_S: f64 = 0.5;
/// The bars of a film that is written follow it this often.
const PROGRESS_EVERY: Duration = Duration::from_millis(100);

/// What a person asks for. Clips are told by their place in the list.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Ask {
    /// The page has come up.
    Look,
    /// The pass that is on, or comes next.
    AddPass,
    AddChosen {
        best: usize,
        worst: usize,
        is_this_corner: bool,
    },
    GoTo(usize),
    Remove(usize),
    Move {
        from: usize,
        to: usize,
    },
    Lead(usize, f64),
    Tail(usize, f64),
    /// `None` for the program's own.
    Words(usize, Option<String>),
    Title(Option<String>),
    Preview,
    Write,
    Stop,
}

/// What is on the page.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct ReelShown {
    pub(crate) title: Option<String>,
    pub(crate) clips: Vec<ClipShown>,
    /// How many clips and how long, in words.
    pub(crate) sum: String,
    /// A pass is on or comes next.
    pub(crate) can_add: bool,
    /// There is footage to make a film of.
    pub(crate) can_write: bool,
}

/// One clip of the list.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ClipShown {
    /// Lap and corner.
    pub(crate) pass: (u32, u32),
    pub(crate) name: String,
    /// How the pass stands, or why it cannot be shown.
    pub(crate) standing: String,
    pub(crate) lead_s: f64,
    pub(crate) tail_s: f64,
    pub(crate) words: Option<String>,
}

/// How far a film is that is written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Written {
    /// 0 to 1.
    pub(crate) whole: f64,
    /// The clip that is worked on, from 1, of how many, and how much of it is done, 0 to 1.
    pub(crate) clip: usize,
    pub(crate) clips: usize,
    pub(crate) of_clip: f64,
}

struct Parts {
    root: gtk::Box,
    title: gtk::Entry,
    stack: gtk::Stack,
    list: gtk::ListBox,
    add: gtk::Button,
    choose: gtk::MenuButton,
    tools: Tools,
    editor: gtk::Box,
    lead: gtk::SpinButton,
    tail: gtk::SpinButton,
    words: gtk::Entry,
    sum: gtk::Label,
    preview: gtk::Button,
    write: gtk::Button,
    writing: gtk::Box,
    clip_bar: gtk::ProgressBar,
    whole_bar: gtk::ProgressBar,
    stop: gtk::Button,
    shown: RefCell<ReelShown>,
    thumbnails: RefCell<HashMap<(u32, u32), gdk::Texture>>,
    /// While the fields are filled in, nobody changes them.
    is_filling: Cell<bool>,
    asks: Rc<Listeners<Ask>>,
}

/// What is done to the chosen clip.
struct Tools {
    up: gtk::Button,
    down: gtk::Button,
    remove: gtk::Button,
}

#[derive(Clone)]
pub(crate) struct ReelPage(Rc<Parts>);

impl std::fmt::Debug for ReelPage {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("ReelPage").finish_non_exhaustive()
    }
}

impl ReelPage {
    pub(crate) fn new() -> Self {
        let list = gtk::ListBox::builder().selection_mode(gtk::SelectionMode::Browse).build();
        named(&list, "Clips of the reel");
        let title =
            gtk::Entry::builder().placeholder_text("Title on the first card; none without").hexpand(true).build();
        named(&title, "Title of the reel");
        let words = gtk::Entry::builder().placeholder_text("Words on its card").hexpand(true).build();
        named(&words, "Words on the clip's card");
        let parts = Rc::new(Parts {
            root: gtk::Box::builder().orientation(gtk::Orientation::Vertical).build(),
            title,
            stack: gtk::Stack::builder().vexpand(true).build(),
            list,
            add: text_button("Add this pass", "The pass that is on, or comes next, at the end of the reel"),
            choose: gtk::MenuButton::builder().label("Best and worst").direction(gtk::ArrowType::Up).build(),
            tools: Tools {
                up: icon_button("go-up-symbolic", "Clip earlier (Alt+Up)"),
                down: icon_button("go-down-symbolic", "Clip later (Alt+Down)"),
                remove: icon_button("edit-delete-symbolic", "Take the clip out of the reel (Delete)"),
            },
            editor: gtk::Box::builder().spacing(6).css_classes(["tool-line"]).build(),
            lead: seconds("Seconds before turn-in"),
            tail: seconds("Seconds after exit"),
            words,
            sum: gtk::Label::builder().xalign(0.0).hexpand(true).css_classes(["dim-label"]).build(),
            preview: text_button(
                "Preview",
                "Play the clips one after the other in the picture, without writing a film",
            ),
            write: text_button("Write the film…", "Write the reel as a film, with cards and marks"),
            writing: gtk::Box::builder().spacing(8).visible(false).css_classes(["tool-line"]).build(),
            clip_bar: bar("This clip"),
            whole_bar: bar("The whole film"),
            stop: text_button("Stop", "Write no film; nothing half is left"),
            shown: RefCell::default(),
            thumbnails: RefCell::default(),
            is_filling: Cell::default(),
            asks: Rc::default(),
        });
        parts.lay_out();
        parts.connect();
        parts.connect_list();
        parts.show_whats_possible();
        Self(parts)
    }

    pub(crate) fn widget(&self) -> &gtk::Widget {
        self.0.root.upcast_ref()
    }

    pub(crate) fn connect_asked(&self, listener: impl Fn(Ask) + 'static) {
        self.0.asks.add(listener);
    }

    pub(crate) fn show(&self, shown: ReelShown) {
        let parts = &self.0;
        if *parts.shown.borrow() == shown {
            return;
        }
        let has_other_clips = parts.shown.borrow().clips != shown.clips;
        parts.is_filling.set(true);
        fill_entry(&parts.title, shown.title.as_deref());
        parts.sum.set_text(&shown.sum);
        parts.shown.replace(shown);
        if has_other_clips {
            parts.show_clips();
        }
        parts.is_filling.set(false);
        parts.show_chosen();
    }

    /// Chooses the clip at this place.
    pub(crate) fn choose(&self, index: usize) {
        let row = i32::try_from(index).ok().and_then(|it| self.0.list.row_at_index(it));
        self.0.list.select_row(row.as_ref());
        if let Some(row) = row.filter(|_| self.0.list.focus_child().is_some()) {
            row.grab_focus();
        }
    }

    /// A pass as its clip shows it.
    pub(crate) fn set_thumbnail(&self, pass: (u32, u32), texture: gdk::Texture) {
        self.0.thumbnails.borrow_mut().insert(pass, texture);
        for (index, clip) in (0..).zip(&self.0.shown.borrow().clips) {
            let row = self.0.list.row_at_index(index).filter(|_| clip.pass == pass);
            if let Some(picture) = row.and_then(|it| it.child()?.first_child()).and_downcast::<gtk::Picture>() {
                picture.set_paintable(self.0.thumbnails.borrow().get(&pass));
            }
        }
    }

    /// Other footage: the pictures are not of it.
    pub(crate) fn forget_thumbnails(&self) {
        self.0.thumbnails.borrow_mut().clear();
    }

    /// A film is written; `progress` gives how far it is, and `None` once that has ended.
    pub(crate) fn follow_writing(&self, progress: impl Fn() -> Option<Written> + 'static) {
        self.0.writing.set_visible(true);
        self.0.show_whats_possible();
        let weak = Rc::downgrade(&self.0);
        glib::timeout_add_local(PROGRESS_EVERY, move || {
            let Some(parts) = weak.upgrade() else { return glib::ControlFlow::Break };
            if let Some(written) = progress() {
                let words = format!("Clip {} of {}", written.clip, written.clips);
                parts.clip_bar.set_fraction(written.of_clip);
                parts.clip_bar.set_text(Some(&words));
                parts.whole_bar.set_fraction(written.whole);
                return glib::ControlFlow::Continue;
            }
            parts.writing.set_visible(false);
            parts.show_whats_possible();
            glib::ControlFlow::Break
        });
    }
}

impl Parts {
    fn lay_out(&self) {
        let line = || gtk::Box::builder().spacing(8).css_classes(["tool-line"]).build();
        let head = line();
        head.append(&self.title);
        self.root.append(&head);
        let empty = gtk::Label::builder()
            .label("No clips yet. Go to a pass and add it, or add the best and worst.")
            .wrap(true)
            .justify(gtk::Justification::Center)
            .css_classes(["dim-label"])
            .build();
        let scrolled =
            gtk::ScrolledWindow::builder().child(&self.list).hscrollbar_policy(gtk::PolicyType::Never).build();
        self.stack.add_named(&empty, Some("empty"));
        self.stack.add_named(&scrolled, Some("list"));
        self.root.append(&self.stack);
        for (spin, label) in [(&self.lead, "s before"), (&self.tail, "s after")] {
            self.editor.append(spin);
            self.editor.append(&gtk::Label::new(Some(label)));
        }
        self.editor.append(&self.words);
        self.root.append(&self.editor);
        let tools = line();
        tools.append(&self.add);
        tools.append(&self.choose);
        let gap = gtk::Box::builder().hexpand(true).build();
        tools.append(&gap);
        for button in [&self.tools.up, &self.tools.down, &self.tools.remove] {
            tools.append(button);
        }
        self.root.append(&tools);
        let ends = line();
        ends.append(&self.sum);
        ends.append(&self.preview);
        self.write.add_css_class("suggested-action");
        ends.append(&self.write);
        self.root.append(&ends);
        let bars = gtk::Box::builder().orientation(gtk::Orientation::Vertical).spacing(4).hexpand(true).build();
        bars.append(&self.clip_bar);
        bars.append(&self.whole_bar);
        self.writing.append(&bars);
        self.writing.append(&self.stop);
        self.root.append(&self.writing);
    }

    fn connect(self: &Rc<Self>) {
        let asks = self.asks.clone();
        self.root.connect_map(move |_| asks.tell(Ask::Look));
        for (button, ask) in [
            (&self.add, Ask::AddPass),
            (&self.preview, Ask::Preview),
            (&self.write, Ask::Write),
            (&self.stop, Ask::Stop),
        ] {
            let asks = self.asks.clone();
            button.connect_clicked(move |_| asks.tell(ask.clone()));
        }
        named(&self.choose, "Best and worst");
        self.choose.set_popover(Some(&self.chooser()));
        self.choose.set_tooltip_text(Some("Add the best and the worst passes by exit gate speed"));
        self.on_click(&self.tools.up, |it, index| it.moved(index, -1));
        self.on_click(&self.tools.down, |it, index| it.moved(index, 1));
        self.on_click(&self.tools.remove, |_, index| Some(Ask::Remove(index)));
        for (spin, ask) in [(&self.lead, Ask::Lead as fn(usize, f64) -> Ask), (&self.tail, Ask::Tail)] {
            let weak = Rc::downgrade(self);
            spin.connect_value_changed(move |spin| {
                if let Some(parts) = weak.upgrade().filter(|it| !it.is_filling.get())
                    && let Some(index) = parts.chosen()
                {
                    parts.asks.tell(ask(index, spin.value()));
                }
            });
        }
        self.on_written(&self.title, |_, text| Some(Ask::Title(text)));
        self.on_written(&self.words, |it, text| Some(Ask::Words(it.chosen()?, text)));
    }

    /// The text of a field is taken when a person presses Enter or leaves it.
    fn on_written(
        self: &Rc<Self>,
        entry: &gtk::Entry,
        ask: impl Fn(&Self, Option<String>) -> Option<Ask> + Copy + 'static,
    ) {
        let weak = Rc::downgrade(self);
        let take = move |entry: &gtk::Entry| {
            let text = Some(entry.text().trim().to_owned()).filter(|it| !it.is_empty());
            if let Some(parts) = weak.upgrade().filter(|it| !it.is_filling.get())
                && let Some(ask) = ask(&parts, text)
            {
                parts.asks.tell(ask);
            }
        };
        let on_enter = take.clone();
        entry.connect_activate(move |it| on_enter(it));
        let left = gtk::EventControllerFocus::new();
        let weak_entry = entry.downgrade();
        left.connect_leave(move |_| {
            if let Some(entry) = weak_entry.upgrade() {
                take(&entry);
            }
        });
        entry.add_controller(left);
    }

    fn on_click(self: &Rc<Self>, button: &gtk::Button, ask: impl Fn(&Self, usize) -> Option<Ask> + 'static) {
        let weak = Rc::downgrade(self);
        button.connect_clicked(move |_| {
            if let Some(parts) = weak.upgrade()
                && let Some(ask) = parts.chosen().and_then(|index| ask(&parts, index))
            {
                parts.asks.tell(ask);
            }
        });
    }

    fn connect_list(self: &Rc<Self>) {
        let weak = Rc::downgrade(self);
        self.list.connect_row_selected(move |_, _| {
            if let Some(parts) = weak.upgrade().filter(|it| !it.is_filling.get()) {
                parts.show_chosen();
            }
        });
        let asks = self.asks.clone();
        self.list.connect_row_activated(move |_, row| {
            if let Ok(index) = usize::try_from(row.index()) {
                asks.tell(Ask::GoTo(index));
            }
        });
        let keys = gtk::EventControllerKey::new();
        let weak = Rc::downgrade(self);
        keys.connect_key_pressed(move |_, key, _, modifiers| {
            let Some(parts) = weak.upgrade() else { return glib::Propagation::Proceed };
            let is_alt = modifiers.contains(ModifierType::ALT_MASK);
            let ask = parts.chosen().and_then(|index| match key {
                Key::Up | Key::KP_Up if is_alt => parts.moved(index, -1),
                Key::Down | Key::KP_Down if is_alt => parts.moved(index, 1),
                Key::Delete | Key::KP_Delete => Some(Ask::Remove(index)),
                _ => None,
            });
            let Some(ask) = ask else { return glib::Propagation::Proceed };
            parts.asks.tell(ask);
            glib::Propagation::Stop
        });
        self.list.add_controller(keys);
    }

    /// How many of the best and the worst, and of which corners.
    fn chooser(&self) -> gtk::Popover {
        let grid = gtk::Grid::builder().row_spacing(6).column_spacing(8).build();
        let count = |name: &str| {
            let spin = gtk::SpinButton::with_range(0.0, 9.0, 1.0);
            spin.set_value(1.0);
            named(&spin, name);
            spin
        };
        let (best, worst) = (count("So many of the best"), count("So many of the worst"));
        for (row, (label, spin)) in (0..).zip([("Best", &best), ("Worst", &worst)]) {
            grid.attach(&gtk::Label::builder().label(label).xalign(0.0).build(), 0, row, 1, 1);
            grid.attach(spin, 1, row, 1, 1);
        }
        let this = gtk::CheckButton::builder().label("Of this corner only").active(true).build();
        grid.attach(&this, 0, 2, 2, 1);
        let add = text_button("Add", "Add them at the end of the reel; those that are there stay once");
        grid.attach(&add, 0, 3, 2, 1);
        let popover = gtk::Popover::builder().child(&grid).build();
        let (asks, weak) = (self.asks.clone(), popover.downgrade());
        add.connect_clicked(move |_| {
            let count = |spin: &gtk::SpinButton| usize::try_from(spin.value_as_int()).unwrap_or(0);
            asks.tell(Ask::AddChosen { best: count(&best), worst: count(&worst), is_this_corner: this.is_active() });
            if let Some(popover) = weak.upgrade() {
                popover.popdown();
            }
        });
        popover
    }

    fn chosen(&self) -> Option<usize> {
        let index = usize::try_from(self.list.selected_row()?.index()).ok()?;
        (index < self.shown.borrow().clips.len()).then_some(index)
    }

    fn moved(&self, from: usize, by: isize) -> Option<Ask> {
        let to = from.checked_add_signed(by).filter(|it| *it < self.shown.borrow().clips.len())?;
        Some(Ask::Move { from, to })
    }

    /// Lists the clips anew; the same place stays chosen.
    fn show_clips(self: &Rc<Self>) {
        let chosen = self.list.selected_row().map_or(0, |it| it.index());
        let had_focus = self.list.focus_child().is_some();
        while let Some(row) = self.list.first_child() {
            self.list.remove(&row);
        }
        let shown = self.shown.borrow();
        for (index, clip) in shown.clips.iter().enumerate() {
            let row = self.row(clip);
            self.let_it_be_dragged(&row, index);
            self.list.append(&row);
        }
        self.stack.set_visible_child_name(if shown.clips.is_empty() { "empty" } else { "list" });
        let last = i32::try_from(shown.clips.len()).unwrap_or(i32::MAX) - 1;
        let row = self.list.row_at_index(chosen.min(last));
        drop(shown);
        self.list.select_row(row.as_ref());
        if let Some(row) = row.filter(|_| had_focus) {
            row.grab_focus();
        }
    }

    fn row(&self, clip: &ClipShown) -> gtk::ListBoxRow {
        let picture = gtk::Picture::builder().width_request(THUMBNAIL_PX.0).height_request(THUMBNAIL_PX.1).build();
        picture.add_css_class("picture");
        picture.set_can_shrink(true);
        picture.set_halign(gtk::Align::Start);
        picture.set_alternative_text(Some(&format!("{} at its apex", clip.name)));
        picture.set_paintable(self.thumbnails.borrow().get(&clip.pass));
        let label = |text: &str, class: &str| {
            let label = gtk::Label::builder().label(text).xalign(0.0).css_classes([class]).build();
            label.set_ellipsize(gtk::pango::EllipsizeMode::End);
            label
        };
        let words = gtk::Box::builder().orientation(gtk::Orientation::Vertical).hexpand(true).build();
        words.set_valign(gtk::Align::Center);
        words.append(&label(&clip.name, "tag-name"));
        words.append(&label(&clip.standing, "dim-label"));
        if let Some(text) = &clip.words {
            words.append(&label(&crate::present::one_line(text), "caption"));
        }
        let both = gtk::Box::builder().spacing(10).css_classes(["finding"]).build();
        both.append(&picture);
        both.append(&words);
        let row =
            gtk::ListBoxRow::builder().child(&both).tooltip_text("Go to the beginning of the clip (Enter)").build();
        named(&row, &format!("{}, {}", clip.name, clip.standing));
        row
    }

    /// A row is put in another's place by dragging it there.
    fn let_it_be_dragged(self: &Rc<Self>, row: &gtk::ListBoxRow, index: usize) {
        let place = u32::try_from(index).unwrap_or(u32::MAX);
        let source = gtk::DragSource::builder().actions(gdk::DragAction::MOVE).build();
        source.set_content(Some(&gdk::ContentProvider::for_value(&place.to_value())));
        row.add_controller(source);
        let target = gtk::DropTarget::new(u32::static_type(), gdk::DragAction::MOVE);
        let asks = self.asks.clone();
        target.connect_drop(move |_, value, _, _| {
            let from = value.get::<u32>().ok().and_then(|it| usize::try_from(it).ok());
            if let Some(from) = from.filter(|it| *it != index) {
                let asks = asks.clone();
                // The row goes with the change: it first has to have heard the drop to its end.
                glib::idle_add_local_once(move || asks.tell(Ask::Move { from, to: index }));
            }
            from.is_some()
        });
        row.add_controller(target);
    }

    fn show_chosen(&self) {
        let chosen = self.chosen().and_then(|it| self.shown.borrow().clips.get(it).cloned());
        self.is_filling.set(true);
        if let Some(clip) = &chosen {
            self.lead.set_value(clip.lead_s);
            self.tail.set_value(clip.tail_s);
        }
        fill_entry(&self.words, chosen.as_ref().and_then(|it| it.words.as_deref()));
        self.is_filling.set(false);
        self.show_whats_possible();
    }

    fn show_whats_possible(&self) {
        let (chosen, shown) = (self.chosen(), self.shown.borrow());
        let last = shown.clips.len().saturating_sub(1);
        self.editor.set_sensitive(chosen.is_some());
        self.tools.up.set_sensitive(chosen.is_some_and(|it| it > 0));
        self.tools.down.set_sensitive(chosen.is_some_and(|it| it < last));
        self.tools.remove.set_sensitive(chosen.is_some());
        self.add.set_sensitive(shown.can_add);
        self.choose.set_sensitive(shown.can_write);
        let can_show = shown.can_write && !shown.clips.is_empty();
        self.preview.set_sensitive(can_show);
        self.write.set_sensitive(can_show && !self.writing.is_visible());
    }
}

/// A field that a person is typing in is left alone.
fn fill_entry(entry: &gtk::Entry, text: Option<&str>) {
    let text = text.unwrap_or_default();
    if entry.text() != text && entry.focus_child().is_none() {
        entry.set_text(text);
    }
}

fn text_button(label: &str, tooltip: &str) -> gtk::Button {
    gtk::Button::builder().label(label).tooltip_text(tooltip).build()
}

fn seconds(name: &str) -> gtk::SpinButton {
    let spin = gtk::SpinButton::with_range(0.0, MOST_S, STEP_S);
    spin.set_digits(1);
    spin.set_width_chars(4);
    spin.set_tooltip_text(Some(name));
    named(&spin, name);
    spin
}

fn bar(name: &str) -> gtk::ProgressBar {
    let bar = gtk::ProgressBar::builder().hexpand(true).show_text(true).text(name).build();
    named(&bar, name);
    bar
}
