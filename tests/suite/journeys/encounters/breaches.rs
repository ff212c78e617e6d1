//! Which limits an encounter breaks is told as it is recorded, animal by animal.

use super::{Show, name, otters, told};
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1::set_encounter_limits_request::Of;
use holt_proto::v1::{self, EncounterLimit as Limit};

#[tokio::test]
async fn who_is_over_and_who_had_too_short_a_rest_is_told() {
    let show = Show::new().await;
    let limits =
        v1::EncounterLimits { minutes_a_day: Some(40), rest_minutes: Some(60), ..Default::default() };
    show.limit(otters(), limits).await.unwrap();
    let first = show.record(show.talk(&["Bramble"], 150, 30)).await.unwrap();
    assert!(first.breaches.is_empty() && first.unlimited.is_empty(), "{first:?}");
    // Ended 60 minutes after the first, which is just enough; both go over their minutes.
    let second = show.record(show.talk(&["Sedge", "Bramble"], 60, 15)).await.unwrap();
    assert_eq!(told(&second.breaches), [("Bramble", Limit::MinutesADay, 45, 40)]);
    let third = show.record(show.talk(&["Sedge"], 10, 5)).await.unwrap();
    assert_eq!(told(&third.breaches), [("Sedge", Limit::Rest, 35, 60)]);
    assert!(third.breaches[0].say.contains("35 minutes"), "{}", third.breaches[0].say);
    assert_eq!(show.listed("", None).await.len(), 3, "they were held, and are on record");
    show.house.close().await;
}

/// Two hours over each of six days: the limit of the week is broken by the one that goes over, told with the
/// first of its seven days.
#[tokio::test]
async fn a_week_is_any_seven_days_on_end() {
    let show = Show::new().await;
    let limits =
        v1::EncounterLimits { minutes_a_week: Some(100), free_days_a_week: Some(4), ..Default::default() };
    show.limit(otters(), limits).await.unwrap();
    // On Wednesday, Friday and Sunday before, and today, Monday.
    for days in [5, 3, 1] {
        let answer = show.record(show.talk(&["Sedge"], days * 1440, 30)).await.unwrap();
        assert!(answer.breaches.is_empty(), "{answer:?}");
    }
    let today = show.record(show.talk(&["Sedge"], 30, 20)).await.unwrap();
    let broken = told(&today.breaches);
    assert_eq!(broken, [("Sedge", Limit::MinutesAWeek, 110, 100), ("Sedge", Limit::FreeDays, 3, 4)]);
    show.house.close().await;
}

#[tokio::test]
async fn an_animals_own_limits_take_the_place_of_those_of_its_species() {
    let show = Show::new().await;
    let minutes = |minutes_a_day| v1::EncounterLimits { minutes_a_day, ..Default::default() };
    show.limit(otters(), minutes(Some(60))).await.unwrap();
    let own = show.limit(Of::Animal("sedge".to_owned()), minutes(Some(5))).await.unwrap();
    assert_eq!((name(&own.animal), own.taxon.as_str()), ("Sedge", ""));
    let answer = show.record(show.talk(&["Bramble", "Sedge"], 60, 20)).await.unwrap();
    assert_eq!(told(&answer.breaches), [("Sedge", Limit::MinutesADay, 20, 5)]);
    // Taken away, those of the species hold again.
    show.house.clock.advance(TimeDelta::minutes(1));
    show.limit(Of::Animal("Sedge".to_owned()), v1::EncounterLimits::default()).await.unwrap();
    let answer = show.record(show.talk(&["Sedge"], 30, 20)).await.unwrap();
    assert!(answer.breaches.is_empty(), "{answer:?}");
    let ask = v1::ListEncounterLimitsRequest { site: "QUI".to_owned(), as_known_at: None };
    let client = show.park.auditor.client.encounters();
    let rules = client.clone().list_encounter_limits(ask).await.unwrap().into_inner().rules;
    assert_eq!(rules.iter().map(|rule| rule.taxon.as_str()).collect::<Vec<_>>(), ["Lontra canadensis"]);
    show.house.close().await;
}

#[tokio::test]
async fn who_has_no_limits_is_told() {
    let show = Show::new().await;
    let only = v1::EncounterLimits { encounters_a_day: Some(0), ..Default::default() };
    show.limit(Of::Animal("Sedge".to_owned()), only).await.unwrap();
    let answer = show.record(show.talk(&["Bramble", "Sedge"], 60, 20)).await.unwrap();
    assert_eq!(told(&answer.breaches), [("Sedge", Limit::EncountersADay, 1, 0)]);
    assert_eq!(answer.unlimited.iter().map(|one| one.house_name.as_str()).collect::<Vec<_>>(), ["Bramble"]);
    show.house.close().await;
}

/// One that is to come is held against the limits, and nothing is recorded.
#[tokio::test]
async fn an_encounter_can_be_tried_before_it_is_held() {
    let show = Show::new().await;
    let limits = v1::EncounterLimits { rest_minutes: Some(90), ..Default::default() };
    show.limit(otters(), limits).await.unwrap();
    show.record(show.talk(&["Sedge"], 30, 20)).await.unwrap();
    let to_come = v1::RecordEncounterRequest { validate_only: true, ..show.talk(&["Sedge"], -60, 20) };
    let tried = show.record(to_come).await.unwrap();
    assert_eq!(told(&tried.breaches), [("Sedge", Limit::Rest, 70, 90)]);
    assert_eq!(show.listed("", None).await.len(), 1);
    show.house.close().await;
}

/// A record that was given up means the animal that it was found to be.
#[tokio::test]
async fn encounters_follow_a_merge() {
    let show = Show::new().await;
    show.house.otter(&show.park, "Rush").await;
    let limits = v1::EncounterLimits { encounters_a_day: Some(1), ..Default::default() };
    show.limit(otters(), limits).await.unwrap();
    show.record(show.talk(&["Rush"], 120, 10)).await.unwrap();
    show.house.clock.advance(TimeDelta::minutes(1));
    let merge = v1::MergeAnimalsRequest {
        request_id: show.house.request(),
        site: "QUI".to_owned(),
        keep: "Sedge".to_owned(),
        give_up: "Rush".to_owned(),
        because: "the same scars".to_owned(),
        ..Default::default()
    };
    show.park.registrar.client.merges().merge_animals(merge).await.unwrap();
    let answer = show.record(show.talk(&["Sedge"], 10, 5)).await.unwrap();
    assert_eq!(told(&answer.breaches), [("Sedge", Limit::EncountersADay, 2, 1)]);
    assert_eq!(show.listed("Sedge", None).await.len(), 2);
    show.house.close().await;
}

/// The day on which clocks went forward at the site: an hour of the night of 29 March is not there.
#[tokio::test]
async fn minutes_are_counted_over_a_change_of_clocks() {
    let show = Show::new().await;
    let limits = v1::EncounterLimits { minutes_a_day: Some(60), ..Default::default() };
    show.limit(otters(), limits).await.unwrap();
    show.house.clock.set("2026-03-29T09:00:00Z".parse().unwrap());
    let at = |text: &str| Some(timestamp(text.parse().unwrap()));
    let night = v1::RecordEncounterRequest {
        began_at: at("2026-03-29T00:30:00Z"),
        ended_at: at("2026-03-29T01:30:00Z"),
        ..show.talk(&["Sedge"], 0, 1)
    };
    let answer = show.record(night).await.unwrap();
    assert!(answer.breaches.is_empty(), "an hour, though clocks showed two: {answer:?}");
    show.house.close().await;
}
