//! A graceful stop lets calls in flight finish.

use super::Held;
use holt_proto::v1::ReadingOutcome;
use holt_tests::House;
use holt_tests::house::start_of_time;

#[tokio::test(flavor = "multi_thread")]
async fn a_call_in_flight_is_answered_before_the_server_is_gone() {
    let house = House::new().await;
    let park = house.quill().await;
    let otter = house.otter(&park, "Bramble").await;
    let mut held = Held::animal(&house, &otter.id).await;
    let round = house.round("QUI", &[("Bramble", start_of_time(), 8000)]);
    let client = park.keeper.client.clone();
    let call = tokio::spawn(async move { client.weights().record_weights(round).await });
    held.is_waited_for().await;
    let stopped = tokio::spawn(house.stop());
    // The stop waits for the call, and the call for the lock.
    for _ in 0..50 {
        tokio::task::yield_now().await;
    }
    assert!(!stopped.is_finished());
    held.let_go().await;
    let answer = call.await.unwrap().unwrap().into_inner();
    assert_eq!(answer.answers[0].outcome(), ReadingOutcome::Accepted);
    stopped.await.unwrap();
}
