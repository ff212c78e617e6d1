//! One cold morning: who needs a look comes first, and every section has something to say.

use crate::journeys::groups;
use crate::journeys::registration::Books;
use chrono::TimeDelta;
use holt_server::model::person::Role;
use holt_server::records::alarms;
use holt_tests::Desk;

/// Twenty weeks of a family: one animal loses much, one lives apart, and one came that no check is for.
async fn cold_morning(desk: &Desk, books: &Books) {
    for line in [
        "holt enclosure add Weir --kind mixed --capacity 6",
        "holt enclosure add 'Quiet Room' --kind indoor",
        "holt group join 'Weir family' Bramble Alder --as breeding",
        "holt group join 'Weir family' Sedge --as helper",
        "holt group move 'Weir family' --in Weir",
        "holt climate add 'Weir lamp' --in Weir --reads temperature",
        "holt climate add 'Pool probe' --in Weir --reads water-temperature",
        "holt climate range Weir temperature 20..22",
        "holt feed food Trout 1.2kcal/g --source \"maker's table\"",
        "holt feed plan 'Weir family' '06:30 900g Trout, bowl' '15:00 150g Trout, hidden, enrichment'",
        "holt check add weigh --group 'Weir family' --every day --grace 1",
    ] {
        desk.done(line).await;
    }
    for week in 0..20_i64 {
        let sedge = 7_000 - 230 * (week - 11).max(0);
        for (name, grams) in [("Bramble", 8_200), ("Alder", 9_400), ("Sedge", sedge)] {
            let wobble = [0, 40, -20, 30, -50][usize::try_from(week % 5).unwrap()];
            desk.run(&format!("holt weigh {name} {}g", grams + wobble)).await;
        }
        books.house.clock.advance(TimeDelta::weeks(1));
    }
    // Monday at seven: since five the lamp has failed, and since ten in the evening the probe is silent.
    for line in [
        "holt animal arrived 'Lontra canadensis' --on today --from rescue --sex unknown --name Rush",
        "holt place Alder --in 'Quiet Room' --at 'yesterday 17:00'",
        "holt feed give Trout 900g --group 'Weir family' --how bowl --left 60g --at 'yesterday 16:00'",
        "holt disturbance record 'Weir family' alarm 'a heron on the roof' --calm-after 10 --at 'yesterday 17:20'",
        "holt climate read 'Pool probe' 9.5 --at 'yesterday 22:00'",
        "holt climate read 'Weir lamp' 20.5 --at 05:00",
        "holt climate read 'Weir lamp' 18.2 --at 05:20",
        "holt climate read 'Weir lamp' 17.9 --at 05:40",
        "holt climate read 'Weir lamp' 17.6 --at 06:00",
        "holt climate read 'Weir lamp' 17.2 --at 06:25",
        "holt climate read 'Weir lamp' 17.1",
    ] {
        desk.done(line).await;
    }
    assert_eq!(alarms::watch(&books.house.records).await.unwrap(), 2);
}

#[tokio::test]
async fn what_is_worst_comes_first_on_a_page_that_fits_a_terminal() {
    let books = groups::family().await;
    let roles = [(Role::Keeper, Some("QUI")), (Role::Registrar, Some("QUI"))];
    let desk = books.house.desk_of(&books.park.keeper, &roles);
    cold_morning(&desk, &books).await;
    for columns in ["80", "44"] {
        let desk = books.house.desk_of(&books.park.keeper, &roles).with("COLUMNS", columns);
        let page = desk.done("holt today --format text").await;
        assert!(page.lines().count() <= 24, "{page}");
        let worst = page.lines().find(|line| line.starts_with("  ") && !line.starts_with("   ")).unwrap();
        assert!(worst.starts_with("  URGENT Sedge"), "{page}");
        insta::assert_snapshot!(format!("in_{columns}_columns"), page);
    }
    books.house.close().await;
}

#[tokio::test]
async fn every_form_has_the_same_lines() {
    let books = groups::family().await;
    let roles = [(Role::Keeper, Some("QUI")), (Role::Registrar, Some("QUI"))];
    let desk = books.house.desk_of(&books.park.keeper, &roles);
    cold_morning(&desk, &books).await;
    let plain = desk.run("holt today").await;
    assert!(plain.err.replace('\n', " ").contains("It is not a diagnosis"), "{}", plain.err);
    let table = desk.done("holt today --format csv").await;
    let json = desk.done("holt today --format json").await;
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    let lines = json["lines"].as_array().unwrap();
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let names = reader.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!((rows.len(), plain.out.lines().count()), (lines.len(), lines.len()));
    for ((row, line), plain) in rows.iter().zip(lines).zip(plain.out.lines()) {
        assert_eq!(row.iter().collect::<Vec<_>>(), plain.split('\t').collect::<Vec<_>>());
        for (name, cell) in names.iter().zip(row) {
            let value = &line[name];
            let value = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
            assert_eq!(if value == "null" { "" } else { &value }, cell, "{name}");
        }
    }
    let whole = rows.iter().find(|row| &row[3] == "urgent").unwrap();
    assert!(whole[7].contains("below what is expected by now"), "{whole:?}");
    books.house.close().await;
}
