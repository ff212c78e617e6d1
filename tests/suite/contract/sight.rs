//! What row-level security lets be seen and written, table by table, were the code to forget who asks.

use super::asker::{Asker, enter, tables};
use super::scene::Scene;
use holt_proto::v1;
use holt_tests::House;
use serde_json::Value;
use sqlx::{AssertSqlSafe, PgConnection};
use std::collections::BTreeMap;
use uuid::Uuid;

/// What everybody who is signed in may read: the directory, the hashes that seal what all recorded, and bare
/// identifiers of records that nobody linked.
const OPEN_TO_ALL: [&str; 10] = [
    "ethograms",
    "growth_references",
    "identities",
    "protocols",
    "seals",
    "sites",
    "standards",
    "taxa",
    "taxon_names",
    "taxon_traits",
];
/// What opens only while somebody signs in.
const AT_THE_GATE: [&str; 3] = ["credentials", "epochs", "refresh_tokens"];
/// Part of it belongs to everybody: Holt itself, and those whose roles hold at every site.
const PARTLY_OPEN: [&str; 2] = ["grants", "people"];
/// What anybody inside may add to; what counts is who may grant, who reads it, and for leaves that the entry
/// that they stand for is refused.
const OPEN_TO_ADD: [&str; 3] = ["leaves", "people", "taxa"];

/// How many rows of each table somebody sees.
async fn seen(service: &mut PgConnection, asker: Option<Asker>) -> BTreeMap<String, i64> {
    let tables = tables(service).await;
    let mut tx = enter(service, asker).await;
    let mut counts = BTreeMap::new();
    for table in tables {
        let count = format!("SELECT count(*) FROM public.{table}");
        let count = sqlx::query_scalar(AssertSqlSafe(count)).fetch_one(&mut *tx).await.unwrap();
        counts.insert(table, count);
    }
    tx.rollback().await.unwrap();
    counts
}

#[tokio::test]
async fn outside_the_doors_nothing_is_there() {
    let scene = Scene::new().await;
    let mut service = scene.house.service().await;
    let seen = seen(&mut service, None).await;
    assert!(seen.values().all(|count| *count == 0), "{seen:?}");
    scene.house.close().await;
}

#[tokio::test]
async fn another_site_sees_the_directory_and_nothing_else() {
    let scene = Scene::new().await;
    let mut service = scene.house.service().await;
    let own = seen(&mut service, Some(scene.quill())).await;
    let other = seen(&mut service, Some(scene.brack())).await;
    for (table, count) in &own {
        let table = table.as_str();
        assert_eq!(*count > 0, !AT_THE_GATE.contains(&table), "{table} at home");
        let wanted = match table {
            // Those that are linked are seen by whoever sees the link.
            "identities" => continue,
            partly if PARTLY_OPEN.contains(&partly) => continue,
            // Those that all share, and not Quill's own.
            "ethograms" | "growth_references" | "protocols" | "standards" => 1,
            open if OPEN_TO_ALL.contains(&open) => *count,
            // Brack was added, and has an enclosure of its own.
            "ledger" | "leaves" => 2,
            "enclosures" | "site_seals" => 1,
            _ => 0,
        };
        assert_eq!(other[table], wanted, "{table} elsewhere");
    }
    let mut tx = enter(&mut service, Some(scene.brack())).await;
    let people = [&scene.quill.keeper, &scene.quill.registrar, &scene.quill.auditor, &scene.quill.vet];
    let people: Vec<Uuid> = people.iter().map(|person| person.id).collect();
    let known: (i64, i64) = sqlx::query_as(
        "SELECT (SELECT count(*) FROM people WHERE id = ANY ($1)), (SELECT count(*) FROM grants WHERE site_id = $2)",
    )
    .bind(people)
    .bind(scene.quill_site)
    .fetch_one(&mut *tx)
    .await
    .unwrap();
    assert_eq!(known, (0, 0), "people of another site, and their roles");
    tx.rollback().await.unwrap();
    scene.house.close().await;
}

#[tokio::test]
async fn the_gate_opens_credentials_and_nothing_of_the_records() {
    let scene = Scene::new().await;
    let mut service = scene.house.service().await;
    let gate = Asker { site: None, everywhere: false, gate: true, person: Uuid::nil() };
    let seen = seen(&mut service, Some(gate)).await;
    for (table, count) in seen {
        let table = table.as_str();
        // Requests and ledger lines of nobody are those of Holt itself.
        let own = ["ledger", "requests"].contains(&table);
        let opens =
            AT_THE_GATE.contains(&table) || OPEN_TO_ALL.contains(&table) || PARTLY_OPEN.contains(&table);
        assert_eq!(count > 0, opens || own, "{table}");
    }
    scene.house.close().await;
}

/// One row of each table, as JSON.
async fn rows(owner: &mut PgConnection) -> BTreeMap<String, Value> {
    let mut rows = BTreeMap::new();
    for table in tables(owner).await {
        // Anybody adds a leaf that is of no site, whichever row the sealer moved last.
        let first = if table == "leaves" { "ORDER BY t.site_id NULLS FIRST" } else { "" };
        let row = format!("SELECT to_jsonb(t) FROM {table} t {first} LIMIT 1");
        rows.insert(table, sqlx::query_scalar(AssertSqlSafe(row)).fetch_one(&mut *owner).await.unwrap());
    }
    rows
}

/// The SQLSTATE with which the database answers each table's row when an asker writes it again.
async fn written(house: &House, asker: Option<Asker>) -> BTreeMap<String, String> {
    let (mut owner, mut service) = (house.owner().await, house.service().await);
    let mut answers = BTreeMap::new();
    for (table, row) in rows(&mut owner).await {
        // Columns that the database works out by itself are not given.
        let columns: String = sqlx::query_scalar(
            "SELECT string_agg(quote_ident(attname), ', ' ORDER BY attnum) FROM pg_attribute
              WHERE attrelid = $1::regclass AND attnum > 0 AND NOT attisdropped AND attgenerated = ''",
        )
        .bind(&table)
        .fetch_one(&mut owner)
        .await
        .unwrap();
        let mut tx = enter(&mut service, asker).await;
        let insert = format!(
            "INSERT INTO public.{table} ({columns})
             SELECT {columns} FROM jsonb_populate_record(NULL::public.{table}, $1)"
        );
        let refused = sqlx::query(AssertSqlSafe(insert)).bind(row).execute(&mut *tx).await.unwrap_err();
        let code = refused.as_database_error().unwrap().code().unwrap().into_owned();
        tx.rollback().await.unwrap();
        answers.insert(table, code);
    }
    answers
}

const NOT_ALLOWED: &str = "42501";
const THERE_ALREADY: &str = "23505";

#[tokio::test]
async fn nobody_writes_for_another_site() {
    let scene = Scene::new().await;
    for (table, code) in written(&scene.house, Some(scene.brack())).await {
        let wanted = if OPEN_TO_ADD.contains(&table.as_str()) { THERE_ALREADY } else { NOT_ALLOWED };
        assert_eq!(code, wanted, "{table} by another site");
    }
    for (table, code) in written(&scene.house, None).await {
        assert_eq!(code, NOT_ALLOWED, "{table} outside the doors");
    }
    scene.house.close().await;
}

#[tokio::test]
async fn nobody_changes_anything_of_another_site() {
    let scene = Scene::new().await;
    let mut service = scene.house.service().await;
    let may_change: Vec<(String, String)> = sqlx::query_as(
        "SELECT t.relname::text, min(a.attname::text) FROM pg_class t JOIN pg_attribute a ON a.attrelid = t.oid
          WHERE t.relnamespace = 'public'::regnamespace AND t.relkind IN ('r', 'p') AND a.attnum > 0
            AND NOT a.attisdropped AND has_column_privilege('holt_service', t.oid, a.attnum, 'UPDATE')
          GROUP BY 1",
    )
    .fetch_all(&mut service)
    .await
    .unwrap();
    assert!(may_change.len() > 10);
    for (table, column) in may_change {
        for (asker, who) in [(Some(scene.brack()), "by another site"), (None, "outside the doors")] {
            let mut tx = enter(&mut service, asker).await;
            // Brack's own people have grants of their own.
            let own = if table == "grants" { "WHERE site_id IS NULL OR site_id <> $1" } else { "" };
            let update = format!("UPDATE public.{table} SET {column} = {column} {own}");
            let mut update = sqlx::query(AssertSqlSafe(update));
            if table == "grants" {
                update = update.bind(scene.brack_site);
            }
            let changed = update.execute(&mut *tx).await.unwrap().rows_affected();
            assert_eq!(changed, 0, "{table} {who}");
            tx.rollback().await.unwrap();
        }
    }
    scene.house.close().await;
}

#[tokio::test]
async fn an_agreed_move_opens_the_animals_life_and_nothing_beside_it() {
    let scene = Scene::new().await;
    let mut service = scene.house.service().await;
    let before = seen(&mut service, Some(scene.brack())).await;
    let transfer_id = scene.propose(&scene.pup, "BRA", v1::TransferTerms::Loan).await;
    let proposed = scene.facts(scene.brack()).await;
    assert!(proposed.values().all(|count| *count == (0, 0)), "a proposal opens nothing: {proposed:?}");
    scene.agree(transfer_id).await;
    let home = scene.facts(scene.quill()).await;
    assert!(home.values().all(|count| count.0 > 0 && count.1 == 0), "each table has its part: {home:?}");
    assert_eq!(scene.facts(scene.brack()).await, home, "the whole life");
    let after = seen(&mut service, Some(scene.brack())).await;
    for (table, count) in after {
        let more = count - before[&table];
        let wanted = match table.as_str() {
            "animals" => 1,
            "transfers" => 1,
            // Proposed, and agreed.
            "transfer_steps" => 2,
            // The agreement is Brack's own.
            "ledger" | "leaves" => 1,
            facts => home.get(facts).map_or(0, |(of_quill, _)| *of_quill),
        };
        assert_eq!(more, wanted, "{table}");
    }
    scene.house.close().await;
}

#[tokio::test]
async fn of_an_animal_that_left_the_later_life_is_not_seen() {
    let scene = Scene::new().await;
    scene.moved(v1::TransferTerms::TitlePasses).await;
    let (home, there) = (scene.facts(scene.quill()).await, scene.facts(scene.brack()).await);
    for (table, (of_quill, of_brack)) in there {
        // What it is born of is not recorded twice.
        assert_eq!(of_brack > 0, !["births", "parents"].contains(&table.as_str()), "{table} there");
        assert_eq!(home[&table], (of_quill, 0), "{table} at home");
    }
    scene.house.close().await;
}

#[tokio::test]
async fn the_owner_sees_the_later_life_too() {
    let scene = Scene::new().await;
    scene.moved(v1::TransferTerms::Loan).await;
    let (home, there) = (scene.facts(scene.quill()).await, scene.facts(scene.brack()).await);
    assert_eq!(home, there);
    assert!(home["weights"].1 > 0 && home["assessments"].1 > 0);
    scene.house.close().await;
}
