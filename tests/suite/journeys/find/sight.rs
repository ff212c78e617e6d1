//! Who finds what: all sites in scope are looked through, and no other.

use super::{Shelf, found, names};
use chrono::TimeDelta;
use holt_proto::v1::{self, AnimalStatus};
use holt_server::model::person::Role;

#[tokio::test]
async fn all_sites_in_scope_are_looked_through_and_no_other() {
    let shelf = Shelf::new().await;
    let there = shelf.house.park("BRA", "America/Halifax").await;
    shelf.otter("Bramble", &[]).await;
    shelf.house.otter(&there, "Bramwell").await;
    for text in ["bram", "ram", "25-0001"] {
        assert_eq!(names(found(&shelf.park.keeper, text).await.unwrap()), ["Bramble"], "{text}");
        assert_eq!(names(found(&there.keeper, text).await.unwrap()), ["Bramwell"], "{text}");
    }
    let both = [(Role::Keeper, Some("QUI")), (Role::Auditor, Some("BRA"))];
    let both = shelf.house.person("between", &both).await;
    let everywhere = shelf.house.person("auditor", &[(Role::Auditor, None)]).await;
    for who in [&both, &everywhere] {
        assert_eq!(names(found(who, "bram").await.unwrap()), ["Bramble", "Bramwell"]);
        assert_eq!(names(found(who, "ram").await.unwrap()), ["Bramble", "Bramwell"]);
    }
    shelf.house.close().await;
}

/// Of an animal that has left it is told where it went, and by what it went then; not what it is called there.
#[tokio::test]
async fn of_an_animal_that_left_it_is_told_where_it_went() {
    let shelf = Shelf::new().await;
    let there = shelf.house.park("BRA", "America/Halifax").await;
    let otter = shelf.otter("Bramble", &[]).await;
    let registrar = &shelf.park.registrar.client;
    let propose = v1::ProposeTransferRequest {
        request_id: shelf.house.request(),
        site: "QUI".to_owned(),
        animal: otter.id.clone(),
        to_site: "BRA".to_owned(),
        terms: v1::TransferTerms::TitlePasses.into(),
        why: "company".to_owned(),
        ..Default::default()
    };
    let proposed = registrar.transfers().propose_transfer(propose).await.unwrap();
    let transfer_id = proposed.into_inner().transfer.unwrap().id;
    let request_id = || shelf.house.request();
    let agree = v1::AgreeTransferRequest {
        request_id: request_id(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    there.registrar.client.transfers().agree_transfer(agree).await.unwrap();
    let dispatch = v1::DispatchTransferRequest {
        request_id: request_id(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    registrar.transfers().dispatch_transfer(dispatch).await.unwrap();
    let receive = v1::ReceiveTransferRequest { request_id: request_id(), transfer_id, ..Default::default() };
    there.registrar.client.transfers().receive_transfer(receive).await.unwrap();
    shelf.house.clock.advance(TimeDelta::days(1));
    let renamed = v1::ApplyMarkRequest {
        request_id: request_id(),
        site: "BRA".to_owned(),
        animal: otter.id.clone(),
        mark: Some(super::new(v1::MarkKind::HouseName, "Thistledown")),
        applied_at: None,
    };
    there.registrar.client.marks().apply_mark(renamed).await.unwrap();
    let left = shelf.found("bramb").await.remove(0).animal.unwrap();
    assert_eq!((left.status(), left.went_to.as_str()), (AnimalStatus::MovedOn, "BRA"));
    assert!(shelf.found("thistle").await.is_empty(), "its later life is not theirs");
    let held = found(&there.keeper, "bramb").await.unwrap().remove(0).animal.unwrap();
    assert_eq!((held.status(), held.holder.as_str()), (AnimalStatus::Held, "BRA"));
    assert_eq!(found(&there.keeper, "istle").await.unwrap().len(), 1);
    // A name that another site gave it is found within, too, by who holds it now.
    assert_eq!(found(&there.keeper, "ramb").await.unwrap().len(), 1);
    shelf.house.close().await;
}
