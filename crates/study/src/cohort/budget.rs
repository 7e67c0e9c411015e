//! Memory: a case starts only while the sum of estimates fits.

use std::sync::{Condvar, Mutex, PoisonError};

/// Bytes that all running cases together may need.
#[derive(Debug)]
pub(crate) struct Budget {
    limit: Option<u64>,
    state: Mutex<State>,
    changed: Condvar,
}

#[derive(Debug, Default)]
struct State {
    used: u64,
    most: u64,
    running: usize,
    next: u64,
    serving: u64,
}

/// Bytes granted until dropped.
#[derive(Debug)]
pub(crate) struct Grant<'a> {
    budget: &'a Budget,
    bytes: u64,
}

impl Budget {
    pub(crate) fn new(limit: Option<u64>) -> Self {
        Self { limit, state: Mutex::default(), changed: Condvar::new() }
    }

    /// Wait until `bytes` are free. Those who ask first are served first, so
    /// a large case is not overtaken for ever by small ones. One that would
    /// never fit is served when nothing else runs.
    pub(crate) fn grant(&self, bytes: u64) -> Grant<'_> {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        let ticket = state.next;
        state.next += 1;
        while state.serving != ticket || !self.fits(&state, bytes) {
            state = self.changed.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
        state.serving += 1;
        state.running += 1;
        state.used = state.used.saturating_add(bytes);
        state.most = state.most.max(state.used);
        self.changed.notify_all();
        Grant { budget: self, bytes }
    }

    /// Whether a case alone is too large.
    pub(crate) fn is_too_small_for(&self, bytes: u64) -> bool {
        self.limit.is_some_and(|limit| bytes > limit)
    }

    /// Largest sum of estimates that ran at the same time.
    pub(crate) fn most(&self) -> u64 {
        self.state.lock().unwrap_or_else(PoisonError::into_inner).most
    }

    fn fits(&self, state: &State, bytes: u64) -> bool {
        let Some(limit) = self.limit else { return true };
        state.running == 0 || state.used.saturating_add(bytes) <= limit
    }
}

impl Drop for Grant<'_> {
    fn drop(&mut self) {
        let mut state = self.budget.state.lock().unwrap_or_else(PoisonError::into_inner);
        state.used -= self.bytes.min(state.used);
        state.running -= 1;
        self.budget.changed.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sum_stays_within_the_limit() {
        let budget = Budget::new(Some(100));
        std::thread::scope(|scope| {
            for bytes in [60, 30, 60, 10, 50, 100, 1, 99] {
                let budget = &budget;
                scope.spawn(move || (0..50).for_each(|_| drop(budget.grant(bytes))));
            }
        });
        assert!(budget.most() <= 100);
    }

    #[test]
    fn what_never_fits_runs_alone() {
        let budget = Budget::new(Some(100));
        assert!(budget.is_too_small_for(101) && !budget.is_too_small_for(100));
        let large = budget.grant(1000);
        drop(large);
        let _small = budget.grant(100);
        assert_eq!(budget.most(), 1000);
    }
}
