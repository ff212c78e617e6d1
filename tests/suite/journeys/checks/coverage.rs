//! How far checks were done over any stretch of days, as of any day.

use super::Duties;
use holt_proto::v1::{self, Duty};
use holt_tests::reason;
use tonic::Status;

/// Bramble is to be weighed on Mondays from 5 January on, with a day of grace, and was on some.
async fn winter() -> Duties {
    let duties = Duties::new().await;
    let check = v1::CreateCheckRequest {
        starts_on: Some("2026-01-05".parse().unwrap()),
        ..duties.check_of("Bramble", Duty::Weigh, "FREQ=WEEKLY;BYDAY=MO", 1)
    };
    duties.park.registrar.client.checks().create_check(check).await.unwrap();
    // In time, within grace, three days late, not at all, and three times in time.
    let days = ["2026-01-05", "2026-01-13", "2026-01-22", "2026-02-02", "2026-02-09", "2026-02-16"];
    let readings: Vec<_> =
        days.iter().map(|day| ("Bramble", super::utc(&format!("{day}T08:00:00Z")), 8000)).collect();
    let round = duties.house.round("QUI", &readings);
    duties.park.keeper.client.weights().record_weights(round).await.unwrap();
    duties
}

async fn coverage(
    duties: &Duties,
    first: &str,
    last: &str,
    as_of: Option<&str>,
) -> Result<v1::GetCheckCoverageResponse, Status> {
    let ask = v1::GetCheckCoverageRequest {
        site: "QUI".to_owned(),
        days: Some(v1::DaySpan { first: Some(first.parse().unwrap()), last: Some(last.parse().unwrap()) }),
        as_of: as_of.map(|day| day.parse().unwrap()),
        ..Default::default()
    };
    Ok(duties.park.auditor.client.checks().get_check_coverage(ask).await?.into_inner())
}

fn counted(counts: Option<v1::DueCounts>) -> [i32; 5] {
    let v1::DueCounts { due, in_time, late, missed, open } = counts.unwrap();
    [due, in_time, late, missed, open]
}

#[tokio::test]
async fn each_due_day_is_in_time_late_missed_or_open() {
    let duties = winter().await;
    let told = coverage(&duties, "2026-01-01", "2026-03-02", None).await.unwrap();
    // 26 January and 23 February were passed over; 2 March is today.
    assert_eq!(counted(told.total), [9, 5, 1, 2, 1]);
    let [check] = told.checks.as_slice() else { panic!("{told:?}") };
    assert_eq!(counted(check.counts), counted(told.total));
    assert_eq!(check.check.as_ref().unwrap().recurrence, "FREQ=WEEKLY;BYDAY=MO");
    let [short] = check.short.as_slice() else { panic!("{check:?}") };
    assert_eq!(short.animal.as_ref().unwrap().house_name, "Bramble");
    assert_eq!(counted(short.counts), counted(told.total));
    duties.house.close().await;
}

#[tokio::test]
async fn any_stretch_as_of_any_day() {
    let duties = winter().await;
    let of = async |first, last, as_of| counted(coverage(&duties, first, last, as_of).await.unwrap().total);
    assert_eq!(of("2026-02-01", "2026-02-28", None).await, [4, 3, 0, 1, 0]);
    // On the 21st the weighing of the 22nd had not come.
    assert_eq!(of("2026-01-01", "2026-01-31", Some("2026-01-21")).await, [3, 2, 0, 0, 1]);
    assert_eq!(of("2026-01-01", "2026-01-31", Some("2026-01-22")).await, [3, 2, 1, 0, 0]);
    let none = coverage(&duties, "2025-06-01", "2025-06-30", None).await.unwrap();
    assert_eq!((counted(none.total), none.checks.len()), ([0; 5], 0));
    duties.house.close().await;
}

#[tokio::test]
async fn days_are_given_and_not_too_many() {
    let duties = Duties::new().await;
    let refused = coverage(&duties, "2020-01-01", "2026-03-02", None).await.unwrap_err();
    assert_eq!(reason(&refused), "MALFORMED");
    let none = v1::GetCheckCoverageRequest { site: "QUI".to_owned(), ..Default::default() };
    let refused = duties.park.auditor.client.checks().get_check_coverage(none).await.unwrap_err();
    assert_eq!(reason(&refused), "MALFORMED");
    duties.house.close().await;
}
