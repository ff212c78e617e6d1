//! One at a time: a copy of a request that is under way waits for it here, without a connection of the pool, so that
//! fifty copies starve nobody. Between several servers the lock that `holt_open` takes does the same.

use crate::error::Error;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::{Mutex as Door, OwnedMutexGuard};
use uuid::Uuid;

/// Who asks, and the identifier of what they ask.
type Key = (Uuid, Uuid);

/// The requests that are under way in this process.
#[derive(Clone, Default)]
pub(super) struct Turns {
    doors: Arc<Mutex<HashMap<Key, Arc<Door<()>>>>>,
}

/// The turn of one copy; the next has it when this is dropped.
pub(super) struct Turn {
    turns: Turns,
    key: Key,
    door: Arc<Door<()>>,
    inside: Option<OwnedMutexGuard<()>>,
}

impl Turns {
    /// Waits until no other copy of the request is under way.
    ///
    /// # Errors
    /// [`Error::TimedOut`] where one still is when the time is over.
    pub(super) async fn take(&self, key: Key, limit: Duration) -> Result<Turn, Error> {
        let door = {
            let mut doors = self.doors.lock().unwrap_or_else(PoisonError::into_inner);
            Arc::clone(doors.entry(key).or_default())
        };
        // Made before it waits: whoever gives up waiting leaves nothing behind.
        let mut turn = Turn { turns: self.clone(), key, door: Arc::clone(&door), inside: None };
        let inside = tokio::time::timeout(limit, door.lock_owned()).await.map_err(|_| Error::TimedOut)?;
        turn.inside = Some(inside);
        Ok(turn)
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        let mut doors = self.turns.doors.lock().unwrap_or_else(PoisonError::into_inner);
        self.inside = None;
        // The map has one, this the other: nobody else waits, and nobody can begin to while the map is locked.
        if Arc::strong_count(&self.door) == 2 {
            doors.remove(&self.key);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const KEY: Key = (Uuid::from_u128(1), Uuid::from_u128(2));
    const LONG: Duration = Duration::from_secs(60);
    const SHORT: Duration = Duration::from_millis(1);

    fn under_way(turns: &Turns) -> usize {
        turns.doors.lock().unwrap().len()
    }

    #[tokio::test]
    async fn a_copy_waits_for_the_first_and_others_do_not() {
        let turns = Turns::default();
        let first = turns.take(KEY, LONG).await.unwrap();
        let other = turns.take((KEY.0, Uuid::from_u128(3)), Duration::ZERO).await;
        assert!(other.is_ok());
        assert!(matches!(turns.take(KEY, SHORT).await, Err(Error::TimedOut)));
        let copy = turns.take(KEY, LONG);
        drop(first);
        assert!(copy.await.is_ok());
    }

    #[tokio::test]
    async fn nothing_is_left_of_what_is_over_or_was_given_up() {
        let turns = Turns::default();
        let first = turns.take(KEY, LONG).await.unwrap();
        assert!(turns.take(KEY, SHORT).await.is_err());
        assert_eq!(under_way(&turns), 1);
        drop(first);
        assert_eq!(under_way(&turns), 0);
    }
}
