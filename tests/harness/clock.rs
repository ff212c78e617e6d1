//! Scripted time and identifiers: what a test shows is the same each time, without redaction.

use chrono::{DateTime, TimeDelta, Utc};
use holt_server::clock::{Clock, Ids};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use uuid::Uuid;

/// A clock that moves when it is told to, and by a microsecond each time it is asked, so that what
/// follows is later.
pub struct TestClock(Mutex<DateTime<Utc>>);

impl TestClock {
    /// A clock that shows `start`.
    #[must_use]
    pub const fn at(start: DateTime<Utc>) -> Self {
        Self(Mutex::new(start))
    }

    /// Moves on.
    pub fn advance(&self, by: TimeDelta) {
        *self.0.lock().unwrap() += by;
    }

    /// Sets it.
    pub fn set(&self, to: DateTime<Utc>) {
        *self.0.lock().unwrap() = to;
    }
}

impl Clock for TestClock {
    fn now(&self) -> DateTime<Utc> {
        let mut now = self.0.lock().unwrap();
        *now += TimeDelta::microseconds(1);
        *now
    }
}

/// Identifiers that count up, in the form of UUIDv7.
pub struct TestIds(AtomicU64);

/// What is the same in all of them.
const FORM: u128 = 0x0000_0000_0000_7000_8000_0000_0000_0000;

impl TestIds {
    /// Those that follow one of them; the first where that is nil.
    #[must_use]
    pub fn after(last: Uuid) -> Self {
        let n = u64::try_from(last.as_u128() & !FORM).unwrap();
        Self(AtomicU64::new(n))
    }
}

impl Ids for TestIds {
    fn next(&self) -> Uuid {
        let n = self.0.fetch_add(1, Ordering::Relaxed) + 1;
        Uuid::from_u128(FORM | u128::from(n))
    }
}
