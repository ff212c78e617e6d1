//! What must not be lost, half-written or left behind when something breaks.

mod away;
mod cancelled;
mod deadline;
mod killed;
mod limits;
mod lost_race;
mod panics;
mod stamped_later;
mod stopping;

use holt_tests::House;
use sqlx::{Connection, PgConnection};

/// Holds a lock on an animal's row until it is let go, so that whoever needs it waits at a known place.
pub(super) struct Held(PgConnection);

impl Held {
    pub(super) async fn animal(house: &House, id: &str) -> Self {
        let mut owner = house.owner().await;
        sqlx::query("BEGIN").execute(&mut owner).await.unwrap();
        sqlx::query("SELECT id FROM animals WHERE id = $1::uuid FOR UPDATE")
            .bind(id)
            .fetch_one(&mut owner)
            .await
            .unwrap();
        Self(owner)
    }

    /// Waits until somebody stands in line for the lock.
    pub(super) async fn is_waited_for(&mut self) {
        loop {
            // Locks are read as they are now. What `pg_stat_activity` lists is kept for a whole transaction, and this
            // one may have begun before the connection that waits was made.
            let waited_for: bool = sqlx::query_scalar(
                "SELECT EXISTS (SELECT FROM pg_locks
                                 WHERE NOT granted AND pg_backend_pid() = ANY (pg_blocking_pids(pid)))",
            )
            .fetch_one(&mut self.0)
            .await
            .unwrap();
            if waited_for {
                return;
            }
            tokio::task::yield_now().await;
        }
    }

    pub(super) async fn let_go(mut self) {
        sqlx::query("ROLLBACK").execute(&mut self.0).await.unwrap();
        self.0.close().await.unwrap();
    }
}

/// How many weights stand on record.
pub(super) async fn weights(house: &House) -> i64 {
    let mut owner = house.owner().await;
    sqlx::query_scalar("SELECT count(*) FROM weights WHERE superseded_at IS NULL")
        .fetch_one(&mut owner)
        .await
        .unwrap()
}
