//! Asks where the film of the reel goes; it is written while the review goes on.

use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::handout;
use crate::window::main_window::MainWindow;

impl MainWindow {
    pub(super) fn connect_reel(&self) {
        let window = gtk::glib::object::ObjectExt::downgrade(self);
        self.imp().review_page.connect_film_wanted(move || {
            if let Some(window) = window.upgrade() {
                window.choose_film();
            }
        });
    }

    fn choose_film(&self) {
        let Some(book) = self.imp().review_page.book_path() else { return };
        let name = format!("{} reel.mp4", handout::name_of(&book));
        self.choose_new("The film of the reel", "Write", &name, |window, path| {
            let (held, wait) = async_channel::bounded::<()>(1);
            window.imp().review_page.write_film(path, held);
            window.stay_until_closed(wait);
        });
    }
}
