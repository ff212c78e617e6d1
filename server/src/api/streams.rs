//! Streams that outlive the call that opened them: how many there may be, and that they end with the server.

use crate::api::status;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc};
use tokio_stream::wrappers::ReceiverStream;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use tonic::{Status, Streaming};
use tracing::Instrument;

/// The answers to the portions of a stream.
pub(super) type Answers<A> = ReceiverStream<Result<A, Status>>;

/// What a stream needs of the server around it.
#[derive(Clone)]
pub struct Streams {
    /// Where its work is a task, so that the server waits for the step under way.
    tasks: TaskTracker,
    /// Cancelled when the server stops.
    stopping: CancellationToken,
    turns: Arc<Semaphore>,
    /// How long an answer may wait for its reader.
    patience: Duration,
}

impl Streams {
    /// So many streams at the same time, whose answers wait so long for their reader.
    #[must_use]
    pub fn new(tasks: TaskTracker, stopping: CancellationToken, most: usize, patience: Duration) -> Self {
        Self { tasks, stopping, turns: Arc::new(Semaphore::new(most)), patience }
    }

    /// A turn for one more stream.
    fn enter(&self) -> Result<OwnedSemaphorePermit, Status> {
        Arc::clone(&self.turns).try_acquire_owned().map_err(|_| status::refused(status::too_many_calls()))
    }

    /// Takes portions as they come and answers each, until the stream ends, a portion is refused, nobody waits for
    /// answers any more or reads them, or the server stops.
    ///
    /// # Errors
    /// Refused where there are too many streams.
    pub(super) fn answer<P, A, F>(
        &self,
        mut portions: Streaming<P>,
        answer: impl Fn(P) -> F + Send + 'static,
    ) -> Result<Answers<A>, Status>
    where
        P: Send + 'static,
        A: Send + 'static,
        F: Future<Output = Result<A, Status>> + Send,
    {
        let turn = self.enter()?;
        let (sender, answers) = mpsc::channel(1);
        let (stopping, patience) = (self.stopping.clone(), self.patience);
        // A task of its own: whoever goes away cuts no portion off between two statements.
        let work = async move {
            loop {
                let portion = tokio::select! {
                    () = stopping.cancelled() => Err(status::refused(status::away())),
                    portion = portions.message() => portion,
                };
                let told = match portion {
                    Ok(None) => break,
                    Ok(Some(portion)) => answer(portion).await,
                    Err(status) => Err(status::unread(status)),
                };
                let last = told.is_err();
                let sent = tokio::time::timeout(patience, sender.send(told)).await;
                if !matches!(sent, Ok(Ok(()))) || last {
                    break;
                }
            }
            drop(turn);
        };
        self.tasks.spawn(work.in_current_span());
        Ok(ReceiverStream::new(answers))
    }
}
