//! What the owner of the database does behind Holt's back, and what of it is found.
//!
//! Each line of the table begins with a fresh copy of the same past. Triggers and foreign keys are switched
//! off first: they stop a slip of the hand, not an owner who means it.

use super::{Past, eyes};
use holt_audit::seal::Hash;
use holt_proto::v1;
use holt_server::model::person::Role;
use holt_tests::{House, cluster};
use serde_json::json;
use sqlx::{AssertSqlSafe, Connection, PgConnection, Row};
use uuid::Uuid;

/// What is done, in the order of what it is done to; with each, what it is found as. The last is found
/// against a seal that was kept elsewhere, and by nothing else.
const TABLE: [(&str, &str, &[&str]); 20] = [
    ("a mass is changed", "UPDATE weights SET mass_mg = mass_mg + 1 WHERE mass_mg = 8000000", &["row-changed"]),
    (
        "a reading is moved to another animal",
        "UPDATE weights SET animal_id = (SELECT max(id::text)::uuid FROM animals) WHERE mass_mg = 8001000",
        &["row-changed"],
    ),
    ("a sex is changed", "UPDATE sexings SET sex = 'male' WHERE sex = 'female'", &["row-changed"]),
    ("a reading is deleted", "DELETE FROM weights WHERE mass_mg = 8000000", &["row-removed"]),
    (
        "a reading is slipped in",
        "INSERT INTO weights SELECT gen_random_uuid(), animal_id, site_id, weighed_at + interval '1 min', weighed_on,
                day_only, 9000000, tried, doubtful, accepted, scale, method, note, recorded_at, recorded_by, request_id
           FROM weights WHERE mass_mg = 8000000",
        &["row-slipped-in"],
    ),
    (
        "a reading is struck out without a word",
        "UPDATE weights SET superseded_at = now(), superseded_in = request_id, superseded_why = 'wrong'
          WHERE mass_mg = 8000000",
        &["row-moved"],
    ),
    (
        "what was superseded is given another reason",
        "UPDATE holdings SET superseded_why = 'never mind' WHERE superseded_at IS NOT NULL",
        &["row-moved"],
    ),
    ("a transfer is put back", "UPDATE transfers SET state = 'dispatched'", &["row-moved"]),
    (
        "an entry is laid to somebody else",
        "UPDATE ledger SET person_id = (SELECT person_id FROM ledger WHERE method = 'TransferService/ReceiveTransfer')
          WHERE method = 'AnimalService/RecordSex'",
        &["entry-changed"],
    ),
    (
        "an entry is deleted, and the row that it wrote",
        "WITH gone AS (DELETE FROM ledger WHERE method = 'AnimalService/RecordSex' RETURNING request_id)
         DELETE FROM sexings USING gone WHERE sexings.request_id = gone.request_id",
        &["entry-removed"],
    ),
    (
        "an entry is deleted with its leaf and its row",
        "WITH gone AS (DELETE FROM ledger WHERE method = 'AnimalService/RecordSex' RETURNING id, request_id),
              leaf AS (DELETE FROM leaves USING gone WHERE entry_id = gone.id)
         DELETE FROM sexings USING gone WHERE sexings.request_id = gone.request_id",
        &["leaves-removed"],
    ),
    (
        "an entry is slipped in",
        "INSERT INTO ledger SELECT gen_random_uuid(), site_id, person_id, gen_random_uuid(), method, recorded_at, '[]'
           FROM ledger WHERE method = 'AnimalService/RecordSex'",
        &["entry-slipped-in"],
    ),
    ("an entry is changed with its leaf", FORGE, &["root-differs"]),
    (
        "two entries change places",
        "WITH two AS (SELECT entry_id, position, site_position FROM leaves WHERE position IN
                        (SELECT size FROM seals WHERE sequence = 1 UNION ALL SELECT size + 1 FROM seals WHERE sequence = 1))
         UPDATE leaves v SET position = -1 - o.position, site_position = o.site_position
           FROM two t JOIN two o ON o.entry_id <> t.entry_id WHERE v.entry_id = t.entry_id;
         UPDATE leaves SET position = -1 - position WHERE position < 0",
        &["leaves-reordered"],
    ),
    (
        "an entry is laid to another site in the tree",
        "UPDATE leaves SET site_id = (SELECT id FROM sites WHERE code = 'BRA')
          WHERE entry_id = (SELECT id FROM ledger WHERE method = 'AnimalService/RecordSex')",
        &["site-root-differs"],
    ),
    ("a seal is dated back", "UPDATE seals SET sealed_at = '2026-01-01Z' WHERE sequence = 2", &["seal-changed"]),
    ("a seal is deleted", "DELETE FROM seals WHERE sequence = 2", &["seal-removed"]),
    (
        "the newest sealed entries are deleted with their leaves",
        "WITH gone AS (DELETE FROM leaves WHERE position >= (SELECT size FROM seals WHERE sequence = 2)
                       RETURNING entry_id)
         DELETE FROM ledger USING gone WHERE id = entry_id",
        &["tail-cut"],
    ),
    ("the newest seal is deleted", "DELETE FROM seals WHERE sequence = 3", &["seal-removed"]),
    ("an entry is changed, and everything sealed anew", REWRITE, &["kept-seal"]),
];

/// Stands for what SQL cannot do: an entry and its leaf are changed so that they fit each other.
const FORGE: &str = "forge";

/// Stands for the same, and new seals over it.
const REWRITE: &str = "rewrite";

async fn forge(owner: &mut PgConnection) {
    let row = sqlx::query(
        "SELECT id, site_id, person_id, request_id, lines, recorded_at::text AS at,
                to_char(recorded_at AT TIME ZONE 'UTC', 'YYYY-MM-DD\"T\"HH24:MI:SS.US\"Z\"') AS written
           FROM ledger WHERE method = 'AnimalService/RecordSex'",
    )
    .fetch_one(&mut *owner)
    .await
    .unwrap();
    let id: Uuid = row.get("id");
    // The canonical form: keys in order, no white space.
    let content = json!({
        "id": id,
        "lines": row.get::<serde_json::Value, _>("lines"),
        "method": "AnimalService/RecordDeath",
        "person": row.get::<Uuid, _>("person_id"),
        "recorded_at": row.get::<String, _>("written"),
        "request": row.get::<Uuid, _>("request_id"),
        "site": row.get::<Option<Uuid>, _>("site_id"),
    });
    let leaf = Hash::of_leaf(content.to_string().as_bytes());
    sqlx::query("UPDATE ledger SET method = 'AnimalService/RecordDeath' WHERE id = $1")
        .bind(id)
        .execute(&mut *owner)
        .await
        .unwrap();
    sqlx::query("UPDATE leaves SET leaf = $2 WHERE entry_id = $1")
        .bind(id)
        .bind(leaf.as_bytes().to_vec())
        .execute(&mut *owner)
        .await
        .unwrap();
}

/// Whoever can do everything to the database makes a history that agrees with itself.
async fn rewrite(owner: &mut PgConnection, house: &House, auditor: Uuid) {
    forge(owner).await;
    for statement in [
        "DELETE FROM site_seals",
        "DELETE FROM seals WHERE sequence > 0",
        "UPDATE leaves SET position = NULL, site_position = NULL",
    ] {
        sqlx::query(statement).execute(&mut *owner).await.unwrap();
    }
    let seal = v1::SealLedgerRequest {};
    eyes(house, auditor).ledger().seal_ledger(seal).await.unwrap();
}

#[tokio::test]
async fn each_kind_of_tampering_is_found_and_named() {
    let past = Past::new().await;
    let desk = past.house.desk().with("HOLT_TOKEN", &past.house.token(past.auditor, &super::everywhere()));
    let paper = desk.done("holt ledger seal --print").await;
    let (url, auditor) = (past.house.url.clone(), past.auditor);
    past.house.check().await;
    past.house.verify().await;
    past.house.stop().await;

    let mut told = format!("{:<55}  {:<34}  {}\n", "what the owner did", "found as", "exit");
    for (what, sql, expected) in TABLE {
        let house = House::over(cluster::copy_of(&url).await, |_| ()).await;
        let mut owner = PgConnection::connect(&house.url).await.unwrap();
        sqlx::query("SET session_replication_role = replica").execute(&mut owner).await.unwrap();
        match sql {
            FORGE => forge(&mut owner).await,
            REWRITE => rewrite(&mut owner, &house, auditor).await,
            sql => {
                sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut owner).await.unwrap();
            }
        }
        let auditor = holt_tests::Person { id: auditor, client: eyes(&house, auditor) };
        let desk = house.desk_of(&auditor, &[(Role::Auditor, None)]);
        desk.file("seal.txt", paper.as_bytes());
        let ran = desk.run("holt ledger verify --format csv --against ~/seal.txt").await;
        let mut found: Vec<&str> =
            ran.out.lines().skip(1).filter_map(|line| line.split(',').next()).collect();
        found.dedup();
        for kind in expected {
            assert!(found.contains(kind), "{what}: {found:?}\n{}{}", ran.out, ran.err);
        }
        told.push_str(&format!("{what:<55}  {:<34}  {}\n", found.join(", "), ran.exit));
        assert_eq!(ran.exit, 10, "{what}");
        house.stop().await;
    }
    println!("{told}");
    insta::assert_snapshot!("tamper_table", told);
}

#[tokio::test]
async fn a_past_that_nobody_touched_agrees_with_the_seal_that_was_kept() {
    let past = Past::new().await;
    let desk = past.house.desk().with("HOLT_TOKEN", &past.house.token(past.auditor, &super::everywhere()));
    let paper = desk.done("holt ledger seal --print").await;
    desk.file("seal.txt", paper.as_bytes());
    past.weigh("Bramble", 8_030).await;
    past.seal().await;
    let ran = desk.run("holt ledger verify --against ~/seal.txt --format text").await;
    assert_eq!(ran.exit, 0, "{}{}", ran.out, ran.err);
    insta::assert_snapshot!("untouched", ran.out);
    let slip = paper.replacen("entries 2", "entries 3", 1).replacen("entries 1", "entries 2", 1);
    desk.file("slip.txt", slip.as_bytes());
    let ran = desk.run("holt ledger verify --against ~/slip.txt").await;
    assert_eq!(ran.exit, 2, "{}", ran.err);
    assert!(ran.err.contains("copied wrong"), "{}", ran.err);
    past.house.close().await;
}
