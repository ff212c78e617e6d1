//! Entered wrong, then put right; and what the database refuses by itself.

use super::{Den, refused};
use chrono::TimeDelta;
use holt_proto::v1::{self, LifeStateEnd, LifeStateKind};

fn corrected(den: &Den, fact: &str, change: v1::FactChange) -> v1::CorrectFactRequest {
    v1::CorrectFactRequest {
        request_id: den.quill.house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        fact_id: fact.to_owned(),
        change: Some(change),
        because: "seen on the sheet".to_owned(),
        ..Default::default()
    }
}

#[tokio::test]
async fn a_registrar_puts_its_days_right_or_withdraws_it() {
    let den = Den::new().await;
    let registrar = &den.quill.park.registrar;
    let state = den.begin("Bramble", LifeStateKind::Moult).await;
    den.quill.house.clock.advance(TimeDelta::days(9));
    let began = v1::FactChange { happened_on: Some("2026-02-20".parse().unwrap()), ..Default::default() };
    assert_eq!(
        refused(&den.quill.park.keeper, corrected(&den, &state.id, began.clone())).await.1,
        "ROLE_NEEDED"
    );
    let told = registrar.client.send(corrected(&den, &state.id, began)).await.unwrap();
    let ended = v1::FactChange { ended_on: Some("2026-03-05".parse().unwrap()), ..Default::default() };
    let told = registrar.client.send(corrected(&den, &told.facts[0].id, ended)).await.unwrap();
    let [state] = den.states(true).await.try_into().unwrap();
    assert_eq!((state.ended_how(), den.states(false).await.len()), (LifeStateEnd::Over, 0));
    let lasts = v1::FactChange { still_lasts: true, ..Default::default() };
    let told = registrar.client.send(corrected(&den, &told.facts[0].id, lasts)).await.unwrap();
    let [state] = den.states(false).await.try_into().unwrap();
    assert_eq!(
        (state.ended_how(), state.id.as_str()),
        (LifeStateEnd::Unspecified, told.facts[0].id.as_str())
    );
    let odd = v1::FactChange { mass: Some(v1::Mass { milligrams: 1 }), ..Default::default() };
    assert_eq!(refused(registrar, corrected(&den, &state.id, odd)).await.1, "MALFORMED");
    let outside = v1::FactChange { happened_on: Some("2024-01-01".parse().unwrap()), ..Default::default() };
    assert_eq!(refused(registrar, corrected(&den, &state.id, outside)).await.1, "OUT_OF_ORDER");
    let withdraw = v1::WithdrawFactRequest {
        request_id: den.quill.house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        fact_id: state.id,
        because: "it was Sedge".to_owned(),
        ..Default::default()
    };
    registrar.client.send(withdraw).await.unwrap();
    assert_eq!(den.states(true).await, []);
    assert_eq!(den.told("Bramble").await, []);
    den.quill.house.close().await;
}

/// Past the rules, whoever may write: twice at one time, a moult that is suspected, a rut that ends with a birth.
#[tokio::test]
async fn the_database_refuses_by_itself_what_cannot_be() {
    let den = Den::new().await;
    den.begin("Bramble", LifeStateKind::Moult).await;
    let mut owner = den.quill.house.owner().await;
    for (columns, constraint) in [
        ("state, suspected, began_at + interval '1 hour', ended_at, ended_how", "life_states_once_at_a_time"),
        ("'rut', true, began_at, ended_at, ended_how", "life_states_suspected_guard"),
        ("'rut', false, began_at, began_at + interval '1 hour', 'birth'", "life_states_birth_guard"),
        ("'rut', false, began_at, began_at + interval '1 hour', NULL", "life_states_end_guard"),
        ("'rut', false, began_at, began_at, 'over'", "life_states_interval_guard"),
        ("'hunger', false, began_at, ended_at, ended_how", "life_states_state_guard"),
    ] {
        let insert = format!(
            "INSERT INTO life_states SELECT gen_random_uuid(), animal_id, site_id, {columns}, ended_why, note, recorded_at,
                    recorded_by, request_id FROM life_states"
        );
        let refused = sqlx::query(sqlx::AssertSqlSafe(insert)).execute(&mut owner).await.unwrap_err();
        let refused = refused.into_database_error().unwrap();
        assert_eq!(refused.constraint(), Some(constraint), "{refused}");
    }
    drop(owner);
    den.quill.house.close().await;
}
