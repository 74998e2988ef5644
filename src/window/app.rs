//! The application: starts GTK, opens windows, holds the settings.

use std::cell::RefCell;
use std::path::PathBuf;
use std::rc::Rc;

use gtk::gio;
use gtk::glib;
use gtk::prelude::*;
use gtk4 as gtk;

use crate::window::listeners::Listeners;
use crate::window::main_window::MainWindow;
use crate::window::saver::Saver;
use crate::window::settings::Settings;

/// How the desktop knows the program: desktop file, icon and metainfo carry the same name.
pub(crate) const APPLICATION_ID: &str = "org.cornerbook.Cornerbook";

/// The settings, shared by all windows, and what keeps them.
#[derive(Debug, Clone)]
pub(crate) struct SharedSettings {
    value: Rc<RefCell<Settings>>,
    /// `None` once the program ends: then all is kept.
    saver: Rc<RefCell<Option<Saver<Settings>>>>,
    on_trouble: Rc<Listeners<String>>,
}

impl SharedSettings {
    fn of_user() -> (Self, Option<String>) {
        let path = glib::user_config_dir().join("cornerbook").join("settings.json");
        let (value, trouble) = Settings::read(&path);
        let on_trouble = Rc::new(Listeners::default());
        let told = on_trouble.clone();
        let save = move |it: &Settings| it.write(&path).map_err(|error| error.to_string());
        let saver = Saver::new("settings saver", save, move |saved: Result<(), String>| {
            if let Err(sentence) = saved {
                told.tell(sentence)
            }
        });
        let (value, saver) = (Rc::new(RefCell::new(value)), Rc::new(RefCell::new(Some(saver))));
        (Self { value, saver, on_trouble }, trouble)
    }

    pub(crate) fn get(&self) -> Settings {
        self.value.borrow().clone()
    }

    /// Changes the settings for now; they are kept with the next change that is.
    pub(crate) fn set(&self, change: impl FnOnce(&mut Settings)) {
        change(&mut self.value.borrow_mut());
    }

    /// Changes the settings and keeps them.
    pub(crate) fn change(&self, change: impl FnOnce(&mut Settings)) {
        change(&mut self.value.borrow_mut());
        if let Some(saver) = &*self.saver.borrow() {
            saver.save(self.value.borrow().clone());
        }
    }

    /// Is told one sentence where the settings cannot be kept.
    pub(crate) fn connect_trouble(&self, told: impl Fn(String) + 'static) {
        self.on_trouble.add(told);
    }

    /// Comes back when the last change is on the disk.
    fn finish(&self) {
        self.saver.replace(None);
    }
}

/// Whether there is a display to open a window on.
pub fn has_display() -> bool {
    gtk::init().is_ok()
}

/// Opens the window and comes back when it is closed: the exit code. One book is opened, other files become a new book,
/// and with none of both it is the start page.
pub fn run(files: &[PathBuf]) -> u8 {
    // Each start is a program of its own: what happens to one book never touches another.
    let application =
        gtk::Application::builder().application_id(APPLICATION_ID).flags(gio::ApplicationFlags::NON_UNIQUE).build();
    application.connect_startup(|_| {
        load_style();
        gtk::Window::set_default_icon_name(APPLICATION_ID);
    });
    let (settings, trouble) = SharedSettings::of_user();
    let (files, given) = (files.to_vec(), settings.clone());
    application.connect_activate(move |application| {
        let window = MainWindow::new(application, given.clone());
        window.present();
        if let Some(trouble) = &trouble {
            window.tell(trouble);
        }
        if !files.is_empty() {
            window.open_files(&files);
        }
    });
    close_on_signals(&application);
    // What was typed has been taken apart already.
    let code = application.run_with_args::<&str>(&[]).get();
    settings.finish();
    code
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
