//! A write that has its instant, and then comes second to one with a later instant: seen from its own, what that one
//! ended would still last.

use chrono::TimeDelta;
use holt_proto::call::Call;
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_tests::house::Client;
use holt_tests::{House, reason};

async fn told<C: Call>(client: &Client, call: C) -> String {
    client.send(call).await.map_or_else(|refused| reason(&refused), |_| "done".to_owned())
}

/// Whatever a site does with an animal that it holds, asked for by the name of the animal.
async fn each(house: &House, park: &holt_tests::Park) -> Vec<String> {
    let (keeper, registrar) = (&park.keeper.client, &park.registrar.client);
    let (site, animal) = ("QUI".to_owned(), "Bramble".to_owned());
    let now = house.clock.now();
    let place = v1::PlaceAnimalsRequest {
        request_id: house.request(),
        site: site.clone(),
        animals: vec![animal.clone()],
        enclosure: "Weir".to_owned(),
        placed_at: None,
    };
    let join = v1::JoinGroupRequest {
        request_id: house.request(),
        site: site.clone(),
        group: "Weir family".to_owned(),
        animals: vec![animal.clone()],
        role: v1::GroupRole::Member.into(),
        joined_at: None,
    };
    let met = v1::RecordEncounterRequest {
        request_id: house.request(),
        site: site.clone(),
        kind: v1::EncounterKind::Talk.into(),
        began_at: Some(timestamp(now - TimeDelta::minutes(20))),
        ended_at: Some(timestamp(now)),
        animals: vec![animal.clone()],
        ..Default::default()
    };
    let mark = v1::ApplyMarkRequest {
        request_id: house.request(),
        site: site.clone(),
        animal: animal.clone(),
        mark: Some(v1::NewMark {
            kind: v1::MarkKind::Transponder.into(),
            code: "999000000000042".to_owned(),
            ..Default::default()
        }),
        applied_at: None,
    };
    let propose = v1::ProposeTransferRequest {
        request_id: house.request(),
        site,
        animal,
        to_site: "BRA".to_owned(),
        terms: v1::TransferTerms::TitlePasses.into(),
        why: "a mate".to_owned(),
        ..Default::default()
    };
    vec![
        told(keeper, place).await,
        told(registrar, join).await,
        told(keeper, met).await,
        told(registrar, mark).await,
        told(registrar, propose).await,
        told(keeper, house.round("QUI", &[("Bramble", now, 6900)])).await,
    ]
}

#[tokio::test]
async fn it_is_begun_again_and_no_fault() {
    let house = House::new().await;
    let park = house.quill().await;
    house.park("BRA", "America/Halifax").await;
    house.enclosure(&park, "Weir").await;
    let group = v1::CreateGroupRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        name: "Weir family".to_owned(),
        ..Default::default()
    };
    park.registrar.client.groups().create_group(group).await.unwrap();
    house.otter(&park, "Bramble").await;
    let earlier = house.clock.now();
    house.clock.advance(TimeDelta::minutes(1));
    let died = v1::RecordDeathRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        died_on: Some(day(house.clock.now().date_naive())),
        died_at: Some(timestamp(house.clock.now())),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    park.registrar.client.animals().record_death(died).await.unwrap();
    house.clock.set(earlier);
    assert_eq!(each(&house, &park).await, ["CONTENTION"; 6]);
    house.clock.advance(TimeDelta::hours(1));
    let (dead, not_held) = ("ANIMAL_DEAD", "ANIMAL_NOT_HELD_THEN");
    // Of a round, each reading is answered.
    assert_eq!(each(&house, &park).await, [dead, dead, not_held, dead, dead, "done"]);
    house.close().await;
}

#[tokio::test]
async fn a_record_is_not_withdrawn_before_what_was_recorded_of_it() {
    let house = House::new().await;
    let park = house.quill().await;
    house.otter(&park, "Bramble").await;
    let earlier = house.clock.now();
    house.clock.advance(TimeDelta::minutes(1));
    let round = house.round("QUI", &[("Bramble", house.clock.now(), 6900)]);
    park.keeper.client.weights().record_weights(round).await.unwrap();
    house.clock.set(earlier);
    let withdraw = || v1::WithdrawAnimalRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        because: "entered twice".to_owned(),
        ..Default::default()
    };
    assert_eq!(told(&park.registrar.client, withdraw()).await, "CONTENTION");
    house.clock.advance(TimeDelta::hours(1));
    assert_eq!(told(&park.registrar.client, withdraw()).await, "done");
    house.close().await;
}
