//! How much is taken in at once, and by whom.

use super::Books;
use holt_proto::v1;
use holt_tests::reason;

/// So many otters, named by their numbers.
fn lives(count: usize) -> Vec<v1::Life> {
    let life = |n: usize| v1::Life {
        taxon: "Lontra canadensis".to_owned(),
        marks: vec![v1::LifeMark {
            mark: Some(v1::NewMark {
                kind: v1::MarkKind::FormerNumber.into(),
                code: format!("L{n}"),
                place_on_body: String::new(),
            }),
            ..Default::default()
        }],
        stays: vec![v1::Stay {
            began_on: Some("2021-04-12".parse().unwrap()),
            began: v1::StayBeginning::Arrival.into(),
            source: v1::ArrivalSource::OnSiteBefore.into(),
            ..Default::default()
        }],
        ..Default::default()
    };
    (0..count).map(life).collect()
}

fn messages(books: &Books, lives: &[v1::Life]) -> Vec<v1::TakeInLivesRequest> {
    let mut messages: Vec<_> = lives
        .chunks(500)
        .map(|lives| v1::TakeInLivesRequest { lives: lives.to_vec(), ..Default::default() })
        .collect();
    let first = v1::TakeInLivesRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        ..Default::default()
    };
    match messages.first_mut() {
        Some(message) => *message = v1::TakeInLivesRequest { lives: message.lives.clone(), ..first },
        None => messages.push(first),
    }
    messages
}

#[tokio::test]
async fn a_request_of_several_messages_is_one_write() {
    let books = Books::new().await;
    let sent = messages(&books, &lives(1200));
    let mut exchange = books.park.registrar.client.exchange();
    let answer = exchange.take_in_lives(futures::stream::iter(sent.clone())).await.unwrap().into_inner();
    assert!(answer.written);
    assert_eq!(answer.answers.len(), 1200);
    let taken = |answer: &v1::LifeAnswer| answer.outcome() == v1::LifeOutcome::TakenIn;
    assert!(answer.answers.iter().all(taken));
    assert_eq!(answer.answers[1199].accession, "QUI-21-1200");
    let mut owner = books.house.owner().await;
    let entries: i64 =
        sqlx::query_scalar("SELECT count(*) FROM ledger WHERE method = 'ExchangeService/TakeInLives'")
            .fetch_one(&mut owner)
            .await
            .unwrap();
    assert_eq!(entries, 1);
    // Sent again with the same request id, it is answered the same; with other content, it is refused.
    let again = exchange.take_in_lives(futures::stream::iter(sent.clone())).await.unwrap().into_inner();
    assert_eq!(again, answer);
    let mut other = sent;
    other.truncate(1);
    let refused = exchange.take_in_lives(futures::stream::iter(other)).await.unwrap_err();
    assert_eq!(reason(&refused), "REQUEST_ID_REUSED");
    books.house.close().await;
}

#[tokio::test]
async fn more_than_is_taken_in_at_once_is_refused_and_so_is_nothing() {
    let books = Books::new().await;
    let mut exchange = books.park.registrar.client.exchange();
    for count in [0, 5001] {
        let sent = messages(&books, &lives(count));
        let refused = exchange.take_in_lives(futures::stream::iter(sent)).await.unwrap_err();
        assert_eq!(reason(&refused), "MALFORMED", "{count}");
        assert!(refused.message().starts_with("lives: "), "{}", refused.message());
    }
    books.house.close().await;
}

/// An identifier that is another site's animal is refused, and nothing is told of it.
#[tokio::test]
async fn an_animal_of_another_site_is_not_taken_over() {
    let books = Books::new().await;
    let there = books.house.park("BRA", "America/Halifax").await;
    let fern = books.house.otter(&there, "Fern").await;
    let taken = v1::Life { id: fern.id, ..lives(1).remove(0) };
    let sent = messages(&books, &[taken]);
    let mut exchange = books.park.registrar.client.exchange();
    let refused = exchange.take_in_lives(futures::stream::iter(sent)).await.unwrap_err();
    assert_eq!(reason(&refused), "EXISTS");
    assert!(!refused.message().contains("Fern"), "{}", refused.message());
    assert!(books.animals().await.is_empty());
    books.house.close().await;
}
