//! What falls due of a loan before it ends, and what prolongs it.

use super::Pair;
use chrono::TimeDelta;
use holt_proto::v1::{self, DueState, Duty};
use holt_tests::{House, Park, reason};

async fn due(park: &Park, as_of: &str) -> Vec<(DueState, i32, String)> {
    let list = v1::ListDueRequest {
        site: park.code.clone(),
        as_of: Some(as_of.parse().unwrap()),
        duty: Duty::EndLoan.into(),
        ..Default::default()
    };
    let list = park.keeper.client.checks().list_due(list).await.unwrap().into_inner();
    let told = list.items.into_iter().inspect(|item| assert_eq!(item.house_name, "Bramble"));
    told.map(|item| (item.state(), item.days_late, item.due_on.unwrap().to_string())).collect()
}

#[tokio::test]
async fn a_loan_is_due_from_thirty_days_before_its_end_on_both_sides() {
    let pair = Pair::new().await;
    pair.lent(Some("2026-05-01")).await;
    pair.house.clock.advance(TimeDelta::days(100));
    let end = || "2026-05-01".to_owned();
    for park in [&pair.quill, &pair.brack] {
        assert_eq!(due(park, "2026-03-31").await, []);
        assert_eq!(due(park, "2026-04-01").await, [(DueState::Due, 0, end())]);
        assert_eq!(due(park, "2026-05-01").await, [(DueState::Due, 0, end())]);
        assert_eq!(due(park, "2026-05-04").await, [(DueState::Overdue, 3, end())]);
        let day = v1::GetSiteDayRequest {
            site: park.code.clone(),
            as_of: Some("2026-05-04".parse().unwrap()),
            ..Default::default()
        };
        let day = park.auditor.client.reports().get_site_day(day).await.unwrap().into_inner();
        let [site] = day.sites.try_into().unwrap();
        assert_eq!(site.loans_ending.len(), 1, "{}", park.code);
        assert!(site.overdue.iter().all(|item| item.duty() != Duty::EndLoan));
    }
    // No check of this kind is set up by hand.
    let check = v1::CreateCheckRequest {
        request_id: pair.house.request(),
        site: "QUI".to_owned(),
        duty: Duty::EndLoan.into(),
        scope: Some(v1::CheckScope { of: Some(v1::check_scope::Of::WholeSite(true)) }),
        recurrence: "FREQ=DAILY".to_owned(),
        ..Default::default()
    };
    let refused = pair.quill.registrar.client.checks().create_check(check).await.unwrap_err();
    assert_eq!(reason(&refused), "MALFORMED");
    pair.house.close().await;
}

#[tokio::test]
async fn how_early_it_falls_due_is_a_setting() {
    let house = House::with(|config| config.loans.notice_days = 7).await;
    let quill = house.quill().await;
    let brack = house.park("BRA", "America/Halifax").await;
    house.otter(&quill, "Bramble").await;
    let pair = Pair { house, quill, brack };
    pair.lent(Some("2026-05-01")).await;
    assert_eq!(due(&pair.quill, "2026-04-23").await, []);
    assert_eq!(due(&pair.quill, "2026-04-24").await.len(), 1);
    pair.house.close().await;
}

#[tokio::test]
async fn a_loan_is_prolonged_with_a_reason_by_either_side() {
    let pair = Pair::new().await;
    pair.lent(Some("2026-03-20")).await;
    let prolong = |site: &str, until: &str| v1::ProlongLoanRequest {
        request_id: pair.house.request(),
        site: site.to_owned(),
        animal: "Bramble".to_owned(),
        loan_until: Some(until.parse().unwrap()),
        because: "she is pregnant".to_owned(),
        validate_only: false,
    };
    assert_eq!(due(&pair.quill, "2026-03-02").await.len(), 1);
    let borrower = pair.brack.registrar.client.loans();
    let told = borrower.clone().prolong_loan(prolong("BRA", "2026-09-30")).await.unwrap().into_inner();
    assert_eq!(told.loan.unwrap().terms.unwrap().loan_until.unwrap().to_string(), "2026-09-30");
    assert_eq!(due(&pair.quill, "2026-03-02").await, []);
    let lender = pair.quill.registrar.client.loans();
    let told = lender.clone().prolong_loan(prolong("QUI", "2026-12-31")).await.unwrap().into_inner();
    assert_eq!(told.loan.unwrap().days_left, 304);
    let past = lender.clone().prolong_loan(prolong("QUI", "2026-03-01")).await.unwrap_err();
    assert_eq!(reason(&past), "OUT_OF_ORDER");
    pair.house.otter(&pair.quill, "Sedge").await;
    let none = v1::ProlongLoanRequest { animal: "Sedge".to_owned(), ..prolong("QUI", "2026-12-31") };
    assert_eq!(reason(&lender.clone().prolong_loan(none).await.unwrap_err()), "NOT_FOUND");
    pair.house.close().await;
}
