//! How fast readings of devices come in on a stream, next to COPY of the same rows into a plain table on the same
//! cluster in the same run.
//!
//! `cargo bench -p holt-tests --bench readings`. Figures wander with the machine; the ratios hold. What is recorded
//! of them stands in `tests/benches/README.md`.

#![expect(clippy::print_stdout, reason = "the figures are what it is for")]
#![expect(clippy::unwrap_used, reason = "where a bench cannot go on, it ends")]

use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_tests::{House, Park, cluster};
use sqlx::{Connection, PgConnection};
use std::fmt::Write;
use std::time::Instant;

const DEVICES: i64 = 20;
/// Portions sent of each size, one after the other: each is answered before the bench ends.
const PORTIONS: i64 = 200;

#[tokio::main]
async fn main() {
    let (cluster, url) = cluster::apart().await;
    let house = House::over(url, |_| ()).await;
    let park = house.quill().await;
    house.enclosure(&park, "Weir").await;
    for n in 0..DEVICES {
        let add = v1::AddDeviceRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            enclosure: "Weir".to_owned(),
            name: name(n),
            measure: v1::Measure::Temperature.into(),
            ..Default::default()
        };
        park.registrar.client.climate().add_device(add).await.unwrap();
    }
    let mut owner = house.owner().await;
    sqlx::raw_sql(
        "CREATE TABLE plain (device text NOT NULL, read_at timestamptz NOT NULL, value float8 NOT NULL,
                             PRIMARY KEY (device, read_at))",
    )
    .execute(&mut owner)
    .await
    .unwrap();
    println!("{DEVICES} devices, {PORTIONS} portions a line, each of them a commit, fsync on\n");
    println!(
        "| readings in a portion | COPY, readings/s | SendReadings, readings/s | ratio |\n|---|---|---|---|"
    );
    let mut first = house.clock.now() - TimeDelta::days(300);
    for size in [20, 100, 1000] {
        let plain = copy(&mut owner, first, size).await;
        let ours = send(&house, &park, first, size).await;
        println!("| {size} | {plain:.0} | {ours:.0} | {:.3} |", ours / plain);
        first += TimeDelta::days(60);
    }
    owner.close().await.unwrap();
    house.check().await;
    house.stop().await;
    cluster.stop().await.unwrap();
}

fn name(device: i64) -> String {
    format!("Lamp {device}")
}

/// Device, instant and value of each reading of a portion: a reading of each device in turn.
fn readings(
    first: DateTime<Utc>,
    portion: i64,
    size: i64,
) -> impl Iterator<Item = (String, DateTime<Utc>, f64)> {
    (portion * size..(portion + 1) * size).map(move |n| {
        let warmth = 20.0 + f64::from(i32::try_from(n % 17).unwrap()) / 10.0;
        (name(n % DEVICES), first + TimeDelta::seconds(n / DEVICES), warmth)
    })
}

#[expect(clippy::cast_precision_loss, reason = "a count of seconds' work")]
fn rate(size: i64, began: Instant) -> f64 {
    (size * PORTIONS) as f64 / began.elapsed().as_secs_f64()
}

async fn copy(owner: &mut PgConnection, first: DateTime<Utc>, size: i64) -> f64 {
    let began = Instant::now();
    for portion in 0..PORTIONS {
        let mut rows = String::new();
        for (device, at, value) in readings(first, portion, size) {
            writeln!(rows, "{device}\t{}\t{value}", at.to_rfc3339()).unwrap();
        }
        let mut into = owner.copy_in_raw("COPY plain FROM STDIN").await.unwrap();
        into.send(rows.as_bytes()).await.unwrap();
        into.finish().await.unwrap();
    }
    rate(size, began)
}

async fn send(house: &House, park: &Park, first: DateTime<Utc>, size: i64) -> f64 {
    let ids: Vec<String> = (0..PORTIONS).map(|_| house.request()).collect();
    let began = Instant::now();
    let portions = (0..PORTIONS).zip(ids).map(move |(portion, request_id)| {
        let readings = readings(first, portion, size).map(|(device, at, value)| v1::DeviceReading {
            device,
            read_at: Some(timestamp(at)),
            value,
        });
        let portion =
            v1::RecordReadingsRequest { request_id, site: "QUI".to_owned(), readings: readings.collect() };
        v1::SendReadingsRequest { portion: Some(portion) }
    });
    let mut client = park.keeper.client.climate();
    let mut answers = client.send_readings(tokio_stream::iter(portions)).await.unwrap().into_inner();
    let mut recorded = 0;
    while let Some(answer) = answers.message().await.unwrap() {
        recorded += i64::from(answer.answer.unwrap().recorded);
    }
    assert_eq!(recorded, size * PORTIONS);
    rate(size, began)
}
