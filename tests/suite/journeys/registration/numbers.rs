//! Accession numbers, and other numbers that must come back as they went.

use super::Books;
use holt_proto::v1;
use prost::Message;

#[tokio::test]
async fn the_year_is_that_of_the_arrival_and_serials_start_anew_with_it() {
    let books = Books::new().await;
    let mut numbers = Vec::new();
    for (n, day) in ["2025-12-31", "2026-01-01", "2025-06-01", "2026-03-02"].into_iter().enumerate() {
        let arrival =
            v1::RegisterArrivalRequest { born_on: None, ..books.arrival(&format!("Otter {n}"), day) };
        numbers.push(books.arrived(arrival).await.unwrap().accession);
    }
    assert_eq!(numbers, ["QUI-25-0001", "QUI-26-0001", "QUI-25-0002", "QUI-26-0002"]);
    books.house.close().await;
}

/// Some animals outlive a century, and a number has two digits for its year.
#[tokio::test]
async fn two_centuries_do_not_meet_in_one_number() {
    let books = Books::new().await;
    let mut numbers = Vec::new();
    for (n, day) in ["2025-05-01", "1925-05-01", "2025-06-01", "1925-06-01"].into_iter().enumerate() {
        let arrival = v1::RegisterArrivalRequest { born_on: None, ..books.arrival(&format!("Old {n}"), day) };
        numbers.push(books.arrived(arrival).await.unwrap().accession);
    }
    assert_eq!(numbers, ["QUI-25-0001", "QUI-25-0002", "QUI-25-0003", "QUI-25-0004"]);
    books.house.close().await;
}

/// What is kept as JSON for a repeat keeps each double to its last bit.
#[tokio::test]
async fn a_repeated_answer_has_the_same_bytes_whatever_the_numbers() {
    let books = Books::new().await;
    let steward = books.house.steward().await;
    // A linear congruential generator (Knuth's MMIX constants): the same numbers each time.
    let mut state: u64 = 2026;
    let mut next = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        #[expect(clippy::cast_precision_loss, reason = "any double will do")]
        let unit = (state >> 11) as f64 / (1_u64 << 53) as f64;
        unit
    };
    for n in 0..60_u8 {
        let code = ['Z', char::from(b'A' + n / 26), char::from(b'A' + n % 26)].iter().collect();
        let site = v1::CreateSiteRequest {
            request_id: books.house.request(),
            code,
            name: "Somewhere".to_owned(),
            time_zone: "UTC".to_owned(),
            licence: String::new(),
            latitude: Some(180.0 * next() - 90.0),
            longitude: Some(360.0 * next() - 180.0),
            ..Default::default()
        };
        let first = steward.client.sites().create_site(site.clone()).await.unwrap().into_inner();
        assert_eq!(first.site.as_ref().unwrap().latitude, site.latitude);
        let again = steward.client.sites().create_site(site).await.unwrap().into_inner();
        assert_eq!(again.encode_to_vec(), first.encode_to_vec(), "{first:?}");
    }
    books.house.close().await;
}
