//! Sites in zones far apart: one instant is two days, and the animal is on the books of one site at a time.

use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_tests::{House, Park};

fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

async fn held(park: &Park, day: &str) -> usize {
    let list = v1::ListAnimalsRequest {
        site: park.code.clone(),
        as_of: Some(day.parse().unwrap()),
        ..Default::default()
    };
    park.auditor.client.animals().list_animals(list).await.unwrap().into_inner().animals.len()
}

/// Noon UTC of 2 March is one in the morning of 3 March in Auckland (UTC+13) and two in the morning of 2 March
/// in Honolulu (UTC-10).
#[tokio::test]
async fn one_move_is_on_two_days_and_no_day_counts_the_animal_twice_at_one_site() {
    let house = House::new().await;
    let east = house.park("AUC", "Pacific/Auckland").await;
    let west = house.park("HON", "Pacific/Honolulu").await;
    house.taxon(&east, "Lontra canadensis", "North American river otter").await;
    house.otter(&east, "Bramble").await;
    let propose = v1::ProposeTransferRequest {
        request_id: house.request(),
        site: "AUC".to_owned(),
        animal: "Bramble".to_owned(),
        to_site: "HON".to_owned(),
        terms: v1::TransferTerms::TitlePasses.into(),
        why: "company".to_owned(),
        ..Default::default()
    };
    let transfer_id = east
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
    west.registrar.client.transfers().agree_transfer(agree).await.unwrap();
    house.clock.advance(TimeDelta::hours(1));
    let dispatch = v1::DispatchTransferRequest {
        request_id: house.request(),
        transfer_id: transfer_id.clone(),
        ..Default::default()
    };
    east.registrar.client.transfers().dispatch_transfer(dispatch).await.unwrap();
    house.clock.set(utc("2026-03-02T18:00:00Z"));
    let receive = v1::ReceiveTransferRequest {
        request_id: house.request(),
        transfer_id,
        received_at: Some(timestamp(utc("2026-03-02T12:00:00Z"))),
        ..Default::default()
    };
    west.registrar.client.transfers().receive_transfer(receive).await.unwrap();
    house.clock.set(utc("2026-03-10T18:00:00Z"));
    // Off the books in the east on its 3 March, on the books in the west on its 2 March.
    assert_eq!((held(&east, "2026-03-02").await, held(&east, "2026-03-03").await), (1, 0));
    assert_eq!((held(&west, "2026-03-01").await, held(&west, "2026-03-02").await), (0, 1));
    // As a whole they have one animal, whichever day is asked for, and each return balances.
    let ask = |site: &str, first: &str, last: &str| v1::GetStockReturnRequest {
        site: site.to_owned(),
        days: Some(v1::DaySpan { first: Some(first.parse().unwrap()), last: Some(last.parse().unwrap()) }),
        ..Default::default()
    };
    for (park, line) in [(&east, (1, 0, 0, 1)), (&west, (0, 1, 1, 0))] {
        let mut census = park.auditor.client.census();
        let told =
            census.get_stock_return(ask(&park.code, "2026-03-01", "2026-03-09")).await.unwrap().into_inner();
        let [return_] = told.returns.try_into().unwrap();
        assert!(return_.balances, "{}", park.code);
        let [row] = return_.lines.try_into().unwrap();
        let females = |counts: Option<v1::Counts>| counts.unwrap_or_default().females;
        assert_eq!(
            (females(row.opening), females(row.arrived), females(row.closing), females(row.departed)),
            line,
            "{}",
            park.code
        );
    }
    house.close().await;
}

/// A death that is known by its day ends with that day of the site, not of the server.
#[tokio::test]
async fn a_day_is_the_sites_own() {
    let house = House::new().await;
    let east = house.park("AUC", "Pacific/Auckland").await;
    let west = house.park("HON", "Pacific/Honolulu").await;
    house.taxon(&east, "Lontra canadensis", "North American river otter").await;
    // Six in the morning UTC of 2 March: in Honolulu it is still 1 March.
    for (park, today, tomorrow) in [(&east, "2026-03-02", "2026-03-03"), (&west, "2026-03-01", "2026-03-02")]
    {
        house.otter(park, "Bramble").await;
        let died = |on: &str| v1::RecordDeathRequest {
            request_id: house.request(),
            site: park.code.clone(),
            animal: "Bramble".to_owned(),
            died_on: Some(on.parse().unwrap()),
            manner: v1::DeathManner::Natural.into(),
            ..Default::default()
        };
        let animals = park.registrar.client.animals();
        let refused = animals.clone().record_death(died(tomorrow)).await.unwrap_err();
        assert_eq!(holt_tests::reason(&refused), "IN_THE_FUTURE", "{}", park.code);
        animals.clone().record_death(died(today)).await.unwrap();
    }
    house.close().await;
}
