//! Births.

use super::{Books, fields};
use holt_proto::v1;
use holt_tests::reason;
use prost::Message;
use tonic::Code;

#[tokio::test]
async fn a_birth_puts_an_animal_on_the_books() {
    let books = Books::new().await;
    books.house.enclosure(&books.park, "Weir").await;
    let dam = books.house.otter(&books.park, "Bramble").await;
    let birth = v1::RegisterBirthRequest {
        dam: "Bramble".to_owned(),
        marks: vec![v1::NewMark {
            kind: v1::MarkKind::HouseName.into(),
            code: "Rush".to_owned(),
            place_on_body: String::new(),
        }],
        enclosure: "weir".to_owned(),
        ..books.birth()
    };
    let pup = books.born(birth.clone()).await.unwrap();
    assert_eq!((pup.accession.as_str(), pup.house_name.as_str()), ("QUI-26-0001", "Rush"));
    assert_eq!((pup.dam_id.as_str(), pup.sire_id.as_str()), (dam.id.as_str(), ""));
    assert_eq!((pup.holder.as_str(), pup.owner.as_str(), pup.enclosure.as_str()), ("QUI", "QUI", "Weir"));
    assert_eq!((pup.status(), pup.sex(), pup.version), (v1::AnimalStatus::Held, v1::Sex::Unknown, 1));
    assert_eq!((pup.born_on, pup.held_since, pup.born_estimated), (birth.born_on, birth.born_on, false));
    assert_eq!(books.get("Rush").await.unwrap(), pup);
    assert_eq!(books.held(None).await, ["QUI-25-0001", "QUI-26-0001"]);
    assert_eq!(books.held(Some("2026-03-01")).await, ["QUI-25-0001"]);
    // Sent again, it is the same animal.
    assert_eq!(books.born(birth).await.unwrap().encode_to_vec(), pup.encode_to_vec());
    books.house.close().await;
}

#[tokio::test]
async fn what_cannot_be_is_refused_and_every_field_is_named_at_once() {
    let books = Books::new().await;
    let malformed = v1::RegisterBirthRequest {
        request_id: "not a uuid".to_owned(),
        site: "quill".to_owned(),
        taxon: "otter".to_owned(),
        born_on: Some("2026-03".parse().unwrap()),
        sex: 9,
        ..Default::default()
    };
    let refused = books.born(malformed).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::InvalidArgument, "MALFORMED"));
    assert_eq!(fields(&refused), ["request_id", "site", "born_on", "taxon", "sex"]);
    let tomorrow = v1::RegisterBirthRequest { born_on: Some("2026-03-03".parse().unwrap()), ..books.birth() };
    let refused = books.born(tomorrow).await.unwrap_err();
    assert_eq!((reason(&refused).as_str(), fields(&refused)), ("IN_THE_FUTURE", vec!["born_on".to_owned()]));
    for birth in [
        v1::RegisterBirthRequest { taxon: "Lutra lutra".to_owned(), ..books.birth() },
        v1::RegisterBirthRequest { enclosure: "Weir".to_owned(), ..books.birth() },
        v1::RegisterBirthRequest { dam: "Bramble".to_owned(), ..books.birth() },
    ] {
        assert_eq!(reason(&books.born(birth).await.unwrap_err()), "NOT_FOUND");
    }
    assert_eq!(books.held(None).await, [""; 0], "nothing is half on the books");
    books.house.close().await;
}

#[tokio::test]
async fn tried_first_it_is_not_on_the_books() {
    let books = Books::new().await;
    let birth = v1::RegisterBirthRequest { validate_only: true, ..books.birth() };
    let would_be = books.born(birth.clone()).await.unwrap();
    assert_eq!(would_be.accession, "QUI-26-0001");
    assert_eq!(books.held(None).await, [""; 0]);
    let real = books.born(v1::RegisterBirthRequest { validate_only: false, ..birth }).await.unwrap();
    assert_eq!(real.accession, "QUI-26-0001", "no number was spent on the try");
    books.house.close().await;
}
