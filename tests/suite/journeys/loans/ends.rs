//! How loans begin and end: with a transfer, an arrival, a departure, a return, a death.

use super::Pair;
use chrono::TimeDelta;
use holt_proto::v1::{self, AnimalStatus, LoanEnd, TransferTerms};
use holt_tests::reason;
use tonic_types::StatusExt;

#[tokio::test]
async fn a_loan_by_transfer_ends_with_the_transfer_back() {
    let pair = Pair::new().await;
    pair.lent(Some("2026-04-01")).await;
    let [out] = pair.loans(&pair.quill, false).await.try_into().unwrap();
    assert_eq!(
        (out.lender.as_str(), out.borrower.as_str(), out.out, out.days_left),
        ("QUI", "BRA", true, 30)
    );
    let [inward] = pair.loans(&pair.brack, false).await.try_into().unwrap();
    assert_eq!((inward.id.as_str(), inward.out), (out.id.as_str(), false));
    assert_eq!(inward.accession, "BRA-26-0001", "in the terms of the site that asks");
    let third = pair.house.park("THI", "Asia/Tokyo").await;
    assert_eq!(pair.loans(&third, true).await, [], "a third site knows of no loan");
    pair.house.clock.advance(TimeDelta::days(5));
    pair.moved(&pair.brack, &pair.quill, "Bramble", TransferTerms::Loan, None).await;
    for park in [&pair.quill, &pair.brack] {
        assert_eq!(pair.loans(park, false).await, [], "{}", park.code);
        let [ended] = pair.loans(park, true).await.try_into().unwrap();
        assert_eq!((ended.ended(), ended.days_left), (LoanEnd::Returned, 0));
    }
    let home = pair.get(&pair.quill.auditor, "QUI", "Bramble").await;
    assert_eq!((home.owner.as_str(), home.holder.as_str()), ("QUI", "QUI"));
    pair.house.close().await;
}

#[tokio::test]
async fn a_borrower_lends_on_and_the_owner_stays_the_lender() {
    let pair = Pair::new().await;
    let third = pair.house.park("THI", "Asia/Tokyo").await;
    pair.lent(Some("2026-12-31")).await;
    pair.house.clock.advance(TimeDelta::days(5));
    pair.moved(&pair.brack, &third, "Bramble", TransferTerms::Loan, Some("2027-06-30")).await;
    assert_eq!(pair.loans(&pair.brack, false).await, []);
    let [on] = pair.loans(&third, false).await.try_into().unwrap();
    assert_eq!((on.lender.as_str(), on.borrower.as_str()), ("QUI", "THI"));
    let all = pair.loans(&pair.quill, true).await;
    let ends: Vec<_> = all.iter().map(|loan| (loan.borrower.as_str(), loan.ended())).collect();
    assert_eq!(ends, [("BRA", LoanEnd::MovedOn), ("THI", LoanEnd::Unspecified)]);
    pair.house.close().await;
}

/// What is borrowed goes back to its owner, or on with the owner's word; nobody sells it, gives it away or sets it free.
#[tokio::test]
async fn a_borrower_gives_nothing_away_and_lends_on_with_the_owners_word() {
    let pair = Pair::new().await;
    pair.lent(None).await;
    pair.house.clock.advance(TimeDelta::days(5));
    let registrar = &pair.brack.registrar.client;
    for destination in [v1::DepartureDestination::Collection, v1::DepartureDestination::Wild] {
        let leaves = v1::RecordDepartureRequest {
            request_id: pair.house.request(),
            site: "BRA".to_owned(),
            animal: "Bramble".to_owned(),
            departed_on: Some("2026-03-06".parse().unwrap()),
            destination: destination.into(),
            destination_name: "Fenwater Collection".to_owned(),
            ..Default::default()
        };
        let refused = registrar.send(leaves).await.unwrap_err();
        assert_eq!(reason(&refused), "NOT_THE_OWNER", "{refused:?}");
        assert!(refused.message().contains("QUI does"), "{}", refused.message());
    }
    pair.house.park("THI", "Asia/Tokyo").await;
    let offer = |owner_agreed: &str| v1::ProposeTransferRequest {
        request_id: pair.house.request(),
        site: "BRA".to_owned(),
        animal: "Bramble".to_owned(),
        to_site: "THI".to_owned(),
        terms: TransferTerms::Loan.into(),
        why: "company".to_owned(),
        owner_agreed: owner_agreed.to_owned(),
        ..Default::default()
    };
    let refused = registrar.send(offer("")).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_THE_OWNER", "{refused:?}");
    let field = &refused.get_details_bad_request().unwrap().field_violations[0].field;
    assert_eq!(field, "owner_agreed");
    let offered = registrar.send(offer("Ash Hollin, 5 March")).await.unwrap().transfer.unwrap();
    assert_eq!(offered.steps[0].note, "company; the owner agreed: Ash Hollin, 5 March");
    // Of one that got away nobody asks whose it is.
    let cancel = v1::CancelTransferRequest {
        request_id: pair.house.request(),
        transfer_id: offered.id,
        why: "it is gone".to_owned(),
        ..Default::default()
    };
    registrar.send(cancel).await.unwrap();
    let escapes = v1::RecordDepartureRequest {
        request_id: pair.house.request(),
        site: "BRA".to_owned(),
        animal: "Bramble".to_owned(),
        departed_on: Some("2026-03-07".parse().unwrap()),
        destination: v1::DepartureDestination::Escape.into(),
        ..Default::default()
    };
    registrar.send(escapes).await.unwrap();
    let [ended] = pair.loans(&pair.quill, true).await.try_into().unwrap();
    assert_eq!(ended.ended(), LoanEnd::Escaped);
    pair.house.close().await;
}

#[tokio::test]
async fn an_animal_lent_to_a_collection_outside_comes_back_as_itself() {
    let pair = Pair::new().await;
    pair.house.enclosure(&pair.quill, "Weir").await;
    let animals = pair.quill.registrar.client.animals();
    let leaves = |terms: Option<v1::LoanTerms>| v1::RecordDepartureRequest {
        request_id: pair.house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        departed_on: Some("2026-02-20".parse().unwrap()),
        destination: v1::DepartureDestination::Collection.into(),
        destination_name: "Fenwater Collection".to_owned(),
        loan: terms,
        ..Default::default()
    };
    let terms = v1::LoanTerms {
        loan_until: Some("2026-08-31".parse().unwrap()),
        terms: "first young to the lender".to_owned(),
    };
    let early = v1::LoanTerms { loan_until: Some("2026-02-19".parse().unwrap()), ..terms.clone() };
    let refused = animals.clone().record_departure(leaves(Some(early))).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER");
    let unnamed =
        v1::RecordDepartureRequest { destination_name: String::new(), ..leaves(Some(terms.clone())) };
    assert_eq!(reason(&animals.clone().record_departure(unnamed).await.unwrap_err()), "MALFORMED");
    let left = animals.clone().record_departure(leaves(Some(terms.clone()))).await.unwrap().into_inner();
    let left = left.animal.unwrap();
    assert_eq!((left.status(), left.owner.as_str()), (AnimalStatus::Departed, "QUI"));
    let [loan] = pair.loans(&pair.quill, false).await.try_into().unwrap();
    assert_eq!((loan.borrower.as_str(), loan.terms), ("Fenwater Collection", Some(terms)));
    let [there] = pair.elsewhere(&pair.quill).await.try_into().unwrap();
    assert_eq!(there.went_to, "Fenwater Collection");
    let back = |on: &str| v1::ReturnLoanRequest {
        enclosure: "Weir".to_owned(),
        ..pair.back("QUI", "QUI-25-0001", on)
    };
    let loans = pair.quill.registrar.client.loans();
    for (on, wanted) in [("2026-02-20", "OUT_OF_ORDER"), ("2026-03-03", "IN_THE_FUTURE")] {
        assert_eq!(reason(&loans.clone().return_loan(back(on)).await.unwrap_err()), wanted, "{on}");
    }
    let home = loans.clone().return_loan(back("2026-03-01")).await.unwrap().into_inner().animal.unwrap();
    assert_eq!((home.status(), home.enclosure.as_str()), (AnimalStatus::Held, "Weir"));
    assert_eq!(home.accession, "QUI-25-0001", "under the number that it had");
    assert_eq!(home.held_since.unwrap().to_string(), "2026-03-01");
    let [ended] = pair.loans(&pair.quill, true).await.try_into().unwrap();
    assert_eq!(ended.ended(), LoanEnd::Returned);
    let again = loans.clone().return_loan(back("2026-03-02")).await.unwrap_err();
    assert_eq!(reason(&again), "NOT_FOUND");
    pair.house.close().await;
}

#[tokio::test]
async fn a_borrowed_animal_goes_back_to_its_owner_outside() {
    let pair = Pair::new().await;
    let arrival = |owner: &str| v1::RegisterArrivalRequest {
        owner: owner.to_owned(),
        loan: Some(v1::LoanTerms { loan_until: Some("2026-06-30".parse().unwrap()), terms: String::new() }),
        ..pair.house.arrival(&pair.quill, "Sedge", "2026-02-01".parse().unwrap())
    };
    let animals = pair.quill.registrar.client.animals();
    let own = animals.clone().register_arrival(arrival("")).await.unwrap_err();
    assert_eq!(reason(&own), "MALFORMED");
    animals.clone().register_arrival(arrival("Fenwater Collection")).await.unwrap();
    let [loan] = pair.loans(&pair.quill, false).await.try_into().unwrap();
    assert_eq!(
        (loan.lender.as_str(), loan.borrower.as_str(), loan.out),
        ("Fenwater Collection", "QUI", false)
    );
    let mut loans = pair.quill.registrar.client.loans();
    // What was seen of it at the site was seen before it went back.
    let round = pair.house.round("QUI", &[("Sedge", "2026-02-27T09:00:00Z".parse().unwrap(), 8_100)]);
    pair.quill.keeper.client.send(round).await.unwrap();
    let early = loans.return_loan(pair.back("QUI", "Sedge", "2026-02-20")).await.unwrap_err();
    assert_eq!(reason(&early), "OUT_OF_ORDER", "{}", early.message());
    // It does not go two ways: what is offered to another site is called off first.
    let offer = v1::ProposeTransferRequest {
        request_id: pair.house.request(),
        site: "QUI".to_owned(),
        animal: "Sedge".to_owned(),
        to_site: "BRA".to_owned(),
        terms: TransferTerms::Loan.into(),
        why: "company".to_owned(),
        owner_agreed: "their curator, on 26 February".to_owned(),
        ..Default::default()
    };
    let offered = pair.quill.registrar.client.send(offer).await.unwrap().transfer.unwrap();
    let agree = v1::AgreeTransferRequest {
        request_id: pair.house.request(),
        transfer_id: offered.id.clone(),
        ..Default::default()
    };
    pair.brack.registrar.client.send(agree).await.unwrap();
    let both = loans.return_loan(pair.back("QUI", "Sedge", "2026-03-01")).await.unwrap_err();
    assert_eq!(reason(&both), "ANIMAL_ON_THE_MOVE", "{}", both.message());
    let call_off = v1::CancelTransferRequest {
        request_id: pair.house.request(),
        transfer_id: offered.id,
        why: "goes home".to_owned(),
        ..Default::default()
    };
    pair.quill.registrar.client.send(call_off).await.unwrap();
    let gone = loans
        .return_loan(pair.back("QUI", "Sedge", "2026-03-01"))
        .await
        .unwrap()
        .into_inner()
        .animal
        .unwrap();
    assert_eq!((gone.status(), gone.went_to.as_str()), (AnimalStatus::Departed, "Fenwater Collection"));
    assert_eq!(gone.owner, "Fenwater Collection");
    let [ended] = pair.loans(&pair.quill, true).await.try_into().unwrap();
    assert_eq!(
        (ended.ended(), ended.ended_on.unwrap().to_string().as_str()),
        (LoanEnd::Returned, "2026-03-01")
    );
    pair.house.close().await;
}

#[tokio::test]
async fn between_sites_an_animal_goes_back_by_a_transfer() {
    let pair = Pair::new().await;
    pair.lent(None).await;
    for (park, site) in [(&pair.quill, "QUI"), (&pair.brack, "BRA")] {
        let refused =
            park.registrar.client.loans().return_loan(pair.back(site, "Bramble", "2026-03-02")).await;
        assert_eq!(reason(&refused.unwrap_err()), "BETWEEN_SITES", "{site}");
    }
    pair.house.close().await;
}

#[tokio::test]
async fn with_a_death_the_loan_ends_and_with_its_correction_it_lasts() {
    let pair = Pair::new().await;
    pair.lent(Some("2026-12-31")).await;
    pair.house.clock.advance(TimeDelta::days(5));
    let death = v1::RecordDeathRequest {
        request_id: pair.house.request(),
        site: "BRA".to_owned(),
        animal: "Bramble".to_owned(),
        died_on: Some("2026-03-05".parse().unwrap()),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    pair.brack.registrar.client.animals().record_death(death).await.unwrap();
    let [ended] = pair.loans(&pair.quill, true).await.try_into().unwrap();
    assert_eq!((ended.ended(), ended.ended_on.unwrap().to_string().as_str()), (LoanEnd::Died, "2026-03-05"));
    let history =
        v1::GetHistoryRequest { site: "BRA".to_owned(), animal: "Bramble".to_owned(), ..Default::default() };
    let history = pair.brack.auditor.client.history().get_history(history).await.unwrap().into_inner();
    let stands = |fact: &&v1::Fact| fact.superseded_at.is_none();
    let death = history.facts.iter().filter(stands).find(|fact| fact.kind() == v1::FactKind::Death).unwrap();
    let loan = history.facts.iter().filter(stands).find(|fact| fact.kind() == v1::FactKind::Loan).unwrap();
    assert_eq!(loan.say, "on loan from QUI to BRA until 2026-12-31, ended: died (company)");
    let strike = v1::WithdrawFactRequest {
        request_id: pair.house.request(),
        site: "BRA".to_owned(),
        animal: "Bramble".to_owned(),
        fact_id: death.id.clone(),
        because: "another otter".to_owned(),
        ..Default::default()
    };
    pair.brack.registrar.client.corrections().withdraw_fact(strike).await.unwrap();
    let [lasts] = pair.loans(&pair.quill, false).await.try_into().unwrap();
    assert_eq!(lasts.ended(), LoanEnd::Unspecified);
    pair.house.close().await;
}
