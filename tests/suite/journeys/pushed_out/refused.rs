//! What does not fit is refused as a whole, with every place named.

use super::{Weir, did, feeding_time, scan};
use crate::journeys::registration::fields;
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::watch_event::What;
use holt_tests::reason;
use tonic::Code;
use tonic_types::StatusExt;

#[tokio::test]
async fn what_is_not_of_its_form_is_told_field_by_field() {
    let weir = Weir::new().await;
    let bout = v1::Bout { animal: "Rush".to_owned(), behaviour: "guard".to_owned(), seconds: 0 };
    let mut ask = weir.watch(
        feeding_time(),
        vec![
            (1, did("", "chase", "Sedge")),
            (2, What::Bout(bout)),
            (3, scan(&[])),
            (4, scan(&[("Rush", "", -1)])),
        ],
    );
    ask.events[1].number = 0;
    ask.events.push(v1::WatchEvent { number: 6, ..Default::default() });
    ask.watch_id = "morning".to_owned();
    ask.began_at = None;
    let refused = weir.record(ask).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::InvalidArgument, "MALFORMED"));
    let mut told = fields(&refused);
    told.sort();
    assert_eq!(
        told,
        [
            "began_at",
            "events[0].interaction.actor",
            "events[1].bout.seconds",
            "events[1].number",
            "events[2].scan.seen",
            "events[3].scan.seen[0].behaviour",
            "events[3].scan.seen[0].party",
            "events[5]",
            "events[5].happened_at",
            "watch_id"
        ]
    );
    weir.house.close().await;
}

#[tokio::test]
async fn what_cannot_have_been_seen_is_told_event_by_event() {
    let weir = Weir::new().await;
    weir.house.otter(&weir.park, "Stranger").await;
    let ask = weir.watch(
        feeding_time(),
        vec![
            (1, did("Brmble", "chase", "Sedge")),
            (2, did("Bramble", "chase", "Stranger")),
            (3, did("Bramble", "fly", "Sedge")),
            (4, did("Bramble", "chase", "")),
            (5, did("Bramble", "guard", "Sedge")),
            (6, did("Bramble", "chase", "bramble")),
            (7, scan(&[("Rush", "rest", 1), ("Rush", "rest", 2)])),
            (-5, did("Bramble", "chase", "Sedge")),
            (40, did("Bramble", "chase", "Sedge")),
            (60 * 24, did("Bramble", "chase", "Sedge")),
        ],
    );
    let refused = weir.record(ask).await.unwrap_err();
    assert_eq!(
        (refused.code(), reason(&refused).as_str()),
        (Code::InvalidArgument, "OBSERVATION_DOES_NOT_FIT")
    );
    assert_eq!(
        fields(&refused),
        [
            "events[0].interaction.actor",
            "events[1].interaction.receiver",
            "events[2].interaction.behaviour",
            "events[3].interaction.receiver",
            "events[4].interaction.receiver",
            "events[5].interaction.receiver",
            "events[6].scan.seen[1].animal",
            "events[7].happened_at",
            "events[8].happened_at",
            "events[9].happened_at",
        ]
    );
    let said = refused.get_details_bad_request().unwrap().field_violations;
    assert!(said[0].description.contains("no animal `Brmble`"), "{said:?}");
    assert!(said[1].description.starts_with("Stranger (QUI-"), "{said:?}");
    assert!(said[1].description.contains("was not in Weir family then"), "{said:?}");
    assert!(said[2].description.contains("displace, chase, bite"), "{said:?}");
    assert_eq!(weir.watches(v1::ListWatchesRequest::default()).await, [], "all or nothing");
    weir.house.close().await;
}

#[tokio::test]
async fn a_watch_is_of_one_group_by_one_ethogram_and_ends_once() {
    let weir = Weir::new().await;
    let ask = weir.watch(feeding_time(), vec![(2, did("Bramble", "chase", "Sedge"))]);
    weir.record(ask.clone()).await.unwrap();
    weir.group("Bachelors").await;
    let began_at = Some(timestamp(feeding_time() - TimeDelta::hours(1)));
    let other =
        v1::RecordWatchRequest { group: "Bachelors".to_owned(), began_at, events: Vec::new(), ..ask.clone() };
    let late = v1::WatchEvent {
        number: 7,
        happened_at: Some(timestamp(feeding_time() + TimeDelta::minutes(35))),
        what: Some(What::End(v1::WatchEnd {})),
    };
    let twice = v1::RecordWatchRequest { events: vec![late], ..ask.clone() };
    let mut changed = ask.clone();
    changed.events[0].what = Some(did("Alder", "chase", "Sedge"));
    for (ask, wanted) in [
        (other, vec!["group", "began_at"]),
        (twice, vec!["events[0]", "events[0].happened_at"]),
        (changed, vec!["events[0].number"]),
    ] {
        let ask = v1::RecordWatchRequest { request_id: weir.house.request(), ..ask };
        let refused = weir.record(ask).await.unwrap_err();
        assert_eq!(
            (reason(&refused).as_str(), fields(&refused)),
            ("OBSERVATION_DOES_NOT_FIT", wanted.into_iter().map(str::to_owned).collect::<Vec<_>>())
        );
    }
    weir.house.close().await;
}

#[tokio::test]
async fn a_group_or_ethogram_that_is_not_there_is_not_found() {
    let weir = Weir::new().await;
    let ask = weir.watch(feeding_time(), Vec::new());
    for (ask, field) in [
        (v1::RecordWatchRequest { group: "Nobody".to_owned(), ..ask.clone() }, Vec::new()),
        (v1::RecordWatchRequest { ethogram: "birds".to_owned(), ..ask.clone() }, vec!["ethogram".to_owned()]),
        (v1::RecordWatchRequest { ethogram_version: 7, ..ask.clone() }, vec!["ethogram".to_owned()]),
    ] {
        let refused = weir.record(ask).await.unwrap_err();
        assert_eq!((reason(&refused).as_str(), fields(&refused)), ("NOT_FOUND", field));
    }
    let birds = r#"
        code = "birds"
        version = 1
        title = "Birds"
        species = ["Larus argentatus"]
        [[behaviour]]
        code = "preen"
        name = "preens"
        kind = "other"
        meaning = "draws a feather through its bill"
    "#;
    let load = v1::LoadEthogramRequest {
        request_id: weir.house.request(),
        toml: birds.to_owned(),
        ..Default::default()
    };
    weir.steward.client.ethograms().load_ethogram(load).await.unwrap();
    let refused =
        weir.record(v1::RecordWatchRequest { ethogram: "birds".to_owned(), ..ask }).await.unwrap_err();
    assert_eq!(reason(&refused), "OBSERVATION_DOES_NOT_FIT");
    assert!(refused.message().contains("is not for Lontra canadensis"), "{refused:?}");
    weir.house.close().await;
}
