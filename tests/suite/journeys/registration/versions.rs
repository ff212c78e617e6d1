//! Whoever changes what somebody else changed meanwhile is told so.

use super::Books;
use holt_proto::v1::{self, MarkKind};
use holt_tests::reason;
use tonic::Code;
use tonic_types::StatusExt;

#[tokio::test]
async fn a_change_that_rests_on_an_older_view_is_refused() {
    let books = Books::new().await;
    let seen = books.house.otter(&books.park, "Bramble").await;
    books.marked(books.mark("Bramble", MarkKind::Ring, "Q-17")).await.unwrap();
    let now = books.get("Bramble").await.unwrap();
    assert_eq!(now.version, seen.version + 1);
    let death = v1::RecordDeathRequest { version: seen.version, ..books.death("Bramble", "2026-03-02") };
    let departure =
        v1::RecordDepartureRequest { version: seen.version, ..books.departure("Bramble", "2026-03-02") };
    for refused in [books.died(death.clone()).await, books.departed(departure).await] {
        let refused = refused.unwrap_err();
        assert_eq!((refused.code(), reason(&refused).as_str()), (Code::Aborted, "VERSION_PASSED"));
        assert_eq!(refused.get_details_error_info().unwrap().metadata["version"], now.version.to_string());
        assert!(refused.get_details_retry_info().is_none(), "the same again would fare no better");
    }
    let death = v1::RecordDeathRequest { request_id: books.house.request(), version: now.version, ..death };
    assert_eq!(books.died(death).await.unwrap().version, now.version + 1);
    books.house.close().await;
}
