//! Who may not read a site gets no page of it, and no file is overwritten unasked.

use super::{ASKED, auditor, made, park};
use holt_server::model::person::Role;

#[tokio::test]
async fn a_reader_without_rights_gets_a_plain_refusal_and_no_file() {
    let audited = park().await;
    let elsewhere = audited.house.desk_of(&audited.brack.auditor, &[(Role::Auditor, Some("BRA"))]);
    let steward = audited.house.steward().await;
    let steward = audited.house.desk_of(&steward, &[(Role::Steward, None)]);
    for (desk, exits) in [(elsewhere, [4, 5]), (steward, [5, 5])] {
        let (exit, said) = desk.refused(&format!("{ASKED} --out ~/one.html")).await;
        assert!(exits.contains(&exit) && said.starts_with("holt: "), "{exit} {said}");
        assert!(!desk.path("one.html").exists());
    }
    audited.house.close().await;
}

#[tokio::test]
async fn what_is_there_stays_and_a_keeper_sees_no_seal() {
    let audited = park().await;
    let desk = auditor(&audited);
    desk.done("holt ledger seal").await;
    let one = made(&desk, "one.html").await;
    let (exit, said) = desk.refused(&format!("{ASKED} --out ~/one.html")).await;
    assert!(exit == 3 && said.contains("exists"), "{exit} {said}");
    desk.done(&format!("{ASKED} --out ~/one.html --replace")).await;
    let streamed = desk.done(&format!("{ASKED} --out -")).await;
    assert!(streamed == one, "the same page, wherever it goes");
    let (exit, said) = desk.refused("holt report page --from 2019-01-01 --out ~/long.html").await;
    assert!(exit == 2 && said.contains("1100 days"), "{exit} {said}");

    let keeper = audited.house.desk_of(&audited.quill.keeper, &[(Role::Keeper, Some("QUI"))]);
    let page = made(&keeper, "keeper.html").await;
    assert!(page.contains("This page shows no seal") && one.contains("<pre"));
    audited.house.close().await;
}
