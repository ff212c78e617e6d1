//! What part of a sweep over a whole collection is reading rows: five years of weekly weights, ten animals at a time,
//! read through the store and given to the model, round by round.
//!
//! `cargo bench -p holt-tests --bench sweep`; `HOLT_BENCH_ANIMALS=1000` measures one size alone. Figures wander with
//! the machine; the shares hold. What is recorded of them stands in `tests/benches/README.md`.

#![expect(clippy::print_stdout, reason = "the figures are what it is for")]
#![expect(clippy::unwrap_used, reason = "where a bench cannot go on, it ends")]
#![expect(clippy::disallowed_methods, reason = "a bench is told by its environment how large it is to be")]

use chrono::TimeDelta;
use holt_audit::expected::{Fact, Herd, Kind, Life, Weighing};
use holt_audit::terms::{RecordId, Sex};
use holt_server::access::permit::Caller;
use holt_server::access::roles::Deed;
use holt_server::clock::Clock;
use holt_server::store::weights::{self, Point};
use holt_tests::{House, cluster};
use sqlx::{AssertSqlSafe, Connection};
use std::collections::{BTreeMap, HashMap};
use std::time::{Duration, Instant};
use uuid::Uuid;

const WEEKS: i64 = 260;
/// Animals that live together, and are read together.
const MEMBERS: usize = 10;
const GROUP: RecordId = RecordId(1);
const KIND: Kind =
    Kind { seasonal: false, gestation_days: None, breeds_from_days: Some(365), false_a_year: 0.1 };

#[tokio::main]
async fn main() {
    let sizes = std::env::var("HOLT_BENCH_ANIMALS").unwrap_or_else(|_| "1000,10000".to_owned());
    println!("{WEEKS} weekly weights of each animal, {MEMBERS} animals at a time, fsync on\n");
    println!("| animals | reading rows, s | watching, s | part that is reading |\n|---|---|---|---|");
    for size in sizes.split(',') {
        measure(size.trim().parse().unwrap()).await;
    }
}

async fn measure(animals: i64) {
    let (cluster, url) = cluster::apart().await;
    let house = House::over(url, |_| ()).await;
    let park = house.quill().await;
    let template = house.otter(&park, "Template").await;
    let ids = fill(&house, &template.id, animals).await;
    let now = house.clock.now();
    let snapshot =
        house.records.store.read(&Caller::itself().reach(Deed::Read).unwrap(), None).await.unwrap();
    let (mut reading, mut watching) = (Duration::ZERO, Duration::ZERO);
    for members in ids.chunks(MEMBERS) {
        let began = Instant::now();
        let since = now - TimeDelta::weeks(WEEKS + 1);
        let mut series: HashMap<Uuid, Vec<Point>> = HashMap::new();
        for point in weights::series(&snapshot, members, since, now).await.unwrap() {
            series.entry(point.animal).or_default().push(point);
        }
        reading += began.elapsed();
        let began = Instant::now();
        let mut herd = Herd::new(KIND);
        let life = Life { sex: Sex::Unknown, born: None };
        let mut rounds: BTreeMap<_, Vec<Weighing>> = BTreeMap::new();
        for (animal, points) in &series {
            let animal = RecordId(animal.as_u128());
            herd.notes(GROUP, animal, now, &Fact::Joins { life });
            for (at, mass) in points.iter().filter_map(|point| Some((point.weighed_at, point.mass?))) {
                rounds.entry(at).or_default().push(Weighing {
                    animal,
                    at,
                    mass,
                    scale: None,
                    step: None,
                    accepted: false,
                });
            }
        }
        for round in rounds.values() {
            assert_eq!(herd.round(GROUP, round).judgements.len(), round.len());
        }
        watching += began.elapsed();
    }
    drop(snapshot);
    let share = reading.as_secs_f64() / (reading + watching).as_secs_f64();
    println!("| {animals} | {:.2} | {:.2} | {share:.2} |", reading.as_secs_f64(), watching.as_secs_f64());
    house.stop().await;
    cluster.stop().await.unwrap();
}

/// Copies one animal many times, past the wire, each weighed weekly with one week in ten missing.
async fn fill(house: &House, template: &str, animals: i64) -> Vec<Uuid> {
    let mut owner = house.owner().await;
    for sql in [
        format!("CREATE TABLE copies AS SELECT gen_random_uuid() AS id, n FROM generate_series(1, {animals}) n"),
        format!(
            "INSERT INTO animals SELECT c.id, a.site_id, a.taxon_id, 1, a.recorded_at, a.recorded_by, a.request_id
               FROM copies c, animals a WHERE a.id = '{template}'"
        ),
        format!(
            "INSERT INTO weights (id, animal_id, site_id, weighed_at, weighed_on, day_only, mass_mg, tried, doubtful, accepted,
                                  scale, method, note, recorded_at, recorded_by, request_id)
             SELECT gen_random_uuid(), c.id, a.site_id, at, at::date, false, 8000000 + (random() * 200000)::int, false, false, false,
                    'platform', 'trained', '', at, a.recorded_by, a.request_id
               FROM copies c, animals a,
                    LATERAL (SELECT '2026-03-01 06:00Z'::timestamptz - w * interval '1 week' AS at
                               FROM generate_series(1, {WEEKS}) w WHERE (w + c.n) % 10 <> 0) series
              WHERE a.id = '{template}'"
        ),
        "ANALYZE".to_owned(),
        "CHECKPOINT".to_owned(),
    ] {
        sqlx::query(AssertSqlSafe(sql)).execute(&mut owner).await.unwrap();
    }
    let ids = sqlx::query_scalar("SELECT id FROM copies ORDER BY n").fetch_all(&mut owner).await.unwrap();
    owner.close().await.unwrap();
    ids
}
