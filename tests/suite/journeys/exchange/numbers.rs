//! Accession numbers that animals are taken in with, however high: those that come after still get theirs.

use holt_proto::time::day;
use holt_proto::v1;
use holt_tests::{House, Park};

fn life(id: String, number: &str, name: &str) -> v1::Life {
    let name =
        v1::NewMark { kind: v1::MarkKind::HouseName.into(), code: name.to_owned(), ..Default::default() };
    let year = number.get(4..6).unwrap_or("25");
    let stay = v1::Stay {
        began_on: Some(day(format!("20{year}-01-05").parse().unwrap())),
        began: v1::StayBeginning::Arrival.into(),
        source: v1::ArrivalSource::OnSiteBefore.into(),
        ..Default::default()
    };
    v1::Life {
        id,
        taxon: "Lontra canadensis".to_owned(),
        accession: number.to_owned(),
        marks: vec![v1::LifeMark { mark: Some(name), ..Default::default() }],
        stays: vec![stay],
        ..Default::default()
    }
}

async fn taken_in(house: &House, park: &Park, numbers: &[&str]) -> Vec<v1::LifeAnswer> {
    let lives = numbers
        .iter()
        .enumerate()
        .map(|(n, number)| life(house.request(), number, &format!("Otter {number} {n}")));
    let ask = v1::TakeInLivesRequest {
        request_id: house.request(),
        site: park.code.clone(),
        validate_only: false,
        lives: lives.collect(),
    };
    park.registrar
        .client
        .exchange()
        .take_in_lives(futures::stream::iter([ask]))
        .await
        .unwrap()
        .into_inner()
        .answers
}

#[tokio::test]
async fn a_number_that_no_site_comes_to_is_refused() {
    let house = House::new().await;
    let park = house.quill().await;
    for number in ["QUI-25-2147483647", "QUI-25-100000"] {
        let answers = taken_in(&house, &park, &[number]).await;
        assert_eq!(answers[0].flaws[0].field, "accession", "{answers:?}");
    }
    let otter = house.otter(&park, "Bramble").await;
    assert_eq!(otter.accession, "QUI-25-0001");
    house.close().await;
}

#[tokio::test]
async fn numbers_that_are_given_already_are_skipped() {
    let house = House::new().await;
    let (park, away) = (house.quill().await, house.park("AWA", "Europe/Vienna").await);
    let answers = taken_in(&house, &park, &["QUI-25-99999", "QUI-25-50001", "QUI-25-50002", ""]).await;
    assert!(answers.iter().all(|answer| answer.flaws.is_empty()), "{answers:?}");
    assert_eq!(answers[3].accession, "QUI-25-0001");
    taken_in(&house, &park, &["QUI-25-50000"]).await;
    // The counter stands at 50000 now, and the next two numbers are taken.
    assert_eq!(house.otter(&park, "Sedge").await.accession, "QUI-25-50003");
    // The other site's animal is received under the next of its year, past one that is taken.
    taken_in(&house, &park, &["QUI-26-50000", "QUI-26-50001"]).await;
    let otter = house.otter(&away, "Teasel").await;
    let propose = v1::ProposeTransferRequest {
        request_id: house.request(),
        site: "AWA".to_owned(),
        animal: otter.accession,
        to_site: "QUI".to_owned(),
        terms: v1::TransferTerms::Loan.into(),
        why: "company".to_owned(),
        ..Default::default()
    };
    let moved = away.registrar.client.transfers().propose_transfer(propose).await.unwrap().into_inner();
    let transfer_id = moved.transfer.unwrap().id;
    let (request_id, at) = (house.request(), None);
    let agree =
        v1::AgreeTransferRequest { request_id, transfer_id: transfer_id.clone(), ..Default::default() };
    park.registrar.client.transfers().agree_transfer(agree).await.unwrap();
    let (request_id, dispatched_at) = (house.request(), at);
    let transfer = transfer_id.clone();
    let dispatch = v1::DispatchTransferRequest {
        request_id,
        transfer_id: transfer,
        dispatched_at,
        ..Default::default()
    };
    away.registrar.client.transfers().dispatch_transfer(dispatch).await.unwrap();
    let request_id = house.request();
    let receive = v1::ReceiveTransferRequest { request_id, transfer_id, ..Default::default() };
    let received = park.registrar.client.transfers().receive_transfer(receive).await.unwrap().into_inner();
    assert_eq!(received.accession, "QUI-26-50002");
    house.close().await;
}
