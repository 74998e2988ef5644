//! Keeping the book on disk: each change is saved at once; where that fails, a person decides what becomes of it.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::book::Book;
use crate::book::store::{Keeper, NotSaved};
use crate::files;
use crate::window::review::ReviewPage;
use crate::window::saver::Saver;

/// What a person decides about a book that is not saved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Decision {
    /// Into another file, and on with that one.
    SaveAs(PathBuf),
    /// Whatever the file holds now.
    WriteOver,
    TryAgain,
}

/// The book as it is to be on disk, and the last decision with its number: each is carried out once.
type State = (Book, u32, Decision);

/// What saves the book, and what came of it.
#[derive(Debug)]
pub(super) struct Keeping {
    saver: Saver<State>,
    decided: (u32, Decision),
    not_saved: Option<NotSaved>,
}

impl Keeping {
    pub(super) fn save(&self, book: &Book) {
        let (number, decision) = self.decided.clone();
        self.saver.save((book.clone(), number, decision));
    }
}

/// Whether the book that is open is on disk as it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Kept {
    Saved,
    Saving,
    Not {
        sentence: String,
        /// What may help besides another name.
        way_out: Option<Decision>,
    },
}

impl ReviewPage {
    pub(super) fn keep_with(&self, mut keeper: Keeper) -> Keeping {
        let page = self.downgrade();
        let mut carried_out = 0;
        let save = move |(book, number, decision): &State| {
            let is_new = *number > carried_out;
            carried_out = *number;
            match decision {
                Decision::SaveAs(path) if is_new => keeper.save_as(book, path),
                Decision::WriteOver if is_new => keeper.save_over(book),
                _ => keeper.save(book),
            }?;
            Ok(keeper.path().to_owned())
        };
        let saver = Saver::new("book saver", save, move |saved| {
            if let Some(page) = page.upgrade() {
                page.take_saved(saved);
            }
        });
        Keeping { saver, decided: (0, Decision::TryAgain), not_saved: None }
    }

    fn take_saved(&self, saved: Result<PathBuf, NotSaved>) {
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            let is_elsewhere = |path: &PathBuf| review.session.book.as_ref().is_some_and(|it| it.0 != *path);
            if let Some(path) = saved.as_ref().ok().filter(|it| is_elsewhere(it)) {
                Arc::make_mut(&mut review.session).book = Some((path.clone(), review.history.book().clone()));
            }
            review.keeping.not_saved = saved.err();
        }
        self.imp().on_kept.tell(());
    }

    /// Is called whenever the book was saved, or could not be.
    pub(crate) fn connect_kept(&self, kept: impl Fn() + 'static) {
        self.imp().on_kept.add(move |()| kept());
    }

    pub(crate) fn kept(&self) -> Kept {
        let review = self.imp().review.borrow();
        let Some(keeping) = review.as_ref().map(|it| &it.keeping) else { return Kept::Saved };
        match &keeping.not_saved {
            _ if keeping.saver.is_busy() => Kept::Saving,
            None => Kept::Saved,
            Some(not_saved) => Kept::Not { sentence: not_saved.to_string(), way_out: way_out(not_saved) },
        }
    }

    /// Where the open book is.
    pub(crate) fn book_path(&self) -> Option<PathBuf> {
        self.imp().review.borrow().as_ref()?.session.book.as_ref().map(|it| it.0.clone())
    }

    /// Saves the book as a person has decided.
    ///
    /// # Errors
    /// The new name is that of a file which the session is read from.
    pub(crate) fn decide(&self, decision: Decision) -> Result<(), files::Error> {
        if let Some(review) = &mut *self.imp().review.borrow_mut() {
            if let Decision::SaveAs(path) = &decision {
                let footage = review.footage.chapters.iter().map(|it| it.path.as_path());
                files::refuse_input(path, review.session.files.iter().map(PathBuf::as_path).chain(footage))?;
            }
            review.keeping.decided = (review.keeping.decided.0 + 1, decision);
            review.keeping.save(review.history.book());
        }
        Ok(())
    }
}

fn way_out(not_saved: &NotSaved) -> Option<Decision> {
    match not_saved {
        NotSaved::ChangedMeanwhile { .. } => Some(Decision::WriteOver),
        NotSaved::File(_) => Some(Decision::TryAgain),
        NotSaved::ReadOnly { .. } | NotSaved::InUse { .. } => None,
    }
}

/// A name for the book beside the one that it has: "stint 2.cornerbook".
pub(crate) fn other_name(path: &Path) -> String {
    let name = path.file_stem().unwrap_or_default().to_string_lossy();
    format!("{name} 2.cornerbook")
}
