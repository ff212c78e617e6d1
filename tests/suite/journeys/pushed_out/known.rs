//! What was known at an instant stays as it was; what another site watches is nobody else's.

use super::{Weir, did, feeding_time};
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_tests::reason;

#[tokio::test]
async fn watches_are_listed_by_group_and_day_as_was_known() {
    let weir = Weir::new().await;
    weir.group("Bachelors").await;
    let chase = || vec![(2, did("Bramble", "chase", "Sedge"))];
    weir.record(weir.watch(feeding_time() - TimeDelta::days(3), chase())).await.unwrap();
    let then = weir.house.clock.now();
    weir.house.clock.advance(TimeDelta::minutes(5));
    weir.record(weir.watch(feeding_time(), chase())).await.unwrap();
    let all = v1::ListWatchesRequest { group: "Weir family".to_owned(), ..Default::default() };
    let days = |first: &str, last: &str| {
        let (first, last) = (Some(first.parse().unwrap()), Some(last.parse().unwrap()));
        Some(v1::DaySpan { first, last })
    };
    for (ask, wanted) in [
        (all.clone(), 2),
        (v1::ListWatchesRequest { as_known_at: Some(timestamp(then)), ..all.clone() }, 1),
        (v1::ListWatchesRequest { days: days("2026-03-01", "2026-03-01"), ..all.clone() }, 1),
        (v1::ListWatchesRequest { days: days("2026-02-01", "2026-02-25"), ..all.clone() }, 0),
        (v1::ListWatchesRequest { group: "Bachelors".to_owned(), ..Default::default() }, 0),
    ] {
        assert_eq!(weir.watches(ask).await.len(), wanted);
    }
    let page = v1::ListWatchesRequest {
        page: Some(v1::PageRequest { size: 1, token: String::new() }),
        site: "QUI".to_owned(),
        ..all
    };
    let client = weir.park.auditor.client.watches();
    let first = client.clone().list_watches(page.clone()).await.unwrap().into_inner();
    let token = first.page.unwrap().next_token;
    let page = v1::ListWatchesRequest { page: Some(v1::PageRequest { size: 1, token }), ..page };
    let second = client.clone().list_watches(page).await.unwrap().into_inner();
    assert!(first.watches[0].began_at.unwrap().seconds > second.watches[0].began_at.unwrap().seconds);
    weir.house.close().await;
}

#[tokio::test]
async fn the_standing_is_told_as_was_known() {
    let weir = Weir::new().await;
    let then = weir.house.clock.now();
    weir.house.clock.advance(TimeDelta::minutes(5));
    weir.record(weir.watch(feeding_time(), vec![(2, did("Bramble", "chase", "Sedge"))])).await.unwrap();
    let ask = v1::GetStandingRequest {
        site: "QUI".to_owned(),
        group: "Weir family".to_owned(),
        as_known_at: Some(timestamp(then)),
        ..Default::default()
    };
    let known = weir.park.auditor.client.standing().get_standing(ask).await.unwrap().into_inner();
    assert_eq!((known.watches, weir.standing().await.watches), (0, 1));
    weir.house.close().await;
}

#[tokio::test]
async fn another_site_knows_nothing_of_it() {
    let weir = Weir::new().await;
    let brae = weir.house.park("BRA", "Europe/London").await;
    let ask = weir.watch(feeding_time(), vec![(2, did("Bramble", "chase", "Sedge"))]);
    weir.record(ask.clone()).await.unwrap();
    let theirs = v1::RecordWatchRequest { request_id: weir.house.request(), site: "BRA".to_owned(), ..ask };
    let mut client = brae.keeper.client.watches();
    assert_eq!(reason(&client.record_watch(theirs).await.unwrap_err()), "NOT_FOUND", "no such group there");
    let list = v1::ListWatchesRequest { site: "BRA".to_owned(), ..Default::default() };
    assert_eq!(client.list_watches(list).await.unwrap().into_inner().watches, []);
    let list = v1::ListWatchesRequest { site: "QUI".to_owned(), ..Default::default() };
    assert_eq!(reason(&client.list_watches(list).await.unwrap_err()), "NOT_FOUND");
    weir.house.close().await;
}
