//! The table of one corner's passes as a widget. Takes `PassRows`; tells the pass chosen and the other one to compare it
//! with. Every column sorts. Knows no application.

mod cell;

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use gtk::gio;
use gtk::glib;
use gtk::prelude::*;
use gtk4 as gtk;

use crate::corners::figure::Figure;
use crate::present;
use crate::strip::{PassRow, PassRows, SortBy, compare};
use crate::units::SpeedUnit;
use crate::window::listeners::Listeners;

/// Rows made and cells shown anew in one go, each well within a frame.
const PART_ROWS: usize = 8;
const PART_CELLS: usize = 130;

/// A pass by lap and corner.
pub type PassId = (u32, u32);

struct Parts {
    root: gtk::Box,
    title: gtk::Label,
    stack: gtk::Stack,
    columns: gtk::ColumnView,
    speed_columns: Vec<(Figure, gtk::ColumnViewColumn)>,
    rows: gio::ListStore,
    selection: gtk::SingleSelection,
    bound: cell::Bound,
    corner: Cell<u32>,
    /// The lap to be chosen, also while its row is still to be made.
    wanted: Cell<Option<u32>>,
    /// Counts tables shown.
    shown: Cell<u64>,
    other: Rc<Cell<Option<u32>>>,
    /// Buttons of the rows on show, so that choosing one row's lets go of another's.
    other_buttons: Rc<RefCell<Vec<cell::OtherButton>>>,
    /// The application is changing the choice; a person is not.
    is_told: Rc<Cell<bool>>,
    chosen: Listeners<PassId>,
    other_chosen: Rc<Listeners<Option<u32>>>,
}

/// See the module. To be kept for as long as its widget is shown; clones are the same widget.
#[derive(Clone)]
pub struct PassTable(Rc<Parts>);

impl std::fmt::Debug for PassTable {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("PassTable").finish_non_exhaustive()
    }
}

impl Default for PassTable {
    fn default() -> Self {
        Self::new()
    }
}

impl PassTable {
    pub fn new() -> Self {
        let rows = gio::ListStore::new::<glib::BoxedAnyObject>();
        let columns = gtk::ColumnView::builder().show_column_separators(false).show_row_separators(true).build();
        columns.add_css_class("data-table");
        let is_falling = Rc::new(Cell::new(false));
        if let Some(sorter) = columns.sorter() {
            // Before the model hears of a change, and sorts.
            let is_falling = is_falling.clone();
            sorter.connect_changed(move |sorter, _| is_falling.set(does_fall(sorter)));
        }
        let sorted = gtk::SortListModel::new(Some(rows.clone()), columns.sorter());
        let selection = gtk::SingleSelection::builder().model(&sorted).autoselect(false).can_unselect(false).build();
        columns.set_model(Some(&selection));
        let other = Rc::new(Cell::new(None));
        let other_buttons = Rc::new(RefCell::new(Vec::new()));
        let is_told = Rc::new(Cell::new(false));
        let other_chosen = Rc::new(Listeners::default());
        let choice = cell::OtherChoice {
            other: other.clone(),
            buttons: other_buttons.clone(),
            is_told: is_told.clone(),
            chosen: other_chosen.clone(),
        };
        let bound = cell::Bound::default();
        let speed_columns = add_columns(&columns, &bound, &choice, &is_falling);
        let title = gtk::Label::builder().xalign(0.0).margin_start(6).build();
        title.add_css_class("heading");
        let scrolled = gtk::ScrolledWindow::builder().child(&columns).hexpand(true).vexpand(true).build();
        let empty = gtk::Label::builder().label("No pass through this corner").wrap(true).build();
        empty.add_css_class("dim-label");
        let stack = gtk::Stack::new();
        stack.add_named(&scrolled, Some("rows"));
        stack.add_named(&empty, Some("empty"));
        let root = gtk::Box::builder().orientation(gtk::Orientation::Vertical).spacing(4).build();
        root.append(&title);
        root.append(&stack);
        let parts = Rc::new(Parts {
            root,
            title,
            stack,
            columns,
            speed_columns,
            rows,
            selection,
            bound,
            corner: Cell::new(0),
            wanted: Cell::new(None),
            shown: Cell::new(0),
            other,
            other_buttons,
            is_told,
            chosen: Listeners::default(),
            other_chosen,
        });
        connect(&parts);
        Self(parts)
    }

    pub fn widget(&self) -> &gtk::Widget {
        self.0.root.upcast_ref()
    }

    /// Shows another corner's passes, or the same ones analysed again: then the chosen lap stays chosen.
    pub fn show(&self, table: &PassRows) {
        let parts = &self.0;
        parts.is_told.set(true);
        parts.corner.set(table.corner);
        parts.title.set_text(&title(table));
        parts.stack.set_visible_child_name(if table.rows.is_empty() { "empty" } else { "rows" });
        for (figure, column) in &parts.speed_columns {
            column.set_title(Some(&header(*figure, table.unit)));
        }
        parts.is_told.set(false);
        parts.fill(table.rows.clone());
        parts.columns.update_property(&[gtk::accessible::Property::Label(&parts.title.text())]);
    }

    /// Marks a lap's pass as chosen without telling it; a lap without a row as none.
    pub fn set_chosen(&self, lap: Option<u32>) {
        self.0.wanted.set(lap);
        self.0.is_told.set(true);
        self.0.select(lap);
        self.0.is_told.set(false);
    }

    /// Marks a lap's pass as the other one without telling it.
    pub fn set_other(&self, lap: Option<u32>) {
        self.0.is_told.set(true);
        self.0.other.set(lap);
        cell::show_other(&self.0.other_buttons.borrow(), lap);
        self.0.is_told.set(false);
    }

    /// Told lap and corner of the row that a person chooses.
    pub fn connect_chosen(&self, listener: impl Fn(PassId) + 'static) {
        self.0.chosen.add(listener);
    }

    /// Told lap and corner of the pass to compare with, or `None` when a person lets go of it.
    pub fn connect_other_chosen(&self, listener: impl Fn(Option<PassId>) + 'static) {
        let weak = Rc::downgrade(&self.0);
        self.0.other_chosen.add(move |lap| {
            if let Some(parts) = weak.upgrade() {
                listener(lap.map(|lap| (lap, parts.corner.get())));
            }
        });
    }
}

impl Parts {
    fn chosen_lap(&self) -> Option<u32> {
        self.selection.selected_item().and_then(|it| lap_of(&it))
    }

    /// Puts rows in the place of those there were: a part at once, the rest while nothing else is to do, for an hour's
    /// table would hold up the picture. Another table shown meanwhile ends it.
    fn fill(self: &Rc<Self>, rows: Vec<PassRow>) {
        self.shown.set(self.shown.get() + 1);
        let (weak, shown) = (Rc::downgrade(self), self.shown.get());
        for (position, row) in (0..self.rows.n_items()).zip(&rows) {
            if let Some(place) = self.rows.item(position).and_downcast::<glib::BoxedAnyObject>() {
                place.replace(row.clone());
            }
        }
        let mut cells = self.bound.cells();
        if self.fill_part(&rows, &mut cells) {
            return;
        }
        glib::idle_add_local(move || {
            let parts = weak.upgrade().filter(|it| it.shown.get() == shown);
            let is_done = parts.is_none_or(|it| it.fill_part(&rows, &mut cells));
            if is_done { glib::ControlFlow::Break } else { glib::ControlFlow::Continue }
        });
    }

    /// Shows some changed cells anew, then takes away or adds some rows at the end, then sorts. Whether all is done.
    fn fill_part(&self, rows: &[PassRow], cells: &mut Vec<cell::BoundCell>) -> bool {
        let (had, wanted) = (self.rows.n_items() as usize, rows.len());
        self.is_told.set(true);
        let is_done = if !cells.is_empty() {
            cells.drain(..cells.len().min(PART_CELLS)).for_each(|(item, refresh)| refresh(&item));
            cells.is_empty() && had == wanted
        } else if had > wanted {
            let first = wanted.max(had.saturating_sub(PART_ROWS));
            self.rows.splice(index(first), index(had - first), &[] as &[glib::BoxedAnyObject]);
            first == wanted
        } else {
            let new = &rows[had..wanted.min(had + PART_ROWS)];
            let new: Vec<_> = new.iter().map(|it| glib::BoxedAnyObject::new(it.clone())).collect();
            self.rows.splice(index(had), 0, &new);
            had + new.len() == wanted
        };
        if is_done && let Some(sorter) = self.columns.sorter() {
            sorter.changed(gtk::SorterChange::Different);
        }
        self.select(self.wanted.get());
        self.is_told.set(false);
        is_done
    }

    fn select(&self, lap: Option<u32>) {
        let position = (0..self.selection.n_items())
            .find(|it| lap.is_some() && self.selection.item(*it).and_then(|it| lap_of(&it)) == lap);
        self.selection.set_selected(position.unwrap_or(gtk::INVALID_LIST_POSITION));
    }
}

fn connect(parts: &Rc<Parts>) {
    let weak = Rc::downgrade(parts);
    parts.selection.connect_selected_notify(move |_| {
        let Some(parts) = weak.upgrade().filter(|it| !it.is_told.get()) else { return };
        // Sorting moves the chosen row without choosing another.
        if let Some(lap) = parts.chosen_lap().filter(|it| parts.wanted.get() != Some(*it)) {
            parts.wanted.set(Some(lap));
            parts.chosen.tell((lap, parts.corner.get()));
        }
    });
    // Enter or a double click takes the row as the other pass, or lets go of it.
    let weak = Rc::downgrade(parts);
    parts.columns.connect_activate(move |_, position| {
        let Some(parts) = weak.upgrade() else { return };
        let lap = parts.selection.item(position).and_then(|it| lap_of(&it));
        let other = lap.filter(|_| parts.other.get() != lap);
        parts.is_told.set(true);
        parts.other.set(other);
        cell::show_other(&parts.other_buttons.borrow(), other);
        parts.is_told.set(false);
        parts.other_chosen.tell(other);
    });
}

/// Positions of a list model.
fn index(position: usize) -> u32 {
    u32::try_from(position).unwrap_or(u32::MAX)
}

fn lap_of(item: &glib::Object) -> Option<u32> {
    item.downcast_ref::<glib::BoxedAnyObject>().map(|it| it.borrow::<PassRow>().lap)
}

/// "T3: 9 passes, against the best, lap 4".
fn title(table: &PassRows) -> String {
    if table.corner_name.is_empty() {
        return "No corner".to_owned();
    }
    let name = present::one_line(&table.corner_name);
    let count = table.rows.len();
    let passes = if count == 1 { "pass" } else { "passes" };
    match table.rows.iter().find(|it| it.is_best) {
        Some(best) => format!("{name}: {count} {passes}, against the best, lap {}", best.lap),
        None => format!("{name}: {count} {passes}"),
    }
}

fn header(figure: Figure, unit: SpeedUnit) -> String {
    format!("{} {}", present::figure_short(figure), present::figure_unit(figure, unit))
}

/// Gives the columns whose header names the unit of speed.
fn add_columns(
    columns: &gtk::ColumnView,
    bound: &cell::Bound,
    choice: &cell::OtherChoice,
    is_falling: &Rc<Cell<bool>>,
) -> Vec<(Figure, gtk::ColumnViewColumn)> {
    let add = |title: &str, factory: gtk::SignalListItemFactory, by: Option<SortBy>| {
        let column = gtk::ColumnViewColumn::builder().title(title).factory(&factory).resizable(true).build();
        if let Some(by) = by {
            column.set_sorter(Some(&sorter(by, is_falling.clone())));
        }
        columns.append_column(&column);
        column
    };
    let lap = add("Lap", cell::lap_factory(bound), Some(SortBy::Lap));
    columns.sort_by_column(Some(&lap), gtk::SortType::Ascending);
    add("Other", cell::other_factory(bound, choice), None);
    let figures = Figure::ALL.into_iter().map(|figure| {
        let title = header(figure, SpeedUnit::default());
        (figure, add(&title, cell::figure_factory(bound, figure), Some(SortBy::Figure(figure))))
    });
    let speed_columns = figures.filter(|it| it.0.is_speed()).collect();
    add("Exit was", cell::exit_factory(bound), Some(SortBy::Exit));
    add("Tags", cell::tags_factory(bound), Some(SortBy::Tags));
    add("Unclear", cell::unclear_factory(bound), None);
    speed_columns
}

/// Whether the list is turned round. GTK 4.8 does not tell, so it is asked to compare two rows of which the second is
/// more in everything.
fn does_fall(sorter: &gtk::Sorter) -> bool {
    let row = |lap: u32| glib::BoxedAnyObject::new(PassRow::of_figures(lap, f64::from(lap)));
    sorter.compare(&row(0), &row(1)) == gtk::Ordering::Larger
}

fn sorter(by: SortBy, is_falling: Rc<Cell<bool>>) -> gtk::CustomSorter {
    gtk::CustomSorter::new(move |a, b| {
        let rows = a.downcast_ref::<glib::BoxedAnyObject>().zip(b.downcast_ref::<glib::BoxedAnyObject>());
        rows.map_or(gtk::Ordering::Equal, |(a, b)| {
            compare(by, is_falling.get(), &a.borrow::<PassRow>(), &b.borrow::<PassRow>()).into()
        })
    })
}
