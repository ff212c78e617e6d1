//! What was recorded wrong of a litter is struck out, and who its parents are is said anew.

use super::{left, pair, young};
use crate::journeys::registration::{Books, fields};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::correct_litter_request::Correction;
use holt_server::clock::Clock;
use holt_tests::reason;
use tonic::{Code, Status};

impl Books {
    fn correction(&self, litter: &v1::Litter, correction: Correction) -> v1::CorrectLitterRequest {
        v1::CorrectLitterRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            litter_id: litter.id.clone(),
            correction: Some(correction),
            because: "looked at again".to_owned(),
            ..Default::default()
        }
    }

    async fn corrected(&self, correction: v1::CorrectLitterRequest) -> Result<v1::Litter, Status> {
        let corrected = self.park.registrar.client.litters().correct_litter(correction).await?;
        Ok(corrected.into_inner().litter.unwrap())
    }

    async fn struck(&self, litter: &v1::Litter, change: usize) -> Result<v1::Litter, Status> {
        let id = litter.changes[change].id.clone();
        self.corrected(self.correction(litter, Correction::StruckChangeId(id))).await
    }
}

#[tokio::test]
async fn what_was_not_so_is_counted_no_more_and_stays_as_it_was_known() {
    let books = pair().await;
    let litter = books.littered(books.litter()).await.unwrap();
    let litter = books.young_died(&litter, "2026-02-18", "0.0.1").await.unwrap();
    let before = timestamp(books.house.clock.now());
    let litter = books.struck(&litter, 1).await.unwrap();
    assert_eq!((left(&litter).as_str(), litter.version, litter.changes.len()), ("0.0.4", 3, 1));
    let known = books.litter_as_of(&litter.id, None, Some(before)).await.unwrap();
    assert_eq!(left(&known), "0.0.3", "as was known before");
    let stale = v1::CorrectLitterRequest {
        version: 1,
        ..books.correction(&litter, Correction::StruckChangeId(litter.changes[0].id.clone()))
    };
    assert_eq!(reason(&books.corrected(stale).await.unwrap_err()), "VERSION_PASSED");
    books.house.close().await;
}

#[tokio::test]
async fn what_later_changes_need_and_what_is_an_animal_now_stays() {
    let books = pair().await;
    let litter = books.littered(books.litter()).await.unwrap();
    let litter = books.young_sexed(&litter, "2026-02-25", 1, 1).await.unwrap();
    let (_, litter) = books.told_apart(books.apart(&litter, "2026-03-01", v1::Sex::Female)).await.unwrap();
    for change in [0, 1] {
        let refused = books.struck(&litter, change).await.unwrap_err();
        assert_eq!((refused.code(), reason(&refused).as_str()), (Code::FailedPrecondition, "LITTER_TOO_FEW"));
        assert_eq!(fields(&refused), ["struck_change_id"]);
    }
    let refused = books.struck(&litter, 2).await.unwrap_err();
    assert_eq!(
        (refused.code(), fields(&refused)),
        (Code::InvalidArgument, vec!["struck_change_id".to_owned()])
    );
    let nothing = Correction::StruckChangeId(litter.id.clone());
    let refused = books.corrected(books.correction(&litter, nothing)).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    let bare = v1::CorrectLitterRequest {
        correction: None,
        because: String::new(),
        ..books.correction(&litter, Correction::StruckChangeId(String::new()))
    };
    assert_eq!(fields(&books.corrected(bare).await.unwrap_err()), ["correction", "because"]);
    books.house.close().await;
}

#[tokio::test]
async fn its_parents_are_said_anew_and_fit() {
    let books = pair().await;
    let litter =
        books.littered(v1::RecordLitterRequest { young: young("0.0.2"), ..books.litter() }).await.unwrap();
    let before = timestamp(books.house.clock.now());
    let parents = v1::LitterParents { dam: "Bramble".to_owned(), ..Default::default() };
    let corrected = books.corrected(books.correction(&litter, Correction::Parents(parents))).await.unwrap();
    assert!(corrected.sires.is_empty() && corrected.dam.is_some());
    let known = books.litter_as_of(&litter.id, None, Some(before)).await.unwrap();
    assert_eq!(known.sires.len(), 1, "as was known before");
    let parents = v1::LitterParents { dam: "Alder".to_owned(), ..Default::default() };
    let refused = books.corrected(books.correction(&litter, Correction::Parents(parents))).await.unwrap_err();
    assert_eq!(
        (reason(&refused).as_str(), fields(&refused)),
        ("PARENT_DOES_NOT_FIT", vec!["parents.dam".to_owned()])
    );
    books.house.close().await;
}

/// A young is on each day either counted in its litter or on the books by itself.
#[tokio::test]
async fn a_telling_apart_moves_with_the_holding_that_began_with_it() {
    let books = pair().await;
    let litter = books.littered(books.litter()).await.unwrap();
    let litter = books.young_sexed(&litter, "2026-02-20", 0, 1).await.unwrap();
    let (animal, _) = books.told_apart(books.apart(&litter, "2026-02-25", v1::Sex::Female)).await.unwrap();
    let correct = async |on: &str| {
        let get =
            v1::GetHistoryRequest { site: "QUI".to_owned(), animal: animal.id.clone(), ..Default::default() };
        let client = &books.park.registrar.client;
        let facts = client.history().get_history(get).await.unwrap().into_inner().facts;
        let holding = facts.iter().find(|fact| fact.kind() == v1::FactKind::Holding).unwrap();
        let change = v1::FactChange { happened_on: Some(on.parse().unwrap()), ..Default::default() };
        let ask = v1::CorrectFactRequest {
            request_id: books.house.request(),
            site: "QUI".to_owned(),
            animal: animal.id.clone(),
            fact_id: holding.id.clone(),
            change: Some(change),
            because: "looked up in the diary".to_owned(),
            ..Default::default()
        };
        client.corrections().correct_fact(ask).await
    };
    let together = async |day: &str| {
        let litter = books.litter_as_of(&litter.id, Some(day), None).await.unwrap();
        (left(&litter), books.held(Some(day)).await.len())
    };
    assert_eq!(together("2026-02-26").await, ("0.0.3".to_owned(), 3));
    correct("2026-02-27").await.unwrap();
    assert_eq!(together("2026-02-26").await, ("0.1.3".to_owned(), 2));
    assert_eq!(together("2026-02-27").await, ("0.0.3".to_owned(), 3));
    // Before it was sexed no female was counted in the litter.
    let early = correct("2026-02-18").await.unwrap_err();
    assert_eq!((early.code(), reason(&early).as_str()), (Code::FailedPrecondition, "LITTER_TOO_FEW"));
    let unborn = correct("2026-02-15").await.unwrap_err();
    assert_eq!(reason(&unborn), "OUT_OF_ORDER");
    books.house.close().await;
}
