//! A day with the public: the registrar sets limits, the keeper asks what is left, tries one that is to come, and
//! records what was held.

use super::{TypedByHand, desk};
use chrono::TimeDelta;
use holt_server::model::person::Role;
use holt_tests::House;

#[tokio::test]
async fn a_day_with_the_public() {
    let house = House::new().await;
    let quill = house.quill().await;
    let registrar = desk(&house, &quill, Role::Registrar);
    let keeper = desk(&house, &quill, Role::Keeper);
    let mut by_hand = TypedByHand::default();
    for name in ["Bramble", "Sedge"] {
        house.otter(&quill, name).await;
    }
    house.clock.advance(TimeDelta::hours(8));
    let (who, at) = ("registrar", &registrar);
    let limit = "holt encounter limit --species 'Lontra canadensis'";
    by_hand.ends(who, at, limit, 2).await;
    by_hand.done(who, at, &format!("{limit} --minutes-a-day 40 --rest 60 --free-days 2")).await;
    by_hand.done(who, at, "holt encounter limit --animal Sedge --encounters-a-day 1 --because gravid").await;
    by_hand.ends(who, at, "holt encounter limit --species 'Lutra lutra' --rest 60", 4).await;
    by_hand.done(who, at, "holt encounter limits").await;
    let (who, at) = ("keeper", &keeper);
    by_hand.ends(who, at, &format!("{limit} --rest 5"), 5).await;
    by_hand.done(who, at, "holt encounter allowance").await;
    let talk = "holt encounter record talk --from 11:00 --minutes 25 --animal Bramble --animal Sedge";
    by_hand.done(who, at, &format!("{talk} --people 40")).await;
    by_hand.ends(who, at, "holt encounter record talk --from 13:50 --until 13:40 --animal Sedge", 3).await;
    by_hand.ends(who, at, "holt encounter record talk --from 15:00 --minutes 5 --animal Sedge", 3).await;
    let to_come = "holt encounter record feed --from 15:00 --minutes 20 --animal Bramble";
    by_hand.ends(who, at, &format!("{to_come} --check-only --ask"), 10).await;
    let close = "holt encounter record close --from 13:40 --until 13:55 --animal Sedge --people 6";
    let held = by_hand.done(who, at, &format!("{close} --incident 'nipped a sleeve'")).await;
    by_hand.ends(who, at, "holt encounter allowance --ask", 10).await;
    by_hand.done(who, at, "holt encounter list --incidents").await;
    let id = held.split('[').nth(1).unwrap().split(']').next().unwrap().to_owned();
    by_hand.done(who, at, &format!("holt encounter withdraw {id} --because 'it was Bramble'")).await;
    by_hand.done(who, at, &close.replace("Sedge", "Bramble")).await;
    by_hand.done(who, at, "holt encounter allowance --format csv").await;
    insta::assert_snapshot!("met_by_hand", by_hand.0);
    house.close().await;
}
