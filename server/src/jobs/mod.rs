//! What the server does by itself: each a loop around a function of the records. Several servers of one
//! database may do so at once.

pub mod houses;
pub mod sealer;

use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// Waits until a job's turn comes again; false once it is told to stop. What is under way then is finished first.
async fn turn(every: Duration, stop: &CancellationToken) -> bool {
    stop.run_until_cancelled(tokio::time::sleep(every)).await.is_some()
}
