//! Due, within grace, overdue.

use super::Duties;
use holt_proto::v1::{self, Duty};

#[tokio::test]
async fn it_is_due_then_overdue_when_grace_is_over() {
    let duties = Duties::new().await;
    duties.set_up(duties.check_of("Bramble", Duty::Weigh, "FREQ=WEEKLY;BYDAY=MO", 2)).await.unwrap();
    for (as_of, told) in [
        ("2026-03-01", None),
        ("2026-03-02", Some("Bramble due 2026-03-02 +0")),
        ("2026-03-04", Some("Bramble due 2026-03-02 +2")),
        ("2026-03-05", Some("Bramble overdue 2026-03-02 +3")),
        ("2026-03-08", Some("Bramble overdue 2026-03-02 +6")),
        // Passed over, it stays the oldest that is open.
        ("2026-03-09", Some("Bramble overdue 2026-03-02 +7")),
        ("2026-03-16", Some("Bramble overdue 2026-03-02 +14")),
    ] {
        assert_eq!(duties.told(as_of).await, told.into_iter().collect::<Vec<_>>(), "{as_of}");
    }
    let open: Vec<i32> = duties.due("2026-03-16").await.iter().map(|item| item.open_dues).collect();
    assert_eq!(open, [3]);
    duties.house.close().await;
}

#[tokio::test]
async fn without_grace_it_is_overdue_the_next_day() {
    let duties = Duties::new().await;
    duties.set_up(duties.check_of("Bramble", Duty::Assess, "FREQ=MONTHLY;BYMONTHDAY=1", 0)).await.unwrap();
    assert_eq!(duties.told("2026-03-31").await, [""; 0], "it began on the second");
    assert_eq!(duties.told("2026-04-01").await, ["Bramble due 2026-04-01 +0"]);
    assert_eq!(duties.told("2026-04-02").await, ["Bramble overdue 2026-04-01 +1"]);
    duties.house.close().await;
}

/// The longest overdue comes first, then by duty and accession.
#[tokio::test]
async fn the_longest_overdue_comes_first() {
    let duties = Duties::new().await;
    duties.set_up(duties.check(Duty::Assess, "FREQ=WEEKLY;BYDAY=WE", 0)).await.unwrap();
    duties.set_up(duties.check_of("Sedge", Duty::Weigh, "FREQ=WEEKLY;BYDAY=MO", 6)).await.unwrap();
    duties.set_up(duties.check_of("Teasel", Duty::Weigh, "FREQ=WEEKLY;BYDAY=WE", 0)).await.unwrap();
    assert_eq!(
        duties.told("2026-03-05").await,
        [
            "Sedge due 2026-03-02 +3",
            "Teasel overdue 2026-03-04 +1",
            "Bramble overdue 2026-03-04 +1",
            "Sedge overdue 2026-03-04 +1",
            "Teasel overdue 2026-03-04 +1",
        ]
    );
    let list = v1::ListDueRequest {
        site: "QUI".to_owned(),
        as_of: Some("2026-03-05".parse().unwrap()),
        duty: Duty::Weigh.into(),
        as_known_at: None,
    };
    let only = duties.park.keeper.client.checks().list_due(list).await.unwrap().into_inner().items;
    assert!(only.len() == 2 && only.iter().all(|item| item.duty() == Duty::Weigh), "{only:?}");
    duties.house.close().await;
}

/// Today is a day of the site: in Halifax it is still Monday when in Dublin Tuesday has begun.
#[tokio::test]
async fn today_is_that_of_the_site() {
    let duties = Duties::new().await;
    let brack = duties.house.park("BRA", "America/Halifax").await;
    duties.house.clock.set(super::utc("2026-03-03T03:00:00Z"));
    let list = |site: &str| v1::ListDueRequest { site: site.to_owned(), ..Default::default() };
    let quill = duties.park.keeper.client.checks().list_due(list("QUI")).await.unwrap().into_inner();
    let brack = brack.keeper.client.checks().list_due(list("BRA")).await.unwrap().into_inner();
    assert_eq!(
        (quill.as_of.unwrap().to_string(), brack.as_of.unwrap().to_string()),
        ("2026-03-03".to_owned(), "2026-03-02".to_owned())
    );
    duties.house.close().await;
}
