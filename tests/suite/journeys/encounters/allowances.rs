//! What is left today.

use super::{Show, name, otters, told};
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1::set_encounter_limits_request::Of;
use holt_proto::v1::{self, EncounterLimit as Limit};

#[tokio::test]
async fn what_is_left_is_told_for_today_and_the_week() {
    let show = Show::new().await;
    assert!(show.left("").await.is_empty(), "nobody has limits");
    let limits = v1::EncounterLimits {
        minutes_a_day: Some(60),
        minutes_a_week: Some(100),
        encounters_a_day: Some(2),
        rest_minutes: Some(45),
        free_days_a_week: None,
    };
    show.limit(otters(), limits).await.unwrap();
    let untouched = show.left("").await;
    assert_eq!(untouched.len(), 2);
    assert!(untouched.iter().all(|one| one.may_meet && one.minutes_left == Some(60)), "{untouched:?}");
    show.record(show.talk(&["Sedge"], 2 * 1440, 60)).await.unwrap();
    show.record(show.talk(&["Sedge"], 40, 30)).await.unwrap();
    let told = show.left("").await;
    let (bramble, sedge) = (&told[0], &told[1]);
    assert_eq!((name(&bramble.animal), name(&sedge.animal)), ("Bramble", "Sedge"));
    // 30 of the day, 10 of the week: the less of the two. Its rest ends 45 minutes after ten minutes ago.
    assert_eq!((sedge.minutes_left, sedge.encounters_left, sedge.may_meet), (Some(10), Some(1), true));
    // To the second: the clock of the house moves on a little with each look at it.
    let rests_until = sedge.rests_until_at.unwrap().seconds;
    assert_eq!(rests_until, timestamp(show.now() + TimeDelta::minutes(35)).seconds);
    assert_eq!((bramble.minutes_left, bramble.rests_until_at), (Some(60), None));
    show.record(show.talk(&["Sedge"], 5, 5)).await.unwrap();
    let sedge = show.left("").await.pop().unwrap();
    assert_eq!((sedge.encounters_left, sedge.may_meet), (Some(0), false));
    assert_eq!(super::told(&sedge.breaches), [("Sedge", Limit::Rest, 5, 45)]);
    show.house.close().await;
}

#[tokio::test]
async fn a_day_that_must_stay_free_is_told() {
    let show = Show::new().await;
    let limits = v1::EncounterLimits { free_days_a_week: Some(2), ..Default::default() };
    show.limit(otters(), limits).await.unwrap();
    for days in 1..=5 {
        show.record(show.talk(&["Bramble"], days * 1440, 10)).await.unwrap();
    }
    let told = show.left("").await;
    assert!(told[0].must_stay_free && !told[0].may_meet, "{told:?}");
    assert!(!told[1].must_stay_free && told[1].may_meet, "{told:?}");
    show.house.close().await;
}

#[tokio::test]
async fn of_a_group_all_members_are_told() {
    let show = Show::new().await;
    let group = v1::CreateGroupRequest {
        request_id: show.house.request(),
        site: "QUI".to_owned(),
        name: "Weir family".to_owned(),
        note: String::new(),
    };
    show.park.keeper.client.groups().create_group(group).await.unwrap();
    let join = v1::JoinGroupRequest {
        request_id: show.house.request(),
        site: "QUI".to_owned(),
        group: "Weir family".to_owned(),
        animals: vec!["Bramble".to_owned()],
        role: v1::GroupRole::Member.into(),
        joined_at: None,
    };
    show.park.keeper.client.groups().join_group(join).await.unwrap();
    let limits = v1::EncounterLimits { minutes_a_day: Some(60), ..Default::default() };
    show.limit(Of::Animal("Sedge".to_owned()), limits).await.unwrap();
    let of_group = show.left("weir family").await;
    assert_eq!((of_group.len(), name(&of_group[0].animal)), (1, "Bramble"));
    assert_eq!((of_group[0].limits, of_group[0].may_meet), (None, true));
    let all = show.left("").await;
    assert_eq!((all.len(), name(&all[0].animal), all[0].own), (1, "Sedge", true));
    // The members then took part where the group is named.
    show.house.clock.advance(TimeDelta::hours(1));
    let talk =
        v1::RecordEncounterRequest { group: "Weir family".to_owned(), ..show.talk(&["Sedge"], 20, 10) };
    let answer = show.record(talk).await.unwrap().encounter.unwrap();
    let names: Vec<_> = answer.animals.iter().map(|one| one.house_name.as_str()).collect();
    assert_eq!(names, ["Bramble", "Sedge"]);
    assert!(told(&[]).is_empty());
    show.house.close().await;
}
