//! The weights of an animal are shown beside its body condition and what it was fed alone.

use super::Kitchen;
use chrono::TimeDelta;
use holt_server::model::person::Role;

#[tokio::test]
async fn a_keeper_sees_them_side_by_side() {
    let kitchen = Kitchen::new().await;
    let steward = kitchen.house.steward().await;
    kitchen.house.load_protocol(&steward).await;
    let desk = kitchen.house.desk_of(&kitchen.park.keeper, &[(Role::Keeper, Some("QUI"))]);
    let empty = desk.done("holt condition Bramble --format text").await;
    assert_eq!(empty, "Nothing recorded in these days.\n");
    desk.done("holt weigh Bramble 8.1kg").await;
    kitchen.house.clock.advance(TimeDelta::weeks(1));
    desk.done("holt weigh Bramble 7.9kg").await;
    desk.done("holt assess Bramble --protocol otter-watch --found body-condition=thin").await;
    desk.done("holt feed give Trout 250g --animal Bramble --how hand --left 50g").await;
    desk.done("holt feed give Trout 900g --group \"Weir family\" --how bowl --left 0g").await;
    insta::assert_snapshot!(desk.done("holt condition Bramble --format text").await);
    let (exit, refused) = desk.refused("holt condition Nobody").await;
    assert!(exit == 4 && refused.contains("Nobody"), "{exit} {refused}");
    kitchen.house.close().await;
}
