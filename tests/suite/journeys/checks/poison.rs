//! Checks that began long ago, and one on record that cannot be read: every page of the site still answers.

use super::*;
use holt_proto::UNREADABLE;
use holt_proto::time::day;
use prost::Message;
use uuid::Uuid;

const LONG_AGO: [&str; 3] = ["1900-01-01", "1926-03-01", "1999-12-31"];

/// The records that are missing from an answer.
fn missing<T>(answer: &tonic::Response<T>) -> Vec<v1::UnreadableRecord> {
    let Some(told) = answer.metadata().get_bin(UNREADABLE) else { return Vec::new() };
    v1::UnreadableRecords::decode(told.to_bytes().unwrap()).unwrap().records
}

async fn pages(park: &Park, as_of: Option<v1::Day>) -> [Vec<v1::UnreadableRecord>; 5] {
    let (site, client) = (park.code.clone(), &park.keeper.client);
    let due = v1::ListDueRequest { site: site.clone(), as_of, ..Default::default() };
    let due = client.checks().list_due(due).await.unwrap();
    let days = Some(v1::DaySpan { first: as_of.or(Some(day(today()))), last: as_of.or(Some(day(today()))) });
    let coverage = v1::GetCheckCoverageRequest { site: site.clone(), days, as_of, ..Default::default() };
    let coverage = client.checks().get_check_coverage(coverage).await.unwrap();
    let report = v1::GetSiteDayRequest { site: site.clone(), as_of, ..Default::default() };
    let report = client.reports().get_site_day(report).await.unwrap();
    let late = v1::ListUnassessedRequest { site: site.clone(), as_of, ..Default::default() };
    let late = client.welfare().list_unassessed(late).await.unwrap();
    let all = client.checks().list_checks(v1::ListChecksRequest { site, as_known_at: None }).await.unwrap();
    [missing(&due), missing(&coverage), missing(&report), missing(&late), missing(&all)]
}

fn today() -> chrono::NaiveDate {
    holt_tests::house::start_of_time().date_naive()
}

#[tokio::test]
async fn a_daily_check_that_began_a_century_ago_stops_no_page() {
    let house = House::new().await;
    let park = house.quill().await;
    house.otter(&park, "Bramble").await;
    for (starts, duty) in LONG_AGO.iter().zip([Duty::Weigh, Duty::Assess, Duty::Weigh]) {
        let check = v1::CreateCheckRequest {
            request_id: house.request(),
            site: park.code.clone(),
            duty: duty.into(),
            scope: Some(v1::CheckScope { of: Some(Of::WholeSite(true)) }),
            recurrence: "FREQ=DAILY".to_owned(),
            starts_on: Some(day(starts.parse().unwrap())),
            ..Default::default()
        };
        park.registrar.client.checks().create_check(check).await.unwrap();
    }
    for as_of in [None, Some("1800-01-01"), Some("1950-06-01"), Some("2100-01-01"), Some("2199-12-31")] {
        let as_of = as_of.map(|as_of| day(as_of.parse().unwrap()));
        assert_eq!(pages(&park, as_of).await, [const { Vec::new() }; 5], "{as_of:?}");
    }
    let due = v1::ListDueRequest { site: park.code.clone(), ..Default::default() };
    let due = park.keeper.client.checks().list_due(due).await.unwrap().into_inner();
    assert_eq!(due.items.len(), 3, "the animal is due today by each");
    house.close().await;
}

#[tokio::test]
async fn a_check_that_cannot_be_read_is_named_and_the_rest_is_there() {
    let house = House::new().await;
    let park = house.quill().await;
    house.otter(&park, "Bramble").await;
    let check = v1::CreateCheckRequest {
        request_id: house.request(),
        site: park.code.clone(),
        duty: Duty::Weigh.into(),
        scope: Some(v1::CheckScope { of: Some(Of::WholeSite(true)) }),
        recurrence: "FREQ=DAILY".to_owned(),
        ..Default::default()
    };
    park.registrar.client.checks().create_check(check).await.unwrap();
    let mut owner = house.owner().await;
    sqlx::query("ALTER TABLE checks DROP CONSTRAINT checks_duty_guard").execute(&mut owner).await.unwrap();
    let bad = [(Uuid::from_u128(71), "weigh", "FREQ=NEVER"), (Uuid::from_u128(72), "sing", "FREQ=DAILY")];
    for (id, duty, recurrence) in bad {
        let plant = "INSERT INTO checks (id, site_id, check_id, duty, recurrence, starts_on, grace_days, by_whom,
                                         note, recorded_at, recorded_by, request_id)
                     SELECT $1, id, $1, $2, $3, '2026-01-01', 0, '', '', '2026-01-01', $4, $4 FROM sites WHERE code = $5";
        let plant =
            sqlx::query(plant).bind(id).bind(duty).bind(recurrence).bind(park.keeper.id).bind(&park.code);
        plant.execute(&mut owner).await.unwrap();
    }
    let [due, coverage, report, late, all] = pages(&park, None).await;
    let named = |told: &[v1::UnreadableRecord]| {
        let mut ids: Vec<_> =
            told.iter().map(|one| (one.kind.clone(), one.id.parse::<Uuid>().unwrap())).collect();
        ids.sort();
        ids
    };
    let both = bad.map(|(id, ..)| ("check".to_owned(), id)).to_vec();
    for told in [&due, &coverage, &report, &late] {
        assert_eq!(named(told), both);
        assert!(told.iter().all(|one| !one.say.is_empty()));
    }
    // A list of checks shows the rule as it is written, whatever it says.
    assert_eq!(named(&all), both[1..]);
    let asked = v1::ListDueRequest { site: park.code.clone(), ..Default::default() };
    let due = park.keeper.client.checks().list_due(asked).await.unwrap().into_inner();
    assert_eq!(due.items.len(), 1, "what can be read is due");
    house.check().await;
    house.stop().await;
}
