//! What a site recorded, another does not correct, though it holds the animal and sees it all.

use super::{Books, mass};
use holt_proto::v1::{self, FactKind};
use holt_tests::{Park, reason};

/// Moves Bramble to another park.
async fn moved(books: &Books, to: &Park) {
    let (quill, request) = (&books.quill.registrar.client, || books.house.request());
    let offer = v1::ProposeTransferRequest {
        request_id: request(),
        site: "QUI".to_owned(),
        animal: books.bramble.id.clone(),
        to_site: to.code.clone(),
        terms: v1::TransferTerms::TitlePasses.into(),
        why: "company".to_owned(),
        ..Default::default()
    };
    let offered = quill.transfers().propose_transfer(offer).await.unwrap().into_inner();
    let transfer_id = offered.transfer.unwrap().id;
    let agree = v1::AgreeTransferRequest {
        request_id: request(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    to.registrar.client.transfers().agree_transfer(agree).await.unwrap();
    let dispatch = v1::DispatchTransferRequest {
        request_id: request(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    quill.transfers().dispatch_transfer(dispatch).await.unwrap();
    let receive = v1::ReceiveTransferRequest { request_id: request(), transfer_id, ..Default::default() };
    to.registrar.client.transfers().receive_transfer(receive).await.unwrap();
}

#[tokio::test]
async fn the_holder_corrects_what_the_animal_is_and_not_what_another_site_weighed() {
    let books = Books::new().await;
    let brack = books.house.park("BRA", "America/Halifax").await;
    let weight = books.weigh("Bramble", 8_000).await;
    let birth = books.fact("Bramble", FactKind::Birth).await.id;
    moved(&books, &brack).await;
    let mut there = brack.registrar.client.corrections();
    let ask = |fact: &str, change: v1::FactChange| v1::CorrectFactRequest {
        site: "BRA".to_owned(),
        ..books.correction(fact, change)
    };
    let refused = there.correct_fact(ask(&weight, mass(8_001))).await.unwrap_err();
    assert_eq!(reason(&refused), "FACT_OF_ANOTHER_SITE");
    books.correct(&weight, mass(8_001)).await.unwrap();

    let born = v1::FactChange { born_on: Some("2021-04".parse().unwrap()), ..Default::default() };
    there.correct_fact(ask(&birth, born)).await.unwrap();

    // The instant at which it passed from one site to the other is corrected by neither.
    let holding = books.fact("Bramble", FactKind::Holding).await.id;
    let ended = v1::FactChange { still_lasts: true, ..Default::default() };
    assert_eq!(reason(&books.correct(&holding, ended).await.unwrap_err()), "OUT_OF_ORDER");
    books.house.close().await;
}
