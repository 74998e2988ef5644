//! The start page: what can be done first, and the books opened last.

use std::path::{Path, PathBuf};

use gtk::glib;
use gtk::prelude::*;
use gtk::subclass::prelude::*;
use gtk4 as gtk;

mod imp {
    use super::*;

    #[derive(Debug, Default, gtk::CompositeTemplate)]
    #[template(file = "../../resources/window/start.ui")]
    pub struct StartPage {
        #[template_child]
        pub(super) recent_label: TemplateChild<gtk::Label>,
        #[template_child]
        pub(super) recent_list: TemplateChild<gtk::ListBox>,
        /// The books of the list's rows, in order.
        pub(super) recent: std::cell::RefCell<Vec<PathBuf>>,
    }

    #[glib::object_subclass]
    impl ObjectSubclass for StartPage {
        const NAME: &'static str = "CornerbookStartPage";
        type Type = super::StartPage;
        type ParentType = gtk::Box;

        fn class_init(class: &mut Self::Class) {
            class.bind_template();
        }

        fn instance_init(object: &glib::subclass::InitializingObject<Self>) {
            object.init_template();
        }
    }

    impl ObjectImpl for StartPage {}
    impl WidgetImpl for StartPage {}
    impl BoxImpl for StartPage {}
}

glib::wrapper! {
    pub struct StartPage(ObjectSubclass<imp::StartPage>)
        @extends gtk::Widget, gtk::Box,
        @implements gtk::Accessible, gtk::Buildable, gtk::ConstraintTarget, gtk::Orientable;
}

impl StartPage {
    /// Lists the books opened last, newest first.
    pub(crate) fn show_recent(&self, recent: &[PathBuf]) {
        let imp = self.imp();
        while let Some(row) = imp.recent_list.first_child() {
            imp.recent_list.remove(&row);
        }
        for path in recent {
            imp.recent_list.append(&row(path));
        }
        *imp.recent.borrow_mut() = recent.to_vec();
        imp.recent_label.set_visible(!recent.is_empty());
        imp.recent_list.set_visible(!recent.is_empty());
    }

    pub(crate) fn connect_book_chosen(&self, chosen: impl Fn(&Path) + 'static) {
        let page = self.downgrade();
        self.imp().recent_list.connect_row_activated(move |_, row| {
            let Some(page) = page.upgrade() else { return };
            let path = usize::try_from(row.index()).ok().and_then(|it| page.imp().recent.borrow().get(it).cloned());
            if let Some(path) = path {
                chosen(&path);
            }
        });
    }
}

/// The book's name over its folder.
fn row(path: &Path) -> gtk::ListBoxRow {
    let label = |text: &str, class: &str| {
        let label = gtk::Label::builder().label(text).xalign(0.0).ellipsize(gtk::pango::EllipsizeMode::Middle).build();
        label.add_css_class(class);
        label
    };
    let name = path.file_stem().unwrap_or_default().to_string_lossy();
    let folder = path.parent().unwrap_or(Path::new("")).to_string_lossy();
    let lines = gtk::Box::builder().orientation(gtk::Orientation::Vertical).spacing(2).build();
    lines.append(&label(&name, "book-name"));
    lines.append(&label(&folder, "dim-label"));
    let row = gtk::ListBoxRow::builder().child(&lines).build();
    row.update_property(&[gtk::accessible::Property::Label(&format!("{name}, in {folder}"))]);
    row
}
