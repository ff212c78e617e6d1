//! Who asks, as the database is told.

use sqlx::{Connection, PgConnection, PgTransaction};
use uuid::Uuid;

/// Who asks, as a transaction tells the database.
#[derive(Clone, Copy)]
pub(super) struct Asker {
    pub(super) site: Option<Uuid>,
    pub(super) everywhere: bool,
    pub(super) gate: bool,
    pub(super) person: Uuid,
}

impl Asker {
    pub(super) const fn of(site: Uuid, person: Uuid) -> Self {
        Self { site: Some(site), everywhere: false, gate: false, person }
    }
}

/// A transaction of the service, with the scope of somebody or outside the doors.
pub(super) async fn enter(service: &mut PgConnection, asker: Option<Asker>) -> PgTransaction<'_> {
    let mut tx = service.begin().await.unwrap();
    if let Some(asker) = asker {
        sqlx::query("SELECT FROM holt_open($1, $2, $3, $4, 60000, NULL, NULL)")
            .bind(asker.site.into_iter().collect::<Vec<Uuid>>())
            .bind(asker.everywhere)
            .bind(asker.gate)
            .bind(asker.person)
            .execute(&mut *tx)
            .await
            .unwrap();
        // The tables themselves, and not what stands of them by the links between records.
        sqlx::query("SET LOCAL search_path TO public").execute(&mut *tx).await.unwrap();
    }
    tx
}

pub(super) async fn tables(anybody: &mut PgConnection) -> Vec<String> {
    sqlx::query_scalar(
        "SELECT relname::text FROM pg_class WHERE relnamespace = 'public'::regnamespace
            AND relkind IN ('r', 'p') AND relname <> '_sqlx_migrations' ORDER BY 1",
    )
    .fetch_all(anybody)
    .await
    .unwrap()
}
