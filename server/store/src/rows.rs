//! Writing rows: one way for every table.
//!
//! Rows go in as one JSON parameter that PostgreSQL spreads over the columns. So the statement of a
//! table is the same for one row and for a thousand and is prepared once, and what the ledger vouches
//! for is the very content that was stored.

use crate::doors::Tx;
use crate::error::Error;
use crate::ledger;
use sea_orm::{EntityTrait, FromQueryResult, IdenStatic, Iterable};
use serde::Serialize;
use serde_json::{Value, json};
use std::collections::HashMap;
use uuid::Uuid;

/// Table and animal, and what of the animal was superseded there: what takes its place in the same write is of the
/// same record. Empty but for animals with several records.
pub(super) type Replaced = HashMap<(&'static str, Uuid), OfRecord>;

/// A row of one of several records of an animal.
#[derive(Clone, Copy)]
pub(super) struct OfRecord {
    record: Uuid,
    /// The transfer that it began with.
    began_with: Option<Uuid>,
}

/// What says when a row was so, for the record under which an animal is held then; otherwise it is when the row
/// was recorded.
const INSTANTS: [&str; 5] = ["began_at", "weighed_at", "assessed_at", "died_at", "given_at"];

/// What names the transfer that a row goes with: it is of the record that moves.
const TRANSFERS: [&str; 3] = ["transfer_id", "transfer_in", "transfer_out"];

/// What names the transfer that a row began with.
const BEGAN_WITH: [&str; 2] = ["transfer_id", "transfer_in"];

/// A row of a table that keeps its history: what its key is, and what it holds as JSON.
pub(super) trait Row: Serialize + FromQueryResult + Send + Sync {
    /// The table.
    type Table: EntityTrait;

    /// The row's key, as the ledger names it.
    fn key(&self) -> String;
}

/// The table of a row.
pub(super) fn name<R: Row>() -> &'static str {
    table_of::<R::Table>()
}

fn table_of<E: EntityTrait>() -> &'static str {
    E::default().table_name()
}

/// Tables of the records themselves: links between them, and what was proposed for one with its answer.
const OF_RECORDS: [&str; 3] = ["merges", "amendments", "amendment_answers"];

/// Whether rows of a table are of single animals.
fn of_an_animal<E: EntityTrait>() -> bool {
    !OF_RECORDS.contains(&table_of::<E>())
        && E::Column::iter().any(|column| IdenStatic::as_str(&column) == "animal_id")
}

/// Its columns.
pub(super) fn columns<R: Row>() -> Vec<&'static str> {
    let columns = <R::Table as EntityTrait>::Column::iter();
    columns.map(|column| IdenStatic::as_str(&column)).collect()
}

impl Tx {
    /// Writes rows, and a ledger line for each.
    pub(super) async fn insert<R: Row>(&mut self, rows: &[R]) -> Result<(), Error> {
        let keyed = rows.iter().map(|row| Ok((row.key(), serde_json::to_value(row)?)));
        self.insert_values::<R>(keyed.collect::<Result<_, Error>>()?).await
    }

    /// The same for rows that are JSON already, each with its key. What is of an animal with several records goes
    /// to the one under which it is held then.
    pub(super) async fn insert_values<R: Row>(&mut self, rows: Vec<(String, Value)>) -> Result<(), Error> {
        let of_animals = of_an_animal::<R::Table>();
        let (replacing, new): (Vec<_>, Vec<_>) =
            rows.into_iter().partition(|(_, row)| of_animals && self.record_of::<R>(row).is_some());
        if of_animals {
            self.insert_of_animals::<R>(new).await?;
        } else {
            self.insert_plain::<R>(new).await?;
        }
        let replacing = replacing.into_iter().map(|(key, mut row)| {
            if let Some(record) = self.record_of::<R>(&row) {
                row["animal_id"] = json!(record);
            }
            (key, row)
        });
        let replacing = replacing.collect();
        self.insert_plain::<R>(replacing).await
    }

    /// The record of what the row takes the place of, where its animal has several. A row that begins with a
    /// transfer takes the place of none: what ended for it was another's.
    fn record_of<R: Row>(&self, row: &Value) -> Option<Uuid> {
        let animal = row["animal_id"].as_str()?.parse().ok()?;
        let replaced = self.replaced.get(&(name::<R>(), animal))?;
        let began_with = BEGAN_WITH.iter().find_map(|column| row[column].as_str()?.parse().ok());
        (began_with == replaced.began_with).then_some(replaced.record)
    }

    /// The record under which what this write superseded of an animal stands, among several.
    pub(super) fn superseded_record<E: EntityTrait>(&self, animal: Uuid) -> Uuid {
        self.replaced.get(&(table_of::<E>(), animal)).map_or(animal, |replaced| replaced.record)
    }

    async fn insert_plain<R: Row>(&mut self, rows: Vec<(String, Value)>) -> Result<(), Error> {
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
                "INSERT INTO public.{table} ({columns})
                 SELECT {columns} FROM jsonb_populate_recordset(NULL::public.{table}, $1)"
            ),
            [Value::Array(values).into()],
        )
        .await?;
        Ok(())
    }

    async fn insert_of_animals<R: Row>(&mut self, mut rows: Vec<(String, Value)>) -> Result<(), Error> {
        #[derive(FromQueryResult)]
        struct Entered {
            id: Uuid,
            record_id: Uuid,
        }
        if rows.is_empty() {
            return Ok(());
        }
        let (table, names) = (name::<R>(), columns::<R>());
        let at = INSTANTS.into_iter().find(|instant| names.contains(instant)).unwrap_or("recorded_at");
        let mut record = format!("holt_entered_for(r.animal_id, r.{at})");
        let transfers = TRANSFERS.into_iter().filter(|column| names.contains(column));
        let transfers = transfers.map(|column| format!("r.{column}")).collect::<Vec<_>>().join(", ");
        if !transfers.is_empty() {
            record = format!(
                "coalesce((SELECT t.animal_id FROM public.transfers t
                            WHERE t.id = coalesce({transfers}) AND holt_animal(t.animal_id) = r.animal_id), {record})"
            );
        }
        let columns = names.join(", ");
        let entered = names.iter().map(|name| if *name == "animal_id" { "record_id" } else { *name });
        let entered = entered.collect::<Vec<_>>().join(", ");
        let values: Vec<Value> = rows.iter().map(|(_, value)| value.clone()).collect();
        let elsewhere = self
            .rows::<Entered>(
                &format!(
                    "WITH given AS MATERIALIZED (
                       SELECT r.*, {record} AS record_id
                         FROM jsonb_populate_recordset(NULL::public.{table}, $1) r
                     ), inserted AS (INSERT INTO public.{table} ({columns}) SELECT {entered} FROM given)
                     SELECT id, record_id FROM given WHERE record_id <> animal_id"
                ),
                [Value::Array(values).into()],
            )
            .await?;
        for Entered { id, record_id } in elsewhere {
            let id = json!(id);
            if let Some((_, row)) = rows.iter_mut().find(|(_, row)| row["id"] == id) {
                row["animal_id"] = json!(record_id);
            }
        }
        for (key, value) in &rows {
            self.note_line(ledger::line(table, key, value));
        }
        Ok(())
    }

    /// Supersedes the version `id` of a fact about an animal, found by the key that begins with the animal:
    /// another takes its place, or it is withdrawn.
    pub(super) async fn supersede_of<E: EntityTrait>(
        &mut self,
        animal: Uuid,
        id: Uuid,
        why: &str,
    ) -> Result<(), Error> {
        let of = " AND animal_id = ANY (holt_records($5))";
        self.supersede_where::<E>(of, vec![vec![animal].into()], id, why).await
    }

    /// The same for what is about no single animal.
    pub(super) async fn supersede<E: EntityTrait>(&mut self, id: Uuid, why: &str) -> Result<(), Error> {
        self.supersede_where::<E>("", Vec::new(), id, why).await
    }

    async fn supersede_where<E: EntityTrait>(
        &mut self,
        condition: &str,
        more: Vec<sea_orm::Value>,
        id: Uuid,
        why: &str,
    ) -> Result<(), Error> {
        #[derive(FromQueryResult)]
        struct Superseded {
            record_id: Option<Uuid>,
            animal_id: Option<Uuid>,
            began_with: Option<Uuid>,
        }
        let table = table_of::<E>();
        let of = if of_an_animal::<E>() {
            let has = |column: &str| E::Column::iter().any(|of| IdenStatic::as_str(&of) == column);
            let began_with = BEGAN_WITH.into_iter().find(|column| has(column)).unwrap_or("NULL::uuid");
            format!(
                "f.animal_id AS record_id, (SELECT i.animal_id FROM public.identities i
                                             WHERE i.record_id = f.animal_id AND i.linked) AS animal_id,
                 {began_with} AS began_with"
            )
        } else {
            "NULL::uuid AS record_id, NULL::uuid AS animal_id, NULL::uuid AS began_with".to_owned()
        };
        let superseded = self
            .rows::<Superseded>(
                &format!(
                    "UPDATE public.{table} f SET superseded_at = $2, superseded_in = $3, superseded_why = $4
                      WHERE id = $1 AND superseded_at IS NULL{condition} RETURNING {of}"
                ),
                [vec![id.into(), self.now().into(), self.request_id().into(), why.into()], more].concat(),
            )
            .await?;
        let [one] = superseded.as_slice() else {
            // Somebody superseded it since it was read.
            return Err(Error::Contention);
        };
        if let Some((animal, record)) = one.animal_id.zip(one.record_id) {
            self.replaced.insert((table, animal), OfRecord { record, began_with: one.began_with });
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
        self.note_line(ledger::change(table_of::<E>(), key, columns));
    }
}
