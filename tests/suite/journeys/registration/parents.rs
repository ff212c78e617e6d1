//! Parents that fit, and those that cannot be.

use super::{Books, fields};
use holt_proto::v1;
use holt_tests::reason;
use tonic::{Code, Status};

/// The family: a dam, a sire, and others who cannot be either.
async fn family() -> Books {
    let books = Books::new().await;
    books.house.taxon(&books.park, "Lutra lutra", "Eurasian otter").await;
    let otter = |name: &str, sex: v1::Sex, born: &str| v1::RegisterArrivalRequest {
        sex: sex.into(),
        born_on: (!born.is_empty()).then(|| born.parse().unwrap()),
        ..books.arrival(name, "2025-03-01")
    };
    let stranger = v1::RegisterArrivalRequest {
        taxon: "Lutra lutra".to_owned(),
        ..otter("Stranger", v1::Sex::Female, "2020")
    };
    for arrival in [
        otter("Bramble", v1::Sex::Female, "2021-05"),
        otter("Alder", v1::Sex::Male, "2020"),
        otter("Unsexed", v1::Sex::Unknown, ""),
        otter("Late", v1::Sex::Female, "2021-05"),
        stranger,
    ] {
        books.arrived(arrival).await.unwrap();
    }
    books.died(books.death("Late", "2026-02-20")).await.unwrap();
    books
}

async fn born(books: &Books, dam: &str, sire: &str) -> Result<v1::Animal, Status> {
    books.born(v1::RegisterBirthRequest { dam: dam.to_owned(), sire: sire.to_owned(), ..books.birth() }).await
}

#[tokio::test]
async fn who_fits_is_on_record_as_a_parent() {
    let books = family().await;
    let pup = born(&books, "Bramble", "Alder").await.unwrap();
    assert_eq!(pup.dam_id, books.get("Bramble").await.unwrap().id);
    assert_eq!(pup.sire_id, books.get("Alder").await.unwrap().id);
    born(&books, "Unsexed", "").await.unwrap();
    born(&books, "", "Unsexed").await.unwrap();
    books.house.close().await;
}

#[tokio::test]
async fn who_does_not_fit_is_refused_with_what_does_not() {
    let books = family().await;
    for (dam, sire, field, why) in [
        ("Alder", "", "dam", "male"),
        ("", "Bramble", "sire", "female"),
        ("Stranger", "", "dam", "Lutra lutra"),
        ("QUI-25-0004", "", "dam", "died on 2026-02-20"),
    ] {
        let refused = born(&books, dam, sire).await.unwrap_err();
        assert_eq!(
            (refused.code(), reason(&refused).as_str()),
            (Code::FailedPrecondition, "PARENT_DOES_NOT_FIT"),
            "{dam} {sire}"
        );
        assert_eq!(fields(&refused), [field]);
        assert!(refused.message().contains(why), "{}", refused.message());
    }
    books.house.close().await;
}

/// What is known of a birth only to the year or month is refused only where it cannot be.
#[tokio::test]
async fn a_parent_is_older_than_its_young_and_a_dam_lives_to_bear_it() {
    let books = family().await;
    let offspring = async |dam: &str, born: &str| {
        let arrival = v1::RegisterArrivalRequest {
            dam: dam.to_owned(),
            born_on: Some(born.parse().unwrap()),
            ..books.arrival(&format!("of {dam} in {born}"), "2026-03-01")
        };
        books.arrived(arrival).await.map(|_| ()).map_err(|refused| reason(&refused))
    };
    let unfit = Err("PARENT_DOES_NOT_FIT".to_owned());
    // Bramble was born in May 2021.
    assert_eq!(offspring("Bramble", "2021-04").await, unfit);
    assert_eq!(offspring("Bramble", "2020").await, unfit);
    assert_eq!(offspring("Bramble", "2021-05-01").await, unfit);
    assert_eq!(offspring("Bramble", "2021-06").await, Ok(()));
    assert_eq!(offspring("Bramble", "2021").await, Ok(()), "later in that year it can be");
    // Late died on 20 February 2026.
    assert_eq!(offspring("QUI-25-0004", "2026-02-20").await, Ok(()));
    assert_eq!(offspring("QUI-25-0004", "2026-02-21").await, unfit);
    assert_eq!(offspring("QUI-25-0004", "2026-02").await, Ok(()), "earlier in that month it can be");
    assert_eq!(offspring("QUI-25-0004", "2026").await, Ok(()), "earlier in that year it can be");
    books.house.close().await;
}

/// A sire need not see his young.
#[tokio::test]
async fn a_sire_may_have_died_before_the_birth() {
    let books = family().await;
    let sire = books.get("Alder").await.unwrap();
    books.died(books.death("Alder", "2026-01-10")).await.unwrap();
    let pup = born(&books, "Bramble", &sire.accession).await.unwrap();
    assert_eq!(pup.sire_id, sire.id);
    books.house.close().await;
}
