//! Animals and groups that were not assessed in time.

use super::Looks;
use chrono::TimeDelta;
use holt_proto::v1;
use holt_tests::house::start_of_time;
use holt_tests::reason;

async fn unassessed(looks: &Looks, within_days: i32, as_of: Option<&str>) -> v1::ListUnassessedResponse {
    let ask = v1::ListUnassessedRequest {
        site: "QUI".to_owned(),
        within_days,
        as_of: as_of.map(|day| day.parse().unwrap()),
    };
    looks.park.auditor.client.welfare().list_unassessed(ask).await.unwrap().into_inner()
}

fn names(told: &v1::ListUnassessedResponse) -> Vec<&str> {
    told.animals.iter().map(|one| one.animal.as_ref().unwrap().house_name.as_str()).collect()
}

#[tokio::test]
async fn those_who_were_forgotten_are_named_with_their_group() {
    let looks = Looks::new().await;
    for name in ["Sedge", "Teasel"] {
        looks.house.otter(&looks.park, name).await;
    }
    let came = looks.house.arrival(&looks.park, "Newcomer", "2026-02-20".parse().unwrap());
    looks.park.registrar.client.animals().register_arrival(came).await.unwrap();
    let group = v1::CreateGroupRequest {
        request_id: looks.house.request(),
        site: "QUI".to_owned(),
        name: "Weir family".to_owned(),
        note: String::new(),
    };
    looks.park.registrar.client.groups().create_group(group).await.unwrap();
    let join = v1::JoinGroupRequest {
        request_id: looks.house.request(),
        site: "QUI".to_owned(),
        group: "Weir family".to_owned(),
        animals: vec!["Bramble".to_owned(), "Sedge".to_owned()],
        role: v1::GroupRole::Member.into(),
        joined_at: None,
    };
    looks.park.registrar.client.groups().join_group(join).await.unwrap();
    let gait = &[("gait", "even")][..];
    let keeper = &looks.park.keeper;
    looks.look(keeper, "Bramble", start_of_time() - TimeDelta::days(10), gait, None).await;
    looks.look(keeper, "Sedge", start_of_time() - TimeDelta::days(100), gait, None).await;

    let told = unassessed(&looks, 0, None).await;
    assert_eq!((told.within_days, told.held), (90, 4));
    assert_eq!(names(&told), ["Teasel", "Sedge"], "never, and long ago; who came since is not late");
    assert_eq!(told.animals[0].last_assessed_on, None);
    assert_eq!(told.animals[1].last_assessed_on.unwrap().to_string(), "2025-11-22");
    let [group] = told.groups.as_slice() else { panic!("{told:?}") };
    assert_eq!((group.name.as_str(), group.members, group.assessed), ("Weir family", 2, 1));
    assert_eq!(names(&unassessed(&looks, 120, None).await), ["Teasel"]);
    // On a day when Sedge had just been looked at.
    assert_eq!(names(&unassessed(&looks, 90, Some("2025-12-01")).await), ["Bramble", "Teasel"]);
    looks.house.close().await;
}

#[tokio::test]
async fn what_a_check_asks_for_is_overdue_sooner() {
    let looks = Looks::new().await;
    let check = v1::CreateCheckRequest {
        request_id: looks.house.request(),
        site: "QUI".to_owned(),
        duty: v1::Duty::Assess.into(),
        scope: Some(v1::CheckScope { of: Some(v1::check_scope::Of::WholeSite(true)) }),
        recurrence: "FREQ=WEEKLY;BYDAY=MO".to_owned(),
        starts_on: Some("2026-02-02".parse().unwrap()),
        ..Default::default()
    };
    looks.park.registrar.client.checks().create_check(check).await.unwrap();
    let at = start_of_time() - TimeDelta::days(20);
    looks.look(&looks.park.keeper, "Bramble", at, &[("gait", "even")], None).await;
    let told = unassessed(&looks, 90, None).await;
    assert_eq!(names(&told), ["Bramble"]);
    assert_eq!(told.animals[0].due_on.unwrap().to_string(), "2026-02-16");
    let wrong = v1::ListUnassessedRequest { site: "QUI".to_owned(), within_days: -1, as_of: None };
    let refused = looks.park.auditor.client.welfare().list_unassessed(wrong).await.unwrap_err();
    assert_eq!(reason(&refused), "MALFORMED");
    looks.house.close().await;
}
