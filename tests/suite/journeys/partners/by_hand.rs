//! Partners as people read them.

use super::Homes;
use holt_server::model::person::Role;

#[tokio::test]
async fn a_home_is_sought_at_a_terminal() {
    let homes = Homes::new().await;
    let house = &homes.books.house;
    let desk = |person, site| {
        let role = [(Role::Registrar, Some(site))];
        house.desk_of(person, &role).at_terminal(120).with("NO_COLOR", "1")
    };
    let (quill, brack) = (desk(&homes.books.park.registrar, "QUI"), desk(&homes.brack.registrar, "BRA"));
    let mut text = String::new();
    for (who, desk, line) in [
        ("quill", &quill, "holt partners find Fern"),
        ("brack", &brack, "holt partners show-cards yes --note \"two males to give\""),
        ("quill", &quill, "holt partners sites"),
        ("quill", &quill, "holt partners find Fern"),
        (
            "quill",
            &quill,
            "holt partners find Fern --most-inbreeding 0.5 --count distance=0 --count border=0 --format csv",
        ),
        ("brack", &brack, "holt partners searches"),
    ] {
        house.clock.advance(chrono::TimeDelta::minutes(1));
        let out = desk.done(line).await;
        text.push_str(&format!("{who} $ {line}\n{out}\n"));
    }
    insta::assert_snapshot!(text);
    let (_, told) = quill.refused("holt partners find Fern --count nearness=5").await;
    assert!(told.contains("kinship, rarity, distance or border"), "{told}");
    homes.books.house.close().await;
}
