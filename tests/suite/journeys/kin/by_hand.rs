//! Kin as people read them.

use super::family;
use holt_proto::v1;
use holt_server::model::person::Role;

#[tokio::test]
async fn kin_are_read_at_a_terminal() {
    let books = family().await;
    books.young("Pip", v1::Sex::Unknown, "Fern", "Rush", "2025-05-01").await;
    let keeper = [(Role::Keeper, Some("QUI"))];
    let desk = books.house.desk_of(&books.park.keeper, &keeper).at_terminal(80).with("NO_COLOR", "1");
    let mut text = String::new();
    for line in
        ["holt kin show Pip", "holt kin compare Pip Bramble", "holt kin compare Fern Rush --format csv"]
    {
        let out = desk.done(line).await;
        text.push_str(&format!("$ {line}\n{out}\n"));
    }
    insta::assert_snapshot!(text);
    books.house.close().await;
}
