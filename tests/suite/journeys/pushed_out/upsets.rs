//! What befell the whole group is recorded with what was done, and how long it took to calm down.

use super::{Weir, feeding_time};
use crate::journeys::registration::fields;
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_server::model::person::Role;
use holt_tests::reason;
use tonic::Status;

impl Weir {
    fn upset(&self, kind: v1::UpsetKind) -> v1::RecordUpsetRequest {
        v1::RecordUpsetRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            group: "weir family".to_owned(),
            kind: kind.into(),
            began_at: Some(timestamp(feeding_time())),
            happened: "a heron on the roof".to_owned(),
            calm_after_minutes: Some(12),
            ..Default::default()
        }
    }

    async fn upset_now(&self, ask: v1::RecordUpsetRequest) -> Result<v1::Upset, Status> {
        Ok(self.park.keeper.client.upsets().record_upset(ask).await?.into_inner().upset.unwrap())
    }

    async fn upsets(&self, ask: v1::ListUpsetsRequest) -> Vec<v1::Upset> {
        let ask = v1::ListUpsetsRequest { site: "QUI".to_owned(), ..ask };
        self.park.auditor.client.upsets().list_upsets(ask).await.unwrap().into_inner().upsets
    }
}

#[tokio::test]
async fn upsets_are_recorded_once_and_listed_as_was_known() {
    let weir = Weir::new().await;
    let fight = v1::RecordUpsetRequest {
        animals: vec!["Sedge".to_owned(), "Willow".to_owned()],
        calm_after_minutes: None,
        response: "a door opened to the pool".to_owned(),
        began_at: Some(timestamp(feeding_time() - TimeDelta::days(5))),
        ..weir.upset(v1::UpsetKind::Fight)
    };
    let recorded = weir.upset_now(fight.clone()).await.unwrap();
    assert_eq!(weir.upset_now(fight).await.unwrap(), recorded, "the kept answer");
    assert_eq!((recorded.kind(), recorded.calm_after_minutes), (v1::UpsetKind::Fight, None));
    let names: Vec<&str> = recorded.animals.iter().map(|animal| animal.house_name.as_str()).collect();
    assert_eq!(names, ["Sedge", "Willow"]);
    let then = weir.house.clock.now();
    weir.house.clock.advance(TimeDelta::minutes(1));
    weir.upset_now(weir.upset(v1::UpsetKind::Alarm)).await.unwrap();
    let checked = v1::RecordUpsetRequest { validate_only: true, ..weir.upset(v1::UpsetKind::Visitor) };
    weir.upset_now(checked).await.unwrap();
    let kinds = |upsets: Vec<v1::Upset>| upsets.iter().map(v1::Upset::kind).collect::<Vec<_>>();
    assert_eq!(
        kinds(weir.upsets(v1::ListUpsetsRequest::default()).await),
        [v1::UpsetKind::Alarm, v1::UpsetKind::Fight]
    );
    let known = v1::ListUpsetsRequest { as_known_at: Some(timestamp(then)), ..Default::default() };
    assert_eq!(kinds(weir.upsets(known).await), [v1::UpsetKind::Fight]);
    let days =
        v1::DaySpan { first: Some("2026-03-01".parse().unwrap()), last: Some("2026-03-02".parse().unwrap()) };
    let asked =
        v1::ListUpsetsRequest { group: "Weir family".to_owned(), days: Some(days), ..Default::default() };
    assert_eq!(kinds(weir.upsets(asked).await), [v1::UpsetKind::Alarm]);
    weir.house.close().await;
}

#[tokio::test]
async fn what_cannot_be_is_refused() {
    let weir = Weir::new().await;
    let alarm = || weir.upset(v1::UpsetKind::Alarm);
    let now = weir.house.clock.now();
    for (ask, why, field) in [
        (v1::RecordUpsetRequest { group: "Nobody".to_owned(), ..alarm() }, "NOT_FOUND", ""),
        (v1::RecordUpsetRequest { kind: 0, ..alarm() }, "MALFORMED", "kind"),
        (v1::RecordUpsetRequest { happened: String::new(), ..alarm() }, "MALFORMED", "happened"),
        (
            v1::RecordUpsetRequest { calm_after_minutes: Some(-1), ..alarm() },
            "MALFORMED",
            "calm_after_minutes",
        ),
        (
            v1::RecordUpsetRequest { began_at: Some(timestamp(now + TimeDelta::hours(1))), ..alarm() },
            "IN_THE_FUTURE",
            "began_at",
        ),
        (
            v1::RecordUpsetRequest { began_at: Some(timestamp(now)), ..alarm() },
            "IN_THE_FUTURE",
            "calm_after_minutes",
        ),
        (v1::RecordUpsetRequest { animals: vec!["Brmble".to_owned()], ..alarm() }, "NOT_FOUND", "animals[0]"),
        (
            v1::RecordUpsetRequest {
                animals: vec!["Sedge".to_owned()],
                began_at: Some(timestamp("2025-02-01T08:00:00Z".parse().unwrap())),
                ..alarm()
            },
            "NOT_FOUND",
            "animals[0]",
        ),
    ] {
        let refused = weir.upset_now(ask).await.unwrap_err();
        let wanted: Vec<String> =
            Some(field.to_owned()).filter(|field| !field.is_empty()).into_iter().collect();
        assert_eq!((reason(&refused).as_str(), fields(&refused)), (why, wanted));
    }
    weir.house.close().await;
}

#[tokio::test]
async fn a_keeper_types_what_befell_the_group() {
    let weir = Weir::new().await;
    let desk = weir.house.desk_of(&weir.park.keeper, &[(Role::Keeper, Some("QUI"))]);
    let line =
        "holt disturbance record 'Weir family' fight 'all on Sedge' --animal Sedge --at 'yesterday 07:10'";
    desk.done(&format!("{line} --response 'a door opened' --calm-after 25")).await;
    desk.done("holt disturbance record 'Weir family' alarm 'a heron on the roof'").await;
    let shown = desk.at_terminal(110).with("NO_COLOR", "1").done("holt disturbance list 'Weir family'").await;
    insta::assert_snapshot!("upsets", shown);
    weir.house.close().await;
}
