//! The steps of a transfer, as the database holds them by itself: what a transfer opens to the other site rests on
//! them. Every step from every state by everybody is tried past the rules.

use super::asker::{Asker, enter};
use super::scene::Scene;
use holt_proto::v1;
use holt_server::model::transfer::{Side, State, Step};
use serde_json::Value;
use sqlx::{Executor, PgConnection};
use uuid::Uuid;

const STATES: [State; 8] = [
    State::Proposed,
    State::Agreed,
    State::Dispatched,
    State::Received,
    State::Refused,
    State::Cancelled,
    State::Died,
    State::Escaped,
];

fn word(state: State) -> String {
    match serde_json::to_value(state).unwrap() {
        Value::String(word) => word,
        other => panic!("{other}"),
    }
}

/// Puts a transfer into a state, as no step does.
async fn put(owner: &mut PgConnection, transfer: Uuid, state: State, withheld_by: Option<Uuid>) {
    owner.execute("SET session_replication_role = replica").await.unwrap();
    sqlx::query("UPDATE transfers SET state = $2, withheld_by = $3 WHERE id = $1")
        .bind(transfer)
        .bind(word(state))
        .bind(withheld_by)
        .execute(&mut *owner)
        .await
        .unwrap();
    owner.execute("SET session_replication_role = origin").await.unwrap();
}

/// Whether the database takes a step of somebody.
async fn takes(
    service: &mut PgConnection,
    asker: Asker,
    transfer: Uuid,
    state: State,
    withheld_by: Option<Uuid>,
) -> bool {
    let mut tx = enter(service, Some(asker)).await;
    let told =
        sqlx::query("UPDATE transfers SET state = $2, withheld_by = $3, version = version + 1 WHERE id = $1")
            .bind(transfer)
            .bind(word(state))
            .bind(withheld_by)
            .execute(&mut *tx)
            .await;
    tx.rollback().await.unwrap();
    match told {
        Ok(done) => done.rows_affected() == 1,
        Err(error) => {
            assert_eq!(error.into_database_error().unwrap().code().as_deref(), Some("42501"));
            false
        }
    }
}

#[tokio::test]
async fn each_step_is_taken_from_its_states_by_its_site_alone() {
    let scene = Scene::new().await;
    let transfer: Uuid = scene.propose("Bramble", "BRA", v1::TransferTerms::Loan).await.parse().unwrap();
    let (mut owner, mut service) = (scene.house.owner().await, scene.house.service().await);
    let third: Uuid =
        sqlx::query_scalar("SELECT id FROM sites WHERE code = 'THI'").fetch_one(&mut owner).await.unwrap();
    let (quill, brack) = (scene.quill_site, scene.brack_site);
    let steps: Vec<Step> = Step::LATER.into_iter().collect();
    let mut taken = 0;
    for from in STATES {
        for (site, side) in [(quill, Some(Side::Sender)), (brack, Some(Side::Destination)), (third, None)] {
            let asker = Asker::of(site, scene.brack.registrar.id);
            let may =
                |step: Step| side.is_some_and(|side| step.side() == side || step.side() == Side::Either);
            put(&mut owner, transfer, from, None).await;
            for to in STATES {
                let wanted = steps.iter().any(|step| from != to && step.from(from) == Some(to) && may(*step));
                let took = takes(&mut service, asker, transfer, to, None).await;
                assert_eq!(took, wanted, "{from:?} to {to:?} by {side:?}");
                taken += i32::from(took);
            }
            // Withheld by oneself alone, and then not dispatched; released by who withholds it.
            let open = matches!(from, State::Proposed | State::Agreed) && side.is_some();
            assert_eq!(
                takes(&mut service, asker, transfer, from, Some(site)).await,
                open,
                "{from:?} {side:?}"
            );
            let another = if site == quill { brack } else { quill };
            assert!(!takes(&mut service, asker, transfer, from, Some(another)).await, "{from:?} {side:?}");
            put(&mut owner, transfer, from, Some(site)).await;
            assert!(!takes(&mut service, asker, transfer, State::Dispatched, Some(site)).await);
            assert_eq!(takes(&mut service, asker, transfer, from, None).await, open, "{from:?} {side:?}");
            put(&mut owner, transfer, from, Some(another)).await;
            assert!(!takes(&mut service, asker, transfer, from, None).await, "{from:?} {side:?}");
        }
    }
    // Agreed; refused twice; called off thrice; dispatched; received; two losses by two sites.
    assert_eq!(taken, 12);
    scene.house.stop().await;
}

/// A transfer of an animal, in a state, that nobody proposed.
async fn invent(
    service: &mut PgConnection,
    asker: Asker,
    like: Uuid,
    (animal, from, to): (Uuid, Uuid, Uuid),
    state: State,
) -> Option<String> {
    let mut tx = enter(service, Some(asker)).await;
    let told = sqlx::query(
        "INSERT INTO transfers (id, animal_id, from_site_id, to_site_id, taxon_id, from_number, house_name, sex, terms,
                                why, state, version, recorded_at, recorded_by, request_id)
         SELECT gen_random_uuid(), $1, $2, $3, t.id, '', '', 'unknown', 'loan', 'none', $4, 1, now(), $5, $5
           FROM taxa t LIMIT 1",
    )
    .bind(animal)
    .bind(from)
    .bind(to)
    .bind(word(state))
    .bind(like)
    .execute(&mut *tx)
    .await;
    let told = match told {
        Ok(_) => tx.execute("SET CONSTRAINTS ALL IMMEDIATE").await.err(),
        Err(error) => Some(error),
    };
    tx.rollback().await.unwrap();
    told.map(|error| error.into_database_error().unwrap().code().unwrap().into_owned())
}

#[tokio::test]
async fn an_invented_transfer_is_refused() {
    let scene = Scene::new().await;
    let mut service = scene.house.service().await;
    let (quill, brack) = (scene.quill_site, scene.brack_site);
    let pup: Uuid = scene.pup.parse().unwrap();
    let own: Uuid = scene.house.otter(&scene.brack, "Alder").await.id.parse().unwrap();
    let asker = scene.brack();
    let like = scene.brack.registrar.id;
    for state in STATES {
        for (animal, from, to) in [(pup, quill, brack), (pup, brack, quill), (own, quill, brack)] {
            let told = invent(&mut service, asker, like, (animal, from, to), state).await;
            assert_eq!(told.as_deref(), Some("42501"), "{state:?}");
        }
        // Its own animal: proposed at most, and not without the step that says so.
        let told = invent(&mut service, asker, like, (own, brack, quill), state).await;
        let wanted = if state == State::Proposed { "23514" } else { "42501" };
        assert_eq!(told.as_deref(), Some(wanted), "{state:?}");
    }
    let mut tx = enter(&mut service, Some(asker)).await;
    let count = sqlx::query_scalar("SELECT count(*) FROM weights WHERE animal_id = $1");
    let seen: i64 = count.bind(pup).fetch_one(&mut *tx).await.unwrap();
    assert_eq!(seen, 0);
    tx.rollback().await.unwrap();
    scene.house.close().await;
}
