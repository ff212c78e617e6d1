//! Six in a crate are one reading with their number, and no reading of any of the six.

use super::pair;
use crate::journeys::registration::{Books, fields};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::record_crate_reading_request::{Of, When};
use holt_tests::reason;
use tonic::Status;

async fn crated(
    books: &Books,
    of: Option<Of>,
    animals: i32,
    grams: i64,
    when: Option<When>,
) -> Result<v1::CrateReading, Status> {
    let crated = v1::RecordCrateReadingRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        of,
        animals,
        mass: Some(v1::Mass { milligrams: grams * 1000 }),
        when,
        ..Default::default()
    };
    let recorded = books.park.keeper.client.weights().record_crate_reading(crated).await?;
    Ok(recorded.into_inner().reading.unwrap())
}

fn at(text: &str) -> Option<When> {
    Some(When::WeighedAt(timestamp(text.parse().unwrap())))
}

async fn shown(books: &Books, litter: &v1::Litter, as_of: &str) -> Vec<(i32, i64)> {
    let get = v1::GetLitterRequest {
        site: "QUI".to_owned(),
        litter_id: litter.id.clone(),
        as_of: Some(as_of.parse().unwrap()),
        as_known_at: None,
    };
    let got = books.park.auditor.client.litters().get_litter(get).await.unwrap().into_inner();
    let readings = got.crate_readings.iter();
    readings.map(|reading| (reading.animals, reading.mass.unwrap().milligrams / 1000)).collect()
}

#[tokio::test]
async fn a_crate_of_young_is_shown_with_its_litter_and_weighs_nobody() {
    let books = pair().await;
    let litter = books.littered(books.litter()).await.unwrap();
    let of = || Some(Of::LitterId(litter.id.clone()));
    crated(&books, of(), 4, 600, at("2026-02-20T07:00:00Z")).await.unwrap();
    let day = Some(When::WeighedOn("2026-02-27".parse().unwrap()));
    let second = crated(&books, of(), 3, 812, day).await.unwrap();
    assert!(second.day_only);
    assert_eq!(shown(&books, &litter, "2026-03-02").await, [(3, 812), (4, 600)]);
    assert_eq!(shown(&books, &litter, "2026-02-26").await, [(4, 600)]);
    let weights = v1::ListWeightsRequest { site: "QUI".to_owned(), ..Default::default() };
    let weights = books.park.auditor.client.weights().list_weights(weights).await.unwrap().into_inner();
    assert!(weights.weights.is_empty(), "{weights:?}");
    books.house.close().await;
}

#[tokio::test]
async fn a_crate_that_cannot_be_is_refused() {
    let books = pair().await;
    let litter = books.littered(books.litter()).await.unwrap();
    books.young_died(&litter, "2026-02-25", "0.0.1").await.unwrap();
    let of = || Some(Of::LitterId(litter.id.clone()));
    let group = |name: &str| Some(Of::Group(name.to_owned()));
    crated(&books, of(), 4, 600, at("2026-02-20T07:00:00Z")).await.unwrap();
    for (of, animals, grams, when, why, field) in [
        (of(), 4, 600, at("2026-02-26T07:00:00Z"), "LITTER_TOO_FEW", "animals"),
        (of(), 3, 600, at("2026-02-15T07:00:00Z"), "OUT_OF_ORDER", "weighed_at"),
        (of(), 3, 600, at("2026-03-03T07:00:00Z"), "IN_THE_FUTURE", "weighed_at"),
        (of(), 3, 0, at("2026-02-26T07:00:00Z"), "MASS_OUT_OF_RANGE", "mass"),
        (of(), 0, 600, at("2026-02-26T07:00:00Z"), "MALFORMED", "animals"),
        (None, 3, 600, None, "MALFORMED", "of"),
    ] {
        let refused = crated(&books, of, animals, grams, when).await.unwrap_err();
        assert_eq!((reason(&refused).as_str(), fields(&refused)), (why, vec![field.to_owned()]));
    }
    let twice = crated(&books, of(), 4, 601, at("2026-02-20T07:00:00Z")).await.unwrap_err();
    assert_eq!(reason(&twice), "READING_CONFLICTS");
    let nobody = crated(&books, group("Nobody"), 3, 600, None).await.unwrap_err();
    assert_eq!(reason(&nobody), "NOT_FOUND");
    books.house.close().await;
}

#[tokio::test]
async fn a_crate_of_a_group_is_shown_with_it() {
    let books = pair().await;
    books.group("Weir family").await.unwrap();
    crated(&books, Some(Of::Group("weir family".to_owned())), 2, 16_100, at("2026-03-02T05:00:00Z"))
        .await
        .unwrap();
    let roll = books.roll(None).await;
    assert_eq!(roll.crate_readings[0].mass.unwrap().milligrams, 16_100_000);
    assert!(roll.members.is_empty());
    books.house.close().await;
}
