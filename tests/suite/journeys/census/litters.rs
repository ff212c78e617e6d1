//! Young in litters are in the stock like any animal, whatever becomes of them.

use super::{a_winter, columns};
use crate::journeys::litters::pair;
use holt_proto::v1;

#[tokio::test]
async fn a_young_that_dies_before_it_is_told_apart_is_in_the_return() {
    let (books, litter, _) = a_winter().await;
    // The last one of unknown sex proves to be a female when it is told apart.
    let (sedge, _) = books.told_apart(books.apart(&litter, "2026-02-27", v1::Sex::Female)).await.unwrap();
    let line = books.stock("2026-01-01", "2026-03-02").await;
    assert_eq!(
        columns(&line),
        ["1.1.0", "0.0.0", "0.0.5", "0.0.1", "0.2.0", "0.0.0", "0.0.0", "1.3.-4", "2.2.0"],
        "36 and 40 days old, so not young any more; {}",
        sedge.accession
    );
    // Month by month, the closing of one is the opening of the next.
    let january = books.stock("2026-01-01", "2026-01-31").await;
    let february = books.stock("2026-02-01", "2026-02-28").await;
    let march = books.stock("2026-03-01", "2026-03-02").await;
    assert_eq!(columns(&january)[8], "1.1.4");
    assert_eq!((january.closing, february.closing), (february.opening, march.opening));
    assert_eq!(march.closing, line.closing);
    books.house.close().await;
}

/// What an auditor reads of a day counts the young, too.
#[tokio::test]
async fn the_report_of_a_day_counts_young_in_litters() {
    let books = pair().await;
    let litter = books.littered(books.litter()).await.unwrap();
    books.told_apart(books.apart(&litter, "2026-02-20", v1::Sex::Female)).await.unwrap();
    let total = async |as_of: &str| {
        let ask = v1::GetSiteDayRequest {
            site: "QUI".to_owned(),
            as_of: Some(as_of.parse().unwrap()),
            ..Default::default()
        };
        let told = books.park.auditor.client.reports().get_site_day(ask).await.unwrap().into_inner();
        told.sites[0].total.unwrap().to_string()
    };
    assert_eq!(total("2026-02-15").await, "1.1.0");
    assert_eq!(total("2026-02-16").await, "1.1.4");
    assert_eq!(total("2026-02-20").await, "1.2.3");
    books.house.close().await;
}
