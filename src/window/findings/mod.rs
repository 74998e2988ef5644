//! The page of what the session loses where: findings, the dearest first, to be looked at, taken as tags or declined.
//! Takes findings, analysis and book; tells what a person asks for and changes nothing itself.

mod item;

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use gtk::prelude::*;
use gtk4 as gtk;

use crate::analysis::Analysis;
use crate::book::{Answer, Book};
use crate::findings::{Finding, Findings};
use crate::present;
use crate::window::findings::item::{FindingItem, finding_items};
use crate::window::listeners::Listeners;
use crate::window::naming::name_by_words;

/// What a person asks for.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Ask {
    /// The findings are on show and not those of the analysis any more.
    Find,
    /// The frame where the finding is seen best.
    See(Finding),
    Take(Finding),
    Decline(Finding),
    Forget(Finding),
}

struct Parts {
    root: gtk::Box,
    stack: gtk::Stack,
    list: gtk::ListBox,
    empty: gtk::Label,
    take: gtk::Button,
    decline: gtk::Button,
    ask_again: gtk::Button,
    /// `None` until they are found.
    found: RefCell<Option<Findings>>,
    is_stale: Cell<bool>,
    shown: RefCell<Vec<FindingItem>>,
    asks: Listeners<Ask>,
}

#[derive(Clone)]
pub(crate) struct FindingsPage(Rc<Parts>);

impl std::fmt::Debug for FindingsPage {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("FindingsPage").finish_non_exhaustive()
    }
}

impl FindingsPage {
    pub(crate) fn new() -> Self {
        let list = gtk::ListBox::builder().selection_mode(gtk::SelectionMode::Browse).build();
        list.update_property(&[gtk::accessible::Property::Label("Findings")]);
        let scrolled = gtk::ScrolledWindow::builder().child(&list).hscrollbar_policy(gtk::PolicyType::Never).build();
        let empty =
            gtk::Label::builder().wrap(true).justify(gtk::Justification::Center).css_classes(["dim-label"]).build();
        let stack = gtk::Stack::builder().vexpand(true).build();
        stack.add_named(&empty, Some("empty"));
        stack.add_named(&scrolled, Some("list"));
        let button = |label: &str, tooltip: &str| {
            let button = gtk::Button::builder().label(label).use_underline(true).tooltip_text(tooltip).build();
            name_by_words(&button);
            button
        };
        let take = button("_Take as tags", "Put a tag on every pass that has the chosen finding");
        let decline = button("_Decline", "Keep that this is none; the finding stays in the list, dimmed");
        let ask_again = button("Ask _again", "Forget the answer; tags that are there stay");
        let line = gtk::Box::builder().spacing(8).css_classes(["tool-line"]).build();
        [&take, &decline, &ask_again].into_iter().for_each(|it| line.append(it));
        let root = gtk::Box::builder().orientation(gtk::Orientation::Vertical).build();
        root.append(&stack);
        root.append(&line);
        let parts = Rc::new(Parts {
            root,
            stack,
            list,
            empty,
            take,
            decline,
            ask_again,
            found: RefCell::default(),
            is_stale: Cell::new(true),
            shown: RefCell::default(),
            asks: Listeners::default(),
        });
        connect(&parts);
        parts.show_whats_possible();
        Self(parts)
    }

    pub(crate) fn widget(&self) -> &gtk::Widget {
        self.0.root.upcast_ref()
    }

    pub(crate) fn connect_asked(&self, listener: impl Fn(Ask) + 'static) {
        self.0.asks.add(listener);
    }

    /// What is listed is not of this session any more.
    pub(crate) fn forget(&self) {
        self.0.found.replace(None);
        self.0.set_rows(Vec::new());
        self.0.empty.set_text("Looking for what is lost where …");
        self.set_stale();
    }

    /// What is listed may not be so any more; it is found again once someone looks.
    pub(crate) fn set_stale(&self) {
        self.0.is_stale.set(true);
        self.0.ask_if_looked_at();
    }

    pub(crate) fn take_in(&self, found: Findings) {
        self.0.empty.set_text(present::nothing_found(found.limits.is_some()));
        self.0.found.replace(Some(found));
    }

    /// Lists the findings with the book's answers to them. The chosen one stays chosen.
    pub(crate) fn show(&self, book: &Book, analysis: &Analysis) {
        let items = self.0.found.borrow().as_ref().map(|it| finding_items(it, book, analysis)).unwrap_or_default();
        self.0.set_rows(items);
    }
}

fn connect(parts: &Rc<Parts>) {
    let weak = Rc::downgrade(parts);
    parts.root.connect_map(move |_| {
        if let Some(parts) = weak.upgrade() {
            parts.ask_if_looked_at();
        }
    });
    let weak = Rc::downgrade(parts);
    parts.list.connect_row_selected(move |_, _| {
        if let Some(parts) = weak.upgrade() {
            parts.show_whats_possible();
        }
    });
    let weak = Rc::downgrade(parts);
    parts.list.connect_row_activated(move |_, _| {
        if let Some(parts) = weak.upgrade() {
            parts.ask(Ask::See);
        }
    });
    for (button, ask) in [
        (&parts.take, Ask::Take as fn(Finding) -> Ask),
        (&parts.decline, Ask::Decline),
        (&parts.ask_again, Ask::Forget),
    ] {
        let weak = Rc::downgrade(parts);
        button.connect_clicked(move |_| {
            if let Some(parts) = weak.upgrade() {
                parts.ask(ask);
            }
        });
    }
}

impl Parts {
    fn ask_if_looked_at(&self) {
        if self.root.is_mapped() && self.is_stale.replace(false) {
            self.asks.tell(Ask::Find);
        }
    }

    fn ask(&self, ask: impl FnOnce(Finding) -> Ask) {
        let chosen = self.chosen().map(|it| it.finding);
        if let Some(finding) = chosen {
            self.asks.tell(ask(finding));
        }
    }

    fn chosen(&self) -> Option<FindingItem> {
        let index = usize::try_from(self.list.selected_row()?.index()).ok()?;
        self.shown.borrow().get(index).cloned()
    }

    fn set_rows(&self, items: Vec<FindingItem>) {
        if *self.shown.borrow() == items {
            return;
        }
        let chosen = self.chosen().map(|it| it.finding.suggestion());
        let had_focus = self.list.state_flags().contains(gtk::StateFlags::FOCUS_WITHIN);
        while let Some(row) = self.list.first_child() {
            self.list.remove(&row);
        }
        let mut again = None;
        for item in &items {
            let row = row(item);
            self.list.append(&row);
            if chosen.as_ref() == Some(&item.finding.suggestion()) {
                again = Some(row);
            }
        }
        self.stack.set_visible_child_name(if items.is_empty() { "empty" } else { "list" });
        *self.shown.borrow_mut() = items;
        self.list.select_row(again.as_ref());
        if let Some(row) = again.filter(|_| had_focus) {
            row.grab_focus();
        }
        self.show_whats_possible();
    }

    fn show_whats_possible(&self) {
        let answer = self.chosen().map(|it| it.answer);
        let can = |answered: Option<Answer>| answer.is_some_and(|it| it != answered);
        self.take.set_sensitive(can(Some(Answer::Taken)));
        self.decline.set_sensitive(can(Some(Answer::Declined)));
        self.ask_again.set_sensitive(can(None));
    }
}

/// What and where, what a person made of it, what was seen, what it costs and what to try.
fn row(item: &FindingItem) -> gtk::ListBoxRow {
    let label = |text: &str, class: &str| {
        let label = gtk::Label::builder().label(text).xalign(0.0).wrap(true).css_classes([class]).build();
        label.set_wrap_mode(gtk::pango::WrapMode::WordChar);
        label
    };
    let title = label(&item.title, "tag-name");
    title.set_hexpand(true);
    let head = gtk::Box::builder().spacing(8).build();
    head.append(&title);
    head.append(&gtk::Label::builder().label(item.answer_words()).css_classes(["dim-label"]).build());
    let lines = gtk::Box::builder().orientation(gtk::Orientation::Vertical).spacing(2).css_classes(["finding"]).build();
    lines.append(&head);
    lines.append(&label(&item.size, "finding-size"));
    lines.append(&label(&item.observation, "finding-seen"));
    lines.append(&label(&item.advice, "dim-label"));
    if item.answer == Some(Answer::Declined) {
        lines.add_css_class("declined");
    }
    let row = gtk::ListBoxRow::builder().child(&lines).tooltip_text("Go to the frame where it is seen (Enter)").build();
    row.update_property(&[gtk::accessible::Property::Label(&item.spoken())]);
    row
}
