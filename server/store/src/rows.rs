//! Writing rows: one way for every table.
//!
//! Rows go in as one JSON parameter that PostgreSQL spreads over the columns. So the statement of a
//! table is the same for one row and for a thousand and is prepared once, and what the ledger vouches
//! for is the very content that was stored.

use crate::doors::Tx;
use crate::error::Error;
use crate::ledger;
use sea_orm::{EntityName, EntityTrait, FromQueryResult, Iterable};
use serde::Serialize;
use serde_json::{Value, json};

/// A row of a table that keeps its history: what its key is, and what it holds as JSON.
pub(super) trait Row: Serialize + FromQueryResult + Send + Sync {
    /// The table.
    type Table: EntityTrait;

    /// The row's key, as the ledger names it.
    fn key(&self) -> String;
}

/// The table of a row.
pub(super) fn name<R: Row>() -> &'static str {
    <R::Table as Default>::default().table_name()
}

/// Its columns.
pub(super) fn columns<R: Row>() -> Vec<&'static str> {
    let columns = <R::Table as EntityTrait>::Column::iter();
    columns.map(|column| sea_orm::IdenStatic::as_str(&column)).collect()
}

impl Tx {
    /// Writes rows, and a ledger line for each.
    pub(super) async fn insert<R: Row>(&mut self, rows: &[R]) -> Result<(), Error> {
        let keyed = rows.iter().map(|row| Ok((row.key(), serde_json::to_value(row)?)));
        self.insert_values::<R>(keyed.collect::<Result<_, Error>>()?).await
    }

    /// The same for rows that are JSON already, each with its key.
    pub(super) async fn insert_values<R: Row>(&mut self, rows: Vec<(String, Value)>) -> Result<(), Error> {
        if rows.is_empty() {
            return Ok(());
        }
        let (table, columns) = (name::<R>(), columns::<R>().join(", "));
        for (key, value) in &rows {
            self.note_line(ledger::line(table, key, value));
        }
        let values: Vec<Value> = rows.into_iter().map(|(_, value)| value).collect();
        self.execute(
            &format!(
                "INSERT INTO {table} ({columns}) SELECT {columns} FROM jsonb_populate_recordset(NULL::{table}, $1)"
            ),
            [Value::Array(values).into()],
        )
        .await?;
        Ok(())
    }

    /// Supersedes the version `id` of a fact about an animal, found by the key that begins with the animal:
    /// another takes its place, or it is withdrawn.
    pub(super) async fn supersede_of<E: EntityTrait>(
        &mut self,
        animal: uuid::Uuid,
        id: uuid::Uuid,
        why: &str,
    ) -> Result<(), Error> {
        self.supersede_where::<E>(" AND animal_id = $5", vec![animal.into()], id, why).await
    }

    /// The same for what is about no single animal.
    pub(super) async fn supersede<E: EntityTrait>(&mut self, id: uuid::Uuid, why: &str) -> Result<(), Error> {
        self.supersede_where::<E>("", Vec::new(), id, why).await
    }

    async fn supersede_where<E: EntityTrait>(
        &mut self,
        condition: &str,
        more: Vec<sea_orm::Value>,
        id: uuid::Uuid,
        why: &str,
    ) -> Result<(), Error> {
        let entity = E::default();
        let table = entity.table_name();
        let changed = self
            .execute(
                &format!(
                    "UPDATE {table} SET superseded_at = $2, superseded_in = $3, superseded_why = $4
                      WHERE id = $1 AND superseded_at IS NULL{condition}"
                ),
                [vec![id.into(), self.now().into(), self.request_id().into(), why.into()], more].concat(),
            )
            .await?;
        if changed != 1 {
            // Somebody superseded it since it was read.
            return Err(Error::Contention);
        }
        self.note_line(ledger::change(
            table,
            &id.to_string(),
            &json!({ "superseded_at": self.now(), "superseded_in": self.request_id(), "superseded_why": why }),
        ));
        Ok(())
    }

    /// Notes a change of columns that may change in place.
    pub(super) fn note_change<E: EntityTrait>(&mut self, key: &str, columns: &Value) {
        let entity = E::default();
        self.note_line(ledger::change(entity.table_name(), key, columns));
    }
}
