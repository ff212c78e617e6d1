//! Days of 23 and 25 hours. In Dublin the clocks go forward on 29 March 2026 and back on 25 October 2026, at
//! 01:00 UTC (Directive 2000/84/EC).

use super::Duties;
use holt_proto::v1::Duty;

#[tokio::test]
async fn no_due_day_is_lost_or_doubled() {
    let duties = Duties::new().await;
    duties.set_up(duties.check_of("Bramble", Duty::Weigh, "FREQ=DAILY", 0)).await.unwrap();
    for month in ["2026-03", "2026-10"] {
        let mut last = None;
        for day in 24..=31 {
            let items = duties.due(&format!("{month}-{day}")).await;
            let [item] = items.as_slice() else { panic!("{month}-{day}: {items:?}") };
            if let Some(before) = last {
                assert_eq!(item.open_dues, before + 1, "{month}-{day}");
            }
            last = Some(item.open_dues);
        }
    }
    duties.house.close().await;
}

/// What counts is the day of the site, not that of Greenwich: half past midnight of Monday is half past
/// eleven of Sunday there, once the clocks have gone forward.
#[tokio::test]
async fn a_record_counts_for_the_day_of_the_site() {
    let duties = Duties::new().await;
    duties.set_up(duties.check(Duty::Weigh, "FREQ=WEEKLY;BYDAY=MO", 0)).await.unwrap();
    for name in ["Bramble", "Sedge", "Teasel"] {
        for monday in ["2026-03-02", "2026-03-09", "2026-03-16", "2026-03-23"] {
            duties.weigh(&format!("{monday}T08:00:00Z"), name).await;
        }
    }
    // Monday, 30 March, from its first minute to its last.
    duties.weigh("2026-03-29T23:00:00Z", "Bramble").await;
    duties.weigh("2026-03-30T22:59:59Z", "Sedge").await;
    duties.weigh("2026-03-30T23:00:00Z", "Teasel").await;
    assert_eq!(duties.told("2026-03-30").await, ["Teasel due 2026-03-30 +0"], "its Tuesday had begun");
    assert_eq!(duties.told("2026-03-31").await, [""; 0], "a day late, but done");
    let done = |items: Vec<holt_proto::v1::DueItem>| -> Vec<String> {
        items.iter().map(|item| format!("{} {}", item.house_name, item.last_done_on.unwrap())).collect()
    };
    assert_eq!(
        done(duties.due("2026-04-06").await),
        ["Bramble 2026-03-30", "Sedge 2026-03-30", "Teasel 2026-03-31"]
    );
    duties.house.close().await;
}
