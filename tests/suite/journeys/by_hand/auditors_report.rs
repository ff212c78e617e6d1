//! An auditor's report over two sites: what is done, what is not, the same again as it was known then.

use super::{TypedByHand, desk};
use chrono::TimeDelta;
use holt_server::model::person::Role;
use holt_tests::House;

#[tokio::test]
async fn an_inspection_of_two_parks() {
    let house = House::new().await;
    let quill = house.quill().await;
    let merrow = house.park("MER", "Europe/Lisbon").await;
    for name in ["Bramble", "Sedge"] {
        house.otter(&quill, name).await;
    }
    house.otter(&merrow, "Fern").await;
    let registrar = desk(&house, &quill, Role::Registrar);
    registrar.done("holt check add weigh --animal Bramble --every week --on mon --starts 2026-02-02").await;
    let keeper = desk(&house, &quill, Role::Keeper);
    for day in ["2026-02-02", "2026-02-09"] {
        keeper.done(&format!("holt weigh Bramble 8.2kg --at {day}")).await;
    }
    let both = [(Role::Auditor, Some("MER")), (Role::Auditor, Some("QUI"))];
    let auditor =
        house.desk_of(&house.person("inspector", &both).await, &both).at_terminal(90).with("NO_COLOR", "1");

    let mut by_hand = TypedByHand::default();
    by_hand.done("aud", &auditor, "holt whoami").await;
    let first = by_hand.done("aud", &auditor, "holt report --span 28").await;
    by_hand.done("aud", &auditor, "holt report --span 28 --site MER --format csv").await;
    by_hand.ends("aud", &auditor, "holt weigh Bramble 8kg --site QUI", 5).await;

    by_hand.remark("a day later a weight of last week is entered");
    let known = "2026-03-02T08:00Z";
    house.clock.advance(TimeDelta::days(1));
    keeper.done("holt weigh Bramble 8.1kg --at 2026-02-23").await;
    let now = auditor.done("holt report --span 28 --on 2026-03-02").await;
    let then = auditor.done(&format!("holt report --span 28 --on 2026-03-02 --as-known-at {known}")).await;
    assert_ne!(now, then);
    let without_known = |text: &str| text.split_once('\n').unwrap().1.to_owned();
    assert_eq!(without_known(&then), without_known(&first));
    let again = auditor.done(&format!("holt report --span 28 --on 2026-03-02 --as-known-at {known}")).await;
    assert_eq!(again, then);
    by_hand.done("aud", &auditor, "holt report --span 28 --on 2026-03-02 --site QUI").await;
    insta::assert_snapshot!("auditors_report", by_hand.0);
    house.close().await;
}
