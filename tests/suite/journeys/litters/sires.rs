//! Parents of a litter: those that fit, those that do not, and those that somebody vouches for.

use super::pair;
use crate::journeys::registration::{Books, fields};
use holt_proto::v1;
use holt_tests::reason;
use tonic::{Code, Status};
use tonic_types::StatusExt;

async fn of(books: &Books, dam: &str, sires: &[(&str, f64)], because: &str) -> Result<v1::Litter, Status> {
    let sires = sires.iter().map(|&(animal, share)| v1::NewSire { animal: animal.to_owned(), share });
    books
        .littered(v1::RecordLitterRequest {
            dam: dam.to_owned(),
            sires: sires.collect(),
            parents_because: because.to_owned(),
            ..books.litter()
        })
        .await
}

fn shares(litter: &v1::Litter) -> Vec<(String, f64)> {
    let each = litter.sires.iter();
    each.map(|sire| (sire.animal.as_ref().unwrap().house_name.clone(), sire.share)).collect()
}

#[tokio::test]
async fn a_sire_is_one_or_several_with_shares_or_nobody_knows() {
    let books = pair().await;
    let male = |name: &str| v1::RegisterArrivalRequest {
        sex: v1::Sex::Male.into(),
        ..books.arrival(name, "2025-03-01")
    };
    books.arrived(male("Rush")).await.unwrap();
    let one = of(&books, "Bramble", &[("Alder", 0.0)], "").await.unwrap();
    assert_eq!(shares(&one), [("Alder".to_owned(), 1.0)]);
    assert_eq!(one.dam.as_ref().unwrap().house_name, "Bramble");
    let either = of(&books, "Bramble", &[("Alder", 0.0), ("Rush", 0.0)], "").await.unwrap();
    assert_eq!(shares(&either), [("Alder".to_owned(), 0.5), ("Rush".to_owned(), 0.5)]);
    let rather = of(&books, "Bramble", &[("Alder", 0.2), ("Rush", 0.7)], "").await.unwrap();
    assert_eq!(shares(&rather), [("Rush".to_owned(), 0.7), ("Alder".to_owned(), 0.2)]);
    let nobody = of(&books, "Bramble", &[], "").await.unwrap();
    assert_eq!(shares(&nobody), []);
    for wrong in
        [[("Alder", 0.6), ("Rush", 0.6)], [("Alder", 0.6), ("Rush", 0.0)], [("Alder", -1.0), ("Rush", 1.0)]]
    {
        let refused = of(&books, "Bramble", &wrong, "").await.unwrap_err();
        assert_eq!(refused.code(), Code::InvalidArgument, "{wrong:?}");
    }
    books.house.close().await;
}

/// Otters that breed from two years on, and carry for a year at most: ours, for the test.
async fn strict() -> Books {
    let books = Books::new().await;
    let taxon = v1::CreateTaxonRequest {
        request_id: books.house.request(),
        scientific_name: "Lutra lutra".to_owned(),
        common_name: "Eurasian otter".to_owned(),
        breeds_from_days: 730,
        carries_up_to_days: 365,
        ..Default::default()
    };
    books.park.registrar.client.animals().create_taxon(taxon).await.unwrap();
    for (name, sex, born, came) in [
        ("Bramble", v1::Sex::Female, "2021-05", "2025-03-01"),
        ("Cub", v1::Sex::Female, "2024-06-01", "2025-03-01"),
        ("Yearling", v1::Sex::Female, "2024", "2025-03-01"),
        ("Alder", v1::Sex::Male, "2020", "2024-03-01"),
        ("Late", v1::Sex::Female, "2020", "2024-03-01"),
        ("Gone", v1::Sex::Female, "2020", "2024-03-01"),
        ("Comer", v1::Sex::Female, "2020", "2026-02-20"),
    ] {
        let arrival = v1::RegisterArrivalRequest {
            taxon: "Lutra lutra".to_owned(),
            sex: sex.into(),
            born_on: Some(born.parse().unwrap()),
            ..books.arrival(name, came)
        };
        books.arrived(arrival).await.unwrap();
    }
    books.died(books.death("Alder", "2025-02-10")).await.unwrap();
    books.died(books.death("Late", "2026-02-15")).await.unwrap();
    books.departed(books.departure("Gone", "2026-02-15")).await.unwrap();
    books
}

#[tokio::test]
async fn a_parent_that_does_not_fit_is_refused_unless_somebody_says_why_it_is_right() {
    let books = strict().await;
    // The litter was born on 16 February 2026.
    for (dam, sires, field, why) in [
        ("Cub", vec![], "dam", "625 days old at most"),
        ("QUI-24-0002", vec![], "dam", "died on 2026-02-15"),
        ("QUI-24-0003", vec![], "dam", "QUI did not hold it on 2026-02-16"),
        ("Comer", vec![], "dam", "QUI did not hold it on 2026-02-16"),
        ("Bramble", vec![("QUI-24-0001", 0.0)], "sires[0].animal", "died on 2025-02-10, more than 365 days"),
    ] {
        let refused = of(&books, dam, &sires, "").await.unwrap_err();
        assert_eq!(reason(&refused), "PARENT_DOES_NOT_FIT", "{dam}");
        assert_eq!(fields(&refused), [field]);
        assert!(refused.message().contains(why), "{}", refused.message());
        let facts = refused.get_details_error_info().unwrap().metadata;
        assert_eq!(facts["overruled_by"], "parents_because");
        let vouched = of(&books, dam, &sires, "seen with them; the paper is in folder 7").await.unwrap();
        assert_eq!(vouched.parents_because, "seen with them; the paper is in folder 7");
    }
    // Born some day in 2024 it may be old enough: in January 2024 it is 776 days.
    let unsure = of(&books, "Yearling", &[], "").await.unwrap();
    assert_eq!(unsure.parents_because, "", "and nothing needed to be overruled");
    let fits = of(&books, "Bramble", &[], "for nothing").await.unwrap();
    assert_eq!(fits.parents_because, "", "a reason that was not needed is not kept");
    books.house.close().await;
}

#[tokio::test]
async fn nothing_makes_a_male_a_dam_or_another_species_a_parent() {
    let books = strict().await;
    books.arrived(books.arrival("Stranger", "2025-03-01")).await.unwrap();
    for (dam, sires) in
        [("QUI-24-0001", vec![]), ("Bramble", vec![("Comer", 0.0)]), ("Stranger", vec![("QUI-24-0001", 0.0)])]
    {
        let refused = of(&books, dam, &sires, "believe me").await.unwrap_err();
        assert_eq!(reason(&refused), "PARENT_DOES_NOT_FIT", "{dam}");
        assert!(!refused.get_details_error_info().unwrap().metadata.contains_key("overruled_by"));
    }
    books.house.close().await;
}

/// The same rule holds for a birth and for an arrival.
#[tokio::test]
async fn a_single_birth_and_an_arrival_are_vouched_for_likewise() {
    let books = strict().await;
    let birth = |dam: &str, because: &str| v1::RegisterBirthRequest {
        taxon: "Lutra lutra".to_owned(),
        dam: dam.to_owned(),
        parents_because: because.to_owned(),
        ..books.birth()
    };
    let refused = books.born(birth("Cub", "")).await.unwrap_err();
    assert_eq!(reason(&refused), "PARENT_DOES_NOT_FIT");
    books.born(birth("Cub", "seen suckling")).await.unwrap();
    let arrival = |because: &str| v1::RegisterArrivalRequest {
        taxon: "Lutra lutra".to_owned(),
        born_on: Some("2026-02-28".parse().unwrap()),
        dam: "QUI-24-0002".to_owned(),
        parents_because: because.to_owned(),
        ..books.arrival("Pip", "2026-03-01")
    };
    assert_eq!(reason(&books.arrived(arrival("")).await.unwrap_err()), "PARENT_DOES_NOT_FIT");
    books.arrived(arrival("the day of death is a month")).await.unwrap();
    let mut owner = books.house.owner().await;
    let kept: Vec<String> =
        sqlx::query_scalar("SELECT because FROM parents ORDER BY id").fetch_all(&mut owner).await.unwrap();
    assert_eq!(kept, ["seen suckling", "the day of death is a month"]);
    books.house.close().await;
}
