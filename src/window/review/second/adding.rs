//! Trackside footage in the book: added to it, taken out of it, read when it is chosen, and found again where it has
//! moved.

use std::path::{Path, PathBuf};

use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::book::file::{footage_of, refer_to};
use crate::book::{FileRef, FootageRef, Id, Op, Trackside as InBook};
use crate::job::Context;
use crate::load;
use crate::window::inbox::in_background;
use crate::window::loading::Chapter;
use crate::window::review::ReviewPage;
use crate::window::review::second::Beside;
use crate::window::review::second::trackside::{Trackside, find_and_read, read};

/// A file that was looked into, to be added.
type Found = (FileRef, Chapter);

impl ReviewPage {
    pub(crate) fn choose_trackside_file(&self) {
        if self.imp().review.borrow().is_some() {
            self.choose_file("Add trackside footage", "Add", None, Self::add_trackside);
        }
    }

    /// Looks into a film in the background, adds it to the book as trackside footage and shows it.
    pub(crate) fn add_trackside(&self, path: PathBuf) {
        let known = match &*self.imp().review.borrow() {
            Some(review) => footage_of(review.history.book(), &path),
            None => return,
        };
        match known {
            Some(FootageRef::Trackside(id)) => return self.choose_trackside(id),
            Some(FootageRef::Chapter(_)) => {
                return self.tell(&format!("{}: is this book's onboard footage already", path.display()));
            }
            None => {}
        }
        let page = self.downgrade();
        let running = in_background(
            "trackside footage",
            move |context| look_into(&path, context),
            move |found| {
                let Some(page) = page.upgrade() else { return };
                match found {
                    Ok(found) => page.put_trackside_in(found),
                    Err(error) => page.tell(&error.to_string()),
                }
            },
        );
        self.second().reading.replace(Some(running));
    }

    fn put_trackside_in(&self, (file, chapter): Found) {
        let Some(id) = self.imp().review.borrow().as_ref().map(|it| it.history.book().next_id) else { return };
        match self.try_change(Op::Trackside(id, Some(InBook::unpinned(file.clone())))) {
            Ok(()) => {
                let mut trackside = Trackside::new(id, file);
                trackside.take(Ok(chapter));
                self.show_trackside(trackside);
            }
            Err(sentence) => self.tell(&sentence),
        }
    }

    /// Takes the trackside footage on show out of the book.
    pub(super) fn remove_trackside(&self) {
        if let Some(id) = self.trackside_on_show() {
            self.change(Op::Trackside(id, None));
        }
    }

    /// Shows trackside footage of the book beside the first picture.
    pub(super) fn choose_trackside(&self, id: Id) {
        let file = match &*self.imp().review.borrow() {
            Some(review) => review.history.book().trackside.get(&id).map(|it| it.file.clone()),
            None => None,
        };
        if let Some(file) = file {
            self.read_trackside(Trackside::new(id, file));
        }
    }

    /// Shows trackside footage as soon as its file has been looked into, in the background.
    pub(super) fn read_trackside(&self, trackside: Trackside) {
        let book = self.imp().review.borrow().as_ref().and_then(|it| it.session.book.as_ref().map(|it| it.0.clone()));
        let Some(book) = book else { return };
        let (id, file) = (trackside.id, trackside.file.clone());
        self.show_trackside(trackside);
        let page = self.downgrade();
        let running = in_background(
            "trackside footage",
            move |context| find_and_read(&file, &book, context),
            move |found| {
                if let Some(page) = page.upgrade() {
                    page.take_read(id, found);
                }
            },
        );
        self.second().reading.replace(Some(running));
    }

    fn take_read(&self, id: Id, found: Result<Chapter, load::Error>) {
        match &mut *self.second().beside.borrow_mut() {
            Beside::Trackside(shown) if shown.id == id => shown.take(found),
            _ => return,
        }
        self.begin_second_anew();
        self.show_second();
        self.focus_on_unpinned();
    }

    fn show_trackside(&self, trackside: Trackside) {
        self.take_beside(Beside::Trackside(Box::new(trackside)));
        self.imp().second_toggle.set_active(true);
        self.focus_on_unpinned();
    }

    /// What waits for its first pin is what the keys move.
    fn focus_on_unpinned(&self) {
        let second = self.second();
        let waits = second.beside.borrow().trackside().is_some_and(|it| it.is_alone() && it.chapter().is_some());
        if waits {
            second.picture().grab_focus();
        }
    }

    /// Asks where a missing file is now, and says so in the book.
    pub(super) fn find_trackside(&self) {
        let file = self.second().beside.borrow().trackside().map(|it| it.file.clone());
        let Some(file) = file else { return };
        self.choose_file("Find the trackside footage", "This is it", None, move |page, path| {
            let now = match refer_to(&path) {
                Ok(now) => now,
                Err(error) => return page.tell(&error.to_string()),
            };
            let op = page.imp().review.borrow().as_ref().and_then(|it| it.history.book().moved(&file.path, now));
            if let Some(op) = op {
                page.change(op);
            }
        });
    }
}

fn look_into(path: &Path, context: &Context) -> Result<Found, load::Error> {
    let chapter = read(path, context)?;
    Ok((refer_to(path)?, chapter))
}
