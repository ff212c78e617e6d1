//! Begun, confirmed, ended and listed; and each refusal.

use super::{Den, refused};
use chrono::TimeDelta;
use holt_proto::time::{day, timestamp};
use holt_proto::v1::begin_life_state_request::Since;
use holt_proto::v1::{self, LifeStateEnd, LifeStateKind};
use holt_server::clock::Clock;
use holt_server::model::person::Role;
use tonic::Code;

#[tokio::test]
async fn what_was_suspected_is_confirmed_and_ended_and_each_is_told() {
    let den = Den::new().await;
    let since = Some(Since::BeganOn("2026-02-20".parse().unwrap()));
    let suspects = v1::BeginLifeStateRequest {
        suspected: true,
        since,
        note: "eats for two".to_owned(),
        ..den.beginning("Bramble", LifeStateKind::Carrying)
    };
    let suspected = den.quill.park.keeper.client.send(suspects).await.unwrap().state.unwrap();
    assert!(suspected.suspected && suspected.recorder == "qui-keeper" && suspected.ended_at.is_none());
    assert_eq!(suspected.began_at, Some(timestamp("2026-02-20T00:00:00Z".parse().unwrap())));
    den.quill.house.clock.advance(TimeDelta::days(2));
    let confirmed = den.begin("Bramble", LifeStateKind::Carrying).await;
    assert!(!confirmed.suspected);
    let moult = den.begin("Sedge", LifeStateKind::Moult).await;
    assert_eq!(den.states(false).await, [moult.clone(), confirmed.clone()]);
    den.quill.house.clock.advance(TimeDelta::days(9));
    let over = den.end("Sedge", LifeStateKind::Moult).await;
    assert_eq!((over.ended_how(), over.ended_why.as_str()), (LifeStateEnd::Over, "seen today"));
    assert_eq!(den.states(false).await, [confirmed]);
    let all = den.states(true).await;
    assert_eq!(
        all.iter().map(v1::LifeState::ended_how).collect::<Vec<_>>(),
        [LifeStateEnd::Over, LifeStateEnd::Unspecified, LifeStateEnd::Confirmed,]
    );
    // As of the day on which it moulted, and as was known before anybody recorded it.
    let as_of = Some(day((den.quill.house.clock.now() - TimeDelta::days(3)).date_naive()));
    let then = v1::ListLifeStatesRequest {
        site: "QUI".to_owned(),
        animal: "Sedge".to_owned(),
        as_of,
        ..Default::default()
    };
    assert_eq!(den.quill.park.auditor.client.send(then.clone()).await.unwrap().states, [over]);
    let known = Some(timestamp(den.quill.house.clock.now() - TimeDelta::days(10)));
    let before = v1::ListLifeStatesRequest { as_known_at: known, ..then };
    assert_eq!(den.quill.park.auditor.client.send(before).await.unwrap().states, []);
    let says: Vec<_> = den.told("Bramble").await.into_iter().map(|fact| fact.say).collect();
    assert_eq!(says, ["carrying (suspected, eats for two, confirmed)", "carrying"]);
    den.quill.house.close().await;
}

#[tokio::test]
async fn each_refusal_says_why() {
    let den = Den::new().await;
    let keeper = &den.quill.park.keeper;
    let carrying = || den.beginning("Bramble", LifeStateKind::Carrying);
    let male = v1::RegisterArrivalRequest {
        sex: v1::Sex::Male.into(),
        ..den.quill.house.arrival(&den.quill.park, "Rush", "2025-03-01".parse().unwrap())
    };
    den.quill.park.registrar.client.send(male).await.unwrap();
    let of_a_male = v1::BeginLifeStateRequest { animal: "Rush".to_owned(), ..carrying() };
    assert_eq!(refused(keeper, of_a_male).await.1, "OBSERVATION_DOES_NOT_FIT");
    let suspected =
        v1::BeginLifeStateRequest { suspected: true, ..den.beginning("Sedge", LifeStateKind::Rut) };
    assert_eq!(refused(keeper, suspected).await.1, "MALFORMED");
    let none = den.beginning("Sedge", LifeStateKind::Unspecified);
    assert_eq!(refused(keeper, none).await.1, "MALFORMED");
    let later = Some(Since::BeganAt(timestamp(den.quill.house.clock.now() + TimeDelta::hours(1))));
    let later = v1::BeginLifeStateRequest { since: later, ..carrying() };
    assert_eq!(refused(keeper, later).await.1, "IN_THE_FUTURE");
    let before = Some(Since::BeganOn("2025-02-27".parse().unwrap()));
    let before = v1::BeginLifeStateRequest { since: before, ..carrying() };
    assert_eq!(refused(keeper, before).await.1, "ANIMAL_NOT_HELD_THEN");
    assert_eq!(refused(keeper, den.ending("Bramble", LifeStateKind::Carrying)).await.1, "NOT_FOUND");
    assert_eq!(refused(&den.quill.park.auditor, carrying()).await.1, "ROLE_NEEDED");
    den.begin("Bramble", LifeStateKind::Carrying).await;
    assert_eq!(refused(keeper, carrying()).await, (Code::AlreadyExists, "EXISTS".to_owned()));
    let suspected = v1::BeginLifeStateRequest { suspected: true, ..carrying() };
    assert_eq!(refused(keeper, suspected).await.1, "EXISTS", "what is sure is not suspected");
    let early = v1::EndLifeStateRequest {
        when: Some(v1::end_life_state_request::When::EndedOn("2026-02-01".parse().unwrap())),
        ..den.ending("Bramble", LifeStateKind::Carrying)
    };
    assert_eq!(refused(keeper, early).await.1, "OUT_OF_ORDER");
    let tried =
        v1::EndLifeStateRequest { validate_only: true, ..den.ending("Bramble", LifeStateKind::Carrying) };
    keeper.client.send(tried).await.unwrap();
    assert_eq!(den.states(false).await.len(), 1, "only tried");
    den.quill.house.close().await;
}

/// Who held it before records nothing of it, and sees nothing of what the next holder records; nor does one person with
/// roles at both at the wrong one.
#[tokio::test]
async fn it_is_the_holders_to_record_and_no_former_holders() {
    let den = Den::new().await;
    let house = &den.quill.house;
    let brack = house.park("BRA", "America/Halifax").await;
    let both = house.person("both", &[(Role::Keeper, Some("QUI")), (Role::Keeper, Some("BRA"))]).await;
    den.begin("Bramble", LifeStateKind::Carrying).await;
    house.clock.advance(TimeDelta::days(1));
    let animal = house.moves("Bramble", &den.quill.park, &brack).await;
    let [left] = den.states(true).await.try_into().unwrap();
    assert_eq!(left.ended_how(), LifeStateEnd::Left);
    for who in [&den.quill.park.keeper, &both] {
        let again = v1::BeginLifeStateRequest {
            animal: animal.clone(),
            ..den.beginning("Bramble", LifeStateKind::Moult)
        };
        assert_eq!(refused(who, again).await.1, "ANIMAL_NOT_HELD_THEN");
    }
    let there = v1::BeginLifeStateRequest {
        site: "BRA".to_owned(),
        animal: animal.clone(),
        ..den.beginning("Bramble", LifeStateKind::Moult)
    };
    both.client.send(there).await.unwrap();
    assert_eq!(den.states(true).await.len(), 1, "its later life is not QUI's");
    let list = v1::ListLifeStatesRequest { site: "BRA".to_owned(), also_ended: true, ..Default::default() };
    let states = brack.auditor.client.send(list).await.unwrap().states;
    assert_eq!(states.iter().map(v1::LifeState::kind).collect::<Vec<_>>(), [LifeStateKind::Moult]);
    den.quill.house.close().await;
}
