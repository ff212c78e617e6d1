//! A group as of any day: ages, sexes, kin and latest weights.

use super::{family, names};
use crate::journeys::litters::young;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::GroupRole::{Breeding, Juvenile, Member};
use holt_proto::v1::Kin::{Dam, FullSibling, Offspring, Sire};

#[tokio::test]
async fn the_members_of_a_day_are_told_with_all_that_was_known_of_them() {
    let books = family().await;
    let at = |text: &str| Some(timestamp(text.parse().unwrap()));
    let join = v1::JoinGroupRequest {
        joined_at: at("2025-06-01T10:00:00Z"),
        ..books.joining(&["Bramble", "Alder", "Sedge"], Breeding)
    };
    books.joined(join).await.unwrap();
    let leave = v1::LeaveGroupRequest { left_at: at("2026-01-15T10:00:00Z"), ..books.leaving(&["Sedge"]) };
    books.left_group(leave).await.unwrap();
    let litter =
        books.littered(v1::RecordLitterRequest { young: young("0.0.2"), ..books.litter() }).await.unwrap();
    for (name, sex) in [("Pip", v1::Sex::Female), ("Rush", v1::Sex::Male)] {
        let apart = v1::TellApartRequest {
            marks: vec![v1::NewMark {
                kind: v1::MarkKind::HouseName.into(),
                code: name.to_owned(),
                place_on_body: String::new(),
            }],
            ..books.apart(&litter, "2026-02-28", sex)
        };
        books.told_apart(apart).await.unwrap();
    }
    books.joined(books.joining(&["Pip", "Rush"], Juvenile)).await.unwrap();
    let round = books.house.round(
        "QUI",
        &[
            ("Bramble", "2025-12-20T08:00:00Z".parse().unwrap(), 7_900),
            ("Bramble", "2026-02-20T08:00:00Z".parse().unwrap(), 8_100),
        ],
    );
    books.park.keeper.client.weights().record_weights(round).await.unwrap();

    let then = books.roll(Some("2025-12-31")).await;
    assert_eq!(names(&then).len(), 3);
    let bramble = &then.members[0];
    assert_eq!(bramble.latest_mass.unwrap().milligrams, 7_900_000);
    // Born in May 2021: on the last day of it at the latest.
    assert_eq!((bramble.born_on.unwrap().to_string().as_str(), bramble.age_days), ("2021-05", Some(1675)));
    assert!(bramble.relatives.is_empty());

    let now = books.roll(None).await;
    let told: Vec<_> = now
        .members
        .iter()
        .map(|member| {
            let kin = member.relatives.iter();
            let kin: Vec<_> =
                kin.map(|one| (one.kin(), one.animal.as_ref().unwrap().house_name.as_str())).collect();
            (member.animal.as_ref().unwrap().house_name.as_str(), member.role(), member.sex(), kin)
        })
        .collect();
    assert_eq!(
        told,
        [
            ("Bramble", Breeding, v1::Sex::Female, vec![(Offspring, "Pip"), (Offspring, "Rush")]),
            ("Alder", Breeding, v1::Sex::Male, vec![(Offspring, "Pip"), (Offspring, "Rush")]),
            (
                "Pip",
                Juvenile,
                v1::Sex::Female,
                vec![(Dam, "Bramble"), (Sire, "Alder"), (FullSibling, "Rush")]
            ),
            ("Rush", Juvenile, v1::Sex::Male, vec![(Dam, "Bramble"), (Sire, "Alder"), (FullSibling, "Pip")]),
        ]
    );
    assert_eq!(now.members[0].latest_mass.unwrap().milligrams, 8_100_000);
    assert_eq!(now.members[2].age_days, Some(14));
    assert_eq!(now.group.unwrap().members.unwrap().to_string(), "2.2.0");
    books.house.close().await;
}

#[tokio::test]
async fn a_list_has_the_groups_of_a_day_by_name() {
    let books = family().await;
    books.group("Bachelors").await.unwrap();
    books.joined(books.joining(&["Alder"], Member)).await.unwrap();
    let listed = async |also_empty: bool, as_of: Option<&str>| -> Vec<String> {
        let list = v1::ListGroupsRequest {
            site: "QUI".to_owned(),
            as_of: as_of.map(|day| day.parse().unwrap()),
            also_empty,
            page: None,
            as_known_at: None,
        };
        let groups = books.park.keeper.client.groups().list_groups(list).await.unwrap().into_inner().groups;
        groups.into_iter().map(|group| format!("{} {}", group.name, group.members.unwrap())).collect()
    };
    assert_eq!(listed(false, None).await, ["Weir family 1.0.0"]);
    assert_eq!(listed(true, None).await, ["Bachelors 0.0.0", "Weir family 1.0.0"]);
    assert_eq!(listed(false, Some("2026-03-01")).await, [""; 0]);
    books.house.close().await;
}
