//! The cells of the pass table. Each shows one part of a `PassRow`; how a figure stands is told by a sign and in words,
//! not by colour alone.

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use gtk::glib;
use gtk::prelude::*;
use gtk4 as gtk;

use crate::corners::figure::{Figure, Standing};
use crate::present;
use crate::strip::PassRow;
use crate::window::listeners::Listeners;
use crate::window::passes::lap_of;

/// A row's button that makes it the other pass, with its lap.
pub(super) type OtherButton = (gtk::CheckButton, Rc<Cell<Option<u32>>>);

/// Which lap is the other pass, and everything that has to hear of it.
#[derive(Clone)]
pub(super) struct OtherChoice {
    pub(super) other: Rc<Cell<Option<u32>>>,
    pub(super) buttons: Rc<RefCell<Vec<OtherButton>>>,
    pub(super) is_told: Rc<Cell<bool>>,
    pub(super) chosen: Rc<Listeners<Option<u32>>>,
}

/// Sets every button on show to whether its lap is the other pass.
pub(super) fn show_other(buttons: &[OtherButton], other: Option<u32>) {
    for (button, lap) in buttons {
        button.set_active(other.is_some() && lap.get() == other);
    }
}

type Refresh = Rc<dyn Fn(&gtk::ListItem)>;
/// A cell and what shows it anew.
pub(super) type BoundCell = (gtk::ListItem, Refresh);

/// The cells that are bound to a row. A row can change in place and its cells be shown anew: in GTK 4.8 that is ten
/// times cheaper than putting another row in its place, for which every later row is made anew too.
#[derive(Clone, Default)]
pub(super) struct Bound(Rc<RefCell<Vec<BoundCell>>>);

impl Bound {
    /// All cells with what shows them anew. One that is unbound meanwhile shows nothing.
    pub(super) fn cells(&self) -> Vec<BoundCell> {
        self.0.borrow().clone()
    }

    /// Lets `refresh` show each cell of a factory when it is bound, and whenever its row has changed.
    fn watch(&self, factory: &gtk::SignalListItemFactory, refresh: Refresh) {
        let bound = self.0.clone();
        factory.connect_bind(move |_, item| {
            if let Some(item) = item.downcast_ref::<gtk::ListItem>() {
                refresh(item);
                bound.borrow_mut().push((item.clone(), refresh.clone()));
            }
        });
        let bound = self.0.clone();
        factory.connect_unbind(move |_, item| {
            let at = bound.borrow().iter().position(|it| it.0.upcast_ref::<glib::Object>() == item);
            if let Some(at) = at {
                bound.borrow_mut().swap_remove(at);
            }
        });
    }
}

/// A factory whose cells are made once and shown with a row many times. `words` are for tooltips and screen readers.
fn factory<W: IsA<gtk::Widget> + IsA<gtk::Accessible>>(
    bound: &Bound,
    make: impl Fn() -> W + 'static,
    show: impl Fn(&W, &PassRow) + 'static,
    words: impl Fn(&PassRow) -> String + Clone + 'static,
) -> gtk::SignalListItemFactory {
    let factory = gtk::SignalListItemFactory::new();
    let tooltip_words = words.clone();
    factory.connect_setup(move |_, item| {
        if let Some(item) = item.downcast_ref::<gtk::ListItem>() {
            let child = make();
            tell_on_hover(item, &child, tooltip_words.clone());
            item.set_child(Some(&child));
        }
    });
    let refresh = move |item: &gtk::ListItem| {
        let row = item.item().and_downcast::<glib::BoxedAnyObject>();
        if let (Some(row), Some(child)) = (row, item.child().and_downcast::<W>()) {
            let row = row.borrow::<PassRow>();
            show(&child, &row);
            child.update_property(&[gtk::accessible::Property::Label(&words(&row))]);
        }
    };
    bound.watch(&factory, Rc::new(refresh));
    factory
}

/// A tooltip that is put into words when it is wanted: to set one on a cell on show makes GTK look for the pointer each
/// time, which costs more than the cell.
fn tell_on_hover(item: &gtk::ListItem, child: &impl IsA<gtk::Widget>, words: impl Fn(&PassRow) -> String + 'static) {
    let weak = item.downgrade();
    child.set_has_tooltip(true);
    child.connect_query_tooltip(move |_, _, _, _, tooltip| {
        let row = weak.upgrade().and_then(|it| it.item()).and_downcast::<glib::BoxedAnyObject>();
        let words = row.map_or_else(String::new, |it| words(&it.borrow::<PassRow>()));
        tooltip.set_text(Some(&words));
        !words.is_empty()
    });
}

fn label(xalign: f32) -> gtk::Label {
    let label = gtk::Label::builder().xalign(xalign).build();
    label.add_css_class("numeric");
    label
}

pub(super) fn lap_factory(bound: &Bound) -> gtk::SignalListItemFactory {
    factory(bound, || label(0.0), |label, row| label.set_text(&lap_words(row)), lap_words)
}

/// "3", "0  out", "4  best".
fn lap_words(row: &PassRow) -> String {
    let kind = row.kind.map(present::lap_kind).filter(|it| *it != "timed");
    let best = row.is_best.then_some("best");
    [Some(row.lap.to_string().as_str()), kind, best].into_iter().flatten().collect::<Vec<_>>().join("  ")
}

/// The sign of how a figure stands, before its value.
fn standing_sign(standing: Standing) -> &'static str {
    match standing {
        Standing::Best => "★",
        Standing::Better => "▲",
        Standing::Level => "=",
        Standing::Worse => "▼",
        Standing::Earlier => "◂",
        Standing::Later => "▸",
        Standing::Unknown => "",
    }
}

/// Sign, value and interval, the interval lightly. One label, not one for each: an hour has a thousand cells.
pub(super) fn figure_factory(bound: &Bound, figure: Figure) -> gtk::SignalListItemFactory {
    let show = move |label: &gtk::Label, row: &PassRow| show_figure(label, row, figure);
    factory(bound, || label(1.0), show, move |row| figure_words(row, figure))
}

/// Opacity of what is said lightly.
const LIGHT: u16 = u16::MAX / 100 * 65;

fn show_figure(label: &gtk::Label, row: &PassRow, figure: Figure) {
    let Some(shown) = row.cells.iter().find(|it| it.figure == figure) else { return };
    let star = if shown.is_moved { "*" } else { "" };
    let timing = timing_words(row, figure);
    let text = format!("{}  {timing}{}{star}", standing_sign(shown.standing), shown.value);
    let light = gtk::pango::AttrList::new();
    for (from, to) in [(text.len(), usize::MAX), (0, if shown.standing == Standing::Level { 1 } else { 0 })] {
        let mut alpha = gtk::pango::AttrInt::new_foreground_alpha(LIGHT);
        alpha.set_start_index(u32::try_from(from).unwrap_or(u32::MAX));
        alpha.set_end_index(u32::try_from(to).unwrap_or(u32::MAX));
        light.insert(alpha);
    }
    label.set_attributes(Some(&light));
    label.set_text(&format!("{text} {}", shown.half_width));
}

/// Early, middle or late, before an apex place.
fn timing_words(row: &PassRow, figure: Figure) -> String {
    let timing = row.apex_timing.filter(|_| figure == Figure::ApexPlace);
    timing.map_or_else(String::new, |it| format!("{} ", present::apex_timing(it)))
}

/// The whole of a cell: figure, interval, standing, and why something is missing.
fn figure_words(row: &PassRow, figure: Figure) -> String {
    let Some(shown) = row.cells.iter().find(|it| it.figure == figure) else { return String::new() };
    let timing = timing_words(row, figure);
    let mut words = format!("{}: {timing}{} {}", present::figure(figure), shown.value, shown.half_width);
    words.truncate(words.trim_end().len());
    if shown.standing != Standing::Unknown {
        words = format!("{words}, {}", present::standing(shown.standing));
    }
    if shown.is_moved {
        words.push_str(", mark moved by hand");
    }
    if shown.estimate.is_none() && !row.unclear.is_empty() {
        words = format!("{words} ({})", row.unclear.join("; "));
    }
    words
}

pub(super) fn exit_factory(bound: &Bound) -> gtk::SignalListItemFactory {
    let words = |row: &PassRow| row.is_good_exit.map_or("", present::exit_verdict).to_owned();
    factory(bound, || label(0.0), move |label, row| label.set_text(&words(row)), words)
}

pub(super) fn tags_factory(bound: &Bound) -> gtk::SignalListItemFactory {
    let words = |row: &PassRow| if row.tags == 0 { String::new() } else { row.tags.to_string() };
    factory(bound, || label(1.0), move |label, row| label.set_text(&words(row)), words)
}

/// Why figures are missing and which marks were moved; the whole of it in the tooltip.
pub(super) fn unclear_factory(bound: &Bound) -> gtk::SignalListItemFactory {
    let make = || gtk::Label::builder().xalign(0.0).ellipsize(gtk::pango::EllipsizeMode::End).width_chars(12).build();
    factory(bound, make, |label, row| label.set_text(&unclear_words(row)), unclear_words)
}

fn unclear_words(row: &PassRow) -> String {
    let moved = row.edited.iter().map(|it| format!("* {} moved by hand", present::mark(*it)));
    moved.chain(row.unclear.iter().map(|it| (*it).to_owned())).collect::<Vec<_>>().join("; ")
}

/// A button in each row that makes it the other pass; at most one is pressed.
pub(super) fn other_factory(bound: &Bound, choice: &OtherChoice) -> gtk::SignalListItemFactory {
    let factory = gtk::SignalListItemFactory::new();
    let setup = choice.clone();
    factory.connect_setup(move |_, item| {
        let Some(item) = item.downcast_ref::<gtk::ListItem>() else { return };
        let button = gtk::CheckButton::builder().halign(gtk::Align::Center).build();
        tell_on_hover(item, &button, |row| format!("compare with {}", present::lap_name(Some(row.lap))));
        item.set_child(Some(&button));
        let lap = Rc::new(Cell::new(None));
        setup.buttons.borrow_mut().push((button.clone(), lap.clone()));
        let choice = setup.clone();
        button.connect_toggled(move |button| toggled(&choice, button.is_active(), lap.get()));
    });
    let bind = choice.clone();
    bound.watch(&factory, Rc::new(move |item| show_button(&bind, item)));
    let teardown = choice.clone();
    factory.connect_teardown(move |_, item| {
        let child = item.downcast_ref::<gtk::ListItem>().and_then(|it| it.child()).and_downcast::<gtk::CheckButton>();
        teardown.buttons.borrow_mut().retain(|it| Some(&it.0) != child.as_ref());
    });
    factory
}

fn toggled(choice: &OtherChoice, is_active: bool, lap: Option<u32>) {
    if choice.is_told.get() {
        return;
    }
    let other = lap.filter(|_| is_active);
    choice.other.set(other);
    choice.is_told.set(true);
    show_other(&choice.buttons.borrow(), other);
    choice.is_told.set(false);
    choice.chosen.tell(other);
}

/// Shows a row's button with its lap.
fn show_button(choice: &OtherChoice, item: &gtk::ListItem) {
    let Some(button) = item.child().and_downcast::<gtk::CheckButton>() else { return };
    let lap = item.item().as_ref().and_then(lap_of);
    if let Some((_, own)) = choice.buttons.borrow().iter().find(|it| it.0 == button) {
        own.set(lap);
    }
    let was_told = choice.is_told.replace(true);
    button.set_active(lap.is_some() && lap == choice.other.get());
    choice.is_told.set(was_told);
    let words = format!("compare with {}", present::lap_name(lap));
    button.update_property(&[gtk::accessible::Property::Label(&words)]);
}
