//! Transponders: ISO 11784 codes, and one transponder on one animal at a time.
//!
//! 38 bits hold the national identification, so the largest is 274 877 906 943 (ISO 11784; the layout of
//! the code is told in the table `iso11784.csv` of the audit's external checks where it is used).

use super::{Books, fields};
use holt_proto::v1::{self, MarkKind};
use holt_tests::{Park, Person, reason};
use tonic::{Code, Status};
use tonic_types::StatusExt;

const CODE: &str = "276098106123456";

async fn chip(books: &Books, who: &Person, site: &str, animal: &str, code: &str) -> Result<v1::Mark, Status> {
    let mark =
        v1::ApplyMarkRequest { site: site.to_owned(), ..books.mark(animal, MarkKind::Transponder, code) };
    Ok(who.client.marks().apply_mark(mark).await?.into_inner().mark.unwrap())
}

#[tokio::test]
async fn codes_are_read_as_people_write_them_and_kept_as_they_are_sent() {
    let books = Books::new().await;
    let who = &books.park.registrar;
    for (n, (written, kept, issuer)) in [
        ("276 09 8106 123456", CODE, "Germany (276)"),
        ("276274877906943", "276274877906943", "Germany (276)"),
        ("036000000000001", "036000000000001", "Australia (036)"),
        ("985-1130-0012-3456", "985113000123456", "manufacturer 985"),
        ("999000000000001", "999000000000001", "test code"),
        ("00-0674-a3c1", "000674A3C1", "before ISO 11784"),
    ]
    .into_iter()
    .enumerate()
    {
        let otter = books.house.otter(&books.park, &format!("Otter {n}")).await;
        let mark = chip(&books, who, "QUI", &otter.id, written).await.unwrap();
        assert_eq!((mark.code.as_str(), mark.issuer.as_str()), (kept, issuer));
        // Scanned with or without what people write between the digits, it means the animal.
        for scanned in [written, kept] {
            assert_eq!(books.get(scanned).await.unwrap().id, otter.id, "{scanned}");
        }
    }
    books.house.close().await;
}

#[tokio::test]
async fn what_no_transponder_can_send_is_refused() {
    let books = Books::new().await;
    books.house.otter(&books.park, "Bramble").await;
    for code in
        ["276274877906944", "000000000000001", "27609810612345", "2760981061234567", "27609810612345X"]
    {
        let refused = chip(&books, &books.park.registrar, "QUI", "Bramble", code).await.unwrap_err();
        assert_eq!(
            (refused.code(), reason(&refused).as_str()),
            (Code::InvalidArgument, "TRANSPONDER_MALFORMED"),
            "{code}"
        );
        assert_eq!(fields(&refused), ["mark.code"]);
        let told = refused.message();
        assert_eq!(told.matches("again").count() + told.matches("enter").count(), 0, "{told}");
        let mend = &refused.get_details_error_info().unwrap().metadata["mend"];
        assert!(mend.contains("scan") != mend.contains("enter"), "{mend}");
    }
    // Where more is wrong, all of it is told.
    let arrival = v1::RegisterArrivalRequest {
        site: "quill".to_owned(),
        marks: vec![v1::NewMark {
            kind: MarkKind::Transponder.into(),
            code: "276274877906944".to_owned(),
            place_on_body: String::new(),
        }],
        ..books.arrival("Rush", "2026-03-01")
    };
    let refused = books.arrived(arrival).await.unwrap_err();
    assert_eq!(reason(&refused), "MALFORMED");
    assert_eq!(fields(&refused), ["site", "marks[0].code"]);
    books.house.close().await;
}

#[tokio::test]
async fn a_transponder_on_another_animal_is_refused_and_says_which() {
    let books = Books::new().await;
    books.house.otter(&books.park, "Bramble").await;
    books.house.otter(&books.park, "Sedge").await;
    let mark = chip(&books, &books.park.registrar, "QUI", "Bramble", CODE).await.unwrap();
    let refused = chip(&books, &books.park.registrar, "QUI", "Sedge", CODE).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::FailedPrecondition, "TRANSPONDER_IN_USE"));
    assert_eq!(refused.get_details_error_info().unwrap().metadata["animal"], "Bramble (QUI-25-0001)");
    // Once it has been taken off the one, it can be put on the other.
    let end = v1::EndMarkRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        mark_id: mark.id,
        ended_at: None,
        why: "the scanner was held to the wrong otter".to_owned(),
    };
    books.park.registrar.client.marks().end_mark(end).await.unwrap();
    books.house.clock.advance(chrono::TimeDelta::seconds(1));
    chip(&books, &books.park.registrar, "QUI", "Sedge", CODE).await.unwrap();
    books.house.close().await;
}

#[tokio::test]
async fn of_an_animal_of_another_site_nothing_is_told() {
    let books = Books::new().await;
    let brack: Park = books.house.park("BRA", "America/Halifax").await;
    let alder = books.house.otter(&brack, "Alder").await;
    chip(&books, &brack.registrar, "BRA", "Alder", CODE).await.unwrap();
    books.house.otter(&books.park, "Bramble").await;
    let refused = chip(&books, &books.park.registrar, "QUI", "Bramble", CODE).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::FailedPrecondition, "TRANSPONDER_IN_USE"));
    let told = format!("{} {:?}", refused.message(), refused.get_error_details());
    for secret in ["Alder", "BRA", alder.id.as_str(), alder.accession.as_str()] {
        assert!(!told.contains(secret), "{told}");
    }
    assert!(!refused.get_details_error_info().unwrap().metadata.contains_key("animal"));
    books.house.close().await;
}

#[tokio::test]
async fn on_the_same_animal_it_is_there_already() {
    let books = Books::new().await;
    books.house.otter(&books.park, "Bramble").await;
    chip(&books, &books.park.registrar, "QUI", "Bramble", CODE).await.unwrap();
    let refused = chip(&books, &books.park.registrar, "QUI", "Bramble", CODE).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::AlreadyExists, "EXISTS"));
    books.house.close().await;
}

#[tokio::test]
async fn of_two_who_use_it_at_once_one_is_refused() {
    let books = Books::new().await;
    books.house.otter(&books.park, "Bramble").await;
    books.house.otter(&books.park, "Sedge").await;
    let who = &books.park.registrar;
    let (one, other) =
        tokio::join!(chip(&books, who, "QUI", "Bramble", CODE), chip(&books, who, "QUI", "Sedge", CODE));
    let refused: Vec<String> =
        [one, other].into_iter().filter_map(Result::err).map(|refused| reason(&refused)).collect();
    assert_eq!(refused, ["TRANSPONDER_IN_USE"]);
    books.house.close().await;
}
