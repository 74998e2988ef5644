//! Saving a book after each change, on a worker: the disk may be slow. The newest state is saved last; one that waits
//! while another is being written is passed over for a newer one.

use std::sync::mpsc;

use gtk::glib;
use gtk4 as gtk;

use crate::book::Book;
use crate::book::store::Keeper;
use crate::job;

#[derive(Debug)]
pub(super) struct Saver {
    states: async_channel::Sender<Book>,
    /// Closed by the worker when it has saved what waited and let go of the book.
    finished: mpsc::Receiver<()>,
    _worker: job::Worker,
}

impl Saver {
    /// `told` gets a sentence whenever the newest state could not be saved, and `None` once it could.
    pub(super) fn new(mut keeper: Keeper, told: impl Fn(Option<String>) + 'static) -> Self {
        let (states, waiting) = async_channel::unbounded::<Book>();
        let (results, inbox) = async_channel::unbounded();
        let (at_work, finished) = mpsc::channel();
        // It ends with its channel, not with its context: the last state has to reach the disk.
        let worker = job::start("book saver", move |_| {
            let _at_work: mpsc::Sender<()> = at_work;
            while let Ok(book) = waiting.recv_blocking() {
                let newest = std::iter::from_fn(|| waiting.try_recv().ok()).last().unwrap_or(book);
                let sentence = keeper.save(&newest).err().map(|it| it.to_string());
                // Where the review is closed there is no one left to tell.
                let _ = results.try_send(sentence);
            }
            drop(keeper);
        });
        glib::spawn_future_local(async move {
            while let Ok(sentence) = inbox.recv().await {
                told(sentence);
            }
        });
        Self { states, finished, _worker: worker }
    }

    pub(super) fn save(&self, book: &Book) {
        // The channel is open as long as this is.
        let _ = self.states.try_send(book.clone());
    }
}

/// A review ends when its last state is on disk and the book is free for another window: the program may end at once
/// after it.
impl Drop for Saver {
    fn drop(&mut self) {
        self.states.close();
        // Nothing is ever sent: this comes back when the worker has ended.
        let _ = self.finished.recv();
    }
}
