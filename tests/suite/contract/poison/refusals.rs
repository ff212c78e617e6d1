//! What cannot be read at all, and refusals that an ordinary client can take.

use super::super::raw::call;
use super::super::requests::HOME;
use holt_proto::v1;
use holt_tests::house::start_of_time;
use holt_tests::{House, reason};
use tonic::{Code, Status};
use tonic_types::StatusExt;
use tower::{Service, ServiceExt};

const METHOD: &str = "WeightService/RecordWeights";

/// A house, and somebody's authorization in it.
async fn house() -> (House, String) {
    let house = House::new().await;
    let park = house.park(HOME, "Europe/Dublin").await;
    let grants = [holt_server::model::person::Grant {
        role: holt_server::model::person::Role::Keeper,
        site: Some(HOME.to_owned()),
    }];
    let token = house.token(park.keeper.id, &grants);
    (house, format!("Bearer {token}"))
}

#[tokio::test]
async fn bytes_that_are_no_message_are_refused_with_a_reason() {
    let (house, authorization) = house().await;
    // A field that ends in the middle; a text that is no text; a length beyond the end.
    for bytes in
        [&b"\x0a"[..], b"\x0a\x02\xff\xfe", b"\x0a\x7f", b"\xff\xff\xff\xff\xff\xff\xff\xff\xff\xff\xff"]
    {
        let refused = call(&house.channel(), METHOD, Some(&authorization), bytes).await.unwrap_err();
        assert_eq!(
            (refused.code(), reason(&refused).as_str()),
            (Code::InvalidArgument, "MALFORMED"),
            "{bytes:?}"
        );
    }
    house.close().await;
}

/// A call whose body is this text, head and all, in a coding.
async fn body(house: &House, authorization: &str, path: &str, coding: &str, body: &str) -> Status {
    let request = http::Request::post(format!("{}{path}", house.address))
        .header("content-type", "application/grpc")
        .header("te", "trailers")
        .header("grpc-encoding", coding)
        .header("authorization", authorization)
        .body(tonic::body::Body::new(body.to_owned()))
        .unwrap();
    let mut channel = house.channel();
    let answer = channel.ready().await.unwrap().call(request).await.unwrap();
    Status::from_header_map(answer.headers()).unwrap_or_else(|| panic!("{answer:?}"))
}

#[tokio::test]
async fn a_compressed_message_and_an_unknown_method_are_not_implemented() {
    let (house, authorization) = house().await;
    let path = format!("/holt.v1.{METHOD}");
    for (path, text) in
        [(&*path, "\x01\0\0\0\x01a"), ("/holt.v1.WeightService/Nothing", "\0\0\0\0\0"), ("/x", "")]
    {
        let refused = body(&house, &authorization, path, "br", text).await;
        assert_eq!(refused.code(), Code::Unimplemented, "{path}: {refused:?}");
    }
    // A message whose end never comes.
    let refused = body(&house, &authorization, &path, "identity", "\0\0\0\0\x09a").await;
    assert_eq!(refused.code(), Code::InvalidArgument, "{refused:?}");
    house.close().await;
}

#[tokio::test]
async fn five_thousand_flaws_are_told_as_twenty_and_how_many_more() {
    let (house, authorization) = house().await;
    let reading = v1::DeviceReading { device: String::new(), read_at: None, value: f64::NAN };
    let ask = v1::RecordReadingsRequest {
        request_id: house.request(),
        site: HOME.to_owned(),
        readings: vec![reading; 2_500],
    };
    let bytes = prost::Message::encode_to_vec(&ask);
    let refused = call(&house.channel(), "ClimateService/RecordReadings", Some(&authorization), &bytes)
        .await
        .unwrap_err();
    assert_eq!(reason(&refused), "MALFORMED");
    let told = refused.get_details_bad_request().unwrap().field_violations;
    assert_eq!(told.len(), 21);
    assert_eq!(told[20].description, "and 7,480 more");
    house.close().await;
}

#[tokio::test]
async fn nothing_long_and_nothing_hidden_is_told_back() {
    let (house, authorization) = house().await;
    let long = "x".repeat(100_000);
    for site in [&*long, "\u{1b}[31m\u{202e}QUI"] {
        let mut round = house.round(HOME, &[("Bramble", start_of_time(), 8_000)]);
        round.site = site.to_owned();
        let bytes = prost::Message::encode_to_vec(&round);
        let refused = call(&house.channel(), METHOD, Some(&authorization), &bytes).await.unwrap_err();
        assert!(refused.message().chars().count() < 200, "{refused:?}");
        let shown = |text: &str| !text.chars().any(|c| c.is_control() || c == '\u{202e}');
        let told = refused.get_details_bad_request().unwrap().field_violations;
        assert!(shown(refused.message()) && told.iter().all(|one| shown(&one.description)), "{refused:?}");
    }
    house.close().await;
}
