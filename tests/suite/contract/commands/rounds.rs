//! Round files: as spreadsheets write them, sent twice, and larger than a server takes at once.

use super::scene;
use chrono::{TimeDelta, TimeZone, Utc};
use holt_tests::{Desk, House};
use sqlx::Connection;

async fn on_record(house: &House) -> i64 {
    let mut owner = sqlx::PgConnection::connect(&house.url).await.unwrap();
    sqlx::query_scalar("SELECT count(*) FROM weights").fetch_one(&mut owner).await.unwrap()
}

async fn last_line(desk: &Desk, line: &str) -> (u8, String) {
    let ran = desk.run(line).await;
    (ran.exit, ran.out.lines().last().unwrap_or(ran.err.as_str()).to_owned())
}

#[tokio::test]
async fn the_same_file_records_nothing_twice() {
    let scene = scene::bare().await;
    scene.keeper.file("round.csv", b"animal,mass\nBramble,8.2kg\nSedge,7.9kg\n");
    let sound = (0, "2 readings at QUI: 2 recorded.".to_owned());
    let line = "holt weigh --file ~/round.csv --at today --format text";
    let tried = (0, "Checked only: nothing was recorded.".to_owned());
    assert_eq!(last_line(&scene.keeper, &format!("{line} --check-only")).await, tried);
    assert_eq!(on_record(&scene.house).await, 0);
    assert_eq!(last_line(&scene.keeper, line).await, sound);
    assert_eq!(on_record(&scene.house).await, 2);
    // The same request: the same answer, and nothing more.
    assert_eq!(last_line(&scene.keeper, line).await, sound);
    assert_eq!(on_record(&scene.house).await, 2);
    // Saved anew with one row more: what is already recorded is told as that.
    scene.keeper.file("round.csv", b"animal,mass\nBramble,8.2kg\nSedge,7.9kg\nTeasel,8kg\n");
    let more = (0, "3 readings at QUI: 1 recorded, 2 already recorded.".to_owned());
    assert_eq!(last_line(&scene.keeper, line).await, more);
    // Tomorrow, `today` is another day: the file is not taken for new readings.
    scene.house.clock.advance(TimeDelta::days(1));
    let again = scene.keeper.run(line).await;
    assert_eq!(again.exit, 3);
    assert!(again.err.contains("with another meaning"), "{}", again.err);
    assert_eq!(on_record(&scene.house).await, 3);
    // A unit that was wrong can be put right: that is another content.
    scene.keeper.file("grams.csv", b"animal,mass\nBramble,8150\n");
    let line = "holt weigh --file ~/grams.csv --at '2026-03-03 05:00' --format text";
    assert_eq!(last_line(&scene.keeper, &format!("{line} --unit t")).await.0, 3);
    assert_eq!(last_line(&scene.keeper, &format!("{line} --unit g")).await.0, 0);
    scene.house.close().await;
}

#[tokio::test]
async fn every_spreadsheet_is_read() {
    let scene = scene::bare().await;
    let files: [&[u8]; 4] = [
        b"animal,mass,at\nBramble,8.2 kg,2026-02-24 06:40\n",
        b"\xEF\xBB\xBFAnimal;Weight;Date;Time\r\nBramble;8,3 kg;2026-02-25;06:40\r\n",
        b"animal\tmass\tat\r\nBramble\t\"8.1 kg\"\t2026-02-26T06:40:00+00:00\r\n",
        b"declined,animal,at\nyes,Bramble,2026-02-27\n",
    ];
    for file in files {
        let ran = scene.keeper.pipe("holt weigh --file -", file).await;
        assert_eq!(ran.exit, 0, "{}\n{}", ran.out, ran.err);
    }
    let masses = scene.keeper.done("holt weight list Bramble --format csv").await;
    insta::assert_snapshot!("weights_of_spreadsheets", masses);
    scene.house.close().await;
}

#[tokio::test]
async fn a_local_time_that_clocks_showed_twice_needs_its_offset() {
    let scene = scene::bare().await;
    // Dublin, 26 October 2025: 01:59 was followed by 01:00 (IANA time zone database).
    let round = |at: &str| format!("animal,mass,at\nBramble,8.2 kg,{at}\n");
    let twice =
        scene.keeper.pipe("holt weigh --file - --format text", round("2025-10-26 01:30").as_bytes()).await;
    assert_eq!(twice.exit, 3);
    assert!(
        twice.out.contains("row 2  Bramble  refused: at: 2025-10-26 01:30 happened twice"),
        "{}",
        twice.out
    );
    for at in ["2025-10-26T01:30+01:00", "2025-10-26T01:30+00:00"] {
        let ran = scene.keeper.pipe("holt weigh --file -", round(at).as_bytes()).await;
        assert_eq!(ran.exit, 0, "{}", ran.err);
    }
    assert_eq!(on_record(&scene.house).await, 2);
    let shown = scene.keeper.done("holt weight list Bramble --format text").await;
    assert!(shown.contains("2025-10-26 01:30 IST") && shown.contains("2025-10-26 01:30 GMT"), "{shown}");
    scene.house.close().await;
}

#[tokio::test]
async fn more_than_a_server_takes_at_once_goes_in_parts() {
    let scene = scene::bare().await;
    let mut file = String::from("animal,mass,at\n");
    let start = Utc.with_ymd_and_hms(2025, 4, 1, 6, 0, 0).unwrap();
    for n in 0..2300 {
        let at = start + TimeDelta::hours(n * 3);
        let mass = if n == 1500 { "heavy".to_owned() } else { format!("{} g", 8200 + n % 7) };
        file.push_str(&format!("Bramble,{mass},{}\n", at.format("%Y-%m-%dT%H:%MZ")));
    }
    scene.keeper.file("large.csv", file.as_bytes());
    let line = "holt weigh --file ~/large.csv --format text";
    let told = (3, "2300 readings at QUI: 2299 recorded, 1 refused.".to_owned());
    let ran = scene.keeper.run(line).await;
    assert!(ran.out.contains("row 1502  Bramble  refused: mass: `heavy` is not a number"), "{}", ran.out);
    assert_eq!((ran.exit, ran.out.lines().last().unwrap().to_owned()), told);
    assert_eq!(on_record(&scene.house).await, 2299);
    assert_eq!(last_line(&scene.keeper, line).await, told);
    assert_eq!(on_record(&scene.house).await, 2299);
    scene.house.close().await;
}
