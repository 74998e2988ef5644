//! The page that says which files a book is made of, and what was noticed in them.

use std::path::{Path, PathBuf};

use gtk::prelude::*;
use gtk4 as gtk;

use crate::book::{Book, FileRef};
use crate::present;
use crate::window::parts::{heading, wrapping};

/// See the module.
#[derive(Debug, Clone)]
pub(super) struct FilesPage {
    root: gtk::ScrolledWindow,
    files: gtk::Grid,
    noticed: gtk::Box,
}

impl FilesPage {
    pub(super) fn new() -> Self {
        let files = gtk::Grid::builder().column_spacing(12).row_spacing(4).build();
        let noticed = gtk::Box::new(gtk::Orientation::Vertical, 8);
        let all = gtk::Box::builder().orientation(gtk::Orientation::Vertical).spacing(12).build();
        all.add_css_class("findings");
        all.append(&files);
        all.append(&heading("What was noticed in them"));
        all.append(&noticed);
        let root = gtk::ScrolledWindow::builder().child(&all).hscrollbar_policy(gtk::PolicyType::Never).build();
        Self { root, files, noticed }
    }

    pub(super) fn widget(&self) -> &gtk::Widget {
        self.root.upcast_ref()
    }

    /// `missing`: one that is nowhere to be found.
    pub(super) fn show_files(&self, book: &Book, missing: Option<&Path>) {
        while let Some(old) = self.files.first_child() {
            self.files.remove(&old);
        }
        for (row, (what, path)) in (0..).zip(files_of(book)) {
            let is_missing = Some(path.as_path()) == missing;
            let what = gtk::Label::builder().label(what).xalign(0.0).yalign(0.0).css_classes(["dim-label"]).build();
            let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy();
            let name = if is_missing { format!("{name} (not found)") } else { name.into_owned() };
            let label = wrapping(&present::one_line(&name));
            label.set_tooltip_text(Some(&path.to_string_lossy()));
            self.files.attach(&what, 0, row, 1, 1);
            self.files.attach(&label, 1, row, 1, 1);
        }
    }

    /// What was set aside, assumed or found odd, in words.
    pub(super) fn show_notes(&self, sentences: &[String]) {
        while let Some(old) = self.noticed.first_child() {
            self.noticed.remove(&old);
        }
        if sentences.is_empty() {
            self.noticed.append(&wrapping("Nothing was set aside."));
        }
        sentences.iter().for_each(|it| self.noticed.append(&wrapping(it)));
    }
}

/// What each file of a book is, in words, and where it is.
fn files_of(book: &Book) -> Vec<(&'static str, PathBuf)> {
    let one = |what, file: &Option<FileRef>| file.iter().map(|it| (what, it.path.clone())).collect::<Vec<_>>();
    let logs = book.logs.iter().map(|it| ("Log", it.path.clone()));
    let footage = book.recording.chapters.iter().map(|it| ("Footage", it.path.clone()));
    let trackside = book.trackside.values().map(|it| ("Trackside", it.file.path.clone()));
    let besides = [one("Track", &book.track), one("Columns", &book.columns)].concat();
    logs.chain(footage).chain(trackside).chain(besides).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_of_a_book_is_listed() {
        let file = |name: &str| FileRef { path: PathBuf::from(name), length_bytes: 1 };
        let mut book = Book::new(vec![file("a.csv"), file("b.csv")]);
        book.recording.chapters = vec![file("c.mp4")];
        (book.track, book.columns) = (Some(file("t.json")), Some(file("m.toml")));
        let listed: Vec<_> =
            files_of(&book).into_iter().map(|(what, path)| (what, path.display().to_string())).collect();
        let expected =
            [("Log", "a.csv"), ("Log", "b.csv"), ("Footage", "c.mp4"), ("Track", "t.json"), ("Columns", "m.toml")];
        assert_eq!(listed, expected.map(|(what, path)| (what, path.to_owned())));
    }
}
