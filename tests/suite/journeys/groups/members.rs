//! Who belongs to which group, and in which role.

use super::{family, names};
use crate::journeys::registration::fields;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::GroupRole::{Breeding, Helper, Member};
use holt_server::clock::Clock;
use holt_tests::{House, reason};
use tonic::Code;

#[tokio::test]
async fn animals_join_change_their_role_and_leave() {
    let books = family().await;
    let joined = books.joined(books.joining(&["Bramble", "Alder"], Breeding)).await.unwrap();
    assert_eq!((joined.joined, joined.group.unwrap().members.unwrap().to_string()), (2, "1.1.0".to_owned()));
    books.joined(books.joining(&["Sedge"], Helper)).await.unwrap();
    let again = books.joined(books.joining(&["Bramble", "Sedge"], Breeding)).await.unwrap();
    assert_eq!(again.joined, 1, "Bramble breeds already");
    let roll = books.roll(None).await;
    assert_eq!(
        names(&roll),
        [("Bramble", Breeding), ("Alder", Breeding), ("Sedge", Breeding)].map(|(n, r)| (n.to_owned(), r))
    );
    books.left_group(books.leaving(&["Sedge"])).await.unwrap();
    assert_eq!(names(&books.roll(None).await).len(), 2);
    let refused = books.left_group(books.leaving(&["Bramble", "Sedge"])).await.unwrap_err();
    assert_eq!((reason(&refused).as_str(), fields(&refused)), ("NOT_FOUND", vec!["animals[1]".to_owned()]));
    assert_eq!(names(&books.roll(None).await).len(), 2, "all or none");
    books.house.close().await;
}

#[tokio::test]
async fn what_cannot_be_is_refused() {
    let books = family().await;
    let exists = books.group("WEIR family").await.unwrap_err();
    assert_eq!((exists.code(), reason(&exists).as_str()), (Code::AlreadyExists, "EXISTS"));
    books.group("Bachelors").await.unwrap();
    books.joined(books.joining(&["Alder"], Breeding)).await.unwrap();
    let join = |animal: &str| books.joining(&[animal], Member);
    let elsewhere = v1::JoinGroupRequest { group: "Bachelors".to_owned(), ..join("Alder") };
    let unknown = v1::JoinGroupRequest { group: "Nobody".to_owned(), ..join("Sedge") };
    let early = v1::JoinGroupRequest {
        joined_at: Some(timestamp("2025-02-01T00:00:00Z".parse().unwrap())),
        ..join("Sedge")
    };
    let late = v1::JoinGroupRequest {
        joined_at: Some(timestamp(books.house.clock.now() + chrono::TimeDelta::hours(1))),
        ..join("Sedge")
    };
    let nothing = v1::JoinGroupRequest { role: 0, animals: Vec::new(), ..join("Sedge") };
    for (join, why) in [
        (elsewhere, "OUT_OF_ORDER"),
        (unknown, "NOT_FOUND"),
        (early, "OUT_OF_ORDER"),
        (late, "IN_THE_FUTURE"),
        (join("Brmble"), "NOT_FOUND"),
        (nothing, "MALFORMED"),
    ] {
        assert_eq!(reason(&books.joined(join).await.unwrap_err()), why);
    }
    books.house.close().await;
}

#[tokio::test]
async fn of_two_groups_that_take_an_animal_at_once_one_has_it() {
    let house = House::with(|config| config.store.max_connections = 12).await;
    let park = house.quill().await;
    let books = crate::journeys::registration::Books { house, park };
    books.arrived(books.arrival("Bramble", "2025-03-01")).await.unwrap();
    for name in ["Weir family", "Bachelors"] {
        books.group(name).await.unwrap();
    }
    let joins = (0..8).map(|n| {
        let group = if n % 2 == 0 { "Weir family" } else { "Bachelors" };
        books.joined(v1::JoinGroupRequest { group: group.to_owned(), ..books.joining(&["Bramble"], Member) })
    });
    let done = futures::future::join_all(joins).await;
    let took = done.iter().filter(|done| done.as_ref().is_ok_and(|joined| joined.joined == 1)).count();
    assert_eq!(took, 1);
    let refused = done.iter().filter_map(|done| done.as_ref().err()).map(reason);
    assert!(refused.clone().count() == 4 && refused.clone().all(|why| why == "OUT_OF_ORDER"));
    books.house.close().await;
}

/// Were the code to forget it, the database would not.
#[tokio::test]
async fn the_database_lets_no_animal_into_two_groups() {
    let books = family().await;
    books.joined(books.joining(&["Bramble"], Member)).await.unwrap();
    let other = books.group("Bachelors").await.unwrap();
    let mut owner = books.house.owner().await;
    let insert = "INSERT INTO memberships
                    SELECT gen_random_uuid(), m.animal_id, m.site_id, $1::text::uuid, 'member', m.began_at, NULL,
                           '', m.recorded_at, m.recorded_by, m.request_id
                      FROM memberships m";
    let refused = sqlx::query(insert).bind(&other.id).execute(&mut owner).await.unwrap_err();
    assert_eq!(refused.as_database_error().unwrap().constraint(), Some("memberships_one_group"));
    books.house.close().await;
}
