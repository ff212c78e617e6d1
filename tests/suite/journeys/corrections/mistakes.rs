//! A record that was entered by mistake: in no count, to be seen with its reason, and put right if that was the mistake.

use super::Books;
use chrono::{DateTime, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1::{self, AnimalStatus, FactKind};
use holt_server::clock::Clock;
use holt_tests::{Person, reason};
use tonic::Status;

const CHIP: &str = "999000000000001";

impl Books {
    async fn never_was(&self, person: &Person, animal: &str) -> Result<v1::WithdrawAnimalResponse, Status> {
        let ask = v1::WithdrawAnimalRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            because: "entered twice".to_owned(),
            ..Default::default()
        };
        person.client.send(ask).await
    }

    async fn it_was(&self, animal: &str) -> Result<v1::ReinstateAnimalResponse, Status> {
        let ask = v1::ReinstateAnimalRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            because: "the other one was wrong".to_owned(),
            ..Default::default()
        };
        self.quill.registrar.client.send(ask).await
    }

    async fn chipped(&self, animal: &str) -> Result<v1::ApplyMarkResponse, Status> {
        let mark = v1::ApplyMarkRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            mark: Some(v1::NewMark {
                kind: v1::MarkKind::Transponder.into(),
                code: CHIP.to_owned(),
                place_on_body: String::new(),
            }),
            ..Default::default()
        };
        self.quill.registrar.client.send(mark).await
    }

    async fn stock(&self, known: Option<DateTime<Utc>>) -> Vec<v1::StockReturn> {
        let day = |day: &str| Some(day.parse().unwrap());
        let ask = v1::GetStockReturnRequest {
            site: "QUI".to_owned(),
            days: Some(v1::DaySpan { first: day("2025-01-01"), last: day("2026-03-02") }),
            as_known_at: known.map(timestamp),
            ..Default::default()
        };
        self.quill.auditor.client.send(ask).await.unwrap().returns
    }
}

#[tokio::test]
async fn an_animal_that_never_was_is_in_no_count_and_is_seen_with_its_reason() {
    let books = Books::new().await;
    books.weigh("Sedge", 8_010).await;
    books.chipped("Sedge").await.unwrap();
    let (before, stock) = (books.house.clock.now(), books.stock(None).await);
    let known = books.history(&books.sedge.id, Some(before)).await.facts;
    books.house.clock.advance(chrono::TimeDelta::minutes(1));
    let gone = books.never_was(&books.quill.registrar, "Sedge").await.unwrap();
    let animal = gone.animal.unwrap();
    assert_eq!((animal.status(), animal.mistake.as_str()), (AnimalStatus::Mistake, "entered twice"));
    let counts: Vec<_> = gone.facts.iter().map(|fact| (fact.kind(), fact.count)).collect();
    assert!(counts.contains(&(FactKind::Weight, 1)) && counts.contains(&(FactKind::Mark, 2)), "{counts:?}");

    let list = v1::ListAnimalsRequest { site: "QUI".to_owned(), ..Default::default() };
    let held = books.quill.auditor.client.send(list).await.unwrap().animals;
    assert_eq!(held.iter().map(|animal| animal.id.as_str()).collect::<Vec<_>>(), [books.bramble.id.as_str()]);
    let closing = |returns: &[v1::StockReturn]| returns[0].total.as_ref().unwrap().closing.unwrap();
    let now = books.stock(None).await;
    assert_eq!((closing(&stock).females, closing(&now).females), (2, 1));
    // By its number it is seen still, and what was known is known as it was.
    let seen = books.see(&books.sedge.accession).await;
    assert_eq!((seen.id.as_str(), seen.mistake.as_str()), (books.sedge.id.as_str(), "entered twice"));
    assert_eq!((seen.latest_mass, seen.latest_weighed_at), (None, None));
    assert_eq!(books.history(&books.sedge.id, Some(before)).await.facts, known);
    let mistake = books.fact(&books.sedge.id, FactKind::Mistake).await;
    assert_eq!(mistake.say, "entered by mistake: entered twice");
    assert_eq!(closing(&books.stock(Some(before)).await).females, 2);
    // The right animal gets the chip that it wears.
    books.chipped("Bramble").await.unwrap();
    books.house.close().await;
}

#[tokio::test]
async fn nothing_is_recorded_of_an_animal_that_never_was_until_it_is_reinstated() {
    let books = Books::new().await;
    books.weigh("Sedge", 8_010).await;
    books.chipped("Sedge").await.unwrap();
    let number = books.sedge.accession.clone();
    let before = books.see(&number).await;
    books.never_was(&books.quill.registrar, "Sedge").await.unwrap();
    let again = books.never_was(&books.quill.registrar, &number).await.unwrap_err();
    assert_eq!(reason(&again), "EXISTS");
    let round = books.house.round("QUI", &[(&number, books.house.clock.now(), 8_000)]);
    let answer = books.quill.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
    let refusal = answer.answers[0].refusal.clone().unwrap();
    assert_eq!(refusal.reason(), v1::ErrorReason::AnimalNotHeldThen, "{}", refusal.say);
    let chip = books.chipped(&number).await.unwrap_err();
    assert_eq!(reason(&chip), "ANIMAL_NOT_HELD_THEN", "{}", chip.message());
    assert!(chip.message().contains("entered by mistake (entered twice)"), "{}", chip.message());
    let sex = books.fact(&number, FactKind::Sex).await.id;
    let change = v1::FactChange { sex: Some(v1::Sex::Male.into()), ..Default::default() };
    let ask = v1::CorrectFactRequest { animal: number.clone(), ..books.correction(&sex, change) };
    let refused = books.quill.registrar.client.send(ask).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER", "{}", refused.message());
    let merge = v1::MergeAnimalsRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        keep: "Bramble".to_owned(),
        give_up: number.clone(),
        because: "the same".to_owned(),
        ..Default::default()
    };
    let refused = books.quill.registrar.client.send(merge).await.unwrap_err();
    assert_eq!(reason(&refused), "MERGE_CONFLICT", "{}", refused.message());

    // Somebody else has its chip meanwhile.
    books.chipped("Bramble").await.unwrap();
    assert_eq!(reason(&books.it_was(&number).await.unwrap_err()), "TRANSPONDER_IN_USE");
    let chip = books.facts("Bramble", FactKind::Mark).await;
    let chip = chip.iter().find(|mark| mark.say.contains(CHIP)).unwrap().id.clone();
    books.strike_out(&books.quill.registrar, "Bramble", &chip).await.unwrap();
    let back = books.it_was(&number).await.unwrap();
    let after = books.see("Sedge").await;
    assert_eq!(back.animal.unwrap().id, after.id);
    let apart = |animal: &v1::Animal| v1::Animal { version: 0, marks: Vec::new(), ..animal.clone() };
    assert_eq!(apart(&after), apart(&before));
    let marks = |animal: &v1::Animal| animal.marks.iter().map(|mark| mark.code.clone()).collect::<Vec<_>>();
    assert_eq!(marks(&after), marks(&before));
    assert_eq!(reason(&books.it_was("Sedge").await.unwrap_err()), "EXISTS");
    books.weigh("Sedge", 8_020).await;
    books.house.close().await;
}

#[tokio::test]
async fn what_hangs_on_a_record_is_told_and_put_right_first() {
    let books = Books::new().await;
    let brack = books.house.park("BRA", "America/Halifax").await;
    let registrar = &books.quill.registrar;
    let denied = books.never_was(&books.quill.keeper, "Sedge").await.unwrap_err();
    assert_eq!(reason(&denied), "ROLE_NEEDED");
    let foreign = books.never_was(&brack.registrar, "Sedge").await.unwrap_err();
    assert_eq!(reason(&foreign), "NOT_FOUND", "{}", foreign.message());

    let birth = v1::RegisterBirthRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        taxon: "Lontra canadensis".to_owned(),
        born_on: Some("2026-02-20".parse().unwrap()),
        sex: v1::Sex::Unknown.into(),
        dam: "Sedge".to_owned(),
        ..Default::default()
    };
    let young = registrar.client.send(birth).await.unwrap().animal.unwrap();
    let refused = books.never_was(registrar, "Sedge").await.unwrap_err();
    assert!(refused.message().contains(&format!("a parent of {}", young.accession)), "{}", refused.message());
    books.never_was(registrar, &young.accession).await.unwrap();
    // With its young gone it may go as well, and then has to be there first.
    books.never_was(registrar, "Sedge").await.unwrap();
    let refused = books.it_was(&young.accession).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER", "{}", refused.message());
    books.it_was(&books.sedge.accession).await.unwrap();
    books.it_was(&young.accession).await.unwrap();
    books.never_was(registrar, &young.accession).await.unwrap();

    let talk = v1::RecordEncounterRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        kind: v1::EncounterKind::Talk.into(),
        began_at: Some(timestamp(books.house.clock.now() - chrono::TimeDelta::minutes(30))),
        ended_at: Some(timestamp(books.house.clock.now() - chrono::TimeDelta::minutes(20))),
        animals: vec!["Sedge".to_owned()],
        ..Default::default()
    };
    let talk = books.quill.keeper.client.send(talk).await.unwrap().encounter.unwrap();
    let refused = books.never_was(registrar, "Sedge").await.unwrap_err();
    assert!(refused.message().contains("an encounter on 2026-03-02"), "{}", refused.message());
    let withdraw = v1::WithdrawEncounterRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        encounter_id: talk.id,
        because: "it was Bramble".to_owned(),
    };
    books.quill.keeper.client.send(withdraw).await.unwrap();

    let propose = v1::ProposeTransferRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: "Sedge".to_owned(),
        to_site: "BRA".to_owned(),
        terms: v1::TransferTerms::TitlePasses.into(),
        why: "company".to_owned(),
        ..Default::default()
    };
    let transfer = registrar.client.send(propose).await.unwrap().transfer.unwrap();
    let refused = books.never_was(registrar, "Sedge").await.unwrap_err();
    assert!(refused.message().contains("a transfer of it was proposed"), "{}", refused.message());
    let cancel = v1::CancelTransferRequest {
        request_id: books.house.request(),
        transfer_id: transfer.id.clone(),
        why: "it never was".to_owned(),
        ..Default::default()
    };
    registrar.client.send(cancel).await.unwrap();
    books.never_was(registrar, "Sedge").await.unwrap();
    // The other site heard of it: what came to nothing is still to be seen.
    let ask = v1::GetTransferRequest { transfer_id: transfer.id, as_known_at: None };
    let seen = registrar.client.send(ask).await.unwrap().transfer.unwrap();
    assert_eq!(seen.state(), v1::TransferState::Cancelled);
    books.house.close().await;
}

#[tokio::test]
async fn a_young_that_was_identified_by_mistake_is_in_its_litter_again() {
    let books = Books::new().await;
    let litter = v1::RecordLitterRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        taxon: "Lontra canadensis".to_owned(),
        born_on: Some("2026-02-20".parse().unwrap()),
        dam: "Sedge".to_owned(),
        young: Some(v1::Counts { unknown: 2, ..Default::default() }),
        ..Default::default()
    };
    let litter = books.quill.registrar.client.send(litter).await.unwrap().litter.unwrap();
    let identify = |marks: &str| v1::TellApartRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        litter_id: litter.id.clone(),
        told_apart_on: Some("2026-03-01".parse().unwrap()),
        sex: v1::Sex::Unknown.into(),
        marks: vec![v1::NewMark {
            kind: v1::MarkKind::HouseName.into(),
            code: marks.to_owned(),
            place_on_body: String::new(),
        }],
        ..Default::default()
    };
    let registrar = &books.quill.registrar;
    let pip = registrar.client.send(identify("Pip")).await.unwrap().animal.unwrap();
    books.never_was(registrar, &pip.accession).await.unwrap();
    let get =
        v1::GetLitterRequest { site: "QUI".to_owned(), litter_id: litter.id.clone(), ..Default::default() };
    let left = registrar.client.send(get).await.unwrap().litter.unwrap().remaining.unwrap();
    assert_eq!(left.unknown, 2);
    for name in ["Moss", "Fern"] {
        registrar.client.send(identify(name)).await.unwrap();
    }
    let refused = books.it_was(&pip.accession).await.unwrap_err();
    assert_eq!(reason(&refused), "LITTER_TOO_FEW", "{}", refused.message());
    books.house.close().await;
}
