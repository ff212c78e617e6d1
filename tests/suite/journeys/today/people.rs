//! Whose page it is: one site or several, nothing recorded, no right to read, nobody signed in.

use crate::journeys::registration::Books;
use holt_server::model::person::Role;
use holt_tests::House;

#[tokio::test]
async fn a_person_with_two_sites_has_both_on_one_page() {
    let books = Books::new().await;
    books.house.park("BRA", "America/Halifax").await;
    books.arrived(books.arrival("Bramble", "2025-03-01")).await.unwrap();
    let roles = [(Role::Keeper, Some("QUI")), (Role::Keeper, Some("BRA"))];
    let desk = books.house.desk_of(&books.park.keeper, &roles);
    let registrar = books.house.desk_of(&books.park.registrar, &[(Role::Registrar, Some("QUI"))]);
    registrar.done("holt check add weigh --animal Bramble --every day --starts 2026-02-01").await;
    insta::assert_snapshot!("two_sites", desk.done("holt today --format text").await);
    let one = desk.done("holt today --format text --site BRA").await;
    assert!(one.starts_with("BRA Park (BRA), Mon 2026-03-02 02:00\nNothing: "), "{one}");
    let (exit, wrong) = desk.refused("holt today --site XYZ").await;
    assert!(exit == 4 && wrong.contains("XYZ"), "{exit} {wrong}");
    books.house.close().await;
}

#[tokio::test]
async fn a_page_has_room_for_four_sites() {
    let house = House::new().await;
    let quill = house.quill().await;
    for code in ["AAA", "BBB", "CCC", "DDD"] {
        house.park(code, "Europe/Dublin").await;
    }
    let desk = house.desk_of(&quill.auditor, &[(Role::Auditor, None)]);
    let (exit, refused) = desk.refused("holt").await;
    assert!(exit == 2 && refused.contains("AAA, BBB, CCC, DDD, QUI"), "{exit} {refused}");
    desk.done("holt today --site DDD").await;
    house.close().await;
}

#[tokio::test]
async fn nothing_is_overdue_only_of_animals_that_a_check_is_for() {
    let books = Books::new().await;
    let desk = books.house.desk_of(&books.park.keeper, &[(Role::Keeper, Some("QUI"))]);
    let empty = desk.done("holt today --format text").await;
    assert!(
        empty.contains("Nothing: no open concerns; nothing due by the checks recorded; no animals;"),
        "{empty}"
    );
    for name in ["Bramble", "Sedge"] {
        books.arrived(books.arrival(name, "2025-03-01")).await.unwrap();
    }
    let registrar = books.house.desk_of(&books.park.registrar, &[(Role::Registrar, Some("QUI"))]);
    registrar.done("holt check add weigh --animal Bramble --every week --starts 2026-04-01").await;
    registrar.done("holt check add weigh --animal Sedge --every day --starts 2026-03-02").await;
    desk.done("holt weigh Sedge 8.1kg").await;
    let page = desk.done("holt today --format text").await;
    assert!(page.contains("Without a check: 1 to weigh (Bramble), 2 to assess (Bramble, Sedge)\n"), "{page}");
    assert!(page.contains("Nothing else: no open concerns; nothing due by the checks recorded;"), "{page}");
    books.house.close().await;
}

#[tokio::test]
async fn who_may_not_read_is_told_so_and_who_is_signed_out_gets_help() {
    let house = House::new().await;
    house.quill().await;
    let steward = house.steward().await;
    let desk = house.desk_of(&steward, &[(Role::Steward, None)]);
    let (exit, refused) = desk.refused("holt").await;
    assert!(exit == 5 && refused.contains("keeper"), "{exit} {refused}");
    let nobody = house.desk();
    let bare = nobody.run("holt").await;
    assert!(bare.exit == 2 && bare.err.contains("Usage: holt"), "{bare:?}");
    let (exit, refused) = nobody.refused("holt today").await;
    assert!(exit == 5 && refused.contains("holt sign-in NAME"), "{exit} {refused}");
    house.close().await;
}
