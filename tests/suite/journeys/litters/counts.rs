//! The count is true on each day, and never below none.

use super::{left, pair, young};
use crate::journeys::registration::fields;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::record_litter_event_request::Event;
use holt_server::clock::Clock;
use holt_tests::reason;
use tonic::Code;

#[tokio::test]
async fn what_happens_in_a_litter_is_counted_from_its_day_on() {
    let books = pair().await;
    let litter = books.littered(books.litter()).await.unwrap();
    assert_eq!((left(&litter).as_str(), litter.version), ("0.0.4", 1));
    assert_eq!(litter.taxon.as_ref().unwrap().scientific_name, "Lontra canadensis", "that of its parents");
    books.young_died(&litter, "2026-02-18", "0.0.1").await.unwrap();
    books.young_sexed(&litter, "2026-02-25", 1, 1).await.unwrap();
    let litter = books.young_died(&litter, "2026-02-28", "1.0.0").await.unwrap();
    assert_eq!((left(&litter).as_str(), litter.version), ("0.1.1", 4));
    assert_eq!(litter.born.unwrap().to_string(), "0.0.4");
    assert_eq!(litter.died.unwrap().to_string(), "1.0.1");
    for (day, wanted) in [
        ("2026-02-16", "0.0.4"),
        ("2026-02-17", "0.0.4"),
        ("2026-02-18", "0.0.3"),
        ("2026-02-24", "0.0.3"),
        ("2026-02-25", "1.1.1"),
        ("2026-02-27", "1.1.1"),
        ("2026-02-28", "0.1.1"),
    ] {
        let then = books.litter_as_of(&litter.id, Some(day), None).await.unwrap();
        assert_eq!(left(&then), wanted, "{day}");
    }
    let unborn = books.litter_as_of(&litter.id, Some("2026-02-15"), None).await.unwrap_err();
    assert_eq!(reason(&unborn), "NOT_FOUND");
    books.house.close().await;
}

#[tokio::test]
async fn nobody_takes_out_what_is_not_left_nor_what_will_be_needed() {
    let books = pair().await;
    let litter = books.littered(books.litter()).await.unwrap();
    books.young_sexed(&litter, "2026-02-25", 1, 2).await.unwrap();
    // On the day itself 0.0.4 were there; but three of them were found to be of a sex later.
    for (on, of) in [
        ("2026-02-20", "0.0.2"),
        ("2026-02-20", "1.0.0"),
        ("2026-02-25", "0.0.2"),
        ("2026-03-01", "2.0.0"),
        ("2026-03-01", "0.3.0"),
    ] {
        let refused = books.young_died(&litter, on, of).await.unwrap_err();
        assert_eq!((refused.code(), reason(&refused).as_str()), (Code::FailedPrecondition, "LITTER_TOO_FEW"));
        assert_eq!(fields(&refused), ["died"]);
    }
    let refused = books.young_sexed(&litter, "2026-03-01", 1, 1).await.unwrap_err();
    assert_eq!((reason(&refused).as_str(), fields(&refused)), ("LITTER_TOO_FEW", vec!["sexed".to_owned()]));
    books.young_died(&litter, "2026-02-20", "0.0.1").await.unwrap();
    let litter = books.young_died(&litter, "2026-03-01", "1.2.0").await.unwrap();
    assert_eq!(left(&litter), "0.0.0");
    books.house.close().await;
}

#[tokio::test]
async fn young_that_were_found_later_count_from_the_birth() {
    let books = pair().await;
    let litter = books.littered(books.litter()).await.unwrap();
    let before = timestamp(books.house.clock.now());
    let found = Event::Found(v1::LitterFound { young: young("0.0.1") });
    let litter = books.happened(books.event(&litter, "2026-02-27", found)).await.unwrap();
    assert_eq!(litter.born.unwrap().to_string(), "0.0.5");
    let at_birth = books.litter_as_of(&litter.id, Some("2026-02-16"), None).await.unwrap();
    assert_eq!(left(&at_birth), "0.0.5");
    let known_before = books.litter_as_of(&litter.id, None, Some(before)).await.unwrap();
    assert_eq!(left(&known_before), "0.0.4", "as was known before it was found");
    books.house.close().await;
}

#[tokio::test]
async fn a_litter_that_is_none_is_refused_field_by_field() {
    let books = pair().await;
    let malformed = v1::RecordLitterRequest {
        young: young("0.0.0"),
        born_on: Some("2026-02".parse().unwrap()),
        sires: [("Alder", 0.7), ("Alder", 0.7)]
            .map(|(animal, share)| v1::NewSire { animal: animal.to_owned(), share })
            .to_vec(),
        ..books.litter()
    };
    let refused = books.littered(malformed).await.unwrap_err();
    assert_eq!(refused.code(), Code::InvalidArgument);
    assert_eq!(fields(&refused), ["born_on", "young", "sires[1]", "sires"]);
    let tomorrow = v1::RecordLitterRequest { born_on: Some("2026-03-03".parse().unwrap()), ..books.litter() };
    assert_eq!(reason(&books.littered(tomorrow).await.unwrap_err()), "IN_THE_FUTURE");
    let of_nothing = v1::RecordLitterRequest { dam: String::new(), sires: Vec::new(), ..books.litter() };
    let refused = books.littered(of_nothing.clone()).await.unwrap_err();
    assert_eq!((refused.code(), fields(&refused)), (Code::InvalidArgument, vec!["taxon".to_owned()]));
    let named = v1::RecordLitterRequest { taxon: "Lontra canadensis".to_owned(), ..of_nothing };
    let litter = books.littered(v1::RecordLitterRequest { request_id: books.house.request(), ..named }).await;
    let litter = litter.unwrap();
    assert!(litter.dam.is_none() && litter.sires.is_empty());
    let nothing =
        v1::RecordLitterEventRequest { event: None, ..books.event(&litter, "2026-03-01", found(1)) };
    assert_eq!(fields(&books.happened(nothing).await.unwrap_err()), ["event"]);
    let early = books.event(&litter, "2026-02-15", found(1));
    assert_eq!(reason(&books.happened(early).await.unwrap_err()), "OUT_OF_ORDER");
    let late = books.event(&litter, "2026-03-03", found(1));
    assert_eq!(reason(&books.happened(late).await.unwrap_err()), "IN_THE_FUTURE");
    books.house.close().await;
}

fn found(unknown: i64) -> Event {
    Event::Found(v1::LitterFound { young: Some(v1::Counts { males: 0, females: 0, unknown }) })
}

#[tokio::test]
async fn what_is_only_checked_is_not_recorded_and_what_has_passed_is_told() {
    let books = pair().await;
    let only = v1::RecordLitterRequest { validate_only: true, ..books.litter() };
    let checked = books.littered(only).await.unwrap();
    assert_eq!(reason(&books.litter_as_of(&checked.id, None, None).await.unwrap_err()), "NOT_FOUND");
    let litter = books.littered(books.litter()).await.unwrap();
    books.young_died(&litter, "2026-02-18", "0.0.1").await.unwrap();
    let stale = v1::RecordLitterEventRequest { version: 1, ..books.event(&litter, "2026-03-01", found(1)) };
    let refused = books.happened(stale).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::Aborted, "VERSION_PASSED"));
    books.house.close().await;
}
