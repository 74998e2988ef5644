//! Saving a book or the settings after each change, on a worker: the disk may be slow. The newest state is saved last;
//! one that waits while another is being written is passed over for a newer one.

use std::cell::Cell;
use std::rc::Rc;
use std::sync::mpsc;

use gtk::glib;
use gtk4 as gtk;

use crate::job;

#[derive(Debug)]
pub(crate) struct Saver<T> {
    states: async_channel::Sender<(u64, T)>,
    /// How many states were handed over, and how many of them are on disk or have failed.
    sent: Cell<u64>,
    settled: Rc<Cell<u64>>,
    /// Closed by the worker when it has saved what waited and let go of the file.
    finished: mpsc::Receiver<()>,
    _worker: job::Worker,
}

impl<T: Send + 'static> Saver<T> {
    /// `told` gets what each `save` comes to.
    pub(crate) fn new<R: Send + 'static>(
        name: &str,
        mut save: impl FnMut(&T) -> R + Send + 'static,
        told: impl Fn(R) + 'static,
    ) -> Self {
        let (states, waiting) = async_channel::unbounded::<(u64, T)>();
        let (results, inbox) = async_channel::unbounded();
        let (at_work, finished) = mpsc::channel();
        // It ends with its channel, not with its context: the last state has to reach the disk.
        let worker = job::start(name, move |_| {
            let _at_work: mpsc::Sender<()> = at_work;
            while let Ok(state) = waiting.recv_blocking() {
                let (number, newest) = std::iter::from_fn(|| waiting.try_recv().ok()).last().unwrap_or(state);
                // Where the review is closed there is no one left to tell.
                let _ = results.try_send((number, save(&newest)));
            }
            drop(save);
        });
        let settled = Rc::new(Cell::new(0));
        let now_settled = settled.clone();
        glib::spawn_future_local(async move {
            while let Ok((number, result)) = inbox.recv().await {
                now_settled.set(number);
                told(result);
            }
        });
        Self { states, sent: Cell::new(0), settled, finished, _worker: worker }
    }

    pub(crate) fn save(&self, state: T) {
        self.sent.set(self.sent.get() + 1);
        // The channel is open as long as this is.
        let _ = self.states.try_send((self.sent.get(), state));
    }

    /// Whether the last state is still on its way to the disk.
    pub(crate) fn is_busy(&self) -> bool {
        self.settled.get() < self.sent.get()
    }
}

/// This ends when the last state is on disk and the file is free, for another window or the end of the program.
impl<T> Drop for Saver<T> {
    fn drop(&mut self) {
        self.states.close();
        // Nothing is ever sent: this comes back when the worker has ended.
        let _ = self.finished.recv();
    }
}

#[cfg(test)]
mod tests {
    use std::sync::mpsc;

    use super::*;

    #[test]
    fn the_newest_state_is_saved_before_the_end_and_what_it_overtook_is_not() {
        let (begun, is_begun) = mpsc::channel();
        let (go_on, may_go_on) = mpsc::channel::<()>();
        let (saved, is_saved) = mpsc::channel();
        let save = move |state: &u32| {
            begun.send(()).unwrap();
            may_go_on.recv().unwrap();
            saved.send(*state).map_err(|it| it.to_string())
        };
        // Its main loop is never run here: nobody is told.
        let context = glib::MainContext::new();
        let _of_this_thread = context.acquire().unwrap();
        context
            .with_thread_default(|| {
                let saver = Saver::new("test saver", save, |_| {});
                saver.save(1);
                is_begun.recv().unwrap();
                // The disk is busy with the first state while two more come.
                saver.save(2);
                saver.save(3);
                go_on.send(()).unwrap();
                go_on.send(()).unwrap();
                drop(saver);
                assert_eq!(is_saved.iter().collect::<Vec<_>>(), [1, 3]);
            })
            .unwrap();
    }
}
