//! What a park works by: the curator publishes a new version, the registrar adopts it when the park is ready, and keeps a
//! protocol that is nobody else's business.

use super::{TypedByHand, curators_desk, desk};
use chrono::TimeDelta;
use holt_server::model::person::Role;
use holt_tests::House;
use holt_tests::cast::PROTOCOL;
use holt_tests::desk::Fed;

#[tokio::test]
async fn a_park_takes_up_a_new_version() {
    let house = House::new().await;
    let quill = house.quill().await;
    let brack = house.park("BRA", "Europe/Dublin").await;
    house.otter(&quill, "Bramble").await;
    let curator = curators_desk(&house).await;
    let [registrar, keeper] = [Role::Registrar, Role::Keeper].map(|role| desk(&house, &quill, role));
    let neighbour = desk(&house, &brack, Role::Registrar);
    let file = |text: String| Fed { input: text.into_bytes(), ..Fed::default() };
    let mut by_hand = TypedByHand::default();
    by_hand.feed("curator", &curator, "holt protocol load -", file(PROTOCOL.to_owned()), 0).await;
    let found = "--protocol otter-watch --found body-condition=right";
    by_hand.done("keeper", &keeper, &format!("holt assess Bramble {found}")).await;
    by_hand.done("registrar", &registrar, "holt document adopt protocol otter-watch 1").await;
    let second = PROTOCOL.replace("version = 1", "version = 2");
    by_hand.feed("curator", &curator, "holt protocol load -", file(second), 0).await;
    by_hand.done("registrar", &registrar, "holt document list").await;
    by_hand.remark("two days later");
    house.clock.advance(TimeDelta::days(2));
    by_hand.ends("keeper", &keeper, "holt document adopt protocol otter-watch 2", 5).await;
    by_hand.ends("registrar", &registrar, "holt document adopt protocol otter-watch 3", 4).await;
    by_hand
        .ends("registrar", &registrar, "holt document adopt protocol otter-watch 2 --from 2027-01-01", 3)
        .await;
    by_hand.done("keeper", &keeper, &format!("holt assess Bramble {found}")).await;
    let other = "--protocol otter-watch@2 --found body-condition=right";
    by_hand.ends("keeper", &keeper, &format!("holt assess Bramble {other}"), 3).await;
    by_hand
        .done("registrar", &registrar, "holt document adopt protocol otter-watch 2 --from yesterday")
        .await;
    let withdraw = "holt document withdraw protocol otter-watch --from yesterday --because 'a day too early'";
    by_hand.done("registrar", &registrar, withdraw).await;
    by_hand.done("registrar", &registrar, "holt document adopt protocol otter-watch 2").await;
    by_hand.done("registrar", &registrar, "holt document show protocol otter-watch").await;
    by_hand.remark("a protocol of the park's own");
    let own = PROTOCOL.replace("otter-watch", "qui-otter");
    by_hand.feed("registrar", &registrar, "holt protocol load - --own", file(PROTOCOL.to_owned()), 3).await;
    by_hand.feed("registrar", &registrar, "holt protocol load - --own", file(own), 0).await;
    by_hand.done("registrar", &registrar, "holt document list").await;
    by_hand.done("neighbour", &neighbour, "holt document list").await;
    by_hand.ends("neighbour", &neighbour, "holt document show protocol qui-otter", 4).await;
    insta::assert_snapshot!("documents_by_hand", by_hand.0);
    house.close().await;
}
