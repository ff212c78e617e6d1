//! Findings that do not fit, and assessments that cannot be.

use super::{Watch, changed, fields, number};
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_tests::house::start_of_time;
use holt_tests::reason;
use tonic::Code;

#[tokio::test]
async fn every_finding_that_does_not_fit_is_named() {
    let watch = Watch::new().await;
    let mut look =
        watch.look(&[("wings", "folded"), ("gait", "even"), ("gait", "lame"), ("play", "sometimes")]);
    look.findings.extend([number("water-temperature", 40.1), number("body-condition", 3.0)]);
    let refused = watch.assess(look).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::InvalidArgument, "FINDING_DOES_NOT_FIT"));
    assert_eq!(
        fields(&refused),
        [
            "findings[0].indicator",
            "findings[2].indicator",
            "findings[3].level",
            "findings[4].number",
            "findings[5].number"
        ]
    );
    let list = v1::ListAssessmentsRequest { site: "QUI".to_owned(), ..Default::default() };
    assert_eq!(watch.listed(list).await, [], "nothing is half on record");
    watch.house.close().await;
}

#[tokio::test]
async fn the_ends_of_a_measured_scale_are_on_it() {
    let watch = Watch::new().await;
    for (value, fits) in [(0.0, true), (40.0, true), (-0.1, false), (40.1, false)] {
        let look = v1::RecordAssessmentRequest {
            findings: vec![number("water-temperature", value)],
            ..watch.look(&[])
        };
        assert_eq!(watch.assess(look).await.is_ok(), fits, "{value}");
    }
    watch.house.close().await;
}

#[tokio::test]
async fn what_is_malformed_is_named_before_anything_is_judged() {
    let watch = Watch::new().await;
    let mut look = watch.look(&[("gait", "even"), ("", "even"), ("play", "no")]);
    look.findings[0].confidence = 0;
    look.findings[2].found = None;
    look.findings.push(number("water-temperature", f64::NAN));
    look.protocol_version = -1;
    let refused = watch.assess(look).await.unwrap_err();
    assert_eq!(reason(&refused), "MALFORMED");
    let mut named = fields(&refused);
    named.sort();
    assert_eq!(
        named,
        [
            "findings[0].confidence",
            "findings[1].indicator",
            "findings[2]",
            "findings[3].number",
            "protocol_version"
        ]
    );
    let nothing = watch.assess(watch.look(&[])).await.unwrap_err();
    assert_eq!(fields(&nothing), ["findings"]);
    watch.house.close().await;
}

#[tokio::test]
async fn a_protocol_is_for_its_species() {
    let watch = Watch::new().await;
    watch.house.taxon(&watch.park, "Lutra lutra", "Eurasian otter").await;
    let rush = v1::RegisterArrivalRequest {
        taxon: "Lutra lutra".to_owned(),
        ..watch.house.arrival(&watch.park, "Rush", "2025-03-01".parse().unwrap())
    };
    watch.park.registrar.client.animals().register_arrival(rush).await.unwrap();
    let look = |version| v1::RecordAssessmentRequest {
        request_id: watch.house.request(),
        animal: "Rush".to_owned(),
        protocol_version: version,
        ..watch.look(&[("gait", "even")])
    };
    let refused = watch.assess(look(0)).await.unwrap_err();
    assert_eq!(
        (reason(&refused).as_str(), fields(&refused)),
        ("FINDING_DOES_NOT_FIT", vec!["protocol".to_owned()])
    );
    // One that names no species is for any.
    watch.load(&changed("species = [\"Lontra canadensis\"]", "species = []")).await.unwrap();
    assert_eq!(
        watch.assess(look(0)).await.unwrap().protocol_version,
        2,
        "the newest, unless another is named"
    );
    assert_eq!(reason(&watch.assess(look(1)).await.unwrap_err()), "FINDING_DOES_NOT_FIT");
    watch.house.close().await;
}

#[tokio::test]
async fn it_is_of_an_animal_that_was_there_at_a_time_that_was() {
    let watch = Watch::new().await;
    let even = || watch.look(&[("gait", "even")]);
    let at = |at| Some(timestamp(at));
    let tomorrow = start_of_time() + TimeDelta::days(1);
    let before = "2025-02-28T12:00:00Z".parse().unwrap();
    for (look, wanted, field) in [
        (v1::RecordAssessmentRequest { assessed_at: at(tomorrow), ..even() }, "IN_THE_FUTURE", "assessed_at"),
        (
            v1::RecordAssessmentRequest { assessed_at: at(before), ..even() },
            "ANIMAL_NOT_HELD_THEN",
            "assessed_at",
        ),
        (v1::RecordAssessmentRequest { protocol: "bear-watch".to_owned(), ..even() }, "NOT_FOUND", ""),
        (v1::RecordAssessmentRequest { protocol_version: 2, ..even() }, "NOT_FOUND", ""),
        (v1::RecordAssessmentRequest { animal: "Nobody".to_owned(), ..even() }, "NOT_FOUND", ""),
    ] {
        let refused = watch.assess(look.clone()).await.unwrap_err();
        assert_eq!(reason(&refused), wanted, "{look:?}");
        let named: Vec<&str> = if field.is_empty() { Vec::new() } else { vec![field] };
        assert_eq!(fields(&refused), named, "{look:?}");
    }
    watch.house.close().await;
}
