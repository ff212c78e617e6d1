//! One page of a group on a cold morning: who does how, what calls for a look, the house, the feeds, what is due.

use super::family;
use chrono::TimeDelta;
use holt_server::model::person::Role;
use holt_server::records::alarms;

#[tokio::test]
async fn what_a_keeper_needs_at_six_stands_on_one_page() {
    let books = family().await;
    let roles = [(Role::Keeper, Some("QUI")), (Role::Registrar, Some("QUI"))];
    let desk = books.house.desk_of(&books.park.keeper, &roles);
    let empty = desk.done("holt group day 'Weir family' --format text").await;
    assert!(empty.contains("No concerns.") && empty.contains("No check is due."), "{empty}");
    for line in [
        "holt enclosure add Weir --kind mixed --capacity 6",
        "holt group join 'Weir family' Bramble Alder --as breeding",
        "holt group join 'Weir family' Sedge --as helper",
        "holt group move 'Weir family' --in Weir",
        "holt climate add 'Weir lamp' --in Weir --reads temperature",
        "holt climate range Weir temperature 20..22",
        "holt feed food Trout 1.2kcal/g --source \"maker's table\"",
        "holt feed plan 'Weir family' '06:30 900g Trout, bowl' '15:00 150g Trout, hidden, enrichment'",
        "holt check add weigh --all --every day --grace 1",
        "holt enrich item 'Log pile' --kind structural",
        "holt enrich item Herbs --kind sensory",
        "holt encounter limit --animal Bramble --minutes-a-day 30 --rest 60",
    ] {
        desk.done(line).await;
    }
    // Twenty steady weeks, and two in a hundred a week less of Sedge over the last nine.
    for week in 0..20_i64 {
        let sedge = 7_000 - 140 * (week - 11).max(0);
        for (name, grams) in [("Bramble", 8_200), ("Alder", 9_400), ("Sedge", sedge)] {
            let wobble = [0, 40, -20, 30, -50][usize::try_from(week % 5).unwrap()];
            desk.run(&format!("holt weigh {name} {}g", grams + wobble)).await;
        }
        books.house.clock.advance(TimeDelta::weeks(1));
    }
    desk.done("holt climate read 'Weir lamp' 17.4").await;
    books.house.clock.advance(TimeDelta::minutes(20));
    desk.done("holt climate read 'Weir lamp' 17.1").await;
    assert_eq!(alarms::watch(&books.house.records).await.unwrap(), 1);
    desk.done("holt feed give Trout 900g --group 'Weir family' --how bowl --left 60g").await;
    desk.done("holt enrich give Herbs --group 'Weir family'").await;
    insta::assert_snapshot!(desk.done("holt group day 'Weir family' --format text").await);
    let (exit, refused) = desk.refused("holt group day Nobody").await;
    assert!(exit == 4 && refused.contains("Nobody"), "{exit} {refused}");
    books.house.close().await;
}
