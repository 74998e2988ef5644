//! Asks where something new goes that is made of the open book.

use std::path::PathBuf;

use gtk::gio;
use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::window::main_window::MainWindow;

impl MainWindow {
    /// Asks for a name, `name` unless another is given; begins in the folder of the open book.
    pub(super) fn choose_new(&self, title: &str, accept: &str, name: &str, chosen: impl Fn(&Self, PathBuf) + 'static) {
        let chooser = gtk::FileChooserNative::new(
            Some(title),
            Some(self),
            gtk::FileChooserAction::Save,
            Some(accept),
            Some("Cancel"),
        );
        chooser.set_modal(true);
        chooser.set_current_name(name);
        let book = self.imp().review_page.book_path();
        if let Some(folder) = book.as_deref().and_then(std::path::Path::parent) {
            // Where the folder is gone, the dialog opens where it likes.
            let _ = chooser.set_current_folder(Some(&gio::File::for_path(folder)));
        }
        let window = self.downgrade();
        // The dialog lives until it has answered: the closure holds it.
        let held = chooser.clone();
        chooser.connect_response(move |_, response| {
            let path = held.file().and_then(|it| it.path());
            held.destroy();
            if let (gtk::ResponseType::Accept, Some(window), Some(path)) = (response, window.upgrade(), path) {
                chosen(&window, path);
            }
        });
        chooser.show();
    }
}
