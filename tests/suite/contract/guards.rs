//! Lives that do not add up, written past the rules by whoever may write them: the database refuses by itself.

use super::asker::enter;
use super::pen::{Column, columns, fresh, put_in};
use super::scene::Scene;
use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_server::clock::Clock;
use serde_json::{Map, Value, json};
use sqlx::{AssertSqlSafe, Executor, PgConnection, PgTransaction};
use uuid::Uuid;

type Row = Map<String, Value>;

/// Rows of a table that meet a condition, as JSON.
async fn rows(owner: &mut PgConnection, table: &str, condition: &str) -> Vec<Row> {
    let sql = format!("SELECT to_jsonb(t) FROM {table} t WHERE {condition}");
    let rows: Vec<Value> = sqlx::query_scalar(AssertSqlSafe(sql)).fetch_all(owner).await.unwrap();
    rows.into_iter().map(|row| row.as_object().cloned().unwrap()).collect()
}

/// The constraint that refuses what a transaction has written, at the latest at its end.
async fn refused(mut tx: PgTransaction<'_>, written: Result<(), sqlx::Error>) -> Option<String> {
    let told = match written {
        Ok(()) => tx.execute("SET CONSTRAINTS ALL IMMEDIATE").await.map(|_| ()),
        refused => refused,
    };
    tx.rollback().await.unwrap();
    told.err().map(|error| {
        let error = error.into_database_error().unwrap();
        error.constraint().map_or_else(|| error.to_string(), str::to_owned)
    })
}

/// Quillmoor with one that died yesterday and one that lives.
struct Yard {
    scene: Scene,
    owner: PgConnection,
    service: PgConnection,
    dead: Uuid,
    alive: Uuid,
    now: DateTime<Utc>,
}

impl Yard {
    async fn new() -> Self {
        let scene = Scene::new().await;
        let house = &scene.house;
        house.clock.advance(TimeDelta::days(1));
        let now = house.clock.now();
        let record = v1::RecordEncounterRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            kind: v1::EncounterKind::Talk.into(),
            began_at: Some(timestamp(now - TimeDelta::minutes(20))),
            ended_at: Some(timestamp(now)),
            animals: vec![scene.pup.clone()],
            ..Default::default()
        };
        scene.quill.keeper.client.encounters().record_encounter(record).await.unwrap();
        let (mut owner, service) = (house.owner().await, house.service().await);
        let dead: Uuid =
            sqlx::query_scalar("SELECT animal_id FROM deaths").fetch_one(&mut owner).await.unwrap();
        let alive = scene.pup.parse().unwrap();
        Self { scene, owner, service, dead, alive, now }
    }

    /// What stands of the living one in a table, to be written again otherwise.
    async fn of_the_living(&mut self, table: &str) -> (Vec<Column>, Row) {
        let condition = match table {
            "feeds" => "true".to_owned(),
            "watch_events" => "true".to_owned(),
            "encounter_animals" => format!("animal_id = '{}' ORDER BY recorded_at DESC", self.alive),
            _ => format!("animal_id = '{}' AND superseded_at IS NULL", self.alive),
        };
        let row = rows(&mut self.owner, table, &condition).await.swap_remove(0);
        (columns(&mut self.owner, table).await, row)
    }
}

#[tokio::test]
async fn nothing_is_recorded_of_the_dead() {
    let mut yard = Box::pin(Yard::new()).await;
    let (later, dead) = (json!(yard.now), json!(yard.dead));
    for (table, changes, constraint) in [
        ("weights", json!({ "weighed_at": later, "day_only": false }), "weights_alive_guard"),
        (
            "weights",
            json!({ "weighed_at": later, "day_only": false, "mass_mg": null, "tried": true }),
            "weights_alive_guard",
        ),
        ("assessments", json!({ "assessed_at": later }), "assessments_alive_guard"),
        ("placements", json!({ "began_at": later }), "placements_alive_guard"),
        ("memberships", json!({ "began_at": later }), "memberships_alive_guard"),
        ("life_states", json!({ "began_at": later }), "life_states_alive_guard"),
        ("marks", json!({ "began_at": later }), "marks_alive_guard"),
        ("feeds", json!({ "given_at": later, "group_id": null }), "feeds_alive_guard"),
        ("encounter_animals", json!({}), "encounter_animals_alive_guard"),
        (
            "watch_events",
            json!({ "happened_at": later, "number": 7, "content": { "bout": { "animal": dead, "seconds": 3 } } }),
            "watch_events_alive_guard",
        ),
    ] {
        let (columns, mut row) = yard.of_the_living(table).await;
        fresh(table, &mut row);
        if table != "watch_events" {
            row.insert("animal_id".to_owned(), dead.clone());
        }
        row.extend(changes.as_object().cloned().unwrap());
        let asker = yard.scene.quill();
        let mut tx = enter(&mut yard.service, Some(asker)).await;
        let written = put_in(&mut tx, table, &columns, row).await;
        assert_eq!(refused(tx, written).await.as_deref(), Some(constraint), "{table}");
    }
    yard.scene.house.close().await;
}

/// What a death is written with.
#[derive(Clone, Copy, PartialEq)]
enum Left {
    Nothing,
    Out(&'static str),
}

/// A death of the living one at an instant, with what it ends, but for one table.
async fn die(yard: &mut Yard, at: DateTime<Utc>, left: Left) -> Option<String> {
    let request = json!(Uuid::now_v7());
    let mut writes = Vec::new();
    for table in ["titles", "marks", "holdings", "placements", "memberships", "life_states"] {
        let open = format!("animal_id = '{}' AND superseded_at IS NULL AND ended_at IS NULL", yard.alive);
        for mut row in rows(&mut yard.owner, table, &open).await {
            let old = row["id"].as_str().unwrap().to_owned();
            row.extend(Map::from_iter([
                ("id".to_owned(), json!(Uuid::now_v7())),
                ("ended_at".to_owned(), json!(at)),
                ("request_id".to_owned(), request.clone()),
            ]));
            if table == "holdings" {
                row.insert("ended_on".to_owned(), json!(at.date_naive()));
                row.insert("ended_how".to_owned(), json!("death"));
            }
            if table == "life_states" {
                row.insert("ended_how".to_owned(), json!("left"));
            }
            if left != Left::Out(table) {
                writes.push((table, columns(&mut yard.owner, table).await, old, row));
            }
        }
    }
    let (death, mut row) = {
        let columns = columns(&mut yard.owner, "deaths").await;
        (columns, rows(&mut yard.owner, "deaths", "true").await.swap_remove(0))
    };
    row.extend(Map::from_iter([
        ("id".to_owned(), json!(Uuid::now_v7())),
        ("animal_id".to_owned(), json!(yard.alive)),
        ("died_at".to_owned(), json!(at)),
        ("died_on".to_owned(), json!(at.date_naive())),
        ("died_first".to_owned(), json!(at.date_naive())),
        ("died_last".to_owned(), json!(at.date_naive())),
        ("day_only".to_owned(), json!(false)),
    ]));
    let asker = yard.scene.quill();
    let mut tx = enter(&mut yard.service, Some(asker)).await;
    let mut written = Ok(());
    for (table, columns, old, row) in writes {
        let supersede = format!(
            "UPDATE {table} SET superseded_at = now(), superseded_in = '{}', superseded_why = 'ended' WHERE id = '{old}'",
            request.as_str().unwrap()
        );
        written = tx.execute(AssertSqlSafe(supersede)).await.map(|done| assert_eq!(done.rows_affected(), 1));
        if written.is_ok() {
            written = put_in(&mut tx, table, &columns, row).await;
        }
        if written.is_err() {
            break;
        }
    }
    if written.is_ok() && left != Left::Out("deaths") {
        written = put_in(&mut tx, "deaths", &death, row).await;
    }
    refused(tx, written).await
}

#[tokio::test]
async fn a_death_ends_all_that_lasted_and_comes_after_all_that_was() {
    let mut yard = Box::pin(Yard::new()).await;
    let now = yard.now;
    assert_eq!(die(&mut yard, now, Left::Nothing).await, None, "whole, it is taken");
    for (left, constraint) in [
        ("titles", "deaths_nothing_later_guard"),
        ("marks", "deaths_nothing_later_guard"),
        ("placements", "deaths_nothing_later_guard"),
        ("memberships", "deaths_nothing_later_guard"),
        ("life_states", "deaths_nothing_later_guard"),
        ("holdings", "deaths_holding_guard"),
        ("deaths", "holdings_death_guard"),
    ] {
        assert_eq!(die(&mut yard, now, Left::Out(left)).await.as_deref(), Some(constraint), "without {left}");
    }
    // It met the public after that.
    let before = now - TimeDelta::minutes(30);
    assert_eq!(die(&mut yard, before, Left::Nothing).await.as_deref(), Some("deaths_nothing_later_guard"));
    yard.scene.house.close().await;
}

#[tokio::test]
async fn whoever_is_held_is_owned() {
    let mut yard = Box::pin(Yard::new()).await;
    let asker = yard.scene.quill();
    let (columns, old) = yard.of_the_living("titles").await;
    for ended_at in [None, Some(yard.now)] {
        let request = Uuid::now_v7();
        let mut tx = enter(&mut yard.service, Some(asker)).await;
        sqlx::query("UPDATE titles SET superseded_at = now(), superseded_in = $1, superseded_why = 'none' WHERE id = $2")
            .bind(request)
            .bind(old["id"].as_str().unwrap().parse::<Uuid>().unwrap())
            .execute(&mut *tx)
            .await
            .unwrap();
        let mut written = Ok(());
        if let Some(ended_at) = ended_at {
            let mut row = old.clone();
            row.insert("id".to_owned(), json!(Uuid::now_v7()));
            row.insert("ended_at".to_owned(), json!(ended_at));
            written = put_in(&mut tx, "titles", &columns, row).await;
        }
        assert_eq!(refused(tx, written).await.as_deref(), Some("titles_gap_guard"), "until {ended_at:?}");
    }
    yard.scene.house.close().await;
}

/// The animal goes elsewhere as if no move were open, and the move is agreed on as if it were still there.
#[tokio::test]
async fn whoever_sends_an_animal_holds_it() {
    let mut yard = Box::pin(Yard::new()).await;
    let propose = v1::ProposeTransferRequest {
        request_id: yard.scene.house.request(),
        site: "QUI".to_owned(),
        animal: yard.scene.pup.clone(),
        to_site: "BRA".to_owned(),
        terms: v1::TransferTerms::TitlePasses.into(),
        why: "a mate".to_owned(),
        ..Default::default()
    };
    yard.scene.quill.registrar.client.transfers().propose_transfer(propose).await.unwrap();
    let asker = yard.scene.quill();
    let (columns, mut row) = yard.of_the_living("holdings").await;
    let old: Uuid = row["id"].as_str().unwrap().parse().unwrap();
    fresh("holdings", &mut row);
    row.extend(Map::from_iter([
        ("ended_at".to_owned(), json!(yard.now)),
        ("ended_on".to_owned(), json!(yard.now.date_naive())),
        ("ended_how".to_owned(), json!("departure")),
    ]));
    let mut tx = enter(&mut yard.service, Some(asker)).await;
    sqlx::query("UPDATE holdings SET superseded_at = now(), superseded_in = $1, superseded_why = 'ended' WHERE id = $2")
        .bind(Uuid::now_v7())
        .bind(old)
        .execute(&mut *tx)
        .await
        .unwrap();
    let written = put_in(&mut tx, "holdings", &columns, row).await;
    assert_eq!(refused(tx, written).await.as_deref(), Some("transfers_sender_guard"));
    yard.scene.house.close().await;
}

#[tokio::test]
async fn nobody_is_held_before_it_is_born() {
    let mut yard = Box::pin(Yard::new()).await;
    let asker = yard.scene.quill();
    let (columns, old) = yard.of_the_living("births").await;
    let mut tx = enter(&mut yard.service, Some(asker)).await;
    sqlx::query(
        "UPDATE births SET superseded_at = now(), superseded_in = $1, superseded_why = 'none' WHERE id = $2",
    )
    .bind(Uuid::now_v7())
    .bind(old["id"].as_str().unwrap().parse::<Uuid>().unwrap())
    .execute(&mut *tx)
    .await
    .unwrap();
    let mut row = old.clone();
    row.insert("id".to_owned(), json!(Uuid::now_v7()));
    row.insert("born_first".to_owned(), json!(yard.now.date_naive()));
    row.insert("born_last".to_owned(), json!(yard.now.date_naive()));
    let written = put_in(&mut tx, "births", &columns, row).await;
    assert_eq!(refused(tx, written).await.as_deref(), Some("births_holding_guard"));
    yard.scene.house.close().await;
}

/// A parent and a grandparent of what has a parent, each written by who may write it.
#[tokio::test]
async fn nobody_is_its_own_ancestor() {
    let mut yard = Box::pin(Yard::new()).await;
    let asker = yard.scene.quill();
    let (columns, old) = yard.of_the_living("parents").await;
    let (young, dam) = (old["animal_id"].clone(), old["parent_id"].clone());
    let other: Uuid = sqlx::query_scalar(
        "SELECT animal_id FROM holdings WHERE site_id = $1 AND superseded_at IS NULL AND ended_at IS NULL
            AND animal_id::text NOT IN ($2, $3) LIMIT 1",
    )
    .bind(old["site_id"].as_str().unwrap().parse::<Uuid>().unwrap())
    .bind(young.as_str().unwrap())
    .bind(dam.as_str().unwrap())
    .fetch_one(&mut yard.owner)
    .await
    .unwrap();
    let other = json!(other);
    for (chain, constraint) in [
        (vec![(&dam, &other)], None),
        (vec![(&dam, &young)], Some("parents_no_circle")),
        (vec![(&dam, &other), (&other, &young)], Some("parents_no_circle")),
    ] {
        let mut tx = enter(&mut yard.service, Some(asker)).await;
        let mut written = Ok(());
        for (animal, parent) in &chain {
            let mut row = old.clone();
            fresh("parents", &mut row);
            row.insert("animal_id".to_owned(), (*animal).clone());
            row.insert("parent_id".to_owned(), (*parent).clone());
            row.insert("kind".to_owned(), json!("sire"));
            written = written.and(put_in(&mut tx, "parents", &columns, row).await);
        }
        assert_eq!(refused(tx, written).await.as_deref(), constraint, "{chain:?}");
    }
    yard.scene.house.close().await;
}
