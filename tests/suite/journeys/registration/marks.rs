//! Marks: rings, names and the rest, each over its own stretch of time.

use super::{Books, fields};
use chrono::{DateTime, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1::{self, MarkKind};
use holt_tests::reason;
use tonic::Status;

fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

async fn end(books: &Books, animal: &str, mark: &v1::Mark, at: &str) -> Result<v1::Mark, Status> {
    let request = v1::EndMarkRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: animal.to_owned(),
        mark_id: mark.id.clone(),
        ended_at: (!at.is_empty()).then(|| timestamp(utc(at))),
        why: "lost in the den".to_owned(),
    };
    Ok(books.park.registrar.client.marks().end_mark(request).await?.into_inner().mark.unwrap())
}

#[tokio::test]
async fn a_mark_is_there_from_when_it_was_put_on_until_it_was_lost() {
    let books = Books::new().await;
    let bramble = books.house.otter(&books.park, "Bramble").await;
    let ring = v1::ApplyMarkRequest {
        applied_at: Some(timestamp(utc("2025-05-01T09:00:00Z"))),
        ..books.mark("Bramble", MarkKind::Ring, "Q-17")
    };
    let ring = books.marked(ring).await.unwrap();
    assert_eq!(ring.interval.unwrap().until, None);
    assert_eq!(books.get("q-17").await.unwrap().id, bramble.id, "a ring means the animal, in any case");
    let lost = end(&books, "Bramble", &ring, "2026-02-01T09:00:00Z").await.unwrap();
    assert_eq!(lost.id, ring.id);
    assert_eq!(lost.interval.unwrap().until, Some(timestamp(utc("2026-02-01T09:00:00Z"))));
    // It goes on to mean the animal that wore it, until another does.
    assert_eq!(books.get("Q-17").await.unwrap().id, bramble.id);
    let sedge = books.house.otter(&books.park, "Sedge").await;
    books.marked(books.mark("Sedge", MarkKind::Ring, "Q-17")).await.unwrap();
    assert_eq!(books.get("Q-17").await.unwrap().id, sedge.id);
    // A reading from when it still wore it is known by it.
    let round = books.house.round("QUI", &[("Q-17", utc("2026-01-05T09:00:00Z"), 8000)]);
    let answer = books.park.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
    assert_eq!(answer.answers[0].animal_id, bramble.id);
    let twice = end(&books, "Bramble", &ring, "").await.unwrap_err();
    assert_eq!(reason(&twice), "NOT_FOUND");
    books.house.close().await;
}

#[tokio::test]
async fn times_that_cannot_be_are_refused() {
    let books = Books::new().await;
    books.house.otter(&books.park, "Bramble").await;
    let at = |text: &str| Some(timestamp(utc(text)));
    for (applied_at, wanted) in
        [(at("2026-03-02T07:00:00Z"), "IN_THE_FUTURE"), (at("2025-02-28T23:59:59Z"), "OUT_OF_ORDER")]
    {
        let mark = v1::ApplyMarkRequest { applied_at, ..books.mark("Bramble", MarkKind::Ring, "Q-17") };
        let refused = books.marked(mark).await.unwrap_err();
        assert_eq!((reason(&refused).as_str(), fields(&refused)), (wanted, vec!["applied_at".to_owned()]));
    }
    let ring = books.marked(books.mark("Bramble", MarkKind::Ring, "Q-17")).await.unwrap();
    for (at, wanted) in [("2026-03-02T07:00:00Z", "IN_THE_FUTURE"), ("2026-03-01T09:00:00Z", "OUT_OF_ORDER")]
    {
        let refused = end(&books, "Bramble", &ring, at).await.unwrap_err();
        assert_eq!((reason(&refused).as_str(), fields(&refused)), (wanted, vec!["ended_at".to_owned()]));
    }
    books.house.close().await;
}

#[tokio::test]
async fn a_new_name_is_the_one_that_is_used() {
    let books = Books::new().await;
    let bramble = books.house.otter(&books.park, "Bramble").await;
    let old = bramble.marks[0].clone();
    books.marked(books.mark("Bramble", MarkKind::HouseName, "Briar")).await.unwrap();
    let both = books.get("Bramble").await.unwrap();
    assert_eq!((both.house_name.as_str(), both.marks.len()), ("Briar", 2));
    end(&books, "Bramble", &old, "").await.unwrap();
    assert_eq!(books.get("Briar").await.unwrap().id, bramble.id);
    let by_the_old_one = books.get("Bramble").await.unwrap();
    assert_eq!((by_the_old_one.id, by_the_old_one.house_name.as_str()), (bramble.id, "Briar"));
    books.house.close().await;
}

async fn replace(
    books: &Books,
    mark: &v1::Mark,
    kind: MarkKind,
    code: &str,
    at: &str,
) -> Result<v1::ReplaceMarkResponse, Status> {
    let request = v1::ReplaceMarkRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        mark_id: mark.id.clone(),
        mark: Some(v1::NewMark { kind: kind.into(), code: code.to_owned(), place_on_body: String::new() }),
        replaced_at: (!at.is_empty()).then(|| timestamp(utc(at))),
        why: "worn".to_owned(),
    };
    Ok(books.park.registrar.client.marks().replace_mark(request).await?.into_inner())
}

#[tokio::test]
async fn one_call_ends_the_old_mark_and_begins_the_new_one_at_one_instant() {
    let books = Books::new().await;
    books.house.otter(&books.park, "Bramble").await;
    let applied = v1::ApplyMarkRequest {
        applied_at: Some(timestamp(utc("2025-05-01T09:00:00Z"))),
        ..books.mark("Bramble", MarkKind::Transponder, "985112000123456")
    };
    let old = books.marked(applied).await.unwrap();
    let at = "2026-02-01T09:00:00Z";
    let both = replace(&books, &old, MarkKind::Transponder, "985112000777001", at).await.unwrap();
    let (ended, began) = (both.ended.unwrap(), both.began.unwrap());
    let instant = Some(timestamp(utc(at)));
    assert_eq!((ended.id, ended.interval.unwrap().until), (old.id.clone(), instant));
    assert_eq!((began.code.as_str(), began.interval.unwrap().from), ("985112000777001", instant));
    assert_eq!(began.issuer, "manufacturer 985");
    let codes: Vec<_> = books.get("Bramble").await.unwrap().marks.into_iter().map(|mark| mark.code).collect();
    assert_eq!(codes, ["Bramble", "985112000777001"]);
    let mut owner = books.house.owner().await;
    let why: Vec<String> = sqlx::query_scalar(
        "SELECT ended_why FROM marks WHERE superseded_at IS NULL AND ended_at IS NOT NULL",
    )
    .fetch_all(&mut owner)
    .await
    .unwrap();
    assert_eq!(why, ["worn"]);
    // What the old one read then is still its own; another may wear it from then on.
    let round = books.house.round("QUI", &[("985112000123456", utc("2026-01-05T09:00:00Z"), 8000)]);
    books.park.keeper.client.weights().record_weights(round).await.unwrap();
    books.house.otter(&books.park, "Sedge").await;
    books.marked(books.mark("Sedge", MarkKind::Transponder, "985112000123456")).await.unwrap();
    books.house.close().await;
}

#[tokio::test]
async fn a_mark_that_cannot_take_the_place_of_another_is_refused_and_nothing_is_changed() {
    let books = Books::new().await;
    books.house.otter(&books.park, "Bramble").await;
    let ring = books.marked(books.mark("Bramble", MarkKind::Ring, "Q-17")).await.unwrap();
    for (kind, code, at, wanted, field) in [
        (MarkKind::Tattoo, "B7X", "", "MALFORMED", "mark.kind"),
        (MarkKind::Ring, "q-17", "", "EXISTS", "mark.code"),
        (MarkKind::Ring, "Q-31", "2026-03-02T07:00:00Z", "IN_THE_FUTURE", "replaced_at"),
        (MarkKind::Ring, "Q-31", "2026-03-01T09:00:00Z", "OUT_OF_ORDER", "replaced_at"),
    ] {
        let refused = replace(&books, &ring, kind, code, at).await.unwrap_err();
        assert_eq!((reason(&refused).as_str(), fields(&refused)), (wanted, vec![field.to_owned()]));
    }
    let chip = replace(&books, &ring, MarkKind::Transponder, "276274877906944", "").await.unwrap_err();
    assert_eq!(reason(&chip), "TRANSPONDER_MALFORMED");
    assert_eq!(books.get("Bramble").await.unwrap().marks.len(), 2);
    let lost = end(&books, "Bramble", &ring, "").await.unwrap();
    let twice = replace(&books, &lost, MarkKind::Ring, "Q-31", "").await.unwrap_err();
    assert_eq!(reason(&twice), "NOT_FOUND");
    books.house.close().await;
}
