//! A sex that is learnt later.

use super::{Books, fields};
use holt_proto::v1::{self, Sex};
use holt_tests::reason;
use tonic::Status;

async fn record(books: &Books, animal: &str, sex: Sex, on: &str) -> Result<v1::Animal, Status> {
    let request = v1::RecordSexRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: animal.to_owned(),
        sex: sex.into(),
        determined_on: (!on.is_empty()).then(|| on.parse().unwrap()),
    };
    Ok(books.park.registrar.client.animals().record_sex(request).await?.into_inner().animal.unwrap())
}

#[tokio::test]
async fn it_counts_from_the_day_it_was_determined() {
    let books = Books::new().await;
    let birth = v1::RegisterBirthRequest { born_on: Some("2026-01-10".parse().unwrap()), ..books.birth() };
    let pup = books.born(birth).await.unwrap();
    let sexed = record(&books, &pup.id, Sex::Female, "2026-02-20").await.unwrap();
    assert_eq!((sexed.sex(), sexed.version), (Sex::Female, pup.version + 1));
    let on = async |day: &str| {
        let list = v1::ListAnimalsRequest {
            site: "QUI".to_owned(),
            as_of: Some(day.parse().unwrap()),
            ..Default::default()
        };
        let list = books.park.auditor.client.animals().list_animals(list).await.unwrap().into_inner();
        list.animals[0].sex()
    };
    assert_eq!([on("2026-02-19").await, on("2026-02-20").await], [Sex::Unknown, Sex::Female]);
    // The same day again: the later word counts, and the earlier one stays on record.
    assert_eq!(record(&books, &pup.id, Sex::Male, "2026-02-20").await.unwrap().sex(), Sex::Male);
    let mut owner = books.house.owner().await;
    let kept: i64 = sqlx::query_scalar("SELECT count(*) FROM sexings").fetch_one(&mut owner).await.unwrap();
    assert_eq!(kept, 3);
    let refused = record(&books, &pup.id, Sex::Male, "2026-03-03").await.unwrap_err();
    assert_eq!(
        (reason(&refused).as_str(), fields(&refused)),
        ("IN_THE_FUTURE", vec!["determined_on".to_owned()])
    );
    books.house.close().await;
}
