//! The application: starts GTK, opens windows, holds the settings.

use std::cell::RefCell;
use std::path::{Path, PathBuf};
use std::rc::Rc;

use gtk::gio;
use gtk::glib;
use gtk::prelude::*;
use gtk4 as gtk;

use crate::window::main_window::MainWindow;
use crate::window::settings::Settings;

/// How the desktop knows the program: desktop file, icon and metainfo carry the same name.
pub(crate) const APPLICATION_ID: &str = "org.cornerbook.Cornerbook";

/// The settings, shared by all windows, and where they are kept.
#[derive(Debug, Clone)]
pub(crate) struct SharedSettings {
    path: PathBuf,
    value: Rc<RefCell<Settings>>,
}

impl SharedSettings {
    fn of_user() -> (Self, Option<String>) {
        let path = glib::user_config_dir().join("cornerbook").join("settings.json");
        let (value, trouble) = Settings::read(&path);
        (Self { path, value: Rc::new(RefCell::new(value)) }, trouble)
    }

    pub(crate) fn get(&self) -> Settings {
        self.value.borrow().clone()
    }

    /// Changes the settings for now; they are kept with the next change that is.
    pub(crate) fn set(&self, change: impl FnOnce(&mut Settings)) {
        change(&mut self.value.borrow_mut());
    }

    /// Changes the settings and keeps them; the sentence tells why they could not be kept.
    pub(crate) fn change(&self, change: impl FnOnce(&mut Settings)) -> Result<(), String> {
        change(&mut self.value.borrow_mut());
        self.value.borrow().write(&self.path).map_err(|error| error.to_string())
    }
}

/// Whether there is a display to open a window on.
pub fn has_display() -> bool {
    gtk::init().is_ok()
}

/// Opens the window, on a book or on the start page, and comes back when it is closed: the exit code.
pub fn run(book: Option<&Path>) -> u8 {
    // Each start is a program of its own: what happens to one book never touches another.
    let application =
        gtk::Application::builder().application_id(APPLICATION_ID).flags(gio::ApplicationFlags::NON_UNIQUE).build();
    application.connect_startup(|_| {
        load_style();
        gtk::Window::set_default_icon_name(APPLICATION_ID);
    });
    let book = book.map(Path::to_owned);
    application.connect_activate(move |application| {
        let (settings, trouble) = SharedSettings::of_user();
        let window = MainWindow::new(application, settings);
        window.present();
        if let Some(trouble) = trouble {
            window.tell(&trouble);
        }
        if let Some(book) = &book {
            window.open(book);
        }
    });
    close_on_signals(&application);
    // What was typed has been taken apart already.
    application.run_with_args::<&str>(&[]).get()
}

/// Ctrl-C in the terminal and the end of a session close the windows as a person does: what waits is saved.
fn close_on_signals(application: &gtk::Application) {
    // The numbers are POSIX's.
    const INTERRUPT: i32 = 2;
    const TERMINATE: i32 = 15;
    for signal in [INTERRUPT, TERMINATE] {
        let application = application.clone();
        glib::unix_signal_add_local(signal, move || {
            application.windows().iter().for_each(gtk::Window::close);
            glib::ControlFlow::Continue
        });
    }
}

fn load_style() {
    let provider = gtk::CssProvider::new();
    provider.load_from_data(include_str!("../../resources/window/style.css"));
    if let Some(display) = gtk::gdk::Display::default() {
        gtk::style_context_add_provider_for_display(&display, &provider, gtk::STYLE_PROVIDER_PRIORITY_APPLICATION);
    }
}
