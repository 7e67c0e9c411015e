//! Ctrl-C, and being asked to end.
//!
//! A command ends at once and clears what it had begun; what stood where the
//! results were to go stays. A search that has a best so far is first asked to
//! end with that; asked again, it ends at once too.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;

use pilothole_study::abandon_folders;
use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::iterator::Signals;

use crate::terminal;

/// A search that can end early.
#[derive(Clone, Debug, Default)]
pub(crate) struct Search {
    /// Whether it has begun.
    pub(crate) begun: Arc<AtomicBool>,
    /// Whether it should end with the best so far.
    pub(crate) stop: Arc<AtomicBool>,
    /// Whether the process is about to end.
    ending: Arc<AtomicBool>,
}

impl Search {
    /// Wait for the end where it is near, so that what fails because its folder
    /// was cleared is not told as a failure.
    pub(crate) fn wait_if_ending(&self) {
        while self.ending.load(Ordering::SeqCst) {
            thread::park();
        }
    }
}

/// Listen from now on, in a thread of its own.
///
/// Where the system gives no signals, Ctrl-C does what it does by itself: the
/// process ends, and a hidden folder may be left beside the results.
pub(crate) fn listen(search: &Search) {
    let Ok(mut signals) = Signals::new([SIGINT, SIGTERM]) else { return };
    let search = search.clone();
    thread::spawn(move || {
        for signal in signals.forever() {
            let asked_before = search.stop.swap(true, Ordering::Relaxed);
            if search.begun.load(Ordering::Relaxed) && !asked_before {
                terminal::say("stopping; the best so far will be written");
            } else {
                search.ending.store(true, Ordering::SeqCst);
                end(signal);
            }
        }
    });
}

#[expect(clippy::exit, reason = "other threads are deep in their work and have no way back")]
fn end(signal: i32) {
    abandon_folders();
    terminal::say("stopped; what was unfinished is cleared");
    // As shells report a process that a signal ended.
    std::process::exit(128 + signal);
}
