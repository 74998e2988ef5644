//! From workers to the main thread: work in the background with one result, dropped where it comes too late.

use gtk::glib;
use gtk4 as gtk;

use crate::job::{self, Context};

/// Work in the background. Dropping it cancels the work, and its result is dropped too.
#[derive(Debug)]
pub(crate) struct Running {
    worker: job::Worker,
}

impl Running {
    /// How much of the work is done, 0 to 1.
    pub(crate) fn progress(&self) -> f64 {
        self.worker.context().progress()
    }
}

/// Does `work` on a thread called `name` and then `done` on the main thread, unless it was cancelled meanwhile.
pub(crate) fn in_background<T: Send + 'static>(
    name: &str,
    work: impl FnOnce(&Context) -> T + Send + 'static,
    done: impl FnOnce(T) + 'static,
) -> Running {
    let (sender, receiver) = async_channel::bounded(1);
    let worker = job::start(name, move |context| {
        let result = work(context);
        // Nobody waits any more: the window is closed.
        let _ = sender.try_send(result);
    });
    let context = worker.context().clone();
    glib::spawn_future_local(async move {
        if let Ok(result) = receiver.recv().await
            && !context.is_cancelled()
        {
            done(result);
        }
    });
    Running { worker }
}
