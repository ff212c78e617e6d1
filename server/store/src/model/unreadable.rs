//! Records that do not mean what their columns allow: a page leaves them out, and its answer names them.

use std::sync::{Arc, Mutex, PoisonError};
use uuid::Uuid;

/// A record that could not be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unreadable {
    /// What it is a record of, in a word or two.
    pub kind: &'static str,
    pub id: Uuid,
    /// What is wrong with it.
    pub say: String,
}

/// Those that one call came upon.
#[derive(Clone, Debug, Default)]
pub struct Unreadables(Arc<Mutex<Vec<Unreadable>>>);

impl Unreadables {
    /// Notes one, once, however often the call reads it.
    pub(crate) fn note(&self, record: Unreadable) {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if all.iter().all(|one| (one.kind, one.id) != (record.kind, record.id)) {
            tracing::error!(kind = record.kind, record.id = %record.id, error = record.say, "a record cannot be read");
            all.push(record);
        }
    }

    /// All of them so far.
    #[must_use]
    pub fn take(&self) -> Vec<Unreadable> {
        std::mem::take(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}
