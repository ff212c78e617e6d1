//! A pedigree ends where the asker's sight ends, whoever asks.

use super::{compared, family, figures, kin_of, spoken};
use crate::journeys::registration::Books;
use chrono::TimeDelta;
use holt_proto::v1;
use holt_server::model::person::Role;
use holt_tests::{Park, reason};
use v1::Kin::{Dam, Offspring, Sire};

/// Fern went from Quill to Brack, where she had Cub since.
async fn moved() -> (Books, Park) {
    let books = family().await;
    let brack = books.house.park("BRA", "America/Halifax").await;
    let transfer_id = books.propose("Fern", "BRA").await.id;
    let request_id = || books.house.request();
    let agree = v1::AgreeTransferRequest {
        request_id: request_id(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    brack.registrar.client.transfers().agree_transfer(agree).await.unwrap();
    let leave = v1::DispatchTransferRequest {
        request_id: request_id(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    books.park.registrar.client.transfers().dispatch_transfer(leave).await.unwrap();
    let come = v1::ReceiveTransferRequest { request_id: request_id(), transfer_id, ..Default::default() };
    brack.registrar.client.transfers().receive_transfer(come).await.unwrap();
    books.house.clock.advance(TimeDelta::days(3));
    let cub = v1::RegisterBirthRequest {
        request_id: request_id(),
        site: "BRA".to_owned(),
        taxon: "Lontra canadensis".to_owned(),
        born_on: Some("2026-03-04".parse().unwrap()),
        sex: v1::Sex::Unknown.into(),
        dam: "Fern".to_owned(),
        ..Default::default()
    };
    brack.registrar.client.animals().register_birth(cub).await.unwrap();
    (books, brack)
}

fn kinds(told: &v1::GetKinResponse) -> Vec<v1::Kin> {
    told.relatives.iter().map(v1::KinRelative::kin).collect()
}

#[tokio::test]
async fn the_new_holder_sees_that_there_are_parents_and_nothing_of_them() {
    let (books, brack) = moved().await;
    let told = kin_of(&brack.keeper, "BRA", "Fern").await.unwrap();
    // Rush, the brother, stayed at Quill: not even that he exists.
    assert_eq!(kinds(&told), [Dam, Sire, Offspring]);
    for parent in &told.relatives[..2] {
        let label = parent.animal.clone().unwrap();
        assert_eq!((label.accession.as_str(), label.house_name.as_str()), ("", ""));
        assert_eq!((parent.sex(), parent.born_on), (v1::Sex::Unknown, None));
    }
    assert_eq!(figures(told.inbreeding), [0, 0, 5000], "whose kin the parents are is open");
    assert!(told.ancestors.iter().all(|one| !one.founder), "{:?}", told.ancestors);
    for out_of_sight in ["Rush", "Bramble", "Alder"] {
        let refused = compared(&brack.registrar, "BRA", &["Fern", out_of_sight]).await.unwrap_err();
        assert_eq!(reason(&refused), "NOT_FOUND", "{out_of_sight}");
    }
    let bramble = told.relatives[0].animal.clone().unwrap().id;
    let refused = kin_of(&brack.registrar, "BRA", &bramble).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND", "by the bare identifier, too");
    books.house.close().await;
}

#[tokio::test]
async fn the_former_holder_sees_no_offspring_that_came_since() {
    let (books, _) = moved().await;
    let told = kin_of(&books.park.registrar, "QUI", "Fern").await.unwrap();
    assert!(!kinds(&told).contains(&Offspring), "{:?}", spoken(&told));
    let names: Vec<String> = spoken(&told).into_iter().map(|(name, ..)| name).collect();
    assert_eq!(names, ["Bramble", "Alder", "Rush"]);
    books.house.close().await;
}

/// A role that reads nothing at one site opens nothing of it, whatever another role opens elsewhere.
#[tokio::test]
async fn two_roles_at_two_sites_open_what_each_opens() {
    let (books, _) = moved().await;
    let manages =
        books.house.person("ann", &[(Role::Keeper, Some("BRA")), (Role::Steward, Some("QUI"))]).await;
    let told = kin_of(&manages, "BRA", "Fern").await.unwrap();
    assert_eq!(kinds(&told), [Dam, Sire, Offspring]);
    assert_eq!(figures(told.inbreeding), [0, 0, 5000]);
    assert_eq!(reason(&kin_of(&manages, "QUI", "Fern").await.unwrap_err()), "ROLE_NEEDED");
    let reads = books.house.person("bob", &[(Role::Keeper, Some("BRA")), (Role::Auditor, Some("QUI"))]).await;
    let told = kin_of(&reads, "BRA", "Fern").await.unwrap();
    assert_eq!(figures(told.inbreeding), [0; 3], "both sites are theirs to read");
    assert_eq!(told.relatives.len(), 4);
    books.house.close().await;
}

/// A third site has nothing to do with her.
#[tokio::test]
async fn who_never_had_her_sees_no_kin_of_hers() {
    let (books, _) = moved().await;
    let third = books.house.park("THI", "Asia/Tokyo").await;
    let refused = kin_of(&third.auditor, "THI", "Fern").await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    books.house.close().await;
}
