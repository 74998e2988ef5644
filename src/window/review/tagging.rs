//! Tags on the review page: the tag menu, and what the tags page, the tag set and the corner's name ask for.

use gtk::gio;
use gtk::glib;
use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::book::{Exit, FootageRef, FrameRef, Id, Op, ReferencePoint, Tag, TagPlace, What};
use crate::media::FootagePlace;
use crate::window::review::keys::is_taken;
use crate::window::review::{Review, ReviewPage};
use crate::window::tags::{Ask, MENU_WORDS, SetOwner, show_tag_set, tag_menu, write_note};

impl ReviewPage {
    pub(super) fn connect_tags(&self) {
        let page = self.downgrade();
        let ask = move |ask| {
            if let Some(page) = page.upgrade() {
                page.do_what_is_asked(ask);
            }
        };
        self.panels().corner_name.connect_asked(ask.clone());
        self.panels().tags.connect_asked(ask);
        let on = gio::SimpleAction::new_stateful("tag-on", Some(glib::VariantTy::STRING), &"frame".to_variant());
        self.actions().add_action(&on);
        self.add_tag_action("tag-kind", |page, id| page.tag_from_menu(What::Kind(Id(id))));
        self.add_tag_action("tag-words", |page, place| {
            if let Some(what) = usize::try_from(place).ok().and_then(|it| MENU_WORDS.get(it)) {
                page.tag_from_menu(*what);
            }
        });
        for (name, act) in [
            ("exit-good", (|it| it.rate_exit(Exit::Good)) as fn(&Self)),
            ("exit-bad", |it| it.rate_exit(Exit::Bad)),
            ("tag-note", Self::write_new_note),
            ("tag-set", Self::edit_tag_set),
        ] {
            let action = gio::SimpleAction::new(name, None);
            let page = self.downgrade();
            action.connect_activate(move |_, _| {
                if let Some(page) = page.upgrade() {
                    act(&page);
                }
            });
            self.actions().add_action(&action);
        }
    }

    fn actions(&self) -> &gio::SimpleActionGroup {
        self.imp().actions.get().expect("made where the page is made")
    }

    fn add_tag_action(&self, name: &str, act: fn(&Self, u32)) {
        let action = gio::SimpleAction::new(name, Some(glib::VariantTy::UINT32));
        let page = self.downgrade();
        action.connect_activate(move |_, target| {
            if let (Some(page), Some(number)) = (page.upgrade(), target.and_then(glib::Variant::get)) {
                act(&page, number);
            }
        });
        self.actions().add_action(&action);
    }

    /// The menu lists the kinds that the book has now.
    pub(super) fn show_tag_menu(&self) {
        let menu = self.imp().review.borrow().as_ref().map(|it| tag_menu(it.history.book()));
        self.imp().tag.set_menu_model(menu.as_ref());
        // A new model has a new popover.
        self.focus_after(&self.imp().tag);
    }

    fn is_menu_on_pass(&self) -> bool {
        self.actions().action_state("tag-on").is_some_and(|it| it.str() == Some("pass"))
    }

    fn tag_from_menu(&self, what: What) {
        if self.is_menu_on_pass() { self.tag_pass(what) } else { self.tag_frame(what) }
    }

    /// Where the menu puts a tag now.
    fn menu_place(&self, review: &Review) -> Option<TagPlace> {
        if !self.is_menu_on_pass() {
            return Some(TagPlace::Frame { t_s: review.playhead().from_s });
        }
        review.pass().map(|it| TagPlace::Pass { lap: it.lap, corner: it.corner })
    }

    fn write_new_note(&self) {
        self.pause();
        let Some(on) = self.imp().review.borrow().as_ref().and_then(|it| self.menu_place(it)) else {
            return self.tell("there is no pass here to tag; go to a corner first");
        };
        let title = if self.is_menu_on_pass() { "Note on this pass" } else { "Note on this frame" };
        let page = self.downgrade();
        write_note(self, title, "", move |text| {
            let (Some(page), false) = (page.upgrade(), text.is_empty()) else { return Ok(()) };
            let tag = Tag { on, what: What::Note, note: Some(text.to_owned()) };
            let next = page.imp().review.borrow().as_ref().map(|it| it.history.book().next_id);
            next.map_or(Ok(()), |it| page.try_change(Op::Tag(it, Some(tag))))
        });
    }

    fn rewrite_note(&self, id: Id, title: &str) {
        let Some(tag) = self.tag_of(id) else { return };
        let page = self.downgrade();
        write_note(self, title, tag.note.as_deref().unwrap_or_default(), move |text| {
            let Some((page, tag)) = page.upgrade().and_then(|it| Some((it.clone(), it.tag_of(id)?))) else {
                return Ok(());
            };
            let note = (!text.is_empty()).then(|| text.to_owned());
            if note == tag.note { Ok(()) } else { page.try_change(Op::Tag(id, Some(Tag { note, ..tag }))) }
        });
    }

    fn tag_of(&self, id: Id) -> Option<Tag> {
        self.imp().review.borrow().as_ref().and_then(|it| it.history.book().tags.get(&id).cloned())
    }

    fn do_what_is_asked(&self, ask: Ask) {
        match ask {
            Ask::GoToTag(id) => self.go_to_tag(u64::from(id.0)),
            Ask::GoToFrame(frame) => self.go_to_frame(frame),
            Ask::Change(op) => self.change(op),
            Ask::WriteNote { tag, title } => self.rewrite_note(tag, &title),
            Ask::KeepPoint(name) => self.keep_point(name),
            Ask::EditSet => self.edit_tag_set(),
        }
    }

    fn go_to_frame(&self, frame: FrameRef) {
        let chapter = match frame.footage {
            FootageRef::Chapter(chapter) => chapter,
            FootageRef::Trackside(footage) => return self.show_trackside_frame(footage, frame.at),
        };
        self.go_to(|review| {
            let is_there = chapter < review.footage.chapters.len();
            is_there.then(|| review.timeline.on_frame(FootagePlace { chapter, at: frame.at }))
        });
        self.begin_playing_anew();
    }

    /// Keeps a name as a reference point of the corner on show. Where it is in the picture, nobody has said yet.
    fn keep_point(&self, name: String) {
        let op = self.imp().review.borrow().as_ref().and_then(|review| {
            let point = ReferencePoint { corner: review.subject().corner?, name, circled: None };
            Some(Op::ReferencePoint(review.history.book().next_id, Some(point)))
        });
        if let Some(op) = op {
            self.change(op);
        }
    }

    /// Opens the editor of the team's tag set.
    pub(crate) fn edit_tag_set(&self) {
        if self.imp().review.borrow().is_none() {
            return;
        }
        let (of_book, of_change) = (self.downgrade(), self.downgrade());
        let owner = SetOwner {
            book: Box::new(move || {
                let page = of_book.upgrade()?;
                page.imp().review.borrow().as_ref().map(|it| it.history.book().clone())
            }),
            change: Box::new(move |op| of_change.upgrade().map_or(Ok(()), |it| it.try_change(op))),
            is_page_key: Box::new(is_taken),
        };
        show_tag_set(self, owner);
    }

    /// Whether the focus is where text is typed: then keys are letters.
    pub(super) fn is_text_typed(&self) -> bool {
        self.focused().is_some_and(|it| it.is::<gtk::Text>() || it.is::<gtk::TextView>())
    }

    fn focused(&self) -> Option<gtk::Widget> {
        self.root()?.focus()
    }

    /// Takes typing back, or does it again, in the field that has the focus. `false` where there is none, or nothing
    /// was typed in it: then the book is meant.
    pub(super) fn does_text(&self, action: &str) -> bool {
        let Some(field) = self.focused().and_downcast::<gtk::Text>() else { return false };
        let before = field.text();
        field.activate_action(action, None).is_ok() && field.text() != before
    }
}
