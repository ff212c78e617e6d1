//! What is in hand is a part of it: the nearest come first.

use super::{Shelf, names};
use chrono::TimeDelta;
use holt_proto::v1::{self, MarkKind, Nearness};

#[tokio::test]
async fn the_last_digits_of_a_transponder_are_enough() {
    let shelf = Shelf::new().await;
    shelf.otter("Bramble", &[(MarkKind::Transponder, "985112000123456")]).await;
    shelf.otter("Sedge", &[(MarkKind::Transponder, "985112000993456")]).await;
    assert_eq!(shelf.names("123456").await, ["Bramble"]);
    assert_eq!(shelf.names("12-3456").await, ["Bramble"], "as people write them");
    assert_eq!(shelf.names("3456").await, ["Bramble", "Sedge"], "both end so");
    assert_eq!(shelf.names("985112").await, ["Bramble", "Sedge"], "both begin so");
    assert_eq!(shelf.names("0001").await, ["Bramble"], "the serial of an accession");
    assert!(shelf.names("1200").await.is_empty(), "digits within a transponder mean nothing");
    shelf.house.close().await;
}

#[tokio::test]
async fn the_whole_comes_before_an_end_and_an_end_before_the_middle() {
    let shelf = Shelf::new().await;
    for name in ["Old Bramley", "Bramble", "Bram", "Bramwell", "Sedge"] {
        shelf.otter(name, &[]).await;
    }
    let found = shelf.found("bram").await;
    let near: Vec<Nearness> = found.iter().map(v1::Match::nearness).collect();
    assert_eq!(near, [Nearness::Whole, Nearness::End, Nearness::End, Nearness::Within]);
    assert_eq!(names(found), ["Bram", "Bramble", "Bramwell", "Old Bramley"]);
    assert_eq!(shelf.names("ramb").await, ["Bramble"]);
    // Two letters are looked for at the ends alone, and a sign that a pattern would mean is a sign.
    assert!(shelf.names("mw").await.is_empty());
    assert!(shelf.names("br%m").await.is_empty());
    assert!(shelf.names("br_m").await.is_empty());
    shelf.house.close().await;
}

#[tokio::test]
async fn what_it_goes_by_still_comes_before_what_it_went_by() {
    let shelf = Shelf::new().await;
    let bramble = shelf.otter("Bramble", &[(MarkKind::Ring, "Q-17")]).await;
    let registrar = &shelf.park.registrar.client;
    let ring = shelf.found("Q-17").await.remove(0).animal.unwrap().marks.pop().unwrap();
    shelf.house.clock.advance(TimeDelta::hours(1));
    let replaced = v1::ReplaceMarkRequest {
        request_id: shelf.house.request(),
        site: "QUI".to_owned(),
        animal: bramble.id.clone(),
        mark_id: ring.id,
        mark: Some(super::new(MarkKind::Ring, "Q-31")),
        replaced_at: None,
        why: "lost".to_owned(),
    };
    registrar.marks().replace_mark(replaced).await.unwrap();
    let lost = shelf.found("Q-17").await;
    assert_eq!((lost.len(), lost[0].in_force), (1, false), "who wore it");
    shelf.house.clock.advance(TimeDelta::hours(1));
    let sedge = shelf.otter("Sedge", &[(MarkKind::Ring, "Q-17")]).await;
    let both = shelf.found("q-17").await;
    assert_eq!(names(both.clone()), ["Sedge", "Bramble"]);
    assert_eq!(both[0].animal.as_ref().unwrap().id, sedge.id);
    // The living before those that are gone.
    let death = v1::RecordDeathRequest {
        request_id: shelf.house.request(),
        site: "QUI".to_owned(),
        animal: shelf.otter("Brook", &[]).await.id,
        died_on: Some("2026-03-01".parse().unwrap()),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    registrar.animals().record_death(death).await.unwrap();
    shelf.otter("Brooklime", &[]).await;
    assert_eq!(shelf.names("brook").await, ["Brook", "Brooklime"], "the whole name, though of a dead one");
    assert_eq!(shelf.names("broo").await, ["Brooklime", "Brook"]);
    shelf.house.close().await;
}

#[tokio::test]
async fn no_more_are_told_than_were_asked_for() {
    let shelf = Shelf::new().await;
    for name in ["Reed one", "Reed two", "Reed three"] {
        shelf.otter(name, &[]).await;
    }
    let ask = |most| v1::FindAnimalsRequest { text: "reed".to_owned(), most };
    let find = async |most| {
        let answer = shelf.park.auditor.client.find().find_animals(ask(most)).await.unwrap().into_inner();
        (names(answer.matches), answer.more)
    };
    assert_eq!(find(2).await, (vec!["Reed one".to_owned(), "Reed three".to_owned()], true));
    assert_eq!(find(3).await.0.len(), 3);
    assert!(!find(3).await.1);
    shelf.house.close().await;
}
