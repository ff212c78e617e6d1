//! What is on its way to a caller, and whether they take it.

use std::any::Any;
use std::time::Instant;

/// As much must have been taken for a reader to count as one who reads, bytes.
const PROGRESS: usize = 64 * 1024;

/// What is held until a reply was taken.
pub(super) type Held = Box<dyn Any + Send>;

/// Replies on their way.
pub(super) struct Flow {
    /// Bytes given to the transport and not written to the line. An estimate from below: what the transport adds by
    /// itself is written, too.
    behind: usize,
    /// Bytes written since `moved`.
    written: usize,
    /// When the reader was last seen to read, or there was nothing to read.
    moved: Instant,
    /// What is let go once everything was written.
    held: Vec<Held>,
    /// All bytes ever given.
    given: usize,
}

impl Flow {
    pub(super) fn new(now: Instant) -> Self {
        Self { behind: 0, written: 0, moved: now, held: Vec::new(), given: 0 }
    }

    /// Notes bytes of a reply as given to the transport; answers how many it were in all.
    pub(super) fn give(&mut self, bytes: usize, now: Instant) -> usize {
        if self.behind == 0 {
            self.moved = now;
            self.written = 0;
        }
        self.behind = self.behind.saturating_add(bytes);
        self.given = self.given.saturating_add(bytes);
        self.given
    }

    /// Notes bytes as written, or as given up. What is answered is to be dropped outside the lock.
    pub(super) fn take(&mut self, bytes: usize, now: Instant) -> Vec<Held> {
        self.behind = self.behind.saturating_sub(bytes);
        self.written = self.written.saturating_add(bytes);
        if self.written >= PROGRESS {
            self.moved = now;
            self.written = 0;
        }
        if self.behind == 0 { std::mem::take(&mut self.held) } else { Vec::new() }
    }

    /// Holds something until everything that was given is written; gives it back where that is so already.
    pub(super) fn hold(&mut self, held: Held) -> Option<Held> {
        if self.behind == 0 {
            return Some(held);
        }
        self.held.push(held);
        None
    }

    /// Since when nobody reads, where something is there to be read. A rest too small to tell is forgiven: a reply that
    /// was called off while it was sent leaves one.
    pub(super) fn stands_since(&self) -> Option<Instant> {
        (self.behind > PROGRESS).then_some(self.moved)
    }

    /// Forgives a rest too small to tell that has been there since `then`.
    pub(super) fn forgive(&mut self, then: Instant, now: Instant) -> Vec<Held> {
        if self.behind <= PROGRESS && self.moved < then { self.take(self.behind, now) } else { Vec::new() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Arc;
    use std::time::Duration;

    #[test]
    fn what_is_held_goes_when_all_is_written_and_not_before() {
        let now = Instant::now();
        let mut flow = Flow::new(now);
        let turn = Arc::new(());
        assert!(flow.hold(Box::new(Arc::clone(&turn))).is_some(), "nothing is on its way");
        flow.give(100, now);
        assert!(flow.hold(Box::new(Arc::clone(&turn))).is_none());
        assert!(flow.take(99, now).is_empty());
        assert_eq!(Arc::strong_count(&turn), 2);
        assert_eq!(flow.take(1000, now).len(), 1);
        assert_eq!(Arc::strong_count(&turn), 1);
    }

    #[test]
    fn a_reader_who_takes_nothing_stands_and_one_who_takes_a_little_moves() {
        let began = Instant::now();
        let later = began + Duration::from_secs(20);
        let mut flow = Flow::new(began);
        flow.give(10 * PROGRESS, began);
        flow.take(PROGRESS - 1, later);
        assert_eq!(flow.stands_since(), Some(began), "a drop is no progress");
        flow.take(1, later);
        assert_eq!(flow.stands_since(), Some(later));
        flow.take(9 * PROGRESS, later);
        assert_eq!(flow.stands_since(), None);
    }

    #[test]
    fn a_small_rest_is_forgiven_after_a_while() {
        let began = Instant::now();
        let later = began + Duration::from_secs(20);
        let mut flow = Flow::new(began);
        flow.give(10, began);
        assert!(flow.hold(Box::new(())).is_none());
        assert!(flow.forgive(began, later).is_empty());
        assert_eq!(flow.forgive(later, later).len(), 1);
    }
}
