//! Protocols that are taken, and those that contradict themselves.

use super::{Watch, changed, fields};
use holt_proto::v1;
use holt_tests::cast::PROTOCOL;
use holt_tests::reason;
use tonic::Code;

#[tokio::test]
async fn a_protocol_is_on_record_as_it_was_written() {
    let watch = Watch::new().await;
    let [protocol] = watch.protocols().await.try_into().unwrap();
    assert_eq!((protocol.code.as_str(), protocol.version), ("otter-watch", 1));
    assert_eq!(
        (protocol.title.as_str(), protocol.taxa),
        ("Otter watch", vec!["Lontra canadensis".to_owned()])
    );
    let domains: Vec<_> = protocol.indicators.iter().map(|one| (one.code.as_str(), one.domain())).collect();
    assert_eq!(
        domains,
        [
            ("body-condition", v1::Domain::Nutrition),
            ("water-temperature", v1::Domain::Environment),
            ("gait", v1::Domain::Health),
            ("play", v1::Domain::Behaviour),
        ]
    );
    let water = &protocol.indicators[1];
    assert_eq!(water.basis(), v1::IndicatorBasis::Resource);
    let Some(v1::indicator::Scale::Measured(scale)) = &water.scale else { panic!("{water:?}") };
    assert_eq!((scale.unit.as_str(), scale.min, scale.max), ("Cel", 0.0, 40.0));
    let bands: Vec<_> =
        scale.bands.iter().map(|band| (band.from, band.compromise(), band.affect.as_str())).collect();
    assert_eq!(bands, [(0.0, v1::Compromise::A, ""), (24.0, v1::Compromise::C, "heat")]);
    watch.house.close().await;
}

#[tokio::test]
async fn what_contradicts_itself_is_refused_and_the_place_is_named() {
    let watch = Watch::new().await;
    for (from, to, place) in [
        ("code = \"otter-watch\"", "code = \"Otter Watch\"", "code"),
        ("version = 2", "version = 0", "version"),
        ("title = \"Otter watch\"", "title = \"\"", "title"),
        ("code = \"gait\"", "code = \"play\"", "indicator[3].code"),
        ("domain = \"health\"", "domain = \"mental\"", "indicator[2].domain"),
        ("guidance = \"Watch it cross open ground.\"", "guidance = \" \"", "indicator[2].guidance"),
        ("name = \"lame\"", "name = \"even\"", "indicator[2].scale.levels[1].name"),
        ("from = 24.0", "from = 44.0", "indicator[1].scale.bands[1].from"),
        ("from = 0.0", "from = 5.0", "indicator[1].scale.bands[0].from"),
        ("max = 40.0", "max = 0.0", "indicator[1].scale.max"),
    ] {
        let document = changed(from, to);
        let refused = watch.load(&document).await.unwrap_err();
        assert_eq!(
            (refused.code(), reason(&refused).as_str()),
            (Code::InvalidArgument, "PROTOCOL_MALFORMED"),
            "{to}"
        );
        assert!(fields(&refused).contains(&place.to_owned()), "{to}: {:?}", fields(&refused));
    }
    // All of it is told at once.
    let document =
        changed("title = \"Otter watch\"", "title = \"\"").replacen("name = \"lame\"", "name = \"\"", 1);
    let refused = watch.load(&document).await.unwrap_err();
    assert_eq!(fields(&refused), ["title", "indicator[2].scale.levels[1].name"]);
    assert_eq!(watch.protocols().await.len(), 1, "none of them is on record");
    watch.house.close().await;
}

#[tokio::test]
async fn what_is_no_protocol_is_refused() {
    let watch = Watch::new().await;
    for document in [
        "code = ",
        "code = \"otter-watch\"",
        &changed("basis = \"animal\"", "basis = \"animal\"\nweight = 2"),
        &changed("compromise = \"D\"", "compromise = \"F\""),
        &changed("domain = \"health\"", "domain = \"spirit\""),
    ] {
        let refused = watch.load(document).await.unwrap_err();
        assert_eq!(reason(&refused), "PROTOCOL_MALFORMED", "{document}");
        assert_eq!(fields(&refused), ["toml"], "{document}");
    }
    watch.house.close().await;
}

#[tokio::test]
async fn a_version_never_changes() {
    let watch = Watch::new().await;
    let other = PROTOCOL.replacen("Otter watch", "Another watch", 1);
    let refused = watch.load(&other).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::AlreadyExists, "EXISTS"));
    watch.load(&changed("Otter watch", "Another watch")).await.unwrap();
    let titles: Vec<_> =
        watch.protocols().await.into_iter().map(|protocol| (protocol.version, protocol.title)).collect();
    assert_eq!(titles, [(1, "Otter watch".to_owned()), (2, "Another watch".to_owned())]);
    watch.house.close().await;
}

#[tokio::test]
async fn tried_first_it_is_not_on_record() {
    let watch = Watch::new().await;
    let load = v1::LoadProtocolRequest {
        request_id: watch.house.request(),
        toml: changed("Otter watch", "Another watch"),
        validate_only: true,
        ..Default::default()
    };
    let tried = watch.steward.client.assessments().load_protocol(load).await.unwrap().into_inner();
    assert_eq!(tried.protocol.unwrap().version, 2);
    assert_eq!(watch.protocols().await.len(), 1);
    watch.house.close().await;
}
