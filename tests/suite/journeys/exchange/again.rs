//! What was taken in once is known again, and left as it is.

use super::{Books, HEADER};
use chrono::TimeDelta;
use holt_server::model::person::Role;

const ROWS: &str = "A1;River otter;;Bramble;F;05/2019;01/03/2020;purchased;;985112000123456;;;;;;;;;\n\
                    A2;River otter;;Sedge;M;2018;01/03/2020;;;;;;;;;;;;\n";
const LINE: &str = "holt exchange from-sheet ~/animals.csv --mapping ~/animals.toml --format text";

#[tokio::test]
async fn the_same_file_again_changes_nothing_and_says_so() {
    let books = Books::new().await;
    books.desk.file("animals.csv", format!("{HEADER}{ROWS}").as_bytes());
    books.desk.done(LINE).await;
    let (rows, animals) = (books.rows().await, books.animals().await);
    let told = books.desk.done(LINE).await;
    assert_eq!(told, "QUI has all of these records already (2 animals): nothing was changed.\n");
    assert_eq!(books.animals().await, animals);
    assert_eq!(books.rows().await, rows, "not even an entry of the ledger");
    // Another registrar, and a life that has gone on meanwhile: the same.
    let other = books.house.person("second", &[(Role::Registrar, Some("QUI"))]).await;
    let desk = books.house.desk_of(&other, &[(Role::Registrar, Some("QUI"))]);
    desk.file("animals.toml", super::MAPPING.as_bytes());
    desk.file("animals.csv", format!("{HEADER}{ROWS}").as_bytes());
    books.house.clock.advance(TimeDelta::days(1));
    books.desk.done("holt animal died Sedge --on today --manner natural").await;
    let before = books.animals().await;
    assert_eq!(desk.done(LINE).await, told);
    assert_eq!(books.animals().await, before);
    books.house.close().await;
}

#[tokio::test]
async fn rows_that_were_added_since_are_taken_in_and_the_others_left() {
    let books = Books::new().await;
    books.desk.file("animals.csv", format!("{HEADER}{ROWS}").as_bytes());
    books.desk.done(LINE).await;
    let more = "A3;River otter;;Pip;?;02/02/2026;;bred;;;A1;A2;;;;;;;\n";
    books.desk.file("animals.csv", format!("{HEADER}{ROWS}{more}").as_bytes());
    let told = books.desk.done(LINE).await;
    assert_eq!(told, "1 animal was added at QUI; 2 were already recorded and stay as they are.\n");
    let pip = books.animals().await.pop().unwrap();
    assert_eq!((pip.house_name.as_str(), pip.dam_id.is_empty()), ("Pip", false), "its dam is on record");
    books.house.close().await;
}

#[tokio::test]
async fn a_number_that_is_another_animal_on_record_is_refused() {
    let books = Books::new().await;
    books.desk.file("animals.csv", format!("{HEADER}{ROWS}").as_bytes());
    books.desk.done(LINE).await;
    let other = "A1;River otter;;Bramble;F;06/2019;01/03/2020;purchased;;;;;;;;;;;\n";
    books.desk.file("animals.csv", format!("{HEADER}{other}").as_bytes());
    let ran = books.desk.run(LINE).await;
    assert_eq!(ran.exit, 3);
    let told = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("`a1` is recorded as QUI-20-0001, with another day of birth"), "{told}");
    books.house.close().await;
}
