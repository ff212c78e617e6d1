//! A deadline is told as such, and the same request id tells later what came of the call.

use super::{Held, weights};
use holt_proto::v1::ReadingOutcome;
use holt_tests::house::start_of_time;
use holt_tests::{House, reason};
use std::time::Duration;
use tonic::{Code, Request};

#[tokio::test(flavor = "multi_thread")]
async fn a_call_that_waits_too_long_is_told_so_and_leaves_nothing_behind() {
    let house = House::new().await;
    let park = house.quill().await;
    let otter = house.otter(&park, "Bramble").await;
    let held = Held::animal(&house, &otter.id).await;
    let round = house.round("QUI", &[("Bramble", start_of_time(), 8000)]);
    let mut hurried = Request::new(round.clone());
    hurried.set_timeout(Duration::from_millis(700));
    let late = park.keeper.client.weights().record_weights(hurried).await.unwrap_err();
    assert_eq!(late.code(), Code::DeadlineExceeded, "{late:?}");
    assert_eq!(reason(&late), "DEADLINE_PASSED");
    held.let_go().await;

    let again = park.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
    assert_eq!(again.answers[0].outcome(), ReadingOutcome::Accepted);
    assert_eq!(weights(&house).await, 1);
    house.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_servers_own_limit_holds_without_a_deadline() {
    let house = House::with(|config| config.server.call_seconds = 1).await;
    let park = house.quill().await;
    let otter = house.otter(&park, "Bramble").await;
    let held = Held::animal(&house, &otter.id).await;
    let round = house.round("QUI", &[("Bramble", start_of_time(), 8000)]);
    let late = park.keeper.client.weights().record_weights(round).await.unwrap_err();
    assert_eq!(reason(&late), "DEADLINE_PASSED");
    held.let_go().await;
    assert_eq!(weights(&house).await, 0);
    house.close().await;
}
