//! Saving a book after each change, on a worker: the disk may be slow. The newest state is saved last; one that waits
//! while another is being written is passed over for a newer one.

use gtk::glib;
use gtk4 as gtk;

use crate::book::Book;
use crate::book::store::Keeper;
use crate::job;

#[derive(Debug)]
pub(super) struct Saver {
    /// Dropped first: the worker saves what waits and ends.
    states: Option<async_channel::Sender<Book>>,
    _worker: job::Worker,
}

impl Saver {
    /// `told` gets a sentence whenever the newest state could not be saved, and `None` once it could.
    pub(super) fn new(mut keeper: Keeper, told: impl Fn(Option<String>) + 'static) -> Self {
        let (states, waiting) = async_channel::unbounded::<Book>();
        let (results, inbox) = async_channel::unbounded();
        // It ends with its channel, not with its context: the last state has to reach the disk.
        let worker = job::start("book saver", move |_| {
            while let Ok(book) = waiting.recv_blocking() {
                let newest = std::iter::from_fn(|| waiting.try_recv().ok()).last().unwrap_or(book);
                let sentence = keeper.save(&newest).err().map(|it| it.to_string());
                if results.try_send(sentence).is_err() {
                    // The review is closed; what still waits is saved all the same.
                    continue;
                }
            }
        });
        glib::spawn_future_local(async move {
            while let Ok(sentence) = inbox.recv().await {
                told(sentence);
            }
        });
        Self { states: Some(states), _worker: worker }
    }

    pub(super) fn save(&self, book: &Book) {
        if let Some(states) = &self.states {
            // The channel is open as long as this is.
            let _ = states.try_send(book.clone());
        }
    }
}
