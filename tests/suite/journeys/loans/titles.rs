//! Who owns an animal: seen wherever it lives, and passed without a move.

use super::Pair;
use chrono::TimeDelta;
use holt_proto::v1::{self, TransferTerms};
use holt_server::clock::Clock;
use holt_tests::reason;
use tonic_types::StatusExt;

#[tokio::test]
async fn an_owner_sees_its_animal_wherever_it_lives() {
    let pair = Pair::new().await;
    assert_eq!(pair.elsewhere(&pair.quill).await, []);
    pair.lent(Some("2026-12-31")).await;
    pair.house.enclosure(&pair.brack, "Weir").await;
    pair.house.clock.advance(TimeDelta::days(10));
    // Its later life, at the borrower, is the owner's to see.
    let round = pair.house.round("BRA", &[("Bramble", pair.house.clock.now(), 8_100)]);
    pair.brack.keeper.client.weights().record_weights(round).await.unwrap();
    let [there] = pair.elsewhere(&pair.quill).await.try_into().unwrap();
    assert_eq!((there.holder.as_str(), there.owner.as_str()), ("BRA", "QUI"));
    assert_eq!(there.latest_mass.unwrap().milligrams, 8_100_000);
    assert_eq!(there.accession, "QUI-25-0001", "in the terms of its owner");
    assert_eq!(pair.elsewhere(&pair.brack).await, []);
    // A year before it was at home.
    let list = v1::ListOwnedElsewhereRequest {
        site: "QUI".to_owned(),
        as_of: Some("2025-12-31".parse().unwrap()),
        ..Default::default()
    };
    let then = pair.quill.keeper.client.titles().list_owned_elsewhere(list).await.unwrap().into_inner();
    assert_eq!(then.animals, []);
    pair.house.close().await;
}

#[tokio::test]
async fn a_title_passes_without_a_move() {
    let pair = Pair::new().await;
    pair.lent(None).await;
    pair.house.clock.advance(TimeDelta::days(2));
    let passed = pair.passed(&pair.quill, pair.pass("QUI", "Bramble", "BRA")).await.unwrap();
    assert_eq!((passed.owner.as_str(), passed.holder.as_str()), ("BRA", "BRA"));
    assert_eq!(pair.get(&pair.brack.auditor, "BRA", "Bramble").await.owner, "BRA");
    // With the title the loan ended.
    assert_eq!(pair.loans(&pair.brack, false).await, []);
    let [ended] = pair.loans(&pair.quill, true).await.try_into().unwrap();
    assert_eq!((ended.ended(), ended.out), (v1::LoanEnd::TitlePassed, true));
    assert_eq!(ended.ended_on.unwrap().to_string(), "2026-03-04");
    pair.house.close().await;
}

#[tokio::test]
async fn a_new_owner_lends_on_what_is_lent() {
    let pair = Pair::new().await;
    pair.lent(Some("2026-12-31")).await;
    pair.house.clock.advance(TimeDelta::days(2));
    pair.passed(&pair.quill, pair.pass("QUI", "Bramble", "Fenwater Collection")).await.unwrap();
    let [loan] = pair.loans(&pair.brack, false).await.try_into().unwrap();
    assert_eq!(
        (loan.lender.as_str(), loan.borrower.as_str(), loan.out),
        ("Fenwater Collection", "BRA", false)
    );
    assert_eq!(loan.terms.unwrap().loan_until.unwrap().to_string(), "2026-12-31");
    // The holder may say what an owner outside Holt passes on.
    pair.house.clock.advance(TimeDelta::days(2));
    let passed = pair.passed(&pair.brack, pair.pass("BRA", "Bramble", "BRA")).await.unwrap();
    assert_eq!(passed.owner, "BRA");
    assert_eq!(pair.loans(&pair.brack, false).await, []);
    pair.house.close().await;
}

#[tokio::test]
async fn only_an_owner_gives_away() {
    let pair = Pair::new().await;
    pair.lent(None).await;
    pair.house.clock.advance(TimeDelta::days(2));
    let refused = pair.passed(&pair.brack, pair.pass("BRA", "Bramble", "BRA")).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_THE_OWNER");
    assert_eq!(refused.get_details_error_info().unwrap().metadata["owner"], "QUI");
    // Nor does a borrower by a transfer.
    let third = pair.house.park("THI", "Asia/Tokyo").await;
    let propose = v1::ProposeTransferRequest {
        request_id: pair.house.request(),
        site: "BRA".to_owned(),
        animal: "Bramble".to_owned(),
        to_site: third.code.clone(),
        terms: TransferTerms::TitlePasses.into(),
        why: "company".to_owned(),
        ..Default::default()
    };
    let refused = pair.brack.registrar.client.transfers().propose_transfer(propose).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_THE_OWNER");
    for (pass, wanted) in [
        (
            v1::PassTitleRequest {
                passes_on: Some("2026-03-09".parse().unwrap()),
                ..pair.pass("QUI", "Bramble", "BRA")
            },
            "IN_THE_FUTURE",
        ),
        (
            v1::PassTitleRequest {
                passes_on: Some("2025-03-01".parse().unwrap()),
                ..pair.pass("QUI", "Bramble", "BRA")
            },
            "OUT_OF_ORDER",
        ),
        (pair.pass("QUI", "Bramble", "QUI"), "EXISTS"),
        (v1::PassTitleRequest { version: 1, ..pair.pass("QUI", "Bramble", "BRA") }, "VERSION_PASSED"),
    ] {
        let refused = pair.passed(&pair.quill, pass).await.unwrap_err();
        assert_eq!(reason(&refused), wanted);
    }
    pair.house.close().await;
}
