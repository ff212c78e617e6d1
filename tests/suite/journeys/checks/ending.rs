//! The last day of a check.

use super::Duties;
use holt_proto::v1::{self, Duty};
use holt_tests::reason;
use tonic::Status;

async fn end(duties: &Duties, check: &v1::Check, ends_on: &str) -> Result<v1::Check, Status> {
    let end = v1::EndCheckRequest {
        request_id: duties.house.request(),
        site: "QUI".to_owned(),
        check_id: check.id.clone(),
        ends_on: Some(ends_on.parse().unwrap()),
        why: "weighed every day from now on".to_owned(),
    };
    Ok(duties.park.registrar.client.checks().end_check(end).await?.into_inner().check.unwrap())
}

#[tokio::test]
async fn what_was_due_before_stays_due_and_nothing_follows() {
    let duties = Duties::new().await;
    let check =
        duties.set_up(duties.check_of("Bramble", Duty::Weigh, "FREQ=WEEKLY;BYDAY=MO", 0)).await.unwrap();
    let ended = end(&duties, &check, "2026-03-11").await.unwrap();
    assert_eq!(
        (ended.id.as_str(), ended.ends_on.unwrap().to_string()),
        (check.id.as_str(), "2026-03-11".into())
    );
    assert_eq!(duties.told("2026-03-10").await, ["Bramble overdue 2026-03-02 +8"]);
    // Coverage keeps the two that were due and missed; the 16th was due no more.
    let report = v1::GetSiteDayRequest {
        site: "QUI".to_owned(),
        as_of: Some("2026-03-20".parse().unwrap()),
        ..Default::default()
    };
    let day = duties.park.auditor.client.reports().get_site_day(report).await.unwrap().into_inner();
    let weighing = &day.sites[0].coverage[0];
    assert_eq!((weighing.due, weighing.missed, weighing.open), (2, 2, 0));
    assert_eq!(weighing.without_check.len(), 3, "Bramble has none any more, either");
    let list = v1::ListChecksRequest { site: "QUI".to_owned(), as_known_at: None };
    let listed = duties.park.keeper.client.checks().list_checks(list).await.unwrap().into_inner().checks;
    assert_eq!(listed, [ended], "once, with its last day");
    duties.house.close().await;
}

#[tokio::test]
async fn the_check_of_another_site_is_not_there() {
    let duties = Duties::new().await;
    let brack = duties.house.park("BRA", "America/Halifax").await;
    let check =
        v1::CreateCheckRequest { site: "BRA".to_owned(), ..duties.check(Duty::Weigh, "FREQ=DAILY", 0) };
    let check =
        brack.registrar.client.checks().create_check(check).await.unwrap().into_inner().check.unwrap();
    let theirs = end(&duties, &check, "2026-03-11").await.unwrap_err();
    let nobodys = v1::Check { id: duties.house.request(), ..check.clone() };
    let nothing = end(&duties, &nobodys, "2026-03-11").await.unwrap_err();
    assert_eq!((reason(&theirs).as_str(), reason(&nothing).as_str()), ("NOT_FOUND", "NOT_FOUND"));
    assert_eq!(theirs.message().replace(&check.id, "ID"), nothing.message().replace(&nobodys.id, "ID"));
    duties.house.close().await;
}

/// A check that was set up by mistake ends before it began: then nothing was ever due.
#[tokio::test]
async fn a_mistake_can_be_taken_back() {
    let duties = Duties::new().await;
    let check = duties.set_up(duties.check(Duty::Weigh, "FREQ=DAILY", 0)).await.unwrap();
    assert_eq!(duties.due("2026-03-05").await.len(), 3);
    end(&duties, &check, "2026-03-01").await.unwrap();
    assert_eq!(duties.due("2026-03-05").await, []);
    duties.house.close().await;
}
