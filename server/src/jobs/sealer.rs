//! Puts new entries of the ledger under a seal. Of two servers that seal at once, one finds it done.

use crate::jobs::turn;
use crate::records::Records;
use crate::records::ledger;
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// Seals every so often until it is told to stop.
pub async fn run(records: Records, every: Duration, stop: CancellationToken) {
    while turn(every, &stop).await {
        once(&records).await;
    }
}

async fn once(records: &Records) {
    match ledger::seal_rest(records).await {
        Ok(0) => {}
        Ok(entries) => tracing::debug!(entries, "sealed"),
        Err(error) => tracing::warn!(?error, "Holt could not seal the ledger; it will try again"),
    }
}
