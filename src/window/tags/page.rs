//! The page of all tags of the session: filtered, gone to, removed, given notes, and the reference points of the corner
//! on show. Takes the book and the analysis; tells what a person asks for and changes nothing itself.

use std::cell::{Cell, RefCell};

use gtk::gdk::Key;
use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk::{gio, glib};
use gtk4 as gtk;

use crate::analysis::Analysis;
use crate::book::{Book, Colour, Op, TagPlace};
use crate::window::listeners::Listeners;
use crate::window::naming::name_by_words;
use crate::window::tags::Ask;
use crate::window::tags::list::{Filter, TagItem, empty_words, tag_items};
use crate::window::tags::points::PointList;

/// A note takes up at most this much of the list; all of it is in the tooltip.
const NOTE_MOST_LINES: i32 = 3;

mod imp {
    use super::*;

    #[derive(Debug, Default, gtk::CompositeTemplate)]
    #[template(file = "../../../resources/window/tags.ui")]
    pub struct TagsPage {
        #[template_child]
        pub(super) search: TemplateChild<gtk::SearchEntry>,
        #[template_child]
        pub(super) this_corner: TemplateChild<gtk::ToggleButton>,
        #[template_child]
        pub(super) this_lap: TemplateChild<gtk::ToggleButton>,
        #[template_child]
        pub(super) stack: TemplateChild<gtk::Stack>,
        #[template_child]
        pub(super) list: TemplateChild<gtk::ListView>,
        #[template_child]
        pub(super) empty: TemplateChild<gtk::Label>,
        #[template_child]
        pub(super) note: TemplateChild<gtk::Button>,
        #[template_child]
        pub(super) turn: TemplateChild<gtk::Button>,
        #[template_child]
        pub(super) remove: TemplateChild<gtk::Button>,
        #[template_child]
        pub(super) set: TemplateChild<gtk::Button>,
        pub(super) points: PointList,
        /// All tags, and those that the filter keeps.
        pub(super) items: RefCell<Vec<TagItem>>,
        pub(super) kept: RefCell<Vec<TagItem>>,
        pub(super) rows: RefCell<Option<(gio::ListStore, gtk::SingleSelection)>>,
        /// Lap and corner on show.
        pub(super) subject: Cell<(Option<u32>, Option<u32>)>,
        pub(super) asks: Listeners<Ask>,
    }

    #[glib::object_subclass]
    impl ObjectSubclass for TagsPage {
        const NAME: &'static str = "CornerbookTagsPage";
        type Type = super::TagsPage;
        type ParentType = gtk::Box;

        fn class_init(class: &mut Self::Class) {
            class.bind_template();
        }

        fn instance_init(object: &glib::subclass::InitializingObject<Self>) {
            object.init_template();
        }
    }

    impl ObjectImpl for TagsPage {
        fn constructed(&self) {
            self.parent_constructed();
            self.obj().connect_parts();
        }
    }

    impl WidgetImpl for TagsPage {}
    impl BoxImpl for TagsPage {}
}

glib::wrapper! {
    pub struct TagsPage(ObjectSubclass<imp::TagsPage>)
        @extends gtk::Widget, gtk::Box,
        @implements gtk::Accessible, gtk::Buildable, gtk::ConstraintTarget, gtk::Orientable;
}

impl TagsPage {
    pub(crate) fn new() -> Self {
        glib::Object::new()
    }

    pub(crate) fn connect_asked(&self, listener: impl Fn(Ask) + Clone + 'static) {
        self.imp().points.connect_asked(listener.clone());
        self.imp().asks.add(listener);
    }

    /// Shows the tags with this lap and corner on show; the book is read again only where it `is_new`.
    pub(crate) fn show(&self, book: &Book, analysis: &Analysis, lap: Option<u32>, corner: Option<u32>, is_new: bool) {
        let imp = self.imp();
        imp.subject.set((lap, corner));
        if is_new {
            *imp.items.borrow_mut() = tag_items(book, analysis);
            imp.empty.set_text(&empty_words(book));
        }
        self.show_kept();
        let name_of = |number: u32| analysis.corners.iter().find(|it| it.number == number).map(|it| it.name.as_str());
        imp.points.show(book, corner.and_then(|it| Some((it, name_of(it)?))));
    }

    /// Lists the tags that the filter keeps. The chosen one stays chosen; where it is gone, the one in its place is.
    fn show_kept(&self) {
        let imp = self.imp();
        let filter = self.filter();
        let kept: Vec<TagItem> = imp.items.borrow().iter().filter(|it| filter.keeps(it)).cloned().collect();
        imp.stack.set_visible_child_name(if kept.is_empty() { "empty" } else { "list" });
        if *imp.kept.borrow() == kept {
            return;
        }
        let Some((rows, selection)) = imp.rows.borrow().clone() else { return };
        let (chosen, place) = (self.chosen().map(|it| it.id), selection.selected());
        let objects: Vec<_> = kept.iter().map(|it| glib::BoxedAnyObject::new(it.clone())).collect();
        let again = chosen.and_then(|id| kept.iter().position(|it| it.id == id)).and_then(|it| u32::try_from(it).ok());
        let last = u32::try_from(kept.len()).unwrap_or(u32::MAX).checked_sub(1);
        *imp.kept.borrow_mut() = kept;
        let had_focus = imp.list.state_flags().contains(gtk::StateFlags::FOCUS_WITHIN);
        rows.splice(0, rows.n_items(), &objects);
        let in_its_place = chosen.and(last).map(|it| it.min(place));
        selection.set_selected(again.or(in_its_place).unwrap_or(gtk::INVALID_LIST_POSITION));
        if had_focus {
            imp.list.grab_focus();
        }
        self.show_chosen();
    }

    fn filter(&self) -> Filter {
        let imp = self.imp();
        let (lap, corner) = imp.subject.get();
        Filter {
            text: imp.search.text().to_string(),
            lap: lap.filter(|_| imp.this_lap.is_active()),
            corner: corner.filter(|_| imp.this_corner.is_active()),
        }
    }

    fn chosen(&self) -> Option<TagItem> {
        let place = self.imp().rows.borrow().as_ref()?.1.selected();
        self.imp().kept.borrow().get(usize::try_from(place).ok()?).cloned()
    }

    /// What can be done with the chosen tag.
    fn show_chosen(&self) {
        let (imp, chosen) = (self.imp(), self.chosen());
        imp.note.set_sensitive(chosen.is_some());
        imp.remove.set_sensitive(chosen.is_some());
        imp.turn.set_sensitive(chosen.as_ref().is_some_and(|it| it.turned().is_some()));
        let is_on_pass = chosen.is_some_and(|it| matches!(it.tag.on, TagPlace::Pass { .. }));
        imp.turn.set_label(if is_on_pass { "To a frame" } else { "To the pass" });
    }

    fn connect_parts(&self) {
        let imp = self.imp();
        self.append(imp.points.widget());
        let rows = gio::ListStore::new::<glib::BoxedAnyObject>();
        let selection = gtk::SingleSelection::builder().model(&rows).autoselect(false).can_unselect(true).build();
        imp.list.set_factory(Some(&self.factory()));
        imp.list.set_model(Some(&selection));
        let page = self.downgrade();
        selection.connect_selected_notify(move |_| with(&page, Self::show_chosen));
        *imp.rows.borrow_mut() = Some((rows, selection));
        let page = self.downgrade();
        imp.search.connect_search_changed(move |_| with(&page, Self::show_kept));
        let page = self.downgrade();
        imp.search.connect_activate(move |_| with(&page, Self::focus_list));
        for toggle in [&imp.this_corner, &imp.this_lap] {
            let page = self.downgrade();
            toggle.connect_toggled(move |_| with(&page, Self::show_kept));
        }
        let page = self.downgrade();
        imp.list.connect_activate(move |_, _| with(&page, Self::go_to_chosen));
        for (button, act) in [
            (&imp.note, Self::write_note as fn(&Self)),
            (&imp.turn, Self::turn),
            (&imp.remove, Self::remove),
            (&imp.set, |it| it.imp().asks.tell(Ask::EditSet)),
        ] {
            let page = self.downgrade();
            button.connect_clicked(move |_| with(&page, act));
        }
        [&imp.note, &imp.remove, &imp.set].into_iter().for_each(|it| name_by_words(it));
        self.add_list_keys();
        self.show_chosen();
    }

    fn add_list_keys(&self) {
        let keys = gtk::EventControllerKey::new();
        let page = self.downgrade();
        keys.connect_key_pressed(move |_, key, _, _| {
            match key {
                Key::Delete | Key::KP_Delete | Key::BackSpace => with(&page, Self::remove),
                Key::F2 => with(&page, Self::write_note),
                _ => return glib::Propagation::Proceed,
            }
            glib::Propagation::Stop
        });
        self.imp().list.add_controller(keys);
    }

    /// From the field of words to what it has found.
    fn focus_list(&self) {
        self.imp().list.grab_focus();
    }

    fn go_to_chosen(&self) {
        if let Some(item) = self.chosen() {
            self.imp().asks.tell(Ask::GoToTag(item.id));
        }
    }

    fn remove(&self) {
        if let Some(item) = self.chosen() {
            self.imp().asks.tell(Ask::Change(Op::Tag(item.id, None)));
        }
    }

    fn turn(&self) {
        let turned = self.chosen().and_then(|it| Some(Op::Tag(it.id, Some(it.turned()?))));
        if let Some(op) = turned {
            self.imp().asks.tell(Ask::Change(op));
        }
    }

    fn write_note(&self) {
        if let Some(item) = self.chosen() {
            let title = format!("Note: {}, {}", item.name, item.place);
            self.imp().asks.tell(Ask::WriteNote { tag: item.id, title });
        }
    }

    fn factory(&self) -> gtk::SignalListItemFactory {
        let factory = gtk::SignalListItemFactory::new();
        let page = self.downgrade();
        factory.connect_setup(move |_, item| {
            let Some(item) = item.downcast_ref::<gtk::ListItem>() else { return };
            let line = row();
            let click = gtk::GestureClick::new();
            let (page, item_of) = (page.clone(), item.downgrade());
            click.connect_pressed(move |_, _, _, _| {
                if let (Some(page), Some(item)) = (page.upgrade(), item_of.upgrade()) {
                    page.go_soon_to(&item);
                }
            });
            line.add_controller(click);
            item.set_child(Some(&line));
        });
        factory.connect_bind(|_, item| {
            let Some(item) = item.downcast_ref::<gtk::ListItem>() else { return };
            let tag = item.item().and_downcast::<glib::BoxedAnyObject>();
            if let (Some(tag), Some(line)) = (tag, item.child()) {
                show_row(&line, &tag.borrow::<TagItem>());
            }
        });
        factory
    }

    /// Goes to a row's tag once the click is over: going there may list other tags.
    fn go_soon_to(&self, item: &gtk::ListItem) {
        let Some(id) = item.item().and_downcast::<glib::BoxedAnyObject>().map(|it| it.borrow::<TagItem>().id) else {
            return;
        };
        let page = self.downgrade();
        glib::idle_add_local_once(move || with(&page, |it: &Self| it.imp().asks.tell(Ask::GoToTag(id))));
    }
}

fn with(page: &glib::WeakRef<TagsPage>, act: impl FnOnce(&TagsPage)) {
    if let Some(page) = page.upgrade() {
        act(&page);
    }
}

/// A dot in the kind's colour, name over place, and the note under both.
fn row() -> gtk::Box {
    let label = |class: &str| {
        let label = gtk::Label::builder().xalign(0.0).wrap(true).wrap_mode(gtk::pango::WrapMode::WordChar).build();
        label.add_css_class(class);
        label
    };
    let dot = gtk::Label::builder().label("●").valign(gtk::Align::Start).build();
    let note = label("tag-note");
    note.set_lines(NOTE_MOST_LINES);
    note.set_ellipsize(gtk::pango::EllipsizeMode::End);
    let words = gtk::Box::builder().orientation(gtk::Orientation::Vertical).hexpand(true).build();
    words.append(&label("tag-name"));
    words.append(&label("dim-label"));
    words.append(&note);
    let line = gtk::Box::builder().spacing(8).margin_start(8).margin_end(8).build();
    line.append(&dot);
    line.append(&words);
    line
}

fn show_row(line: &gtk::Widget, item: &TagItem) {
    let labels = |first: Option<gtk::Widget>| std::iter::successors(first, gtk::Widget::next_sibling);
    if let Some(dot) = line.first_child().and_downcast::<gtk::Label>() {
        dot.set_attributes(Some(&coloured(item.colour)));
    }
    let note = item.tag.note.as_deref().unwrap_or_default();
    let words = line.last_child().and_then(|it| it.first_child());
    for (label, text) in labels(words).zip([item.name.as_str(), &item.place, note]) {
        label.set_visible(!text.is_empty());
        if let Some(label) = label.downcast_ref::<gtk::Label>() {
            label.set_text(text);
        }
    }
    line.set_tooltip_text((!note.is_empty()).then_some(note));
}

fn coloured(colour: Colour) -> gtk::pango::AttrList {
    let part = |it: u8| u16::from(it) * 257;
    let attributes = gtk::pango::AttrList::new();
    let (red, green, blue) = (part(colour.red), part(colour.green), part(colour.blue));
    attributes.insert(gtk::pango::AttrColor::new_foreground(red, green, blue));
    attributes
}
