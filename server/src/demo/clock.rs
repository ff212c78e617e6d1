//! A clock that can be turned back.

use crate::clock::{Clock, SystemClock};
use chrono::{DateTime, TimeDelta, Utc};
use std::sync::{Mutex, PoisonError};

/// Shows the time it was set to, and a millisecond more each time it is asked; the machine's time once it
/// is let go.
#[derive(Default)]
pub(super) struct DemoClock(Mutex<Option<DateTime<Utc>>>);

impl DemoClock {
    pub(super) fn set(&self, to: DateTime<Utc>) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = Some(to);
    }

    pub(super) fn follow_the_machine(&self) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }
}

impl Clock for DemoClock {
    fn now(&self) -> DateTime<Utc> {
        let mut set = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        match set.as_mut() {
            Some(time) => {
                *time += TimeDelta::milliseconds(1);
                *time
            }
            None => SystemClock.now(),
        }
    }
}
