//! Documents in the database that say nothing that Holt can read: whatever part of a page they belong to, the page is
//! there without them, and names them.

use super::{Walk, methods, name, writes};
use holt_proto::{UNREADABLE, v1};
use prost::Message;
use prost_reflect::{DynamicMessage, MethodDescriptor, Value};
use sqlx::{PgConnection, Row};
use std::collections::BTreeSet;
use tonic::Code;
use uuid::Uuid;

/// Shown as it is written, whatever it says.
const SHOWN: [&str; 1] = ["amendments.change"];

/// What is read of one group alone is asked of every group.
const ABOUT_GROUPS: [&str; 2] = ["EnrichmentService/GetEnrichment", "FeedingService/GetFeeding"];

/// Every column that holds a document or a rule of the books, and a value that is neither.
async fn documents(owner: &mut PgConnection) -> Vec<(String, String, &'static str)> {
    let found = sqlx::query(
        "SELECT c.relname AS of, a.attname AS name
           FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
          WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r' AND a.atttypid = 'jsonb'::regtype
            AND c.relname NOT IN ('ledger', 'requests') ORDER BY 1, 2",
    );
    let found = found.fetch_all(owner).await.unwrap();
    let mut all: Vec<_> = found.iter().map(|row| (row.get("of"), row.get("name"), "to_jsonb(7)")).collect();
    all.push(("checks".to_owned(), "recurrence".to_owned(), "'FREQ=NEVER'"));
    all
}

async fn execute(owner: &mut PgConnection, sql: String) {
    sqlx::query(sqlx::AssertSqlSafe(sql)).execute(owner).await.unwrap();
}

/// Every identifier in the rows of a table.
async fn identifiers(owner: &mut PgConnection, table: &str) -> BTreeSet<Uuid> {
    let sql = format!(
        "SELECT (v.value #>> '{{}}')::uuid FROM public.{table} t, jsonb_each(to_jsonb(t)) v
          WHERE (v.key = 'id' OR v.key LIKE '%\\_id') AND v.value <> 'null'"
    );
    sqlx::query_scalar(sqlx::AssertSqlSafe(sql)).fetch_all(owner).await.unwrap().into_iter().collect()
}

/// Every group that a request names.
fn named_groups(request: &DynamicMessage, groups: &mut BTreeSet<String>) {
    for (field, value) in request.fields() {
        match value {
            Value::String(text) if field.name() == "group" && !text.is_empty() => {
                groups.insert(text.clone());
            }
            Value::Message(inner) => named_groups(inner, groups),
            _ => {}
        }
    }
}

impl Walk {
    /// The identifiers that an answer names as missing; what went wrong where there is no answer.
    async fn missing(
        &mut self,
        method: &MethodDescriptor,
        request: &DynamicMessage,
        spoilt: &str,
    ) -> Vec<Uuid> {
        let what = format!("{} with spoilt {spoilt}", name(method));
        match self.answer(method, request).await {
            Ok(answer) => {
                let Some(told) = answer.metadata().get_bin(UNREADABLE) else { return Vec::new() };
                let told = v1::UnreadableRecords::decode(told.to_bytes().unwrap()).unwrap();
                told.records.iter().map(|record| record.id.parse().unwrap()).collect()
            }
            // What is asked about may be the very document that is missing.
            Err(status) if status.code() == Code::NotFound => Vec::new(),
            Err(status) => {
                self.judge(&what, &status);
                Vec::new()
            }
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_document_that_says_nothing_stops_no_page() {
    let mut walk = Walk::new().await;
    let (writers, readers): (Vec<_>, Vec<_>) = methods().into_iter().partition(writes);
    let mut groups = BTreeSet::new();
    for method in &writers {
        let request = walk.valid(method).await;
        walk.send(method, &request).await.unwrap_or_else(|status| panic!("{}: {status:?}", name(method)));
        named_groups(&request, &mut groups);
    }
    let mut asked = Vec::new();
    for method in &readers {
        let request = walk.valid(method).await;
        if ABOUT_GROUPS.contains(&name(method).as_str()) {
            for group in &groups {
                let mut request = request.clone();
                request.set_field_by_name("group", Value::String(group.clone()));
                asked.push((method, request));
            }
        }
        asked.push((method, request));
    }
    let mut owner = walk.stage.house.owner().await;
    // Past the triggers that keep history as it is.
    execute(&mut owner, "SET session_replication_role = replica".to_owned()).await;
    for (table, column, nothing) in documents(&mut owner).await {
        let spoilt = format!("{table}.{column}");
        execute(&mut owner, format!("CREATE TEMP TABLE kept AS SELECT * FROM public.{table}")).await;
        let ids = identifiers(&mut owner, &table).await;
        assert!(!ids.is_empty(), "no method that writes leaves a row in {table}");
        execute(&mut owner, format!("UPDATE public.{table} SET {column} = {nothing}")).await;
        let mut named = BTreeSet::new();
        for (method, request) in &asked {
            named.extend(walk.missing(method, request, &spoilt).await);
        }
        if !SHOWN.contains(&spoilt.as_str()) && named.is_disjoint(&ids) {
            walk.wrong.push(format!("{spoilt}: no page names what it could not read"));
        }
        execute(&mut owner, format!("DELETE FROM public.{table}")).await;
        execute(&mut owner, format!("INSERT INTO public.{table} SELECT * FROM kept")).await;
        execute(&mut owner, "DROP TABLE kept".to_owned()).await;
    }
    assert!(walk.wrong.is_empty(), "{:#?}", walk.wrong);
    walk.stage.house.close().await;
}
