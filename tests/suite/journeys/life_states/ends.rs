//! A birth ends carrying by itself, and so does a death whatever lasts.

use super::Den;
use chrono::TimeDelta;
use holt_proto::v1::{self, LifeStateEnd, LifeStateKind};
use holt_server::clock::Clock;

#[tokio::test]
async fn a_birth_of_hers_ends_that_she_carries_and_nothing_else() {
    let den = Den::new().await;
    let house = &den.quill.house;
    for name in ["Bramble", "Sedge"] {
        den.begin(name, LifeStateKind::Carrying).await;
    }
    den.begin("Bramble", LifeStateKind::Rest).await;
    house.clock.advance(TimeDelta::days(3));
    let birth = house.birth(&den.quill.park, "Bramble", "Fern", house.clock.now().date_naive());
    den.quill.park.registrar.client.send(birth).await.unwrap();
    let lasting: Vec<_> =
        den.states(false).await.into_iter().map(|one| (one.animal.unwrap().house_name, one.kind)).collect();
    assert_eq!(
        lasting,
        [
            ("Bramble".to_owned(), LifeStateKind::Rest.into()),
            ("Sedge".to_owned(), LifeStateKind::Carrying.into())
        ]
    );
    let litter = v1::RecordLitterRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        born_on: Some(holt_proto::time::day(house.clock.now().date_naive())),
        dam: "Sedge".to_owned(),
        young: Some(v1::Counts { males: 0, females: 0, unknown: 2 }),
        ..Default::default()
    };
    den.quill.park.registrar.client.send(litter).await.unwrap();
    let ended = den.states(true).await;
    let births = ended.iter().filter(|one| one.ended_how() == LifeStateEnd::Birth);
    assert_eq!(births.count(), 2, "{ended:?}");
    // The next begins anew.
    house.clock.advance(TimeDelta::days(60));
    den.begin("Bramble", LifeStateKind::Carrying).await;
    den.quill.house.close().await;
}

#[tokio::test]
async fn a_death_ends_what_lasts_and_a_withdrawn_one_lets_it_last_again() {
    let den = Den::new().await;
    let house = &den.quill.house;
    den.begin("Bramble", LifeStateKind::Torpor).await;
    house.clock.advance(TimeDelta::days(3));
    let death = v1::RecordDeathRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        died_on: Some(holt_proto::time::day(house.clock.now().date_naive())),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    den.quill.park.registrar.client.send(death).await.unwrap();
    assert_eq!(den.states(false).await, []);
    let ask = v1::GetHistoryRequest { site: "QUI".into(), animal: "Bramble".into(), ..Default::default() };
    let facts = den.quill.park.auditor.client.send(ask).await.unwrap().facts;
    let death = facts.iter().find(|fact| fact.kind() == v1::FactKind::Death).unwrap();
    let withdraw = v1::WithdrawFactRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        fact_id: death.id.clone(),
        because: "it slept".to_owned(),
        ..Default::default()
    };
    den.quill.park.registrar.client.send(withdraw).await.unwrap();
    let [lasts] = den.states(false).await.try_into().unwrap();
    assert_eq!((lasts.kind(), lasts.ended_how()), (LifeStateKind::Torpor, LifeStateEnd::Unspecified));
    den.quill.house.close().await;
}

/// A moult that was seen to end lived through it: a death before that is refused, and names it.
#[tokio::test]
async fn a_death_before_a_state_was_seen_to_end_is_refused() {
    let den = Den::new().await;
    let house = &den.quill.house;
    den.begin("Bramble", LifeStateKind::Moult).await;
    house.clock.advance(TimeDelta::days(5));
    den.end("Bramble", LifeStateKind::Moult).await;
    let died = house.clock.now().date_naive() - TimeDelta::days(2);
    let death = v1::RecordDeathRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        died_on: Some(holt_proto::time::day(died)),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    assert_eq!(super::refused(&den.quill.park.registrar, death).await.1, "OUT_OF_ORDER");
    den.quill.house.close().await;
}
