//! A watch that is followed as it goes: portions are answered one by one, and after a break nothing is
//! recorded twice.

use super::{Weir, did, feeding_time};
use holt_proto::v1;
use holt_tests::reason;
use tonic::Status;

impl Weir {
    /// Sends portions on one stream and answers what came of each, until one is refused.
    async fn followed(&self, portions: Vec<v1::RecordWatchRequest>) -> Result<Vec<(i32, i32)>, Status> {
        let portions = portions.into_iter().map(|portion| v1::FollowWatchRequest { portion: Some(portion) });
        let ask = tokio_stream::iter(portions.collect::<Vec<_>>());
        let mut answers = self.park.keeper.client.watches().follow_watch(ask).await?.into_inner();
        let mut told = Vec::new();
        while let Some(answer) = answers.message().await? {
            let answer = answer.answer.unwrap();
            told.push((answer.recorded, answer.known));
        }
        Ok(told)
    }

    /// A watch in portions of one event each.
    fn portions(&self, minutes: i64) -> Vec<v1::RecordWatchRequest> {
        let chases = (0..minutes).map(|minute| (minute, did("Bramble", "chase", "Sedge")));
        let whole = self.watch(feeding_time(), chases.collect());
        let portion = |event: &v1::WatchEvent| v1::RecordWatchRequest {
            request_id: self.house.request(),
            events: vec![event.clone()],
            ..whole.clone()
        };
        whole.events.iter().map(portion).collect()
    }
}

#[tokio::test]
async fn each_portion_is_answered_and_what_is_sent_again_is_known() {
    let weir = Weir::new().await;
    let portions = weir.portions(5);
    let first = weir.followed(portions[..4].to_vec()).await.unwrap();
    assert_eq!(first, [(1, 0); 4]);
    // The line broke before the last answers came: the client sends from where it was answered.
    let fresh = |portion: &v1::RecordWatchRequest| v1::RecordWatchRequest {
        request_id: weir.house.request(),
        ..portion.clone()
    };
    let again = weir.followed(portions[2..].iter().map(fresh).collect()).await.unwrap();
    assert_eq!(again, [(0, 1), (0, 1), (1, 0), (1, 0)]);
    let kept = weir.followed(portions[..1].to_vec()).await.unwrap();
    assert_eq!(kept, [(1, 0)], "the kept answer");
    let [watch] = &weir.watches(v1::ListWatchesRequest::default()).await[..] else { panic!() };
    assert_eq!(watch.events.len(), 6);
    assert!(watch.ended_at.is_some());
    weir.house.close().await;
}

#[tokio::test]
async fn a_portion_that_is_refused_ends_the_stream_and_the_rest_stands() {
    let weir = Weir::new().await;
    let mut portions = weir.portions(3);
    portions[1].events[0].what = Some(did("Brmble", "chase", "Sedge"));
    let refused = weir.followed(portions).await.unwrap_err();
    assert_eq!(reason(&refused), "OBSERVATION_DOES_NOT_FIT");
    let [watch] = &weir.watches(v1::ListWatchesRequest::default()).await[..] else { panic!() };
    assert_eq!((watch.events.len(), &watch.ended_at), (1, &None));
    weir.house.close().await;
}
