//! Encounters are on record once, are taken back with a reason, and what cannot be is refused.

use super::{Show, otters};
use crate::journeys::registration::fields;
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1::set_encounter_limits_request::Of;
use holt_proto::v1::{self, EncounterKind};
use holt_tests::reason;

#[tokio::test]
async fn what_is_sent_again_was_held_once() {
    let show = Show::new().await;
    let ask = v1::RecordEncounterRequest {
        people: 12,
        incident: "nipped a sleeve".to_owned(),
        kind: EncounterKind::Close.into(),
        ..show.talk(&["Sedge"], 60, 10)
    };
    let first = show.record(ask.clone()).await.unwrap();
    assert_eq!(first, show.record(ask).await.unwrap());
    show.record(show.talk(&["Bramble"], 30, 10)).await.unwrap();
    let all = show.listed("", None).await;
    assert_eq!(
        all.iter().map(v1::Encounter::kind).collect::<Vec<_>>(),
        [EncounterKind::Talk, EncounterKind::Close]
    );
    let ask =
        v1::ListEncountersRequest { site: "QUI".to_owned(), incidents_only: true, ..Default::default() };
    let client = show.park.auditor.client.encounters();
    let bad = client.clone().list_encounters(ask).await.unwrap().into_inner().encounters;
    assert_eq!((bad.len(), bad[0].people, bad[0].incident.as_str()), (1, 12, "nipped a sleeve"));
    assert_eq!(show.listed("sedge", None).await.len(), 1);
    show.house.close().await;
}

#[tokio::test]
async fn a_record_that_is_taken_back_stays_known_as_it_was() {
    let show = Show::new().await;
    let limits = v1::EncounterLimits { encounters_a_day: Some(1), ..Default::default() };
    show.limit(otters(), limits).await.unwrap();
    let held = show.record(show.talk(&["Sedge"], 60, 10)).await.unwrap().encounter.unwrap();
    let then = show.now();
    show.house.clock.advance(TimeDelta::minutes(1));
    let ask = || v1::WithdrawEncounterRequest {
        request_id: show.house.request(),
        site: "QUI".to_owned(),
        encounter_id: held.id.clone(),
        because: "it rained".to_owned(),
    };
    let client = show.park.keeper.client.encounters();
    client.clone().withdraw_encounter(ask()).await.unwrap();
    assert_eq!(reason(&client.clone().withdraw_encounter(ask()).await.unwrap_err()), "NOT_FOUND");
    assert_eq!((show.listed("", None).await.len(), show.listed("Sedge", Some(then)).await.len()), (0, 1));
    let answer = show.record(show.talk(&["Sedge"], 20, 10)).await.unwrap();
    assert!(answer.breaches.is_empty(), "what was not held does not count: {answer:?}");
    show.house.close().await;
}

#[tokio::test]
async fn what_cannot_be_is_told_at_once() {
    let show = Show::new().await;
    let backwards = v1::RecordEncounterRequest {
        kind: 0,
        people: -1,
        ended_at: Some(timestamp(show.now() - TimeDelta::hours(2))),
        ..show.talk(&[], 60, 10)
    };
    let refused = show.record(backwards).await.unwrap_err();
    assert_eq!(fields(&refused), ["ended_at", "animals", "people", "kind"]);
    let to_come = show.record(show.talk(&["Sedge"], 5, 10)).await.unwrap_err();
    assert_eq!((reason(&to_come).as_str(), fields(&to_come)), ("IN_THE_FUTURE", vec!["ended_at".into()]));
    let nobody = show.record(show.talk(&["Sedge", "Nobody"], 60, 10)).await.unwrap_err();
    assert_eq!((reason(&nobody).as_str(), fields(&nobody)), ("NOT_FOUND", vec!["animals[1]".into()]));
    let long = show.record(show.talk(&["Sedge"], 3000, 1500)).await.unwrap_err();
    assert_eq!(fields(&long), ["ended_at"]);
    let limits =
        v1::EncounterLimits { minutes_a_day: Some(-1), free_days_a_week: Some(8), ..Default::default() };
    let refused = show.limit(Of::Taxon("otter".to_owned()), limits).await.unwrap_err();
    assert_eq!(fields(&refused), ["taxon", "limits.free_days_a_week", "limits.minutes_a_day"]);
    let refused =
        show.limit(Of::Animal("Nobody".to_owned()), v1::EncounterLimits::default()).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    assert!(show.listed("", None).await.is_empty());
    show.house.close().await;
}

#[tokio::test]
async fn an_animal_that_was_not_there_then_met_nobody() {
    let show = Show::new().await;
    let sedge = show.listed("", None).await;
    assert!(sedge.is_empty());
    let leave = v1::RecordDepartureRequest {
        request_id: show.house.request(),
        site: "QUI".to_owned(),
        animal: "Sedge".to_owned(),
        departed_on: Some(holt_proto::time::day(show.now().date_naive() - TimeDelta::days(2))),
        destination: v1::DepartureDestination::Collection.into(),
        destination_name: "Fenwater Collection".to_owned(),
        ..Default::default()
    };
    show.park.registrar.client.animals().record_departure(leave).await.unwrap();
    let refused = show.record(show.talk(&["Sedge"], 60, 10)).await.unwrap_err();
    assert_eq!(
        (reason(&refused).as_str(), fields(&refused)),
        ("ANIMAL_NOT_HELD_THEN", vec!["animals[0]".into()])
    );
    // Of a day on which it was still there, it is told later, too.
    show.record(show.talk(&["Sedge"], 5 * 1440, 10)).await.unwrap();
    show.house.close().await;
}
