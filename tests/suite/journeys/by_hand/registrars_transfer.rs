//! A registrar's transfer: proposed, withheld by a veterinary surgeon, agreed, dispatched and received,
//! with one record that both sites share.

use super::{TypedByHand, desk, id_in};
use chrono::TimeDelta;
use holt_server::model::person::Role;
use holt_tests::House;

#[tokio::test]
async fn a_move_from_park_to_park() {
    let house = House::new().await;
    let quill = house.quill().await;
    let merrow = house.park("MER", "Europe/Lisbon").await;
    house.otter(&quill, "Bramble").await;
    let keeper = desk(&house, &quill, Role::Keeper);
    keeper.done("holt weigh Bramble 8.2kg --at '2026-02-23 06:40'").await;
    let sender = desk(&house, &quill, Role::Registrar);
    let receiver = desk(&house, &merrow, Role::Registrar);
    let vet = desk(&house, &quill, Role::Veterinary);
    receiver.done("holt enclosure add 'Quarantine 2' --kind indoor").await;

    let mut by_hand = TypedByHand::default();
    let (qui, mer) = ("qui", "mer");
    by_hand.ends(mer, &receiver, "holt animal show Bramble", 4).await;
    let propose = "holt transfer propose Bramble --to MER --terms loan --loan-until 2027-03-01 \
                   --planned 2026-03-05 --because 'to pair with Fern'";
    by_hand.done(qui, &sender, &format!("{propose} --check-only")).await;
    let proposed = by_hand.done(qui, &sender, propose).await;
    let id = id_in(&proposed);
    by_hand.ends(qui, &sender, propose, 3).await;
    by_hand.ends(qui, &sender, &format!("holt transfer agree {id}"), 5).await;
    by_hand
        .done("vet", &vet, &format!("holt transfer withhold {id} --because 'parasite sample outstanding'"))
        .await;
    by_hand.done(mer, &receiver, "holt transfer list --open").await;
    by_hand.done(mer, &receiver, &format!("holt transfer agree {id} --note 'quarantine is free'")).await;
    by_hand.done(mer, &receiver, "holt weight list Bramble").await;
    by_hand.ends(qui, &sender, &format!("holt transfer dispatch {id}"), 3).await;
    by_hand.done("vet", &vet, &format!("holt transfer release {id} --note 'sample clear'")).await;

    by_hand.remark("three days later, seven in the morning");
    house.clock.advance(TimeDelta::days(3) + TimeDelta::hours(1));
    by_hand
        .done(
            qui,
            &sender,
            &format!("holt transfer dispatch {id} --at 06:50 --note 'Larch Carriers, crate 4'"),
        )
        .await;
    by_hand.ends(mer, &receiver, &format!("holt transfer receive {id} --at 05:00"), 3).await;
    house.clock.advance(TimeDelta::hours(9));
    by_hand.ends(mer, &receiver, &format!("holt transfer receive {id} --in Attic"), 4).await;
    by_hand.ends(mer, &receiver, &format!("holt transfer receive {id} --based-on 1"), 6).await;
    by_hand
        .done(
            mer,
            &receiver,
            &format!("holt transfer receive {id} --in 'Quarantine 2' --note 'calm, drank at once'"),
        )
        .await;
    by_hand.done(mer, &receiver, "holt animal show Bramble").await;
    by_hand.done(mer, &receiver, &format!("holt transfer show {id}")).await;
    by_hand.done(qui, &sender, "holt animal show QUI-25-0001").await;
    by_hand.done(qui, &sender, "holt animal list").await;
    insta::assert_snapshot!("registrars_transfer", by_hand.0);
    house.close().await;
}
