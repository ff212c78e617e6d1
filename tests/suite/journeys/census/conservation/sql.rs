//! A count in plain SQL over the tables, as its owner sees them.

use super::{COLUMNS, Counted, nothing_dropped};
use chrono::NaiveDate;
use sqlx::{Connection, PgConnection};
use uuid::Uuid;

const COUNT: &str = include_str!("count.sql");

/// What the tables say of some sites and days, but for moves between the sexes: all that is in them, or what
/// row-level security shows to somebody of one site.
pub(super) async fn count(
    connection: &mut PgConnection,
    sites: &[&str],
    first: NaiveDate,
    last: NaiveDate,
    asker: Option<(Uuid, Uuid)>,
) -> Counted {
    let mut tx = connection.begin().await.unwrap();
    if let Some((site, person)) = asker {
        let open = "SELECT holt_open(ARRAY[$1]::uuid[], false, false, $2, 60000, NULL, NULL)";
        sqlx::query(open).bind(site).bind(person).execute(&mut *tx).await.unwrap();
    }
    let rows: Vec<(String, String, i64, i64, i64)> =
        sqlx::query_as(COUNT).bind(sites).bind(first).bind(last).fetch_all(&mut *tx).await.unwrap();
    tx.rollback().await.unwrap();
    let mut counted = Counted::new();
    for (species, what, males, females, unknown) in rows {
        let column = COLUMNS.into_iter().find(|column| *column == what).unwrap();
        counted.insert((species, column), [males, females, unknown]);
    }
    nothing_dropped(counted)
}
