//! Long work: a cancel token that reaches every loop, a progress value that the newest update wins, and the only
//! place that starts threads.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// The work was stopped on request. Never logged as an error, never shown as one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("cancelled")]
pub struct Cancelled;

/// What long work is handed: whether to go on, and where to say how far it is.
/// Clones share the same token and progress.
#[derive(Debug, Clone, Default)]
pub struct Context {
    shared: Arc<Shared>,
}

#[derive(Debug, Default)]
struct Shared {
    cancelled: AtomicBool,
    progress_ppm: AtomicU64,
}

impl Context {
    pub fn new() -> Self {
        Self::default()
    }

    /// Asks the work to stop at its next look.
    pub fn cancel(&self) {
        self.shared.cancelled.store(true, Ordering::Relaxed);
    }

    pub fn is_cancelled(&self) -> bool {
        self.shared.cancelled.load(Ordering::Relaxed)
    }

    /// To be called at least once a lap and once per 50 ms of work.
    pub fn check(&self) -> Result<(), Cancelled> {
        if self.is_cancelled() { Err(Cancelled) } else { Ok(()) }
    }

    /// Says how much of the work is done, 0 to 1; values outside are brought inside.
    pub fn set_progress(&self, share: f64) {
        let ppm = (share.clamp(0.0, 1.0) * 1e6).round();
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 0..=1e6 above")]
        self.shared.progress_ppm.store(ppm as u64, Ordering::Relaxed);
    }

    /// Share of the work done, 0 to 1.
    pub fn progress(&self) -> f64 {
        self.shared.progress_ppm.load(Ordering::Relaxed) as f64 * 1e-6
    }
}

/// A worker of its own thread. Dropping the handle cancels the work and does not wait for it: the thread ends at the
/// work's next look at its context.
#[derive(Debug)]
pub struct Worker {
    context: Context,
}

impl Worker {
    /// For its progress.
    pub fn context(&self) -> &Context {
        &self.context
    }
}

impl Drop for Worker {
    fn drop(&mut self) {
        self.context.cancel();
    }
}

/// Starts `work` on a thread of this name (the system shows its first 15 bytes).
pub fn start(name: &str, work: impl FnOnce(&Context) + Send + 'static) -> Worker {
    let context = Context::new();
    let seen_by_worker = context.clone();
    std::thread::Builder::new()
        .name(name.to_owned())
        .spawn(move || work(&seen_by_worker))
        .expect("the system has room for one more thread");
    Worker { context }
}

/// Does `work` on this thread, and meanwhile hands its progress (0 to 1) to `show` once a `period` on another.
pub fn watch<R>(context: &Context, period: Duration, mut show: impl FnMut(f64) + Send, work: impl FnOnce() -> R) -> R {
    let (done, wait) = std::sync::mpsc::channel::<()>();
    std::thread::scope(|scope| {
        scope.spawn(move || {
            // The channel closes when the work is done or has panicked: either way the watch ends at once.
            while wait.recv_timeout(period) == Err(RecvTimeoutError::Timeout) {
                show(context.progress());
            }
        });
        let result = work();
        drop(done);
        result
    })
}

/// Does `here` on this thread and `there` meanwhile on another, and comes back when both are done.
pub fn side_by_side<A, B: Send>(here: impl FnOnce() -> A, there: impl FnOnce() -> B + Send) -> (A, B) {
    std::thread::scope(|scope| {
        let there = scope.spawn(there);
        let here = here();
        match there.join() {
            Ok(there) => (here, there),
            // A worker's panic is the caller's panic.
            Err(panic) => std::panic::resume_unwind(panic),
        }
    })
}

/// How many threads the machine runs at once.
pub fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

/// Runs `work` on each item, on as many workers as the machine has cores, and gives the results in the items' order.
pub fn map_parallel<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let workers = cores().min(items.len());
    if workers <= 1 {
        return items.iter().map(work).collect();
    }
    let next = std::sync::atomic::AtomicUsize::new(0);
    let mut indexed: Vec<(usize, R)> = std::thread::scope(|scope| {
        let handles: Vec<_> = (0..workers)
            .map(|_| {
                scope.spawn(|| {
                    let mut done = Vec::new();
                    loop {
                        let index = next.fetch_add(1, Ordering::Relaxed);
                        match items.get(index) {
                            Some(item) => done.push((index, work(item))),
                            None => return done,
                        }
                    }
                })
            })
            .collect();
        handles
            .into_iter()
            .flat_map(|handle| match handle.join() {
                Ok(done) => done,
                // A worker's panic is the caller's panic: swallowing it would lose results silently.
                Err(panic) => std::panic::resume_unwind(panic),
            })
            .collect()
    });
    indexed.sort_unstable_by_key(|(index, _)| *index);
    indexed.into_iter().map(|(_, result)| result).collect()
}

/// Does `work` on each item on several workers; what it gives out, while it is at it, comes to `take` on this thread, item
/// by item in their order. At most `ahead` items besides the one being taken are begun, so that what waits stays small.
/// The first error, of work or of taking, ends all: the others' next giving fails.
pub fn stream_in_order<T: Sync, M: Send, E: From<Cancelled> + Send>(
    items: &[T],
    workers: usize,
    ahead: usize,
    work: impl Fn(usize, &T, &mut dyn FnMut(M) -> Result<(), Cancelled>) -> Result<(), E> + Sync,
    mut take: impl FnMut(usize, M) -> Result<(), E>,
) -> Result<(), E> {
    let (allow, allowed) = mpsc::channel::<(usize, mpsc::Sender<Result<M, E>>)>();
    let allowed = Mutex::new(allowed);
    let (senders, receivers): (Vec<_>, Vec<_>) = items.iter().map(|_| mpsc::channel()).unzip();
    let mut waiting = senders.into_iter().enumerate();
    let begin_next = move || {
        if let Some(next) = waiting.next() {
            // The workers listen until `allow` is gone.
            let _ = allow.send(next);
        }
    };
    let serve = || loop {
        let next = allowed.lock().unwrap_or_else(PoisonError::into_inner).recv();
        let Ok((index, out)) = next else { return };
        let mut give = |made| out.send(Ok(made)).map_err(|_| Cancelled);
        if let Err(error) = work(index, &items[index], &mut give) {
            let _ = out.send(Err(error));
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..workers.clamp(1, items.len().max(1)) {
            scope.spawn(serve);
        }
        // Owns both ends that the workers depend on, so that they end when this does.
        let mut begin_next = begin_next;
        (0..=ahead).for_each(|_| begin_next());
        for (index, made) in receivers.into_iter().enumerate() {
            for it in made {
                take(index, it?)?;
            }
            begin_next();
        }
        Ok(())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_keep_the_order_of_the_items() {
        let items: Vec<usize> = (0..1000).collect();
        assert_eq!(map_parallel(&items, |it| it * 2), items.iter().map(|it| it * 2).collect::<Vec<_>>());
        assert!(map_parallel::<usize, usize>(&[], |it| *it).is_empty());
    }

    #[test]
    fn work_side_by_side_really_is() {
        let (to_there, from_here) = std::sync::mpsc::channel();
        let (to_here, from_there) = std::sync::mpsc::channel();
        // Each waits for the other: one after the other, neither would end.
        let here = || to_there.send(1).map(|()| from_there.recv()).unwrap();
        let there = move || to_here.send(2).map(|()| from_here.recv()).unwrap();
        assert_eq!(side_by_side(here, there), (Ok(2), Ok(1)));
    }

    #[test]
    fn a_stream_keeps_its_order_and_ends_at_the_first_error() {
        let items: Vec<usize> = (0..40).collect();
        let three = |_: usize, it: &usize, give: &mut dyn FnMut(usize) -> Result<(), Cancelled>| {
            (0..3).try_for_each(|part| give(10 * it + part))
        };
        let mut taken = Vec::new();
        let done: Result<(), Cancelled> = stream_in_order(&items, 3, 2, three, |index, made| {
            taken.push((index, made));
            Ok(())
        });
        let expected: Vec<_> = items.iter().flat_map(|it| (0..3).map(move |part| (*it, 10 * it + part))).collect();
        assert_eq!((done, taken), (Ok(()), expected));

        let begun = std::sync::atomic::AtomicUsize::new(0);
        let fails = |index: usize, _: &usize, give: &mut dyn FnMut(usize) -> Result<(), Cancelled>| {
            begun.fetch_add(1, Ordering::Relaxed);
            give(index)?;
            if index == 3 { Err(Cancelled) } else { Ok(()) }
        };
        let mut taken = Vec::new();
        let failed = stream_in_order(&items, 2, 1, fails, |_, made| {
            taken.push(made);
            Ok(())
        });
        assert_eq!((failed, taken), (Err(Cancelled), vec![0, 1, 2, 3]));
        assert!(begun.into_inner() <= 5, "no more is begun than is allowed to wait");
        let nothing: Result<(), Cancelled> = stream_in_order(&[], 2, 1, three, |_, _| Ok(()));
        assert_eq!(nothing, Ok(()));
    }

    #[test]
    fn a_watch_sees_the_progress_and_ends_with_the_work() {
        let context = Context::new();
        let (seen, shares) = std::sync::mpsc::channel();
        let result = watch(
            &context,
            Duration::from_micros(1),
            |share| seen.send(share).unwrap(),
            || {
                context.set_progress(0.5);
                // The work ends as soon as the watch has seen it half done.
                while shares.recv().is_ok_and(|share| share < 0.4) {}
                7
            },
        );
        assert_eq!(result, 7);
    }

    #[test]
    fn a_dropped_worker_is_cancelled_and_ends() {
        let (seen, inbox) = std::sync::mpsc::channel();
        let worker = start("test worker", move |context| {
            seen.send(std::thread::current().name().map(str::to_owned)).unwrap();
            while context.check().is_ok() {
                std::thread::yield_now();
            }
        });
        assert_eq!(inbox.recv().unwrap().as_deref(), Some("test worker"));
        assert!(inbox.try_recv().is_err(), "the work goes on until its handle is dropped");
        drop(worker);
        // The sender lives in the work: the channel closes when the thread is done with it.
        assert!(inbox.recv().is_err());
    }

    #[test]
    fn clones_share_token_and_progress() {
        let context = Context::new();
        let seen_by_worker = context.clone();
        context.cancel();
        assert_eq!(seen_by_worker.check(), Err(Cancelled));
        seen_by_worker.set_progress(2.0);
        assert!((context.progress() - 1.0).abs() < 1e-9);
    }
}
