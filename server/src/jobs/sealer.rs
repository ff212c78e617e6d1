//! Puts new entries of the ledger under a seal, again and again.

use crate::records::Records;
use crate::records::ledger;
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// Seals every so often until it is told to stop; what is under way then is finished first. Several servers
/// of one database may do so: of two that seal at once, one finds it done.
pub async fn run(records: Records, every: Duration, stop: CancellationToken) {
    loop {
        let told = stop.run_until_cancelled(tokio::time::sleep(every)).await.is_none();
        if told {
            return;
        }
        match ledger::seal_rest(&records).await {
            Ok(0) => {}
            Ok(entries) => tracing::debug!(entries, "sealed"),
            Err(error) => tracing::warn!(?error, "the ledger could not be sealed; it will be tried again"),
        }
    }
}
