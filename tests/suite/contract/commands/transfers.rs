//! Every way in which a transfer can end.

use super::scene;
use chrono::TimeDelta;
use holt_server::model::person::Role;

/// The identifier in brackets that ends a sentence.
fn id_in(text: &str) -> &str {
    text.split_once('[').unwrap().1.split_once(']').unwrap().0
}

#[tokio::test]
async fn each_end_of_a_transfer_is_told() {
    let scene = scene::bare().await;
    let merrow = scene.house.park("MER", "Europe/Lisbon").await;
    let there = scene.house.desk_of(&merrow.registrar, &[(Role::Registrar, Some("MER"))]);
    let here = &scene.registrar;
    let mut text = String::new();
    // In the time of the sender, half an hour after it left.
    let later = "08:30";
    for (animal, agreed, ends) in [
        ("Bramble", false, ("there", "refuse ID --because 'no room before May'")),
        ("Bramble", false, ("here", "cancel ID --because gravid")),
        ("Bramble", true, ("there", "loss ID --how escape --note 'the crate broke at the ferry' --at LATER")),
        ("Sedge", true, ("here", "loss ID --how death --note 'found dead on arrival'")),
        ("Teasel", true, ("here", "cancel ID --because 'turned back at the port'")),
    ] {
        let propose =
            format!("holt transfer propose {animal} --to MER --terms loan --because 'to pair' --format text");
        let proposed = here.done(&propose).await;
        let caution = "does not replace your vet, the licences of the sites or local law";
        assert!(proposed.replace('\n', " ").contains(caution), "{proposed}");
        let id = id_in(&proposed);
        if agreed {
            there.done(&format!("holt transfer agree {id}")).await;
            here.done(&format!("holt transfer dispatch {id} --note 'crate 4'")).await;
        }
        scene.house.clock.advance(TimeDelta::hours(1));
        let (whose, how) = ends;
        let desk = if whose == "there" { &there } else { here };
        let line = format!("holt transfer {}", how.replace("ID", id).replace("LATER", later));
        text.push_str(&format!("$ {line}\n{}\n", desk.done(&format!("{line} --format text")).await));
    }
    text.push_str(&here.done("holt transfer list --format text").await);
    insta::assert_snapshot!("transfer_ends", text);
    scene.house.close().await;
}
