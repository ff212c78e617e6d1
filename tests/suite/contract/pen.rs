//! What an SQL prompt of the service writes with the scope of one site, were the code to forget who asks: nothing of
//! another site's, under whichever name. Generated from the catalogue: a table that is added is tried, too.

use super::asker::{Asker, enter, tables};
use super::scene::Scene;
use holt_proto::v1;
use serde_json::{Map, Value, json};
use sqlx::{AssertSqlSafe, PgConnection, PgTransaction};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// Rows of these are no site's.
const OF_NO_SITE: [(&str, &str); 3] = [
    ("people", "a person without a role can do nothing: what counts is who may grant"),
    ("requests", "a person's own"),
    ("taxa", "a species is nobody's: a site adds one that is new to all, and the rest is the curator's"),
];

/// What a column names that is everybody's, or who somebody is.
const NAMES_NOBODYS: [&str; 22] = [
    "id",
    "site_id",
    "recorded_by",
    "request_id",
    "superseded_in",
    "person_id",
    "taxon_id",
    "protocol_id",
    "ethogram_id",
    "from_site_id",
    "to_site_id",
    "withheld_by",
    "owner_site_id",
    "lender_site_id",
    "borrower_site_id",
    "proposer_id",
    // Any other site may be asked.
    "asked_id",
    // A search says whose animals it compared; that opens nothing of theirs.
    "shown",
    // Versions of facts, of whatever table: one that is of no record that the row names changes nothing.
    "fact_id",
    "set_aside",
    // And a record for each: it says when to ask again, and opens nothing of it.
    "aside_for",
    "confirmed",
];

/// What a table's own rows are the same under over all their versions.
const ITSELF: [(&str, &str); 8] = [
    ("checks", "check_id"),
    ("devices", "device_id"),
    ("enrichment_items", "item_id"),
    ("enrichment_offers", "offer_id"),
    ("feeds", "feed_id"),
    ("foods", "food_id"),
    ("loans", "loan_id"),
    ("marks", "mark_id"),
];

/// What an entry of the ledger is the leaf of is written in one statement with it, once: its key refuses another.
const WRITTEN_WITH: (&str, &str) = ("leaves", "entry_id");

/// What a CHECK refuses: the first two, made up as they are here, before the foreign key that holds them to their site or
/// animal; a link by who answers for its records, at the end of the write (`merges_answering_site_guard`).
const HELD_BY_A_CHECK: [&str; 3] = ["concerns.enclosure_id", "merges.into_id", "papers.transfer_id"];

/// How the database refuses: no leave; no such thing at this site; or what is the other's is in the way of it.
const REFUSED: [&str; 4] = ["42501", "23503", "23505", "23P01"];

/// A column of a table.
pub(super) struct Column {
    name: String,
    kind: String,
    nullable: bool,
    may_change: bool,
}

pub(super) async fn columns(owner: &mut PgConnection, table: &str) -> Vec<Column> {
    let rows: Vec<(String, String, bool, bool)> = sqlx::query_as(
        "SELECT attname::text, format_type(atttypid, NULL), NOT attnotnull,
                has_column_privilege('holt_service', attrelid, attnum, 'UPDATE')
           FROM pg_attribute
          WHERE attrelid = $1::regclass AND attnum > 0 AND NOT attisdropped AND attgenerated = '' ORDER BY attnum",
    )
    .bind(table)
    .fetch_all(owner)
    .await
    .unwrap();
    let column = |(name, kind, nullable, may_change)| Column { name, kind, nullable, may_change };
    rows.into_iter().map(column).collect()
}

/// What tells the rows of a site.
fn site_column(columns: &[Column]) -> Option<&'static str> {
    ["site_id", "from_site_id"].into_iter().find(|known| columns.iter().any(|column| column.name == *known))
}

/// The columns that name something of a site's: an animal, a group, a transfer.
fn naming<'c>(table: &str, columns: &'c [Column]) -> Vec<&'c Column> {
    columns
        .iter()
        .filter(|column| column.kind.starts_with("uuid"))
        .filter(|column| !NAMES_NOBODYS.contains(&column.name.as_str()))
        .filter(|column| !ITSELF.contains(&(table, column.name.as_str())))
        .filter(|column| (table, column.name.as_str()) != WRITTEN_WITH)
        .collect()
}

/// Two parks with something of each kind, of which the second asks.
struct Pen {
    scene: Scene,
    owner: PgConnection,
    service: PgConnection,
}

impl Pen {
    async fn new() -> Self {
        let scene = Scene::new().await;
        let (house, brack) = (&scene.house, &scene.brack);
        house.otter(brack, "Alder").await;
        let create = v1::CreateGroupRequest {
            request_id: house.request(),
            site: "BRA".to_owned(),
            name: "Own family".to_owned(),
            note: String::new(),
        };
        brack.registrar.client.groups().create_group(create).await.unwrap();
        let (owner, service) = (scene.house.owner().await, scene.house.service().await);
        Self { scene, owner, service }
    }

    const fn asker(&self) -> Asker {
        self.scene.brack()
    }

    /// A row of a site, as JSON.
    async fn row(&mut self, table: &str, of: &str, site: Uuid) -> Option<Map<String, Value>> {
        let one = format!("SELECT to_jsonb(t) FROM {table} t WHERE t.{of} = $1 LIMIT 1");
        let row: Option<Value> =
            sqlx::query_scalar(AssertSqlSafe(one)).bind(site).fetch_optional(&mut self.owner).await.unwrap();
        row.and_then(|row| row.as_object().cloned())
    }

    /// Something of a site that a column of this name can name.
    async fn thing(&mut self, column: &str, site: Uuid) -> Option<Value> {
        let (table, key, of) = match column {
            "animal_id" | "of_id" | "parent_id" | "into_id" | "animal_ids" | "focal_ids" => {
                ("animals", "id", "site_id")
            }
            "enclosure_id" => ("enclosures", "id", "site_id"),
            "group_id" => ("groups", "id", "site_id"),
            "amendment_id" => ("amendments", "id", "site_id"),
            "litter_id" => ("litters", "id", "site_id"),
            "watch_id" => ("watches", "id", "site_id"),
            "concern_id" => ("concerns", "id", "site_id"),
            "encounter_id" => ("encounters", "id", "site_id"),
            "food_id" => ("foods", "food_id", "site_id"),
            "item_id" => ("enrichment_items", "item_id", "site_id"),
            "device_id" => ("devices", "device_id", "site_id"),
            "transfer_id" | "transfer_in" | "transfer_out" => ("transfers", "id", "from_site_id"),
            other => panic!("what does {other} name?"),
        };
        let row = self.row(table, of, site).await?;
        let id = row[key].clone();
        Some(if column.ends_with("_ids") { json!([id]) } else { id })
    }

    /// The SQLSTATE with which the database answers a row; none where it takes it.
    async fn insert(&mut self, table: &str, columns: &[Column], row: Map<String, Value>) -> Option<String> {
        let asker = self.asker();
        let mut tx = enter(&mut self.service, Some(asker)).await;
        let told = put_in(&mut tx, table, columns, row).await;
        let code = match told {
            Ok(()) => {
                // What is looked at in the end only.
                let told = sqlx::query("SET CONSTRAINTS ALL IMMEDIATE").execute(&mut *tx).await;
                told.err()
            }
            Err(error) => Some(error),
        };
        tx.rollback().await.unwrap();
        code.map(|error| error.into_database_error().unwrap().code().unwrap().into_owned())
    }
}

/// Writes a row that is JSON.
pub(super) async fn put_in(
    tx: &mut PgTransaction<'_>,
    table: &str,
    columns: &[Column],
    row: Map<String, Value>,
) -> Result<(), sqlx::Error> {
    let names: Vec<&str> = columns.iter().map(|column| column.name.as_str()).collect();
    let names = names.join(", ");
    let insert =
        format!("INSERT INTO {table} ({names}) SELECT {names} FROM jsonb_populate_record(NULL::{table}, $1)");
    sqlx::query(AssertSqlSafe(insert)).bind(Value::Object(row)).execute(&mut **tx).await.map(|_| ())
}

/// The row as one that was not there.
pub(super) fn fresh(table: &str, row: &mut Map<String, Value>) {
    for column in
        ["id", "check_id", "device_id", "item_id", "offer_id", "food_id", "feed_id", "loan_id", "mark_id"]
    {
        if column == "id" && row.contains_key("id") || ITSELF.contains(&(table, column)) {
            row.insert(column.to_owned(), json!(Uuid::now_v7()));
        }
    }
    if let Some(seq) = row.get("seq").and_then(Value::as_i64) {
        row.insert("seq".to_owned(), json!(seq + 1));
    }
}

#[tokio::test]
async fn nothing_is_written_under_another_sites_name() {
    let mut pen = Box::pin(Pen::new()).await;
    let mut open = BTreeSet::new();
    for table in tables(&mut pen.owner).await {
        let columns = columns(&mut pen.owner, &table).await;
        if OF_NO_SITE.iter().any(|(known, _)| *known == table) {
            continue;
        }
        let quill = pen.scene.quill_site;
        let row = match site_column(&columns) {
            Some(of) => pen.row(&table, of, quill).await,
            None => {
                let any = format!("SELECT to_jsonb(t) FROM {table} t LIMIT 1");
                let row: Value =
                    sqlx::query_scalar(AssertSqlSafe(any)).fetch_one(&mut pen.owner).await.unwrap();
                row.as_object().cloned()
            }
        };
        let mut row = row.unwrap_or_else(|| panic!("Quillmoor has nothing in {table}"));
        fresh(&table, &mut row);
        let code = pen.insert(&table, &columns, row).await;
        if code.as_deref() != Some("42501") {
            open.insert((table, code));
        }
    }
    let open: BTreeMap<String, Option<String>> = open.into_iter().collect();
    assert_eq!(open, BTreeMap::new());
    pen.scene.house.close().await;
}

#[tokio::test]
async fn nothing_of_another_site_is_named_under_ones_own() {
    let mut pen = Box::pin(Pen::new()).await;
    let (quill, brack) = (pen.scene.quill_site, pen.scene.brack_site);
    let (mut open, mut tried) = (Vec::new(), 0);
    for table in tables(&mut pen.owner).await {
        let columns = columns(&mut pen.owner, &table).await;
        let Some(of) = site_column(&columns) else { continue };
        let row =
            pen.row(&table, of, quill).await.unwrap_or_else(|| panic!("Quillmoor has nothing in {table}"));
        let naming = naming(&table, &columns);
        for foreign in &naming {
            let mut row = row.clone();
            fresh(&table, &mut row);
            row.insert(of.to_owned(), json!(brack));
            for other in &naming {
                let site = if other.name == foreign.name { quill } else { brack };
                let empty = row[&other.name].is_null();
                let thing = match pen.thing(&other.name, site).await {
                    Some(thing) if other.name == foreign.name || !empty => thing,
                    _ if other.nullable => Value::Null,
                    _ if other.kind == "uuid[]" => json!([]),
                    _ => row[&other.name].clone(),
                };
                row.insert(other.name.clone(), thing);
            }
            let mut code = pen.insert(&table, &columns, row.clone()).await;
            if code.as_deref() == Some("23514") {
                // One of several, and not two: a check is for an animal or for a group.
                for other in naming.iter().filter(|other| other.name != foreign.name && other.nullable) {
                    row.insert(other.name.clone(), Value::Null);
                }
                code = pen.insert(&table, &columns, row).await;
            }
            tried += 1;
            let name = format!("{table}.{}", foreign.name);
            let checked = code.as_deref() == Some("23514") && HELD_BY_A_CHECK.contains(&name.as_str());
            if !checked && !code.as_deref().is_some_and(|code| REFUSED.contains(&code)) {
                open.push(name);
            }
        }
    }
    assert!(tried > 40, "{tried}");
    assert_eq!(open, [""; 0]);
    pen.scene.house.close().await;
}

#[tokio::test]
async fn nothing_of_another_site_is_changed_and_nothing_of_ones_own_becomes_anothers() {
    let mut pen = Box::pin(Pen::new()).await;
    let quill = pen.scene.quill_site;
    let asker = pen.asker();
    let mut open = Vec::new();
    for table in tables(&mut pen.owner).await {
        let columns = columns(&mut pen.owner, &table).await;
        for column in &columns {
            let name = &column.name;
            let whose = match site_column(&columns) {
                Some(of) => format!("WHERE {of} = '{quill}'"),
                None => String::new(),
            };
            // What it may change of some rows, it changes of none of these; of what it may not, not even its own.
            let update =
                format!("UPDATE {table} SET {name} = {name} {}", if column.may_change { &whose } else { "" });
            let mut tx = enter(&mut pen.service, Some(asker)).await;
            let told = sqlx::query(AssertSqlSafe(update)).execute(&mut *tx).await;
            tx.rollback().await.unwrap();
            let refused = match told {
                Ok(done) => column.may_change && done.rows_affected() == 0,
                Err(error) => error.into_database_error().unwrap().code().as_deref() == Some("42501"),
            };
            if !refused {
                open.push(format!("{table}.{name}"));
            }
        }
    }
    assert_eq!(open, [""; 0]);
    pen.scene.house.close().await;
}
