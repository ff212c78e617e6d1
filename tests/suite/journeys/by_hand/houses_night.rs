//! A heated house: the registrar says its range, the keeper reads the thermometer and takes the logger's
//! file in, and an alarm is asked for.

use super::{TypedByHand, desk};
use holt_server::model::person::Role;
use holt_tests::House;

const LOGGED: &str = "\u{feff}device;at;value
Burrow lamp;2026-03-02 05:00;21

Burrow lamp;2026-03-02 05:20;18.5
Attic lamp;2026-03-02 05:20;20
Burrow lamp;2026-03-02 05:40;18.1
";

#[tokio::test]
async fn a_cold_house() {
    let house = House::new().await;
    let quill = house.quill().await;
    let registrar = desk(&house, &quill, Role::Registrar);
    let keeper = desk(&house, &quill, Role::Keeper);
    let auditor = desk(&house, &quill, Role::Auditor);
    let mut by_hand = TypedByHand::default();
    house.enclosure(&quill, "Burrow House").await;
    let (qui, at) = ("qui", &registrar);
    by_hand.done(qui, at, "holt climate add 'Burrow lamp' --in 'Burrow House' --reads temperature").await;
    by_hand.ends(qui, at, "holt climate add 'burrow lamp' --in 'Burrow House' --reads humidity", 3).await;
    by_hand.done(qui, at, "holt climate range 'Burrow House' temperature 20..22").await;
    by_hand.ends(qui, at, "holt climate range 'Burrow House' temperature 22..20", 3).await;
    by_hand.ends(qui, at, "holt climate range 'Burrow House' temperature warm", 2).await;
    by_hand.ends(qui, at, "holt climate read 'Burrow lamp' 21", 5).await;
    let (qui, at) = ("qui-keeper", &keeper);
    by_hand.done(qui, at, "holt climate show").await;
    at.file("night.csv", LOGGED.as_bytes());
    by_hand.ends(qui, at, "holt climate send ~/night.csv", 3).await;
    by_hand.ends(qui, at, "holt climate send ~/night.csv", 3).await;
    by_hand.done(qui, at, "holt climate read 'Burrow lamp' 17.9").await;
    by_hand.ends(qui, at, "holt climate read 'Burrow lamp' 179", 3).await;
    by_hand.ends(qui, at, "holt climate show --ask", 10).await;
    by_hand.done("auditor", &auditor, "holt climate exposure --from '2026-03-02 05:00' --until 06:00").await;
    insta::assert_snapshot!("houses_night", by_hand.0);
    house.close().await;
}
