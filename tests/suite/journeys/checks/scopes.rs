//! Whom a check is for.

use super::Duties;
use holt_proto::v1::{self, Duty, check_scope::Of};
use holt_tests::reason;

async fn names(duties: &Duties, of: Of) -> Vec<String> {
    let scope = Some(v1::CheckScope { of: Some(of) });
    let check = v1::CreateCheckRequest { scope, ..duties.check(Duty::Weigh, "FREQ=WEEKLY;BYDAY=MO", 0) };
    let id = duties.set_up(check).await.unwrap().id;
    let due = duties.due("2026-03-02").await;
    due.into_iter().filter(|item| item.check_id == id).map(|item| item.house_name).collect()
}

#[tokio::test]
async fn one_animal_a_species_an_enclosure_a_group_or_all() {
    let duties = Duties::new().await;
    duties.house.taxon(&duties.park, "Lutra lutra", "Eurasian otter").await;
    let rush = v1::RegisterArrivalRequest {
        taxon: "Lutra lutra".to_owned(),
        ..duties.house.arrival(&duties.park, "Rush", "2026-02-01".parse().unwrap())
    };
    duties.park.registrar.client.animals().register_arrival(rush).await.unwrap();
    duties.house.enclosure(&duties.park, "Weir").await;
    let place = v1::PlaceAnimalsRequest {
        request_id: duties.house.request(),
        site: "QUI".to_owned(),
        animals: vec!["Sedge".to_owned(), "Rush".to_owned()],
        enclosure: "Weir".to_owned(),
        placed_at: None,
    };
    duties.park.keeper.client.placements().place_animals(place).await.unwrap();
    assert_eq!(names(&duties, Of::Animal("Teasel".to_owned())).await, ["Teasel"]);
    assert_eq!(names(&duties, Of::Taxon("Lutra lutra".to_owned())).await, ["Rush"]);
    assert_eq!(
        names(&duties, Of::Taxon("Lontra canadensis".to_owned())).await,
        ["Bramble", "Sedge", "Teasel"]
    );
    assert_eq!(names(&duties, Of::Enclosure("weir".to_owned())).await, ["Sedge", "Rush"]);
    let (groups, request) = (duties.park.keeper.client.groups(), || duties.house.request());
    let family = v1::CreateGroupRequest {
        request_id: request(),
        site: "QUI".to_owned(),
        name: "Weir family".to_owned(),
        note: String::new(),
    };
    groups.clone().create_group(family).await.unwrap();
    let join = v1::JoinGroupRequest {
        request_id: request(),
        site: "QUI".to_owned(),
        group: "Weir family".to_owned(),
        animals: vec!["Bramble".to_owned(), "Rush".to_owned()],
        role: v1::GroupRole::Member.into(),
        joined_at: Some(holt_proto::time::timestamp(super::utc("2026-03-01T12:00:00Z"))),
    };
    groups.clone().join_group(join).await.unwrap();
    assert_eq!(names(&duties, Of::Group("weir FAMILY".to_owned())).await, ["Bramble", "Rush"]);
    let nobody = Some(v1::CheckScope { of: Some(Of::Group("Nobody".to_owned())) });
    let check = v1::CreateCheckRequest { scope: nobody, ..duties.check(Duty::Weigh, "FREQ=DAILY", 0) };
    assert_eq!(reason(&duties.set_up(check).await.unwrap_err()), "NOT_FOUND");
    let by = v1::CreateCheckRequest {
        by_whom: "the nursery".to_owned(),
        ..duties.check(Duty::Assess, "FREQ=WEEKLY;BYDAY=MO", 0)
    };
    let kept = duties.set_up(by).await.unwrap();
    let due = duties.due("2026-03-02").await;
    let by: Vec<&str> =
        due.iter().filter(|item| item.check_id == kept.id).map(|item| item.by_whom.as_str()).collect();
    assert!(
        kept.by_whom == "the nursery" && !by.is_empty() && by.iter().all(|by| *by == "the nursery"),
        "{by:?}"
    );
    assert_eq!(names(&duties, Of::WholeSite(true)).await, ["Bramble", "Sedge", "Teasel", "Rush"]);
    duties.house.close().await;
}

/// Nothing is due for an animal before it came, or after it has gone.
#[tokio::test]
async fn only_while_the_site_holds_it() {
    let duties = Duties::new().await;
    duties.set_up(duties.check(Duty::Weigh, "FREQ=WEEKLY;BYDAY=MO", 0)).await.unwrap();
    duties.house.clock.set(super::utc("2026-03-20T09:00:00Z"));
    let rush = duties.house.arrival(&duties.park, "Rush", "2026-03-12".parse().unwrap());
    duties.park.registrar.client.animals().register_arrival(rush).await.unwrap();
    let death = v1::RecordDeathRequest {
        request_id: duties.house.request(),
        site: "QUI".to_owned(),
        animal: "Teasel".to_owned(),
        died_on: Some("2026-03-10".parse().unwrap()),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    duties.park.registrar.client.animals().record_death(death).await.unwrap();
    assert_eq!(
        duties.told("2026-03-09").await,
        ["Bramble overdue 2026-03-02 +7", "Sedge overdue 2026-03-02 +7", "Teasel overdue 2026-03-02 +7"]
    );
    assert_eq!(
        duties.told("2026-03-17").await,
        ["Bramble overdue 2026-03-02 +15", "Sedge overdue 2026-03-02 +15", "Rush overdue 2026-03-16 +1"]
    );
    duties.house.close().await;
}
