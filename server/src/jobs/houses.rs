//! Looks whether houses are too cold or too warm, and whether devices are silent.

use crate::jobs::turn;
use crate::records::Records;
use crate::records::alarms;
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// Looks every so often until it is told to stop.
pub async fn run(records: Records, every: Duration, stop: CancellationToken) {
    while turn(every, &stop).await {
        once(&records).await;
    }
}

async fn once(records: &Records) {
    match alarms::watch(records).await {
        Ok(0) => {}
        Ok(concerns) => tracing::info!(concerns, "told of houses"),
        Err(error) => {
            tracing::warn!(?error, "Holt could not check the climate of enclosures; it will try again");
        }
    }
}
