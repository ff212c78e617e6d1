//! Parents that are found out after the animal is on the books.

use super::Books;
use holt_proto::time::timestamp;
use holt_proto::v1::{self, FactKind};
use holt_server::clock::Clock;
use holt_tests::{Person, reason};
use tonic::Status;

impl Books {
    /// Sedge is the dam of Pip; of two males either may be the sire.
    async fn pip(&self) {
        for name in ["Alder", "Rowan"] {
            let male = v1::RegisterArrivalRequest {
                sex: v1::Sex::Male.into(),
                ..self.house.arrival(&self.quill, name, "2025-03-01".parse().unwrap())
            };
            self.quill.registrar.client.send(male).await.unwrap();
        }
        let birth = v1::RegisterBirthRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            taxon: "Lontra canadensis".to_owned(),
            born_on: Some("2026-02-20".parse().unwrap()),
            sex: v1::Sex::Unknown.into(),
            marks: vec![v1::NewMark {
                kind: v1::MarkKind::HouseName.into(),
                code: "Pip".to_owned(),
                place_on_body: String::new(),
            }],
            ..Default::default()
        };
        self.quill.registrar.client.send(birth).await.unwrap();
    }

    async fn parents(
        &self,
        person: &Person,
        dam: &str,
        sires: &[(&str, f64)],
        (known_by, note): (v1::ParentsKnownBy, &str),
    ) -> Result<v1::SetParentsResponse, Status> {
        let sires = sires.iter().map(|&(animal, share)| v1::NewSire { animal: animal.to_owned(), share });
        let ask = v1::SetParentsRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: "Pip".to_owned(),
            dam: dam.to_owned(),
            sires: sires.collect(),
            known_by: known_by.into(),
            note: note.to_owned(),
            ..Default::default()
        };
        person.client.send(ask).await
    }

    /// What stands of its parents, in words.
    async fn of_pip(&self) -> Vec<String> {
        let mut said: Vec<String> =
            self.facts("Pip", FactKind::Parent).await.into_iter().map(|fact| fact.say).collect();
        said.sort();
        said
    }
}

const ASSUMED: (v1::ParentsKnownBy, &str) = (v1::ParentsKnownBy::Assumed, "");

#[tokio::test]
async fn parents_are_recorded_later_and_a_laboratory_says_better() {
    let books = Books::new().await;
    books.pip().await;
    assert_eq!(books.of_pip().await, [""; 0]);
    let registrar = &books.quill.registrar;
    books.parents(registrar, "Sedge", &[("Alder", 0.0), ("Rowan", 0.0)], ASSUMED).await.unwrap();
    let number = books.sedge.accession.as_str();
    let dam = format!("dam {number} (assumed)");
    assert_eq!(
        books.of_pip().await,
        [dam.as_str(), "sire QUI-25-0003 (50 %, assumed)", "sire QUI-25-0004 (50 %, assumed)"]
    );
    let again =
        books.parents(registrar, "Sedge", &[("Alder", 0.0), ("Rowan", 0.0)], ASSUMED).await.unwrap_err();
    assert_eq!(reason(&again), "MALFORMED", "{}", again.message());

    let before = books.house.clock.now();
    books.house.clock.advance(chrono::TimeDelta::minutes(1));
    let lab = (v1::ParentsKnownBy::Genetic, "report 2231");
    let set = books.parents(registrar, "", &[("Rowan", 1.0)], lab).await.unwrap();
    assert_eq!(
        set.facts.iter().map(|fact| fact.say.as_str()).collect::<Vec<_>>(),
        ["sire QUI-25-0004 (genetic, report 2231)"]
    );
    assert_eq!(books.of_pip().await, [dam.as_str(), "sire QUI-25-0004 (genetic, report 2231)"]);
    let all = v1::GetHistoryRequest {
        site: "QUI".to_owned(),
        animal: "Pip".to_owned(),
        changed_since: Some(timestamp(before)),
        ..Default::default()
    };
    let changed = books.quill.auditor.client.send(all).await.unwrap().facts;
    let why: Vec<_> = changed.iter().map(|fact| fact.superseded_because.as_str()).collect();
    assert!(why.contains(&"other parents were found: report 2231"), "{why:?}");

    let kin = v1::GetKinRequest { site: "QUI".to_owned(), animal: "Pip".to_owned(), ..Default::default() };
    let kin = books.quill.auditor.client.send(kin).await.unwrap();
    let sires: Vec<_> = kin.relatives.iter().filter(|one| one.kin() == v1::Kin::Sire).collect();
    assert_eq!(sires.len(), 1, "{:?}", kin.relatives);
    books.house.close().await;
}

#[tokio::test]
async fn whoever_cannot_be_a_parent_is_refused_and_the_record_stays() {
    let books = Books::new().await;
    books.pip().await;
    let registrar = &books.quill.registrar;
    books.parents(registrar, "Sedge", &[("Alder", 0.0)], ASSUMED).await.unwrap();
    let before = books.of_pip().await;
    for (dam, sires, why) in [
        ("Alder", &[][..], "PARENT_DOES_NOT_FIT"),
        ("", &[("Sedge", 1.0)][..], "PARENT_DOES_NOT_FIT"),
        ("Pip", &[][..], "PARENT_DOES_NOT_FIT"),
        ("Nobody", &[][..], "NOT_FOUND"),
        ("", &[][..], "MALFORMED"),
        ("", &[("Alder", 0.7), ("Rowan", 0.7)][..], "MALFORMED"),
    ] {
        let refused = books.parents(registrar, dam, sires, ASSUMED).await.unwrap_err();
        assert_eq!(reason(&refused), why, "{dam} {sires:?}: {}", refused.message());
    }
    let keeper = books.parents(&books.quill.keeper, "", &[("Rowan", 1.0)], ASSUMED).await.unwrap_err();
    assert_eq!(reason(&keeper), "ROLE_NEEDED");
    let brack = books.house.park("BRA", "America/Halifax").await;
    let foreign = books.parents(&brack.registrar, "", &[("Rowan", 1.0)], ASSUMED).await.unwrap_err();
    assert_eq!(reason(&foreign), "NOT_FOUND", "{}", foreign.message());
    assert_eq!(books.of_pip().await, before);
    books.house.close().await;
}

#[tokio::test]
async fn how_a_parent_is_known_is_corrected_as_well() {
    let books = Books::new().await;
    books.pip().await;
    let registrar = &books.quill.registrar;
    let set = books.parents(registrar, "Sedge", &[], ASSUMED).await.unwrap();
    let change = v1::FactChange { known_by: Some(v1::ParentsKnownBy::Observed.into()), ..Default::default() };
    let ask =
        v1::CorrectFactRequest { animal: "Pip".to_owned(), ..books.correction(&set.facts[0].id, change) };
    registrar.client.send(ask).await.unwrap();
    assert_eq!(books.of_pip().await, [format!("dam {} (observed)", books.sedge.accession)]);
    let lives = v1::ListLivesRequest { site: "QUI".to_owned(), ..Default::default() };
    let lives = registrar.client.send(lives).await.unwrap().lives;
    let known: Vec<_> = lives.iter().flat_map(|life| &life.parents).map(v1::LifeParent::known_by).collect();
    assert_eq!(known, [v1::ParentsKnownBy::Observed]);
    books.house.close().await;
}

#[tokio::test]
async fn whoever_names_a_parent_while_it_is_withdrawn_comes_second() {
    for parent_first in [true, false] {
        let books = Books::new().await;
        books.pip().await;
        let withdraw = v1::WithdrawAnimalRequest {
            request_id: books.house.request(),
            site: "QUI".to_owned(),
            animal: "Sedge".to_owned(),
            because: "entered twice".to_owned(),
            ..Default::default()
        };
        let registrar = &books.quill.registrar;
        let withdraw = registrar.client.send(withdraw);
        let parents = books.parents(registrar, &books.sedge.accession, &[], ASSUMED);
        let (named, withdrawn) = if parent_first {
            books.house.in_line(("animals", &books.sedge.id), parents, withdraw).await
        } else {
            let (withdrawn, named) =
                books.house.in_line(("animals", &books.sedge.id), withdraw, parents).await;
            (named, withdrawn)
        };
        let (done, refused) = match (named.map(drop), withdrawn.map(drop)) {
            (Ok(()), Err(refused)) => ("named", refused),
            (Err(refused), Ok(())) => ("withdrawn", refused),
            both => panic!("{both:?}"),
        };
        let reason = reason(&refused);
        match done {
            "named" => assert_eq!(reason, "OUT_OF_ORDER", "{refused:?}"),
            _ => assert_eq!(reason, "PARENT_DOES_NOT_FIT", "{refused:?}"),
        }
        assert_eq!(done == "named", parent_first, "whoever stands first in line comes first");
        books.house.close().await;
    }
}
