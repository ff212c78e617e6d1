//! A day of feeding: the registrar puts foods and a plan on record, the keeper gives what is planned and more,
//! and looks what was left.

use super::{TypedByHand, curators_desk, desk, id_in};
use chrono::TimeDelta;
use holt_server::model::person::Role;
use holt_tests::House;

#[tokio::test]
async fn a_day_of_feeding() {
    let house = House::new().await;
    let quill = house.quill().await;
    let registrar = desk(&house, &quill, Role::Registrar);
    let keeper = desk(&house, &quill, Role::Keeper);
    let mut by_hand = TypedByHand::default();
    for name in ["Bramble", "Sedge"] {
        house.otter(&quill, name).await;
    }
    let (who, at) = ("keeper", &keeper);
    by_hand.done(who, at, "holt group add 'Weir family'").await;
    by_hand
        .done(who, at, "holt group join 'Weir family' Bramble Sedge --as member --at '2026-02-01 09:00'")
        .await;
    by_hand.done(who, at, "holt weigh Bramble 8kg").await;
    let (who, at) = ("registrar", &registrar);
    by_hand.ends(who, at, "holt feed food Trout 1.2 --source label", 2).await;
    by_hand.ends(who, at, "holt feed food Trout '14.2 kcal/g' --source label", 3).await;
    by_hand.done(who, at, "holt feed food Trout 502kJ/100g --source 'maker, 2026'").await;
    by_hand.done(who, at, "holt feed food Sprats '1.5 kcal/g' --source 'maker, 2026'").await;
    by_hand.done(who, at, "holt feed foods").await;
    by_hand
        .done(
            "curator",
            &curators_desk(&house).await,
            "holt species describe 'Lontra canadensis' --rest-kcal 70 --need 1.4 --need 2 --source invented",
        )
        .await;
    let plan =
        "holt feed plan 'Weir family' '06:30 400g Trout, bowl' '15:00 100g Sprats, hidden, enrichment'";
    by_hand.ends(who, at, "holt feed plan 'Weir family' '06:30 400g Eel, bowl'", 4).await;
    by_hand.ends(who, at, "holt feed plan 'Weir family' '06:30 400g Trout'", 2).await;
    by_hand.ends(who, at, &format!("{plan} --check-only --ask"), 10).await;
    by_hand.remark("Sedge is weighed");
    house.clock.advance(TimeDelta::minutes(40));
    keeper.done("holt weigh Sedge 5kg").await;
    by_hand.done(who, at, plan).await;
    let (who, at) = ("keeper", &keeper);
    by_hand.ends(who, at, plan, 5).await;
    by_hand.ends(who, at, "holt feed as-planned 'Weir family' 07:30", 3).await;
    let given = by_hand.done(who, at, "holt feed as-planned 'Weir family' 06:30").await;
    by_hand.ends(who, at, "holt feed as-planned 'Weir family' 15:00", 3).await;
    let id = id_in(&given);
    by_hand.done(who, at, &format!("holt feed leftovers {id} 35g --lasted 25")).await;
    by_hand.ends(who, at, &format!("holt feed leftovers {id} 450g"), 3).await;
    by_hand.done(who, at, "holt feed give Trout 120g --animal Sedge --how hand --left 0g").await;
    let twice = by_hand.done(who, at, "holt feed give trout 120g --animal Sedge --how hand --left 0g").await;
    by_hand.done(who, at, &format!("holt feed withdraw {} --because 'entered twice'", id_in(&twice))).await;
    by_hand.done(who, at, "holt feed list --animal Sedge").await;
    by_hand.done(who, at, "holt feed show 'Weir family'").await;
    by_hand.done(who, at, "holt feed show 'Weir family' --days 2 --format csv").await;
    insta::assert_snapshot!("fed_by_hand", by_hand.0);
    house.close().await;
}
