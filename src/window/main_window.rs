//! The main window: header, messages, and one of three pages. Opens books and makes new ones; the review itself is the
//! review page's.

use std::cell::{Cell, OnceCell, RefCell};
use std::path::{Path, PathBuf};
use std::time::Duration;

use gtk::gio;
use gtk::glib;
use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

use crate::book::store::OpenError;
use crate::book::{self, Op};
use crate::files::Overwrite;
use crate::job::Context;
use crate::load::{self, FileKind};
use crate::sample::{self, SampleOptions};
use crate::window::app::SharedSettings;
use crate::window::inbox::{Running, in_background};
use crate::window::loading::{self, Loaded};
use crate::window::report::Reviewed;
use crate::window::review::{Decision, Kept, ReviewPage};
use crate::window::start_page::StartPage;
use crate::window::unsaved::Waiting;

/// How often the progress bar is drawn anew.
const PROGRESS_PERIOD: Duration = Duration::from_millis(100);

mod imp {
    use super::*;

    #[derive(Default, gtk::CompositeTemplate)]
    #[template(file = "../../resources/window/main.ui")]
    pub struct MainWindow {
        #[template_child]
        pub(super) title_label: TemplateChild<gtk::Label>,
        #[template_child]
        pub(super) subtitle_label: TemplateChild<gtk::Label>,
        #[template_child]
        pub(super) start_button: TemplateChild<gtk::Button>,
        #[template_child]
        pub(super) undo_button: TemplateChild<gtk::Button>,
        #[template_child]
        pub(super) redo_button: TemplateChild<gtk::Button>,
        #[template_child]
        pub(super) menu_button: TemplateChild<gtk::MenuButton>,
        #[template_child]
        pub(in crate::window) message_box: TemplateChild<gtk::Box>,
        #[template_child]
        pub(super) message_label: TemplateChild<gtk::Label>,
        #[template_child]
        pub(super) message_action: TemplateChild<gtk::Button>,
        #[template_child]
        pub(super) message_other: TemplateChild<gtk::Button>,
        #[template_child]
        pub(super) message_close: TemplateChild<gtk::Button>,
        #[template_child]
        pub(super) stack: TemplateChild<gtk::Stack>,
        #[template_child]
        pub(super) start_page: TemplateChild<StartPage>,
        #[template_child]
        pub(super) busy_label: TemplateChild<gtk::Label>,
        #[template_child]
        pub(super) busy_bar: TemplateChild<gtk::ProgressBar>,
        #[template_child]
        pub(super) busy_cancel: TemplateChild<gtk::Button>,
        #[template_child]
        pub(in crate::window) review_page: TemplateChild<ReviewPage>,
        pub(super) settings: OnceCell<SharedSettings>,
        pub(super) running: RefCell<Option<Running>>,
        /// What the buttons of the message do, the last button's last.
        pub(super) ways_out: RefCell<Vec<WayOut>>,
        /// Whether the message is of a book that is not saved.
        pub(in crate::window) is_of_unsaved: Cell<bool>,
        /// What waits for the book to be saved.
        pub(in crate::window) waiting: RefCell<Option<Waiting>>,
        pub(super) may_close: Cell<bool>,
        /// The page to go back to when what is running is cancelled.
        pub(super) page_before: Cell<Page>,
    }

    impl std::fmt::Debug for MainWindow {
        fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
            f.debug_struct("MainWindow").finish_non_exhaustive()
        }
    }

    #[glib::object_subclass]
    impl ObjectSubclass for MainWindow {
        const NAME: &'static str = "CornerbookWindow";
        type Type = super::MainWindow;
        type ParentType = gtk::ApplicationWindow;

        fn class_init(class: &mut Self::Class) {
            StartPage::ensure_type();
            ReviewPage::ensure_type();
            class.bind_template();
        }

        fn instance_init(object: &glib::subclass::InitializingObject<Self>) {
            object.init_template();
        }
    }

    impl ObjectImpl for MainWindow {}
    impl WidgetImpl for MainWindow {}
    impl WindowImpl for MainWindow {}
    impl ApplicationWindowImpl for MainWindow {}
}

glib::wrapper! {
    pub struct MainWindow(ObjectSubclass<imp::MainWindow>)
        @extends gtk::Widget, gtk::Window, gtk::ApplicationWindow,
        @implements gio::ActionGroup, gio::ActionMap, gtk::Accessible, gtk::Buildable, gtk::ConstraintTarget,
            gtk::Native, gtk::Root, gtk::ShortcutManager;
}

/// What the window shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Page {
    #[default]
    Start,
    Busy,
    Review,
}

impl Page {
    fn name(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::Busy => "busy",
            Self::Review => "review",
        }
    }
}

/// How many of which files are chosen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Choice {
    Book,
    One,
    Several,
}

/// What can be done about a book that does not open, or is not saved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum WayOut {
    OpenToRead { book: PathBuf },
    Find { book: PathBuf, missing: PathBuf },
    SaveAs,
    Decide(Decision),
}

impl WayOut {
    fn of(error: &anyhow::Error) -> Option<Self> {
        if let Some(OpenError::InUse { file }) = error.downcast_ref() {
            return Some(Self::OpenToRead { book: file.into() });
        }
        match error.downcast_ref() {
            Some(load::Error::Book(book::file::Error::Missing { path, book, .. })) => {
                Some(Self::Find { book: book.into(), missing: path.clone() })
            }
            _ => None,
        }
    }

    pub(super) fn label(&self) -> &'static str {
        match self {
            Self::OpenToRead { .. } => "Open to read only",
            Self::Find { .. } => "Find the file…",
            Self::SaveAs | Self::Decide(Decision::SaveAs(_)) => "Save as…",
            Self::Decide(Decision::WriteOver) => "Write over it",
            Self::Decide(Decision::TryAgain) => "Try again",
        }
    }
}

impl MainWindow {
    pub(crate) fn new(application: &gtk::Application, settings: SharedSettings) -> Self {
        let window: Self = glib::Object::builder().property("application", application).build();
        window.imp().review_page.set_settings(settings.clone());
        let told = window.downgrade();
        settings.connect_trouble(move |sentence| {
            if let Some(window) = told.upgrade() {
                window.tell(&sentence);
            }
        });
        window.imp().settings.set(settings).expect("the window is made once");
        window.add_actions(application);
        window.connect_parts();
        window.show_page(Page::Start);
        window
    }

    /// What is open in the review; nothing where no book is.
    pub(super) fn reviewed(&self) -> Option<Reviewed> {
        self.imp().review_page.reviewed()
    }

    fn settings(&self) -> &SharedSettings {
        self.imp().settings.get().expect("set where the window is made")
    }

    fn add_actions(&self, application: &gtk::Application) {
        let on = |name: &str, keys: &[&str], act: fn(&Self)| {
            let action = gio::SimpleAction::new(name, None);
            let window = self.downgrade();
            action.connect_activate(move |_, _| {
                if let Some(window) = window.upgrade() {
                    act(&window);
                }
            });
            self.add_action(&action);
            application.set_accels_for_action(&format!("win.{name}"), keys);
        };
        on("new", &["<Control>n"], Self::choose_files);
        on("open", &["<Control>o"], Self::choose_book);
        on("sample", &[], Self::open_sample);
        on("show-start", &[], Self::leave_book);
        on("undo", &["<Control>z"], |it| it.imp().review_page.undo());
        on("redo", &["<Control><Shift>z"], |it| it.imp().review_page.redo());
        on("add-trackside", &[], |it| it.imp().review_page.choose_trackside_file());
        on("report", &[], Self::choose_report);
        on("tag-set", &[], |it| it.imp().review_page.edit_tag_set());
        on("about", &[], Self::show_about);
        on("close", &["<Control>w", "<Control>q"], Self::close);
        on("settings", &["<Control>comma"], |it| it.imp().review_page.show_settings(it.upcast_ref()));
        on("fullscreen", &["F11"], |it| it.set_fullscreened(!it.is_fullscreen()));
        let shortcuts = gtk::Builder::from_string(include_str!("../../resources/window/shortcuts.ui"));
        self.set_help_overlay(Some(&shortcuts.object("shortcuts").expect("the description names it")));
        application.set_accels_for_action("win.show-help-overlay", &["F1", "<Control>question"]);
    }

    fn connect_parts(&self) {
        let imp = self.imp();
        let window = self.downgrade();
        let with_window = move |act: fn(&Self)| {
            let window = window.clone();
            move || {
                if let Some(window) = window.upgrade() {
                    act(&window);
                }
            }
        };
        let hide_message = with_window(|it| it.imp().message_box.set_visible(false));
        imp.message_close.connect_clicked(move |_| hide_message());
        let way_out = with_window(|it| it.take_way_out(0));
        imp.message_action.connect_clicked(move |_| way_out());
        let way_out = with_window(|it| it.take_way_out(1));
        imp.message_other.connect_clicked(move |_| way_out());
        let to_picture = with_window(Self::focus_on_review);
        if let Some(menu) = imp.menu_button.popover() {
            menu.connect_closed(move |_| to_picture());
        }
        self.connect_focus_widget_notify(|window| {
            if gtk::prelude::GtkWindowExt::focus(window).is_none() {
                window.focus_on_review();
            }
        });
        let cancel = with_window(Self::cancel);
        imp.busy_cancel.connect_clicked(move |_| cancel());
        let window = self.downgrade();
        imp.start_page.connect_book_chosen(move |path| {
            if let Some(window) = window.upgrade() {
                window.open(path);
            }
        });
        let window = self.downgrade();
        imp.review_page.connect_trouble(move |sentence| {
            if let Some(window) = window.upgrade() {
                window.tell(sentence);
            }
        });
        self.connect_reel();
        let window = self.downgrade();
        imp.review_page.connect_changed(move || {
            if let Some(window) = window.upgrade() {
                window.show_undo();
            }
        });
        let window = self.downgrade();
        imp.review_page.connect_kept(move || {
            if let Some(window) = window.upgrade() {
                window.show_kept();
            }
        });
        self.connect_close_request(|window| {
            if window.imp().review_page.kept() == Kept::Saved || window.imp().may_close.get() {
                window.imp().review_page.clear();
                return glib::Propagation::Proceed;
            }
            window.once_saved(|it| {
                it.imp().may_close.set(true);
                it.close();
            });
            glib::Propagation::Stop
        });
        self.accept_drops();
    }

    /// Files dropped anywhere on the window become a book, or open one; a film alone is added to the book that is open, as
    /// trackside footage.
    fn accept_drops(&self) {
        let target = gtk::DropTarget::new(gtk::gdk::FileList::static_type(), gtk::gdk::DragAction::COPY);
        let window = self.downgrade();
        target.connect_drop(move |_, value, _, _| {
            let (Some(window), Ok(list)) = (window.upgrade(), value.get::<gtk::gdk::FileList>()) else { return false };
            let paths: Vec<PathBuf> = list.files().iter().filter_map(gio::File::path).collect();
            window.take_dropped(&paths);
            !paths.is_empty()
        });
        self.add_controller(target);
    }

    /// The keys of the review are heard again after a menu or a message has had the focus.
    fn focus_on_review(&self) {
        let window = self.downgrade();
        // Once what has gone has let go of the focus.
        glib::idle_add_local_once(move || {
            let Some(window) = window.upgrade() else { return };
            let is_review = window.imp().stack.visible_child_name().as_deref() == Some(Page::Review.name());
            let is_elsewhere = window.imp().review_page.focus_child().is_none();
            if is_review && is_elsewhere {
                window.imp().review_page.grab_focus();
            }
        });
    }

    fn show_page(&self, page: Page) {
        let imp = self.imp();
        imp.stack.set_visible_child_name(page.name());
        if page != Page::Busy {
            imp.page_before.set(page);
        }
        if page == Page::Start {
            imp.start_page.show_recent(&self.settings().get().recent);
            imp.title_label.set_label("cornerbook");
            imp.subtitle_label.set_visible(false);
        }
        imp.start_button.set_visible(page == Page::Review);
        imp.undo_button.set_visible(page == Page::Review);
        imp.redo_button.set_visible(page == Page::Review);
        for name in ["add-trackside", "report", "tag-set"] {
            if let Some(action) = self.lookup_action(name).and_downcast::<gio::SimpleAction>() {
                action.set_enabled(page == Page::Review);
            }
        }
    }

    /// Shows one sentence until the person closes it or does something else that opens.
    pub(crate) fn tell(&self, sentence: &str) {
        self.tell_with(sentence, Vec::new());
    }

    /// The same with a button for each way out, two at most.
    pub(super) fn tell_with(&self, sentence: &str, ways_out: Vec<WayOut>) {
        let imp = self.imp();
        imp.is_of_unsaved.set(false);
        imp.message_label.set_text(sentence);
        for (index, button) in [&imp.message_action, &imp.message_other].into_iter().enumerate() {
            button.set_visible(ways_out.get(index).is_some());
            button.set_label(ways_out.get(index).map_or("", WayOut::label));
        }
        imp.ways_out.replace(ways_out);
        imp.message_box.set_visible(true);
    }

    fn take_way_out(&self, index: usize) {
        self.imp().message_box.set_visible(false);
        let way_out = self.imp().ways_out.borrow().get(index).cloned();
        match way_out {
            Some(WayOut::SaveAs) => self.save_as(None),
            Some(WayOut::Decide(decision)) => self.decide(decision),
            Some(WayOut::OpenToRead { book }) => {
                self.load("Opening", move |context| loading::load_to_read(&book, context));
            }
            Some(WayOut::Find { book, missing }) => self.choose_found(book, missing),
            None => {}
        }
    }

    /// Asks where a file is now that the book misses.
    fn choose_found(&self, book: PathBuf, missing: PathBuf) {
        let name = missing.file_name().unwrap_or_default().to_string_lossy().into_owned();
        self.choose(&format!("Where is {name}?"), "Use this file", Choice::One, move |window, paths| {
            if let [found] = paths {
                let (book, missing, found) = (book.clone(), missing.clone(), found.clone());
                window.load("Opening", move |context| loading::load_with_found(&book, &missing, &found, context));
            }
        });
    }

    /// Opens a book, or makes one of a log, as the file's content says.
    fn open(&self, path: &Path) {
        self.open_files(&[path.to_owned()]);
    }

    fn take_dropped(&self, paths: &[PathBuf]) {
        let [film] = paths else { return self.open_files(paths) };
        if self.imp().page_before.get() != Page::Review || self.imp().running.borrow().is_some() {
            return self.open_files(paths);
        }
        let (window, path) = (self.downgrade(), film.clone());
        let looked_at = path.clone();
        let running = in_background(
            "dropped file",
            move |_| load::kind_of(&looked_at).is_ok_and(|it| it == FileKind::Footage),
            move |is_film| {
                let Some(window) = window.upgrade() else { return };
                window.imp().running.replace(None);
                if is_film {
                    window.imp().review_page.add_trackside(path);
                } else {
                    window.open_files(&[path]);
                }
            },
        );
        self.imp().running.replace(Some(running));
    }

    /// Opens a book, or makes a new one of the files.
    pub(crate) fn open_files(&self, paths: &[PathBuf]) {
        let paths = paths.to_vec();
        self.load("Opening", move |context| match paths.as_slice() {
            [only] if load::kind_of(only)? == FileKind::Book => loading::load(only, context),
            _ => {
                let book = load::book_of(&paths)?;
                let path = load::free_name(&book);
                book::file::save(&book, &path, Overwrite::Refuse)?;
                loading::load(&path, context)
            }
        });
    }

    /// Writes the sample where the user's data is kept, unless it is there, and opens it.
    fn open_sample(&self) {
        let folder = glib::user_data_dir().join("cornerbook").join("sample");
        self.load("Making the sample session: a log, a track and two laps of footage", move |context| {
            let path = folder.join("sample.cornerbook");
            if crate::files::length(&path).is_none() {
                write_sample(&folder, &path, context)?;
            }
            loading::load(&path, context)
        });
    }

    /// Does `work` behind the busy page and shows what was loaded. The book that is open is saved before.
    fn load(&self, what: &'static str, work: impl FnOnce(&Context) -> anyhow::Result<Loaded> + Send + 'static) {
        self.once_saved(move |window| window.load_now(what, work));
    }

    fn load_now(&self, what: &str, work: impl FnOnce(&Context) -> anyhow::Result<Loaded> + Send + 'static) {
        let imp = self.imp();
        imp.message_box.set_visible(false);
        imp.busy_label.set_label(&format!("{what} …"));
        imp.busy_bar.set_fraction(0.0);
        self.show_page(Page::Busy);
        imp.busy_cancel.grab_focus();
        let window = self.downgrade();
        let running = in_background("load", work, move |result| {
            if let Some(window) = window.upgrade() {
                window.show_loaded(result);
            }
        });
        *imp.running.borrow_mut() = Some(running);
        self.watch_progress();
    }

    fn watch_progress(&self) {
        let window = self.downgrade();
        glib::timeout_add_local(PROGRESS_PERIOD, move || {
            let Some(window) = window.upgrade() else { return glib::ControlFlow::Break };
            match &*window.imp().running.borrow() {
                Some(running) => {
                    window.imp().busy_bar.set_fraction(running.progress());
                    glib::ControlFlow::Continue
                }
                None => glib::ControlFlow::Break,
            }
        });
    }

    fn cancel(&self) {
        self.imp().running.replace(None);
        self.show_page(self.imp().page_before.get());
    }

    fn show_loaded(&self, result: anyhow::Result<Loaded>) {
        let imp = self.imp();
        imp.running.replace(None);
        match result {
            Ok(loaded) => {
                self.settings().change(|it| it.remember(&loaded.path));
                imp.title_label.set_text(&loaded.path.file_stem().unwrap_or_default().to_string_lossy());
                let driver = loaded.store.book().driver.clone().unwrap_or_default();
                imp.subtitle_label.set_text(&driver);
                imp.subtitle_label.set_visible(!driver.is_empty());
                imp.review_page.show(loaded);
                self.show_page(Page::Review);
                self.show_undo();
                imp.review_page.grab_focus();
            }
            Err(error) => {
                self.show_page(imp.page_before.get());
                self.tell_with(&error.to_string(), WayOut::of(&error).into_iter().collect());
            }
        }
    }

    fn leave_book(&self) {
        self.once_saved(|window| {
            window.imp().review_page.clear();
            window.imp().message_box.set_visible(false);
            window.show_page(Page::Start);
        });
    }

    /// The open book's name, which changes where it is saved under another.
    pub(super) fn show_title(&self) {
        let Some(path) = self.imp().review_page.book_path() else { return };
        let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        if self.imp().title_label.text() != name {
            self.settings().change(|it| it.remember(&path));
            self.imp().title_label.set_text(&name);
        }
    }

    fn show_undo(&self) {
        let imp = self.imp();
        imp.undo_button.set_sensitive(imp.review_page.can_undo());
        imp.redo_button.set_sensitive(imp.review_page.can_redo());
    }

    fn choose_files(&self) {
        self.choose("New book from files", "Make a book", Choice::Several, Self::open_files);
    }

    fn choose_book(&self) {
        self.choose("Open a book", "Open", Choice::Book, Self::open_files);
    }

    fn choose(&self, title: &str, accept: &str, choice: Choice, chosen: impl Fn(&Self, &[PathBuf]) + 'static) {
        let chooser = gtk::FileChooserNative::new(
            Some(title),
            Some(self),
            gtk::FileChooserAction::Open,
            Some(accept),
            Some("Cancel"),
        );
        chooser.set_select_multiple(choice == Choice::Several);
        chooser.set_modal(true);
        if choice == Choice::Book {
            let books = gtk::FileFilter::new();
            books.set_name(Some("Books"));
            books.add_pattern("*.cornerbook");
            chooser.add_filter(&books);
            let all = gtk::FileFilter::new();
            all.set_name(Some("All files"));
            all.add_pattern("*");
            chooser.add_filter(&all);
        }
        let window = self.downgrade();
        // The dialog lives until it has answered: the closure holds it.
        let held = chooser.clone();
        chooser.connect_response(move |_, response| {
            let Some(window) = window.upgrade() else { return };
            if response == gtk::ResponseType::Accept {
                let files = held.files();
                let paths: Vec<PathBuf> = (0..files.n_items())
                    .filter_map(|it| files.item(it)?.downcast::<gio::File>().ok()?.path())
                    .collect();
                chosen(&window, &paths);
            }
            held.destroy();
        });
        chooser.show();
    }
}

/// The sample with its book, whose clock is set by hand: its camera's is wrong by design.
fn write_sample(folder: &Path, path: &Path, context: &Context) -> anyhow::Result<()> {
    let options = SampleOptions { overwrite: Overwrite::Replace, ..SampleOptions::default() };
    let written = sample::write_sample(folder, &options, context)?;
    let mut book = written.book()?;
    let pinned = written.pinned(&book.recording);
    book.apply(Op::Recording(pinned))?;
    Ok(book::file::save(&book, path, Overwrite::Replace)?)
}
