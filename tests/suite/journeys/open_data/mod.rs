//! Real weights: an open dataset through the command line and the wire, against reference values.
//!
//! Crowder and Hand (1990), Analysis of Repeated Measures, example 5.3, as carried by R's `datasets`
//! (ChickWeight): 578 weighings of 50 chicks from hatching to day 21, in grams. The slopes are scipy 1.12's
//! (`theilslopes`), in `tests/external/tables/growth_trend_expected.csv`.

use chrono::{Days, NaiveDate};
use holt_audit::stats::theil_sen::{self, Pairs};
use holt_proto::time::{day, instant};
use holt_proto::v1;
use holt_server::model::person::Role;
use holt_tests::{House, Park};
use std::collections::BTreeMap;
use std::fmt::Write;

const CHICKS: &str = include_str!("../../../external/tables/open_chickweight.csv");
const SLOPES: &str = include_str!("../../../external/tables/growth_trend_expected.csv");

fn hatched() -> NaiveDate {
    "2026-02-02".parse().unwrap()
}

/// The rows of a table whose comments begin with `#`.
fn rows(text: &str) -> Vec<csv::StringRecord> {
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
    reader.records().map(Result::unwrap).collect()
}

/// Weighings of each chick: day since hatching, grams.
fn weighings() -> BTreeMap<u32, Vec<(u64, i64)>> {
    let mut chicks: BTreeMap<u32, Vec<(u64, i64)>> = BTreeMap::new();
    for row in rows(CHICKS) {
        let (grams, at, chick) = (row[0].parse().unwrap(), row[1].parse().unwrap(), row[2].parse().unwrap());
        chicks.entry(chick).or_default().push((at, grams));
    }
    chicks
}

async fn hatch(house: &House, park: &Park, chick: u32) {
    let birth = v1::RegisterBirthRequest {
        request_id: house.request(),
        site: park.code.clone(),
        taxon: "Gallus gallus".to_owned(),
        born_on: Some(day(hatched())),
        sex: v1::Sex::Unknown.into(),
        marks: vec![v1::NewMark {
            kind: v1::MarkKind::Ring.into(),
            code: format!("CH-{chick:02}"),
            place_on_body: "left leg".to_owned(),
        }],
        ..Default::default()
    };
    park.registrar.client.animals().register_birth(birth).await.unwrap();
}

/// All readings on record, as the wire tells them: chick, day since hatching, grams.
async fn read_back(park: &Park) -> BTreeMap<u32, Vec<(f64, f64)>> {
    let mut chicks: BTreeMap<u32, Vec<(f64, f64)>> = BTreeMap::new();
    let animals = v1::ListAnimalsRequest { site: park.code.clone(), ..Default::default() };
    let animals = park.auditor.client.animals().list_animals(animals).await.unwrap().into_inner().animals;
    let rings: BTreeMap<String, u32> =
        animals.into_iter().map(|a| (a.id, a.marks[0].code[3..].parse().unwrap())).collect();
    let mut token = String::new();
    loop {
        let list = v1::ListWeightsRequest {
            site: park.code.clone(),
            page: Some(v1::PageRequest { size: 200, token }),
            ..Default::default()
        };
        let page = park.auditor.client.weights().list_weights(list).await.unwrap().into_inner();
        for weight in page.weights {
            let at = instant(weight.weighed_at.unwrap()).unwrap().date_naive();
            let since = f64::from(i32::try_from((at - hatched()).num_days()).unwrap());
            let grams = f64::from(i32::try_from(weight.mass.unwrap().milligrams / 1000).unwrap());
            chicks.entry(rings[&weight.animal_id]).or_default().push((since, grams));
        }
        token = page.page.unwrap().next_token;
        if token.is_empty() {
            return chicks;
        }
    }
}

#[tokio::test]
async fn chicks_of_an_open_dataset() {
    let house = House::new().await;
    let park = house.park("QUI", "Europe/Dublin").await;
    house.taxon(&park, "Gallus gallus", "domestic chicken").await;
    let data = weighings();
    let mut round = "animal;date;mass\n".to_owned();
    for (chick, weighings) in &data {
        hatch(&house, &park, *chick).await;
        for (at, grams) in weighings {
            writeln!(round, "CH-{chick:02};{};{grams}", hatched() + Days::new(*at)).unwrap();
        }
    }
    let keeper = house.desk_of(&park.keeper, &[(Role::Keeper, Some("QUI"))]).with("HOLT_SITE", "QUI");
    keeper.file("chicks.csv", round.as_bytes());
    let said = keeper.done("holt weigh --file ~/chicks.csv --unit g").await;
    assert_eq!(said.lines().count(), 578);
    // Sent again, nothing is there twice.
    assert_eq!(keeper.done("holt weigh --file ~/chicks.csv --unit g").await, said);

    let back = read_back(&park).await;
    assert_eq!(back.len(), 50);
    assert_eq!(back.values().map(Vec::len).sum::<usize>(), 578);
    for (chick, weighings) in &data {
        let (at, grams) = *weighings.last().unwrap();
        let last = back[chick].iter().copied().max_by(|a, b| a.0.total_cmp(&b.0)).unwrap();
        let wanted = (f64::from(u32::try_from(at).unwrap()), f64::from(i32::try_from(grams).unwrap()));
        assert_eq!(last, wanted, "chick {chick}");
    }
    let mut checked = 0;
    for row in rows(SLOPES).iter().filter(|row| &row[0] == "ChickWeight") {
        let points = &back[&row[1].parse().unwrap()];
        let (days, grams): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
        let line = theil_sen::fit(&days, &grams, 0.95, &mut Pairs::default()).unwrap();
        for (ours, theirs) in [(line.slope, &row[3]), (line.low, &row[6]), (line.high, &row[7])] {
            let theirs: f64 = theirs.parse().unwrap();
            assert!((ours - theirs).abs() < 1e-9, "chick {}: {ours} and not {theirs}", &row[1]);
        }
        checked += 1;
    }
    assert_eq!(checked, 3);
    house.close().await;
}
