//! A handler that panics is told as a fault of Holt, by a number, and the server goes on.

use holt_server::api::shield::ShieldLayer;
use holt_server::app;
use holt_server::config::Config;
use holt_tests::House;
use std::convert::Infallible;
use tokio_util::task::TaskTracker;
use tonic::Code;
use tonic::body::Body;
use tower::{Layer, Service, service_fn};

#[tokio::test]
async fn a_panic_is_an_incident_and_not_the_end() {
    let house = House::new().await;
    let inner = service_fn(|request: http::Request<Body>| async move {
        assert!(!request.headers().contains_key("panic"), "an invented panic");
        Ok::<_, Infallible>(http::Response::new(Body::empty()))
    });
    let tasks = TaskTracker::new();
    let mut config = Config::defaults().unwrap();
    config.server.max_calls_of_strangers = 1;
    let shield = ShieldLayer::new(house.records.clone(), app::limits(&config), tasks.clone());
    let mut service = shield.layer(inner);
    let call = |panic: bool| {
        let mut request = http::Request::post("/holt.v1.PeopleService/SignIn");
        if panic {
            request = request.header("panic", "yes");
        }
        request.body(Body::empty()).unwrap()
    };
    let answer = service.call(call(true)).await.unwrap();
    let status = tonic::Status::from_header_map(answer.headers()).unwrap();
    assert_eq!(status.code(), Code::Internal);
    assert!(!status.message().contains("invented"), "the cause is for the log: {}", status.message());
    assert_eq!(holt_tests::reason(&status), "FAULT");
    assert!(answer.headers().contains_key("x-request-id"));
    // The place that the call took is free again.
    let answer = service.call(call(false)).await.unwrap();
    assert!(tonic::Status::from_header_map(answer.headers()).is_none());
    tasks.close();
    tasks.wait().await;
    house.close().await;
}
