//! Species whose names change: each name leads to the one species, and what was known stays known.

use super::{Books, fields};
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_tests::house::start_of_time;
use holt_tests::reason;
use tonic::{Code, Status};

fn synonym(name: &str) -> v1::Synonym {
    v1::Synonym { name: name.to_owned(), ..Default::default() }
}

impl Books {
    /// A change of the otters' species, to be sent or changed first.
    fn change(&self) -> v1::UpdateTaxonRequest {
        v1::UpdateTaxonRequest {
            request_id: self.house.request(),
            taxon: "Lontra canadensis".to_owned(),
            because: "genus revised".to_owned(),
            ..Default::default()
        }
    }

    async fn changed(&self, change: v1::UpdateTaxonRequest) -> Result<v1::Taxon, Status> {
        let changed = self.house.steward().await.client.animals().update_taxon(change).await?;
        Ok(changed.into_inner().taxon.unwrap())
    }
}

#[tokio::test]
async fn after_a_change_of_name_each_name_leads_to_the_species_and_says_so() {
    let books = Books::new().await;
    books.house.otter(&books.park, "Bramble").await;
    books.house.clock.advance(TimeDelta::days(1));
    let renamed = v1::UpdateTaxonRequest {
        new_scientific_name: "Lataxina canadensis".to_owned(),
        renamed_year: 1843,
        renamed_source: "Gray 1843".to_owned(),
        ..books.change()
    };
    let told = books.changed(renamed).await.unwrap();
    assert_eq!(told.scientific_name, "Lataxina canadensis");
    let [old] = told.synonyms.as_slice() else { panic!("{told:?}") };
    assert_eq!(
        (old.name.as_str(), old.until_year, old.source.as_str()),
        ("Lontra canadensis", 1843, "Gray 1843")
    );
    // A write by the old name …
    let sedge = books.arrived(books.arrival("Sedge", "2025-03-01")).await.unwrap().taxon.unwrap();
    assert_eq!(
        (sedge.scientific_name.as_str(), sedge.asked_as.as_str()),
        ("Lataxina canadensis", "Lontra canadensis")
    );
    let teasel = v1::RegisterArrivalRequest {
        taxon: "Lataxina canadensis".to_owned(),
        ..books.arrival("Teasel", "2025-03-01")
    };
    let teasel = books.arrived(teasel).await.unwrap().taxon.unwrap();
    assert_eq!((&teasel.id, teasel.asked_as.as_str()), (&sedge.id, ""));
    // … and reads by either name find the same animals.
    for (name, asked_as) in [("Lontra canadensis", "Lontra canadensis"), ("Lataxina canadensis", "")] {
        let list =
            v1::ListAnimalsRequest { site: "QUI".to_owned(), taxon: name.to_owned(), ..Default::default() };
        let list = books.park.keeper.client.animals().list_animals(list).await.unwrap().into_inner();
        assert_eq!(list.animals.len(), 3, "{name}");
        for animal in list.animals {
            let taxon = animal.taxon.unwrap();
            assert_eq!(
                (taxon.scientific_name.as_str(), taxon.asked_as.as_str()),
                ("Lataxina canadensis", asked_as)
            );
        }
    }
    // As known before, it is called what it was called then.
    let get = v1::GetAnimalRequest {
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        as_known_at: Some(timestamp(start_of_time() + TimeDelta::hours(1))),
        ..Default::default()
    };
    let then = books.park.keeper.client.animals().get_animal(get).await.unwrap().into_inner();
    assert_eq!(then.animal.unwrap().taxon.unwrap().scientific_name, "Lontra canadensis");
    // A name that is taken back into use is a synonym no more.
    let back = v1::UpdateTaxonRequest {
        taxon: "Lataxina canadensis".to_owned(),
        new_scientific_name: "Lontra canadensis".to_owned(),
        ..books.change()
    };
    let told = books.changed(back).await.unwrap();
    assert_eq!(told.scientific_name, "Lontra canadensis");
    assert_eq!(
        told.synonyms.iter().map(|one| one.name.as_str()).collect::<Vec<_>>(),
        ["Lataxina canadensis"]
    );
    books.house.close().await;
}

#[tokio::test]
async fn one_name_never_means_two_species() {
    let books = Books::new().await;
    let create = |name: &str, synonyms: Vec<v1::Synonym>| v1::CreateTaxonRequest {
        request_id: books.house.request(),
        scientific_name: name.to_owned(),
        common_name: "Another otter".to_owned(),
        synonyms,
        ..Default::default()
    };
    let creates = async |asked| books.park.registrar.client.animals().create_taxon(asked).await;
    creates(create("Aonyx cinereus", vec![synonym("Amblonyx cinereus")])).await.unwrap();
    for (asked, field) in [
        (create("Amblonyx cinereus", Vec::new()), "scientific_name"),
        (create("Aonyx cinereus", Vec::new()), "scientific_name"),
        (create("Lutra lutra", vec![synonym("Lontra canadensis")]), "synonyms[0].name"),
        (create("Lutra lutra", vec![synonym("Amblonyx cinereus")]), "synonyms[0].name"),
    ] {
        let refused = creates(asked).await.unwrap_err();
        assert_eq!((refused.code(), reason(&refused).as_str()), (Code::AlreadyExists, "EXISTS"));
        assert_eq!(fields(&refused), [field], "{}", refused.message());
    }
    for (change, field) in [
        (
            v1::UpdateTaxonRequest { new_scientific_name: "Aonyx cinereus".to_owned(), ..books.change() },
            "new_scientific_name",
        ),
        (
            v1::UpdateTaxonRequest { new_scientific_name: "Amblonyx cinereus".to_owned(), ..books.change() },
            "new_scientific_name",
        ),
        (
            v1::UpdateTaxonRequest { add_synonyms: vec![synonym("Aonyx cinereus")], ..books.change() },
            "add_synonyms[0].name",
        ),
        (
            v1::UpdateTaxonRequest { add_synonyms: vec![synonym("Lontra canadensis")], ..books.change() },
            "add_synonyms[0].name",
        ),
    ] {
        let refused = books.changed(change).await.unwrap_err();
        assert_eq!((reason(&refused).as_str(), fields(&refused)), ("EXISTS", vec![field.to_owned()]));
    }
    // Taken from the one, a name is free for the other.
    let unknown = v1::UpdateTaxonRequest { drop_synonyms: vec!["Lutra lutra".to_owned()], ..books.change() };
    assert_eq!(reason(&books.changed(unknown).await.unwrap_err()), "NOT_FOUND");
    let drop = v1::UpdateTaxonRequest {
        taxon: "Aonyx cinereus".to_owned(),
        drop_synonyms: vec!["Amblonyx cinereus".to_owned()],
        ..books.change()
    };
    assert_eq!(books.changed(drop).await.unwrap().synonyms, []);
    let add = v1::UpdateTaxonRequest { add_synonyms: vec![synonym("Amblonyx cinereus")], ..books.change() };
    books.changed(add).await.unwrap();
    books.house.close().await;
}

/// Two registrars give one name to two species at once: the key over all names lets one of them.
#[tokio::test]
async fn two_who_take_one_name_at_once_do_not_both_have_it() {
    let books = Books::new().await;
    books.house.taxon(&books.park, "Aonyx cinereus", "Asian small-clawed otter").await;
    let changes = ["Lontra canadensis", "Aonyx cinereus"].map(|taxon| v1::UpdateTaxonRequest {
        taxon: taxon.to_owned(),
        add_synonyms: vec![synonym("Lutra communis")],
        ..books.change()
    });
    let [one, other] = changes.map(|change| books.changed(change));
    let (one, other) = tokio::join!(one, other);
    let refused = match (one, other) {
        (Ok(_), Err(refused)) | (Err(refused), Ok(_)) => refused,
        both => panic!("{both:?}"),
    };
    assert_eq!(reason(&refused), "EXISTS");
    books.house.close().await;
}

#[tokio::test]
async fn what_is_said_of_a_species_changes_and_names_stay() {
    let books = Books::new().await;
    let change = v1::UpdateTaxonRequest {
        common_name: Some("river otter".to_owned()),
        cites_appendix: Some(v1::CitesAppendix::Ii.into()),
        breeds_from_days: Some(700),
        ..books.change()
    };
    let told = books.changed(change).await.unwrap();
    assert_eq!((told.common_name.as_str(), told.cites_appendix()), ("river otter", v1::CitesAppendix::Ii));
    assert_eq!((told.breeds_from_days, told.carries_up_to_days, told.synonyms.len()), (700, 0, 0));
    let unstated = v1::UpdateTaxonRequest { breeds_from_days: Some(0), ..books.change() };
    let told = books.changed(unstated).await.unwrap();
    assert_eq!((told.breeds_from_days, told.cites_appendix()), (0, v1::CitesAppendix::Ii));
    let mut wrong = books.change();
    assert_eq!(fields(&books.changed(wrong.clone()).await.unwrap_err()), ["taxon"], "no change given");
    wrong.new_scientific_name = "otter".to_owned();
    wrong.renamed_year = 1700;
    wrong.cites_appendix = Some(9);
    wrong.because = String::new();
    assert_eq!(
        fields(&books.changed(wrong).await.unwrap_err()),
        ["renamed_year", "new_scientific_name", "cites_appendix", "because"]
    );
    books.house.close().await;
}

/// A protocol that names a species by its old name stays one for it.
#[tokio::test]
async fn protocols_outlive_the_names_in_them() {
    let books = Books::new().await;
    let protocol = holt_tests::cast::PROTOCOL.replace("code = \"otter-watch\"", "code = \"otter-watch-old\"");
    assert!(protocol.contains("Lontra canadensis"), "{protocol}");
    let load =
        v1::LoadProtocolRequest { request_id: books.house.request(), toml: protocol, ..Default::default() };
    books.house.steward().await.client.assessments().load_protocol(load).await.unwrap();
    books.house.otter(&books.park, "Bramble").await;
    let renamed =
        v1::UpdateTaxonRequest { new_scientific_name: "Lataxina canadensis".to_owned(), ..books.change() };
    books.changed(renamed).await.unwrap();
    let assess = v1::RecordAssessmentRequest {
        protocol: "otter-watch-old".to_owned(),
        ..books.house.assessment("QUI", "Bramble", &[("body-condition", "right")])
    };
    books.park.keeper.client.assessments().record_assessment(assess).await.unwrap();
    books.house.close().await;
}
