//! How fast rounds are taken in, next to pgbench inserting the same rows on the same cluster in the same run.
//!
//! `cargo bench -p holt-tests --bench rounds`. Figures wander with the machine; the ratios hold. What is
//! recorded of them stands in `tests/benches/README.md`.

#![expect(clippy::print_stdout, reason = "the figures are what it is for")]
#![expect(clippy::unwrap_used, reason = "where a bench cannot go on, it ends")]
#![expect(
    clippy::disallowed_methods,
    reason = "it is a client: it makes request ids and waits for what it spawned"
)]

use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_server::store::cluster::Cluster;
use holt_tests::house::Client;
use holt_tests::{House, Park, cluster};
use sqlx::{AssertSqlSafe, Connection};
use std::io::Write;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Animals at the park, each with a year and more of weekly weights.
const ANIMALS: i64 = 5_000;
const WEEKS: i64 = 51;
const CLIENTS: usize = 16;
const SPAN: Duration = Duration::from_secs(15);

#[tokio::main]
async fn main() {
    let (cluster, url) = cluster::apart().await;
    let house = House::over(url.clone(), |config| {
        config.store.max_connections = 24;
        config.server.call_seconds = 60;
    })
    .await;
    let park = house.quill().await;
    let template = house.otter(&park, "Template").await;
    fill(&house, &template.id).await;
    println!(
        "{ANIMALS} animals with {WEEKS} weekly weights each, {CLIENTS} clients, {SPAN:?} a line, fsync on\n"
    );
    println!("| what | rows/s | ratio to pgbench |\n|---|---|---|");
    for readings in [1, 100] {
        let plain = pgbench(&cluster, readings);
        println!("| pgbench, {readings} row(s) a commit | {plain:.0} | 1 |");
        let ours = rounds(&house, &park, readings).await;
        println!("| RecordWeights, rounds of {readings} | {ours:.0} | {:.3} |", ours / plain);
    }
    house.check().await;
    house.stop().await;
    cluster.stop().await.unwrap();
}

/// Copies one animal many times, behind the wire: only the rounds are measured.
async fn fill(house: &House, template: &str) {
    let mut owner = house.owner().await;
    for sql in [
        format!("CREATE TABLE copies AS SELECT gen_random_uuid() AS id, n FROM generate_series(1, {ANIMALS}) n"),
        format!(
            "INSERT INTO animals SELECT c.id, a.site_id, a.taxon_id, 1, a.recorded_at, a.recorded_by, a.request_id
               FROM copies c, animals a WHERE a.id = '{template}'"
        ),
        format!(
            "INSERT INTO holdings (id, animal_id, site_id, began_at, began_on, began_how, recorded_at, recorded_by, request_id)
             SELECT gen_random_uuid(), c.id, h.site_id, h.began_at, h.began_on, 'arrival', h.recorded_at, h.recorded_by, h.request_id
               FROM copies c, holdings h WHERE h.animal_id = '{template}'"
        ),
        format!(
            "INSERT INTO accessions (id, animal_id, site_id, number, taken_on, recorded_at, recorded_by, request_id)
             SELECT gen_random_uuid(), c.id, a.site_id, 'QUI-24-' || lpad(c.n::text, 4, '0'), a.taken_on, a.recorded_at, a.recorded_by, a.request_id
               FROM copies c, accessions a WHERE a.animal_id = '{template}'"
        ),
        format!(
            "INSERT INTO weights (id, animal_id, site_id, weighed_at, weighed_on, day_only, mass_mg, tried, doubtful, accepted,
                                  scale, method, note, recorded_at, recorded_by, request_id)
             SELECT gen_random_uuid(), c.id, h.site_id, at, at::date, false, 8000000 + (random() * 200000)::int, false, false, false,
                    'platform', 'trained', '', at, h.recorded_by, h.request_id
               FROM copies c JOIN holdings h ON h.animal_id = c.id,
                    LATERAL (SELECT '2026-03-01 06:00Z'::timestamptz - w * interval '1 week' AS at
                               FROM generate_series(1, {WEEKS}) w) series"
        ),
        "ANALYZE".to_owned(),
        "CHECKPOINT".to_owned(),
    ] {
        sqlx::query(AssertSqlSafe(sql)).execute(&mut owner).await.unwrap();
    }
    owner.close().await.unwrap();
}

/// Readings per second in rounds of so many.
async fn rounds(house: &House, park: &Park, readings: i64) -> f64 {
    let (next, done) = (Arc::new(AtomicI64::new(0)), Arc::new(AtomicU64::new(0)));
    let start = house.clock.now() - TimeDelta::hours(10);
    let began = Instant::now();
    let clients: Vec<_> = (0..CLIENTS)
        .map(|_| {
            let client = park.keeper.client.clone();
            let (next, done) = (next.clone(), done.clone());
            tokio::spawn(async move {
                while began.elapsed() < SPAN {
                    let first = next.fetch_add(readings, Ordering::Relaxed);
                    round(&client, first, readings, start).await;
                    done.fetch_add(readings.unsigned_abs(), Ordering::Relaxed);
                }
            })
        })
        .collect();
    for client in clients {
        client.await.unwrap();
    }
    #[expect(clippy::cast_precision_loss, reason = "a count of seconds' work")]
    let rate = done.load(Ordering::Relaxed) as f64 / began.elapsed().as_secs_f64();
    rate
}

async fn round(client: &Client, first: i64, readings: i64, start: DateTime<Utc>) {
    let round = v1::RecordWeightsRequest {
        request_id: uuid::Uuid::new_v4().to_string(),
        site: "QUI".to_owned(),
        readings: (first..first + readings)
            .map(|n| v1::Reading {
                animal: format!("QUI-24-{:04}", n % ANIMALS + 1),
                when: Some(v1::reading::When::WeighedAt(timestamp(start + TimeDelta::milliseconds(n)))),
                result: Some(v1::reading::Result::Mass(v1::Mass { milligrams: 8_100_000 + n % 1000 })),
                scale: "platform".to_owned(),
                ..Default::default()
            })
            .collect(),
        validate_only: false,
    };
    let answer = client.weights().record_weights(round).await.unwrap().into_inner();
    for answer in answer.answers {
        assert_eq!(answer.outcome(), v1::ReadingOutcome::Accepted, "{answer:?}");
    }
}

/// Rows per second that pgbench inserts into the same table, so many a commit.
fn pgbench(cluster: &Cluster, rows: i64) -> f64 {
    let mut script = tempfile::NamedTempFile::new().unwrap();
    write!(
        script,
        "\\set n random(1, {ANIMALS} - {rows})
         INSERT INTO weights (id, animal_id, site_id, weighed_at, weighed_on, day_only, mass_mg, tried, doubtful, accepted,
                              scale, method, note, recorded_at, recorded_by, request_id)
         SELECT gen_random_uuid(), c.id, h.site_id, now(), current_date, false, 8100000, false, false, false,
                'platform', '', '', now(), h.recorded_by, gen_random_uuid()
           FROM copies c JOIN holdings h ON h.animal_id = c.id WHERE c.n BETWEEN :n AND :n + {rows} - 1;"
    )
    .unwrap();
    let address = cluster.address();
    let pgbench = which(cluster.major());
    let output = Command::new(pgbench)
        .args([
            "-n",
            "-M",
            "prepared",
            "-c",
            &CLIENTS.to_string(),
            "-j",
            "2",
            "-T",
            &SPAN.as_secs().to_string(),
        ])
        .arg("-f")
        .arg(script.path())
        .arg("-h")
        .arg(&address.socket_dir)
        .args(["-p", &address.port.to_string(), "-U", &address.user, "holt"])
        .env("PGPASSWORD", &address.password)
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let tps: f64 = text
        .lines()
        .find_map(|line| line.strip_prefix("tps = "))
        .and_then(|rest| rest.split(' ').next())
        .unwrap_or_else(|| panic!("pgbench said: {text} {}", String::from_utf8_lossy(&output.stderr)))
        .parse()
        .unwrap();
    #[expect(clippy::cast_precision_loss, reason = "1 or 100")]
    let rows = rows as f64;
    tps * rows
}

/// pgbench of a major version, in Debian's place or on PATH.
fn which(major: u32) -> String {
    let debian = format!("/usr/lib/postgresql/{major}/bin/pgbench");
    if std::path::Path::new(&debian).is_file() { debian } else { "pgbench".to_owned() }
}
