//! Streams that outlive the call that opened them: how many there may be, and that they end with the server.

use crate::api::status;
use std::sync::Arc;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use tonic::Status;

/// What a stream needs of the server around it.
#[derive(Clone)]
pub struct Streams {
    /// Where its work is a task, so that the server waits for the step under way.
    pub tasks: TaskTracker,
    /// Cancelled when the server stops.
    pub stopping: CancellationToken,
    turns: Arc<Semaphore>,
}

impl Streams {
    /// So many streams at the same time.
    #[must_use]
    pub fn new(tasks: TaskTracker, stopping: CancellationToken, most: usize) -> Self {
        Self { tasks, stopping, turns: Arc::new(Semaphore::new(most)) }
    }

    /// A turn for one more stream.
    ///
    /// # Errors
    /// Refused where there are too many.
    pub(super) fn enter(&self) -> Result<OwnedSemaphorePermit, Status> {
        Arc::clone(&self.turns).try_acquire_owned().map_err(|_| status::refused(status::too_many_calls()))
    }
}
