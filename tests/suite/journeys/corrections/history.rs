//! The history of an animal, and what changed in it.

use super::{Books, mass};
use holt_proto::time::timestamp;
use holt_proto::v1::{self, FactChangeKind, FactKind};
use holt_server::clock::Clock;
use holt_server::model::person::Role;
use holt_tests::reason;

#[tokio::test]
async fn everything_is_told_in_the_order_in_which_it_happened() {
    let books = Books::new().await;
    books.weigh("Bramble", 8_000).await;
    let kinds: Vec<FactKind> =
        books.history("Bramble", None).await.facts.iter().map(v1::Fact::kind).collect();
    use FactKind::{Accession, Birth, Holding, Mark, Sex, Title, Weight};
    assert_eq!(kinds, [Birth, Sex, Accession, Holding, Title, Mark, Weight]);
    books.house.close().await;
}

#[tokio::test]
async fn what_changed_since_is_what_is_new_and_what_stands_no_more() {
    let books = Books::new().await;
    let weight = books.weigh("Bramble", 8_210).await;
    let then = books.house.clock.now();
    books.correct(&weight, mass(8_120)).await.unwrap();
    let ask = v1::GetHistoryRequest {
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        changed_since: Some(timestamp(then)),
        ..Default::default()
    };
    let mut history = books.quill.auditor.client.history();
    let changed = history.get_history(ask.clone()).await.unwrap().into_inner().facts;
    let told: Vec<_> = changed.iter().map(|fact| (fact.change(), fact.say.as_str())).collect();
    assert_eq!(told, [(FactChangeKind::Gone, "8.21 kg"), (FactChangeKind::Added, "8.12 kg")]);
    assert_eq!(changed[0].superseded_because, "corrected: seen on the sheet");
    assert_eq!(changed[1].recorded_by, "qui-registrar");
    let turned = v1::GetHistoryRequest { as_known_at: Some(timestamp(then)), ..ask };
    assert_eq!(reason(&history.get_history(turned).await.unwrap_err()), "MALFORMED");
    books.house.close().await;
}

#[tokio::test]
async fn pages_of_a_history_go_on_where_they_ended() {
    let books = Books::new().await;
    for n in 0..5 {
        books.weigh("Bramble", 8_000 + n).await;
    }
    let whole = books.history("Bramble", None).await.facts;
    let mut pieces = Vec::new();
    let mut token = String::new();
    loop {
        let ask = v1::GetHistoryRequest {
            site: "QUI".to_owned(),
            animal: "Bramble".to_owned(),
            page: Some(v1::PageRequest { size: 5, token }),
            ..Default::default()
        };
        let answer = books.quill.auditor.client.history().get_history(ask).await.unwrap().into_inner();
        pieces.extend(answer.facts);
        token = answer.page.unwrap().next_token;
        if token.is_empty() {
            break;
        }
    }
    assert_eq!(pieces, whole);
    books.house.close().await;
}

#[tokio::test]
async fn a_registrar_types_it() {
    let books = Books::new().await;
    let weight = books.weigh("Bramble", 8_210).await;
    let then = books.house.clock.now();
    let desk = books.house.desk_of(&books.quill.registrar, &[(Role::Registrar, Some("QUI"))]);
    let mut text = String::new();
    let id = &weight[weight.len() - 8..];
    for line in [
        format!("holt correct Bramble {id} --mass 8.12kg --because 'read 8.21' --check-only"),
        format!("holt correct Bramble {id} --mass 8.12kg --because 'read 8.21'"),
        "holt history Bramble".to_owned(),
        format!("holt history Bramble --as-known-at {}", then.to_rfc3339()),
        format!("holt history Bramble --changed-since {}", then.to_rfc3339()),
        format!("holt correct Bramble {id} --withdraw --because 'no reading'"),
        format!("holt correct Bramble {} --sex male --because 'seen'", &books.bramble.id[28..]),
    ] {
        let ran = desk.run(&format!("{line} --format text")).await;
        text.push_str(&format!("$ {line}\n{}{}[{}]\n\n", ran.out, ran.err, ran.exit));
    }
    insta::assert_snapshot!("typed", text);
    books.house.close().await;
}
