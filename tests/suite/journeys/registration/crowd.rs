//! Many registrars at once.

use super::Books;
use holt_proto::v1;
use holt_tests::{House, reason};

#[tokio::test]
async fn everybody_gets_a_number_of_their_own_and_none_is_left_out() {
    let house = House::with(|config| config.store.max_connections = 12).await;
    let park = house.quill().await;
    let books = Books { house, park };
    // Some of them fail in the middle: the enclosure is not there.
    let births = (0..40).map(|n| {
        let enclosure = if n % 5 == 4 { "Nowhere" } else { "" };
        books.born(v1::RegisterBirthRequest { enclosure: enclosure.to_owned(), ..books.birth() })
    });
    let born = futures::future::join_all(births).await;
    let (well, refused): (Vec<_>, Vec<_>) = born.into_iter().partition(Result::is_ok);
    assert!(refused.iter().all(|refused| reason(refused.as_ref().unwrap_err()) == "NOT_FOUND"));
    let mut numbers: Vec<String> = well.into_iter().map(|animal| animal.unwrap().accession).collect();
    numbers.sort();
    let wanted: Vec<String> = (1..=32).map(|n| format!("QUI-26-{n:04}")).collect();
    assert_eq!(numbers, wanted);
    books.house.close().await;
}

#[tokio::test]
async fn the_same_request_many_times_at_once_is_one_animal() {
    let books = Books::new().await;
    let birth = books.birth();
    let births = (0..6).map(|_| books.born(birth.clone()));
    let born = futures::future::join_all(births).await;
    let first = born[0].as_ref().unwrap();
    assert!(born.iter().all(|again| again.as_ref().unwrap() == first), "{born:?}");
    assert_eq!(books.held(None).await, ["QUI-26-0001"]);
    books.house.close().await;
}
