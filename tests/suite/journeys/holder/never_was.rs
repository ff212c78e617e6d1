//! Whose it is to say that an animal never was, and who its parents are: its holder's, and what the database refuses
//! where the code does not.

use super::{Moved, past_the_code};
use holt_proto::v1::{self, FactKind};
use holt_tests::{House, Park, Person, reason};
use tonic::Status;

impl Moved {
    async fn never_was(&self, person: &Person, site: &str) -> Result<v1::WithdrawAnimalResponse, Status> {
        let ask = v1::WithdrawAnimalRequest {
            request_id: self.house.request(),
            site: site.to_owned(),
            animal: self.otter.clone(),
            because: "entered twice".to_owned(),
            ..Default::default()
        };
        person.client.send(ask).await
    }

    async fn sired(&self, person: &Person, site: &str, sire: &str) -> Result<v1::SetParentsResponse, Status> {
        let ask = v1::SetParentsRequest {
            request_id: self.house.request(),
            site: site.to_owned(),
            animal: self.otter.clone(),
            sires: vec![v1::NewSire { animal: sire.to_owned(), share: 1.0 }],
            known_by: v1::ParentsKnownBy::Genetic.into(),
            ..Default::default()
        };
        person.client.send(ask).await
    }

    /// A male at a park.
    async fn male(&self, park: &Park, name: &str) -> String {
        let arrival = v1::RegisterArrivalRequest {
            sex: v1::Sex::Male.into(),
            ..self.house.arrival(park, name, "2025-03-01".parse().unwrap())
        };
        park.registrar.client.send(arrival).await.unwrap().animal.unwrap().id
    }
}

/// Says at the end of a write that the animal never was.
const NEVER_WAS: [&str; 2] = [
    "INSERT INTO mistakes
       SELECT '00000000-0000-7000-8000-0000000000ac', $2::text::uuid, $1, 'entered twice', now(), $1, $1",
    "SET CONSTRAINTS ALL IMMEDIATE",
];

#[tokio::test]
async fn nobody_makes_away_with_an_animal_that_was_at_two_sites() {
    let moved = Moved::new().await;
    let both = moved.of_both().await;
    for (person, site, why) in [
        (&moved.quill.registrar, "QUI", "HELD_ELSEWHERE"),
        (&both, "QUI", "HELD_ELSEWHERE"),
        (&moved.brack.registrar, "BRA", "OUT_OF_ORDER"),
        (&both, "BRA", "OUT_OF_ORDER"),
    ] {
        let refused = moved.never_was(person, site).await.unwrap_err();
        assert_eq!(reason(&refused), why, "{site}: {}", refused.message());
    }
    for (site, state) in [("QUI", "42501"), ("BRA", "23514")] {
        assert_eq!(past_the_code(&moved.house, site, &NEVER_WAS, &moved.otter).await, state, "{site}");
    }
    moved.house.close().await;
}

#[tokio::test]
async fn who_its_sire_is_the_holder_records_and_the_former_one_does_not() {
    let moved = Moved::new().await;
    let (alder, rowan) = (moved.male(&moved.brack, "Alder").await, moved.male(&moved.brack, "Rowan").await);
    let both = moved.of_both().await;
    for (person, name) in [(&moved.quill.registrar, "Aspen"), (&both, "Teasel")] {
        let own = moved.male(&moved.quill, name).await;
        let refused = moved.sired(person, "QUI", &own).await.unwrap_err();
        assert_eq!(reason(&refused), "HELD_ELSEWHERE", "{}", refused.message());
    }
    moved.sired(&moved.brack.registrar, "BRA", &alder).await.unwrap();
    moved.sired(&both, "BRA", &rowan).await.unwrap();
    let parents = moved.facts(&moved.brack.registrar, FactKind::Parent).await;
    let sires: Vec<_> = parents.iter().filter(|fact| fact.say.starts_with("sire")).collect();
    assert_eq!(sires.len(), 1, "{parents:?}");
    assert_eq!(parents.len(), 2, "the dam that the first site recorded stays: {parents:?}");
    moved.house.close().await;
}

/// Enters a fact of an animal once more, under another identifier.
fn again(table: &str) -> String {
    format!(
        "INSERT INTO public.{table} SELECT (jsonb_populate_record(t, jsonb_build_object(
            'id', '00000000-0000-7000-8000-0000000000ad', 'site_id', $1))).*
           FROM public.{table} t WHERE t.animal_id = $2::text::uuid AND t.superseded_at IS NULL LIMIT 1"
    )
}

#[tokio::test]
async fn the_database_takes_nothing_of_an_animal_that_never_was() {
    let house = House::new().await;
    let quill = house.quill().await;
    house.enclosure(&quill, "Weir").await;
    let arrival = v1::RegisterArrivalRequest {
        enclosure: "Weir".to_owned(),
        ..house.arrival(&quill, "Sedge", "2025-03-01".parse().unwrap())
    };
    let otter = quill.registrar.client.send(arrival).await.unwrap().animal.unwrap().id;
    let round = house.round("QUI", &[(&otter, house.records.store.now(), 8_000)]);
    quill.keeper.client.send(round).await.unwrap();
    let tables = ["births", "sexings", "holdings", "titles", "placements", "weights"];
    for table in tables {
        let known = past_the_code(&house, "QUI", &[&again(table)], &otter).await;
        // Done, or refused because there is one already.
        assert!(known == "done" || known.starts_with("23"), "{table}, while it is there: {known}");
    }
    let ask = v1::WithdrawAnimalRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        animal: otter.clone(),
        because: "entered twice".to_owned(),
        ..Default::default()
    };
    quill.registrar.client.send(ask).await.unwrap();
    for table in tables {
        assert_eq!(past_the_code(&house, "QUI", &[&again(table)], &otter).await, "42501", "{table}");
    }
    house.close().await;
}
