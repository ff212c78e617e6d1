//! Rules that are taken and rules that are refused (RFC 5545, section 3.3.10).

use super::Duties;
use holt_proto::v1::{self, Duty, check_scope::Of};
use holt_tests::reason;
use tonic::{Code, Status};
use tonic_types::StatusExt;

fn fields(refused: &Status) -> Vec<String> {
    refused
        .get_details_bad_request()
        .into_iter()
        .flat_map(|bad| bad.field_violations)
        .map(|v| v.field)
        .collect()
}

#[tokio::test]
async fn a_check_is_on_record_as_it_was_set_up() {
    let duties = Duties::new().await;
    let asked = v1::CreateCheckRequest {
        note: "before the morning feed".to_owned(),
        ..duties.check_of("Bramble", Duty::Weigh, "freq=weekly;byday=mo,th", 2)
    };
    let check = duties.set_up(asked.clone()).await.unwrap();
    assert_eq!((check.duty(), check.grace_days, check.starts_on), (Duty::Weigh, 2, asked.starts_on));
    assert_eq!((check.recurrence.as_str(), check.ends_on), ("FREQ=WEEKLY;BYDAY=MO,TH", None));
    assert_eq!(check.note, asked.note);
    let list = v1::ListChecksRequest { site: "QUI".to_owned(), as_known_at: None };
    let listed = duties.park.keeper.client.checks().list_checks(list).await.unwrap().into_inner().checks;
    let scope = Some(v1::CheckScope { of: Some(Of::Animal("QUI-25-0001".to_owned())) });
    assert_eq!(listed, [v1::Check { scope, ..check.clone() }]);
    assert_eq!(duties.set_up(asked).await.unwrap(), check, "sent again, it is the same check");
    duties.house.close().await;
}

#[tokio::test]
async fn what_is_no_rule_of_days_is_refused() {
    let duties = Duties::new().await;
    for rule in [
        "FREQ=HOURLY",
        "FREQ=MINUTELY",
        "every monday",
        "INTERVAL=2",
        "FREQ=WEEKLY;BYDAY=MO;BYHOUR=9",
        "FREQ=WEEKLY;BYDAY=XX",
        "FREQ=DAILY;COUNT=3;UNTIL=20260401",
        "FREQ=DAILY;UNTIL=20260401T120000Z",
        "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30",
        "FREQ=DAILY;INTERVAL=0",
        "FREQ=MONTHLY;BYSETPOS=1",
        "FREQ=DAILY;FREQ=WEEKLY",
    ] {
        let refused = duties.set_up(duties.check(Duty::Weigh, rule, 0)).await.unwrap_err();
        assert_eq!(
            (refused.code(), reason(&refused).as_str()),
            (Code::InvalidArgument, "RECURRENCE_MALFORMED"),
            "{rule}"
        );
        assert_eq!(fields(&refused), ["recurrence"], "{rule}");
    }
    duties.house.close().await;
}

#[tokio::test]
async fn every_field_that_is_wrong_is_named_at_once() {
    let duties = Duties::new().await;
    let check = v1::CreateCheckRequest {
        request_id: "7".to_owned(),
        site: "quill".to_owned(),
        duty: 9,
        scope: Some(v1::CheckScope { of: Some(Of::WholeSite(false)) }),
        recurrence: String::new(),
        starts_on: Some("2026".parse().unwrap()),
        grace_days: 367,
        note: "x".repeat(501),
        by_whom: String::new(),
    };
    let refused = duties.set_up(check).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::InvalidArgument, "MALFORMED"));
    let mut named = fields(&refused);
    named.sort();
    assert_eq!(
        named,
        ["duty", "grace_days", "note", "recurrence", "request_id", "scope", "site", "starts_on"]
    );
    for grace_days in [-1, 367] {
        let refused = duties.set_up(duties.check(Duty::Weigh, "FREQ=DAILY", grace_days)).await.unwrap_err();
        assert_eq!(fields(&refused), ["grace_days"]);
    }
    duties.set_up(duties.check(Duty::Weigh, "FREQ=YEARLY", 366)).await.unwrap();
    duties.house.close().await;
}

#[tokio::test]
async fn it_is_for_something_that_is_on_record() {
    let duties = Duties::new().await;
    for of in [
        Of::Animal("Nobody".to_owned()),
        Of::Taxon("Lutra lutra".to_owned()),
        Of::Enclosure("Weir".to_owned()),
    ] {
        let scope = Some(v1::CheckScope { of: Some(of.clone()) });
        let check = v1::CreateCheckRequest { scope, ..duties.check(Duty::Weigh, "FREQ=DAILY", 0) };
        assert_eq!(reason(&duties.set_up(check).await.unwrap_err()), "NOT_FOUND", "{of:?}");
    }
    // An animal of another site is none of Quill's.
    let brack = duties.house.park("BRA", "America/Halifax").await;
    duties.house.otter(&brack, "Alder").await;
    let check = duties.check_of("Alder", Duty::Weigh, "FREQ=DAILY", 0);
    assert_eq!(reason(&duties.set_up(check).await.unwrap_err()), "NOT_FOUND");
    duties.house.close().await;
}
