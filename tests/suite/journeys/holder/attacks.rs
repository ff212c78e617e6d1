//! What a site that held an animal once does to it is refused, and so is what somebody does who has roles at both.

use super::{Moved, born};
use holt_proto::v1::{self, FactKind};
use holt_tests::{Person, reason};

/// Every fact of the life of the otter that somebody sees, with something that would change it.
async fn life(moved: &Moved, person: &Person) -> Vec<(FactKind, String, v1::FactChange)> {
    let to = v1::FactChange::default;
    let mut facts = Vec::new();
    for (kind, change) in [
        (FactKind::Birth, born("2026-02-18")),
        (FactKind::Sex, v1::FactChange { sex: Some(v1::Sex::Male.into()), ..to() }),
        (
            FactKind::Parent,
            v1::FactChange { parents_because: Some("seen".to_owned()), share: Some(0.5), ..to() },
        ),
        (FactKind::Mark, v1::FactChange { place_on_body: Some("nowhere".to_owned()), ..to() }),
    ] {
        facts.push((kind, moved.fact(person, kind).await.id, change));
    }
    facts
}

#[tokio::test]
async fn a_former_holder_neither_corrects_nor_strikes_out_what_the_animal_is() {
    let moved = Moved::new().await;
    let both = moved.of_both().await;
    for person in [&moved.quill.registrar, &both] {
        for (kind, fact, change) in life(&moved, &moved.quill.registrar).await {
            let refused = moved.correct(person, "QUI", &fact, change).await.unwrap_err();
            assert_eq!(reason(&refused), "HELD_ELSEWHERE", "{kind:?}: {}", refused.message());
            if kind != FactKind::Birth {
                let refused = moved.strike_out(person, "QUI", &fact).await.unwrap_err();
                assert_eq!(reason(&refused), "HELD_ELSEWHERE", "{kind:?}: {}", refused.message());
            }
        }
    }
    let otter = moved.at_home().await;
    assert_eq!((otter.sex(), otter.marks.len()), (v1::Sex::Female, 1));
    assert!(!otter.dam_id.is_empty());
    moved.house.close().await;
}

#[tokio::test]
async fn an_owner_that_does_not_hold_it_is_told_who_does() {
    let moved = Moved::on(v1::TransferTerms::Loan).await;
    let mark = moved.fact(&moved.quill.registrar, FactKind::Mark).await.id;
    let refused = moved.strike_out(&moved.quill.registrar, "QUI", &mark).await.unwrap_err();
    assert_eq!(reason(&refused), "HELD_ELSEWHERE");
    assert!(refused.message().starts_with("BRA holds "), "{}", refused.message());
    moved.house.close().await;
}

#[tokio::test]
async fn a_former_holder_records_nothing_new_of_it() {
    let moved = Moved::new().await;
    let (registrar, request) = (&moved.quill.registrar.client, || moved.house.request());
    let (site, animal) = (|| "QUI".to_owned(), || moved.otter.clone());
    let death = v1::RecordDeathRequest {
        request_id: request(),
        site: site(),
        animal: animal(),
        died_on: Some("2026-03-02".parse().unwrap()),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    let refused = registrar.animals().record_death(death).await.unwrap_err();
    assert_eq!(reason(&refused), "ANIMAL_NOT_HELD_THEN", "{}", refused.message());
    let sex = v1::RecordSexRequest {
        request_id: request(),
        site: site(),
        animal: animal(),
        sex: v1::Sex::Male.into(),
        determined_on: None,
    };
    let refused = registrar.animals().record_sex(sex).await.unwrap_err();
    assert_eq!(reason(&refused), "ANIMAL_NOT_HELD_THEN", "{}", refused.message());
    let mark = v1::ApplyMarkRequest {
        request_id: request(),
        site: site(),
        animal: animal(),
        mark: Some(v1::NewMark {
            kind: v1::MarkKind::HouseName.into(),
            code: "Mine".to_owned(),
            place_on_body: String::new(),
        }),
        applied_at: None,
    };
    let refused = registrar.marks().apply_mark(mark).await.unwrap_err();
    assert_eq!(reason(&refused), "ANIMAL_NOT_HELD_THEN", "{}", refused.message());
    moved.house.close().await;
}

#[tokio::test]
async fn a_former_holder_still_corrects_its_own_stay() {
    let moved = Moved::new().await;
    let quill = &moved.quill.registrar;
    let mass = v1::FactChange { mass: Some(v1::Mass { milligrams: 910_000 }), ..Default::default() };
    moved.correct(quill, "QUI", &moved.weight, mass).await.unwrap();
    let placement = moved.fact(quill, FactKind::Placement).await.id;
    moved.strike_out(quill, "QUI", &placement).await.unwrap();
    assert_eq!(moved.facts(quill, FactKind::Placement).await, []);
    moved.house.close().await;
}

#[tokio::test]
async fn the_holder_corrects_what_a_former_holder_recorded() {
    let moved = Moved::new().await;
    for (kind, fact, change) in life(&moved, &moved.brack.registrar).await {
        // The day on which it came into the stock of Quill is Quill's, too: that takes both.
        let done = moved.correct(&moved.brack.registrar, "BRA", &fact, change).await;
        match kind {
            FactKind::Birth => assert_eq!(reason(&done.unwrap_err()), "FACT_OF_ANOTHER_SITE"),
            _ => assert!(done.is_ok(), "{kind:?}: {done:?}"),
        }
    }
    moved.house.close().await;
}

#[tokio::test]
async fn the_last_holder_answers_for_the_dead() {
    let moved = Moved::new().await;
    let death = v1::RecordDeathRequest {
        request_id: moved.house.request(),
        site: "BRA".to_owned(),
        animal: moved.otter.clone(),
        died_on: Some("2026-03-02".parse().unwrap()),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    moved.brack.registrar.client.animals().record_death(death).await.unwrap();
    let mark = moved.facts(&moved.brack.registrar, FactKind::Mark).await[0].id.clone();
    let place = || v1::FactChange { place_on_body: Some("right shoulder".to_owned()), ..Default::default() };
    let told = v1::RecordPostMortemRequest {
        request_id: moved.house.request(),
        site: "QUI".to_owned(),
        animal: moved.otter.clone(),
        post_mortem: v1::PostMortem::AskedFor.into(),
        because: "curious".to_owned(),
        ..Default::default()
    };
    assert!(moved.quill.registrar.client.animals().record_post_mortem(told).await.is_err());
    moved.correct(&moved.brack.registrar, "BRA", &mark, place()).await.unwrap();
    moved.house.close().await;
}
