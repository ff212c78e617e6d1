//! Whose turn it is: how many calls are worked on at a time, for all, for one person, and for those whom nobody knows.

use crate::api::status;
use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter};
use std::collections::HashMap;
use std::net::IpAddr;
use std::num::NonZeroU32;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tonic::Status;
use uuid::Uuid;

/// How many turns there are.
#[derive(Clone, Copy, Debug)]
pub struct Most {
    /// For everybody.
    pub calls: usize,
    /// For one person.
    pub of_one_person: usize,
    /// For callers without a token; these have no part in those for everybody.
    pub strangers: usize,
    /// Calls without a token from one address in a minute; none: no limit.
    pub strangers_a_minute: Option<NonZeroU32>,
    /// Imports, which hold far more than other calls.
    pub imports: usize,
}

pub(super) struct Turns {
    all: Arc<Semaphore>,
    imports: Arc<Semaphore>,
    strangers: Arc<Semaphore>,
    of_one_person: usize,
    persons: Mutex<HashMap<Uuid, usize>>,
    rate: Option<DefaultKeyedRateLimiter<IpAddr>>,
}

/// A turn; given back when it is dropped.
pub(super) struct Turn {
    _turn: OwnedSemaphorePermit,
    /// Which of the turns of a person it is.
    pub(super) own: Option<OwnTurn>,
}

/// One of the turns of a person.
pub(super) struct OwnTurn {
    turns: Arc<Turns>,
    person: Uuid,
}

impl Turns {
    pub(super) fn new(most: Most) -> Arc<Self> {
        Arc::new(Self {
            all: Arc::new(Semaphore::new(most.calls)),
            imports: Arc::new(Semaphore::new(most.imports)),
            strangers: Arc::new(Semaphore::new(most.strangers)),
            of_one_person: most.of_one_person,
            persons: Mutex::default(),
            rate: most.strangers_a_minute.map(|most| RateLimiter::keyed(Quota::per_minute(most))),
        })
    }

    /// A turn for a person.
    ///
    /// # Errors
    /// Refused where they have as many as one may have, or all are taken.
    pub(super) fn take(self: &Arc<Self>, person: Uuid) -> Result<Turn, Status> {
        let refused = || status::refused(status::too_many_calls());
        let turn = Arc::clone(&self.all).try_acquire_owned().map_err(|_| refused())?;
        let mut persons = self.persons();
        let own = persons.entry(person).or_default();
        if *own >= self.of_one_person {
            return Err(refused());
        }
        *own += 1;
        drop(persons);
        Ok(Turn { _turn: turn, own: Some(OwnTurn { turns: Arc::clone(self), person }) })
    }

    /// A turn for an import, beside the turn of its person, as soon as there is one: they wait in line, and nothing of
    /// them is read meanwhile.
    ///
    /// # Errors
    /// Refused where it takes longer than they may wait.
    pub(super) async fn take_in(&self, wait: Duration) -> Result<OwnedSemaphorePermit, Status> {
        in_line(&self.imports, wait).await
    }

    /// Counts a call without a token from an address.
    ///
    /// # Errors
    /// Refused where there were too many of late.
    pub(super) fn count(&self, address: IpAddr) -> Result<(), Status> {
        let Some(rate) = &self.rate else { return Ok(()) };
        rate.retain_recent();
        rate.check_key(&address)
            .map_err(|_| status::refused(status::too_many_calls().retry_after(Duration::from_secs(60))))
    }

    /// A turn for whoever shows no token, as soon as there is one: they wait in line.
    ///
    /// # Errors
    /// Refused where it takes longer than they may wait.
    pub(super) async fn take_as_stranger(&self, wait: Duration) -> Result<Turn, Status> {
        Ok(Turn { _turn: in_line(&self.strangers, wait).await?, own: None })
    }

    fn persons(&self) -> MutexGuard<'_, HashMap<Uuid, usize>> {
        self.persons.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

async fn in_line(turns: &Arc<Semaphore>, wait: Duration) -> Result<OwnedSemaphorePermit, Status> {
    let turn = tokio::time::timeout(wait, Arc::clone(turns).acquire_owned()).await;
    turn.ok().and_then(Result::ok).ok_or_else(|| status::refused(status::too_many_calls()))
}

impl Drop for OwnTurn {
    fn drop(&mut self) {
        let mut persons = self.turns.persons();
        if let Some(own) = persons.get_mut(&self.person) {
            *own -= 1;
            if *own == 0 {
                persons.remove(&self.person);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn turns() -> Arc<Turns> {
        let strangers_a_minute = NonZeroU32::new(2);
        Turns::new(Most { calls: 3, of_one_person: 2, strangers: 1, strangers_a_minute, imports: 1 })
    }

    #[tokio::test]
    async fn one_person_leaves_turns_to_others_and_strangers_take_none_of_theirs() {
        let turns = turns();
        let (kim, lee) = (Uuid::from_u128(1), Uuid::from_u128(2));
        let stranger = turns.take_as_stranger(Duration::ZERO).await.unwrap();
        let first = turns.take(kim).unwrap();
        let second = turns.take(kim).unwrap();
        assert!(turns.take(kim).is_err());
        let other = turns.take(lee).unwrap();
        assert!(turns.take(lee).is_err(), "all are taken");
        drop((first, second));
        turns.take(kim).unwrap();
        assert!(turns.take_as_stranger(Duration::from_millis(1)).await.is_err());
        drop(stranger);
        turns.take_as_stranger(Duration::ZERO).await.unwrap();
        drop(other);
        assert!(turns.persons().is_empty());
    }

    #[tokio::test]
    async fn an_import_waits_until_another_is_over() {
        let turns = turns();
        let first = turns.take_in(Duration::ZERO).await.unwrap();
        assert!(turns.take_in(Duration::from_millis(1)).await.is_err());
        let (second, ()) = tokio::join!(turns.take_in(Duration::from_secs(60)), async { drop(first) });
        assert!(second.is_ok());
    }

    #[test]
    fn each_address_has_its_own_calls_a_minute() {
        let turns = turns();
        let (one, other) = ("192.0.2.1".parse().unwrap(), "192.0.2.2".parse().unwrap());
        turns.count(one).unwrap();
        turns.count(one).unwrap();
        assert!(turns.count(one).is_err());
        turns.count(other).unwrap();
    }
}
