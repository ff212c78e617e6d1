//! Numbers that collide: each site's own carry its code, those of others are kept as marks.

use holt_proto::v1::{self, MarkKind};
use holt_tests::{House, Park, reason};
use tonic::Status;
use tonic_types::StatusExt;

async fn get(park: &Park, site: &str, animal: &str) -> Result<v1::Animal, Status> {
    let get = v1::GetAnimalRequest { site: site.to_owned(), animal: animal.to_owned(), ..Default::default() };
    Ok(park.keeper.client.animals().get_animal(get).await?.into_inner().animal.unwrap())
}

/// An otter that somebody else's books call by a number.
async fn numbered(house: &House, park: &Park, name: &str, number: &str) -> v1::Animal {
    let mut arrival = house.arrival(park, name, "2026-02-01".parse().unwrap());
    arrival.marks.push(v1::NewMark {
        kind: MarkKind::FormerNumber.into(),
        code: number.to_owned(),
        place_on_body: String::new(),
    });
    park.registrar.client.animals().register_arrival(arrival).await.unwrap().into_inner().animal.unwrap()
}

#[tokio::test]
async fn two_sites_give_out_the_same_serial_and_nobody_is_mistaken() {
    let house = House::new().await;
    let quill = house.quill().await;
    let brack = house.park("BRA", "America/Halifax").await;
    let here = numbered(&house, &quill, "Bramble", "4711").await;
    let there = numbered(&house, &brack, "Fern", "4711").await;
    assert_eq!((here.accession.as_str(), there.accession.as_str()), ("QUI-26-0001", "BRA-26-0001"));
    assert_eq!(get(&quill, "QUI", "QUI-26-0001").await.unwrap().id, here.id);
    assert_eq!(get(&brack, "BRA", "BRA-26-0001").await.unwrap().id, there.id);
    // The number that both had from elsewhere means at each site its own …
    assert_eq!(get(&quill, "QUI", "4711").await.unwrap().id, here.id);
    assert_eq!(get(&brack, "BRA", "4711").await.unwrap().id, there.id);
    // … and whoever sees both sites and names none is asked which.
    let both = [(holt_server::model::person::Role::Auditor, None)];
    let auditor = house.person("auditor-of-all", &both).await;
    let ask = v1::GetAnimalRequest { animal: "4711".to_owned(), ..Default::default() };
    let refused = auditor.client.animals().get_animal(ask).await.unwrap_err();
    assert_eq!(reason(&refused), "AMBIGUOUS_ANIMAL");
    let candidates = &refused.get_details_error_info().unwrap().metadata["candidates"];
    assert!(candidates.contains("QUI-26-0001") && candidates.contains("BRA-26-0001"), "{candidates}");
    house.close().await;
}

#[tokio::test]
async fn two_animals_of_one_number_from_outside_are_told_apart() {
    let house = House::new().await;
    let quill = house.quill().await;
    numbered(&house, &quill, "Bramble", "M 17").await;
    numbered(&house, &quill, "Sedge", "m 17").await;
    let refused = get(&quill, "QUI", "M 17").await.unwrap_err();
    assert_eq!(reason(&refused), "AMBIGUOUS_ANIMAL");
    for name in ["Bramble", "Sedge"] {
        let told = get(&quill, "QUI", name).await.unwrap();
        assert!(told.marks.iter().any(|mark| mark.kind() == MarkKind::FormerNumber), "{name}");
    }
    house.close().await;
}

/// An animal that moves has the number of each site, and a site's own means it there.
#[tokio::test]
async fn after_a_move_both_numbers_mean_the_animal() {
    let house = House::new().await;
    let quill = house.quill().await;
    let brack = house.park("BRA", "America/Halifax").await;
    let bramble = numbered(&house, &quill, "Bramble", "4711").await;
    let propose = v1::ProposeTransferRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        to_site: "BRA".to_owned(),
        terms: v1::TransferTerms::TitlePasses.into(),
        why: "company".to_owned(),
        ..Default::default()
    };
    let transfer_id = quill
        .registrar
        .client
        .transfers()
        .propose_transfer(propose)
        .await
        .unwrap()
        .into_inner()
        .transfer
        .unwrap()
        .id;
    let agree = v1::AgreeTransferRequest {
        request_id: house.request(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    brack.registrar.client.transfers().agree_transfer(agree).await.unwrap();
    let dispatch = v1::DispatchTransferRequest {
        request_id: house.request(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    quill.registrar.client.transfers().dispatch_transfer(dispatch).await.unwrap();
    let receive =
        v1::ReceiveTransferRequest { request_id: house.request(), transfer_id, ..Default::default() };
    brack.registrar.client.transfers().receive_transfer(receive).await.unwrap();
    for name in ["QUI-26-0001", "BRA-26-0001", "4711", "Bramble"] {
        assert_eq!(get(&brack, "BRA", name).await.unwrap().id, bramble.id, "{name}");
    }
    house.close().await;
}
