//! A watch on the main loop of this thread: how long its turns take. Takes nothing; gives the longest turn since it was
//! looked at last, with and without the time that this thread had to wait for a processor: that is the machine's doing.

use std::cell::Cell;
use std::rc::Rc;
use std::time::{Duration, Instant};

use gtk4::glib;

/// The watch asks to be called this often and before everything else: a gap between two calls is a turn that took as
/// long, give or take this much.
const PERIOD: Duration = Duration::from_millis(1);

/// The longest turn of the main loop.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Longest {
    pub(crate) ms: f64,
    /// Of any turn without its wait for a processor, ms.
    pub(crate) own_ms: f64,
}

#[derive(Clone, Default)]
pub(crate) struct Watch {
    called: Rc<Cell<Option<(Instant, f64)>>>,
    longest: Rc<Cell<Longest>>,
}

impl Watch {
    pub(crate) fn start() -> Self {
        let watch = Self::default();
        let this = watch.clone();
        glib::timeout_add_local_full(PERIOD, glib::Priority::HIGH, move || {
            this.call();
            glib::ControlFlow::Continue
        });
        watch
    }

    fn call(&self) {
        let (now, waited_ms) = (Instant::now(), waited_ms());
        let Some((before, waited_before_ms)) = self.called.replace(Some((now, waited_ms))) else { return };
        let ms = now.saturating_duration_since(before).saturating_sub(PERIOD).as_secs_f64() * 1e3;
        let own_ms = ms - (waited_ms - waited_before_ms);
        let longest = self.longest.get();
        self.longest.set(Longest { ms: longest.ms.max(ms), own_ms: longest.own_ms.max(own_ms) });
    }

    /// The longest turn since the watch was started or looked at last.
    pub(crate) fn take_longest(&self) -> Longest {
        self.longest.take()
    }
}

/// For how long this thread has been ready and without a processor, ms; 0 where the system does not tell (Linux does, in
/// the second figure of `schedstat`, in ns).
fn waited_ms() -> f64 {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    told.split(' ').nth(1).and_then(|it| it.parse::<f64>().ok()).unwrap_or(0.0) / 1e6
}
