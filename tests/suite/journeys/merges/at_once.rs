//! Several merge the same records at once.

use super::{Books, asked, send, unmerge};
use holt_proto::v1;
use holt_tests::reason;

#[tokio::test]
async fn of_two_in_both_directions_one_is_recorded_and_the_other_refused() {
    let books = Books::new().await;
    let registrar = &books.quill.registrar;
    for round in 0..40 {
        let one = asked(&books.house, "QUI", &books.bramble.id, &books.sedge.id);
        let other = asked(&books.house, "QUI", &books.sedge.id, &books.bramble.id);
        let (one, other) = tokio::join!(send(registrar, one), send(registrar, other));
        let (merged, refused) = match (one, other) {
            (Ok(merged), Err(refused)) | (Err(refused), Ok(merged)) => (merged, refused),
            both => panic!("round {round}: {both:?}"),
        };
        assert_eq!(reason(&refused), "MERGE_CONFLICT", "round {round}: {refused:?}");
        assert!(refused.message().contains("one animal already"), "{}", refused.message());
        unmerge(&books, &merged.animal.unwrap().id, &merged.merge_id).await.unwrap();
    }
    books.house.close().await;
}

#[tokio::test]
async fn a_circle_of_three_at_once_leaves_none_that_stands_for_itself_by_others() {
    let books = Books::new().await;
    let teasel = books.house.otter(&books.quill, "Teasel").await;
    let (a, b, c) = (&books.bramble.id, &books.sedge.id, &teasel.id);
    let registrar = &books.quill.registrar;
    let ask = |keep: &str, gone: &str| asked(&books.house, "QUI", keep, gone);
    let (one, two, three) =
        tokio::join!(send(registrar, ask(a, b)), send(registrar, ask(b, c)), send(registrar, ask(c, a)));
    let merged = [&one, &two, &three].into_iter().filter(|answer| answer.is_ok()).count();
    assert_eq!(merged, 2, "{one:?} {two:?} {three:?}");
    let animal = books.see(a).await.id;
    for record in [a, b, c] {
        assert_eq!(books.see(record).await.id, animal);
    }
    books.house.close().await;
}

#[tokio::test]
async fn a_placing_that_waits_for_a_merge_is_of_the_animal_that_it_was_found_to_be() {
    let books = Books::new().await;
    books.house.enclosure(&books.quill, "Alder pool").await;
    let merge = asked(&books.house, "QUI", &books.bramble.id, &books.sedge.id);
    let merge = send(&books.quill.registrar, merge);
    let place = v1::PlaceAnimalsRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animals: vec!["Sedge".to_owned()],
        enclosure: "Alder pool".to_owned(),
        placed_at: None,
    };
    let place = books.quill.keeper.client.send(place);
    let (merged, placed) = books.house.in_line(("animals", &books.sedge.id), merge, place).await;
    merged.unwrap();
    placed.unwrap();
    let animal = books.see("Sedge").await;
    assert_eq!((animal.id.as_str(), animal.enclosure.as_str()), (books.bramble.id.as_str(), "Alder pool"));
    books.house.close().await;
}
