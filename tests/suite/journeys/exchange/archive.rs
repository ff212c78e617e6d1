//! The animals of a site are given out, taken in by an empty Holt, and given out again: the same.

use super::Books;
use chrono::TimeDelta;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_server::model::person::Role;
use holt_tests::{Desk, House};
use std::collections::BTreeMap;

const FILES: [&str; 5] = ["meta.xml", "occurrence.csv", "measurement.csv", "relationship.csv", "event.csv"];

/// The files of an archive at a desk.
fn archive(desk: &Desk, folder: &str) -> BTreeMap<&'static str, String> {
    let read = |file| (file, std::fs::read_to_string(desk.path(folder).join(file)).unwrap());
    FILES.into_iter().map(read).collect()
}

/// A site with something of everything that an archive tells.
async fn busy() -> Books {
    let books = Books::new().await;
    let house = &books.house;
    let mere = house.park("MER", "Europe/Lisbon").await;
    let both = [(Role::Registrar, Some("MER"))];
    let there = house.desk_of(&mere.registrar, &both);
    let keeper = house.desk_of(&books.park.keeper, &[(Role::Keeper, Some("QUI"))]);
    let run = async |line: &str| books.desk.done(line).await;
    for line in [
        "holt species add 'Aonyx cinereus' 'Asian small-clawed otter'",
        "holt enclosure add 'Otter pool' --kind outdoor --capacity 4",
        "holt enclosure add 'Night house' --kind indoor",
        "holt animal arrived 'Lontra canadensis' --at '2024-02-27 16:20' --from collection --from-name 'Fenwater, Ltd.' \
         --sex female --born 2021-05 --name Bramble --mark transponder=985112000123456 --in 'Otter pool'",
        "holt animal arrived 'Lontra canadensis' --on 2024-02-27 --from rescue --sex male --born 2020 --estimated \
         --name Sedge --owner 'Ministry \"of\" Waters'",
        "holt animal arrived 'Lontra canadensis' --on 2024-03-01 --from wild --sex male --name Rush",
        "holt animal arrived 'Aonyx cinereus' --on 2024-03-01 --from confiscation --sex unknown --name Teasel",
        "holt animal arrived 'Aonyx cinereus' --on 2024-03-02 --from private --sex female --name Moss",
        "holt animal arrived 'Aonyx cinereus' --on 2024-03-02 --from private --sex female --name Mosss",
        "holt animal born 'Lontra canadensis' --on 2025-06-01 --sex unknown --name Pip --dam Bramble --sire Sedge",
        "holt animal sex Pip female --on 2025-09-01",
        "holt mark apply Sedge ring Q-17 --place 'left leg' --at '2025-05-01 09:00'",
        "holt mark replace Sedge Q-17 Q-31 --because lost --at '2025-06-01 09:30'",
        "holt mark apply Rush former-number MAM/0031",
        "holt place Sedge --in 'Otter pool' --at '2025-03-01 08:00'",
        "holt place Sedge --in 'Night house' --at '2025-11-01 17:45'",
        "holt litter record 0.0.3 --on 2026-02-01 --dam Bramble --sire Sedge=0.7 --sire Rush=0.3",
        "holt litter identify Bramble --sex female --name Wick --on 2026-02-20",
        "holt merge Mosss Moss --because 'the same scars'",
    ] {
        run(line).await;
    }
    let round = "animal,mass,at,declined,scale,method,note\n\
                 Bramble,8.2 kg,2025-01-05,,platform,trained,\"before, the feed\"\n\
                 Bramble,8.215 kg,2025-01-12 06:40,,platform,trained,\n\
                 Bramble,,2025-01-19 06:40,yes,,,stayed in the holt\n\
                 Bramble,8.19 kg,2025-01-26 06:40,,platform,trained,\n\
                 Bramble,8.22 kg,2025-02-02 06:40,,platform,trained,\n\
                 Bramble,8.2 kg,2025-02-09 06:40,,platform,trained,\n\
                 Bramble,8.21 kg,2025-02-16 06:40,,platform,trained,\n\
                 Sedge,7904998 mg,2025-01-12 06:41,,,,\n\
                 Teasel,3 kg,2025-01-12 06:42,,,estimate,=looked light\n";
    let weighed = keeper.pipe("holt weigh --file -", round.as_bytes()).await;
    assert_eq!(weighed.exit, 0, "{}{}", weighed.out, weighed.err);
    // One that is asked for again.
    keeper.done("holt weigh Bramble 79kg --at '2025-02-23 06:40' --scale platform --method trained").await;
    // One dies, one leaves, one escapes, and one goes to another site and comes back.
    house.clock.advance(TimeDelta::days(1));
    run("holt animal died Teasel --at '2026-03-03 05:30' --manner euthanasia --note 'old, and tired'").await;
    run("holt animal departed Moss --on 2026-03-02 --to collection --to-name 'Brackwater Park'").await;
    run("holt animal departed Pip --on 2026-03-03 --to escape").await;
    for (desk, line) in [
        (&books.desk, "propose Rush --to MER --terms loan --because company"),
        (&there, "agree"),
        (&books.desk, "dispatch"),
        (&there, "receive"),
        (&there, "propose Rush --to QUI --terms loan --because home"),
        (&books.desk, "agree"),
        (&there, "dispatch"),
        (&books.desk, "receive"),
    ] {
        house.clock.advance(TimeDelta::hours(1));
        let transfer = newest(&books).await;
        let line = if line.contains(' ') { line.to_owned() } else { format!("{line} {transfer}") };
        desk.done(&format!("holt transfer {line}")).await;
    }
    books
}

/// Identifier of the transfer that was proposed last; empty where none was.
async fn newest(books: &Books) -> String {
    let mut owner = books.house.owner().await;
    let newest: Option<String> =
        sqlx::query_scalar("SELECT id::text FROM transfers ORDER BY recorded_at DESC LIMIT 1")
            .fetch_optional(&mut owner)
            .await
            .unwrap();
    newest.unwrap_or_default()
}

#[tokio::test]
async fn given_out_taken_in_and_given_out_again_it_is_the_same() {
    let books = busy().await;
    let told = books.desk.done("holt exchange export ~/first --format text").await;
    assert!(told.starts_with("7 animals of QUI in "), "{told}");
    let first = archive(&books.desk, "first");
    // An empty Holt: one site of the same code, and nothing else.
    let house = House::new().await;
    house.clock.set(books.house.clock.now());
    let park = house.park("QUI", "Europe/Dublin").await;
    let desk = house.desk_of(&park.registrar, &[(Role::Registrar, Some("QUI"))]);
    let folder = books.desk.path("first").display().to_string();
    let tried = desk.done(&format!("holt exchange import {folder} --dry-run --format text")).await;
    assert!(tried.contains("7 animals can be added at QUI."), "{tried}");
    let told = desk.done(&format!("holt exchange import {folder} --format text")).await;
    assert_eq!(
        told,
        "7 animals were added at QUI.\nSpecies added: Lontra canadensis, Aonyx cinereus.\n\
         Enclosures added: Otter pool, Night house.\n"
    );
    desk.done("holt exchange export ~/second").await;
    let second = archive(&desk, "second");
    for file in FILES {
        assert_eq!(first[file], second[file], "{file}");
    }
    // Taken in again, nothing changes.
    let again = desk.done(&format!("holt exchange import {folder} --format text")).await;
    assert_eq!(again, "QUI has all of these records already (7 animals): nothing was changed.\n");
    // What the two say of an animal is the same, too.
    let show = "holt animal show Sedge --format json";
    let of =
        async |desk: &Desk| -> serde_json::Value { serde_json::from_str(&desk.done(show).await).unwrap() };
    let (here, there) = (of(&books.desk).await, of(&desk).await);
    for field in ["id", "accession", "born_on", "sex", "enclosure", "owner", "latest_mass_mg", "held_since"] {
        assert_eq!(here[field], there[field], "{field}");
    }
    books.house.close().await;
    house.close().await;
}

/// The same with animals numbered in their order, and without the microseconds that the scripted clock counts.
fn steady(text: &str) -> String {
    let mut ids: Vec<&str> = Vec::new();
    for id in text.split("urn:uuid:").skip(1).filter_map(|rest| rest.get(..36)) {
        if !ids.contains(&id) {
            ids.push(id);
        }
    }
    let mut steady = text.to_owned();
    for (n, id) in ids.into_iter().enumerate() {
        steady = steady.replace(id, &format!("animal-{}", n + 1));
    }
    while let Some(at) = steady.find(".000") {
        steady.replace_range(at..at + 7, "");
    }
    steady
}

#[tokio::test]
async fn the_archive_is_as_it_was_read_last() {
    let books = busy().await;
    books.desk.done("holt exchange export ~/first").await;
    let files = archive(&books.desk, "first");
    let text = FILES.map(|file| format!("== {file}\n{}", files[file])).join("\n");
    insta::assert_snapshot!("archive", steady(&text));
    books.house.close().await;
}

#[tokio::test]
async fn an_archive_that_was_changed_is_refused_with_file_row_and_column() {
    let books = busy().await;
    books.desk.done("holt exchange export ~/first").await;
    let house = House::new().await;
    house.clock.set(books.house.clock.now());
    let park = house.park("QUI", "Europe/Dublin").await;
    let desk = house.desk_of(&park.registrar, &[(Role::Registrar, Some("QUI"))]);
    let folder = books.desk.path("first");
    let import = format!("holt exchange import {} --format text", folder.display());
    let sound = archive(&books.desk, "first");
    for (file, from, to, exit, say) in [
        (
            "measurement.csv",
            "8215,,g",
            "8215,,stone",
            3,
            "`measurementUnit` (QUI-24-0001): `stone` is not a unit",
        ),
        ("measurement.csv", "body mass,8200,", "body length,8200,", 3, "Holt cannot import `body length`"),
        ("measurement.csv", "985112000123456", "276274877906944", 3, "`measurementValue` (QUI-24-0001)"),
        ("measurement.csv", "g,2025-01-05,", "g,soon,", 3, "`soon` is neither a day nor an instant"),
        (
            "occurrence.csv",
            "2024-03-02/2026-03-02",
            "2024-03-02/2023-03-02",
            3,
            "it departed before it arrived",
        ),
        ("occurrence.csv", ",present,urn:uuid:", ",present,urn:lsid:", 3, "is not an identifier of Holt"),
        ("occurrence.csv", "QUI-24-0002", "MER-24-0002", 3, "is not an accession of QUI"),
        ("event.csv", "Otter pool", "", 3, "event.csv, row 2, `locality` (QUI-24-0001): is missing"),
        ("event.csv", "#stay-1", "#stay-9", 3, "is not a row of occurrence.csv"),
        (
            "relationship.csv",
            "relatedResourceID",
            "related",
            3,
            "relationship.csv has no column `relatedResourceID`",
        ),
    ] {
        assert!(sound[file].contains(from), "{file} has no {from}");
        std::fs::write(folder.join(file), sound[file].replacen(from, to, 1)).unwrap();
        let ran = desk.run(&import).await;
        assert_eq!(ran.exit, exit, "{file} {to}: {}{}", ran.out, ran.err);
        let told = format!("{}{}", ran.out, ran.err).split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(told.contains(say), "{say}: {told}");
        std::fs::write(folder.join(file), &sound[file]).unwrap();
    }
    let elsewhere = desk.run(&format!("{import} --site MER")).await;
    assert_eq!(elsewhere.exit, 3, "{}", elsewhere.err);
    let list = v1::ListAnimalsRequest { site: "QUI".to_owned(), ..Default::default() };
    let animals = park.auditor.client.animals().list_animals(list).await.unwrap().into_inner().animals;
    assert!(animals.is_empty());
    books.house.close().await;
    house.close().await;
}
