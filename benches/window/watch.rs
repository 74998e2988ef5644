//! A watch on the main loop of this thread: how long its turns take. Takes nothing; gives the longest turn since it was
//! looked at last, and how much of it this thread was at work: the rest, the machine had other work.

use std::cell::Cell;
use std::rc::Rc;
use std::time::{Duration, Instant};

use gtk4::glib;

/// The watch asks to be called this often and before everything else: a gap between two calls is a turn that took as
/// long, give or take this much.
const PERIOD: Duration = Duration::from_millis(1);

/// One turn of the main loop.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
pub(crate) struct Turn {
    pub(crate) ms: f64,
    /// Time of this thread on a processor, ms.
    pub(crate) at_work_ms: f64,
}

#[derive(Clone, Default)]
pub(crate) struct Watch {
    called: Rc<Cell<Option<(Instant, f64)>>>,
    longest: Rc<Cell<Turn>>,
}

impl Watch {
    pub(crate) fn start() -> Self {
        let watch = Self::default();
        let this = watch.clone();
        glib::timeout_add_local_full(PERIOD, glib::Priority::HIGH, move || {
            let (now, at_work_ms) = (Instant::now(), at_work_ms());
            if let Some((before, at_work_before_ms)) = this.called.replace(Some((now, at_work_ms))) {
                let gap = now.saturating_duration_since(before).saturating_sub(PERIOD);
                let turn = Turn { ms: gap.as_secs_f64() * 1e3, at_work_ms: at_work_ms - at_work_before_ms };
                if turn.ms > this.longest.get().ms {
                    this.longest.set(turn);
                }
            }
            glib::ControlFlow::Continue
        });
        watch
    }

    /// The longest turn since the watch was started or looked at last.
    pub(crate) fn take_longest(&self) -> Turn {
        self.longest.take()
    }
}

/// Time that this thread has been on a processor, ms; 0 where the system does not tell (Linux does, in the first figure
/// of `schedstat`, in ns).
fn at_work_ms() -> f64 {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    told.split(' ').next().and_then(|it| it.parse::<f64>().ok()).unwrap_or(0.0) / 1e6
}
