//! More than is worked on at the same time, and messages larger than are taken.

use super::Held;
use holt_proto::v1;
use holt_tests::house::start_of_time;
use holt_tests::{House, reason};
use tonic::Code;
use tonic_types::StatusExt;

#[tokio::test(flavor = "multi_thread")]
async fn more_calls_than_are_worked_on_at_once_are_sent_away_with_a_time_to_come_back() {
    let house = House::with(|config| config.server.max_calls = 1).await;
    let park = house.quill().await;
    let otter = house.otter(&park, "Bramble").await;
    let mut held = Held::animal(&house, &otter.id).await;
    let round = house.round("QUI", &[("Bramble", start_of_time(), 8000)]);
    let client = park.keeper.client.clone();
    let call = tokio::spawn(async move { client.weights().record_weights(round).await });
    held.is_waited_for().await;
    let refused = park.keeper.client.sites().list_sites(v1::ListSitesRequest {}).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::ResourceExhausted, "TOO_MUCH"));
    assert!(refused.get_details_retry_info().unwrap().retry_delay.is_some());
    held.let_go().await;
    call.await.unwrap().unwrap();
    park.keeper.client.sites().list_sites(v1::ListSitesRequest {}).await.unwrap();
    house.close().await;
}

#[tokio::test]
async fn a_message_that_is_too_large_is_not_taken() {
    let house = House::with(|config| config.server.max_message_bytes = 1000).await;
    let park = house.quill().await;
    let mut round = house.round("QUI", &[("Bramble", start_of_time(), 8000)]);
    round.readings[0].note = "x".repeat(2000);
    let refused = park.keeper.client.weights().record_weights(round).await.unwrap_err();
    // Sending it again never helps, so it is not for want of anything of which there is more later.
    assert_eq!(
        (refused.code(), reason(&refused).as_str()),
        (Code::InvalidArgument, "MALFORMED"),
        "{refused:?}"
    );
    house.close().await;
}
