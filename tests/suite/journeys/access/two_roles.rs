//! Somebody with two roles at two sites: each role opens its own site for its own deeds, and never the other's.

use super::{Gate, at};
use holt_proto::v1::{self, Role};
use holt_tests::Park;
use holt_tests::reason;
use tonic::Code;

async fn parks() -> (Gate, Park, Park) {
    let gate = Gate::new().await;
    let brack = gate.house.park("BRA", "America/Halifax").await;
    let third = gate.house.park("THI", "Asia/Tokyo").await;
    (gate, brack, third)
}

/// Sign-in names that somebody lists.
async fn people(by: &holt_tests::house::Client, site: &str) -> Result<Vec<String>, tonic::Status> {
    let list = v1::ListPeopleRequest { site: site.to_owned(), ..Default::default() };
    let people = by.people().list_people(list).await?.into_inner().people;
    Ok(people.into_iter().map(|person| person.sign_in_name).collect())
}

#[tokio::test]
async fn a_steward_of_one_site_and_keeper_of_another_lists_the_people_of_the_one() {
    let (gate, ..) = parks().await;
    gate.settled("wren", &[at(Role::Keeper, "BRA")]).await;
    let tokens = gate.settled("ann", &[at(Role::Steward, "THI"), at(Role::Keeper, "BRA")]).await;
    let both = gate.client(&tokens);
    let found = people(&both, "").await.unwrap();
    assert!(found.contains(&"ann".to_owned()), "{found:?}");
    assert!(!found.contains(&"wren".to_owned()), "{found:?}");
    let refused = people(&both, "BRA").await.unwrap_err();
    assert_eq!(refused.code(), Code::PermissionDenied);
    let reset =
        v1::ResetPasswordRequest { request_id: gate.house.request(), sign_in_name: "wren".to_owned() };
    let wren = both.people().reset_password(reset).await.unwrap_err();
    assert_eq!(reason(&wren), "NOT_FOUND");
    gate.house.close().await;
}

#[tokio::test]
async fn a_keeper_of_one_site_and_steward_of_another_lists_no_transfers_of_the_other() {
    let (gate, brack, _) = parks().await;
    let alder = gate.house.otter(&brack, "Alder").await;
    let propose = v1::ProposeTransferRequest {
        request_id: gate.house.request(),
        site: "BRA".to_owned(),
        to_site: "QUI".to_owned(),
        animal: alder.id.clone(),
        terms: v1::TransferTerms::TitlePasses.into(),
        why: "a place of its own".to_owned(),
        ..Default::default()
    };
    let proposed = brack.registrar.client.transfers().propose_transfer(propose).await.unwrap().into_inner();
    let transfer = proposed.transfer.unwrap().id;
    let tokens = gate.settled("bob", &[at(Role::Keeper, "THI"), at(Role::Steward, "BRA")]).await;
    let both = gate.client(&tokens);
    let all = v1::ListTransfersRequest::default();
    let listed = both.transfers().list_transfers(all).await.unwrap().into_inner().transfers;
    assert_eq!(listed, []);
    let get = v1::GetTransferRequest { transfer_id: transfer, ..Default::default() };
    assert_eq!(reason(&both.transfers().get_transfer(get).await.unwrap_err()), "NOT_FOUND");
    gate.house.close().await;
}

/// A registrar of both sites acts for one of them at a time: what is written for the one is under its scope alone.
#[tokio::test]
async fn a_write_is_under_the_scope_of_its_own_site() {
    let (gate, brack, _) = parks().await;
    let alder = gate.house.otter(&brack, "Alder").await;
    let tokens = gate.settled("eve", &[at(Role::Registrar, "QUI"), at(Role::Registrar, "BRA")]).await;
    let both = gate.client(&tokens);
    let mark = |site: &str| v1::ApplyMarkRequest {
        request_id: gate.house.request(),
        site: site.to_owned(),
        animal: alder.id.clone(),
        mark: Some(v1::NewMark {
            kind: v1::MarkKind::HouseName.into(),
            code: "Erle".to_owned(),
            ..Default::default()
        }),
        ..Default::default()
    };
    let refused = both.marks().apply_mark(mark("QUI")).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND", "from the desk of QUI there is no such animal");
    both.marks().apply_mark(mark("BRA")).await.unwrap();
    gate.house.close().await;
}
