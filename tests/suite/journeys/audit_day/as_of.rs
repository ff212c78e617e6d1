//! As of other days, and as was known earlier.

use super::{Month, coverage, overdue, stock, utc};
use holt_proto::time::timestamp;
use holt_proto::v1::{self, Duty};

#[tokio::test]
async fn each_day_has_its_own_answer() {
    let month = Month::new().await;
    for (day, wanted_stock, wanted_weighing) in [
        // The first Monday has not come.
        ("2026-03-01", "all 1.2.1", [0, 0, 0, 0, 0]),
        // Sedge and Teasel are to be weighed.
        ("2026-03-02", "all 1.2.1", [4, 2, 0, 0, 2]),
        // Dab still lives, Rush has come.
        ("2026-03-17", "all 2.2.1", [12, 5, 0, 3, 4]),
        ("2026-03-18", "all 2.1.1", [11, 6, 0, 3, 2]),
        // The grace of the 23rd is over: Bramble was late, Sedge and Teasel are overdue.
        ("2026-03-26", "all 2.1.1", [14, 6, 1, 5, 2]),
    ] {
        let told = month.quill_as_of(day).await;
        assert_eq!(stock(&told).last().unwrap(), wanted_stock, "{day}");
        assert_eq!(coverage(&told, Duty::Weigh), wanted_weighing, "{day}");
    }
    month.house.close().await;
}

/// What came after the day is no part of it, although it is known.
#[tokio::test]
async fn the_future_of_the_day_does_not_shine_through() {
    let month = Month::new().await;
    month.move_teasel().await;
    let day = month.quill_as_of("2026-03-22").await;
    let [transfer] = day.transfers.as_slice() else { panic!("{:?}", day.transfers) };
    assert_eq!(transfer.state(), v1::TransferState::Proposed);
    assert_eq!((transfer.steps.len(), transfer.to_accession.as_str()), (1, ""));
    assert_eq!(day.concerns, [], "Sedge had not refused yet");
    let day = month.quill_as_of("2026-04-02").await;
    assert_eq!(day.transfers[0].state(), v1::TransferState::Received);
    assert_eq!(stock(&day), ["Lontra canadensis 1.1.0", "Lutra lutra 1.0.0", "all 2.1.0"]);
    month.house.close().await;
}

/// A death that was entered late: before that, the animal was thought to live.
#[tokio::test]
async fn before_a_correction_the_report_says_what_was_thought() {
    let month = Month::new().await;
    month.die("Teasel", "2026-03-28").await;
    let now = month.quill_as_of("2026-03-31").await;
    assert_eq!(stock(&now), ["Lontra canadensis 1.1.0", "Lutra lutra 1.0.0", "all 2.1.0"]);
    // The 30th is no longer due for Teasel, and the 23rd stays missed.
    assert_eq!(coverage(&now, Duty::Weigh), [16, 6, 1, 7, 2]);
    assert_eq!(overdue(&now).iter().filter(|(name, ..)| name == "Teasel").count(), 0);
    assert_eq!(now.transfers[0].state(), v1::TransferState::Cancelled, "called off with the death");

    let then = month.ask(Month::question("2026-03-31", Some("2026-04-01T12:00:00Z"))).await;
    assert_eq!(then.as_known_at, Some(timestamp(utc("2026-04-01T12:00:00Z"))));
    let then = &then.sites[0];
    assert_eq!(stock(then), ["Lontra canadensis 1.1.1", "Lutra lutra 1.0.0", "all 2.1.1"]);
    assert_eq!(coverage(then, Duty::Weigh), [17, 6, 1, 7, 3]);
    assert_eq!(then.transfers[0].state(), v1::TransferState::Agreed);
    month.house.close().await;
}

/// What will be known is not known yet: a time to come counts as now.
#[tokio::test]
async fn nobody_knows_what_will_be_recorded() {
    let month = Month::new().await;
    let answer = month.ask(Month::question("2026-03-31", Some("2030-01-01T00:00:00Z"))).await;
    let known_at = answer.as_known_at.unwrap();
    assert!(known_at.seconds < utc("2026-04-02T09:01:00Z").timestamp(), "{known_at:?}");
    month.house.close().await;
}

#[tokio::test]
async fn a_span_that_cannot_be_is_refused() {
    let month = Month::new().await;
    for (span_days, wanted) in [(-1, None), (3661, None), (0, Some("2026-03-02")), (3660, Some("2016-03-24"))]
    {
        let question = v1::GetSiteDayRequest { span_days, ..Month::question("2026-03-31", None) };
        let answer = month.quill.auditor.client.reports().get_site_day(question).await;
        let first = answer.ok().map(|answer| answer.into_inner().span.unwrap().first.unwrap().to_string());
        assert_eq!(first.as_deref(), wanted, "{span_days}");
    }
    month.house.close().await;
}
