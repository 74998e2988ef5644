//! The review as a report: asks for a folder, writes it in the background behind a small window with its progress and a
//! way to stop, and opens the folder. What stopped half-way leaves nothing behind.

use std::cell::RefCell;
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::Arc;
use std::time::Duration;

use gtk::prelude::*;
use gtk::{gio, glib};
use gtk4 as gtk;

use crate::analysis::Analysis;
use crate::files::{self, Overwrite, PendingFolder};
use crate::handout::{self, Error, Subject};
use crate::job::Context;
use crate::load::Session;
use crate::present;
use crate::reel::Chapter;
use crate::report::{self, Pictures, is_of_a_report};
use crate::units::SpeedUnit;
use crate::window::inbox::{Running, in_background};
use crate::window::loading::Footage;
use crate::window::main_window::MainWindow;

const DESCRIPTION: &str = include_str!("../../resources/window/report.ui");
/// How often the progress bar is drawn anew.
const PROGRESS_PERIOD: Duration = Duration::from_millis(100);
/// Of the whole work, the stills are so much: each is a frame that has to be looked for (tried on the sample).
const STILLS_SHARE: f64 = 0.9;

/// The review that is handed over, as it is now.
#[derive(Debug)]
pub(crate) struct Reviewed {
    pub(crate) session: Session,
    pub(crate) analysis: Arc<Analysis>,
    pub(crate) footage: Footage,
    pub(crate) unit: SpeedUnit,
}

impl MainWindow {
    /// Asks for the folder of the report, which is made.
    pub(super) fn choose_report(&self) {
        let Some(name) = self.reviewed().as_ref().and_then(book_path).map(handout::name_of) else { return };
        let name = format!("{name} report");
        self.choose_new("A folder for the report", "Write", &name, Self::write_report);
    }

    fn write_report(&self, folder: PathBuf) {
        let Some(reviewed) = self.reviewed() else { return };
        let builder = gtk::Builder::from_string(DESCRIPTION);
        let progress: gtk::Window = builder.object("report").expect("the description names it");
        let bar: gtk::ProgressBar = builder.object("bar").expect("the description names it");
        let cancel: gtk::Button = builder.object("cancel").expect("the description names it");
        progress.set_transient_for(Some(self));
        let closed = progress.clone();
        cancel.connect_clicked(move |_| closed.close());
        let running = self.start_report(reviewed, folder, &progress);
        show_progress(&bar, &running);
        // Closed, by whatever means, it takes the work with it.
        progress.connect_close_request(move |_| {
            running.take();
            glib::Propagation::Proceed
        });
        cancel.grab_focus();
        progress.present();
    }

    /// The work, until it is done or dropped.
    fn start_report(
        &self,
        reviewed: Reviewed,
        folder: PathBuf,
        progress: &gtk::Window,
    ) -> Rc<RefCell<Option<Running>>> {
        let (window, progress, target) = (self.downgrade(), progress.clone(), folder.clone());
        let (ended, wait) = async_channel::bounded::<()>(1);
        let work = move |context: &Context| {
            let _ended = ended;
            write(&reviewed, &folder, context)
        };
        let running = in_background("report", work, move |written| {
            progress.close();
            let Some(window) = window.upgrade() else { return };
            match written {
                Ok(left_out) => window.show_report(&target, &left_out),
                Err(error) => window.tell(&in_words(&error)),
            }
        });
        self.stay_until_closed(wait);
        Rc::new(RefCell::new(Some(running)))
    }

    /// The program does not end before the worker has: a report that is stopped takes its temporary folder with it.
    pub(super) fn stay_until_closed(&self, channel: async_channel::Receiver<()>) {
        let held = self.application().map(|it| it.hold());
        glib::spawn_future_local(async move {
            // Nothing is ever sent: the worker drops its end.
            let _ = channel.recv().await;
            drop(held);
        });
    }

    fn show_report(&self, folder: &Path, left_out: &[String]) {
        let shown = folder.display();
        self.tell(&present::report_is_written(&shown.to_string(), left_out.first().map(String::as_str)));
        let uri = gio::File::for_path(folder).uri();
        // A desktop without a program for folders: the sentence says where it is.
        gio::AppInfo::launch_default_for_uri_async(&uri, gio::AppLaunchContext::NONE, gio::Cancellable::NONE, |_| {});
    }
}

fn show_progress(bar: &gtk::ProgressBar, running: &Rc<RefCell<Option<Running>>>) {
    let (bar, running) = (bar.downgrade(), Rc::downgrade(running));
    glib::timeout_add_local(PROGRESS_PERIOD, move || {
        let progress = running.upgrade().and_then(|it| it.borrow().as_ref().map(Running::progress));
        match bar.upgrade().zip(progress) {
            Some((bar, progress)) => {
                bar.set_fraction(STILLS_SHARE * progress);
                glib::ControlFlow::Continue
            }
            None => glib::ControlFlow::Break,
        }
    });
}

/// The sentence of an error, without the command line's way out.
fn in_words(error: &Error) -> String {
    match error {
        Error::File(files::Error::Exists { path }) => present::report_is_there(&path.display().to_string()),
        other => other.to_string(),
    }
}

fn book_path(reviewed: &Reviewed) -> Option<&Path> {
    reviewed.session.book.as_ref().map(|it| it.0.as_path())
}

/// Writes the report; gives why stills are left out. Nothing that is there is written over.
fn write(reviewed: &Reviewed, folder: &Path, context: &Context) -> Result<Vec<String>, Error> {
    let pending = PendingFolder::new(folder, Overwrite::Refuse, is_of_a_report)?;
    let (session, chapters) = (&reviewed.session, chapters(&reviewed.footage));
    let book = session.book.as_ref().map(|(path, book)| (path.as_path(), book));
    let subject = Subject {
        samples: &session.samples,
        analysis: &reviewed.analysis,
        track: session.inputs.track.as_ref(),
        book,
        unit: reviewed.unit,
        chapters: &chapters,
    };
    let found = handout::find(&reviewed.analysis, book.map(|it| it.1), context)?;
    let mut pictures = Pictures { footage: footage(reviewed, &chapters), ..Pictures::default() };
    let mut left_out = Vec::new();
    if pictures.footage == report::Footage::Shown {
        let (stills, without) = handout::take_stills(&subject, &found, &pending, context)?;
        pictures.stills = stills;
        left_out.extend(without.iter().map(ToString::to_string));
    }
    let name = book_path(reviewed).map(handout::name_of).unwrap_or_default();
    handout::write_pages(&name, &subject, &found, &pictures, &pending, context)?;
    context.check()?;
    pending.finish()?;
    Ok(left_out)
}

/// The chapters that are on the log's clock.
fn chapters(footage: &Footage) -> Vec<Chapter> {
    let of = |it: &crate::window::loading::Chapter| {
        Some(Chapter { file: it.path.clone(), clock: it.clock?, start: it.start, end: it.end })
    };
    footage.chapters.iter().filter_map(of).collect()
}

fn footage(reviewed: &Reviewed, chapters: &[Chapter]) -> report::Footage {
    if !chapters.is_empty() {
        return report::Footage::Shown;
    }
    match (&reviewed.footage.missing, reviewed.footage.chapters.first()) {
        (Some(missing), _) => {
            let sentence = present::file_missing(&missing.display().to_string());
            report::Footage::Unusable(sentence.trim_end_matches('.').to_owned())
        }
        (None, Some(_)) => report::Footage::Unusable(reviewed.footage.clock.clone()),
        (None, None) => report::Footage::NotGiven,
    }
}
