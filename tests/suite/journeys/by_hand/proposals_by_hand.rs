//! A registrar reads that a species was listed, and proposes it; the curator decides for all sites.

use super::{TypedByHand, curators_desk, desk, id_in};
use holt_server::model::person::Role;
use holt_tests::House;
use holt_tests::cast::PROTOCOL;
use holt_tests::desk::Fed;

#[tokio::test]
async fn a_registrar_proposes_for_all_sites() {
    let house = House::new().await;
    let quill = house.quill().await;
    let registrar = desk(&house, &quill, Role::Registrar);
    let curator = curators_desk(&house).await;
    let mut by_hand = TypedByHand::default();
    let update = "holt species update 'Lontra canadensis' --cites II --because 'listed as a look-alike'";
    by_hand.ends("registrar", &registrar, update, 5).await;
    let said = by_hand.done("registrar", &registrar, &format!("{update} --propose")).await;
    let document = "holt proposal document protocol - --because 'we need one'";
    let fed = Fed { input: PROTOCOL.as_bytes().to_vec(), ..Fed::default() };
    let other = by_hand.feed("registrar", &registrar, document, fed, 0).await;
    by_hand.done("curator", &curator, "holt proposal list --all-sites --open").await;
    by_hand.done("curator", &curator, &format!("holt proposal accept {}", id_in(&said))).await;
    let decline = format!("holt proposal decline {} --because 'there is one under way'", id_in(&other));
    by_hand.done("curator", &curator, &decline).await;
    by_hand.done("registrar", &registrar, "holt proposal list").await;
    by_hand.ends("registrar", &registrar, &format!("holt proposal withdraw {}", id_in(&other)), 3).await;
    insta::assert_snapshot!("proposals_by_hand", by_hand.0);
    house.close().await;
}
