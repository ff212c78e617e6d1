//! A write that lost a race runs again.

use backon::{BackoffBuilder, ExponentialBuilder};
use std::time::Duration;

/// How often a write that lost a race is tried again.
const TRIES: usize = 6;

/// What a write may answer instead of its reply.
pub trait Raced {
    /// Whether the write lost a race and may go well when it is tried again.
    fn lost_race(&self) -> bool;
}

/// Runs a write, and runs it again where it lost a race: with pauses that grow and differ, a bounded
/// number of times. The block may run more than once: it talks to its transaction and nothing else.
///
/// # Errors
/// What the block answers; the last race where every try lost one.
pub async fn retrying<R, E, F>(write: &'static str, mut attempt: impl FnMut() -> F + Send) -> Result<R, E>
where
    E: Raced,
    F: Future<Output = Result<R, E>> + Send,
{
    let mut pauses = ExponentialBuilder::default()
        .with_min_delay(Duration::from_millis(5))
        .with_max_delay(Duration::from_millis(500))
        .with_max_times(TRIES)
        .with_jitter()
        .build();
    loop {
        let answer = attempt().await;
        if !answer.as_ref().is_err_and(Raced::lost_race) {
            return answer;
        }
        let Some(pause) = pauses.next() else { return answer };
        tracing::debug!(write, ?pause, "lost a race, trying again");
        tokio::time::sleep(pause).await;
    }
}
